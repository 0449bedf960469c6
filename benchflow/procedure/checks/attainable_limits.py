"""Finds limits that no readings can satisfy, so that the operation can never be finished."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from benchflow.procedure.formula.expression import Call, FormulaError, NameNode, parse_formula
from benchflow.procedure.formula.value_ranges import ANYTHING, RangeOfName, ValueRange, range_of
from benchflow.procedure.identity import ALL_PLACES, ValueRef
from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    EqualWithin,
    Fixed,
    Procedure,
    RecordedValue,
    values_of,
)
from benchflow.procedure.problems import Problem
from benchflow.procedure.value_indexes import ValueTable
from benchflow.quantity import interval
from benchflow.quantity.arithmetic import from_base
from benchflow.quantity.shown import round_half_up, with_unit

_JUDGED_BY = {"mean": "mean", "max": "largest", "min": "smallest", "spread": "spread"}
"""The `judge` that compares the result of each function with the limit."""


def check_attainable_limits(procedure: Procedure, file: str) -> Iterator[Problem]:
    """An error ``never-ok`` for each calculated value that is never within its limit while its values are in theirs."""
    ranges = _ValueRanges(procedure)
    for operation in procedure.operations:
        for work_out in operation.work_out:
            message = _unattainable(work_out, ranges)
            if message:
                hint = "Correct the formula, the limit, or the limits of its values"
                where = f"{operation.id}.work-out.{work_out.name}"
                mark = work_out.mark
                yield Problem("never-ok", "error", file, mark.line, mark.column, message, hint, where)


def _unattainable(work_out: CalculatedValue, ranges: "_ValueRanges") -> str:
    """Why the limit of a calculated value can never be satisfied; "" if it can, or if that is not certain."""
    if not isinstance(work_out.bound, Fixed) or work_out.dimension == "temperature":
        return ""
    possible, limit = ranges.of_formula(work_out), interval(work_out.bound.limit)
    above = limit.high is not None and possible.low is not None and (
        possible.low > limit.high or (limit.high_open and possible.low == limit.high)
    )  # fmt: skip
    below = limit.low is not None and possible.high is not None and (
        possible.high < limit.low or (limit.low_open and possible.high == limit.low)
    )  # fmt: skip
    if possible.is_empty or not (above or below):
        return ""
    end = possible.low if above else possible.high
    assert end is not None
    side = "at least" if above else "at most"
    return (
        f"`{work_out.name}` is always {side} {_shown(end, work_out.unit)} if its values are within their limits. "
        f"So it can never be within its own limit, {work_out.bound.text}"
    )


def _shown(value: Fraction, unit: str) -> str:
    """A bound in the unit of its value, to four decimals at most."""
    number = round_half_up(from_base(value, unit), 4)
    plain = number.normalize() if number else Decimal(0)
    return with_unit(f"{plain:f}", unit)


class _ValueRanges:
    """The range of each value of a procedure while it is within its limit. Temperatures have no known range."""

    def __init__(self, procedure: Procedure) -> None:
        self._procedure = procedure
        self._table = ValueTable(procedure.operations, procedure.places)
        self._values = {value.name: (value, op) for op in procedure.operations for value in values_of(op)}
        self._known: dict[str, ValueRange] = {}

    def of_formula(self, work_out: CalculatedValue) -> ValueRange:
        """The range of the result of a formula, without its own limit."""
        operation = self._values[work_out.name][1]
        try:
            formula = parse_formula(work_out.formula)
        except FormulaError:
            return ANYTHING

        def meaning(node: NameNode) -> NameNode | None:
            found = self._table.meaning(node, operation, work_out.name)
            return found if isinstance(found, NameNode) else None  # not the size of a part that a matching assigns

        def of_name(node: NameNode) -> RangeOfName:
            meant = meaning(node)
            return RangeOfName(ANYTHING) if meant is None else self._of_name(meant)

        def of_call(call: Call) -> ValueRange:
            argument = call.arguments[0]
            meant = meaning(argument) if isinstance(argument, NameNode) and len(call.arguments) == 1 else None
            return ANYTHING if meant is None else self._of_all_readings(call.function, meant)

        return range_of(formula.root, of_name, of_call)

    def _of_name(self, meant: NameNode) -> RangeOfName:
        axes = self._table.axes(meant.name)
        count = 1
        if axes is not None and meant.place == ALL_PLACES:
            count *= len(self._procedure.places.get(axes.each or "", ()))
        if axes is not None and meant.reading == ALL_PLACES:
            count *= len(axes.readings)
        return RangeOfName(self._of_value(meant.name), count)

    def _of_all_readings(self, function: str, meant: NameNode) -> ValueRange:
        """What is known of a function of all readings of one value: its `judge` compares the same with the limit."""
        value = self._values[meant.name][0]
        if not isinstance(value, RecordedValue) or value.used is not None or value.dimension == "temperature":
            return ANYTHING
        if meant.reading != ALL_PLACES or meant.place == ALL_PLACES:
            return ANYTHING
        if value.judge == _JUDGED_BY.get(function):
            return self._of_bound(value.bound)
        if isinstance(value.bound, EqualWithin) and function == "spread":
            return ValueRange(Fraction(0), interval(value.bound.limit, difference=True).high)
        return ANYTHING

    def _of_value(self, name: str) -> ValueRange:
        """The range of each reading of a value."""
        if name not in self._known:
            self._known[name] = ANYTHING  # in a circle, which is reported
            value = self._values[name][0]
            if value.dimension != "temperature":
                self._known[name] = self._range(value)
        return self._known[name]

    def _range(self, value: RecordedValue | CalculatedValue) -> ValueRange:
        if isinstance(value, CalculatedValue):
            return self._of_bound(value.bound).common(self.of_formula(value))
        found = self._of_bound(value.bound)
        if value.used is not None:
            found = found.hull(self._of_bound(value.used))
        if len(value.slots) == 1 and not value.by_place:
            return found
        match value.judge:
            case "all":
                return found
            case "largest":
                return ValueRange(None, found.high)
            case "smallest":
                return ValueRange(found.low, None)
            case _:
                return ANYTHING

    def _of_bound(self, bound: Bound | None) -> ValueRange:
        match bound:
            case Fixed(limit=limit):
                ends = interval(limit)
                return ValueRange(ends.low, ends.high)
            case AboveReading(name=name, by=by):
                value = self._values[ValueRef.parse(name).name][0]
                if value.dimension == "temperature" or _is_one_figure(value):
                    return ANYTHING
                start, by_ends = self._of_value(value.name), interval(by)
                return ValueRange(
                    None if start.low is None or by_ends.low is None else start.low + by_ends.low,
                    None if start.high is None or by_ends.high is None else start.high + by_ends.high,
                )
            case _:
                return ANYTHING


def _is_one_figure(value: RecordedValue | CalculatedValue) -> bool:
    return isinstance(value, RecordedValue) and value.judge != "all"
