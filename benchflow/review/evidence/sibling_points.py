"""Weak points of values that are unlike their siblings: the same value at other cylinders, journals or places."""

from collections.abc import Iterator
from decimal import Decimal
from statistics import median
from typing import Final

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import shown
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.margin import Band
from benchflow.review.log.reading_values import Value

FEWEST: Final = 4
"""With fewer members a family has no odd one."""
LEAST_DISTANCE: Final = 0.2
"""A value that is nearer to the median of its siblings than this part of the band is not odd (own rule)."""
LEAST_DIFFERENCE: Final = 0.06
"""The typical difference of siblings is at least this part of the band: what is made alike measures alike only within
the uncertainty of a workshop measurement (own rule)."""
MAD_FACTOR: Final = 1.4826
"""The median absolute deviation times this estimates the standard deviation of a normal distribution (standard)."""
ODD: Final = 3.0


class _Member(Struct, frozen=True):
    """One of the siblings: its name for people and its figure in the unit of the value."""

    name: str
    figure: Decimal
    reading: ReadingFact


def sibling_points(log: LoadedLog, step: Step, values: tuple[Value, ...]) -> Iterator[WeakPoint]:
    """The values of ``step`` that stand apart from their siblings in the build."""
    chosen_by = {match.measured for operation in log.procedure.operations for match in operation.match}
    for value in values:
        record = step.record(value.name)
        if record is None or value.further or not value.readings or value.verdict not in ("ok", "none"):
            continue
        if ValueRef.parse(value.name).name in {ValueRef.parse(name.rpartition(".")[2]).name for name in chosen_by}:
            continue  # parts on hand, of which the fitting ones are chosen
        width = _width(value.band)
        if width is None or record.by_reading:
            continue
        yield from _odd_points(value, _own(log, step, record, value), _family(log, step, record, value), width)


def _width(band: Band) -> Decimal | None:
    """The width of the band; of a limit with one end, that end. ``None`` if there is none."""
    if band.low is not None and band.high is not None:
        return band.high - band.low or None
    end = band.high if band.high is not None else band.low
    return None if not end else abs(end)


def _by_place(step: Step, record: RecordedValue) -> bool:
    """True if the readings of one step are the siblings: they are of named places, and the step is not repeated."""
    return record.by_place and step.place is None


def _own(log: LoadedLog, step: Step, record: RecordedValue, value: Value) -> list[_Member]:
    if _by_place(step, record):
        return [_Member(reading.slot, Decimal(reading.value), reading) for reading in value.readings]
    numbers = [Decimal(reading.value) for reading in value.readings]
    return [_Member(step.place or "", sum(numbers, Decimal(0)) / len(numbers), value.readings[-1])]


def _family(log: LoadedLog, step: Step, record: RecordedValue, value: Value) -> list[_Member]:
    """All siblings, with those of ``step``."""
    if _by_place(step, record):
        return _own(log, step, record, value)
    if step.place is None:
        return []
    name = ValueRef.parse(value.name).name
    readings: dict[str, list[ReadingFact]] = {}
    for fact in log.facts.readings:
        ref = ValueRef.parse(fact.name) if fact.name.startswith(name) else None
        if ref is not None and ref.name == name and fact.in_force and not fact.calculated:
            readings.setdefault(fact.operation, []).append(fact)
    found = []
    for operation, facts in readings.items():
        place = log.plan.steps[operation].place if operation in log.plan.steps else None
        if place is not None:
            mean = sum((Decimal(fact.value) for fact in facts), Decimal(0)) / len(facts)
            found.append(_Member(place, mean, facts[-1]))
    return found


def _odd_points(value: Value, own: list[_Member], family: list[_Member], width: Decimal) -> Iterator[WeakPoint]:
    if len(family) < FEWEST:
        return
    middle = median(member.figure for member in family)
    spread = MAD_FACTOR * float(median(abs(member.figure - middle) for member in family))
    typical = max(spread, LEAST_DIFFERENCE * float(width))
    for member in own:
        distance = float(abs(member.figure - middle))
        if distance < LEAST_DISTANCE * float(width) or distance < ODD * typical:
            continue
        if not value.band.two_ended and not _toward_the_end(member.figure, Decimal(middle), value.band):
            continue
        others = [other.figure for other in family if other.name != member.name]
        low, high = (shown(end, value.unit, member.reading.entered) for end in (min(others), max(others)))
        place = f" ({member.name})" if member.name and len(own) > 1 else ""
        figure = shown(member.figure, value.unit, member.reading.entered)
        siblings = f"all {low}" if low == high else f"{low} to {high}"
        words = f"{value.ask}{place} {figure} is unlike its {len(others)} siblings, {siblings}"
        yield WeakPoint("odd-sibling", words, member.reading.seq, value.name, distance / typical)


def _toward_the_end(figure: Decimal, middle: Decimal, band: Band) -> bool:
    """True if a figure is nearer to the only end of its limit than its siblings. The other side is better, not odd."""
    return figure > middle if band.high is not None else figure < middle
