"""The instruments of the shop, and the reasons why one is not fit for a use.

An instrument is fit if it is of the required kind and the value is within its range. Its calibration must not have run
out, by date or by uses. Its uncertainty must be small enough. A torque wrench is not used below 20 % of its scale (ISO
6789-1 tests from 20 % up; US Army TM 1-1500-204-23-9 table 8-1 states no accuracy below). Its calibration lasts 12
months or 5000 uses unless the register states another period (ISO 6789).
"""

from calendar import monthrange
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import ClassVar, Literal

from msgspec import Struct

from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Limit, Quantity, base, base_of_difference, dimension_of, interval, show_short
from benchflow.trade.instrument_doubts import Doubt
from benchflow.trade.rounding import in_unit

TORQUE_MONTHS = 12
TORQUE_USES = 5000
LOWEST_SHARE = Fraction(20, 100)


class PercentUncertainty(Struct, frozen=True, tag="percent"):
    """An expanded uncertainty in per cent of the reading. ``text`` is the text of the register."""

    percent: Decimal
    text: str


class FixedUncertainty(Struct, frozen=True, tag="width"):
    """An expanded uncertainty that is the same over the whole range. ``text`` is the text of the register."""

    quantity: Quantity
    text: str


Uncertainty = PercentUncertainty | FixedUncertainty


class Instrument(Struct, frozen=True, omit_defaults=True):
    """One instrument of the register.

    ``uncertainty`` is the expanded uncertainty U with coverage factor ``k``. ``uses_in`` is the number of uses in each
    session since the last calibration, ``uses_before`` the number of other uses since then. ``lever`` is the length of
    a wrench from the square to the middle of the grip.
    """

    id: str
    kind: str
    title: str = ""
    serial: str = ""
    range: Limit | None = None
    scale: Quantity | None = None  # end of the scale, if it is not the end of the range
    uncertainty: Uncertainty | None = None
    k: Decimal = Decimal(2)
    calibrated: date | None = None
    due: date | None = None
    uses_before: int = 0
    uses_in: dict[str, int] = {}
    uses_allowed: int | None = None
    lever: Quantity | None = None
    doubt: str = ""  # the reason why it must be calibrated before its next use, such as "dropped"
    doubt_found: date | None = None  # the day on which that was found
    last_good: date | None = None  # the last day before that on which it was known to read right
    doubts: tuple[Doubt, ...] = ()  # the earlier ones, each ended by a calibration
    retired: date | None = None
    note: str = ""

    @property
    def uses(self) -> int:
        """The number of uses since the last calibration."""
        return self.uses_before + sum(self.uses_in.values())

    @property
    def all_doubts(self) -> tuple[Doubt, ...]:
        """The earlier doubts and the present one. Without a last good check, the last calibration is one."""
        if not self.doubt:
            return self.doubts
        good = self.last_good
        if good is None and self.calibrated is not None and (self.doubt_found or date.max) >= self.calibrated:
            good = self.calibrated
        return (*self.doubts, Doubt(self.doubt, self.doubt_found, good))

    def doubt_on(self, day: date) -> Doubt | None:
        """The doubt that covers a use on ``day``, the latest if there are several; ``None`` if there is none."""
        return next((doubt for doubt in reversed(self.all_doubts) if doubt.covers(day)), None)

    @property
    def name(self) -> str:
        """Title and serial number, such as ``click wrench 20-120 (T-0117)``."""
        return f"{self.title or self.id} ({self.serial})" if self.serial else self.title or self.id


def same_kind(one: str, other: str) -> bool:
    """True if two kinds are the same apart from capitals, spaces, dashes and underscores."""
    return _kind_words(one) == _kind_words(other)


def is_torque(kind: str) -> bool:
    """True if the kind of an instrument contains the word torque."""
    return "torque" in _kind_words(kind)


def _kind_words(kind: str) -> list[str]:
    return kind.casefold().replace("-", " ").replace("_", " ").split()


def full_scale(instrument: Instrument) -> Quantity | None:
    """Return the end of the scale of an instrument, ``None`` if it is not on record."""
    if instrument.scale is not None:
        return instrument.scale
    return None if instrument.range is None else instrument.range.high


def due_date(instrument: Instrument) -> date | None:
    """Return the last day on which the calibration is valid, ``None`` if it has no end.

    It is the due date on record. Without one, a torque tool is due 12 months after its last calibration (ISO 6789, as a
    wrench maker's page states it).
    """
    if instrument.due is not None or instrument.calibrated is None or not is_torque(instrument.kind):
        return instrument.due
    return add_months(instrument.calibrated, TORQUE_MONTHS)


def uses_allowed(instrument: Instrument) -> int | None:
    """Return the number of uses that a calibration allows, ``None`` if it is not limited.

    It is the number on record. Without one, a torque tool has 5000 uses (ISO 6789, as a wrench maker's page states it).
    """
    if instrument.uses_allowed is None and is_torque(instrument.kind):
        return TORQUE_USES
    return instrument.uses_allowed


def add_months(day: date, months: int) -> date:
    """Return the same day ``months`` later, or the last day of that month if it is shorter.

    The result is at most the last day of the calendar, 9999-12-31.
    """
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    if year > date.max.year:
        return date.max
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


# --- reasons ----------------------------------------------------------------------------------------
# Each reason has its data, and a ``message`` for people: one sentence without a full stop.


class OtherKind(Struct, frozen=True, tag="other-kind"):
    """The instrument is of another kind."""

    kind: str
    needed: str

    @property
    def message(self) -> str:
        return f"Its kind is {self.kind}, but the step needs {self.needed}"


class Retired(Struct, frozen=True, tag="retired"):
    """The instrument was retired."""

    on: date

    @property
    def message(self) -> str:
        return f"It was retired on {self.on}"


class InDoubt(Struct, frozen=True, tag="in-doubt"):
    """The instrument must be calibrated before its next use."""

    BEGINS: ClassVar = "It must be calibrated before its next use"

    reason: str

    @property
    def message(self) -> str:
        return f"{self.BEGINS} ({self.reason})"


class NoCalibration(Struct, frozen=True, tag="no-calibration"):
    """The instrument is a torque tool without a calibration on record."""

    @property
    def message(self) -> str:
        return "No calibration is on record"


class CalibrationOver(Struct, frozen=True, tag="calibration-over"):
    """The calibration has run out."""

    BEGINS: ClassVar = "Its calibration ran out on"

    due: date
    days: int

    @property
    def message(self) -> str:
        return f"{self.BEGINS} {self.due}, {self.days} day{'' if self.days == 1 else 's'} ago"


class UsesOver(Struct, frozen=True, tag="uses-over"):
    """The uses since the last calibration have reached their limit."""

    BEGINS: ClassVar = "It was used"

    uses: int
    allowed: int

    @property
    def message(self) -> str:
        return f"{self.BEGINS} {self.uses} times since its calibration (limit {self.allowed})"


class RangeUnknown(Struct, frozen=True, tag="range-unknown"):
    """The range is not on record."""

    value: str

    @property
    def message(self) -> str:
        return f"No range is on record, but the step needs {self.value}"


class OtherQuantity(Struct, frozen=True, tag="other-quantity"):
    """The instrument measures another quantity."""

    value: str
    range: str

    @property
    def message(self) -> str:
        return f"Its range is {self.range}, but the step needs {self.value}"


class OutOfRange(Struct, frozen=True, tag="out-of-range"):
    """The value is outside the range."""

    NAMES: ClassVar = "its range,"

    value: str
    range: str
    side: Literal["low", "high"]

    @property
    def message(self) -> str:
        return f"{self.value} is {'below' if self.side == 'low' else 'above'} {self.NAMES} {self.range}"


class LowOnScale(Struct, frozen=True, tag="low-on-scale"):
    """The value is below 20 % of the scale of a torque wrench."""

    value: str
    lowest: str

    @property
    def message(self) -> str:
        return f"{self.value} is below 20 % of its scale, {self.lowest}"


class UncertaintyUnknown(Struct, frozen=True, tag="uncertainty-unknown"):
    """The uncertainty is not on record."""

    allowed: str

    @property
    def message(self) -> str:
        return f"No uncertainty is on record, but the step needs {self.allowed}"


class TooUncertain(Struct, frozen=True, tag="too-uncertain"):
    """The uncertainty is larger than the step allows."""

    actual: str
    allowed: str

    @property
    def message(self) -> str:
        return f"Its uncertainty is {self.actual}, but the step needs {self.allowed}"


Unfit = (
    OtherKind | Retired | InDoubt | NoCalibration | CalibrationOver | UsesOver | RangeUnknown
    | OtherQuantity | OutOfRange | LowOnScale | UncertaintyUnknown | TooUncertain
)  # fmt: skip


def has_range_for(instrument: Instrument, value: Quantity) -> bool:
    """True if the range of an instrument is known, and is of the same quantity as ``value``."""
    ends = () if instrument.range is None else (instrument.range.low, instrument.range.high)
    return any(end is not None and dimension_of(end.unit) == dimension_of(value.unit) for end in ends)


def fitness(
    instrument: Instrument, need: InstrumentNeed, value: Quantity | None, on: date, *, together: bool = False
) -> tuple[Unfit, ...]:
    """Return all reasons why ``instrument`` is not fit on the day ``on``. The result is empty if it is fit.

    ``value`` is the setting or reading, in any unit. Without one, the range must include all that the need ``covers``,
    and the 20 % rule is not applied. The sources of the rules are in the docstring of this module. ``together`` means
    that another instrument is used for the same reading: then this one may have no range for it, such as a straightedge
    beside a feeler gauge.
    """
    beside = together and value is not None and not has_range_for(instrument, value)
    if not same_kind(instrument.kind, need.kind):
        return (OtherKind(instrument.kind, need.kind),)
    return (
        *_status_reasons(instrument, on),
        *(_required_range_reasons(instrument, need) if value is None or beside else _range_reasons(instrument, value)),
        *_uncertainty_reasons(instrument, need, value),
    )


def _status_reasons(instrument: Instrument, on: date) -> list[Unfit]:
    reasons: list[Unfit] = []
    if instrument.retired is not None and instrument.retired <= on:
        reasons.append(Retired(instrument.retired))
    if instrument.doubt:
        reasons.append(InDoubt(instrument.doubt))
    due = due_date(instrument)
    if due is not None and on > due:
        reasons.append(CalibrationOver(due, (on - due).days))
    if due is None and instrument.calibrated is None and is_torque(instrument.kind):
        reasons.append(NoCalibration())
    allowed = uses_allowed(instrument)
    if allowed is not None and instrument.uses >= allowed:
        reasons.append(UsesOver(instrument.uses, allowed))
    return reasons


def _required_range_reasons(instrument: Instrument, need: InstrumentNeed) -> list[Unfit]:
    """Return the first reason why the range does not include all that the need covers."""
    if need.covers is None:
        return []
    ends = [end for end in (need.covers.low, need.covers.high) if end is not None]
    found = (_outside(instrument, end) for end in ends)
    return [reason for reason in found if reason is not None][:1]


def _range_reasons(instrument: Instrument, value: Quantity) -> list[Unfit]:
    outside = _outside(instrument, value)
    if outside is not None:
        return [outside]
    scale = full_scale(instrument)
    if is_torque(instrument.kind) and scale is not None:
        lowest = LOWEST_SHARE * base(scale)
        if base(value) < lowest:
            return [LowOnScale(show_short(value), show_short(in_unit(lowest, scale.unit)))]
    return []


def _outside(instrument: Instrument, value: Quantity) -> Unfit | None:
    if instrument.range is None:
        return RangeUnknown(show_short(value))
    low, high = instrument.range.low, instrument.range.high
    if any(end is not None and dimension_of(end.unit) != dimension_of(value.unit) for end in (low, high)):
        return OtherQuantity(show_short(value), instrument.range.text)
    position = interval(instrument.range).position(base(value))
    return None if position == "within" else OutOfRange(show_short(value), instrument.range.text, position)


def _uncertainty_reasons(instrument: Instrument, need: InstrumentNeed, value: Quantity | None) -> list[Unfit]:
    allowed = None if need.uncertainty is None else need.uncertainty.high
    if need.uncertainty is None or allowed is None:
        return []
    if instrument.uncertainty is None:
        return [UncertaintyUnknown(need.uncertainty.text)]
    # Without a value, the uncertainties are compared at the end of the scale.
    at = value if value is not None else full_scale(instrument)
    actual = _comparable(instrument.uncertainty, dimension_of(allowed.unit) == "fraction", at)
    if actual is None or actual <= base_of_difference(allowed):
        return []
    return [TooUncertain(instrument.uncertainty.text, need.uncertainty.text)]


def _comparable(uncertainty: Uncertainty, as_share: bool, at: Quantity | None) -> Fraction | None:
    """Return the uncertainty at the value ``at``: as a share of the value, or in the base unit.

    ``None`` means that the conversion needs ``at``, and ``at`` is missing or zero.
    """
    if isinstance(uncertainty, PercentUncertainty):
        share = Fraction(uncertainty.percent) / 100
        if as_share:
            return share
        return None if at is None else share * abs(base(at))
    if not as_share:
        return base_of_difference(uncertainty.quantity)
    return None if at is None or base(at) == 0 else base_of_difference(uncertainty.quantity) / abs(base(at))


def standard_uncertainty(instrument: Instrument, reading: Quantity) -> Quantity | None:
    """Return the standard uncertainty u = U / k of a reading, in the unit of the reading.

    ``None`` means that no uncertainty is on record. Source: JCGM 100:2008 (from memory).
    """
    if instrument.uncertainty is None:
        return None
    if isinstance(instrument.uncertainty, PercentUncertainty):
        value = abs(reading.value) * instrument.uncertainty.percent / 100 / instrument.k
        return Quantity(
            value, reading.unit, f"{instrument.uncertainty.text} of {show_short(reading)}, k = {instrument.k}"
        )
    if dimension_of(instrument.uncertainty.quantity.unit) != dimension_of(reading.unit):
        return None  # an uncertainty of something else, such as the flatness of a straightedge beside an angle
    u = in_unit(
        base_of_difference(instrument.uncertainty.quantity) / Fraction(instrument.k), reading.unit, difference=True
    )
    return Quantity(u.value, u.unit, f"{instrument.uncertainty.text}, k = {instrument.k}")
