"""Instruments of the shop, and whether one is fit for a use: the reasons against it, as data.

An instrument is fit if it is of the required kind, the value is within its range, its calibration has not run out
by date or by uses, and its uncertainty is small enough. A torque wrench is not used below 20 % of its scale (ISO
6789-1 tests from 20 % up; US Army TM 1-1500-204-23-9 table 8-1 states no accuracy below). Its calibration lasts 12
months or 5000 uses unless the register says otherwise (ISO 6789).
"""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from msgspec import Struct

from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Limit, Quantity, base, dimension_of, show
from benchflow.trade.rounding import in_unit, width

TORQUE_MONTHS = 12
TORQUE_USES = 5000
LOWEST_SHARE = Fraction(20, 100)


class PercentUncertainty(Struct, frozen=True, tag="percent"):
    """An uncertainty in per cent of the reading."""

    percent: Decimal
    text: str


class FixedUncertainty(Struct, frozen=True, tag="width"):
    """An uncertainty that is the same over the whole range."""

    quantity: Quantity
    text: str


Uncertainty = PercentUncertainty | FixedUncertainty


class Instrument(Struct, frozen=True, omit_defaults=True):
    """One instrument of the register.

    ``uncertainty`` is the expanded uncertainty U with coverage factor ``k``. ``uses_in`` are the uses since the last
    calibration by session, ``uses_before`` those without a session. ``lever`` is the length of a wrench from the
    square to the middle of the grip.
    """

    id: str
    kind: str
    title: str = ""
    serial: str = ""
    range: Limit | None = None
    scale: Quantity | None = None  # end of the scale, where it is not the end of the range
    uncertainty: Uncertainty | None = None
    k: Decimal = Decimal(2)
    calibrated: date | None = None
    due: date | None = None
    uses_before: int = 0
    uses_in: dict[str, int] = {}
    uses_allowed: int | None = None
    lever: Quantity | None = None
    doubt: str = ""  # why it must be calibrated before its next use, such as "dropped"
    retired: date | None = None
    note: str = ""

    @property
    def uses(self) -> int:
        """Uses since the last calibration."""
        return self.uses_before + sum(self.uses_in.values())

    @property
    def name(self) -> str:
        """Title and serial number: ``click wrench 20-120 (T-0117)``."""
        return f"{self.title or self.id} ({self.serial})" if self.serial else self.title or self.id


def same_kind(one: str, other: str) -> bool:
    """True if two kinds differ only in capitals, spaces, dashes and underscores."""
    return _words(one) == _words(other)


def is_torque(kind: str) -> bool:
    """True if the kind of an instrument contains the word torque."""
    return "torque" in _words(kind)


def _words(kind: str) -> list[str]:
    return kind.casefold().replace("-", " ").replace("_", " ").split()


def full_scale(instrument: Instrument) -> Quantity | None:
    """The end of its scale, ``None`` where it is not known."""
    if instrument.scale is not None:
        return instrument.scale
    return None if instrument.range is None else instrument.range.high


def due_date(instrument: Instrument) -> date | None:
    """The last day of its calibration: the date on record, or for a torque tool 12 months after the last one."""
    if instrument.due is not None or instrument.calibrated is None or not is_torque(instrument.kind):
        return instrument.due
    return add_months(instrument.calibrated, TORQUE_MONTHS)


def uses_allowed(instrument: Instrument) -> int | None:
    """The number of uses that a calibration allows: that on record, or 5000 for a torque tool."""
    if instrument.uses_allowed is None and is_torque(instrument.kind):
        return TORQUE_USES
    return instrument.uses_allowed


def add_months(day: date, months: int) -> date:
    """The same day of a later month, or that month's last day."""
    count = day.month - 1 + months
    first = date(day.year + count // 12, count % 12 + 1, 1)
    following = date(first.year + first.month // 12, first.month % 12 + 1, 1)
    return min(first + timedelta(days=day.day - 1), following - timedelta(days=1))


# --- reasons ----------------------------------------------------------------------------------------


class OtherKind(Struct, frozen=True, tag="other-kind"):
    """The instrument is of another kind."""

    kind: str
    wanted: str

    @property
    def words(self) -> str:
        return f"it is a {self.kind} instrument; the step needs {self.wanted}"


class Retired(Struct, frozen=True, tag="retired"):
    """The instrument was retired."""

    on: date

    @property
    def words(self) -> str:
        return f"it was retired on {self.on}"


class InDoubt(Struct, frozen=True, tag="in-doubt"):
    """The instrument must be calibrated before its next use."""

    why: str

    @property
    def words(self) -> str:
        return f"it must be calibrated before it is used again: {self.why}"


class NoCalibration(Struct, frozen=True, tag="no-calibration"):
    """A torque tool has no calibration on record."""

    @property
    def words(self) -> str:
        return "no calibration is on record"


class CalibrationOver(Struct, frozen=True, tag="calibration-over"):
    """The calibration has run out."""

    due: date
    days: int

    @property
    def words(self) -> str:
        return f"its calibration ran out on {self.due}, {self.days} day{'' if self.days == 1 else 's'} ago"


class UsesOver(Struct, frozen=True, tag="uses-over"):
    """The uses since the last calibration are at their limit."""

    uses: int
    allowed: int

    @property
    def words(self) -> str:
        return f"it has been used {self.uses} times since its calibration ({self.allowed} allowed)"


class RangeUnknown(Struct, frozen=True, tag="range-unknown"):
    """The range is not on record."""

    wanted: str

    @property
    def words(self) -> str:
        return f"no range is on record, and the step needs {self.wanted}"


class OtherQuantity(Struct, frozen=True, tag="other-quantity"):
    """The instrument measures another quantity."""

    wanted: str
    range: str

    @property
    def words(self) -> str:
        return f"its range is {self.range}, and the step needs {self.wanted}"


class OutOfRange(Struct, frozen=True, tag="out-of-range"):
    """The value is outside the range."""

    wanted: str
    range: str
    side: Literal["low", "high"]

    @property
    def words(self) -> str:
        return f"{self.wanted} is {'below' if self.side == 'low' else 'above'} its range, {self.range}"


class LowOnScale(Struct, frozen=True, tag="low-on-scale"):
    """The value is below 20 % of the scale of a torque wrench."""

    wanted: str
    lowest: str

    @property
    def words(self) -> str:
        return f"{self.wanted} is below 20 % of its scale, {self.lowest}"


class UncertaintyUnknown(Struct, frozen=True, tag="uncertainty-unknown"):
    """The uncertainty is not on record."""

    allowed: str

    @property
    def words(self) -> str:
        return f"no uncertainty is on record; the step needs {self.allowed}"


class TooUncertain(Struct, frozen=True, tag="too-uncertain"):
    """The uncertainty is larger than the step allows."""

    has: str
    allowed: str

    @property
    def words(self) -> str:
        return f"its uncertainty is {self.has}; the step needs {self.allowed}"


Unfit = (
    OtherKind | Retired | InDoubt | NoCalibration | CalibrationOver | UsesOver | RangeUnknown
    | OtherQuantity | OutOfRange | LowOnScale | UncertaintyUnknown | TooUncertain
)  # fmt: skip


def fitness(instrument: Instrument, need: InstrumentNeed, wanted: Quantity | None, on: date) -> tuple[Unfit, ...]:
    """All reasons why ``instrument`` is not fit on the day ``on``; empty where it is fit.

    ``wanted`` is the setting or reading. Without one, the range must include all that the need ``covers``, and the
    20 % rule is not applied.
    """
    if not same_kind(instrument.kind, need.kind):
        return (OtherKind(instrument.kind, need.kind),)
    return (
        *_status_reasons(instrument, on),
        *(_cover_reasons(instrument, need) if wanted is None else _range_reasons(instrument, wanted)),
        *_uncertainty_reasons(instrument, need, wanted),
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


def _cover_reasons(instrument: Instrument, need: InstrumentNeed) -> list[Unfit]:
    """Reasons why the range does not include all that the need covers."""
    if need.covers is None:
        return []
    ends = [end for end in (need.covers.low, need.covers.high) if end is not None]
    found = (_outside(instrument, end) for end in ends)
    return [reason for reason in found if reason is not None][:1]


def _range_reasons(instrument: Instrument, wanted: Quantity) -> list[Unfit]:
    outside = _outside(instrument, wanted)
    if outside is not None:
        return [outside]
    scale = full_scale(instrument)
    if is_torque(instrument.kind) and scale is not None:
        lowest = LOWEST_SHARE * base(scale)
        if base(wanted) < lowest:
            return [LowOnScale(show(wanted), show(in_unit(lowest, scale.unit)))]
    return []


def _outside(instrument: Instrument, wanted: Quantity) -> Unfit | None:
    if instrument.range is None:
        return RangeUnknown(show(wanted))
    low, high = instrument.range.low, instrument.range.high
    if any(end is not None and dimension_of(end.unit) != dimension_of(wanted.unit) for end in (low, high)):
        return OtherQuantity(show(wanted), instrument.range.text)
    if low is not None and base(wanted) < base(low):
        return OutOfRange(show(wanted), instrument.range.text, "low")
    if high is not None and base(wanted) > base(high):
        return OutOfRange(show(wanted), instrument.range.text, "high")
    return None


def _uncertainty_reasons(instrument: Instrument, need: InstrumentNeed, wanted: Quantity | None) -> list[Unfit]:
    allowed = None if need.uncertainty is None else need.uncertainty.high
    if need.uncertainty is None or allowed is None:
        return []
    if instrument.uncertainty is None:
        return [UncertaintyUnknown(need.uncertainty.text)]
    has = _comparable(
        instrument.uncertainty, dimension_of(allowed.unit) == "fraction", _value_to_compare(instrument, wanted)
    )
    if has is None or has <= width(allowed):
        return []
    return [TooUncertain(instrument.uncertainty.text, need.uncertainty.text)]


def _value_to_compare(instrument: Instrument, wanted: Quantity | None) -> Quantity | None:
    """The value at which uncertainties are compared: the wanted one, or the end of the scale."""
    return wanted if wanted is not None else full_scale(instrument)


def _comparable(uncertainty: Uncertainty, as_share: bool, at: Quantity | None) -> Fraction | None:
    """The uncertainty as a share or in the base unit, as the allowed one; ``None`` where that is not possible."""
    if isinstance(uncertainty, PercentUncertainty):
        share = Fraction(uncertainty.percent) / 100
        if as_share:
            return share
        return None if at is None else share * abs(base(at))
    if not as_share:
        return width(uncertainty.quantity)
    return None if at is None or base(at) == 0 else width(uncertainty.quantity) / abs(base(at))


def standard_uncertainty(instrument: Instrument, reading: Quantity) -> Quantity | None:
    """u = U / k of a reading, in the unit of the reading; ``None`` where no uncertainty is on record."""
    if instrument.uncertainty is None:
        return None
    if isinstance(instrument.uncertainty, PercentUncertainty):
        value = abs(reading.value) * instrument.uncertainty.percent / 100 / instrument.k
        return Quantity(value, reading.unit, f"{instrument.uncertainty.text} of {show(reading)}, k = {instrument.k}")
    u = in_unit(width(instrument.uncertainty.quantity) / Fraction(instrument.k), reading.unit, difference=True)
    return Quantity(u.value, u.unit, f"{instrument.uncertainty.text}, k = {instrument.k}")
