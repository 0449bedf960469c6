"""Checks of values: formulas and their units, and the values that tables, matchings and relative limits use."""

from collections.abc import Iterator
from itertools import chain

from benchflow.procedure.checks.name_checks import NameTable
from benchflow.procedure.formula import Formula, FormulaError, check_units, names, parse_formula
from benchflow.procedure.identity import ALL_PLACES, StepId, ValueRef
from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    EqualWithin,
    Mark,
    Operation,
    PartChoice,
    PartMatching,
    RecordedValue,
    values_of,
)
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlScalar
from benchflow.quantity import dimension_of

Value = RecordedValue | CalculatedValue


class Precedence:
    """Which operations come before which in every order, by `after` and `time`."""

    def __init__(self, operations: tuple[Operation, ...], sections: dict[str, tuple[str, ...]]) -> None:
        self._direct: dict[str, set[str]] = {}
        for operation in operations:
            direct = self._direct.setdefault(operation.id, set())
            for ref in chain(operation.after, (window.operation for window in operation.time)):
                plain = StepId.parse(ref.name).operation
                direct.update(sections.get(plain, (plain,)))

    def always(self, earlier: str, later: str) -> bool:
        """True if ``earlier`` comes before ``later`` in every order."""
        seen: set[str] = set()
        waiting = [later]
        while waiting:
            for one in self._direct.get(waiting.pop(), ()):
                if one == earlier:
                    return True
                if one not in seen:
                    seen.add(one)
                    waiting.append(one)
        return False


class ValueChecks:
    """The checks that need all values of a procedure."""

    def __init__(
        self, operations: tuple[Operation, ...], table: NameTable, before: Precedence, context: ReadContext
    ) -> None:
        self._operations, self._names, self._before, self._context = operations, table, before, context
        self._values: dict[str, tuple[Value, Operation]] = {}
        for operation in operations:
            for value in values_of(operation):
                self._values.setdefault(value.name, (value, operation))
        self._units = {name: value.unit for name, (value, _) in self._values.items()}

    def run(self) -> None:
        uses: dict[str, set[str]] = {}
        for operation in self._operations:
            if self._context.problems.full:
                return
            for work_out in operation.work_out:
                uses[work_out.name] = self._check_formula(work_out, operation)
            for value in values_of(operation):
                self._check_bounds(value, operation)
            for choose in operation.choose:
                self._check_choice(choose, operation)
            for match in operation.match:
                self._check_match(match, operation)
        self._check_cycles(uses)

    # formulas

    def _check_formula(self, work_out: CalculatedValue, operation: Operation) -> set[str]:
        """Check one formula and return the names of the values that it uses."""
        written = self._context.nodes.get(("is", work_out.mark))
        if not isinstance(written, YamlScalar):
            return set()
        shift = len(written.text) - len(written.text.lstrip())
        match = next((match for match in operation.match if match.so_that == work_out.name), None)
        units = self._units if match is None else {**self._units, match.name: self._size_unit(match, work_out)}
        try:
            formula = parse_formula(work_out.formula)
            if self._names_known(formula, operation, match, written, shift):
                check_units(formula, units, work_out.unit)
        except FormulaError as error:
            self._context.problem("bad-formula", written.at(shift + error.at), error.why, error.hint)
            return set()
        return {ref.name for ref in names(formula)}

    def _size_unit(self, match: PartMatching, work_out: CalculatedValue) -> str:
        """The unit of the part size in a matching. In its formula, the name of the matching means that size."""
        return self._units.get(match.measured, work_out.unit)

    def _names_known(
        self, formula: Formula, operation: Operation, match: PartMatching | None, written: YamlScalar, shift: int
    ) -> bool:
        known = True
        for ref in names(formula):
            if match is not None and ref.name == match.name and ref.place is None:
                continue  # the size of the part that is assigned to the place
            if ref.name in self._context.unreadable_names:
                known = False
            elif ref.name not in self._values:
                self._context.problem(
                    "unknown-name",
                    written.at(shift + ref.at),
                    f"There is no value `{ref.name}`",
                    self._context.hint(ref.name, self._values, "The file defines no value"),
                )
                known = False
            else:
                if match is None or ref.place is not None or not self._at_all_places(ref.name, match):
                    known &= self._check_place(ref.name, ref.place, operation, written.at(shift + ref.at))
                self._check_ready(ref.name, operation, written.at(shift + ref.at))
        return known

    def _at_all_places(self, name: str, match: PartMatching) -> bool:
        """True if a value exists at every place of a matching, whose formula is evaluated at each place."""
        places = self._names.places_of["value"].get(name, ())
        wanted = self._names.places.get(match.to)
        return wanted is not None and set(wanted) <= set(places)

    def _check_place(self, name: str, place: str | None, operation: Operation, mark: Mark) -> bool:
        """True if it is clear which place of a value is meant; otherwise a problem is reported."""
        value, source = self._values[name]
        places = self._names.places_of["value"].get(name)
        if place is not None:
            self._context.mention("value", str(ValueRef(name, place)), mark)
            return places is not None and (place == ALL_PLACES or place in places)
        if places is None or (source.each is not None and source.each == operation.each):
            return True
        if source.each is None and isinstance(value, RecordedValue) and not (value.by_place and value.judge == "all"):
            return True  # the formula uses the figure that `judge` selects, such as the mean
        self._context.problem(
            "which-place",
            mark,
            f"`{name}` has {len(places)} places, and the formula does not say which one",
            f"Write `{ValueRef(name, places[0])}`, or use all of them, such as mean({ValueRef(name, ALL_PLACES)})",
        )
        return False

    def _check_ready(self, name: str, operation: Operation, mark: Mark) -> None:
        """Warn of a value from an operation that is not always done before this one."""
        _, source = self._values[name]
        if source.id == operation.id or self._before.always(source.id, operation.id):
            return
        self._context.problem(
            "value-not-ready",
            mark,
            f"`{name}` comes from `{source.id}`, which is not always done before `{operation.id}`",
            f"Add `{source.id}` to `after` of `{operation.id}`",
            severity="warning",
        )

    def _check_cycles(self, uses: dict[str, set[str]]) -> None:
        """Report values that are calculated from themselves."""
        for name in uses:
            seen: set[str] = set()
            waiting = list(uses[name])
            while waiting:
                other = waiting.pop()
                if other not in seen:
                    seen.add(other)
                    waiting.extend(uses.get(other, ()))
            if name in seen:
                mark = self._values[name][0].mark
                self._context.problem(
                    "circular-formula",
                    mark,
                    f"`{name}` is calculated from itself",
                    "Remove it from one of the formulas",
                )

    # limits, tables, matchings

    def _check_bounds(self, value: Value, operation: Operation) -> None:
        limits: Iterator[Bound | None] = iter((value.bound, value.used if isinstance(value, RecordedValue) else None))
        for bound in limits:
            if isinstance(bound, AboveReading):
                self._check_relative_limit(bound, value, operation)
            elif isinstance(bound, EqualWithin) and self._has_one_reading(value, operation):
                self._context.problem(
                    "too-few",
                    value.mark,
                    f"`{value.name}` has the limit `equal within {bound.spread.entered}`, but only one reading",
                    "Write `readings` with a number or a list of places",
                )

    def _has_one_reading(self, value: Value, operation: Operation) -> bool:
        return isinstance(value, CalculatedValue) or (len(value.slots) < 2 and operation.each is None)

    def _check_relative_limit(self, bound: AboveReading, value: Value, operation: Operation) -> None:
        name = ValueRef.parse(bound.name).name
        found = self._values.get(name)
        if found is None:
            return  # an unknown name is reported by the name check
        if name == value.name:
            self._context.problem(
                "circular-formula",
                value.mark,
                f"The limit of `{name}` depends on `{name}` itself",
                "Name another value",
            )
        elif found[0].dimension != value.dimension:
            self._context.problem(
                "wrong-dimension",
                value.mark,
                f"`{value.name}` is {_dimension_phrase(value.dimension)}, but its limit depends on `{name}`, "
                f"{_dimension_phrase(found[0].dimension)}",
            )
        else:
            self._check_ready(name, operation, value.mark)

    def _check_choice(self, choose: PartChoice, operation: Operation) -> None:
        name = ValueRef.parse(choose.by).name
        found = self._values.get(name)
        if found is None or not choose.bands:
            return
        self._check_ready(name, operation, choose.mark)
        edge = choose.bands[0].up_to
        if dimension_of(edge.unit) != found[0].dimension:
            self._context.problem(
                "wrong-dimension",
                choose.mark,
                f"The table has {edge.entered}, but `{name}` is {_dimension_phrase(found[0].dimension)}",
            )

    def _check_match(self, match: PartMatching, operation: Operation) -> None:
        found = self._values.get(ValueRef.parse(match.so_that).name)
        if found is None or (match.limit.low is None and match.limit.high is None):
            return
        limit, value = limit_dimension(match.limit), found[0].dimension
        if limit != value:
            node = self._context.nodes["limit", match.mark]
            phrases = _dimension_phrase(limit), _dimension_phrase(value)
            message = f"`{match.limit.text}` is {phrases[0]}, but `{match.so_that}` is {phrases[1]}"
            self._context.problem("wrong-dimension", node.mark, message)


def _dimension_phrase(dimension: str) -> str:
    """``a length``, ``an angle``, ``a number without a unit``."""
    if not dimension:
        return "a number without a unit"
    return f"{'an' if dimension[0] in 'aeiou' else 'a'} {dimension}"
