"""Limit deviations of holes and shafts, and the clearance or interference of a fit, after ISO 286-1.

Nominal sizes above 0 to 500 mm, grades 5 to 13. Source of all tables: ISO 286-1, from memory. The tests compare them
with printed tables, and with the formulas of the standard.
"""

import re
from fractions import Fraction
from typing import NamedTuple

from msgspec import Struct

from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import Calculation, InputField, TextInput, length_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, line
from benchflow.trade.rounding import amount

SOURCE = "ISO 286-1 (tables from memory, compared with printed tables)"

_MAIN = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
"""Upper ends of the main ranges of nominal sizes in mm. A range does not include its lower end."""
_FINE = (3, 6, 10, 14, 18, 24, 30, 40, 50, 65, 80, 100, 120, 140, 160, 180, 200, 225, 250, 280, 315, 355, 400, 450, 500)
"""Upper ends of the ranges for r, s, t, u and x in mm."""

GRADES: dict[int, tuple[int, ...]] = {
    4: (3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20),
    5: (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
    10: (40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
    11: (60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
    12: (100, 120, 150, 180, 210, 250, 300, 350, 400, 460, 520, 570, 630),
    13: (140, 180, 220, 270, 330, 390, 460, 540, 630, 720, 810, 890, 970),
}
"""Standard tolerances IT in µm by grade and main range."""

_CLEARANCE: dict[str, tuple[int, ...]] = {
    "d": (20, 30, 40, 50, 65, 80, 100, 120, 145, 170, 190, 210, 230),
    "e": (14, 20, 25, 32, 40, 50, 60, 72, 85, 100, 110, 125, 135),
    "f": (6, 10, 13, 16, 20, 25, 30, 36, 43, 50, 56, 62, 68),
    "g": (2, 4, 5, 6, 7, 9, 10, 12, 14, 15, 17, 18, 20),
    "h": (0,) * 13,
}
"""Distance in µm of the upper limit of a shaft below the nominal size, by letter and main range."""

_INTERFERENCE: dict[str, tuple[int, ...]] = {
    "k": (0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5),
    "m": (2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23),
    "n": (4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40),
    "p": (6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68),
}
"""Distance in µm of the lower limit of a shaft above the nominal size, by letter and main range. k: grades 4 to 7."""

_FINE_INTERFERENCE: dict[str, tuple[int | None, ...]] = {
    "r": (10, 15, 19, 23, 23, 28, 28, 34, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132),
    "s": (14, 19, 23, 28, 28, 35, 35, 43, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232,
          252),
    "t": (None, None, None, None, None, None, 41, 48, 54, 66, 75, 91, 104, 122, 134, 146, 166, 180, 196, 218, 240, 268,
          294, 330, 360),
    "u": (18, 23, 28, 33, 33, 41, 48, 60, 70, 87, 102, 124, 144, 170, 190, 210, 236, 258, 284, 315, 350, 390, 435, 490,
          540),
}  # fmt: skip
"""The same by letter and fine range. ``None``: the standard has no value."""

_J_SHAFT: dict[int, tuple[int, ...]] = {
    5: (2, 2, 2, 3, 4, 5, 7, 9, 11, 13, 16, 18, 20),
    6: (2, 2, 2, 3, 4, 5, 7, 9, 11, 13, 16, 18, 20),
    7: (4, 4, 5, 6, 8, 10, 12, 15, 18, 21, 26, 28, 32),
}
"""Distance in µm of the lower limit of a shaft j below the nominal size, by grade and main range."""

_J_HOLE: dict[int, tuple[int, ...]] = {
    6: (2, 5, 5, 6, 8, 10, 13, 16, 18, 22, 25, 29, 33),
    7: (4, 6, 8, 10, 12, 14, 18, 22, 26, 30, 36, 39, 43),
    8: (6, 10, 12, 15, 20, 24, 28, 34, 41, 47, 55, 60, 66),
}
"""Distance in µm of the upper limit of a hole J above the nominal size, by grade and main range."""

_LAST_GRADES = {
    "k": 13, "m": 9, "n": 9, "p": 10, "r": 10, "s": 10, "u": 9, "N": 11, "P": 10, "R": 10, "S": 10, "U": 10,
}  # fmt: skip
"""The coarsest grade of the letters from k on, where it is above 8. Holes N9 to N11 end at the nominal size."""

_LETTERS = ("d", "e", "f", "g", "h", "j", "js", "k", "m", "n", "p", "r", "s", "t", "u")
_CLASS = r"[A-Za-z]{1,2}\s*\d{1,2}"
_HINT = (
    "Write it like H7/p6, H7 or p6. Holes have capital letters: D to H, J, JS, K, M, N, P, R, S, T, U. Grades: 5 to 13."
)


class Deviations(Struct, frozen=True):
    """The limits of a hole or shaft as deviations from the nominal size, in µm."""

    low: Fraction
    high: Fraction


def deviations(tolerance_class: str, millimetres: Fraction) -> Deviations:
    """Return the limit deviations in µm of a tolerance class, such as ``H7`` or ``p6``, at a nominal size in mm.

    A capital letter is a hole, a small one a shaft. Source: ISO 286-1, from memory.

    Raises:
        CalculationError: the class is not known, or not at this size.
    """
    found = re.fullmatch(r"([A-Za-z]{1,2})\s*(\d{1,2})", tolerance_class.strip())
    letter, grade = (found[1], int(found[2])) if found else ("", 0)
    hole = letter.isupper()
    small = letter.lower()
    if small not in _LETTERS or letter not in (small, small.upper()) or not 5 <= grade <= 13:
        raise CalculationError("fit", f"The tolerance class “{tolerance_class.strip()}” is not known", _HINT)
    main = next(index for index, end in enumerate(_MAIN) if millimetres <= end)
    width = GRADES[grade][main]
    if small == "js":
        return Deviations(Fraction(-width, 2), Fraction(width, 2))
    if small in _CLEARANCE:
        near = _CLEARANCE[small][main]
        return Deviations(Fraction(near), Fraction(near + width)) if hole else Deviations(
            Fraction(-near - width), Fraction(-near)
        )  # fmt: skip
    if small == "j":
        table = _J_HOLE if hole else _J_SHAFT
        if grade not in table:
            grades = " to ".join(f"{letter}{each}" for each in (min(table), max(table)))
            raise CalculationError("fit", f"There is no {letter}{grade}", f"The standard has {grades}.")
        edge = table[grade][main]
        return Deviations(Fraction(edge - width), Fraction(edge)) if hole else Deviations(
            Fraction(-edge), Fraction(width - edge)
        )  # fmt: skip
    return _tight(letter, grade, main, millimetres, width)


def _tight(letter: str, grade: int, main: int, millimetres: Fraction, width: int) -> Deviations:
    """Return the deviations of the letters from k on. Those of a hole are the ones of a shaft, shifted by Δ."""
    small, hole = letter.lower(), letter.isupper()
    last = _LAST_GRADES.get(letter, 8)
    if grade > last:
        raise CalculationError(
            "fit", f"The class {letter}{grade} is not in the table", f"Known: {letter}5 to {letter}{last}."
        )
    if small in _INTERFERENCE:
        edge: int | None = 0 if small == "k" and not hole and grade > 7 else _INTERFERENCE[small][main]
    else:
        fine = next(index for index, end in enumerate(_FINE) if millimetres <= end)
        edge = _FINE_INTERFERENCE[small][fine]
    if edge is None:
        raise CalculationError("fit", f"There is no {letter}{grade} for {float(millimetres):g} mm",
                               "The standard has it above 24 mm. Use U or u.")  # fmt: skip
    if not hole:
        return Deviations(Fraction(edge), Fraction(edge + width))
    if letter == "N" and grade > 8 and main > 0:
        edge = 0
    shifted = main > 0 and grade <= 8 and (small in ("k", "m", "n") or grade <= 7)
    shift = GRADES[grade][main] - GRADES[grade - 1][main] if shifted else 0
    high = -9 if (letter, grade) == ("M", 6) and _MAIN[main] == 315 else shift - edge
    return Deviations(Fraction(high - width), Fraction(high))


def fit(nominal: Quantity, text: str) -> CalculationResult:
    """Return the limits of a hole and a shaft in mm, and the clearance or interference of the two.

    ``text`` is a fit such as ``H7/p6``, or one tolerance class. Source: ISO 286-1, from memory.

    Raises:
        CalculationError: the size is not above 0 to 500 mm, or the classes are not known or not of a hole and a shaft.
    """
    require_within("nominal", nominal, "The nominal size", "0.1 mm", "500 mm", "The tables end at 500 mm.")
    millimetres = amount(nominal, "mm")
    classes = re.fullmatch(rf"({_CLASS})(?:\s*[/\s-]\s*({_CLASS}))?", text.strip())
    parts = [part for part in (classes.groups() if classes else ()) if part]
    by_kind = {("hole" if part.isupper() else "shaft"): part for part in parts}
    if not parts or len(by_kind) != len(parts):
        raise CalculationError("fit", f"“{text.strip()}” is not a hole, a shaft or one of each", _HINT)
    sizes: dict[str, _Sizes] = {}
    lines: list[ResultLine] = []
    notes: list[str] = []
    for kind, part in sorted(by_kind.items()):
        limits = deviations(part, millimetres)
        sizes[kind] = _Sizes(millimetres + limits.low / 1000, millimetres + limits.high / 1000)
        lines += [_size(f"{kind}-low", f"{kind.capitalize()} {part}, at least", millimetres, limits.low),
                  _size(f"{kind}-high", f"{kind.capitalize()} {part}, at most", millimetres, limits.high)]  # fmt: skip
        notes.append(f"Limit of the {kind}: {lines[-2].value.value:f} .. {lines[-1].shown}.")
    if len(sizes) == 2:
        lines += _pair(sizes["hole"], sizes["shaft"])
    notes.append("Assumed: both at 20 °C (ISO 1, from memory).")
    return CalculationResult(f"Fit {text.strip()} at {show(nominal)}", tuple(lines), SOURCE, tuple(notes))


class _Sizes(NamedTuple):
    """The limits of a hole or shaft in mm."""

    low: Fraction
    high: Fraction


def _size(name: str, title: str, millimetres: Fraction, microns: Fraction) -> ResultLine:
    sign = "−" if microns < 0 else "+"
    return _exact(name, title, millimetres + microns / 1000, "nominal size + deviation",
                  f"{float(millimetres):g} mm {sign} {float(abs(microns)):g} µm")  # fmt: skip


def _exact(name: str, title: str, millimetres: Fraction, formula: str, filled: str) -> ResultLine:
    """Return a line in mm with three decimals, or with as many as it needs, up to six."""
    decimals = next((count for count in (3, 4, 5) if (millimetres * 10**count).denominator == 1), 6)
    return line(name, title, millimetres, "mm", formula, filled, decimals=decimals)


def _pair(hole: _Sizes, shaft: _Sizes) -> list[ResultLine]:
    """Return the lines for the two ends of a fit: clearance, interference, or one of each."""
    loose, tight = hole.high - shaft.low, hole.low - shaft.high
    greatest, smallest = ("largest hole − smallest shaft", hole.high, shaft.low), (
        "smallest hole − largest shaft", hole.low, shaft.high)  # fmt: skip
    ends = [("Greatest", loose, greatest), ("Least", tight, smallest)]
    if loose <= 0:
        ends = [("Greatest", tight, smallest), ("Least", loose, greatest)]
    elif tight < 0:
        ends = [("Greatest", loose, greatest), ("Greatest", tight, smallest)]
    lines = []
    for word, clearance, (formula, first, second) in ends:
        kind = "interference" if clearance < 0 or loose <= 0 else "clearance"
        if kind == "interference":
            formula, first, second = _turned(formula), second, first
        filled = f"{_millimetres(first)} − {_millimetres(second)}"
        lines.append(_exact(f"{word.lower()}-{kind}", f"{word} {kind}", abs(clearance), formula, filled))
    return lines


def _turned(formula: str) -> str:
    first, second = formula.split(" − ")
    return f"{second} − {first}"


def _millimetres(size: Fraction) -> str:
    return f"{float(size):.6f}".rstrip("0").rstrip(".") + " mm"


FIT_CALCULATIONS = (
    Calculation(
        "fit", "Limits of an ISO fit, such as H7/p6",
        (
            length_field("nominal", "Nominal size", "25 mm"),
            InputField("fit", "Fit, or one tolerance class", TextInput(), "H7/p6"),
        ),
        lambda inputs: fit(inputs.quantity("nominal"), inputs.text("fit")),
        SOURCE,
    ),
)  # fmt: skip
