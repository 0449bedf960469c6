"""Student's t distribution: probability of a value by chance, and the value of a probability.

The probability is the regularized incomplete beta function, by its continued fraction (NIST Digital Library of
Mathematical Functions 8.17.22, with 26.5.27 of Abramowitz and Stegun for the distribution).
"""

from math import exp, inf, lgamma, log, sqrt
from typing import Final

_TINY: Final = 1e-300
_STEPS: Final = 300


def two_sided_probability(t: float, freedom: float) -> float:
    """The probability that chance gives a value of ``t`` or more, on either side, with ``freedom`` degrees of freedom.

    Raises:
        ValueError: ``freedom`` is not above zero.
    """
    if freedom <= 0:
        raise ValueError("the degrees of freedom must be above zero")
    return 0.0 if t in (inf, -inf) else _incomplete_beta(freedom / 2, 0.5, freedom / (freedom + t * t))


def two_sided_value(probability: float, freedom: float) -> float:
    """The value that chance reaches or passes, on either side, with ``probability`` (above 0 and below 1).

    Raises:
        ValueError: ``probability`` is not between 0 and 1.
    """
    if not 0 < probability < 1:
        raise ValueError("the probability must be above 0 and below 1")
    low, high = 0.0, 1.0
    while two_sided_probability(high, freedom) > probability:
        low, high = high, high * 2
    for _ in range(80):
        middle = (low + high) / 2
        if two_sided_probability(middle, freedom) > probability:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _incomplete_beta(a: float, b: float, x: float) -> float:
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    factor = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x))
    if x < (a + 1) / (a + b + 2):
        return factor * _continued_fraction(a, b, x) / a
    return 1 - factor * _continued_fraction(b, a, 1 - x) / b


def _continued_fraction(a: float, b: float, x: float) -> float:
    """The continued fraction by the method of Lentz."""
    c, d = 1.0, 1 / _not_zero(1 - (a + b) * x / (a + 1))
    value = d
    for m in range(1, _STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1 / _not_zero(1 + term * d)
            c = _not_zero(1 + term / c)
            value *= d * c
        if abs(d * c - 1) < 1e-15:
            break
    return value


def _not_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def grubbs_value(count: int, probability: float) -> float:
    """The largest distance from the mean, in standard deviations, that chance gives among ``count`` normal values.

    Chance passes it with ``probability``. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.

    Raises:
        ValueError: there are fewer than three values.
    """
    if count < 3:
        raise ValueError("an outlier needs three values")
    t = two_sided_value(probability / count, count - 2)
    return (count - 1) / sqrt(count) * sqrt(t * t / (count - 2 + t * t))
