"""Is this instrument fit for what is wanted today? The answer is data: fit, or every reason why not.

The rules: it is of the kind asked for; what is wanted lies within its range; a torque wrench is not
used below 20 % of its scale (ISO 6789-1 tests from 20 % up; US Army TM 1-1500-204-23-9 table 8-1 states
no accuracy below); its calibration has not run out, by date or by uses (ISO 6789: 12 months or 5000
cycles unless the user's own procedure says otherwise); its uncertainty is small enough.
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
    """An uncertainty as a share of the reading."""

    percent: Decimal
    text: str


class FixedUncertainty(Struct, frozen=True, tag="width"):
    """An uncertainty as a quantity, the same anywhere in the range."""

    quantity: Quantity
    text: str


Uncertainty = PercentUncertainty | FixedUncertainty


class Instrument(Struct, frozen=True, omit_defaults=True):
    """What the shop knows about one instrument.

    ``uncertainty`` is expanded (U) with coverage factor ``k``. ``uses_before`` are those since the last
    calibration that no session accounts for, ``uses_in`` those of each session since then.
    ``lever`` is a wrench's length from the square to the middle of the grip.
    """

    id: str
    kind: str
    title: str = ""
    serial: str = ""
    range: Limit | None = None
    scale: Quantity | None = None  # full scale, where it differs from the range's upper end
    uncertainty: Uncertainty | None = None
    k: Decimal = Decimal(2)
    calibrated: date | None = None
    due: date | None = None
    uses_before: int = 0
    uses_in: dict[str, int] = {}
    uses_allowed: int | None = None
    lever: Quantity | None = None
    doubt: str = ""  # dropped, overloaded, found bad: why it may not be used until it is calibrated
    retired: date | None = None
    note: str = ""

    @property
    def uses(self) -> int:
        """Uses since the last calibration."""
        return self.uses_before + sum(self.uses_in.values())

    @property
    def name(self) -> str:
        """What a person calls it: ``click wrench 20-120 (T-0117)``."""
        return f"{self.title or self.id} ({self.serial})" if self.serial else self.title or self.id


def same_kind(one: str, other: str) -> bool:
    """Whether two kinds are the same but for capitals, spaces, dashes and underscores."""
    return _words(one) == _words(other)


def is_torque(kind: str) -> bool:
    """Whether it is a tool that a torque is set or read with: the word stands in its kind."""
    return "torque" in _words(kind)


def _words(kind: str) -> list[str]:
    return kind.casefold().replace("-", " ").replace("_", " ").split()


def full_scale(instrument: Instrument) -> Quantity | None:
    """The upper end of its scale."""
    if instrument.scale is not None:
        return instrument.scale
    return None if instrument.range is None else instrument.range.high


def due_date(instrument: Instrument) -> date | None:
    """When calibration runs out: the date on record; for a torque tool, else 12 months after the last."""
    if instrument.due is not None or instrument.calibrated is None or not is_torque(instrument.kind):
        return instrument.due
    return add_months(instrument.calibrated, TORQUE_MONTHS)


def uses_allowed(instrument: Instrument) -> int | None:
    """How many uses a calibration is good for; 5000 for a torque tool that has no number of its own."""
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
    kind: str
    wanted: str

    @property
    def words(self) -> str:
        return f"it is a {self.kind} instrument; {self.wanted} is wanted"


class Retired(Struct, frozen=True, tag="retired"):
    on: date

    @property
    def words(self) -> str:
        return f"it was retired on {self.on}"


class InDoubt(Struct, frozen=True, tag="in-doubt"):
    why: str

    @property
    def words(self) -> str:
        return f"it is in doubt until it is calibrated again: {self.why}"


class NoCalibration(Struct, frozen=True, tag="no-calibration"):
    @property
    def words(self) -> str:
        return "no calibration is on record"


class CalibrationOver(Struct, frozen=True, tag="calibration-over"):
    due: date
    days: int

    @property
    def words(self) -> str:
        return f"its calibration ran out on {self.due}, {self.days} day{'' if self.days == 1 else 's'} ago"


class UsesOver(Struct, frozen=True, tag="uses-over"):
    uses: int
    allowed: int

    @property
    def words(self) -> str:
        return f"it has been used {self.uses} times since its calibration, {self.allowed} are allowed"


class RangeUnknown(Struct, frozen=True, tag="range-unknown"):
    wanted: str

    @property
    def words(self) -> str:
        return f"no range is on record, and {self.wanted} is wanted"


class OtherQuantity(Struct, frozen=True, tag="other-quantity"):
    wanted: str
    range: str

    @property
    def words(self) -> str:
        return f"its range is {self.range}, and {self.wanted} is wanted"


class OutOfRange(Struct, frozen=True, tag="out-of-range"):
    wanted: str
    range: str
    side: Literal["low", "high"]

    @property
    def words(self) -> str:
        return f"{self.wanted} is {'below' if self.side == 'low' else 'above'} its range, {self.range}"


class LowOnScale(Struct, frozen=True, tag="low-on-scale"):
    wanted: str
    lowest: str

    @property
    def words(self) -> str:
        return f"{self.wanted} is below 20 % of its scale, {self.lowest}"


class UncertaintyUnknown(Struct, frozen=True, tag="uncertainty-unknown"):
    allowed: str

    @property
    def words(self) -> str:
        return f"no uncertainty is on record, and {self.allowed} is asked for"


class TooUncertain(Struct, frozen=True, tag="too-uncertain"):
    has: str
    allowed: str

    @property
    def words(self) -> str:
        return f"its uncertainty is {self.has}; {self.allowed} is asked for"


Unfit = (
    OtherKind | Retired | InDoubt | NoCalibration | CalibrationOver | UsesOver | RangeUnknown
    | OtherQuantity | OutOfRange | LowOnScale | UncertaintyUnknown | TooUncertain
)  # fmt: skip


def fitness(instrument: Instrument, need: InstrumentNeed, wanted: Quantity | None, on: date) -> tuple[Unfit, ...]:
    """Every reason why ``instrument`` is not fit; empty when it is.

    ``wanted`` is the setting or reading it is to be used for. Without one, what the need ``covers`` has
    to lie within its range, and the 20 % rule waits for a wanted value.
    """
    if not same_kind(instrument.kind, need.kind):
        return (OtherKind(instrument.kind, need.kind),)
    return (
        *_standing(instrument, on),
        *(_reach(instrument, need) if wanted is None else _reaches(instrument, wanted)),
        *_sharpness(instrument, need, wanted),
    )


def _standing(instrument: Instrument, on: date) -> list[Unfit]:
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


def _reach(instrument: Instrument, need: InstrumentNeed) -> list[Unfit]:
    """Whether the range holds all that the need covers."""
    if need.covers is None:
        return []
    ends = [end for end in (need.covers.low, need.covers.high) if end is not None]
    found = (_outside(instrument, end) for end in ends)
    return [reason for reason in found if reason is not None][:1]


def _reaches(instrument: Instrument, wanted: Quantity) -> list[Unfit]:
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


def _sharpness(instrument: Instrument, need: InstrumentNeed, wanted: Quantity | None) -> list[Unfit]:
    allowed = None if need.uncertainty is None else need.uncertainty.high
    if need.uncertainty is None or allowed is None:
        return []
    if instrument.uncertainty is None:
        return [UncertaintyUnknown(need.uncertainty.text)]
    has = _comparable(instrument.uncertainty, dimension_of(allowed.unit) == "fraction", _worst(instrument, wanted))
    if has is None or has <= width(allowed):
        return []
    return [TooUncertain(instrument.uncertainty.text, need.uncertainty.text)]


def _worst(instrument: Instrument, wanted: Quantity | None) -> Quantity | None:
    """Where the uncertainty is to be looked at: what is wanted, else the top of the scale."""
    return wanted if wanted is not None else full_scale(instrument)


def _comparable(uncertainty: Uncertainty, as_share: bool, at: Quantity | None) -> Fraction | None:
    """The uncertainty in the allowed one's base unit, ``None`` where the two cannot be compared."""
    if isinstance(uncertainty, PercentUncertainty):
        share = Fraction(uncertainty.percent) / 100
        if as_share:
            return share
        return None if at is None else share * abs(base(at))
    if not as_share:
        return width(uncertainty.quantity)
    return None if at is None or base(at) == 0 else width(uncertainty.quantity) / abs(base(at))


def standard_uncertainty(instrument: Instrument, reading: Quantity) -> Quantity | None:
    """u = U / k of a reading taken with it, in the reading's unit; ``None`` where none is on record."""
    if instrument.uncertainty is None:
        return None
    if isinstance(instrument.uncertainty, PercentUncertainty):
        value = abs(reading.value) * instrument.uncertainty.percent / 100 / instrument.k
        return Quantity(value, reading.unit, f"{instrument.uncertainty.text} of {show(reading)}, k = {instrument.k}")
    u = in_unit(width(instrument.uncertainty.quantity) / Fraction(instrument.k), reading.unit, difference=True)
    return Quantity(u.value, u.unit, f"{instrument.uncertainty.text}, k = {instrument.k}")
