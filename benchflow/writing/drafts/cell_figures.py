"""Reads the figures in the cells of a list as a procedure writes them. A figure with two meanings is refused."""

import re

from msgspec import Struct

from benchflow.procedure.stage_figures import parse_figure
from benchflow.quantity import QuantityError, dimension_of, parse_limit, parse_quantity

_SPLIT = re.compile(r"\s*(?:\+|;|,\s+|\bthen\b|→|->|\n|\s/\s)\s*", re.IGNORECASE)
_NUMBER = r"[-+]?\d*\.?\d+"
_ONLY_NUMBERS = re.compile(
    r"[\s\d.±+/<>≤≥=–—-]*(?:(?:at most|at least|max\.?|min\.?|below|above|to|\.\.)[\s\d.±+/–—-]*)*", re.I
)
_RANGE = re.compile(r"\s*(\d*\.?\d+)\s*([^\d\s.–—-]*)\s*(?:-|–|—|to|\.\.\.|…)\s*(\d*\.?\d+)\s*(\D*)", re.IGNORECASE)
_AT_MOST = re.compile(r"\s*(?:max(?:imum|\.)?|up to|not more than|no more than|≤|<=)\s*:?\s*(?=[\d.])", re.IGNORECASE)
_AT_LEAST = re.compile(r"\s*(?:min(?:imum|\.)?|not less than|no less than|≥|>=)\s*:?\s*(?=[\d.])", re.IGNORECASE)
_TRAILING = re.compile(rf"\s*({_NUMBER}\s*\D+?)\s*(max|min)\.?\s*", re.IGNORECASE)
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
    found = []
    for piece in filter(None, _SPLIT.split(re.sub(r"(?m)^\s*\d+[.)]\s+(?=\S)", "", text))):
        if re.search(r"\b(?:hand|finger)", piece, re.I):
            found.append("by hand")
            continue
        written = normal_limit(_with_unit(piece, unit)).removeprefix("+")
        try:
            figure = parse_figure(written, None)
        except QuantityError as error:
            return Refused(_why(error, piece))
        kind = dimension_of(figure.quantity.unit)
        if kind not in ("torque", "angle"):
            return Refused(f"“{piece}” is not a torque or an angle")
        if not figure.above_zero:
            return Refused(f"“{piece}” is not above zero")
        found.append(f"+{written}" if kind == "angle" else written)
    return found or Refused("there is no torque in it")


def limit_in(text: str, unit: str) -> tuple[str, str] | Refused:
    """The limit in a cell as a procedure writes it, and its unit ("" for a count)."""
    if is_formula(text):
        return Refused("a formula or an error of the spreadsheet. Save the values, or write the limit")
    written = normal_limit(_with_unit(text, unit))
    try:
        limit = parse_limit(written)
    except QuantityError as error:
        return Refused(_why(error, text))
    end = limit.low or limit.high
    return (written, end.unit) if end is not None else Refused("there is no limit in it")


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
    trailing = _TRAILING.fullmatch(plain)
    if trailing is not None:
        return f"{'at most' if trailing[2].lower() == 'max' else 'at least'} {trailing[1]}"
    plain = _AT_MOST.sub("at most ", plain, count=1) if _AT_MOST.match(plain) else plain
    plain = _AT_LEAST.sub("at least ", plain, count=1) if _AT_LEAST.match(plain) else plain
    plain = re.sub(r"^<\s*(?=[\d.])", "below ", plain)
    return re.sub(r"^>\s*(?=[\d.])", "above ", plain)


def _with_unit(text: str, unit: str) -> str:
    """``text`` with the unit of its column, if it has only numbers."""
    return f"{text} {unit}".strip() if unit and _ONLY_NUMBERS.fullmatch(text) else text


def _why(error: QuantityError, text: str) -> str:
    if re.search(r"\d,\d", text):
        point = re.sub(r"(?<=\d),(?=\d)", ".", text.strip())
        return f"a comma can mean decimals or thousands. Write {point} if it is a decimal"
    return f"{error.why}. {error.hint}".rstrip(". ")
