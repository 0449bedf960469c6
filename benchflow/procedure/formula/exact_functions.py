"""Roots, powers and functions of angles for exact fractions. What is irrational has 80 significant digits.

Angles are in degrees, the base unit. The sine of 30° is exactly 1/2, and so are the other rational results at multiples
of 30° and 45°. Otherwise Taylor series after a reduction of the argument (from memory).
"""

from collections.abc import Callable
from decimal import Context, Decimal
from fractions import Fraction
from math import isqrt
from typing import NamedTuple

PI = Fraction("3.14159265358979323846264338327950288419716939937510582097494459230781640628620899862803482534211706798")
"""π, rounded to 100 decimals."""

_DIGITS = Context(prec=90)
_SHORT = Decimal("1e-85")  # a series ends with a term that is this part of the first one

_SINE = {
    0: Fraction(0), 30: Fraction(1, 2), 90: Fraction(1), 150: Fraction(1, 2),
    180: Fraction(0), 210: Fraction(-1, 2), 270: Fraction(-1), 330: Fraction(-1, 2),
}  # fmt: skip
_ARC_SINE = {Fraction(n, 2): Fraction(degrees) for n, degrees in ((-2, -90), (-1, -30), (0, 0), (1, 30), (2, 90))}


class Rounded(NamedTuple):
    """A result, and whether it is exact. One that is not has 80 significant digits."""

    value: Fraction
    exact: bool


def exact_root(value: Fraction) -> Rounded:
    """The square root of a number that is not negative."""
    above, below = isqrt(value.numerator), isqrt(value.denominator)
    if above * above == value.numerator and below * below == value.denominator:
        return Rounded(Fraction(above, below), True)
    return Rounded(Fraction(_DIGITS.sqrt(_decimal(value))), False)


def exact_power(value: Fraction, exponent: Fraction) -> Rounded:
    """``value`` to a whole or half exponent. Zero has no negative power, a negative number no half power."""
    if exponent.denominator == 1:
        return Rounded(value**exponent.numerator, True)
    root = exact_root(value)
    return Rounded(root.value**exponent.numerator, root.exact)


def exact_sine(degrees: Fraction) -> Rounded:
    """The sine of an angle."""
    turned = degrees % 360
    if turned in _SINE:
        return Rounded(_SINE[int(turned)], True)
    sign = -1 if turned > 180 else 1
    turned %= 180
    turned = min(turned, 180 - turned)  # 0 .. 90
    found = _sine_series(turned) if turned <= 45 else _cosine_series(90 - turned)
    return Rounded(sign * found, False)


def exact_cosine(degrees: Fraction) -> Rounded:
    """The cosine of an angle."""
    return exact_sine(degrees + 90)


def exact_tangent(degrees: Fraction) -> Rounded | None:
    """The tangent of an angle; ``None`` at a right angle."""
    turned = degrees % 180
    if turned == 90:
        return None
    if turned in (45, 135):
        return Rounded(Fraction(1 if turned == 45 else -1), True)
    sine, cosine = exact_sine(turned), exact_cosine(turned)
    return Rounded(sine.value / cosine.value, sine.exact and cosine.exact)


def exact_arc_sine(value: Fraction) -> Rounded:
    """The angle from -90° to 90° with this sine, which is from -1 to 1."""
    if value in _ARC_SINE:
        return Rounded(_ARC_SINE[value], True)
    cosine = _DIGITS.sqrt(_decimal(1 - value * value))
    return exact_arc_tangent(value / Fraction(cosine))._replace(exact=False)


def exact_arc_cosine(value: Fraction) -> Rounded:
    """The angle from 0° to 180° with this cosine, which is from -1 to 1."""
    found = exact_arc_sine(value)
    return found._replace(value=90 - found.value)


def exact_arc_tangent(value: Fraction) -> Rounded:
    """The angle between -90° and 90° with this tangent."""
    if abs(value) in (0, 1):
        return Rounded(Fraction(45) * value, True)
    if abs(value) > 1:
        rest = exact_arc_tangent(1 / value).value
        return Rounded((90 if value > 0 else -90) - rest, False)
    halved = _decimal(value)
    for _ in range(4):  # the tangent of half the angle, four times
        square = _DIGITS.add(1, _DIGITS.multiply(halved, halved))
        halved = _DIGITS.divide(halved, _DIGITS.add(1, _DIGITS.sqrt(square)))
    x = Fraction(halved)
    radians = _series(x, lambda n: Fraction(-(2 * n - 1), 2 * n + 1) * x * x)
    return Rounded(16 * radians * 180 / PI, False)


def _sine_series(degrees: Fraction) -> Fraction:
    x = Fraction(_decimal(degrees * PI / 180))
    return _series(x, lambda n: -x * x / (2 * n * (2 * n + 1)))


def _cosine_series(degrees: Fraction) -> Fraction:
    x = Fraction(_decimal(degrees * PI / 180))
    return _series(Fraction(1), lambda n: -x * x / (2 * n * (2 * n - 1)))


def _series(first: Fraction, ratio: Callable[[int], Fraction]) -> Fraction:
    """The sum of a series: each term is the one before times ``ratio(n)``, from ``n`` = 1."""
    total = term = _decimal(first)
    least = _DIGITS.multiply(abs(term), _SHORT)
    n = 0
    while abs(term) > least:
        n += 1
        term = _DIGITS.multiply(term, _decimal(ratio(n)))
        total = _DIGITS.add(total, term)
    return Fraction(total)


def _decimal(value: Fraction) -> Decimal:
    return _DIGITS.divide(Decimal(value.numerator), Decimal(value.denominator))
