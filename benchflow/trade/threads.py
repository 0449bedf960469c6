"""Thread names as the trade writes them, and what follows from them: diameters, pitch, stress area.

``M10x1.25``, ``M10`` (coarse), ``1/2-20 UNF``, ``7/16-14``, ``#10-32``. Sizes inside are millimetres for
metric threads and inches for unified ones, as floats: a stress area is an engineering estimate.
"""

import re
from decimal import Decimal
from fractions import Fraction
from math import pi
from typing import Literal

from msgspec import Struct

from benchflow.base.errors import BenchflowError

MM_PER_INCH = 25.4


class ThreadError(BenchflowError):
    """A thread's name that cannot be read; the message says what was expected."""


class Thread(Struct, frozen=True):
    """``diameter`` and ``pitch`` in ``unit``; ``name`` in one spelling (``M10x1.25``, ``1/2-20``)."""

    name: str
    system: Literal["metric", "unified"]
    diameter: float
    pitch: float
    size: str  # "M10", "1/2", "#10"

    @property
    def unit(self) -> Literal["mm", "in"]:
        return "mm" if self.system == "metric" else "in"

    @property
    def diameter_mm(self) -> float:
        return self.diameter if self.system == "metric" else self.diameter * MM_PER_INCH

    @property
    def pitch_mm(self) -> float:
        return self.pitch if self.system == "metric" else self.pitch * MM_PER_INCH

    @property
    def pitch_diameter(self) -> float:
        """d2 = d - 0.649519 P (ISO 724; the same basic profile for unified threads; from memory)."""
        return self.diameter - 0.649519 * self.pitch

    @property
    def root_diameter(self) -> float:
        """d3 = d - 1.226869 P, the rounded root of an external metric thread (ISO 898-1; from memory)."""
        return self.diameter - 1.226869 * self.pitch

    @property
    def stress_area(self) -> float:
        """Tensile stress area in ``unit`` squared.

        Metric: pi/4 ((d2 + d3) / 2)^2 (ISO 898-1). Unified: 0.7854 (D - 0.9743 / n)^2 (ASME B1.1; from memory).
        """
        if self.system == "metric":
            return pi / 4 * ((self.pitch_diameter + self.root_diameter) / 2) ** 2
        return pi / 4 * (self.diameter - 0.9743 * self.pitch) ** 2

    @property
    def stress_area_mm2(self) -> float:
        return self.stress_area if self.system == "metric" else self.stress_area * MM_PER_INCH**2

    @property
    def area_words(self) -> str:
        """``61.2 mm²``, ``0.1600 in²``."""
        if self.system == "metric":
            return f"{self.stress_area:.3g} mm²"
        return f"{self.stress_area:.4f} in²"


COARSE: dict[str, str] = {
    "1.6": "0.35", "2": "0.4", "2.5": "0.45", "3": "0.5", "3.5": "0.6", "4": "0.7", "5": "0.8", "6": "1",
    "7": "1", "8": "1.25", "10": "1.5", "12": "1.75", "14": "2", "16": "2", "18": "2.5", "20": "2.5",
    "22": "2.5", "24": "3", "27": "3", "30": "3.5", "33": "3.5", "36": "4", "39": "4", "42": "4.5",
    "45": "4.5", "48": "5", "52": "5", "56": "5.5", "60": "5.5", "64": "6",
}  # fmt: skip
"""Diameter to coarse pitch, mm (ISO 261; from memory)."""

NUMBERED: dict[str, tuple[str, ...]] = {
    "0": ("80",), "1": ("64", "72"), "2": ("56", "64"), "3": ("48", "56"), "4": ("40", "48"),
    "5": ("40", "44"), "6": ("32", "40"), "8": ("32", "36"), "10": ("24", "32"), "12": ("24", "28", "32"),
}  # fmt: skip
"""Numbered unified sizes and their threads per inch (ASME B1.1; from memory). A bare ``1-8`` is one inch;
``10-32`` is number ten. The diameter is 0.060 + 0.013 n inches."""

_METRIC = re.compile(r"M\s?(\d{1,3}(?:\.\d{1,3})?)(?:\s?[x×*-]\s?(\d{1,2}(?:\.\d{1,4})?))?")
_UNIFIED = re.compile(
    r"(#)?(?:(\d{1,2})|(?:(\d)[ -])?(\d{1,2})/(\d{1,2})|(\d?\.\d{1,4}))\"?\s?-\s?(\d{1,2}(?:\.5)?)"
    r"(?:\s?(UNC|UNF|UNEF|UNS|UNR?|UNRC|UNRF|UNJ[CF]?|NC|NF))?"
)
_EXPECTED = "Write it like M10x1.25, M10, 1/2-20 UNF, 7/16-14 or #10-32"


def parse_thread(text: str) -> Thread:
    """Read a thread's name. A tolerance class after it (``-6g``, ``-2A``) is left aside.

    Raises :class:`ThreadError` for anything else, and for a coarse metric thread whose pitch is not known.
    """
    if len(text) > 40:
        raise ThreadError(f"This is too long for a thread's name. {_EXPECTED}.")
    name = re.sub(r"[ -](?:\d[gGhHeEfF]|\d[gh]\d[gh]|[123][AB])$", "", " ".join(text.upper().split()).strip())
    name = name.replace("X", "x")
    metric = _METRIC.fullmatch(name)
    if metric:
        return _metric(metric[1], metric[2])
    unified = _UNIFIED.fullmatch(name)
    if unified:
        return _unified(unified)
    raise ThreadError(f"“{text}” is not a thread that is known here. {_EXPECTED}.")


def _metric(diameter: str, pitch: str | None) -> Thread:
    plain = _plain(diameter)
    if pitch is None and plain not in COARSE:
        raise ThreadError(f"M{plain} has no coarse pitch that is known here; write the pitch, like M{plain}x1.5.")
    taken = COARSE[plain] if pitch is None else _plain(pitch)
    d, p = float(plain), float(taken)
    if not 0 < p <= d / 2:
        raise ThreadError(f"A pitch of {taken} mm does not go with a diameter of {plain} mm.")
    return Thread(f"M{plain}x{taken}", "metric", d, p, f"M{plain}")


def _plain(number: str) -> str:
    value = Decimal(number).normalize()
    return f"{value:f}"


def _unified(found: re.Match[str]) -> Thread:
    hash_mark, whole, ones, top, bottom, point, per_inch = found.groups()[:7]
    numbered = whole is not None and (hash_mark is not None or per_inch in NUMBERED.get(whole, ()))
    if hash_mark is not None and (whole is None or int(whole) > 12):
        raise ThreadError(f"#{whole or ''} is not a numbered size; they run from #0 to #12.")
    if numbered:
        size, diameter = f"#{whole}", 0.060 + 0.013 * int(whole)
    elif whole is not None:
        size, diameter = whole, float(whole)
    elif point is not None:
        size, diameter = point, float(point)
    else:
        if int(bottom) == 0:
            raise ThreadError("A size cannot be divided by nought.")
        size = f"{ones} {top}/{bottom}" if ones else f"{top}/{bottom}"
        diameter = float(int(ones or 0) + Fraction(int(top), int(bottom)))
    n = float(per_inch)
    if diameter <= 0 or n <= 0 or 1 / n > diameter / 2:
        raise ThreadError(f"{per_inch} threads to the inch do not go with a diameter of {size} in.")
    return Thread(f"{size}-{per_inch}", "unified", diameter, 1 / n, size)
