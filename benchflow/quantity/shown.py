"""Shows quantities and limits as text in trade notation. The parsers accept this text."""

from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from math import log10

from benchflow.quantity.arithmetic import (
    base,
    check_convertible,
    difference_factor,
    dimension_of,
    from_base,
    scan_entered,
)
from benchflow.quantity.numerals import Number
from benchflow.quantity.types import Limit, Quantity


def show(q: Quantity, *, digits: int | None = None) -> str:
    """Return a quantity as text, such as ``0.045 mm``, ``90°`` or ``2 turns``.

    It has all digits as written, or is rounded to ``digits`` decimals, halves away from zero.
    """
    value = q.value if digits is None else round_half_up(Fraction(q.value), digits)
    return with_unit(f"{value:f}", q.unit)


_MOST_DIGITS = 10
"""A number with more digits comes from a division, not from a person or a gauge. Source: our own rule."""


def show_short(q: Quantity) -> str:
    """Return a stored quantity as text for people, to the digits that its reading bears: ``52.0116 mm`` for 2.0477 in.

    ``entered`` decides. If it is the same value in the unit of ``q``, its digits are shown. This includes the rounded
    text of a calculated value. If it is in another unit, the rule of :func:`show_converted` applies. Without such a
    text, all digits of the value are shown, or six significant digits if it has more than ten. Halves are rounded away
    from zero. Only for display: never judge or store the result. Source: our own rule.
    """
    return _shown_short(str(q.value), q)


@lru_cache(4096)
def _shown_short(_digits: str, q: Quantity) -> str:
    """The text of :func:`show_short`. ``_digits`` keeps equal quantities apart: 1.0 and 1.00."""
    typed = scan_entered(q)
    if typed is not None and typed[0].value is not None:
        number, unit = typed
        written = Quantity(typed[0].value, unit.symbol, "")
        if len(written.value.as_tuple().digits) <= _MOST_DIGITS and _means_the_same(written, number, q):
            return show(written) if unit.symbol == q.unit else show_converted(written, q.unit)
    if len(q.value.as_tuple().digits) <= _MOST_DIGITS:
        return show(q)
    return with_unit(f"{Context(prec=6, rounding=ROUND_HALF_UP).plus(q.value):f}", q.unit)


def decimals_shown(q: Quantity) -> int:
    """Return the number of decimals in the text of :func:`show_short`."""
    return len(show_short(q).split(" ")[0].rstrip("°").partition(".")[2])


def decimals_converted(q: Quantity, unit: str) -> int:
    """Return the number of decimals that the digits of ``q`` bear in ``unit``, as in :func:`show_converted`."""
    if unit == q.unit:
        return decimals_shown(q)
    worth = log10(float(difference_factor(q.unit) / difference_factor(unit))) - decimals_shown(q)
    return max(-round(worth - 1), 0)


def decimals_that_tell(number: Fraction, other: Fraction, places: int, *, shown: Fraction | None = None) -> int:
    """Return the number of decimals, at least ``places``, that leave ``number`` on its side of ``other``.

    ``shown`` is ``other`` as it is shown. Beyond ten decimals the answer is ``places``.
    """
    side, beside = _sign(number - other), other if shown is None else shown
    if not side:
        return places
    fitting = (n for n in range(places, _MOST_DIGITS + 1) if _sign(Fraction(round_half_up(number, n)) - beside) == side)
    return next(fitting, places)


def _sign(number: Fraction) -> int:
    return (number > 0) - (number < 0)


def _means_the_same(written: Quantity, number: Number, q: Quantity) -> bool:
    """True if ``q`` is the ``written`` quantity, or is rounded to it."""
    if dimension_of(written.unit) != dimension_of(q.unit):
        return False
    step = number.step if number.step is not None and not number.is_fraction else Fraction(0)
    return abs(base(written) - base(q)) <= step * difference_factor(written.unit) / 2


def show_with_typed(q: Quantity, word: str = "typed ") -> str:
    """Return a stored quantity for people, with the text typed in another unit: ``52.0116 mm (typed 2.0477 in)``."""
    own, typed = show_short(q), q.entered.strip()
    found = scan_entered(q)
    exact = f"{q.value:f}"
    same = typed in ("", own, exact, with_unit(exact, q.unit)) or (found is not None and found[1].symbol == q.unit)
    return own if same else f"{own} ({word}{typed})"


def with_unit(number: str, unit: str) -> str:
    """Return a number with its unit in the usual form: ``90°``, ``1 turn``, ``2 turns``, ``5 mm``."""
    if not unit or unit == "°":
        return number + unit
    if unit == "turn" and number.lstrip("-") != "1" and not number.lstrip("-").startswith("0"):
        unit = "turns"
    return f"{number} {unit}"


def round_half_up(value: Fraction, places: int) -> Decimal:
    """Return ``value`` rounded to ``places`` decimals, halves away from zero, directly from the exact fraction."""
    scaled = abs(value) * Fraction(10) ** places
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return Decimal(f"{'-' if value < 0 and whole else ''}{whole}E{-places}")


def show_converted(q: Quantity, unit: str, *, difference: bool = False) -> str:
    """Return the quantity as text in another unit, with a sensible number of digits: ``8.13 N·m`` for ``72 in-lb``.

    The text has about one digit more than was entered, and at least three significant digits. An exact
    result gets no trailing zeros beyond the entered precision. Only for display: use :func:`convert` to judge and to
    store. Source: our own rule, one guard digit.

    Raises:
        QuantityError: the units have different dimensions (``wrong-dimension``).
    """
    if unit == q.unit:
        return show(q)
    check_convertible(q, unit)
    worth = _exponent(q.value) + log10(float(difference_factor(q.unit) / difference_factor(unit)))
    start = Fraction(q.value) * difference_factor(q.unit) if difference else base(q)
    exact = from_base(start, unit, difference=difference)
    places = -round(worth - 1)
    if exact:
        places = max(places, 2 - magnitude(exact))  # at least three significant digits
    shown = round_half_up(exact, max(places, 0))
    if Fraction(shown) == exact:
        shown = _without_zeros(shown, max(-round(worth), 0) if exact else 0)
    return with_unit(f"{shown:f}", unit)


def _exponent(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def magnitude(value: Fraction) -> int:
    """Return the power of ten of the first significant digit: 0 for 1 to 9.99, -2 for 0.045."""
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
    """Return a limit as text: as the author wrote it, or ``0.10 .. 0.28 mm`` if it was not written.

    If ``unit`` is given, the first column is converted by :func:`show_converted`.

    Raises:
        QuantityError: ``unit`` has another dimension (``wrong-dimension``).
    """
    if unit is None and limit.text:
        return limit.text
    first = _show_column(limit, unit)
    if unit is not None or limit.other is None:
        return first
    columns = []
    other: Limit | None = limit.other
    while other is not None:
        columns.append(other.text or _show_column(other, None))
        other = other.other
    return f"{first} ({', '.join(columns)})"


def _show_column(limit: Limit, unit: str | None) -> str:
    def end(q: Quantity) -> str:
        return show(q) if unit is None else show_converted(q, unit)

    if limit.nominal is not None:
        return end(limit.nominal)
    if limit.low is None:
        return f"{'below' if limit.high_open else 'at most'} {end(limit.high)}" if limit.high is not None else ""
    if limit.high is None:
        return f"{'above' if limit.low_open else 'at least'} {end(limit.low)}"
    low, high = end(limit.low), end(limit.high)
    same = limit.low.unit == limit.high.unit or unit is not None
    symbol = unit if unit is not None else limit.low.unit
    if same and symbol and low.endswith(symbol):
        low = low[: -len(symbol)].rstrip()
    return f"{low} .. {high}"
