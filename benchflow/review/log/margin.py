"""How much of a limit's band a value leaves."""

from decimal import Decimal, InvalidOperation
from functools import lru_cache

from msgspec import Struct

from benchflow.quantity import Quantity, QuantityError, convert, parse_limit


class Band(Struct, frozen=True):
    """A limit's ends in the unit of the value they are held against; ``None`` is open."""

    low: Decimal | None
    high: Decimal | None

    @property
    def two_ended(self) -> bool:
        return self.low is not None and self.high is not None


OPEN = Band(None, None)


@lru_cache(maxsize=4096)
def band(limit: str, unit: str) -> Band:
    """The ends of the limit ``limit`` (as the log has it) in ``unit``.

    A limit that cannot be drawn as a band (one that leans on an earlier reading, or of another form) is
    :data:`OPEN` at both ends: nothing can be said of the room it leaves.
    """
    if not limit:
        return OPEN
    try:
        parsed = parse_limit(limit, unit=unit)
        return Band(_end(parsed.low, unit), _end(parsed.high, unit))
    except QuantityError:
        return OPEN


def _end(quantity: Quantity | None, unit: str) -> Decimal | None:
    return None if quantity is None else convert(quantity, unit).value


def number(value: str) -> Decimal | None:
    """The number that the log holds as text; ``None`` when it is none."""
    try:
        parsed = Decimal(value)
    except InvalidOperation:
        return None
    return parsed if parsed.is_finite() else None


def room(value: Decimal, within: Band) -> float | None:
    """The part of the band left before the nearer end.

    Two ends: the distance to the nearer one as a part of the band's width (0.5 in its middle). One end:
    the distance to it as a part of the end's own value. Negative outside. ``None`` where there is no band
    to be a part of (no limit, a band of no width, one end that is zero). Common practice, no source.
    """
    low, high = within.low, within.high
    if low is not None and high is not None:
        width = high - low
        return float(min(value - low, high - value) / width) if width else None
    if high is not None:
        return float((high - value) / abs(high)) if high else None
    if low is not None:
        return float((value - low) / abs(low)) if low else None
    return None
