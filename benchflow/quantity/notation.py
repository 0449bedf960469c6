"""One quantity as the trade writes it, read exactly or refused with the place and the reason.

Printed twice: ``29.5 ft-lb (40 N·m)`` must agree within half of the last printed digit of the *coarser* of the
two. By that rule ``20 N·m (15.0 ft-lb)``, from a maker who rounds to half foot-pounds, agrees: 15.0 ft-lb is
20.34 N·m, and the coarser value is printed to a whole newton metre.
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
    """A number and perhaps a unit, as they stand in the text."""

    number: Number
    unit: Unit | None
    at: int
    unit_at: int  # where the unit stands, or would
    end: int  # just after it


def parse_quantity(text: str, *, unit: str | None = None, dimension: str | None = None) -> Quantity:
    """One quantity as the trade writes it: ``85 ft-lb``, ``1 1/64 in``, ``.0015"``, ``29.5 ft-lb (40 N·m)``.

    ``unit`` is the field's, used where the text has none; ``dimension`` is the one required (the field's,
    if only ``unit`` is given). ``unit=""`` or ``dimension=""`` takes a plain number. A third of a turn, which
    has no end as a decimal of turns, comes back in degrees. Raises :class:`QuantityError`.
    """
    plain = bounded(text)
    field, dimension = wanted(unit, dimension)
    part = scan_part(text, plain, 0, dimension)
    found = settled(text, part, field, dimension)
    quantity = quantity_of(text, part, found, text.strip())
    i = skip_space(plain, part.end)
    if i < len(plain) and plain[i] == "(":
        i = twins(text, plain, i, lambda at: _twin(text, plain, at, quantity))
    if i < len(plain):
        raise left_over(text, plain, i)
    return quantity


def wanted(unit: str | None, dimension: str | None) -> tuple[Unit | None, str | None]:
    """What the caller of a parser asked for: the unit to fall back on, and the dimension required."""
    field = known(unit) if unit else None
    if dimension is None and unit is not None:
        dimension = field.dimension if field is not None else ""
    return field, dimension


def unit_symbol(text: str) -> str:
    """The canonical symbol of a unit as the trade spells it: ``lbf·ft`` is ``ft-lb``, ``Nm`` is ``N·m``.

    Raises ``QuantityError`` for one that is not in the table, with the nearest that is.
    """
    if text in units.BY_SYMBOL or not text.strip():
        return text.strip()
    plain = bounded(text)
    start = skip_space(plain, 0)
    return _unit(text, plain.strip(), start, None).symbol


def bounded(text: str) -> str:
    """The text cleaned, or refused for its length before anything looks at it."""
    if len(text) > MAX_LENGTH:
        why = f"longer than {MAX_LENGTH} characters"
        raise QuantityError("bad-quantity", text, MAX_LENGTH, why, "write the quantity alone")
    return uniform(text)


# --- a number and its unit --------------------------------------------------------------------------

_UNIT_MARKS = frozenset("°%\"'·/.^℃℉㎜㎝㎛㎏")


def unit_end(text: str, start: int) -> int:
    """Where the unit that begins at ``start`` ends: letters and marks, and what joins them."""
    i, size, end = start, len(text), start
    while i < size:
        char = text[i]
        after = text[i + 1] if i + 1 < size else ""
        if char in " -*":  # a joint belongs to the unit only if more of a unit follows
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


def scan_part(original: str, text: str, start: int, dimension: str | None) -> ScannedQuantity:
    """The number at ``start`` and the unit after it, if there is one."""
    at = skip_space(text, start)
    try:
        number, i = scan_number(text, at)
    except NumeralError as error:
        hint = error.hint or example(dimension)
        raise QuantityError("bad-quantity", original, error.at, error.why, hint) from None
    # a dash before a letter joins number and unit, as in "a 1/4-turn"; before a digit it never gets here
    begin = i + 1 if text[i : i + 1] == "-" and text[i + 1 : i + 2].isalpha() else skip_space(text, i)
    end = unit_end(text, begin)
    if end == begin:
        return ScannedQuantity(number, None, at, i, i)
    return ScannedQuantity(number, _unit(original, text[begin:end], begin, dimension), at, begin, end)


def _unit(text: str, spelling: str, at: int, dimension: str | None) -> Unit:
    """The unit that ``spelling`` names; ``at`` is where it stands in ``text``."""
    unit = units.find(spelling)
    if unit is not None:
        if dimension == "force" and unit.symbol == "lb":
            return units.BY_SYMBOL["lbf"]  # a spring that holds 110 lb pushes; nobody weighs it
        return unit
    refused = units.refusal(spelling)
    if refused is not None:
        raise QuantityError("bad-quantity", text, at, *refused)
    if any(word in ("to", "and", "bis") for word in spelling.casefold().split(" ")):
        raise QuantityError("bad-quantity", text, at, "a range is not written in words", RANGE_HINT)
    near = units.nearest(spelling, dimension) or units.nearest(spelling)
    hint = f"did you mean {near}?" if near else example(dimension)
    raise QuantityError("bad-quantity", text, at, f'"{printable(spelling)}" is no unit known here', hint)


def settled(text: str, part: ScannedQuantity, field: Unit | None, dimension: str | None) -> Unit | None:
    """The unit of a part: its own, or the field's; none only where a plain number will do."""
    unit = part.unit or field
    if unit is None and dimension != "":
        raise _unit_missing(text, part.end, dimension)
    found = unit.dimension if unit is not None else ""
    if dimension is None or found == dimension or unit is None:
        return unit
    if dimension == "":
        why = "a plain number is wanted here"
        raise QuantityError("wrong-dimension", text, part.unit_at, why, "leave the unit out")
    why = f"{unit.symbol} alone is {_article(found)}, and {_article(dimension)} is wanted here"
    if unit.symbol == "ft":
        why = why.replace("ft", "feet", 1)
    meant = _MEANT.get((dimension, unit.symbol))
    value = part.number.value
    hint = f"did you mean {value:f} {meant}?" if meant and value is not None else example(dimension)
    raise QuantityError("wrong-dimension", text, part.unit_at, why, hint)


def quantity_of(text: str, part: ScannedQuantity, unit: Unit | None, entered: str) -> Quantity:
    """The quantity of a part whose unit is settled."""
    if part.number.value is not None:
        return Quantity(part.number.value, unit.symbol if unit is not None else "", entered)
    degrees = part.number.exact * 360
    if unit is not None and unit.symbol == "turn" and degrees.denominator == 1:
        return Quantity(Decimal(degrees.numerator), "°", entered)  # a sixth of a turn, one flat, is 60°
    why = "this fraction has no end when written as a decimal"
    raise QuantityError("bad-quantity", text, part.at, why, "write a decimal, with the digits that you mean")


# --- printed twice ----------------------------------------------------------------------------------


def twins(text: str, plain: str, i: int, read: Callable[[int], int]) -> int:
    """What stands in one or more brackets from ``i``; ``read`` takes one entry and gives the index after it."""
    while i < len(plain) and plain[i] == "(":
        i = read(i + 1)
        i = skip_space(plain, i)
        while plain[i : i + 1] == ";" or plain[i : i + 2] == ", ":
            i = skip_space(plain, read(i + 1))
        if plain[i : i + 1] != ")":
            why = "the bracket is not closed" if i >= len(plain) else "this does not belong in the bracket"
            raise QuantityError("bad-quantity", text, i, why, "write it like 29.5 ft-lb (40 N·m)")
        i = skip_space(plain, i + 1)
    return i


def _twin(text: str, plain: str, at: int, first: Quantity) -> int:
    part = scan_part(text, plain, at, dimension_of(first.unit))
    if part.unit is None:
        raise QuantityError("bad-quantity", text, part.end, "the unit is missing", "write it like 29.5 ft-lb (40 N·m)")
    agree(text, part.at, first, quantity_of(text, part, part.unit, plain[part.at : part.end]))
    return part.end


def agree(text: str, at: int, first: Quantity, second: Quantity) -> None:
    """Raises unless both say the same within half of the last printed digit of the coarser one."""
    same_thing(text, at, first, second)
    half = max(_last_digit(first), _last_digit(second)) / 2
    if abs(base(first) - base(second)) <= half:
        return
    why = f"{show(first)} is {show_converted(first, second.unit)}, but {show(second)} is printed beside it"
    raise QuantityError("disagreeing-units", text, at, why, "look both up again: one of them is misprinted")


def same_thing(text: str, at: int, first: Quantity, second: Quantity) -> None:
    """Raises unless both are of one dimension."""
    if dimension_of(first.unit) != dimension_of(second.unit):
        why = f"{first.unit or 'a plain number'} and {second.unit or 'a plain number'} do not measure the same thing"
        raise QuantityError("wrong-dimension", text, at, why, "write both in units of one kind")


def _last_digit(q: Quantity) -> Fraction:
    """What one step of the last printed digit is worth, in base units."""
    exponent = q.value.as_tuple().exponent
    return Fraction(10) ** (exponent if isinstance(exponent, int) else 0) * difference_factor(q.unit)


# --- words for errors -------------------------------------------------------------------------------


def _unit_missing(text: str, end: int, dimension: str | None) -> QuantityError:
    """No unit after a number: either nothing stands there, or something that is not one."""
    plain = uniform(text)
    at = skip_space(plain, end)
    following = plain[at : at + 1]
    if following.isdigit():
        hint = "write it in one piece, or a fraction as 1 1/64 in"
        return QuantityError("bad-quantity", text, at, "a number has no gap in it", hint)
    if following and following not in "()":
        return left_over(text, plain, at)
    return QuantityError("bad-quantity", text, end, "the unit is missing", example(dimension))


def left_over(text: str, plain: str, at: int) -> QuantityError:
    """The error for what stands after a quantity that is complete."""
    char = plain[at]
    if char.isdigit() or char in "+-.±<>=~":
        return QuantityError("bad-quantity", text, at, "one quantity is wanted, and more follows", RANGE_HINT)
    why = f'"{printable(char)}" does not belong here'
    return QuantityError("bad-quantity", text, at, why, "write a number and a unit, such as 40 N·m")


def example(dimension: str | None) -> str:
    """``write it like 0.05 mm``."""
    return f"write it like {units.EXAMPLES.get(dimension or 'torque', '40 N·m')}"


_WORDS = {"rotation": "rotational speed", "expansion": "thermal expansion", "fraction": "share"}


def _article(dimension: str) -> str:
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
"""What a person most likely meant who wrote the second where the first was wanted."""
