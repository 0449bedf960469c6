"""The margin of a value: how much of its limit's band is left before the nearer end."""

from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import lru_cache

from msgspec import Struct

from benchflow.quantity import Limit, Quantity, QuantityError, base, interval, parse_limit, show_converted, show_short
from benchflow.quantity.arithmetic import base_of_difference, decimal, from_base


class Band(Struct, frozen=True):
    """The two ends of a limit, in the unit of the value; ``None``: no end on that side.

    A limit that is printed in two units has the wider end of both columns. ``low_text`` and ``high_text`` are the ends
    rounded for display.
    """

    low: Decimal | None
    high: Decimal | None
    low_text: str = ""
    high_text: str = ""

    @property
    def two_ended(self) -> bool:
        """True if the band has both ends."""
        return self.low is not None and self.high is not None


OPEN = Band(None, None)


@lru_cache(maxsize=4096)
def band(limit: str, unit: str, *, difference: bool = False) -> Band:
    """The band of the limit ``limit`` (as written in the log) in ``unit``. ``difference`` is for temperatures.

    :data:`OPEN` for a limit that is not given as numbers, such as one that depends on an earlier reading.
    """
    if not limit:
        return OPEN
    try:
        return band_of_limit(parse_limit(limit, unit=unit), unit, difference=difference)
    except QuantityError:
        return OPEN


def band_of_limit(limit: Limit, unit: str, *, difference: bool = False) -> Band:
    """The band of a limit in ``unit``. ``difference`` means that it limits a temperature difference."""
    within = interval(limit, difference=difference)
    columns = [limit]
    while columns[-1].other is not None:
        columns.append(columns[-1].other)
    lows, highs = [column.low for column in columns], [column.high for column in columns]
    low, low_text = _end_in_unit(within.low, lows, unit, difference)
    high, high_text = _end_in_unit(within.high, highs, unit, difference)
    return Band(low, high, low_text, high_text)


def _end_in_unit(
    exact: Fraction | None, written: list[Quantity | None], unit: str, difference: bool
) -> tuple[Decimal | None, str]:
    """One end of a limit, and its text. ``written`` are the ends of the columns, one of which is the exact one."""
    if exact is None:
        return None, ""
    number = decimal(from_base(exact, unit, difference=difference))
    in_base = base_of_difference if difference else base
    text = next(
        (
            show_converted(end, unit, difference=difference)
            for end in written
            if end is not None and in_base(end) == exact
        ),
        show_short(Quantity(number, unit, "")),
    )
    return number, text


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
