"""Finds limits that no readings can satisfy, so that the operation can never be finished."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from math import prod

from benchflow.base.plaintext import listed
from benchflow.procedure.checks.limit_inequalities import LimitInequalities
from benchflow.procedure.checks.linear_inequalities import contradict
from benchflow.procedure.formula.expression import (
    BinaryOperation,
    Call,
    Expression,
    FormulaError,
    NameNode,
    Power,
    always_calculated,
)
from benchflow.procedure.formula.formula_parser import parse_formula
from benchflow.procedure.formula.value_ranges import ANYTHING, RangeOfName, ValueRange, range_of
from benchflow.procedure.identity import ALL_PLACES, ValueRef, is_several, parts
from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    EqualWithin,
    Fixed,
    Mark,
    PartChoice,
    PartMatching,
    Procedure,
    RecordedValue,
    bounds_of,
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
    """An error ``never-ok`` for each value, table or matching that no readings within the other limits satisfy."""
    ranges = ValueRanges(procedure)
    reported: set[str] = set()

    def problem(mark: Mark, message: str, hint: str, where: str) -> Problem:
        return Problem("never-ok", "error", file, mark.line, mark.column, message, hint, where)

    for operation in procedure.operations:
        for value in values_of(operation):
            calculated = isinstance(value, CalculatedValue)
            message = _alone(value, ranges) or _contradiction(value, procedure, ranges.table, reported)
            if message:
                reported.add(value.name)
                where = f"{operation.id}.{'work-out' if calculated else 'record'}.{value.name}"
                hint = "Correct the limit, or the limits of the values that it depends on"
                if calculated:
                    hint = "Correct the formula, the limit, or the limits of its values"
                yield problem(value.mark, message, hint, where)
        for choose in operation.choose:
            if message := _without_row(choose, ranges):
                where = f"{operation.id}.choose.{choose.name}"
                yield problem(choose.mark, message, "Add a row, or correct the limit of the value", where)
        for match in operation.match:
            if message := _too_few_parts(match, procedure):
                where = f"{operation.id}.match.{match.name}"
                hint = "Measure one part for each place (`readings`), or give the `sizes` that can be bought"
                yield problem(match.mark, message, hint, where)


def _alone(value: RecordedValue | CalculatedValue, ranges: "ValueRanges") -> str:
    """Why a value is never within its limit, by the ranges of the values of its formula."""
    if isinstance(value, RecordedValue):
        return next(filter(None, map(_bad_spread, value.by_limit)), "")
    each = tuple(value.at(slot) for slot in value.by_reading) or (value,)
    return ranges.of_no_result(value) or next(filter(None, (_unattainable(one, ranges) for one in each)), "")


def _bad_spread(value: RecordedValue) -> str:
    """Why a spread is never within its limit: it is never below zero."""
    bounds = [bound for bound in (value.bound, value.used) if bound is not None]
    if not bounds or not all(_is_below_zero(value, bound) for bound in bounds):
        return ""
    return f"A difference between readings is never below zero. So `{value.name}` can never be {bounds[0].text}"


def _is_below_zero(value: RecordedValue, bound: Bound) -> bool:
    """True if the limit is one of a spread, and lets only values below zero pass."""
    if not isinstance(bound, EqualWithin) and (value.judge != "spread" or not isinstance(bound, Fixed)):
        return False
    assert not isinstance(bound, AboveReading)
    ends = interval(bound.limit, difference=True)
    return ends.high is not None and (ends.high < 0 or (ends.high_open and ends.high == 0))


def _contradiction(
    value: RecordedValue | CalculatedValue, procedure: Procedure, table: ValueTable, reported: set[str]
) -> str:
    """Why a limit contradicts the limits of the values that it depends on."""
    if value.bound is None or value.by_reading:
        return ""
    limits = LimitInequalities(procedure, table)
    limits.add(value.name)
    names = list(dict.fromkeys(name for name in (*limits.values, value.name)))
    if reported & limits.names or not contradict(limits.inequalities):
        return ""
    others = [f"`{name}`" for name in names if name != value.name]
    if not others:
        return f"`{value.name}` can never be within its limit, {value.bound.text}, whatever is measured"
    return (
        f"`{value.name}` can never be within its limit, {value.bound.text}, while {listed(others, 'and')} "
        f"{'is within its limit' if len(others) == 1 else 'are within their limits'}"
    )


def _without_row(choose: PartChoice, ranges: "ValueRanges") -> str:
    """Why a table has no part for any value that is within its limit."""
    possible = ranges.looked_up(choose.by)
    if possible.is_empty or possible == ANYTHING:
        return ""
    before: Fraction | None = None
    for row in choose.rows:
        edges = interval(row.limit)  # the wider of two printed columns
        low = before if edges.low is None else edges.low
        high = edges.high
        before = high
        if not row.stop and not possible.common(ValueRange(low, high)).is_empty:
            return ""
    value = ranges.value(choose.by)
    limit = "" if value.bound is None else f", {value.bound.text}"
    return f"`{choose.by}` is in no row that has a part while it is within its limit{limit}"


def _too_few_parts(match: PartMatching, procedure: Procedure) -> str:
    """Why a matching cannot give a part to each place: fewer parts are measured than there are places."""
    places = procedure.places.get(match.to, ())
    if match.sizes is not None:
        return ""
    for operation in procedure.operations:
        for record in operation.record:
            if record.name == match.measured:
                parts = len(record.slots) * (len(procedure.places.get(operation.each, ())) if operation.each else 1)
                if parts < len(places):
                    count = "1 part is" if parts == 1 else f"{parts} parts are"
                    return f"`{match.name}` needs a part for each of {len(places)} places, but only {count} measured"
    return ""


def _unattainable(work_out: CalculatedValue, ranges: "ValueRanges") -> str:
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


class ValueRanges:
    """The range of each value of a procedure while it is within its limit. Temperatures have no known range."""

    def __init__(self, procedure: Procedure) -> None:
        self._procedure = procedure
        self.table = ValueTable(procedure.operations, procedure.places)
        self._values = {value.name: (value, op) for op in procedure.operations for value in values_of(op)}
        self._known: dict[str, ValueRange] = {}

    def value(self, name: str) -> RecordedValue | CalculatedValue:
        return self._values[ValueRef.parse(name).name][0]

    def looked_up(self, name: str) -> ValueRange:
        """The range of the figure that a table looks up: a reading or a result, or the figure that is judged."""
        value = self.value(name)
        if value.dimension == "temperature":
            return ANYTHING
        if isinstance(value, CalculatedValue) or value.judge == "all" or ValueRef.parse(name).place is not None:
            return self._of_value(value.name)
        return ANYTHING if value.used is not None else self._of_bound(value.bound)

    def of_no_result(self, work_out: CalculatedValue) -> str:
        """Why a formula never has a result: it divides by zero, or takes the root of a negative number."""
        try:
            formula = parse_formula(work_out.formula)
        except FormulaError:
            return ""
        for node in always_calculated(formula.root):
            reason = self._no_result_of(node, work_out)
            if reason:
                return f"`{work_out.name}` {reason}, so it never has a result"
        return ""

    def _no_result_of(self, node: Expression, work_out: CalculatedValue) -> str:
        def of(inner: Expression) -> ValueRange:
            return self._of_expression(inner, work_out)

        zero = ValueRange(Fraction(0), Fraction(0))
        match node:
            case BinaryOperation(operator="/", right=right):
                return "divides by zero" if of(right) == zero else ""
            case Call(function="sqrt", arguments=(inside,)):
                return "takes the square root of a negative number" if _is_negative(of(inside)) else ""
            case Power(of=inside, exponent=exponent) if exponent.denominator > 1:
                return "takes the root of a negative number" if _is_negative(of(inside)) else ""
            case Power(of=inside, exponent=exponent) if exponent < 0:
                return "divides by zero" if of(inside) == zero else ""
            case Call(function="asin" | "acos" as function, arguments=(inside,)):
                found = of(inside).common(ValueRange(Fraction(-1), Fraction(1)))
                return f"takes the `{function}` of a number that is not from -1 to 1" if found.is_empty else ""
            case Call(function="round" | "up" | "down", arguments=(_, step)):
                size = of(step)
                never = size.high is not None and size.high <= 0 and not size.is_empty
                return "rounds to a step that is not above zero" if never else ""
            case _:
                return ""

    def of_formula(self, work_out: CalculatedValue) -> ValueRange:
        """The range of the result of a formula, without its own limit."""
        try:
            return self._of_expression(parse_formula(work_out.formula).root, work_out)
        except FormulaError:
            return ANYTHING

    def _of_expression(self, root: Expression, work_out: CalculatedValue) -> ValueRange:
        operation = self._values[work_out.name][1]

        def meaning(node: NameNode) -> NameNode | None:
            found = self.table.meaning(node, operation, work_out.name)
            return found if isinstance(found, NameNode) else None  # not the size of a part that a matching assigns

        def of_name(node: NameNode) -> RangeOfName:
            meant = meaning(node)
            return RangeOfName(ANYTHING) if meant is None else self._of_name(meant)

        def of_call(call: Call) -> ValueRange:
            argument = call.arguments[0]
            is_name = isinstance(argument, NameNode) and not argument.before and len(call.arguments) == 1
            meant = meaning(argument) if is_name and isinstance(argument, NameNode) else None
            return ANYTHING if meant is None else self._of_all_readings(call.function, meant)

        return range_of(root, of_name, of_call)

    def _of_name(self, meant: NameNode) -> RangeOfName:
        axes = self.table.axes(meant.name)
        count = 1
        if axes is not None:
            sets = zip(parts(meant.place), parts(axes.each), strict=False)
            count = prod(len(self._procedure.places.get(name, ())) for part, name in sets if part == ALL_PLACES)
        if axes is not None and meant.reading == ALL_PLACES:
            count *= len(axes.readings)
        return RangeOfName(self._of_value(meant.name), count)

    def _of_all_readings(self, function: str, meant: NameNode) -> ValueRange:
        """What is known of a function of all readings of one value: its `judge` compares the same with the limit."""
        value = self._values[meant.name][0]
        if not isinstance(value, RecordedValue) or value.used is not None or value.dimension == "temperature":
            return ANYTHING
        if meant.reading != ALL_PLACES or is_several(meant.place):
            return ANYTHING
        if value.judge == _JUDGED_BY.get(function):
            return self._of_bounds(value)
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
            return self._of_bounds(value).common(self.of_formula(value))
        found = self._of_bounds(value)
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

    def _of_bounds(self, value: RecordedValue | CalculatedValue) -> ValueRange:
        """The range of all limits of a value: for new and used parts, and of each reading."""
        found = self._of_bound(value.bound)
        for bound in bounds_of(value):
            found = found.hull(self._of_bound(bound))
        return ANYTHING if any(terms.bound is None for terms in value.by_reading.values()) else found

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


def _is_negative(found: ValueRange) -> bool:
    return found.high is not None and found.high < 0 and not found.is_empty


def _is_one_figure(value: RecordedValue | CalculatedValue) -> bool:
    return isinstance(value, RecordedValue) and value.judge != "all"
