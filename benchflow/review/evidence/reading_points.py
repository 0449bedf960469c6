"""Weak points of values: out of their limit, near it, measured until they fitted, corrected, or widely spread."""

import math
from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import EqualWithin, Fixed
from benchflow.procedure.plan import Step
from benchflow.review.evidence.attempts import Attempts, attempts_of, retaken_checks
from benchflow.review.evidence.corrected_readings import typing_error_size
from benchflow.review.evidence.ranking import NEAR_SHARE, ONE_END_FACTOR, WeakPoint
from benchflow.review.formatting import count, margin_text, shown, shown_reading
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.margin import Band, band_of_limit, number
from benchflow.review.log.reading_values import Value
from benchflow.trade.verdict import OUT_OF_LIMIT

UNKNOWN_DISTANCE: Final = 0.25
"""The size of a value out of a limit whose band has no width, such as one with its only end at zero."""
COARSE_STEP: Final = 0.2
"""From this part of the band on, the step of the instrument is so coarse that a reading at the limit says nothing."""
AT_A_STEP: Final = 0.07
"""The size of a near limit for a reading with a step as coarse as that: it is mentioned."""
LEAST_SPREAD: Final = 0.2
SPREAD_BY_UNCERTAINTY: Final = 4.0
"""Readings of one place differ if they are further apart than this part of the band, and than so many standard
uncertainties: two readings within k = 2 of the true value are no further apart."""
READ_AGAIN_SIZE: Final = 0.7
"""An attempt out of the limit that was read again for a stated reason counts as this part of one."""


def reading_points(log: LoadedLog, step: Step, values: tuple[Value, ...]) -> Iterator[WeakPoint]:
    """The weak points of the recorded and calculated ``values`` of ``step``."""
    for value in values:
        yield from _limit_points(log, step, value)
        if not value.calculated and not value.further:
            yield from _spread_points(step, value)
    for record in step.operation.record:
        for index in range(len(record.also) + 1):
            for attempts in attempts_of(log, step, record, index, values):
                yield from _retaken_points(attempts)
                yield from _corrected_points(attempts)
    yield from retaken_checks(log, step)


# --- compared with the limit ------------------------------------------------------------------------


def _part_of_band(step: Step, value: Value, within: Band, share: float | None, u: float | None) -> float | None:
    """The margin ``share`` as a part of a band. ``u`` is the standard uncertainty of the figure; ``None``: not known.

    A limit with one end has no band. Its yardstick is the least of: the part of the end itself, the band for new parts,
    and the band of which the expanded uncertainty (k = 2) is as much as :data:`NEAR_SHARE` (own rule): 0.02 mm is near
    for a journal of 35 mm, and not for a clearance of 0.1 mm.
    """
    end = within.high if within.high is not None else within.low
    if share is None or within.two_ended or end is None:
        return share
    widths = [abs(float(end)) / ONE_END_FACTOR]
    record = step.record(value.name)
    if record is not None and isinstance(record.bound, Fixed) and not value.further:
        new = band_of_limit(record.bound.limit, record.unit)
        widths += [float(new.high - new.low)] if new.high is not None and new.low is not None else []
    widths += [2 * u / NEAR_SHARE] if u else []
    return share * abs(float(end)) / min(width for width in widths if width > 0)


def _u(reading: ReadingFact | None, value: Value) -> float | None:
    known = value.uncertainty if reading is None else number(reading.uncertainty)
    return None if known is None else float(known)


def _limit_points(log: LoadedLog, step: Step, value: Value) -> Iterator[WeakPoint]:
    last = max((reading.seq for reading in value.readings), default=None)
    waived = f"; waived by {value.waived}" if value.waived else ""
    if value.judged is None:
        return
    if value.verdict in OUT_OF_LIMIT:
        if not _followed_up(log, value):
            yield from _out_points(step, value, last, waived)
    elif value.verdict == "not-proven":
        words = f"{_figure_name(step, value)} is {value.judged_text}, not proven within {value.limit}"
        words += f": {value.reason}{waived}"
        yield WeakPoint("not-proven", words, last, value.name)
    else:
        yield from _near_limit_points(log, step, value, last)


def _followed_up(log: LoadedLog, value: Value) -> bool:
    """True if other steps of the build are only done because the value was found so, such as a change of shims."""
    return ValueRef.parse(value.name).name in log.procedure.deciding_names


def _out_points(step: Step, value: Value, last: int | None, waived: str) -> Iterator[WeakPoint]:
    """One point for the value: of its readings, the one that is farthest outside."""
    size, words, seq = -1.0, f"{_figure_name(step, value)} is {value.judged_text}, outside {value.limit}", last
    if value.each and not value.calculated:
        for reading in value.readings:
            within = value.bands[reading.slot]
            beyond = _beyond(_part_of_band(step, value, within, reading.share, _u(reading, value)))
            if reading.verdict in OUT_OF_LIMIT and beyond > size:
                slot = f" ({reading.slot})" if len(value.readings) > 1 else ""
                size, seq = beyond, reading.seq
                words = f"{value.ask}{slot} is {shown_reading(reading)}, outside {reading.limit}"
    if size < 0:
        size = _beyond(_part_of_band(step, value, value.band, value.share, _u(None, value)))
    yield WeakPoint("out-of-limit", f"{words}{waived}", seq, value.name, size)


def _figure_name(step: Step, value: Value) -> str:
    """The value, and what of its readings was compared with the limit: ``Gap, difference of its readings``."""
    record = step.record(value.name)
    if record is None or value.each or value.further or value.calculated or len(record.slots) == 1:
        return value.ask
    if isinstance(record.bound, EqualWithin) or record.judge == "spread":
        return f"{value.ask}, difference of its readings"
    return f"{value.ask}, {record.judge}"


def _beyond(part: float | None) -> float:
    return UNKNOWN_DISTANCE if part is None else max(-part, 0.0)


def _near_limit_points(log: LoadedLog, step: Step, value: Value, last: int | None) -> Iterator[WeakPoint]:
    """One point for the value: of its readings, the one that is nearest."""
    near: list[WeakPoint] = []
    for reading, _, share in value.margins():
        within = value.band if reading is None else value.bands.get(reading.slot, value.band)
        size = _part_of_band(step, value, within, share, _u(reading, value))
        if size is not None and 0 <= size < NEAR_SHARE:
            slot = f" ({reading.slot})" if reading is not None and len(value.readings) > 1 else ""
            figure = value.judged_text if reading is None else shown_reading(reading)
            name = _figure_name(step, value) if reading is None else f"{value.ask}{slot}"
            words = f"{name} {figure}: {margin_text(share, within, value.limit)}"
            if reading is not None and _step_share(log, value, reading) >= COARSE_STEP:
                size = max(size, AT_A_STEP)
            near.append(WeakPoint("near-limit", words, last if reading is None else reading.seq, value.name, size))
    if near:
        worst = min(near, key=lambda point: point.size)
        others = f" ({count(len(near) - 1, 'more reading')} as near)" if len(near) > 1 else ""
        yield replace(worst, words=f"{worst.words}{others}")


def _step_share(log: LoadedLog, value: Value, reading: ReadingFact) -> float:
    """The step in which a value was read, as a part of its band. 0 if it is not known.

    It is the largest number of which all readings of the value and both ends of the limit are multiples: feelers of
    0.05 mm read 0.20, 0.25 and 0.30 mm.
    """
    low, high = value.band.low, value.band.high
    numbers = {Decimal(each.value) for each in log.facts.readings if each.name == reading.name and not each.calculated}
    if low is None or high is None or high <= low or len(numbers) < 2:
        return 0.0
    places = max(0, *(-int(one.as_tuple().exponent) for one in (*numbers, low, high)))
    scaled = [int(one.scaleb(places)) for one in (*numbers, low, high)]
    return math.gcd(*scaled) / int((high - low).scaleb(places))


# --- earlier attempts --------------------------------------------------------------------------------


def _retaken_points(attempts: Attempts) -> Iterator[WeakPoint]:
    size = len(attempts.retaken) + READ_AGAIN_SIZE * len(attempts.read_again)
    out = (*attempts.retaken, *attempts.read_again)
    if out:
        times = count(len(out), "time")
        words = f"{attempts.title} was out of its limit {times} before the accepted reading, first {out[0].text}"
        if not attempts.retaken:
            words += ", and was read again for a stated reason"
        yield WeakPoint("retaken", words, out[0].seq, attempts.name, size)


def _corrected_points(attempts: Attempts) -> Iterator[WeakPoint]:
    for correction in attempts.corrections:
        size = typing_error_size(correction)
        words = (
            f"{attempts.title} was corrected from {shown_reading(correction.wrong)}, out of its limit "
            f"{correction.limit}, to {shown_reading(correction.right)}: {correction.reason}"
        )
        yield WeakPoint("corrected-in", words, correction.right.seq, attempts.name, size)


# --- spread ------------------------------------------------------------------------------------------


def _spread_points(step: Step, value: Value) -> Iterator[WeakPoint]:
    """The spread of readings that repeat one place, where neither the value nor a further limit judges it."""
    record = step.record(value.name)
    numbers = [Decimal(reading.value) for reading in value.readings]
    if record is None or record.by_place or len(numbers) < 2:
        return
    judged = isinstance(record.bound, EqualWithin) or "spread" in (record.judge, *(one.judge for one in record.also))
    low, high = value.band.low, value.band.high
    end = high if high is not None else low
    width = high - low if low is not None and high is not None else abs(end or Decimal(0))
    if judged or width <= 0:
        return
    spread = max(numbers) - min(numbers)
    part = float(spread / width)
    u = max((_u(reading, value) or 0.0 for reading in value.readings), default=0.0)
    if part >= LEAST_SPREAD and float(spread) > SPREAD_BY_UNCERTAINTY * u:
        figures = f"{shown(min(numbers), value.unit)} and {shown(max(numbers), value.unit)}"
        of = "the band" if value.band.two_ended else "the limit"
        words = f"{value.ask}: readings of one place differ, {figures}, {part:.0%} of {of} {value.limit}"
        yield WeakPoint("wide-spread", words.replace("%", " %"), value.readings[-1].seq, value.name, part)
