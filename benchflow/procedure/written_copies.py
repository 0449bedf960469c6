"""Operations with `again`: an operation that is done the same way once more, under an id of its own.

In the tree of the file, a copy gets every key of the other operation that it does not have itself. After reading, the
names of its values, choices and checks begin with its id: ``refit.end-play``. In the copy the plain names mean its own.
In its formulas, the id of the other operation before a name means the value of that one: ``fit.end-play``.
"""

from collections.abc import Callable, Mapping

from msgspec.structs import replace

from benchflow.procedure.identity import StepId, ValueRef
from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    CheckPoint,
    HandStage,
    Operation,
    PartChoice,
    PartMatching,
    RecordedValue,
    Ref,
    Remedy,
    Stage,
    TimeSince,
    parts_of,
    values_of,
)
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence, child_of

OWN_KEYS = ("id", "again")
"""The keys that a copy does not get from the other operation."""


def write_out_copies(root: YamlMapping, context: ReadContext) -> None:
    """Give each operation with `again` the keys of the other operation. A cycle or an unknown name is reported."""
    operations = {name: node for node in _operation_nodes(root) if (name := _text(node, "id"))}
    for node in operations.values():
        _write_out(node, operations, (), context)


def _operation_nodes(root: YamlMapping) -> list[YamlMapping]:
    sections = child_of(root, "sections")
    found: list[YamlMapping] = []
    for section in sections.items if isinstance(sections, YamlSequence) else []:
        operations = child_of(section, "operations")
        found += [one for one in _items(operations) if isinstance(one, YamlMapping)]
    return found


def _items(node: YamlNode | None) -> list[YamlNode]:
    return node.items if isinstance(node, YamlSequence) else []


def _text(node: YamlMapping, name: str) -> str:
    child = child_of(node, name)
    return child.text.strip() if isinstance(child, YamlScalar) else ""


def _write_out(
    node: YamlMapping, operations: Mapping[str, YamlMapping], copying: tuple[str, ...], context: ReadContext
) -> None:
    """Add the missing keys to ``node``. ``copying`` are the operations that are being written out because of it."""
    own, named = _text(node, "id"), child_of(node, "again")
    if not isinstance(named, YamlScalar) or own in context.copied:
        return
    original = named.text.strip()
    if original == own or original in copying:
        chain = ", which copies ".join(f"`{name}`" for name in (*copying, own, original)).replace(", which", "", 1)
        context.problem("order-cycle", named.mark, f"{chain}: a cycle", "Name another operation")
        return
    other = operations.get(original)
    if other is None:
        return  # the name check reports it
    _write_out(other, operations, (*copying, own), context)
    context.copied.add(own)
    written = {key.text for key, _ in node.pairs}
    node.pairs += [(key, child) for key, child in other.pairs if key.text not in written and key.text not in OWN_KEYS]


# --- names of a copy --------------------------------------------------------------------------------


def with_own_names(operation: Operation, context: ReadContext) -> Operation:
    """The operation whose values, choices and checks have names of their own, if it is a copy.

    A formula that has one value of it under two names is reported.
    """
    if operation.again is None:
        return operation
    own = {each.name: f"{operation.id}.{each.name}" for each in (*values_of(operation), *parts_of(operation))}
    own |= {point.id: f"{operation.id}.{point.id}" for point in operation.check if point.id}
    return _Renaming(operation, own, context).renamed()


class _Renaming:
    """Writes the own names of a copy into it. ``own`` has the own name for each plain one."""

    def __init__(self, operation: Operation, own: Mapping[str, str], context: ReadContext) -> None:
        self._operation, self._own, self._context = operation, own, context
        self._original = "" if operation.again is None else operation.again.name

    def renamed(self) -> Operation:
        operation, tighten = self._operation, self._operation.tighten
        if tighten is not None:
            tighten = replace(tighten, stages=tuple(self._stage(stage) for stage in tighten.stages))
        return replace(
            operation,
            record=tuple(self._record(value) for value in operation.record),
            work_out=tuple(self._work_out(value) for value in operation.work_out),
            choose=tuple(self._choose(part) for part in operation.choose),
            match=tuple(self._match(part) for part in operation.match),
            check=tuple(self._check(point) for point in operation.check),
            time=tuple(self._window(window) for window in operation.time),
            restored_by=None if operation.restored_by is None else self._ref(operation.restored_by),
            tighten=tighten,
        )

    def _name(self, name: str) -> str:
        return self._own.get(name, name)

    def _value(self, text: str) -> str:
        ref = ValueRef.parse(text)
        return str(ref._replace(name=self._name(ref.name)))

    def _ref(self, ref: Ref) -> Ref:
        """A reference to an operation: the one that is copied means the copy."""
        step = StepId.parse(ref.name)
        own = step._replace(operation=self._operation.id) if step.operation == self._original else step
        return replace(ref, name=str(own))

    def _remedies(self, remedies: tuple[Remedy, ...]) -> tuple[Remedy, ...]:
        return tuple(replace(one, redo=tuple(self._ref(ref) for ref in one.redo)) for one in remedies)

    def _bound(self, bound: Bound | None) -> Bound | None:
        return replace(bound, name=self._value(bound.name)) if isinstance(bound, AboveReading) else bound

    def _record(self, value: RecordedValue) -> RecordedValue:
        terms = {
            slot: replace(one, bound=self._bound(one.bound), used=self._bound(one.used))
            for slot, one in value.by_reading.items()
        }
        also = tuple(
            replace(one, below=self._remedies(one.below), above=self._remedies(one.above)) for one in value.also
        )
        return replace(
            value,
            name=self._name(value.name),
            bound=self._bound(value.bound),
            used=self._bound(value.used),
            below=self._remedies(value.below),
            above=self._remedies(value.above),
            by_reading=terms,
            also=also,
        )

    def _work_out(self, value: CalculatedValue) -> CalculatedValue:
        terms = {slot: replace(one, bound=self._bound(one.bound)) for slot, one in value.by_reading.items()}
        return replace(
            value,
            name=self._name(value.name),
            formula=self._formula(value),
            bound=self._bound(value.bound),
            below=self._remedies(value.below),
            above=self._remedies(value.above),
            by_reading=terms,
        )

    def _formula(self, value: CalculatedValue) -> str:
        from benchflow.procedure.formula.expression import FormulaError, map_names, names, render  # late: few need it
        from benchflow.procedure.formula.formula_parser import parse_formula

        try:
            written = parse_formula(value.formula)
        except FormulaError:
            return value.formula  # the formula check reports it
        used = {ref.name for ref in names(written)}
        for plain in [plain for plain, own in self._own.items() if plain in used and own in used]:
            why = f"In `{self._operation.id}`, `{plain}` and `{self._own[plain]}` are the same value"
            hint = f"Write `{self._original}.{plain}` for the value of `{self._original}`"
            self._context.problem("duplicate-name", value.mark, why, hint)
        return render(map_names(written, lambda node: replace(node, name=self._name_in_formula(node.name))))

    def _name_in_formula(self, name: str) -> str:
        """The name of the value meant. With the id of the operation that is copied, it is the one measured there."""
        plain = name.removeprefix(f"{self._original}.")
        of_original = plain != name and plain in self._own and self._original not in self._context.copied
        return plain if of_original else self._name(name)

    def _choose(self, part: PartChoice) -> PartChoice:
        return replace(part, name=self._name(part.name), by=self._value(part.by))

    def _match(self, part: PartMatching) -> PartMatching:
        names: dict[str, Callable[[str], str]] = {"name": self._name, "measured": self._name, "so_that": self._name}
        return replace(part, **{field: change(getattr(part, field)) for field, change in names.items()})

    def _check(self, point: CheckPoint) -> CheckPoint:
        return replace(point, id=self._name(point.id), if_not=self._remedies(point.if_not))

    def _window(self, window: TimeSince) -> TimeSince:
        until = window.until
        return window if until is None else replace(window, until=replace(until, name=self._name(until.name)))

    def _stage(self, stage: Stage) -> Stage:
        if isinstance(stage, HandStage):
            return stage
        return replace(stage, below=self._remedies(stage.below), above=self._remedies(stage.above))
