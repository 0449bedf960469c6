"""Choices of parts by a table: the parts that it proposes, and the reasons why a choice is not complete."""

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue, ChoiceRow, PartChoice, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Interval, Quantity, dimension_of, interval, show_short
from benchflow.session.refusal import Reason
from benchflow.session.rules.choice_waivers import choice_waiver, table_waiver
from benchflow.session.rules.evaluated_values import evaluate_value, value_measurement
from benchflow.session.rules.measurements import Measurement, recorded_measurements, statistic
from benchflow.session.rules.put_right_advice import limit_advice, rework_asked
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import GUARD_FACTOR


class TableProposal(Struct, frozen=True):
    """The parts that a table proposes.

    If there is one part, it is right. If there are several, the builder chooses one. If there is none, ``note`` has the
    reason. ``outside`` is true if a value is in no row that has a part: in a gap, outside all rows, or in a stop row.
    """

    takes: tuple[str, ...]
    note: str = ""
    outside: bool = False


def table_proposal(state: State, step: Step, choose: PartChoice) -> TableProposal:
    """The parts that the table proposes for the readings that it looks up."""
    values = lookup_values(state, step, choose.by)
    if not values:
        return TableProposal((), f"{choose.by} is not entered yet")
    takes: list[str] = []
    for value in values:
        row = row_of(choose, value)
        if row is None or row.stop:
            return TableProposal((), _outside_note(choose, value, row), outside=True)
        takes += [take for take in _matching_parts(choose, value) if take not in takes]
    if len(takes) == 1:
        return TableProposal((takes[0],))
    return TableProposal(tuple(takes), "The readings are in more than one row. Choose one")


class LookedUp(NamedTuple):
    """A value to look up in a table: as shown, and exact in the base unit with the half-width of its guard band."""

    shown: Quantity
    exact: Fraction
    guard: Fraction
    difference: bool = False  # a difference of temperatures


def lookup_values(state: State, step: Step, name: str) -> list[LookedUp]:
    """The values to look up in a table.

    ``name`` is a recorded or calculated value. If a statistic of its readings is judged, that is looked up; otherwise
    every reading is. The list is empty while a reading is missing.
    """
    ref = state.plan.ref(name)
    if ref.reading is not None:
        one = value_measurement(state, ref)
        (value,) = state.plan.values(str(ValueRef(ref.name, ref.place)))
        return [] if one is None else [_with_guard_band(one, value)]
    for candidate in (str(ValueRef(name, step.place)), name):
        found = state.plan.record(candidate)
        if found is not None:
            measured = recorded_measurements(state, found.step, found.record)
            if len(measured) < len(found.record.slots):
                return []
            figures = [statistic(found.record, list(measured.values()))]
            if found.record.judge == "all":
                figures = list(measured.values())
            return [_with_guard_band(figure, found.record) for figure in figures]
    calculated = state.plan.work_out(name)
    if calculated is None:
        return []
    found_results = evaluate_value(state, calculated.step, calculated.work_out)
    if found_results.missing is not None:
        return []
    results = found_results.results
    return [_with_guard_band(result.measurement, calculated.work_out) for result in results.values()]


def _with_guard_band(measured: Measurement, value: RecordedValue | CalculatedValue) -> LookedUp:
    u = measured.uncertainty(value)
    guard = Fraction(0) if u is None else GUARD_FACTOR * u
    return LookedUp(measured.shown, measured.exact, guard, measured.difference)


NOT_NEGATIVE = frozenset({"length", "mass", "volume", "time", "torque", "force", "area"})
"""The dimensions in which a value below zero cannot be, unless the table itself has such a row. Source: own rule."""


def row_of(choose: PartChoice, value: LookedUp) -> ChoiceRow | None:
    """The row of the table that a value is in; ``None`` if it is in none.

    Between the two printed columns of an edge, a value is in two rows. One with a part comes before a stop row.
    """
    if _cannot_be(choose, value):
        return None
    found = [row for row in choose.rows if _range(row, value.difference).position(value.exact) == "within"]
    return min(found, key=lambda row: bool(row.stop), default=None)


def _cannot_be(choose: PartChoice, value: LookedUp) -> bool:
    """True if the value is below zero, cannot be negative, and the table has no lower end and no negative row."""
    if value.exact >= 0 or choose.rows[0].low is not None or dimension_of(value.shown.unit) not in NOT_NEGATIVE:
        return False
    return not any(end is not None and end.value < 0 for row in choose.rows for end in (row.low, row.high))


def _range(row: ChoiceRow, difference: bool) -> Interval:
    return interval(row.limit, difference=difference)


def _outside_note(choose: PartChoice, value: LookedUp, row: ChoiceRow | None) -> str:
    """Why a value has no part."""
    if row is not None:
        return f"{show_short(value.shown)} is in a row where the work stops ({row.text}). {row.stop.rstrip('.')}"
    if _cannot_be(choose, value):
        return f"{show_short(value.shown)} is below zero, which is impossible"
    return f"{show_short(value.shown)} is outside the table"


def _matching_parts(choose: PartChoice, value: LookedUp) -> list[str]:
    """The parts of the rows that may apply: one, or two if the guard band includes the edge between them."""
    found: list[str] = []
    for row in choose.rows:
        edges = _range(row, value.difference)
        low = None if edges.low is None else edges.low - value.guard
        high = None if edges.high is None else edges.high + value.guard
        if not row.stop and Interval(low, high, row.low_open, row.high_open).position(value.exact) == "within":
            found.append(row.take)
    return found


def choice_reasons(state: State, step: Step) -> Iterator[Reason]:
    """Every reason why a choice of ``step`` is not complete: nothing is chosen, or the table proposes another part.

    A value that has no part in the table is a reason of its own, until a deviation covers its readings.
    """
    work = state.work(step.id)
    for choose in step.operation.choose:
        title, taken = choose.title or choose.name, work.chosen.get(choose.name)
        proposal = table_proposal(state, step, choose)
        outside = outside_reason(state, step, choose)
        if outside is not None:
            yield outside
        elif taken is None:
            message = f"{title} is not chosen yet"
            yield Reason("value-missing", message, operation=step.id, name=choose.name)
        elif taken not in proposal.takes and not proposal.outside and choice_waiver(state, step, choose) is None:
            expected = f"the table gives {' or '.join(proposal.takes)}" if proposal.takes else proposal.note
            advice = limit_advice(state, step, choose.name, f"Choose {' or '.join(proposal.takes) or 'again'}")
            message = f"{title}: {taken} was chosen, but {expected}. {advice}"
            rework = rework_asked(state, step)
            yield Reason("out-of-limit", message, operation=step.id, name=choose.name, rework=rework)


def outside_reason(state: State, step: Step, choose: PartChoice) -> Reason | None:
    """The reason if the table has no part for a value and no deviation covers it; otherwise ``None``."""
    proposal = table_proposal(state, step, choose)
    if not proposal.outside or table_waiver(state, step, choose) is not None:
        return None
    advice = limit_advice(state, step, choose.name, "Measure again")
    message = f"{choose.title or choose.name}: {proposal.note}. {advice}"
    return Reason("out-of-limit", message, operation=step.id, name=choose.name, rework=rework_asked(state, step))
