"""Whether values fit together: formulas and their units, the values that tables and matchings go by, limits that lean
on earlier readings."""

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
    """What comes before what in every order: `after` and `time`, followed back."""

    def __init__(self, operations: tuple[Operation, ...], sections: dict[str, tuple[str, ...]]) -> None:
        self._direct: dict[str, set[str]] = {}
        for operation in operations:
            direct = self._direct.setdefault(operation.id, set())
            for ref in chain(operation.after, (window.operation for window in operation.time)):
                plain = StepId.parse(ref.name).operation
                direct.update(sections.get(plain, (plain,)))

    def surely(self, earlier: str, later: str) -> bool:
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
    """Checks that need all values of a procedure together."""

    def __init__(
        self, operations: tuple[Operation, ...], given: NameTable, before: Precedence, notes: ReadContext
    ) -> None:
        self._operations, self._given, self._before, self._notes = operations, given, before, notes
        self._values: dict[str, tuple[Value, Operation]] = {}
        for operation in operations:
            for value in values_of(operation):
                self._values.setdefault(value.name, (value, operation))
        self._units = {name: value.unit for name, (value, _) in self._values.items()}

    def run(self) -> None:
        leans: dict[str, set[str]] = {}
        for operation in self._operations:
            if self._notes.problems.full:
                return
            for work_out in operation.work_out:
                leans[work_out.name] = self._formula(work_out, operation)
            for value in values_of(operation):
                self._bounds(value, operation)
            for choose in operation.choose:
                self._choose(choose, operation)
            for match in operation.match:
                self._match(match, operation)
        self._circles(leans)

    # formulas

    def _formula(self, work_out: CalculatedValue, operation: Operation) -> set[str]:
        """Check one formula; gives the names that it speaks of."""
        written = self._notes.nodes.get(("is", work_out.mark))
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
            self._notes.problem(
                "bad-formula", written.at(shift + error.at), f"`{work_out.formula[:60]}`: {error.why}", error.hint
            )
            return set()
        return {ref.name for ref in names(formula)}

    def _size_unit(self, match: PartMatching, work_out: CalculatedValue) -> str:
        """The unit of the parts that are matched, whose size the formula calls by the match's name."""
        return self._units.get(match.measured, work_out.unit)

    def _names_known(
        self, formula: Formula, operation: Operation, match: PartMatching | None, written: YamlScalar, shift: int
    ) -> bool:
        known = True
        for ref in names(formula):
            if match is not None and ref.name == match.name and ref.place is None:
                continue  # the size of the part given to the place
            if ref.name in self._notes.half_known:
                known = False
            elif ref.name not in self._values:
                self._notes.problem(
                    "unknown-name",
                    written.at(shift + ref.at),
                    f"there is no value `{ref.name}`",
                    self._notes.hint(ref.name, self._values, "no value is recorded or worked out in this file"),
                )
                known = False
            else:
                if match is None or ref.place is not None or not self._at_all_places(ref.name, match):
                    known &= self._one_place(ref.name, ref.place, operation, written.at(shift + ref.at))
                self._ready(ref.name, operation, written.at(shift + ref.at))
        return known

    def _at_all_places(self, name: str, match: PartMatching) -> bool:
        """Whether a value is there at every place of a matching, which works the formula out for each in turn."""
        there = self._given.places_of["value"].get(name, ())
        wanted = self._given.places.get(match.to)
        return wanted is not None and set(wanted) <= set(there)

    def _one_place(self, name: str, place: str | None, operation: Operation, mark: Mark) -> bool:
        """Whether it is plain which of a value's places is meant."""
        value, giver = self._values[name]
        places = self._given.places_of["value"].get(name)
        if place is not None:
            self._notes.mention("value", str(ValueRef(name, place)), mark)
            return places is not None and (place == ALL_PLACES or place in places)
        if places is None or (giver.each is not None and giver.each == operation.each):
            return True
        if giver.each is None and isinstance(value, RecordedValue) and not (value.by_place and value.judge == "all"):
            return True  # several readings of one thing: the value that is judged
        self._notes.problem(
            "which-place",
            mark,
            f"`{name}` has {len(places)} places, and it is not said which is meant",
            f"write `{ValueRef(name, places[0])}`, or all of them as in mean({ValueRef(name, ALL_PLACES)})",
        )
        return False

    def _ready(self, name: str, operation: Operation, mark: Mark) -> None:
        """A value from an operation that need not come before: it may be wanted before it is there."""
        _, giver = self._values[name]
        if giver.id == operation.id or self._before.surely(giver.id, operation.id):
            return
        self._notes.problem(
            "value-not-ready",
            mark,
            f"`{name}` comes from `{giver.id}`, which need not be done before `{operation.id}`",
            f"add `{giver.id}` to its `after`",
            severity="warning",
        )

    def _circles(self, leans: dict[str, set[str]]) -> None:
        """Report values that are worked out from themselves."""
        for name in leans:
            seen: set[str] = set()
            waiting = list(leans[name])
            while waiting:
                other = waiting.pop()
                if other not in seen:
                    seen.add(other)
                    waiting.extend(leans.get(other, ()))
            if name in seen:
                mark = self._values[name][0].mark
                self._notes.problem("circular-formula", mark, f"`{name}` is worked out from itself")

    # limits, tables, matchings

    def _bounds(self, value: Value, operation: Operation) -> None:
        limits: Iterator[Bound | None] = iter((value.bound, value.used if isinstance(value, RecordedValue) else None))
        for bound in limits:
            if isinstance(bound, AboveReading):
                self._above(bound, value, operation)
            elif isinstance(bound, EqualWithin) and self._single(value, operation):
                self._notes.problem(
                    "too-few",
                    value.mark,
                    f"`{value.name}` is to be equal within {bound.spread.entered}, but it is read once",
                    "write `readings`, or a list of places",
                )

    def _single(self, value: Value, operation: Operation) -> bool:
        return isinstance(value, CalculatedValue) or (len(value.slots) < 2 and operation.each is None)

    def _above(self, bound: AboveReading, value: Value, operation: Operation) -> None:
        name = ValueRef.parse(bound.name).name
        found = self._values.get(name)
        if found is None:
            return  # reported where names are looked up
        if name == value.name:
            self._notes.problem("circular-formula", value.mark, f"the limit of `{name}` leans on `{name}` itself")
        elif found[0].dimension != value.dimension:
            self._notes.problem(
                "wrong-dimension",
                value.mark,
                f"`{value.name}` is {_kind(value.dimension)}, and its limit leans on `{name}`, "
                f"{_kind(found[0].dimension)}",
            )
        else:
            self._ready(name, operation, value.mark)

    def _choose(self, choose: PartChoice, operation: Operation) -> None:
        name = ValueRef.parse(choose.by).name
        found = self._values.get(name)
        if found is None or not choose.bands:
            return
        self._ready(name, operation, choose.mark)
        edge = choose.bands[0].up_to
        if dimension_of(edge.unit) != found[0].dimension:
            self._notes.problem(
                "wrong-dimension",
                choose.mark,
                f"the table goes by {edge.entered}, and `{name}` is {_kind(found[0].dimension)}",
            )

    def _match(self, match: PartMatching, operation: Operation) -> None:
        found = self._values.get(ValueRef.parse(match.so_that).name)
        if found is None or (match.limit.low is None and match.limit.high is None):
            return
        kind = limit_dimension(match.limit)
        if kind != found[0].dimension:
            node = self._notes.nodes["limit", match.mark]
            self._notes.problem(
                "wrong-dimension",
                node.mark,
                f"`{match.limit.text}` is {_kind(kind)}, and `{match.so_that}` is {_kind(found[0].dimension)}",
            )


def _kind(dimension: str) -> str:
    if not dimension:
        return "a bare number"
    return f"{'an' if dimension[0] in 'aeiou' else 'a'} {dimension}"
