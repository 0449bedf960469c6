"""The values of one step: the readings in force, their common verdict, and the margin left."""

from collections.abc import Iterator
from decimal import Decimal
from typing import cast

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import (
    AboveReading,
    AskedLimit,
    Bound,
    CalculatedValue,
    DecisionRule,
    EqualWithin,
    Fixed,
    RecordedValue,
)
from benchflow.procedure.plan import Step
from benchflow.quantity import show_short
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.review.formatting import shown_reading
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.margin import OPEN, Band, band_of_limit, margin, number
from benchflow.session.rules.measurements import recorded_measurements
from benchflow.session.rules.value_results import results_of
from benchflow.session.rules.verdicts import (
    figures_to_judge,
    judge_value,
    judged_singly,
    limit_in_force,
    limit_of,
    limit_text,
    limits_by_reading,
    part_is_used,
)
from benchflow.session.state.state import State
from benchflow.trade.verdict import Verdict


class Value(Struct, frozen=True):
    """One value of one step.

    For a calculated value, there are no readings, and ``filled`` is the formula with its numbers, for each reading that
    it is calculated for.
    """

    operation: str
    name: str
    ask: str
    unit: str
    decision: DecisionRule
    limit: str
    band: Band  # the limit in `unit`; where each reading is compared, that of the worst reading
    readings: tuple[ReadingFact, ...]  # those in force, in the order of the procedure
    missing: tuple[str, ...]
    verdict: Verdict
    judged: Decimal | None  # the figure compared with the limit: the worst reading, the mean or the spread
    judged_text: str  # the same, rounded for display
    share: float | None  # the margin of the judged figure: see `benchflow.review.log.margin`
    uncertainty: Decimal | None  # standard uncertainty of the judged figure; None if not known
    reason: str
    filled: str
    waived: str  # who signed a deviation, and the reason; "" for none
    open: bool  # out of the limit or not proven, and no deviation covers it
    earlier: tuple[ReadingFact, ...]  # replaced attempts
    each: bool  # each single reading is compared with the limit
    bands: dict[str, Band] = {}  # the limit of each reading, by slot, where each is compared
    used: str = ""  # the limit for new parts, if the limit for used parts was taken because the builder said so
    further: str = ""  # title or figure of a further limit (`also`); its readings are with the main limit

    @property
    def calculated(self) -> bool:
        """True for a calculated value."""
        return bool(self.filled)

    def margins(self) -> tuple[tuple[ReadingFact | None, Decimal, float], ...]:
        """Each figure that was compared with the limit, with its margin. Figures without a margin are left out.

        The figures are the readings, or one figure calculated from them; that one has no reading.
        """
        if self.each and not self.calculated:
            margins = (
                (reading, Decimal(reading.value), margin(Decimal(reading.value), self.bands[reading.slot]))
                for reading in self.readings
            )
            return tuple((reading, number, share) for reading, number, share in margins if share is not None)
        if self.judged is None or self.share is None:
            return ()
        return ((None, self.judged, self.share),)


def values_of(log: LoadedLog, step: Step) -> tuple[Value, ...]:
    """Every value of a step in the order of the procedure: the recorded values, then the calculated ones."""
    found: tuple[Value, ...] | None = log.values_by_step.get(step.id)
    if found is None:
        found = log.values_by_step[step.id] = _values_of(log, step)
    return found


def _values_of(log: LoadedLog, step: Step) -> tuple[Value, ...]:
    recorded = (value for record in step.operation.record for value in _by_limit(log, step, record))
    calculated = (_calculated_value(log, step, work) for work in step.operation.work_out)
    return (*recorded, *(value for value in calculated if value is not None))


def _by_limit(log: LoadedLog, step: Step, record: RecordedValue) -> Iterator[Value]:
    """The value by its main limit, and by each further one that is judged. The readings are only in the first."""
    yield _recorded_value(log, step, record)
    for index, limit in enumerate(record.also, 1):
        found = _recorded_value(log, step, record.by_limit[index], index)
        if found.judged is not None:
            ask = f"{found.ask}, {limit.label}"
            yield replace(found, ask=ask, readings=(), missing=(), earlier=(), each=False, further=limit.label)


def _recorded_value(log: LoadedLog, step: Step, record: RecordedValue, index: int = 0) -> Value:
    state = log.state
    verdict = judge_value(state, step.id, record)
    bound = limit_in_force(state, step.id, record)
    limit = limits_by_reading(state, step.id, record) or verdict.limit
    within = _band_in_unit(state, bound, record.unit, difference=record.judge == "spread")
    bands = {
        slot: _band_in_unit(state, limit_in_force(state, step.id, record, slot), record.unit, difference=False)
        for slot in record.slots
    }
    facts = [r for r in log.facts.readings if r.operation == step.id and r.name == record.name]
    in_force = {fact.slot: fact for fact in facts if fact.in_force}
    readings = tuple(in_force[slot] for slot in record.slots if slot in in_force)
    if judged_singly(record, bound):
        nearest = _reading_nearest_limit(readings, bands)
        within = within if nearest is None else bands[nearest.slot]
        judged = None if nearest is None else Decimal(nearest.value)
        text = "" if nearest is None else shown_reading(nearest)
        u = None if nearest is None or not nearest.uncertainty else Decimal(nearest.uncertainty)
    else:
        judged = None if verdict.value is None else verdict.value.value
        text = "" if verdict.value is None else show_short(verdict.value)
        u = _uncertainty_of_figure(state, step, record, bound)
    return Value(
        step.id, record.name, record.ask, record.unit, record.decision, limit, within, readings,
        verdict.missing, verdict.verdict, judged, text, None if judged is None else margin(judged, within), u,
        verdict.reason, "", *_waiver(state, step, record.name, index),
        tuple(fact for fact in facts if not fact.in_force), judged_singly(record, bound), bands,
        _limit_of_new_parts(state, step, record),
    )  # fmt: skip


def _limit_of_new_parts(state: State, step: Step, record: RecordedValue) -> str:
    """The limit for new parts, if the builder stated a used part; "" if not, or if an option of the job says so."""
    if record.used is None or record.used_by_option is not None:
        return ""
    if not any(part_is_used(state, step.id, record, slot) for slot in record.slots):
        return ""
    return limit_text(state, record.bound, record.unit) or "no limit"


def _calculated_value(log: LoadedLog, step: Step, work: CalculatedValue) -> Value | None:
    """The value from the log: every result, and the verdict of the worst one. It is not calculated again."""
    facts = [r for r in log.facts.readings if r.operation == step.id and r.name == work.name and r.calculated]
    counted = [fact for fact in facts if fact.in_force]
    in_force = min(counted, key=_from_worst_to_best, default=None)
    if in_force is None:
        return None
    results = "; ".join(f"{fact.slot}: {fact.filled or shown_reading(fact)}" for fact in counted)
    filled = results if len(counted) > 1 else in_force.filled or work.formula
    within = _band_in_unit(log.state, work.at(in_force.slot).bound, work.unit, difference=in_force.difference)
    return Value(
        step.id, work.name, work.title or work.name, work.unit, work.decision,
        in_force.limit, within, (), (), cast(Verdict, in_force.verdict),
        number(in_force.value), shown_reading(in_force), in_force.share,
        number(in_force.uncertainty), "", filled,
        *_waiver(log.state, step, work.name), (), False,
    )  # fmt: skip


def _from_worst_to_best(fact: ReadingFact) -> tuple[int, float]:
    """Sort key of the results of one calculated value: those that are out first, then by the margin left."""
    rank = {"low": 0, "high": 0, "not-proven": 1}.get(fact.verdict, 2)
    return rank, float("inf") if fact.share is None else fact.share


def _band_in_unit(state: State, bound: Bound | None, unit: str, *, difference: bool) -> Band:
    """The limit in force in ``unit``. A limit that depends on another reading is calculated from it.

    ``difference`` is true for the limit of a difference of temperatures.
    """
    match bound:
        case Fixed() | AboveReading():
            limit = limit_of(state, bound, unit)
            return OPEN if limit is None else band_of_limit(limit, unit, difference=difference)
        case EqualWithin():
            return band_of_limit(bound.limit, unit, difference=True)
        case AskedLimit() | None:
            return OPEN


def _reading_nearest_limit(readings: tuple[ReadingFact, ...], bands: dict[str, Band]) -> ReadingFact | None:
    """The reading with the smallest margin; the first reading if none has a margin."""
    worst: ReadingFact | None = None
    least = float("inf")
    for reading in readings:
        left = margin(Decimal(reading.value), bands[reading.slot])
        if worst is None or (left is not None and left < least):
            worst, least = reading, least if left is None else left
    return worst


def _uncertainty_of_figure(state: State, step: Step, record: RecordedValue, bound: Bound | None) -> Decimal | None:
    """The standard uncertainty of the statistic that is compared with the limit; ``None`` if it is not known."""
    figures = figures_to_judge(record, bound, recorded_measurements(state, step, record))
    u = figures[0].uncertainty(record) if figures else None
    return None if u is None else decimal(from_base(u, record.unit, difference=True))


def _waiver(state: State, step: Step, name: str, limit: int = 0) -> tuple[str, bool]:
    """Who signed each deviation about the value, with the reasons; and whether it still needs one."""
    results = [result for result in results_of(state, step, name) if result.limit == limit]
    texts = dict.fromkeys(f"{each.by}: {each.reason}" for each in (result.waived for result in results) if each)
    return "; ".join(texts), any(result.open for result in results)
