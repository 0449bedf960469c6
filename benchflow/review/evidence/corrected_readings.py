"""Distinguishes a plain typing error from a correction that made a value fit."""

import re
from decimal import Decimal, InvalidOperation
from typing import Final

from msgspec import Struct

from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.margin import Band

SLIP: Final = 0.25
"""The size of a correction of swapped, missing or doubled digits: a slip of the finger, although the step is small."""
SMALL_STEP, LARGE_STEP = 0.3, 1.5
"""A correction by less than the first part of the band is a small step; by more than the second it is none."""


class Correction(Struct, frozen=True):
    """A reading that was corrected from out of its limit to inside it. ``within`` is the band of the limit."""

    wrong: ReadingFact
    right: ReadingFact
    limit: str
    within: Band
    reason: str


def typing_error_size(correction: Correction) -> float:
    """From 0 for a plain typing error to 1 for a small step from just outside to just inside.

    A decimal point in the wrong place, another unit and a reading that is far away are typing errors. Common practice,
    no source.
    """
    wrong, right = _typed(correction.wrong), _typed(correction.right)
    if wrong is None or right is None or _other_unit_or_point(wrong, right):
        return 0.0
    step = _step(correction)
    small = min(max((LARGE_STEP - step) / (LARGE_STEP - SMALL_STEP), 0.0), 1.0)
    return min(small, SLIP) if _slip_of_digits(wrong, right) else small


def _typed(reading: ReadingFact) -> str | None:
    """The number as it was typed; ``None`` if the text has no number."""
    found = re.search(r"\d[\d.,]*", reading.entered)
    return None if found is None else found[0].replace(",", ".").rstrip(".")


def _other_unit_or_point(wrong: str, right: str) -> bool:
    """True for the same number in another unit, and for a decimal point that is missing or in another place."""
    return _digits(wrong).strip("0") == _digits(right).strip("0")


def _digits(text: str) -> str:
    return text.replace(".", "")


def _slip_of_digits(wrong: str, right: str) -> bool:
    """True if two neighbouring digits are swapped, or one is missing or doubled."""
    a, b = _digits(wrong), _digits(right)
    if len(a) == len(b):
        different = [index for index in range(len(a)) if a[index] != b[index]]
        first = different[0] if different else 0
        return different == [first, first + 1] and a[first] == b[first + 1] and a[first + 1] == b[first]
    longer, shorter = (a, b) if len(a) > len(b) else (b, a)
    return len(longer) - len(shorter) == 1 and any(
        longer[:index] + longer[index + 1 :] == shorter for index in range(len(longer))
    )


def _step(correction: Correction) -> float:
    """The distance between the two readings, as a part of the band; of a limit with one end, of that end."""
    try:
        distance = abs(Decimal(correction.wrong.value) - Decimal(correction.right.value))
    except InvalidOperation:
        return LARGE_STEP
    low, high = correction.within.low, correction.within.high
    width = high - low if low is not None and high is not None else abs(high or low or Decimal(0))
    return float(distance / width) if width else SMALL_STEP
