"""Parses limits: ``0.10 .. 0.28 mm``, ``at most 0.05 mm``, ``0.15 ± 0.02 mm``, ``0.15 +0.03 -0.01 mm``.

A unit after the last number applies to all numbers. A tolerance can be a percentage: ``100 N·m ± 4 %``. If a limit is
printed in two units, the two must agree (:mod:`benchflow.quantity.two_units`).
"""

import re
from decimal import Decimal
from fractions import Fraction

from benchflow.quantity.arithmetic import base, decimal, dimension_of
from benchflow.quantity.notation import (
    RANGE_HINT,
    ScannedQuantity,
    default_unit_and_dimension,
    final_unit,
    quantity_of,
    scan_quantity,
    trailing_text,
    with_uniform_characters,
)
from benchflow.quantity.numerals import skip_space
from benchflow.quantity.shown import show
from benchflow.quantity.two_units import check_agreement, check_brackets, check_same_dimension
from benchflow.quantity.types import Limit, Quantity, QuantityError
from benchflow.quantity.units import Unit

_ONE_ENDED = re.compile(r"at (most|least) ", re.IGNORECASE)
_PLUS_MINUS = re.compile(r"±|\+/-|\+-")
_OTHER_RANGES = re.compile(r"…|\.{3,}|-(?= ?[0-9.])|[~:]")
_OTHER_WORDS = re.compile(
    r"(max(?:imum)?\.?|up to|not more than|no more than|less than|under|below|<=?|≤)"
    r"|(min(?:imum)?\.?|not less than|no less than|more than|over|above|>=?|≥)",
    re.IGNORECASE,
)
_FORMS = "write 0.10 .. 0.28 mm, at most 0.05 mm, at least 0.5 mm or 0.15 ± 0.02 mm"


class _LimitParser:
    """Parses the text of one limit. ``unit`` is the default unit, ``dimension`` the required dimension."""

    def __init__(self, text: str, unit: str | None, dimension: str | None) -> None:
        self.text, self.plain = text, with_uniform_characters(text)
        self.default_unit, self.dimension = default_unit_and_dimension(unit, dimension)

    def part(self, at: int) -> ScannedQuantity:
        """Parse the number at ``at``, with the unit after it if there is one."""
        return scan_quantity(self.text, self.plain, at, self.dimension)

    def quantity(self, part: ScannedQuantity, unit: Unit | None) -> Quantity:
        """Return the quantity of a part. A part without a unit gets ``unit``."""
        shared = part if part.unit is not None else part._replace(unit=unit)
        found = final_unit(self.text, shared, self.default_unit, self.dimension)
        return quantity_of(self.text, part, found, self.plain[part.at : part.end])

    def limit(self, start: int) -> tuple[Limit, int, int]:
        """Parse the limit at ``start``, up to a bracket or the end.

        Returns the limit, the index of its first number, and the index after it.
        """
        start = skip_space(self.plain, start)
        one_ended = _ONE_ENDED.match(self.plain, start)
        if one_ended is not None:
            part = self.part(one_ended.end())
            end = self.quantity(part, None)
            open_low = one_ended.group(1).casefold() == "most"
            return Limit(None if open_low else end, end if open_low else None, ""), part.at, part.end
        self.refuse_other_words(start)
        first = self.part(start)
        i = skip_space(self.plain, first.end)
        if self.plain.startswith("..", i) and not self.plain.startswith("...", i):
            return self.range(first, i + 2)
        tolerance = _PLUS_MINUS.match(self.plain, i)
        if tolerance is not None:
            return self.symmetric(first, tolerance.end())
        if self.plain[i : i + 1] in ("+", "-"):
            return self.deviations(first, i)
        if _OTHER_RANGES.match(self.plain, i):
            raise QuantityError("bad-quantity", self.text, i, "a range needs two points", RANGE_HINT)
        if i < len(self.plain) and self.plain[i] not in "()":
            raise trailing_text(self.text, self.plain, i)
        alone = self.plain[first.at : first.end]
        hint = _FORMS if first.unit is None else f"write at most {alone}, at least {alone}, or a range with `..`"
        raise QuantityError("bad-quantity", self.text, i, "a single value is not a limit", hint)

    def refuse_other_words(self, start: int) -> None:
        """Refuse other words for ``at most`` and ``at least``, with a hint."""
        other = _OTHER_WORDS.match(self.plain, start)
        if other is not None:
            write = "at most" if other.group(1) else "at least"
            why = "these words are not accepted"
            raise QuantityError("bad-quantity", self.text, start, why, f'write "{write}"')

    def range(self, first: ScannedQuantity, at: int) -> tuple[Limit, int, int]:
        """Parse the rest of ``0.10 .. 0.28``. ``at`` is the index after the ``..``."""
        last = self.part(at)
        high = self.quantity(
            last, None
        )  # before the low end, so that a missing unit is reported at the end of the text
        return Limit(self.quantity(first, last.unit), high, ""), first.at, last.end

    def symmetric(self, first: ScannedQuantity, at: int) -> tuple[Limit, int, int]:
        """Parse the rest of ``0.15 ± 0.02``. ``at`` is the index after the ``±``."""
        by = self.part(at)
        if by.number.exact < 0:
            raise QuantityError("bad-quantity", self.text, by.at, "a tolerance after ± must not have a sign", _FORMS)
        return self.with_tolerance(first, (by, by), (-by.number.exact, by.number.exact))

    def deviations(self, first: ScannedQuantity, at: int) -> tuple[Limit, int, int]:
        """Parse ``+0.03 -0.01``, in either order. Both can have the same sign, as in fits: ``+0.030 +0.011``."""
        one = self.part(at)
        i = skip_space(self.plain, one.end)
        if self.plain[i : i + 1] not in ("+", "-", "0"):
            hint = "write both deviations, such as 0.15 +0.03 -0.01 mm"
            if self.plain[at] == "-":
                hint = f"{RANGE_HINT}, or both deviations as 0.15 +0.03 -0.01 mm"
            raise QuantityError("bad-quantity", self.text, i, "the second deviation is missing", hint)
        two = self.part(i)
        if one.unit is None:
            one = one._replace(unit=two.unit)
        elif two.unit is None:
            two = two._replace(unit=one.unit)
        if one.unit is not two.unit:
            raise QuantityError("bad-quantity", self.text, one.at, "the deviations have different units", _FORMS)
        low, high = sorted((one.number.exact, two.number.exact))
        return self.with_tolerance(first, (one, two), (low, high))

    def with_tolerance(
        self, first: ScannedQuantity, written: tuple[ScannedQuantity, ScannedQuantity], by: tuple[Fraction, Fraction]
    ) -> tuple[Limit, int, int]:
        """Return the limit for a value with a tolerance. ``by`` are its two deviations, as numbers or in per cent."""
        unit = written[0].unit
        if unit is None and first.unit is None:
            self.quantity(written[1], None)  # reports a missing unit at the end
        share = unit is not None and unit.symbol == "%" and first.unit is not None and first.unit is not unit
        middle = self.quantity(first, None if share else unit)
        if not share and unit is not None and unit.symbol != middle.unit:
            why = f"the value is in {middle.unit}, but the tolerance is in {unit.symbol}"
            raise QuantityError("bad-quantity", self.text, written[0].at, why, "write both in the same unit")
        centre = Fraction(middle.value)
        scale = abs(centre) / 100 if share else Fraction(1)
        places = 0 if share else max(_places(part.number.value) for part in (first, *written))
        low, high = (_end(centre + step * scale, places, middle.unit) for step in by)
        return Limit(low, high, ""), first.at, max(part.end for part in written)

    def second_unit(self, at: int, first: Limit) -> int:
        """Check one entry in brackets: a limit, or a quantity as in ``at most 0.05 mm (0.002 in)``."""
        ends = [end for end in (first.low, first.high) if end is not None]
        self.default_unit, self.dimension = None, dimension_of(ends[0].unit)
        start = skip_space(self.plain, at)
        if len(ends) == 1 and not _ONE_ENDED.match(self.plain, start):
            part = self.part(start)
            check_agreement(self.text, part.at, ends[0], self.quantity(part, None))
            after = part.end
        else:
            second, begins, after = self.limit(start)
            if (first.low is None) != (second.low is None) or (first.high is None) != (second.high is None):
                why = "the two limits have different open ends"
                raise QuantityError("disagreeing-units", self.text, begins, why, "check both in the source")
            check_ends_in_order(self.text, begins, second)
            for one, other in ((first.low, second.low), (first.high, second.high)):
                if one is not None and other is not None:
                    check_agreement(self.text, begins, one, other)
        return after


def _places(value: Decimal | None) -> int:
    exponent = value.as_tuple().exponent if value is not None else 0
    return -exponent if isinstance(exponent, int) else 0


def _end(value: Fraction, places: int, unit: str) -> Quantity:
    """Return one end of a tolerance as an exact quantity with at least ``places`` decimals."""
    exact = decimal(value)
    exact = exact if _places(exact) >= places else Decimal(f"{value * 10**places}E-{places}")
    return Quantity(exact, unit, show(Quantity(exact, unit, "")))


def check_ends_in_order(text: str, at: int, limit: Limit) -> None:
    """Check that the low end is not above the high end.

    Raises:
        QuantityError: the low end is above the high end, or their dimensions differ.
    """
    if limit.low is None or limit.high is None:
        return
    check_same_dimension(text, at, limit.low, limit.high)
    if base(limit.low) > base(limit.high):
        why = f"the lower end, {show(limit.low)}, is above the upper end, {show(limit.high)}"
        raise QuantityError("bad-quantity", text, at, why, "write the lower end first, and check both in the source")


def parse_limit(text: str, *, unit: str | None = None, dimension: str | None = None) -> Limit:
    """Parse a limit in any of the forms above, also if it is printed in two units.

    ``unit`` and ``dimension`` mean the same as in :func:`parse_quantity`.

    Raises:
        QuantityError: the text is not such a limit, or its low end is above its high end.
    """
    parser = _LimitParser(text, unit, dimension)
    limit, at, i = parser.limit(0)
    check_ends_in_order(text, at, limit)
    i = skip_space(parser.plain, i)
    if i < len(parser.plain) and parser.plain[i] == "(":
        i = check_brackets(text, parser.plain, i, lambda inside: parser.second_unit(inside, limit))
    if i < len(parser.plain):
        raise trailing_text(text, parser.plain, i)
    return Limit(limit.low, limit.high, text.strip())
