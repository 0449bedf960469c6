"""Numbers, moments and spans as a person reads them."""

from decimal import Decimal

from benchflow.quantity import Quantity, show_short
from benchflow.review.log.margin import Band


def shown(value: Decimal | str, unit: str) -> str:
    """``0.105 mm``; a bare count without unit. Rounded where it has no end: a mean of three, say."""
    return show_short(Quantity(Decimal(value), unit, ""))


def day(at: str) -> str:
    """``2026-03-02 18:40`` of an RFC 3339 moment, still UTC."""
    return f"{at[:10]} {at[11:16]}"


def count(number: int, what: str, many: str = "") -> str:
    """``1 fastener``, ``14 fasteners``."""
    return f"{number} {what if number == 1 else many or what + 's'}"


def room_left(share: float, within: Band, limit: str) -> str:
    """How near a value is to its limit: ``3 % of the band 0.10 .. 0.28 mm left``."""
    if within.two_ended:
        left = f"{max(share, 0):.0%}".replace("%", " %")
        return f"{left} of the band {limit} left"
    return f"{share:.1%}".replace("%", " %") + f" from its limit, {limit}"
