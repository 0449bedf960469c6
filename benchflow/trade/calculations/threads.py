"""Parses thread designations and calculates diameters, pitch and stress area.

Examples: ``M10x1.25``, ``M10`` (coarse), ``1/2-20 UNF``, ``7/16-14``, ``#10-32``. Sizes are floats, in millimetres for
metric threads and in inches for unified threads.
"""

import re
from decimal import Decimal
from fractions import Fraction
from math import pi
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError

MM_PER_INCH = 25.4


class ThreadError(BenchflowError):
    """A thread designation that cannot be read. The message shows how to write one."""


class Thread(Struct, frozen=True):
    """A thread. ``diameter`` and ``pitch`` are in ``unit``. ``name`` is spelled uniformly: ``M10x1.25``, ``1/2-20``.

    The thread need not be a standard one: see :func:`.thread_series.thread_problem`.
    """

    name: str
    system: Literal["metric", "unified"]
    diameter: float
    pitch: float
    size: str  # "M10", "1/2", "#10"
    series: str = ""  # as written: "UNF"
    special: bool = False  # written as `special` or UNS: no table needs to have it

    @property
    def unit(self) -> Literal["mm", "in"]:
        """The unit of ``diameter`` and ``pitch``."""
        return "mm" if self.system == "metric" else "in"

    @property
    def diameter_mm(self) -> float:
        """Nominal diameter in mm."""
        return self.diameter if self.system == "metric" else self.diameter * MM_PER_INCH

    @property
    def pitch_mm(self) -> float:
        """Pitch in mm."""
        return self.pitch if self.system == "metric" else self.pitch * MM_PER_INCH

    @property
    def pitch_diameter(self) -> float:
        """d2 = d - 0.649519 P (ISO 724; unified threads have the same basic profile; from memory)."""
        return self.diameter - 0.649519 * self.pitch

    @property
    def root_diameter(self) -> float:
        """d3 = d - 1.226869 P, at the rounded root of an external metric thread (ISO 898-1; from memory)."""
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
        """Tensile stress area in mm²."""
        return self.stress_area if self.system == "metric" else self.stress_area * MM_PER_INCH**2

    @property
    def root_area_mm2(self) -> float:
        """Area of the core in mm²: that of a circle with the diameter d3."""
        return pi / 4 * (self.root_diameter * (1 if self.system == "metric" else MM_PER_INCH)) ** 2

    @property
    def nominal_area_mm2(self) -> float:
        """Area of a shank with the nominal diameter in mm²."""
        return pi / 4 * self.diameter_mm**2

    @property
    def area_text(self) -> str:
        """The stress area as text: ``61.2 mm²``, ``0.1600 in²``."""
        if self.system == "metric":
            return f"{self.stress_area:.4g} mm²"
        return f"{self.stress_area:.4f} in²"


COARSE_PITCHES: dict[str, str] = {
    "1.6": "0.35", "2": "0.4", "2.5": "0.45", "3": "0.5", "3.5": "0.6", "4": "0.7", "5": "0.8", "6": "1",
    "7": "1", "8": "1.25", "10": "1.5", "12": "1.75", "14": "2", "16": "2", "18": "2.5", "20": "2.5",
    "22": "2.5", "24": "3", "27": "3", "30": "3.5", "33": "3.5", "36": "4", "39": "4", "42": "4.5",
    "45": "4.5", "48": "5", "52": "5", "56": "5.5", "60": "5.5", "64": "6",
}  # fmt: skip
"""Coarse pitch by diameter, both in mm (ISO 261; from memory)."""

NUMBERED_SIZES: dict[str, tuple[str, ...]] = {
    "0": ("80",), "1": ("64", "72"), "2": ("56", "64"), "3": ("48", "56"), "4": ("40", "48"),
    "5": ("40", "44"), "6": ("32", "40"), "8": ("32", "36"), "10": ("24", "32"), "12": ("24", "28", "32"),
}  # fmt: skip
"""Threads per inch of the numbered unified sizes (ASME B1.1; from memory).

They distinguish ``1-8`` (one inch) from ``10-32`` (number ten). The diameter of number n is 0.060 + 0.013 n inches.
"""

_METRIC = re.compile(r"M\s?(\d{1,3}(?:\.\d{1,3})?)(?:\s?[x×*-]\s?(\d{1,2}(?:\.\d{1,4})?))?")
_UNIFIED = re.compile(
    r"(#)?(?:(\d{1,2})|(?:(\d)[ -])?(\d{1,2})/(\d{1,2})|(\d?\.\d{1,4}))\"?\s?-\s?(\d{1,2}(?:\.5)?)"
    r"(?:\s?(UNC|UNF|UNEF|UNS|UNR?|UNRC|UNRF|UNJ[CF]?|NC|NF))?"
)
_HOW_TO_WRITE = "Write it like M10x1.25, M10, 1/2-20 UNF, 7/16-14 or #10-32"


def parse_thread(text: str) -> Thread:
    """Parse a thread designation. A tolerance class at its end (``-6g``, ``-2A``) is ignored.

    The word ``special`` at the end, or UNS, marks a thread that is in no table of standard threads.

    Raises:
        ThreadError: the text is not a thread designation, or the coarse pitch of the size is not known.
    """
    if len(text) > 40:
        raise ThreadError(f"This is too long for a thread designation. {_HOW_TO_WRITE}.")
    words, special = re.subn(r"[ ,]*\(?special\)?$", "", text.strip(), flags=re.IGNORECASE)
    name = re.sub(r"[ -](?:\d[gGhHeEfF]|\d[gh]\d[gh]|[123][AB])$", "", " ".join(words.upper().split()).strip())
    name = name.replace("X", "x")
    metric = _METRIC.fullmatch(name)
    if metric:
        return replace(_metric(metric[1], metric[2]), special=bool(special))
    unified = _UNIFIED.fullmatch(name)
    if unified:
        series = unified[8] or ""
        return replace(_unified(unified), series=series, special=bool(special) or series == "UNS")
    raise ThreadError(f"“{text}” is not a known thread designation. {_HOW_TO_WRITE}.")


def _metric(diameter_text: str, pitch_text: str | None) -> Thread:
    diameter = _without_zeros(diameter_text)
    if pitch_text is None and diameter not in COARSE_PITCHES:
        raise ThreadError(f"The coarse pitch of M{diameter} is not known. Write the pitch, like M{diameter}x1.5.")
    pitch = COARSE_PITCHES[diameter] if pitch_text is None else _without_zeros(pitch_text)
    d, p = float(diameter), float(pitch)
    if not 0 < p <= d / 2:
        raise ThreadError(f"A pitch of {pitch} mm is not possible for a diameter of {diameter} mm.")
    return Thread(f"M{diameter}x{pitch}", "metric", d, p, f"M{diameter}")


def _without_zeros(number: str) -> str:
    value = Decimal(number).normalize()
    return f"{value:f}"


def _unified(found: re.Match[str]) -> Thread:
    hash_mark, whole, inches, numerator, denominator, decimal_size, per_inch = found.groups()[:7]
    numbered = whole is not None and (hash_mark is not None or per_inch in NUMBERED_SIZES.get(whole, ()))
    if hash_mark is not None and (whole is None or int(whole) > 12):
        raise ThreadError(f"#{whole or ''} is not a numbered size. The numbered sizes are #0 to #12.")
    if numbered:
        size, diameter = f"#{whole}", 0.060 + 0.013 * int(whole)
    elif whole is not None:
        size, diameter = whole, float(whole)
    elif decimal_size is not None:
        size, diameter = decimal_size, float(decimal_size)
    else:
        if int(denominator) == 0:
            raise ThreadError("The denominator of a thread size cannot be zero.")
        size = f"{inches} {numerator}/{denominator}" if inches else f"{numerator}/{denominator}"
        diameter = float(int(inches or 0) + Fraction(int(numerator), int(denominator)))
    n = float(per_inch)
    if diameter <= 0 or n <= 0 or 1 / n > diameter / 2:
        raise ThreadError(f"{per_inch} threads per inch are not possible for a diameter of {size} in.")
    return Thread(f"{size}-{per_inch}", "unified", diameter, 1 / n, size)
