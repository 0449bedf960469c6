"""Trade notation to exact numbers, and back; the one unit registry (pint) stays behind this door."""

from decimal import Decimal

from msgspec import Struct


class Quantity(Struct, frozen=True):
    """A number and its unit. ``unit`` is the canonical symbol; ``entered`` the text as it was written."""

    value: Decimal
    unit: str
    entered: str


class Limit(Struct, frozen=True):
    """Both ends are included; ``None`` is open. ``text`` is as the author wrote it."""

    low: Quantity | None
    high: Quantity | None
    text: str
