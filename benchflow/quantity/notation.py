"""Parses one quantity in trade notation, such as ``85 ft-lb`` or ``29.5 ft-lb (40 N·m)``."""

import re
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from benchflow.base.plaintext import with_article
from benchflow.quantity import units
from benchflow.quantity.arithmetic import dimension_of, unit_with_symbol
from benchflow.quantity.numerals import MAX_LENGTH, Number, NumeralError, scan_number, skip_space, uniform
from benchflow.quantity.two_units import (
    PrintedNumber,
    about_end,
    check_absolute_zero,
    check_agreement,
    check_brackets,
    check_same_dimension,
)
from benchflow.quantity.types import Quantity, QuantityError, printable
from benchflow.quantity.units import Unit

RANGE_HINT = "write a range as 0.10 .. 0.28 mm"


class ScannedQuantity(NamedTuple):
    """A number found in a text, with the unit after it if there is one."""

    number: Number
    unit: Unit | None
    at: int
    unit_at: int  # index of the unit, or of the place where it is missing
    end: int  # index after the number and unit


def parse_quantity(
    text: str, *, unit: str | None = None, dimension: str | None = None, difference: bool | None = False
) -> Quantity:
    """Parse one quantity, such as ``85 ft-lb``, ``1 1/64 in``, ``.0015"`` or ``29.5 ft-lb (40 N·m)``.

    ``unit`` is the unit of a text without one. ``dimension`` is the required dimension, by default that of ``unit``.
    ``unit=""`` or ``dimension=""`` requires a number without a unit. A fraction of a turn that does not end as a
    decimal, such as a third, is returned in degrees. ``difference`` is true for a difference of temperatures, ``None``
    if that is not known yet. Only as a difference, ``5 K (9 °F)`` agrees and ``-300 °C`` is accepted.

    Raises:
        QuantityError: the text is not such a quantity.
    """
    plain = with_uniform_characters(text)
    default_unit, dimension = default_unit_and_dimension(unit, dimension)
    range_in_words = _range_in_words(plain)
    if range_in_words is not None:
        raise not_one_quantity(text, plain, range_in_words.start(1))
    part = scan_quantity(text, plain, 0, dimension)
    found = final_unit(text, part, default_unit, dimension)
    quantity = quantity_of(text, part, found, text.strip())
    i = skip_space(plain, part.end)
    if i < len(plain) and plain[i] == "(":
        printed = printed_number(part, quantity)
        i = check_brackets(text, plain, i, lambda at: _second_unit(text, plain, at, printed, difference))
    if i < len(plain):
        raise not_one_quantity(text, plain, i) if plain[i] in _RANGE_MARKS else trailing_text(text, plain, i)
    if difference is False:
        check_absolute_zero(text, part.at, quantity)
    return quantity


def default_unit_and_dimension(unit: str | None, dimension: str | None) -> tuple[Unit | None, str | None]:
    """Return the default unit and the required dimension, from the arguments of a parser."""
    default = unit_with_symbol(unit) if unit else None
    if dimension is None and unit is not None:
        dimension = default.dimension if default is not None else ""
    return default, dimension


def unit_symbol(text: str) -> str:
    """Return the canonical symbol for a spelling of a unit: ``ft-lb`` for ``lbf·ft``, ``N·m`` for ``Nm``.

    Raises:
        QuantityError: the table has no such unit; the hint names the most similar one.
    """
    if text in units.BY_SYMBOL or not text.strip():
        return text.strip()
    plain = with_uniform_characters(text)
    start = skip_space(plain, 0)
    return _unit(text, plain.strip(), start, None).symbol


def with_uniform_characters(text: str) -> str:
    """Return ``text`` with look-alike characters replaced, such as full-width digits and minus signs.

    Raises:
        QuantityError: the text is too long.
    """
    if len(text) > MAX_LENGTH:
        why = f"the text is longer than {MAX_LENGTH} characters"
        raise QuantityError("bad-quantity", text, MAX_LENGTH, why, "write only the quantity")
    return uniform(text)


# --- a number and its unit --------------------------------------------------------------------------

_RECIPROCAL = re.compile(r"1/(K|°C|°?F|C)(?![^\W\d_])")
"""A unit that begins with a digit, such as ``1/K``."""
_UNIT_MARKS = frozenset("°%\"'·/.^℃℉㎜㎝㎛㎏")


def unit_end(text: str, start: int) -> int:
    """Return the index after the unit at ``start``. A unit has letters, marks, and separators between them."""
    i, size, end = start, len(text), start
    while i < size:
        char = text[i]
        after = text[i + 1] if i + 1 < size else ""
        if char in " -*":  # a separator belongs to the unit only if more of a unit follows
            if i == start or not (after.isalpha() or after in ("·", "°", "-", "*", "/")):
                break
            i += 1
            continue
        if char in "23²³":
            if i == start or not (text[i - 1].isalpha() or text[i - 1] == "^"):
                break
        elif not (char.isalpha() or (char in _UNIT_MARKS and not (char == "." and after == "."))):
            break
        i += 1
        end = i
    return end


def scan_quantity(original: str, text: str, start: int, dimension: str | None) -> ScannedQuantity:
    """Parse the number at ``start``, with the unit after it if there is one.

    Raises:
        QuantityError: there is no number, or the unit is unknown.
    """
    at = skip_space(text, start)
    try:
        number, i = scan_number(text, at)
    except NumeralError as error:
        hint = error.hint or example(dimension)
        raise QuantityError("bad-quantity", original, error.at, error.why, hint) from None
    # A dash before a letter joins number and unit, as in "1/4-turn". A dash before a digit is part of the number.
    begin = i + 1 if text[i : i + 1] == "-" and text[i + 1 : i + 2].isalpha() else skip_space(text, i)
    reciprocal = _RECIPROCAL.match(text, begin)
    end = unit_end(text, begin) if reciprocal is None else reciprocal.end()
    if end == begin:
        return ScannedQuantity(number, None, at, i, i)
    return ScannedQuantity(number, _unit(original, text[begin:end], begin, dimension), at, begin, end)


def _unit(text: str, spelling: str, at: int, dimension: str | None) -> Unit:
    """Return the unit for ``spelling``, which is at index ``at`` of ``text``."""
    unit = units.find(spelling)
    if unit is not None:
        if dimension == "force" and unit.symbol == "lb":
            return units.BY_SYMBOL["lbf"]  # 110 lb of spring load is a force, not a mass
        return unit
    refused = units.refusal(spelling)
    if refused is not None:
        raise QuantityError("bad-quantity", text, at, *refused)
    found = _range_in_words(text)
    if found is not None:
        raise range_spelled_otherwise(text, found.start(1), found.end(1))
    if dimension == "":
        why = "a number without a unit is expected here"
        raise QuantityError("wrong-dimension", text, at, why, f"delete “{printable(spelling)}”")
    near = units.nearest(spelling, dimension) or units.nearest(spelling)
    hint = f"did you mean {near}?" if near else example(dimension)
    raise QuantityError("bad-quantity", text, at, f"unknown unit “{printable(spelling)}”", hint)


def final_unit(text: str, part: ScannedQuantity, default: Unit | None, dimension: str | None) -> Unit | None:
    """Return the unit of a scanned quantity: its own, or the default. ``None`` means that no unit is expected.

    Raises:
        QuantityError: the unit is missing or has another dimension.
    """
    unit = part.unit or default
    if unit is None and dimension != "":
        raise _unit_missing(text, part.end, dimension)
    found = unit.dimension if unit is not None else ""
    if dimension is None or found == dimension or unit is None:
        return unit
    if dimension == "":
        why = "a number without a unit is expected here"
        raise QuantityError("wrong-dimension", text, part.unit_at, why, "delete the unit")
    why = f"the unit {unit.symbol} is for {_dimension_named(found)}, but {_dimension_named(dimension)} is expected here"
    meant = _PROBABLE_UNIT.get((dimension, unit.symbol))
    value = part.number.value
    hint = f"did you mean {value:f} {meant}?" if meant and value is not None else example(dimension)
    raise QuantityError("wrong-dimension", text, part.unit_at, why, hint)


def quantity_of(text: str, part: ScannedQuantity, unit: Unit | None, entered: str) -> Quantity:
    """Return a scanned quantity with its final unit.

    Raises:
        QuantityError: the number is a fraction that does not end as a decimal.
    """
    if part.number.value is not None:
        return Quantity(part.number.value, unit.symbol if unit is not None else "", entered)
    degrees = part.number.exact * 360
    if unit is not None and unit.symbol == "turn" and degrees.denominator == 1:
        return Quantity(Decimal(degrees.numerator), "°", entered)  # a sixth of a turn, one flat, is 60°
    why = "this fraction does not end as a decimal"
    raise QuantityError("bad-quantity", text, part.at, why, "write a decimal with the digits you need")


# --- printed in two units ---------------------------------------------------------------------------


def printed_number(part: ScannedQuantity, quantity: Quantity, *, is_difference: bool = False) -> PrintedNumber:
    """Return a scanned quantity as a printed number. A fraction is exact."""
    step = Fraction(0) if part.number.is_fraction or part.number.step is None else part.number.step
    return PrintedNumber(quantity, step, part.at, is_difference)


def _second_unit(text: str, plain: str, at: int, first: PrintedNumber, difference: bool | None) -> int:
    about = about_end(text, plain, at)
    part = scan_quantity(text, plain, at if about is None else about, dimension_of(first.quantity.unit))
    if part.unit is None:
        raise QuantityError("bad-quantity", text, part.end, "the unit is missing", "write it like 29.5 ft-lb (40 N·m)")
    second = quantity_of(text, part, part.unit, plain[part.at : part.end])
    if about is None:
        check_agreement(text, first, printed_number(part, second), difference=difference)
    else:
        check_same_dimension(text, part.at, first.quantity, second)
    return part.end


# --- messages ---------------------------------------------------------------------------------------


def _unit_missing(text: str, end: int, dimension: str | None) -> QuantityError:
    """Return the error for a number without a unit after it."""
    plain = uniform(text)
    at = skip_space(plain, end)
    following = plain[at : at + 1]
    if following and following in _RANGE_MARKS:
        return not_one_quantity(text, plain, at)
    if following.isdigit():
        hint = "write the number without spaces, or a fraction like 1 1/64 in"
        return QuantityError("bad-quantity", text, at, "a number cannot contain a space", hint)
    if following and following not in "()":
        return trailing_text(text, plain, at)
    return QuantityError("bad-quantity", text, end, "the unit is missing", example(dimension))


def trailing_text(text: str, plain: str, at: int) -> QuantityError:
    """Return the error for text after a complete quantity."""
    char = plain[at]
    if char.isdigit() or char in _RANGE_MARKS:
        return QuantityError("bad-quantity", text, at, "a complete limit is written, but more follows", "delete it")
    why = f"“{printable(char)}” is not possible here"
    return QuantityError("bad-quantity", text, at, why, "write a number and a unit, such as 40 N·m")


_RANGE_MARKS = "+-.±<>=~…"
"""The characters that follow the first number of a range or a tolerance."""
_RANGE_WORDS = re.compile(r"[0-9][^()]*?\s(to|and|bis)\s+[+-]?[0-9.]", re.IGNORECASE)


def _range_in_words(text: str) -> re.Match[str] | None:
    """The match of the word in ``0.10 to 0.28 mm`` as its first group; ``None`` for a text without one."""
    return _RANGE_WORDS.match(text.lstrip(" +-")) and _RANGE_WORDS.search(text)


def range_spelled_otherwise(text: str, start: int, end: int) -> QuantityError:
    """Return the error for a range whose sign, from ``start`` to ``end``, is not two points. The hint is the range."""
    meant = f"{text[:start].strip()} .. {text[end:].strip()}"
    return QuantityError("bad-quantity", text, start, "a range is written with two points", f"write {meant}")


def not_one_quantity(text: str, plain: str, at: int) -> QuantityError:
    """Return the error for a range or a tolerance where only one quantity is possible."""
    first = plain[:at].strip()
    unit = _LAST_UNIT.search(plain) if _ONLY_NUMBER.fullmatch(first) else None
    missing = unit[1] if unit is not None and units.find(unit[1].strip()) is not None else ""
    why = "one quantity is expected, but this is a range or a tolerance"
    return QuantityError("bad-quantity", text, at, why, f"write only one, such as {first}{missing}")


_LAST_UNIT = re.compile(r"[0-9.](\s*[^\d\s.()][^\d()]*?)\s*$")
_ONLY_NUMBER = re.compile(r"[-+ 0-9./]+")


def example(dimension: str | None) -> str:
    """Return a hint with an example of the dimension, such as ``write it like 0.05 mm``."""
    if dimension == "":
        return "write a number without a unit, such as 3"
    return f"write it like {units.EXAMPLES.get(dimension or 'torque', '40 N·m')}"


_DIMENSION_NAMES = {"rotation": "rotational speed", "expansion": "thermal expansion", "fraction": "share",
                    "viscosity": "kinematic viscosity"}  # fmt: skip


def _dimension_named(dimension: str) -> str:
    """Return ``a length``, ``an angle``."""
    name = _DIMENSION_NAMES.get(dimension, dimension)
    return with_article(name)


_PROBABLE_UNIT: dict[tuple[str, str], str] = {
    ("torque", "ft"): "ft-lb", ("torque", "in"): "in-lb", ("torque", "m"): "N·m", ("torque", "N"): "N·m",
    ("torque", "lb"): "ft-lb", ("torque", "lbf"): "ft-lb", ("torque", "kg"): "kgf·m", ("torque", "kgf"): "kgf·m",
    ("torque", "oz"): "in-oz", ("torque", "N/m"): "N·m", ("torque", "N/mm"): "N·mm", ("torque", "lbf/in"): "in-lb",
    ("torque", "cm"): "N·cm", ("torque", "kgf/mm"): "kgf·m", ("temperature", "°"): "°C", ("force", "kg"): "kgf",
    ("pressure", "lb"): "psi", ("pressure", "lbf"): "psi", ("pressure", "kgf"): "kgf/cm²",
    ("pressure", "kg"): "kgf/cm²", ("stiffness", "lb"): "lbf/in", ("stiffness", "N"): "N/mm", ("time", "m"): "min",
    ("angle", "°C"): "°", ("angle", "°F"): "°", ("volume", "cm"): "cm³", ("volume", "in"): "in³",
    ("area", "mm"): "mm²", ("area", "in"): "in²", ("length", "min"): "mm", ("mass", "kgf"): "kg",
}  # fmt: skip
"""The unit that was probably meant, by the expected dimension and the unit in the text."""
