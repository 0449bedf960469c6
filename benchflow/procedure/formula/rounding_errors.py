"""Bounds of the errors that rounded functions leave in a result, and the removal of these errors.

A bound ``k`` means that the number is wrong by less than 2 to the ``k``; ``None`` means that it is exact. All bounds
are on the safe side by at least a factor of two.
"""

from fractions import Fraction

from benchflow.quantity.arithmetic import simplest_fraction_within

ErrorBits = int | None

OF_PI = -330  # 100 decimals
_OF_FUNCTION = -260  # 80 significant digits, relative to the result
_RELIABLE = 100
"""A rounded number with fewer exact bits than this is not used."""


def bits(value: Fraction) -> int:
    """The least ``k`` known from the digits so that ``value`` is below 2 to the ``k``; at least 2 to ``k - 2``."""
    return value.numerator.bit_length() - value.denominator.bit_length() + 1


def of_sum(*errors: ErrorBits) -> ErrorBits:
    known = [error for error in errors if error is not None]
    return max(known) + len(known).bit_length() if known else None


def of_product(one: Fraction, one_error: ErrorBits, two: Fraction, two_error: ErrorBits) -> ErrorBits:
    parts = [] if two_error is None else [bits(one) + two_error]
    if one_error is not None:
        parts += [bits(two) + one_error, *([] if two_error is None else [one_error + two_error])]
    return of_sum(*parts)


def of_quotient(quotient: Fraction, error: ErrorBits, divisor: Fraction, divisor_error: ErrorBits) -> ErrorBits:
    parts = [] if error is None else [error]
    parts += [] if divisor_error is None else [bits(quotient) + divisor_error]
    total = of_sum(*parts)
    return None if total is None else total - bits(divisor) + 4


def of_power(result: Fraction, of: Fraction, error: ErrorBits, *, exact: bool) -> ErrorBits:
    """The error of a power of at most 12, whose root was rounded if it is not ``exact``."""
    parts = [] if exact else [bits(result) + _OF_FUNCTION + 4]
    if error is not None:
        parts.append(error // 2 + 2 if of == 0 else error + bits(result) - bits(of) + 8)
    return of_sum(*parts)


def of_function(result: Fraction, error: ErrorBits, slope: int, *, exact: bool) -> ErrorBits:
    """The error of a function that changes by less than 2 to the ``slope`` for each 1."""
    return of_sum(None if exact else bits(result) + _OF_FUNCTION, None if error is None else error + slope)


def of_arc(result: Fraction, error: ErrorBits, *, exact: bool) -> ErrorBits:
    """The error of an angle in degrees with a given sine or cosine. At a right angle it grows with the root."""
    return of_sum(None if exact else bits(result) + _OF_FUNCTION + 20, None if error is None else error // 2 + 8)


def without_error(value: Fraction, error: ErrorBits) -> Fraction | None:
    """The simplest fraction within the error: √2 · √2 is 2 again. ``None`` if too few digits are exact.

    Source: our own rule.
    """
    if error is None:
        return value
    half = Fraction(2) ** (error + 1)
    if abs(value) > half and bits(value) - error < _RELIABLE:
        return None
    return simplest_fraction_within(value, half)
