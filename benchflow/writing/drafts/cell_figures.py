"""Reads the figures in the cells of a list as a procedure writes them. A figure with two meanings is refused."""

import re
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from benchflow.procedure.stage_figures import parse_figure
from benchflow.quantity import QuantityError, base, dimension_of, parse_limit, parse_quantity, unit_symbol

_SPLIT = re.compile(r"\s*(?:\+|;|,\s+|\bthen\b|→|->|\n)\s*", re.IGNORECASE)
_NUMBER = r"[-+]?\d*\.?\d+"
_ONLY_NUMBERS = re.compile(
    r"[\s\d.±+/<>≤≥=–—-]*(?:(?:at most|at least|max\.?|min\.?|below|above|to|\.\.)[\s\d.±+/–—-]*)*", re.I
)
_RANGE = re.compile(r"\s*(\d*\.?\d+)\s*([^\d\s.–—-]*)\s*(?:-|–|—|to|\.\.\.|…)\s*(\d*\.?\d+)\s*(\D*)", re.IGNORECASE)
_AT_MOST = re.compile(r"\s*(?:max(?:imum|\.)?|up to|not more than|no more than|≤|<=)\s*:?\s*(?=[\d.])", re.IGNORECASE)
_AT_LEAST = re.compile(r"\s*(?:min(?:imum|\.)?|not less than|no less than|≥|>=)\s*:?\s*(?=[\d.])", re.IGNORECASE)
_TRAILING = re.compile(rf"\s*({_NUMBER}\s*\D+?)\s*(max|min)\.?\s*", re.IGNORECASE)
_TOLERANCE = re.compile(
    r"\s*(\d*\.?\d+)\s*([^\d\s+./–-]*)\s*([+-])\s*(\d*\.?\d+)\s*(?:/\s*|\s)([+-])\s*(\d*\.?\d+)\s*([^\d]*)"
)
"""``50 +0.025/-0 mm``: a size with its two tolerances."""
_TWO_UNITS = "the size and its tolerance have different units. Write both in one"
_ENDS_FIRST = re.compile(
    r"\s*(?:at most|at least|max|min|not (?:more|less)|no (?:more|less)|up to|below|above|[<>≤≥])", re.IGNORECASE
)
_THOUSANDS = re.compile(r"(?<![\d.,])[1-9]\d{0,2}(?:\.\d{3})+(?![\d.,])")
_FORMULA = re.compile(r"=\s*[-+(A-Za-z$].*|#(?:REF!|VALUE!|DIV/0!|N/A|NAME\?|NUM!|NULL!|#+)", re.DOTALL)


class Refused(Struct, frozen=True):
    """A figure that was not understood, and the reason. It is not guessed."""

    why: str


def is_formula(text: str) -> bool:
    """True for a formula or an error value of a spreadsheet instead of a result."""
    return _FORMULA.fullmatch(text.strip()) is not None


def stages_in(text: str, unit: str) -> list[str] | Refused:
    """The stages of a torque cell, such as ``30 N·m + 90°``; ``unit`` is for numbers without one."""
    if is_formula(text):
        return Refused("a formula or an error of the spreadsheet. Save the values, or write the torque")
    text = text.replace("+/-", "±").replace("+-", "±")
    if _in_another_unit(text, unit):
        return Refused(_TWO_UNITS)
    if _TOLERANCE.fullmatch(text):
        text = normal_limit(_with_unit(text, unit))
    text = _in_two_units(text)
    if "/" in re.sub(r"\d\s?/\s?\d+\s*(?:turn|rev)", "", text):
        return Refused("“/” can mean stages, a range, or two cases. Write stages with +")
    found: list[str] = []
    last: Fraction | None = None
    own_unit = False  # a torque is written with its unit
    for piece in filter(None, _SPLIT.split(re.sub(r"(?m)^\s*\d+[.)]\s+(?=\S)", "", text))):
        if re.search(r"\b(?:hand|finger)", piece, re.I):
            found.append("by hand")
            continue
        written = normal_limit(_with_unit(piece, unit)).removeprefix("+")
        if _ENDS_FIRST.match(piece) or _ENDS_FIRST.match(written):
            return Refused(f"“{piece}” is a limit, not a torque to tighten to")
        is_bare = _ONLY_NUMBERS.fullmatch(piece) is not None
        if is_bare and own_unit:
            return Refused(f"“{piece}” has no unit, but another stage has one. Is it a torque or an angle?")
        try:
            figure = parse_figure(written, None)
        except QuantityError as error:
            return Refused(_why(error, piece))
        kind = dimension_of(figure.quantity.unit)
        if kind not in ("torque", "angle"):
            return Refused(f"“{piece}” is not a torque or an angle")
        if not figure.above_zero:
            return Refused(f"“{piece}” is not above zero")
        if kind == "torque":
            size = base(figure.quantity)
            if last is not None and size < last:
                return Refused(f"“{piece}” is less than the torque before it. Are these stages, or a tolerance?")
            last, own_unit = size, own_unit or not is_bare
        found.append(f"+{written}" if kind == "angle" else written)
    return found or Refused("there is no torque in it")


def limit_in(text: str, unit: str) -> tuple[str, str] | Refused:
    """The limit in a cell as a procedure writes it, and its unit ("" for a count)."""
    if is_formula(text):
        return Refused("a formula or an error of the spreadsheet. Save the values, or write the limit")
    if _in_another_unit(text, unit):
        return Refused(_TWO_UNITS)
    written = _in_both_units(normal_limit(_with_unit(text, unit)))
    if unit != "%" and re.match(r"[^%]*\d[^%]*±\s*[\d.]+\s*%", written) and unit:
        return Refused("a tolerance in %. Write both ends of the limit")
    try:
        limit = parse_limit(written)
    except QuantityError as error:
        return Refused(_why(error, text))
    end = limit.low or limit.high
    if end is None:
        return Refused("there is no limit in it")
    if _is_single(written):
        return Refused("a single value: is it the most, the least, or is there a tolerance? Write the limit")
    return written, end.unit


def _in_both_units(text: str) -> str:
    """A limit with the same limit in another unit behind it, both as a procedure writes them."""
    found = re.fullmatch(r"([^()]*\S)\s*\(([^()]*\d[^()]*)\)\s*", text)
    return f"{normal_limit(found[1])} ({normal_limit(found[2])})" if found is not None else text


def limit_of_ends(low: str, high: str, unit: str) -> tuple[str, str] | Refused:
    """The limit from two columns: one with the lower end, one with the upper end."""
    if low and high:
        low_unit, high_unit = re.sub(r"[\d.\s+-]", "", low), re.sub(r"[\d.\s+-]", "", high)
        if low_unit and high_unit and low_unit != high_unit:
            return Refused("the two ends have different units")
        ends = f"{re.sub(r'[^0-9.,+-].*', '', low.strip())} .. {high if high_unit else f'{high} {low_unit}'.strip()}"
        return limit_in(ends, unit)
    return limit_in(f"at least {low}" if low else f"at most {high}", unit)


def time_in(text: str) -> str | Refused:
    """The duration in a cell."""
    try:
        parse_quantity(text, dimension="time")
    except QuantityError as error:
        return Refused(_why(error, text))
    return text.strip()


def normal_limit(text: str) -> str:
    """A limit in the notation of a procedure, where the usual ways to write it have one meaning: ``0.1 - 0.2 mm``."""
    plain = " ".join(text.replace("+/-", "±").replace("+-", "±").split())
    found = _RANGE.fullmatch(plain)
    if found is not None:
        unit = found[4].strip() or found[2].strip()
        same = not found[2].strip() or found[2].strip() == found[4].strip() or not found[4].strip()
        if same and float(found[1]) <= float(found[3]):
            return f"{found[1]} .. {found[3]} {unit}".strip()
    size = _TOLERANCE.fullmatch(plain)
    if size is not None and size[3] != size[5]:
        ends = sorted(
            Decimal(size[1]) + Decimal(sign + more) for sign, more in ((size[3], size[4]), (size[5], size[6]))
        )
        return f"{ends[0]} .. {ends[1]} {size[7].strip() or size[2]}".strip()
    trailing = _TRAILING.fullmatch(plain)
    if trailing is not None:
        return f"{'at most' if trailing[2].lower() == 'max' else 'at least'} {trailing[1]}"
    plain = _AT_MOST.sub("at most ", plain, count=1) if _AT_MOST.match(plain) else plain
    plain = _AT_LEAST.sub("at least ", plain, count=1) if _AT_LEAST.match(plain) else plain
    plain = re.sub(r"^<\s*(?=[\d.])", "below ", plain)
    return re.sub(r"^>\s*(?=[\d.])", "above ", plain)


def _in_another_unit(text: str, unit: str) -> bool:
    """True for a size with tolerances in another unit than its own, which is ``unit`` if none is written."""
    found = _TOLERANCE.fullmatch(" ".join(text.split()))
    own, other = ("", "") if found is None else (found[2] or unit, found[7].strip())
    if not own or not other:
        return False
    try:
        return unit_symbol(own) != unit_symbol(other)
    except QuantityError:
        return own != other


def point_of_thousands(text: str) -> bool:
    """True for a number such as ``1.250``, which means 1250 where commas are decimal."""
    return _THOUSANDS.search(text) is not None


def unit_behind(text: str) -> str:
    """The unit behind the last number of a figure that was refused: ``mm`` of ``0,4 mm``; "" if there is none."""
    found = re.search(r"\d\s*([^\W\d_%°µ]{1,6}|[%°µ][^\W\d]{0,3})(?:\s+\w+)?\s*$", text)
    return found[1] if found else ""


def _is_single(text: str) -> bool:
    """True for one value without a tolerance."""
    try:
        parse_quantity(text)
    except QuantityError:
        return False
    return True


def _in_two_units(text: str) -> str:
    """``25 Nm / 18 ft-lb`` as ``25 Nm (18 ft-lb)``, which is refused if the two are not the same torque."""
    found = re.fullmatch(r"\s*([\d.,]+)\s*([^\d\s/;(+][^\d/;(+,]*?)\s*(?:/|,\s|;|=)\s*([\d.,]+)\s*(\D+?)\s*", text)
    if found is None:
        return text
    try:
        one, other = unit_symbol(found[2]), unit_symbol(found[4])
    except QuantityError:
        return text
    return f"{found[1]} {found[2]} ({found[3]} {found[4]})" if one != other and dimension_of(one) == "torque" else text


def _with_unit(text: str, unit: str) -> str:
    """``text`` with the unit of its column, if it has only numbers."""
    trailing = re.fullmatch(r"(.*\d)\s*(max|min)(?:imum)?\.?\s*", text, re.IGNORECASE | re.DOTALL)
    if unit and trailing is not None and _ONLY_NUMBERS.fullmatch(trailing[1]):
        return f"{trailing[1]} {unit} {trailing[2].lower()}"
    return f"{text} {unit}".strip() if unit and _ONLY_NUMBERS.fullmatch(text) else text


def _why(error: QuantityError, text: str) -> str:
    if re.search(r"\d\.\d+,\d|\d,\d+[.,]\d", text):
        return "a comma and a point in one number. Write it with a point for the decimals only"
    if re.search(r"\d,\d", text):
        point = re.sub(r"(?<=\d),(?=\d)", ".", text.strip())
        return f"a comma can mean decimals or thousands. Write {point} if it is a decimal"
    return f"{error.why}. {error.hint}".rstrip(". ")
