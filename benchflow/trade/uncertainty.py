"""Combines the uncertainties of the readings that a result depends on.

A result depends on each reading with a *slope*: the change of the result for a change of the reading, to first order
(JCGM 100:2008, 5.1.2). The errors of readings by different instruments are independent. The error of one instrument is
taken as the same in all its readings: it adds up in a sum or a mean. In a difference it is not taken to cancel, which
is on the safe side: the readings with positive slopes and those with negative slopes count as two independent errors.
"""

from collections.abc import Mapping
from fractions import Fraction
from math import isqrt, sqrt

from msgspec import Struct


class ReadingUncertainty(Struct, frozen=True):
    """The standard uncertainty of one reading, in the base unit, and the instrument that it was taken with."""

    u: Fraction
    instrument: str
    cancels: bool = False  # the error of the instrument cancels in differences of these readings


def combined_uncertainty(
    slopes: Mapping[int, float],
    readings: Mapping[int, ReadingUncertainty],
    *,
    independent: bool = False,
    comparison: bool = False,
) -> Fraction:
    """Return the standard uncertainty of a result, in the base unit.

    ``slopes`` and ``readings`` have the same keys, one for each reading. ``independent`` means that the readings by one
    instrument have independent errors. ``comparison`` means that the error of one instrument is the same in all its
    readings, and so it cancels in a difference.
    """
    squares: list[Fraction] = []
    for group in _groups(slopes, readings, independent):
        parts = [Fraction(slopes[key]) * readings[key].u for key in group if not (comparison or readings[key].cancels)]
        together = [Fraction(slopes[key]) * readings[key].u for key in group if comparison or readings[key].cancels]
        parts.append(sum(together, Fraction(0)))
        squares.append(sum((part for part in parts if part > 0), Fraction(0)) ** 2)
        squares.append(sum((part for part in parts if part < 0), Fraction(0)) ** 2)
    squares = [square for square in squares if square]
    if len(squares) == 1:
        return _exact_root(squares[0])
    return Fraction(sqrt(sum(squares, Fraction(0))))


def _groups(
    slopes: Mapping[int, float], readings: Mapping[int, ReadingUncertainty], independent: bool
) -> list[list[int]]:
    """The keys of the readings whose errors are the same: one group for each instrument, or for each reading."""
    if independent:
        return [[key] for key in slopes]
    groups: dict[str, list[int]] = {}
    for key in slopes:
        groups.setdefault(readings[key].instrument, []).append(key)
    return list(groups.values())


def _exact_root(square: Fraction) -> Fraction:
    top, bottom = isqrt(square.numerator), isqrt(square.denominator)
    if top * top == square.numerator and bottom * bottom == square.denominator:
        return Fraction(top, bottom)
    return Fraction(sqrt(square))
