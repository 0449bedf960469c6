"""Makes the plan of one build from a procedure and the answers to its options.

A procedure that was read without an error can be expanded with any answers. If an option has no answer, everything with
a `when` on it is left out.
"""

from collections.abc import Iterator, Mapping
from itertools import product
from typing import TYPE_CHECKING

from msgspec.structs import replace

from benchflow.procedure.identity import ALL_PLACES, StepId, ValueRef
from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    HandStage,
    Operation,
    PartChoice,
    PartMatching,
    Procedure,
    RecordedValue,
    Ref,
    Remedy,
    Stage,
    Tighten,
    Values,
    parts_of,
    values_of,
)
from benchflow.procedure.placeholders import PLACEHOLDER
from benchflow.procedure.plan import Plan, Step, TimeWindow
from benchflow.quantity import seconds

if TYPE_CHECKING:
    from benchflow.procedure.formula.expression import NameNode
    from benchflow.procedure.value_indexes import ValueTable

_CLOCK_STEP = 0.001
"""The step of the log's clock in seconds. An end that is not included is moved by it."""


def expand(procedure: Procedure, options: Mapping[str, str]) -> Plan:
    """The plan of the build; ``options`` maps names of options to choices."""
    build = _Build(procedure, options)
    steps = {step.id: step for operation in build.operations for step in build.steps(operation)}
    return Plan(procedure, dict(options), steps)


def holds(when: Values, options: Mapping[str, str]) -> bool:
    """True if the answers match ``when``."""
    return all(options.get(name) in choices for name, choices in when.items())


def option_choices(procedure: Procedure, *, ordering_only: bool = False) -> Iterator[dict[str, str]]:
    """Every combination of answers to the options, in the author's order; ``{}`` if there are no options.

    ``ordering_only`` leaves out the options that no `when` names, because they do not change the operations and moves.
    """
    asked = {name for operation in procedure.operations for name in operation.when}
    asked |= {name for move in procedure.moves for name in move.when}
    options = [option for option in procedure.options if not ordering_only or option.name in asked]
    for answers in product(*(option.choices for option in options)):
        yield {option.name: answer for option, answer in zip(options, answers, strict=True)}


def resolve(plan: Plan, ref: str, place: str | None = None, each: str | None = None) -> tuple[str, ...]:
    """The ids of the steps of a reference: an operation's id, ``id[*]``, ``id[2]`` or a section's id.

    ``place`` and ``each`` are those of the step that contains the reference: an id without a place, repeated over the
    same set of places, means the same place. The result is empty if the operation is not part of this build.
    """
    return _Build(plan.procedure, plan.options).step_ids(ref, place, each)


def prerequisites(plan: Plan, ref: str, place: str | None = None, each: str | None = None) -> tuple[str, ...]:
    """The ids of the steps that come before a step with ``after: [ref]``. The arguments are those of :func:`resolve`.

    The order passes through an operation that is not part of this build: what comes after it comes after what that
    operation comes after.
    """
    return _Build(plan.procedure, plan.options).prerequisites(ref, place, each)


class _Build:
    def __init__(self, procedure: Procedure, options: Mapping[str, str]) -> None:
        self._procedure, self._places, self._options = procedure, procedure.places, options
        self._table: ValueTable | None = None
        self.operations = [op for op in procedure.operations if holds(op.when, options)]
        self._by_id = {op.id: op for op in self.operations}
        self._left_out = {op.id: op for op in procedure.operations if op.id not in self._by_id}
        self._sections = {section.id: section.operations for section in procedure.sections}
        # The set of places of each repeated value; the names of these values get a place.
        self._repeated = {
            name: op.each
            for op in procedure.operations
            if op.each is not None
            for name in (*(value.name for value in values_of(op)), *(part.name for part in parts_of(op)))
        }

    def steps(self, operation: Operation) -> Iterator[Step]:
        if operation.each is None:
            yield self._step(operation, operation.id, None)
            return
        for place in self._places.get(operation.each, ()):
            yield self._step(operation, str(StepId(operation.id, place)), place)

    def step_ids(self, ref: str, place: str | None, each: str | None) -> tuple[str, ...]:
        return tuple(
            str(StepId(operation.id, at))
            for operation, at in self._named(ref, place, each)
            if operation.id in self._by_id
        )

    def prerequisites(self, ref: str, place: str | None, each: str | None) -> tuple[str, ...]:
        """Like :meth:`step_ids`. An operation that is left out is replaced by what it comes after."""
        if not self._left_out:
            return self.step_ids(ref, place, each)
        found: dict[str, None] = {}
        waiting = list(self._named(ref, place, each))
        passed: set[tuple[str, str | None]] = set()
        while waiting:
            operation, at = waiting.pop(0)
            if operation.id in self._by_id:
                found[str(StepId(operation.id, at))] = None
            elif (operation.id, at) not in passed:
                passed.add((operation.id, at))
                refs = (*operation.after, *(window.operation for window in operation.time))
                waiting[:0] = [one for earlier in refs for one in self._named(earlier.name, at, operation.each)]
        return tuple(found)

    def _named(self, ref: str, place: str | None, each: str | None) -> Iterator[tuple[Operation, str | None]]:
        """The operations of the procedure that a reference names, each with its place."""
        wanted = StepId.parse(ref)
        operation = self._operation(wanted.operation)
        if operation is not None:
            yield from self._at_places(operation, wanted.place, place, each)
            return
        for member in self._sections.get(wanted.operation, ()):
            operation = self._operation(member)
            if operation is not None:
                yield from self._at_places(operation, ALL_PLACES, None, None)

    def _operation(self, name: str) -> Operation | None:
        return self._by_id.get(name) or self._left_out.get(name)

    def _at_places(
        self, operation: Operation, wanted: str | None, place: str | None, each: str | None
    ) -> Iterator[tuple[Operation, str | None]]:
        if operation.each is None:
            yield operation, None
            return
        only = wanted or (place if operation.each == each else None) or ALL_PLACES
        for one in self._places.get(operation.each, ()):
            if only in (ALL_PLACES, one):
                yield operation, one

    def _step(self, operation: Operation, ident: str, place: str | None) -> Step:
        each = operation.each
        windows = [
            TimeWindow(
                one,
                None if window.low is None else seconds(window.low) + _CLOCK_STEP * window.low_open,
                None if window.high is None else seconds(window.high) - _CLOCK_STEP * window.high_open,
                window.text,
                window.operation.mark,
                "" if window.from_ is None else self._name_at(window.from_.name, StepId.parse(one).place),
                "" if window.until is None else self._name_at(window.until.name, place),
                window.waive,
                tuple(ref.name for ref in window.proves),
            )
            for window in operation.time
            for one in self.step_ids(window.operation.name, place, each)
        ]
        refs = (*operation.after, *(window.operation for window in operation.time))
        after = [one for ref in refs for one in self.prerequisites(ref.name, place, each)]
        return Step(
            ident,
            self._placed(operation, place),
            place,
            tuple(dict.fromkeys(after)),
            operation.needs,
            operation.during,
            operation.sets,
            tuple(windows),
            0.0 if operation.takes is None else seconds(operation.takes),
            operation.undo.needs if operation.undo else {},
            operation.undo.sets if operation.undo else {},
        )

    # texts and names of one place

    def _placed(self, operation: Operation, place: str | None) -> Operation:
        """``operation`` with placeholders filled in and with places in the names of its values."""
        fill = _Fill(operation.each, place)
        undo, hold = operation.undo, operation.hold
        changed: dict[str, object] = {
            "title": fill(operation.title),
            "do": fill(operation.do),
            "because": fill(operation.because),
            "cautions": tuple(replace(caution, text=fill(caution.text)) for caution in operation.cautions),
            "check": tuple(
                replace(point, text=fill(point.text), if_not=self._remedies(point.if_not, fill))
                for point in operation.check
            ),
            "hold": hold and replace(hold, for_=fill(hold.for_)),
            "undo": undo and replace(undo, do=fill(undo.do)),
            "tighten": operation.tighten and self._tighten(operation.tighten, fill),
            "record": tuple(self._record(record, fill) for record in operation.record),
            "work_out": tuple(self._work_out(work_out, fill) for work_out in operation.work_out),
            "choose": tuple(self._choose(choose, fill) for choose in operation.choose),
            "match": tuple(self._match(match, fill) for match in operation.match),
        }
        return replace(operation, **changed)

    def _name_at(self, name: str, place: str | None) -> str:
        """The name of a value in a step at ``place``."""
        return str(ValueRef(name, place)) if place is not None and name in self._repeated else name

    def _name(self, name: str, fill: "_Fill") -> str:
        """The name of a value with its place, if it is repeated over the same set of places."""
        if fill.place is None or self._repeated.get(name) != fill.each:
            return name  # not repeated here, or already written with a place
        return str(ValueRef(name, fill.place))

    def _remedies(self, remedies: tuple[Remedy, ...], fill: "_Fill") -> tuple[Remedy, ...]:
        return tuple(
            replace(
                remedy,
                do=fill(remedy.do),
                redo=tuple(
                    Ref(one, ref.mark) for ref in remedy.redo for one in self.step_ids(ref.name, fill.place, fill.each)
                ),
            )
            for remedy in remedies
        )

    def _tighten(self, tighten: Tighten, fill: "_Fill") -> Tighten:
        stages = tuple(self._stage(stage, fill) for stage in tighten.stages)
        return replace(tighten, draw_down=fill(tighten.draw_down), stages=stages)

    def _stage(self, stage: Stage, fill: "_Fill") -> Stage:
        if isinstance(stage, HandStage):
            return stage
        return replace(stage, below=self._remedies(stage.below, fill), above=self._remedies(stage.above, fill))

    def _bound(self, bound: Bound | None, fill: "_Fill") -> Bound | None:
        return replace(bound, name=self._value_ref(bound.name, fill)) if isinstance(bound, AboveReading) else bound

    def _record(self, record: RecordedValue, fill: "_Fill") -> RecordedValue:
        used_by_option = holds(record.used_when, self._options) if record.used_when else None
        if used_by_option is not None:
            record = replace(record, bound=record.used) if used_by_option else replace(record, used=None)
        return replace(
            record,
            used_by_option=used_by_option,
            name=self._name(record.name, fill),
            ask=fill(record.ask),
            bound=self._bound(record.bound, fill),
            used=self._bound(record.used, fill),
            below=self._remedies(record.below, fill),
            above=self._remedies(record.above, fill),
        )

    def _work_out(self, work_out: CalculatedValue, fill: "_Fill") -> CalculatedValue:
        return replace(
            work_out,
            name=self._name(work_out.name, fill),
            title=fill(work_out.title),
            formula=self._formula(work_out.formula, fill),
            bound=self._bound(work_out.bound, fill),
            below=self._remedies(work_out.below, fill),
            above=self._remedies(work_out.above, fill),
        )

    def _formula(self, text: str, fill: "_Fill") -> str:
        if fill.place is None:
            return text
        # Late import: only a repeated formula needs it (benchmark bench_screen).
        from benchflow.procedure.formula.expression import map_names, render
        from benchflow.procedure.formula.formula_parser import parse_formula

        return render(map_names(parse_formula(text), lambda node: self._at_place(node, fill)))

    def _value_ref(self, text: str, fill: "_Fill") -> str:
        """The name of a value in a limit or a table, with its place and reading."""
        if fill.place is None:
            return text
        from benchflow.procedure.formula.expression import NameNode  # late import, as above

        return self._at_place(NameNode(*ValueRef.parse(text), at=0), fill).key

    def _at_place(self, node: "NameNode", fill: "_Fill") -> "NameNode":
        """The name of a value with its place and reading, as the author meant it at the place of ``fill``."""
        from benchflow.procedure.value_indexes import IndexFault, ValueTable, resolve_name  # late import, as above

        if self._table is None:
            self._table = ValueTable(self._procedure.operations, self._places)
        axes = self._table.axes(node.name)
        if axes is None:  # the size of a part that a matching assigns
            return node if node.place else replace(node, place=ValueRef.parse(self._name(node.name, fill)).place)
        found = resolve_name(node, axes, self._places, fill.each, fill.place)
        return node if isinstance(found, IndexFault) else found

    def _choose(self, choose: PartChoice, fill: "_Fill") -> PartChoice:
        name, by = self._name(choose.name, fill), self._value_ref(choose.by, fill)
        return replace(choose, name=name, by=by, title=fill(choose.title))

    def _match(self, match: PartMatching, fill: "_Fill") -> PartMatching:
        return replace(
            match,
            name=self._name(match.name, fill),
            measured=self._name(match.measured, fill),
            so_that=self._name(match.so_that, fill),
            title=fill(match.title),
        )


class _Fill:
    """Replaces ``{cylinder}`` in a text by the place, and doubled braces by single ones."""

    def __init__(self, each: str | None, place: str | None) -> None:
        self.each, self.place = each, place

    def __call__(self, text: str) -> str:
        if "{" not in text and "}" not in text:
            return text
        return PLACEHOLDER.sub(
            lambda found: found[0][0] if found[1] is None else self._filled(found[1], found[0]), text
        )

    def _filled(self, name: str, placeholder: str) -> str:
        """The place for a placeholder such as ``{cylinder}``; the placeholder itself if it is not the repeated name."""
        return self.place if self.place is not None and name == self.each else placeholder
