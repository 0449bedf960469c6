"""Exact values of readings and statistics, and what is known about their uncertainty.

Every verdict is made from a :class:`Measurement`. Numbers are exact fractions in base units, so a verdict does not
depend on the unit in which a reading was typed or stored. A measurement keeps the slope of each reading that it depends
on, through any number of formulas. So a reading or an instrument that two values share counts once.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import CalculatedValue, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, base, base_of_difference
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import decimals_shown, round_half_up, show_short, with_unit
from benchflow.session.state.event_basics import InstrumentShare
from benchflow.session.state.events import StoredQuantity
from benchflow.session.state.state import Attempt, State
from benchflow.trade.uncertainty import ReadingUncertainty, combined_uncertainty

NEW_READING = 0
"""The key of a reading that is not in the log yet. The keys of the others are their ``seq``."""

MOST_INSTRUMENTS = 100
"""More instruments than one reading is ever taken with, to tell the keys of their errors apart."""


class Measurement(Struct, frozen=True):
    """An exact value with the slopes of the readings that it depends on.

    ``exact`` is in the base unit. ``shown`` is the value for people: a reading as it was typed, any other value rounded
    for display. ``difference`` is true for a difference of temperatures. ``slopes`` has the change of the value for a
    change of each reading, by the ``seq`` of the reading, and ``readings`` their uncertainties. ``unknown`` names the
    values that it depends on whose uncertainty is not known. ``turning`` names those of them that are so close to a
    place where their formula changes abruptly that they can be on its other side.
    """

    exact: Fraction
    shown: Quantity
    difference: bool = False
    slopes: dict[int, float] = {}
    readings: dict[int, ReadingUncertainty] = {}
    unknown: tuple[str, ...] = ()
    turning: tuple[str, ...] = ()

    def uncertainty(self, value: RecordedValue | CalculatedValue) -> Fraction | None:
        """The standard uncertainty in the base unit, as ``value`` combines it; ``None`` if it is not known.

        It is not known if the uncertainty of one reading is not known. A value that does not depend on any reading is
        exact.
        """
        if self.unknown:
            return None
        return combined_uncertainty(
            self.slopes, self.readings, independent=value.independent, comparison=value.comparison
        )

    def minus(self, other: "Measurement") -> "Measurement":
        """The difference of two measurements. It is shown like the first one."""
        return replace(
            self,
            exact=self.exact - other.exact,
            difference=True,
            slopes=sum_of_slopes(((1.0, self.slopes), (-1.0, other.slopes))),
            readings={**self.readings, **other.readings},
            unknown=unknown_names(self, other),
            turning=turning_names(self, other),
        )


def from_stored(stored: StoredQuantity) -> Quantity:
    """The quantity that was stored in the log."""
    return Quantity(Decimal(stored.value), stored.unit, stored.entered)


def last_attempts(state: State, step: str, name: str) -> dict[str, Attempt]:
    """The last entry of each reading of a value, by slot. Only these count."""
    readings = state.work(step).readings.get(name, {})
    return {slot: attempts[-1] for slot, attempts in readings.items() if attempts}


def next_open_slot(state: State, step: Step, record: RecordedValue) -> str:
    """The first reading that is not entered; the first of all if all are."""
    given = last_attempts(state, step.id, record.name)
    return next((slot for slot in record.slots if slot not in given), record.slots[0])


def reading_measurement(
    record: RecordedValue,
    quantity: Quantity,
    u: Quantity | None,
    instrument: str,
    key: int = NEW_READING,
    shares: Sequence[InstrumentShare] = (),
) -> Measurement:
    """The measurement of one reading. ``u`` is its standard uncertainty, ``key`` the ``seq`` of its log line.

    ``shares`` has the instruments of a reading that was taken with several. Each has an error of its own, which it
    shares with its other readings.
    """
    if u is not None and shares:
        return _reading_by_several(record, quantity, shares, key)
    if u is None:
        return Measurement(base(quantity), quantity, unknown=(record.name,))
    # The error of an independent reading is its own: it is grouped as if it had its own instrument.
    source = f"{instrument}, reading {key}" if record.independent else instrument
    known = {key: ReadingUncertainty(base_of_difference(u), source, record.comparison)}
    return Measurement(base(quantity), quantity, slopes={key: 1.0}, readings=known)


def _reading_by_several(
    record: RecordedValue, quantity: Quantity, shares: Sequence[InstrumentShare], key: int
) -> Measurement:
    known: dict[int, ReadingUncertainty] = {}
    for index, share in enumerate(shares):
        if share.uncertainty is None:
            return Measurement(base(quantity), quantity, unknown=(record.name,))
        # a key below zero is one of no log line: the error of a further instrument
        own = -(key * MOST_INSTRUMENTS + index) if index else key
        source = share.serial or share.instrument or ""
        source = f"{source}, reading {key}" if record.independent else source
        known[own] = ReadingUncertainty(base_of_difference(from_stored(share.uncertainty)), source, record.comparison)
    return Measurement(base(quantity), quantity, slopes=dict.fromkeys(known, 1.0), readings=known)


def combined_share(shares: Sequence[InstrumentShare], unit: str) -> Quantity | None:
    """The standard uncertainty of a reading by several instruments, in ``unit``; ``None`` if one is not known."""
    known: dict[int, ReadingUncertainty] = {}
    for index, share in enumerate(shares):
        if share.uncertainty is None:
            return None
        source = share.serial or share.instrument or ""
        known[index] = ReadingUncertainty(base_of_difference(from_stored(share.uncertainty)), source)
    u = combined_uncertainty(dict.fromkeys(known, 1.0), known)
    number = decimal(from_base(u, unit, difference=True))
    return Quantity(number, unit, show_short(Quantity(number, unit, "")))


def exact_measurement(quantity: Quantity) -> Measurement:
    """The measurement of a quantity that was not measured, such as the size of a part to buy. It is taken as exact."""
    return Measurement(base(quantity), quantity)


def attempt_measurement(record: RecordedValue, attempt: Attempt) -> Measurement:
    """The measurement of a reading in the log."""
    u = None if attempt.uncertainty is None else from_stored(attempt.uncertainty)
    return reading_measurement(record, from_stored(attempt.quantity), u, attempt.instrument, attempt.seq, attempt.tools)


def statistic(record: RecordedValue, measured: Sequence[Measurement]) -> Measurement:
    """The largest, the smallest, the spread or the mean of the readings, by the ``judge`` of the value.

    For ``judge: all`` it is the mean.
    """
    match record.judge:
        case "largest":
            return replace(max(measured, key=lambda one: one.exact), unknown=unknown_names(*measured))
        case "smallest":
            return replace(min(measured, key=lambda one: one.exact), unknown=unknown_names(*measured))
        case "spread":
            return spread(measured, record.unit)
        case _ if len(measured) == 1:
            return measured[0]
        case _:
            return _mean(measured, record.unit)


def spread(measured: Sequence[Measurement], unit: str) -> Measurement:
    """The largest reading minus the smallest. Of equal readings, these are the first and the last, not the same one."""
    largest = max(measured, key=lambda one: one.exact)
    smallest = min(reversed(measured), key=lambda one: one.exact)
    found = replace(largest.minus(smallest), unknown=unknown_names(*measured))
    return replace(found, shown=_rounded(found, measured, unit))


def unknown_names(*measured: Measurement) -> tuple[str, ...]:
    """The names of all values whose uncertainty is not known, each once."""
    return tuple(dict.fromkeys(name for one in measured for name in one.unknown))


def turning_names(*measured: Measurement) -> tuple[str, ...]:
    """The names of all values whose formula is close to a turn, each once."""
    return tuple(dict.fromkeys(name for one in measured for name in one.turning))


def _mean(measured: Sequence[Measurement], unit: str) -> Measurement:
    share = 1 / len(measured)
    found = Measurement(
        sum((one.exact for one in measured), Fraction(0)) / len(measured),
        measured[0].shown,
        measured[0].difference,
        sum_of_slopes((share, one.slopes) for one in measured),
        {key: reading for one in measured for key, reading in one.readings.items()},
        unknown_names(*measured),
    )
    return replace(found, shown=_rounded(found, measured, unit))


def _rounded(found: Measurement, measured: Iterable[Measurement], unit: str) -> Quantity:
    """The value for display: exact if it has at most two decimals more than the readings, otherwise with one more.

    Halves are rounded away from zero. Source: our own rule.
    """
    exact = from_base(found.exact, unit, difference=found.difference)
    finest = max(decimals_shown(one.shown) for one in measured)
    for places in range(finest, finest + 3):
        number = round_half_up(exact, places)
        if Fraction(number) == exact:
            break
    else:
        number = round_half_up(exact, finest + 1)
    return Quantity(decimal(exact), unit, with_unit(f"{number:f}", unit))


def sum_of_slopes(parts: Iterable[tuple[float, Mapping[int, float]]]) -> dict[int, float]:
    """The slopes of a sum of measurements, each with its factor, by the ``seq`` of the reading."""
    total: dict[int, float] = {}
    for factor, slopes in parts:
        for key, slope in slopes.items():
            total[key] = total.get(key, 0.0) + factor * slope
    return {key: slope for key, slope in total.items() if slope}


# --- values by name -----------------------------------------------------------------------------------


def recorded_measurements(state: State, step: Step, record: RecordedValue) -> dict[str, Measurement]:
    """The measurement of each reading of a recorded value that is there, by slot."""
    attempts = last_attempts(state, step.id, record.name)
    return {slot: attempt_measurement(record, attempts[slot]) for slot in record.slots if slot in attempts}
