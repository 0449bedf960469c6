"""Weak points of the instruments that a step used: overdue, out of range, in doubt, or not named."""

import re
from collections.abc import Iterable, Iterator
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, QuantityError, base, dimension_of, parse_limit, parse_quantity, show_short
from benchflow.review.evidence.ranking import WeakPoint, worst_first
from benchflow.review.formatting import count, local_day
from benchflow.review.log.facts import InstrumentFact, StageFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.margin import number
from benchflow.review.log.reading_values import Value
from benchflow.trade.instruments import CalibrationOver, InDoubt, Instrument, OutOfRange, UsesOver, due_date

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class InstrumentUse(Struct, frozen=True):
    """One use of an instrument: the event, its local day, and what it measured or was set to, if that is known."""

    serial: str
    need: str
    seq: int
    day: str
    value: Quantity | None


def instrument_points(
    log: LoadedLog, step: Step, values: tuple[Value, ...], stages: list[StageFact], shop: "Shop | None"
) -> Iterator[WeakPoint]:
    """The weak points of every instrument that ``step`` used; of its uses, the worst one for each kind.

    The log decides if it describes the instrument, otherwise the register of today.
    """
    uses = [*_reading_uses(values), *_stage_uses(stages)]
    by_serial: dict[str, list[InstrumentUse]] = {}
    for use in uses:
        if use.serial:
            by_serial.setdefault(use.serial, []).append(use)
    for serial, its_uses in by_serial.items():
        yield from _worst_of_each_kind(log, serial, its_uses, shop)
    for need in dict.fromkeys(use.need for use in uses if not use.serial and use.need):
        yield WeakPoint("no-serial", f"the log does not say which {_need_title(log, need)} was used", None, need)


def _reading_uses(values: tuple[Value, ...]) -> Iterator[InstrumentUse]:
    for reading in (reading for value in values for reading in value.readings):
        amount = number(reading.value)
        measured = None if amount is None else Quantity(amount, reading.unit, reading.entered)
        for serial, need in reading.tools:
            yield InstrumentUse(serial, need, reading.seq, local_day(reading.at), measured)


def _stage_uses(stages: Iterable[StageFact]) -> Iterator[InstrumentUse]:
    for stage in stages:
        for day in dict.fromkeys((local_day(stage.first_at), local_day(stage.last_at))):
            setting = None if stage.stretch else _quantity(stage.torque)
            yield InstrumentUse(stage.serial, stage.instrument, stage.seq, day, setting)


def _quantity(text: str) -> Quantity | None:
    try:
        return parse_quantity(text) if text else None
    except QuantityError:
        return None  # a limit, or a figure that is not known yet


def _worst_of_each_kind(
    log: LoadedLog, serial: str, uses: list[InstrumentUse], shop: "Shop | None"
) -> Iterator[WeakPoint]:
    found: dict[str, list[WeakPoint]] = {}
    registered = _registered(shop, serial)
    described = [fact for fact in log.facts.instruments if fact.serial == serial]
    for use in uses:
        known = next((fact for fact in reversed(described) if fact.seq <= use.seq), None)
        for point in _points_of_use(use, known, registered):
            found.setdefault(point.kind, []).append(point)
    for points in found.values():
        yield worst_first(points)[0]


def _registered(shop: "Shop | None", serial: str) -> Instrument | None:
    if shop is None:
        return None
    from benchflow.session.shop.register import find_instrument  # imported late: most reviews have no register

    return find_instrument(shop, serial)


def _points_of_use(
    use: InstrumentUse, known: InstrumentFact | None, registered: Instrument | None
) -> Iterator[WeakPoint]:
    yield from _overdue_points(use, known, registered)
    yield from _range_points(use, known, registered)
    for warning in () if known is None else known.warnings:
        if warning.startswith(UsesOver.BEGINS):
            uses, allowed = (int(figure) for figure in re.findall(r"\d+", warning)[:2])
            # By its uses as by its days: the part of the period beyond its end, as days of a year.
            days = (uses - allowed) / max(allowed, 1) * DAYS_IN_YEAR
            yield WeakPoint("instrument-overdue", f"{use.serial}: {warning}", use.seq, use.serial, days)
        elif warning.startswith(InDoubt.BEGINS):
            yield WeakPoint("instrument-bad", f"{use.serial}: {warning}. It was used on {use.day}", use.seq, use.serial)
        elif not warning.startswith(CalibrationOver.BEGINS):
            size = distance_out_of_range(use.value, known.range if known else "")
            if OutOfRange.NAMES in warning and use.value is not None and not size:
                continue  # the entry was corrected: the value in force is inside the range
            yield WeakPoint("instrument-unfit", f"{use.serial}: {warning}", use.seq, use.serial, size)
    if registered is not None:
        yield from doubt_points(registered, use.serial, use.day, use.seq)


def doubt_points(instrument: Instrument, serial: str, day: str, seq: int | None) -> Iterator[WeakPoint]:
    """The weak point of a use on the local ``day``, if the register has a doubt about the instrument on that day."""
    doubt = instrument.doubt_on(date.fromisoformat(day))
    if doubt is not None:
        words = f"the shop's register marks {serial} as doubtful: {doubt.words}. It was used on {day}"
        yield WeakPoint("instrument-bad", words, seq, serial, doubt.share(date.fromisoformat(day)))


DAYS_IN_YEAR = 365


def _overdue_points(
    use: InstrumentUse, known: InstrumentFact | None, registered: Instrument | None
) -> Iterator[WeakPoint]:
    due = known.due if known is not None else ""
    if known is None and registered is not None:
        ends = due_date(registered)
        due = "" if ends is None else ends.isoformat()
    late = (date.fromisoformat(use.day) - date.fromisoformat(due)).days if due else 0
    if late > 0:
        warnings = () if known is None else known.warnings
        words = next((one for one in warnings if one.startswith(CalibrationOver.BEGINS)), "")
        if not words:
            words = f"Its calibration had run out on {due}. It was used on {use.day}, {count(late, 'day')} later"
        yield WeakPoint("instrument-overdue", f"{use.serial}: {words}", use.seq, use.serial, late)


def _range_points(
    use: InstrumentUse, known: InstrumentFact | None, registered: Instrument | None
) -> Iterator[WeakPoint]:
    """A use out of the range that the register states, where the log has no warning about it."""
    if known is not None and known.warnings:
        return
    text = known.range if known is not None else ""
    if known is None and registered is not None and registered.range is not None:
        text = registered.range.text
    share = distance_out_of_range(use.value, text)
    if share > 0 and use.value is not None:
        words = f"{use.serial}: {show_short(use.value)} is outside its range, {text}"
        yield WeakPoint("instrument-unfit", words, use.seq, use.serial, share)


def distance_out_of_range(value: Quantity | None, text: str) -> float:
    """The distance of ``value`` out of the range ``text``, as a part of the larger of it and the end passed.

    It is 0 if the value is inside, or not known.
    """
    if value is None or not text:
        return 0.0
    try:
        limit = parse_limit(text)
    except QuantityError:
        return 0.0
    ends = [end for end in (limit.low, limit.high) if end is not None]
    if any(dimension_of(end.unit) != dimension_of(value.unit) for end in ends):
        return 0.0
    read = base(value)
    beyond = [(base(end) - read, base(end)) for end in (limit.low,) if end is not None]
    beyond += [(read - base(end), base(end)) for end in (limit.high,) if end is not None]
    distance, end_passed = max(beyond, default=(Fraction(0), Fraction(0)))
    return float(distance / max(abs(read), abs(end_passed))) if distance > 0 else 0.0


def _need_title(log: LoadedLog, need: str) -> str:
    found = log.procedure.instruments_by_id.get(need)
    return found.title or need if found is not None else need
