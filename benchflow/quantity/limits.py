"""Parses limits.

=====================================  ==============================================================
``0.10 .. 0.28 mm``                    a range; also as printed, ``0.10–0.28 mm`` with an en dash
``at most 0.05 mm``, ``at least 2 h``  one end
``below 40 °C``, ``above 0.5 mm``      one end that is not included
``0.15 ± 0.02 mm``                     a tolerance; also ``100 N·m ± 4 %``
``0.15 +0.03 -0.01 mm``                two deviations
``0.15 mm``                            a nominal: equal to it within half its last written digit
=====================================  ==============================================================

A unit after the last number applies to all numbers. A limit may be printed in two units, such as
``at most 0.05 mm (0.002 in)``. The two must agree (:mod:`benchflow.quantity.two_units`), and a value within either
column is within the limit.
"""

import re
from decimal import Decimal
from fractions import Fraction
from typing import Literal, NamedTuple

from msgspec.structs import replace

from benchflow.quantity.arithmetic import base, base_of_difference, decimal, dimension_of
from benchflow.quantity.notation import (
    RANGE_HINT,
    ScannedQuantity,
    default_unit_and_dimension,
    final_unit,
    printed_number,
    quantity_of,
    range_spelled_otherwise,
    scan_quantity,
    trailing_text,
    with_uniform_characters,
)
from benchflow.quantity.numerals import NumeralError, scan_number, skip_space
from benchflow.quantity.shown import show, with_unit
from benchflow.quantity.two_units import (
    PrintedNumber,
    about_end,
    check_absolute_zero,
    check_agreement,
    check_brackets,
    check_same_dimension,
)
from benchflow.quantity.types import Limit, Quantity, QuantityError
from benchflow.quantity.units import BY_SYMBOL, Unit

_ONE_ENDED = re.compile(r"(at most|at least|below|above)(?![^\W\d_]) *", re.IGNORECASE)
_PLUS_MINUS = re.compile(r"±|\+/-|\+-")
_OTHER_RANGES = re.compile(r"…|\.{3,}|[~:]")
_LONG_DASHES = "–—"
"""Dashes that a printed range has between its ends. A hyphen there can be a minus sign."""
_OTHER_WORDS = tuple(
    (re.compile(words, re.IGNORECASE), hint)
    for words, hint in (
        (r"max(?:imum)?\.?|up to|not more than|no more than|<=|≤", "write “at most”"),
        (r"min(?:imum)?\.?|not less than|no less than|>=|≥", "write “at least”"),
        (r"less than|under|<", "write “at most”, or “below” if the end itself is not allowed"),
        (r"more than|over|>", "write “at least”, or “above” if the end itself is not allowed"),
    )
)
_WITHIN = re.compile(r"(?:within|inside(?: of)?)(?![^\W\d_]) *", re.IGNORECASE)
_BETWEEN = re.compile(r"(?:between|from) +([0-9.].*?) +(?:and|to) +(?=[0-9.])", re.IGNORECASE)
_WORDS_AFTER = (
    (re.compile(r"(?<=[^\W_]|[°%\"]),? +(max(?:imum)?\.?|or less|or below|or under) *$", re.IGNORECASE), "at most"),
    # not after a digit, because "10 min" is a time
    (re.compile(r"(?<=[^\W\d_]|[°%\"]),? +(min(?:imum)?\.?|or more|or above|or over) *$", re.IGNORECASE), "at least"),
)
_FORMS = "write 0.10 .. 0.28 mm, at most 0.05 mm, at least 0.5 mm or 0.15 ± 0.02 mm"

LimitForm = Literal["range", "at most", "at least", "below", "above", "tolerance", "nominal"]
_ONE_ENDED_FORMS: tuple[LimitForm, ...] = ("at most", "at least", "below", "above")


class _Written(NamedTuple):
    """One column of a limit as written, from index ``at`` to ``end``.

    ``numbers`` are the printed numbers in the order in which two columns are compared: low and high end of a range,
    the one end, the nominal, or the nominal with its high and low deviation.
    """

    limit: Limit
    form: LimitForm
    numbers: tuple[PrintedNumber, ...]
    at: int
    end: int


class _LimitParser:
    """Parses the text of one limit. ``unit`` is the default unit, ``dimension`` the required dimension.

    ``difference`` is as in :func:`parse_limit`.
    """

    def __init__(
        self, text: str, unit: str | None, dimension: str | None, nominal: bool, difference: bool | None
    ) -> None:
        self.text, self.plain, self.nominal_allowed = text, with_uniform_characters(text), nominal
        self.difference = difference
        self.default_unit, self.dimension = default_unit_and_dimension(unit, dimension)

    def part(self, at: int) -> ScannedQuantity:
        """Parse the number at ``at``, with the unit after it if there is one."""
        return scan_quantity(self.text, self.plain, at, self.dimension)

    def quantity(self, part: ScannedQuantity, unit: Unit | None) -> Quantity:
        """Return the quantity of a part. A part without a unit gets ``unit``."""
        shared = part if part.unit is not None else part._replace(unit=unit)
        found = final_unit(self.text, shared, self.default_unit, self.dimension)
        return quantity_of(self.text, part, found, self.plain[part.at : part.end])

    def limit(self, start: int) -> _Written:
        """Parse the limit at ``start``, up to a bracket or the end."""
        start = skip_space(self.plain, start)
        one_ended = _ONE_ENDED.match(self.plain, start)
        if one_ended is not None:
            return self.one_ended(one_ended)
        for words, hint in _OTHER_WORDS:
            if words.match(self.plain, start):
                raise QuantityError("bad-quantity", self.text, start, "these words are not accepted", hint)
        within = _WITHIN.match(self.plain, start)
        if within is not None:
            hint = f"write at most {self.text[within.end() :].strip()}"
            if self.dimension != "time":
                hint += ". Readings that are compared with each other have `equal within`"
            raise QuantityError("bad-quantity", self.text, start, "this word is not accepted", hint)
        between = _BETWEEN.match(self.plain, start)
        if between is not None:
            hint = f"write {self.text[slice(*between.span(1))]} .. {self.text[between.end() :].strip()}"
            raise QuantityError("bad-quantity", self.text, start, "a range is written with two points", hint)
        for words, form in _WORDS_AFTER:
            after = words.search(self.plain, start)
            if after is not None:
                hint = f"write {form} {self.text[start : after.start()].strip()}"
                raise QuantityError("bad-quantity", self.text, after.start(1), "these words are not accepted", hint)
        first = self.part(start)
        i = skip_space(self.plain, first.end)
        if self.plain.startswith("..", i) and not self.plain.startswith("...", i):
            return self.range(first, i + 2)
        tolerance = _PLUS_MINUS.match(self.plain, i)
        if tolerance is not None:
            return self.symmetric(first, tolerance.end())
        if self.plain[i : i + 1] in ("+", "-"):
            return self.deviations(first, i)
        other = _OTHER_RANGES.match(self.plain, i)
        if other is not None:
            raise range_spelled_otherwise(self.text, other.start(), other.end())
        if i < len(self.plain) and self.plain[i] not in "();,":
            raise trailing_text(self.text, self.plain, i)
        return self.nominal(first, i)

    def one_ended(self, word: re.Match[str]) -> _Written:
        """Parse the rest of ``at most 0.05 mm``. ``word`` is the match of its words."""
        form = next(form for form in _ONE_ENDED_FORMS if form == word[1].casefold())
        if form in ("below", "above") and self.plain[word.end() : word.end() + 1].isalpha():
            try:
                scan_number(self.plain, word.end())
            except NumeralError:
                hint = "write below 40 °C"
                if form == "above":
                    hint = "write above 0.5 mm, or above NAME by 0.5 mm with the name of an earlier value"
                why = "a number is expected here"
                raise QuantityError("bad-quantity", self.text, word.end(), why, hint) from None
        part = self.part(word.end())
        end = self.quantity(part, None)
        if form in ("at most", "below"):
            limit = Limit(None, end, "", high_open=form == "below")
        else:
            limit = Limit(end, None, "", low_open=form == "above")
        return _Written(limit, form, (printed_number(part, end),), part.at, part.end)

    def nominal(self, part: ScannedQuantity, i: int) -> _Written:
        """Return the limit for one quantity: within half its last written digit. ``i`` is the index after it."""
        alone = self.plain[part.at : part.end]
        if not self.nominal_allowed:
            hint = _FORMS if part.unit is None else f"write at most {alone}, at least {alone}, or a range with `..`"
            raise QuantityError("bad-quantity", self.text, i, "a single value is not a limit", hint)
        quantity = self.quantity(part, None)
        if part.number.step is None:
            why = "a number in words has no last digit, so the tolerance is not known"
            raise QuantityError("bad-quantity", self.text, part.at, why, "write digits, or a range with `..`")
        half = part.number.step / 2
        if part.unit is not None and part.unit.symbol != quantity.unit:  # a third of a turn is kept in degrees
            half *= part.unit.factor / BY_SYMBOL[quantity.unit].factor
        places = _places(decimal(half))
        centre = Fraction(quantity.value)
        low, high = (_end(end, places, quantity.unit) for end in (centre - half, centre + half))
        numbers = (printed_number(part, quantity),)
        return _Written(Limit(low, high, "", nominal=quantity), "nominal", numbers, part.at, part.end)

    def range(self, first: ScannedQuantity, at: int) -> _Written:
        """Parse the rest of ``0.10 .. 0.28``. ``at`` is the index after the ``..``."""
        last = self.part(at)
        high = self.quantity(
            last, None
        )  # before the low end, so that a missing unit is reported at the end of the text
        low = self.quantity(first, last.unit)
        numbers = (printed_number(first, low), printed_number(last, high))
        return _Written(Limit(low, high, ""), "range", numbers, first.at, last.end)

    def symmetric(self, first: ScannedQuantity, at: int) -> _Written:
        """Parse the rest of ``0.15 ± 0.02``. ``at`` is the index after the ``±``."""
        by = self.part(at)
        if by.number.exact < 0:
            raise QuantityError("bad-quantity", self.text, by.at, "a tolerance after ± must not have a sign", _FORMS)
        return self.with_tolerance(first, (by, by), (-by.number.exact, by.number.exact))

    def deviations(self, first: ScannedQuantity, at: int) -> _Written:
        """Parse ``+0.03 -0.01``, in either order. Both can have the same sign, as in fits: ``+0.030 +0.011``."""
        one = self.part(at)
        i = skip_space(self.plain, one.end)
        if self.plain[i : i + 1] not in ("+", "-", "0"):
            if self.text[at] in _LONG_DASHES:
                return self.range(first, at + 1)
            if self.plain[at] == "-" and abs(one.number.exact) > first.number.exact >= 0:
                raise self.dash_in_range(first, one, at)
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
        if one.number.exact > two.number.exact:
            one, two = two, one
        return self.with_tolerance(first, (one, two), (one.number.exact, two.number.exact))

    def dash_in_range(self, first: ScannedQuantity, last: ScannedQuantity, at: int) -> QuantityError:
        """Return the error for ``0.155-0.220 in``, with the range as it should be written."""
        before, after = self.text[:at].strip(), self.text[at + 1 :].strip()
        hint = f"write {before} .. {after}"
        return QuantityError("bad-quantity", self.text, at, "a dash can also be a minus sign", hint)

    def with_tolerance(
        self, first: ScannedQuantity, written: tuple[ScannedQuantity, ScannedQuantity], by: tuple[Fraction, Fraction]
    ) -> _Written:
        """Return the limit for a value with a tolerance. ``by`` are its two deviations, as numbers or in per cent."""
        unit = written[0].unit
        if unit is None and first.unit is None:
            self.quantity(max(written, key=lambda part: part.end), None)  # reports a missing unit at the end
        share = unit is not None and unit.symbol == "%" and first.unit is not None and first.unit is not unit
        middle = self.quantity(first, None if share else unit)
        if not share and unit is not None and unit.symbol != middle.unit:
            why = f"the value is in {middle.unit}, but the tolerance is in {unit.symbol}"
            raise QuantityError("bad-quantity", self.text, written[0].at, why, "write both in the same unit")
        centre = Fraction(middle.value)
        scale = abs(centre) / 100 if share else Fraction(1)
        places = 0 if share else max(_places(part.number.value) for part in (first, *written))
        low, high = (_end(centre + step * scale, places, middle.unit) for step in by)
        numbers = [printed_number(first, middle)]
        for part, step in zip(reversed(written), reversed(by), strict=True):
            deviation = Quantity(decimal(step * scale), middle.unit, "")
            printed = printed_number(part, deviation, is_difference=True)
            numbers.append(printed._replace(step=printed.step * scale))
        end = max(part.end for part in written)
        return _Written(Limit(low, high, ""), "tolerance", tuple(numbers), first.at, end)

    # the second column

    def second_column(self, at: int, first: _Written, columns: list[Limit]) -> int:
        """Parse one entry in brackets and compare it with the ``first`` column. Return the index after it.

        The entry is a limit, or a quantity as in ``at most 0.05 mm (0.002 in)``. It is added to ``columns`` if it is a
        limit in its own right. An entry after the word "about" is not compared.
        """
        self.default_unit, self.dimension = None, dimension_of(first.numbers[0].quantity.unit)
        self.nominal_allowed = True
        about = about_end(self.text, self.plain, at)
        second = self.limit(at if about is None else about)
        check_ends_in_order(self.text, second, self.difference)
        if about is not None:
            check_same_dimension(self.text, second.at, first.numbers[0].quantity, second.numbers[0].quantity)
            return second.end
        numbers = (first.numbers, second.numbers)
        column: Limit | None = second.limit
        if second.form == "nominal" and first.form in _ONE_ENDED_FORMS:
            end = second.numbers[0].quantity  # the words before the first column apply to both
            column = replace(first.limit, **{"high" if first.limit.low is None else "low": end})
        elif second.form == "nominal" and first.form == "tolerance":
            numbers, column = (first.numbers[:1], second.numbers), None  # only the nominal is printed twice
        elif first.form != second.form:
            if {first.form, second.form} != {"range", "tolerance"}:
                raise self.different_forms(first, second)
            numbers = (self.ends(first), self.ends(second))
        for one, other in zip(*numbers, strict=True):
            check_agreement(self.text, one, other._replace(at=second.at), difference=self.difference)
        if column is not None:
            columns.append(replace(column, text=self.text[second.at : second.end].strip()))
        return second.end

    def ends(self, written: _Written) -> tuple[PrintedNumber, ...]:
        """Return both ends of a range or tolerance as printed numbers.

        The rounding of the nominal and of its deviation add up in an end of a tolerance.
        """
        if written.form == "range":
            return written.numbers
        step = written.numbers[0].step + written.numbers[1].step
        limit = written.limit
        return tuple(PrintedNumber(end, step, written.at) for end in (limit.low, limit.high) if end is not None)

    def different_forms(self, first: _Written, second: _Written) -> QuantityError:
        """Return the error for two columns that are not limits of the same form."""
        forms = {"range": "a range", "tolerance": "a value with a tolerance", "nominal": "one value"}
        one, other = (forms.get(written.form, f"“{written.form}”") for written in (first, second))
        why = f"the first limit is {one}, but the second is {other}"
        return QuantityError("disagreeing-units", self.text, second.at, why, "write both in the same form")


def _places(value: Decimal | None) -> int:
    exponent = value.as_tuple().exponent if value is not None else 0
    return -exponent if isinstance(exponent, int) else 0


def _end(value: Fraction, places: int, unit: str) -> Quantity:
    """Return one end of a tolerance as an exact quantity with at least ``places`` decimals."""
    exact = decimal(value)
    exact = exact if _places(exact) >= places else Decimal(f"{value * 10**places}E-{places}")
    return Quantity(exact, unit, with_unit(f"{exact:f}", unit))


def check_ends_in_order(text: str, written: _Written, difference: bool | None) -> None:
    """Check that the low end is not above the high end, and that no end is below absolute zero.

    Raises:
        QuantityError: the low end is above the high end, their dimensions differ, or an end is below absolute zero.
    """
    limit = written.limit
    for end in (limit.low, limit.high):
        if end is not None and difference is False:
            check_absolute_zero(text, written.at, end)
    if limit.low is None or limit.high is None:
        return
    check_same_dimension(text, written.at, limit.low, limit.high)
    exact = base_of_difference if difference else base
    if exact(limit.low) > exact(limit.high):
        why = f"the lower end, {show(limit.low)}, is above the upper end, {show(limit.high)}"
        hint = "write the lower end first, and check both in the source"
        raise QuantityError("bad-quantity", text, written.at, why, hint)


def parse_limit(
    text: str,
    *,
    unit: str | None = None,
    dimension: str | None = None,
    nominal: bool = True,
    difference: bool | None = False,
) -> Limit:
    """Parse a limit in any of the forms above, also if it is printed in two units.

    ``unit``, ``dimension`` and ``difference`` mean the same as in :func:`parse_quantity`. ``nominal=False`` refuses one
    quantity, where half its last digit makes no sense, as in a measuring range.

    Raises:
        QuantityError: the text is not such a limit, or its low end is above its high end.
    """
    parser = _LimitParser(text, unit, dimension, nominal, difference)
    written = parser.limit(0)
    check_ends_in_order(text, written, difference)
    columns = [written.limit]
    i = skip_space(parser.plain, written.end)
    if i < len(parser.plain) and parser.plain[i] == "(":
        i = check_brackets(text, parser.plain, i, lambda inside: parser.second_column(inside, written, columns))
    if i < len(parser.plain):
        raise trailing_text(text, parser.plain, i)
    limit: Limit | None = None
    for column in reversed(columns):
        limit = replace(column, text=text.strip() if column is written.limit else column.text, other=limit)
    assert limit is not None  # there is at least one column
    return limit
