"""Quantities and limits as text in trade notation. The parsers read this text."""

from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from math import log10

from benchflow.quantity.arithmetic import base, check_convertible, difference_factor, from_base
from benchflow.quantity.types import Limit, Quantity


def show(q: Quantity, *, digits: int | None = None) -> str:
    """``0.045 mm``, ``90°``, ``2 turns``: all digits as written, or rounded half up to ``digits`` decimals."""
    value = q.value if digits is None else round_half_up(Fraction(q.value), digits)
    return with_unit(f"{value:f}", q.unit)


def show_short(q: Quantity) -> str:
    """All digits; six significant digits if there are more than ten, as after a division (our own rule).

    Only for display.
    """
    if len(q.value.as_tuple().digits) <= 10:
        return show(q)
    return with_unit(f"{Context(prec=6, rounding=ROUND_HALF_UP).plus(q.value):f}", q.unit)


def with_unit(number: str, unit: str) -> str:
    """A number as text, followed by its unit in the usual form."""
    if not unit or unit == "°":
        return number + unit
    if unit == "turn" and number.lstrip("-") != "1" and not number.lstrip("-").startswith("0"):
        unit = "turns"
    return f"{number} {unit}"


def round_half_up(value: Fraction, places: int) -> Decimal:
    """``value`` rounded to ``places`` decimals, halves away from zero, directly from the exact fraction."""
    scaled = abs(value) * Fraction(10) ** places
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return Decimal(f"{'-' if value < 0 and whole else ''}{whole}E{-places}")


def show_converted(q: Quantity, unit: str, *, difference: bool = False) -> str:
    """The quantity in another unit with a sensible number of digits: ``8.13 N·m`` for ``72 in-lb``.

    The last digit shown is the power of ten nearest to a tenth of a step of the last entered digit, with at least three
    significant digits. An exact result gets no trailing zeros beyond the entered precision (our own rule: one guard
    digit).

    Only for display; judge and store with :func:`convert`.
    """
    if unit == q.unit:
        return show(q)
    check_convertible(q, unit)
    worth = _exponent(q.value) + log10(float(difference_factor(q.unit) / difference_factor(unit)))
    start = Fraction(q.value) * difference_factor(q.unit) if difference else base(q)
    exact = from_base(start, unit, difference=difference)
    places = -round(worth - 1)
    if exact:
        size = magnitude(exact)
        places = max(places, 2 - size)  # three significant digits at least
    shown = round_half_up(exact, max(places, 0))
    if Fraction(shown) == exact:
        shown = _without_zeros(shown, max(-round(worth), 0) if exact else 0)
    return with_unit(f"{shown:f}", unit)


def _exponent(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def magnitude(value: Fraction) -> int:
    """The power of ten of the first significant digit: 0 for 1 to 9.99, -2 for 0.045."""
    size = len(str(abs(value.numerator))) - len(str(value.denominator))
    return size if abs(value) >= Fraction(10) ** size else size - 1


def _without_zeros(value: Decimal, keep: int) -> Decimal:
    text = f"{value:f}"
    if "." in text:
        whole, part = text.split(".")
        while len(part) > keep and part.endswith("0"):
            part = part[:-1]
        text = f"{whole}.{part}" if part else whole
    return Decimal(text)


def show_limit(limit: Limit, unit: str | None = None) -> str:
    """``0.10 .. 0.28 mm``, ``at most 0.05 mm``; converted by :func:`show_converted` if ``unit`` is given."""

    def end(q: Quantity) -> str:
        return show(q) if unit is None else show_converted(q, unit)

    if limit.low is None:
        return f"at most {end(limit.high)}" if limit.high is not None else ""
    if limit.high is None:
        return f"at least {end(limit.low)}"
    low, high = end(limit.low), end(limit.high)
    same = limit.low.unit == limit.high.unit or unit is not None
    symbol = unit if unit is not None else limit.low.unit
    if same and symbol and low.endswith(symbol):
        low = low[: -len(symbol)].rstrip()
    return f"{low} .. {high}"
