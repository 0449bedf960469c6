"""Parses one quantity in trade notation.

A quantity printed in two units, such as ``29.5 ft-lb (40 N·m)``, must agree within half a step of the last printed
digit of the *coarser* value. So ``20 N·m (15.0 ft-lb)`` agrees: 15.0 ft-lb is 20.34 N·m, and the coarser value is
printed to a whole newton metre.
"""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from benchflow.quantity import units
from benchflow.quantity.arithmetic import base, difference_factor, dimension_of, known
from benchflow.quantity.numerals import MAX_LENGTH, Number, NumeralError, scan_number, skip_space, uniform
from benchflow.quantity.shown import show, show_converted
from benchflow.quantity.types import Quantity, QuantityError, printable
from benchflow.quantity.units import Unit

RANGE_HINT = "write a range as 0.10 .. 0.28 mm"


class ScannedQuantity(NamedTuple):
    """A number in the text, with the unit after it if there is one."""

    number: Number
    unit: Unit | None
    at: int
    unit_at: int  # index of the unit, or where it would be
    end: int  # index after it


def parse_quantity(text: str, *, unit: str | None = None, dimension: str | None = None) -> Quantity:
    """Parse one quantity: ``85 ft-lb``, ``1 1/64 in``, ``.0015"``, ``29.5 ft-lb (40 N·m)``.

    ``unit`` is used if the text has no unit. ``dimension`` is the required dimension, by default that of ``unit``.
    ``unit=""`` or ``dimension=""`` accepts a number without a unit. A fraction of a turn that does not end as a
    decimal, such as a third, is returned in degrees.

    Raises:
        QuantityError: the text is not such a quantity.
    """
    plain = bounded(text)
    field, dimension = expected(unit, dimension)
    part = scan_quantity(text, plain, 0, dimension)
    found = final_unit(text, part, field, dimension)
    quantity = quantity_of(text, part, found, text.strip())
    i = skip_space(plain, part.end)
    if i < len(plain) and plain[i] == "(":
        i = brackets(text, plain, i, lambda at: _second_unit(text, plain, at, quantity))
    if i < len(plain):
        raise trailing_text(text, plain, i)
    return quantity


def expected(unit: str | None, dimension: str | None) -> tuple[Unit | None, str | None]:
    """The default unit and the required dimension, from the arguments of a parser."""
    field = known(unit) if unit else None
    if dimension is None and unit is not None:
        dimension = field.dimension if field is not None else ""
    return field, dimension


def unit_symbol(text: str) -> str:
    """The canonical symbol for a spelling of a unit: ``ft-lb`` for ``lbf·ft``, ``N·m`` for ``Nm``.

    Raises:
        QuantityError: the table has no such unit; the hint names the most similar one.
    """
    if text in units.BY_SYMBOL or not text.strip():
        return text.strip()
    plain = bounded(text)
    start = skip_space(plain, 0)
    return _unit(text, plain.strip(), start, None).symbol


def bounded(text: str) -> str:
    """``text`` with look-alike characters replaced.

    Raises:
        QuantityError: the text is too long.
    """
    if len(text) > MAX_LENGTH:
        why = f"longer than {MAX_LENGTH} characters"
        raise QuantityError("bad-quantity", text, MAX_LENGTH, why, "write only the quantity")
    return uniform(text)


# --- a number and its unit --------------------------------------------------------------------------

_UNIT_MARKS = frozenset("°%\"'·/.^℃℉㎜㎝㎛㎏")


def unit_end(text: str, start: int) -> int:
    """The index after the unit at ``start``: letters, marks, and separators between them."""
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
    """The number at ``start``, with the unit after it if there is one.

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
    end = unit_end(text, begin)
    if end == begin:
        return ScannedQuantity(number, None, at, i, i)
    return ScannedQuantity(number, _unit(original, text[begin:end], begin, dimension), at, begin, end)


def _unit(text: str, spelling: str, at: int, dimension: str | None) -> Unit:
    """The unit for ``spelling``, which is at index ``at`` of ``text``."""
    unit = units.find(spelling)
    if unit is not None:
        if dimension == "force" and unit.symbol == "lb":
            return units.BY_SYMBOL["lbf"]  # 110 lb of spring load is a force, not a mass
        return unit
    refused = units.refusal(spelling)
    if refused is not None:
        raise QuantityError("bad-quantity", text, at, *refused)
    if any(word in ("to", "and", "bis") for word in spelling.casefold().split(" ")):
        raise QuantityError("bad-quantity", text, at, "a range in words is not accepted", RANGE_HINT)
    near = units.nearest(spelling, dimension) or units.nearest(spelling)
    hint = f"did you mean {near}?" if near else example(dimension)
    raise QuantityError("bad-quantity", text, at, f'unknown unit "{printable(spelling)}"', hint)


def final_unit(text: str, part: ScannedQuantity, field: Unit | None, dimension: str | None) -> Unit | None:
    """The unit of a scanned quantity: its own, or the default; ``None`` only if a number without a unit is expected.

    Raises:
        QuantityError: the unit is missing or has another dimension.
    """
    unit = part.unit or field
    if unit is None and dimension != "":
        raise _unit_missing(text, part.end, dimension)
    found = unit.dimension if unit is not None else ""
    if dimension is None or found == dimension or unit is None:
        return unit
    if dimension == "":
        why = "a number without a unit is expected here"
        raise QuantityError("wrong-dimension", text, part.unit_at, why, "delete the unit")
    why = f"{unit.symbol} alone is {_article(found)}, but {_article(dimension)} is expected here"
    if unit.symbol == "ft":
        why = why.replace("ft", "feet", 1)
    meant = _MEANT.get((dimension, unit.symbol))
    value = part.number.value
    hint = f"did you mean {value:f} {meant}?" if meant and value is not None else example(dimension)
    raise QuantityError("wrong-dimension", text, part.unit_at, why, hint)


def quantity_of(text: str, part: ScannedQuantity, unit: Unit | None, entered: str) -> Quantity:
    """The quantity of a scanned quantity with its final unit."""
    if part.number.value is not None:
        return Quantity(part.number.value, unit.symbol if unit is not None else "", entered)
    degrees = part.number.exact * 360
    if unit is not None and unit.symbol == "turn" and degrees.denominator == 1:
        return Quantity(Decimal(degrees.numerator), "°", entered)  # a sixth of a turn, one flat, is 60°
    why = "this fraction does not end as a decimal"
    raise QuantityError("bad-quantity", text, part.at, why, "write a decimal with the digits you need")


# --- printed in two units ---------------------------------------------------------------------------


def brackets(text: str, plain: str, i: int, read: Callable[[int], int]) -> int:
    """The index after the brackets at ``i``. ``read`` checks the entry at an index and returns the index after it."""
    while i < len(plain) and plain[i] == "(":
        i = read(i + 1)
        i = skip_space(plain, i)
        while plain[i : i + 1] == ";" or plain[i : i + 2] == ", ":
            i = skip_space(plain, read(i + 1))
        if plain[i : i + 1] != ")":
            why = "the bracket is not closed" if i >= len(plain) else "only a quantity is possible in the brackets"
            raise QuantityError("bad-quantity", text, i, why, "write it like 29.5 ft-lb (40 N·m)")
        i = skip_space(plain, i + 1)
    return i


def _second_unit(text: str, plain: str, at: int, first: Quantity) -> int:
    part = scan_quantity(text, plain, at, dimension_of(first.unit))
    if part.unit is None:
        raise QuantityError("bad-quantity", text, part.end, "the unit is missing", "write it like 29.5 ft-lb (40 N·m)")
    agree(text, part.at, first, quantity_of(text, part, part.unit, plain[part.at : part.end]))
    return part.end


def agree(text: str, at: int, first: Quantity, second: Quantity) -> None:
    """Check that two printed values agree within half a step of the last digit of the coarser one.

    Raises:
        QuantityError: they do not agree (``disagreeing-units``), or have different dimensions.
    """
    same_dimensions(text, at, first, second)
    half = max(_last_digit(first), _last_digit(second)) / 2
    if abs(base(first) - base(second)) <= half:
        return
    why = f"{show(first)} is {show_converted(first, second.unit)}, but {show(second)} is printed"
    raise QuantityError("disagreeing-units", text, at, why, "check both in the source: one is a misprint")


def same_dimensions(text: str, at: int, first: Quantity, second: Quantity) -> None:
    """Check that two quantities have the same dimension.

    Raises:
        QuantityError: they do not (``wrong-dimension``).
    """
    if dimension_of(first.unit) != dimension_of(second.unit):
        why = f"{first.unit or 'no unit'} and {second.unit or 'no unit'} do not measure the same thing"
        raise QuantityError("wrong-dimension", text, at, why, "write both in units of the same dimension")


def _last_digit(q: Quantity) -> Fraction:
    """One step of the last printed digit, in base units."""
    exponent = q.value.as_tuple().exponent
    return Fraction(10) ** (exponent if isinstance(exponent, int) else 0) * difference_factor(q.unit)


# --- messages ---------------------------------------------------------------------------------------


def _unit_missing(text: str, end: int, dimension: str | None) -> QuantityError:
    """The error for a number without a unit, or with something else after it."""
    plain = uniform(text)
    at = skip_space(plain, end)
    following = plain[at : at + 1]
    if following.isdigit():
        hint = "write the number without spaces, or a fraction like 1 1/64 in"
        return QuantityError("bad-quantity", text, at, "a number cannot contain a space", hint)
    if following and following not in "()":
        return trailing_text(text, plain, at)
    return QuantityError("bad-quantity", text, end, "the unit is missing", example(dimension))


def trailing_text(text: str, plain: str, at: int) -> QuantityError:
    """The error for text after a complete quantity."""
    char = plain[at]
    if char.isdigit() or char in "+-.±<>=~":
        return QuantityError("bad-quantity", text, at, "one quantity is expected, but more follows", RANGE_HINT)
    why = f'"{printable(char)}" is not possible here'
    return QuantityError("bad-quantity", text, at, why, "write a number and a unit, such as 40 N·m")


def example(dimension: str | None) -> str:
    """A hint with an example of the dimension: ``write it like 0.05 mm``."""
    return f"write it like {units.EXAMPLES.get(dimension or 'torque', '40 N·m')}"


_WORDS = {"rotation": "rotational speed", "expansion": "thermal expansion", "fraction": "share"}


def _article(dimension: str) -> str:
    """``a length``, ``an angle``."""
    name = _WORDS.get(dimension, dimension)
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


_MEANT: dict[tuple[str, str], str] = {
    ("torque", "ft"): "ft-lb", ("torque", "in"): "in-lb", ("torque", "m"): "N·m", ("torque", "N"): "N·m",
    ("torque", "lb"): "ft-lb", ("torque", "lbf"): "ft-lb", ("torque", "kg"): "kgf·m", ("torque", "kgf"): "kgf·m",
    ("torque", "oz"): "in-oz", ("torque", "N/m"): "N·m", ("torque", "N/mm"): "N·mm", ("torque", "lbf/in"): "in-lb",
    ("torque", "cm"): "N·cm", ("torque", "kgf/mm"): "kgf·m", ("temperature", "°"): "°C", ("force", "kg"): "kgf",
    ("pressure", "lb"): "psi", ("pressure", "lbf"): "psi", ("pressure", "kgf"): "kgf/cm²",
    ("pressure", "kg"): "kgf/cm²", ("stiffness", "lb"): "lbf/in", ("stiffness", "N"): "N/mm", ("time", "m"): "min",
    ("angle", "°C"): "°", ("angle", "°F"): "°", ("volume", "cm"): "cm³", ("volume", "in"): "in³",
    ("area", "mm"): "mm²", ("area", "in"): "in²", ("length", "min"): "mm", ("mass", "kgf"): "kg",
}  # fmt: skip
"""(expected dimension, unit written) to the unit that was probably meant."""
