"""The margin of a value: how much of its limit's band is left before the nearer end."""

from decimal import Decimal, InvalidOperation
from functools import lru_cache

from msgspec import Struct

from benchflow.quantity import Quantity, QuantityError, convert, parse_limit


class Band(Struct, frozen=True):
    """The two ends of a limit, in the unit of the value; ``None``: no end on that side."""

    low: Decimal | None
    high: Decimal | None

    @property
    def two_ended(self) -> bool:
        """True if the band has both ends."""
        return self.low is not None and self.high is not None


OPEN = Band(None, None)


@lru_cache(maxsize=4096)
def band(limit: str, unit: str) -> Band:
    """The band of the limit ``limit`` (as written in the log) in ``unit``.

    :data:`OPEN` for a limit that is not given as numbers, such as one that depends on an earlier reading.
    """
    if not limit:
        return OPEN
    try:
        parsed = parse_limit(limit, unit=unit)
        return Band(_end_in_unit(parsed.low, unit), _end_in_unit(parsed.high, unit))
    except QuantityError:
        return OPEN


def _end_in_unit(quantity: Quantity | None, unit: str) -> Decimal | None:
    return None if quantity is None else convert(quantity, unit).value


def number(value: str) -> Decimal | None:
    """The number that a text of the log states; ``None`` if it is not a finite number."""
    try:
        parsed = Decimal(value)
    except InvalidOperation:
        return None
    return parsed if parsed.is_finite() else None


def margin(value: Decimal, within: Band) -> float | None:
    """The part of the band left before the nearer end, negative for a value outside.

    Two ends: distance to the nearer end / width of the band, so 0.5 in the middle. One end: distance to it / the end's
    own value. ``None`` if it cannot be calculated: no limit, a band of zero width, or a single end at zero.
    Common practice, no source.
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
