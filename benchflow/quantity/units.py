"""The table of the trade's units with exact factors, and the search for a unit by its spelling.

A factor is the number of base units in one unit, as a ``Fraction``. The base units are coherent: m, kg, s, K, N, N·m,
Pa, m², m³, N/m, V, A, Ω, Hz, m²/s, kg·m. A formula in base units therefore needs no further factors. The exception is
the angle. Its base unit is the degree, because a radian is not an exact number of degrees and is not used at a bench.
HRC is a scale of hardness of its own: no other unit can be converted to it.

Sources of the defining numbers: inch 25.4 mm, pound 0.45359237 kg (international yard and pound, 1959);
standard gravity 9.80665 m/s² (3rd CGPM, 1901); US gallon 231 in³; imperial gallon 4.54609 L; conventional
mercury 13595.1 kg/m³. The tests compare every row with pint and, if it has the unit, with scipy.constants.
"""

import unicodedata
from fractions import Fraction as F

from msgspec import Struct


class Unit(Struct, frozen=True):
    """A unit: base value = value * factor + offset. ``offset`` is zero except for °C and °F."""

    symbol: str
    dimension: str
    factor: F
    offset: F = F(0)


BASES = {
    "length": "m", "torque": "N·m", "angle": "°", "temperature": "K", "time": "s", "force": "N",
    "pressure": "Pa", "mass": "kg", "volume": "m³", "area": "m²", "fraction": "%", "stiffness": "N/m",
    "rotation": "rpm", "expansion": "ppm/K", "voltage": "V", "current": "A", "resistance": "Ω", "frequency": "Hz",
    "viscosity": "mm²/s", "unbalance": "g·cm", "hardness": "HRC",
}  # fmt: skip
"""A typical unit of each dimension. The factors of %, rpm, ppm/K, mm²/s and g·cm are not 1."""

EXAMPLES = {
    "length": "0.05 mm", "torque": "40 N·m", "angle": "90°", "temperature": "20 °C", "time": "10 min",
    "force": "500 N", "pressure": "3 bar", "mass": "250 g", "volume": "76 cm³", "area": "58 mm²",
    "fraction": "4 %", "stiffness": "30 N/mm", "rotation": "800 rpm", "expansion": "12 ppm/K",
    "voltage": "12.6 V", "current": "5 A", "resistance": "0.8 Ω", "frequency": "110 Hz",
    "viscosity": "100 mm²/s", "unbalance": "0.5 g·cm", "hardness": "58 HRC", "": "3",
}  # fmt: skip
"""An example of each dimension, for hints."""

_INCH = F("0.0254")
_FOOT = 12 * _INCH
_G = F("9.80665")
_POUND = F("0.45359237")
_LBF = _POUND * _G
_PSI = _LBF / _INCH**2
_MERCURY = F("13595.1") * _G
_GALLON = 231 * _INCH**3
_IMPERIAL = F("0.00454609")

# symbol, dimension, factor, other spellings (separated by "|"; "·" stands for any of space, dash, dot)
_ROWS: tuple[tuple[str, str, F, str], ...] = (
    ("m", "length", F(1), "metre|meter|metres|meters"),
    ("cm", "length", F("0.01"), "centimetre|centimeter|centimetres|centimeters"),
    ("mm", "length", F("0.001"), "millimetre|millimeter|millimetres|millimeters"),
    ("µm", "length", F("0.000001"), "um|micron|microns|micrometre|micrometres|micrometer|micrometers"),
    ("km", "length", F(1000), "kilometre|kilometer|kilometres|kilometers"),
    ("in", "length", _INCH, "inch|inches|\"|''"),
    ("µin", "length", _INCH / 10**6, "uin|microinch|microinches"),
    ("thou", "length", _INCH / 1000, "thous|mil|mils|thousandth|thousandths"),
    ("ft", "length", _FOOT, "foot|feet|'"),
    ("mi", "length", 5280 * _FOOT, "mile|miles"),
    ("°", "angle", F(1), "deg|degs|degree|degrees"),
    ("turn", "angle", F(360), "turns|rev|revs|revolution|revolutions"),
    ("K", "temperature", F(1), "kelvin"),
    ("s", "time", F(1), "sec|secs|second|seconds"),
    ("min", "time", F(60), "mins|minute|minutes"),
    ("h", "time", F(3600), "hr|hrs|hour|hours"),
    ("d", "time", F(86400), "day|days"),
    ("week", "time", F(604800), "weeks|wk|wks"),
    ("N", "force", F(1), "newton|newtons"),
    ("kN", "force", F(1000), "kilonewton|kilonewtons"),
    ("daN", "force", F(10), ""),
    ("kgf", "force", _G, "kp"),
    ("lbf", "force", _LBF, "lbsf|pound·force|pounds·force"),
    ("Pa", "pressure", F(1), "pascal|pascals"),
    ("kPa", "pressure", F(1000), ""),
    ("MPa", "pressure", F(10**6), "N/mm2"),
    ("bar", "pressure", F(10**5), "bars"),
    ("mbar", "pressure", F(100), "hPa"),
    ("psi", "pressure", _PSI, "lbf/in2|lb/in2|lbs/in2|lbf/sq·in|lb/sq·in"),
    ("ksi", "pressure", 1000 * _PSI, ""),
    ("kgf/cm²", "pressure", _G * 10**4, "kp/cm2"),
    ("inHg", "pressure", _MERCURY * _INCH, "in·Hg"),
    ("mmHg", "pressure", _MERCURY / 1000, "mm·Hg"),
    ("kg", "mass", F(1), "kilo|kilos|kilogram|kilograms"),
    ("g", "mass", F("0.001"), "gram|grams|gramme|grammes"),
    ("mg", "mass", F("0.000001"), "milligram|milligrams"),
    ("lb", "mass", _POUND, "lbs|pound|pounds|lbm"),
    ("oz", "mass", _POUND / 16, "ounce|ounces"),
    ("L", "volume", F("0.001"), "litre|liter|litres|liters"),
    ("mL", "volume", F("0.000001"), "millilitre|milliliter|millilitres|milliliters"),
    ("cm³", "volume", F("0.000001"), "cc|ccm|cu·cm"),
    ("mm³", "volume", F(1, 10**9), ""),
    ("m³", "volume", F(1), ""),
    ("in³", "volume", _INCH**3, "cu·in|cuin|cubic·inch|cubic·inches|cid"),
    ("US gal", "volume", _GALLON, "US·gallon|US·gallons"),
    ("US qt", "volume", _GALLON / 4, "US·quart|US·quarts"),
    ("US pt", "volume", _GALLON / 8, "US·pint|US·pints"),
    ("US fl oz", "volume", _GALLON / 128, ""),
    ("imp gal", "volume", _IMPERIAL, "imp·gallon|imp·gallons|imperial·gallon|imperial·gallons"),
    ("imp qt", "volume", _IMPERIAL / 4, "imp·quart|imp·quarts|imperial·quart|imperial·quarts"),
    ("imp pt", "volume", _IMPERIAL / 8, "imp·pint|imp·pints|imperial·pint|imperial·pints"),
    ("m²", "area", F(1), ""),
    ("cm²", "area", F("0.0001"), "sq·cm"),
    ("mm²", "area", F("0.000001"), "sq·mm"),
    ("in²", "area", _INCH**2, "sq·in|square·inch|square·inches"),
    ("%", "fraction", F("0.01"), "percent|per·cent|pct"),
    ("mm/mm", "fraction", F(1), "mm/·mm"),
    ("in/in", "fraction", F(1), "inch/inch|in/inch"),
    ("N/m", "stiffness", F(1), ""),
    ("N/mm", "stiffness", F(1000), ""),
    ("kgf/mm", "stiffness", _G * 1000, ""),
    ("lbf/in", "stiffness", _LBF / _INCH, "lb/in|lbs/in|lb/inch|lbs/inch"),
    ("rpm", "rotation", F(6), "r/min|rev/min|revs/min"),
    ("Hz", "frequency", F(1), "hertz"),
    ("ppm/K", "expansion", F("0.000001"), "ppm/°C|ppm/C|µm/m/K|µm/m·K|µm/m/°C|µm/m·°C"),
    ("ppm/°F", "expansion", F(9, 5) / 10**6, "ppm/F|µin/in/°F|µin/in/F"),
    ("1/K", "expansion", F(1), "/K|1/°C|/°C|1/C"),
    ("1/°F", "expansion", F(9, 5), "/°F|1/F"),
    ("mm²/s", "viscosity", F("0.000001"), ""),
    ("cSt", "viscosity", F("0.000001"), "centistoke|centistokes"),
    ("g·cm", "unbalance", F("0.00001"), "cm·g|gcm"),
    ("g·mm", "unbalance", F("0.000001"), "mm·g|gmm"),
    ("HRC", "hardness", F(1), "Rockwell·C"),
    ("V", "voltage", F(1), "volt|volts"),
    ("mV", "voltage", F("0.001"), "millivolt|millivolts"),
    ("A", "current", F(1), "amp|amps|ampere|amperes"),
    ("mA", "current", F("0.001"), "milliamp|milliamps"),
    ("Ω", "resistance", F(1), "ohm|ohms"),
    ("kΩ", "resistance", F(1000), "kohm|kohms"),
    ("MΩ", "resistance", F(10**6), "Mohm|Mohms"),
    ("mΩ", "resistance", F("0.001"), "mohm|mohms"),
)

_OFFSET_ROWS: tuple[tuple[str, F, F, str], ...] = (
    ("°C", F(1), F("273.15"), "C|degC|deg·C|degree·C|degrees·C|°·C|celsius|deg·celsius|degrees·celsius"),
    ("°F", F(5, 9), F("459.67") * 5 / 9, "F|degF|deg·F|degree·F|degrees·F|°·F|fahrenheit|deg·fahrenheit"
     "|degrees·fahrenheit"),
)  # fmt: skip

_POUNDS = "lb|lbs|lbf|lbsf|pound|pounds"
# symbol, factor, spellings of the two units of the product; either may come first, with or without a separator
_TORQUES: tuple[tuple[str, F, str, str], ...] = (
    ("N·m", F(1), "N|newton|newtons", "m|metre|metres|meter|meters"),
    ("N·cm", F("0.01"), "N", "cm"),
    ("N·mm", F("0.001"), "N", "mm"),
    ("cN·m", F("0.01"), "cN", "m"),
    ("mN·m", F("0.001"), "mN", "m"),
    ("daN·m", F(10), "daN", "m"),
    ("kN·m", F(1000), "kN", "m"),
    ("kgf·m", _G, "kgf|kp", "m"),
    ("kgf·cm", _G / 100, "kgf|kp", "cm"),
    ("ft-lb", _LBF * _FOOT, "ft|foot|feet", _POUNDS),
    ("in-lb", _LBF * _INCH, "in|inch|inches", _POUNDS),
    ("in-oz", _LBF / 16 * _INCH, "in|inch|inches", "oz|ozf|ounce|ounces"),
)

_MASS_TORQUE = "a torque needs a force, but kg is a mass"
_NO_PRODUCT = "a torque is a force times a length, not a quotient"
REFUSED: dict[str, tuple[str, str]] = {
    **dict.fromkeys(("kg·m", "kgm", "m·kg", "mkg", "kg/m", "kgs·m", "m·kgs"), (_MASS_TORQUE, "kgf·m")),
    **dict.fromkeys(("kg·cm", "kgcm", "cm·kg", "cmkg"), (_MASS_TORQUE, "kgf·cm")),
    **dict.fromkeys(("kg/cm2", "kg/sq·cm"),
                    ("a pressure needs a force, but kg is a mass", "kgf/cm²")),
    **dict.fromkeys(("ft/lb", "ft/lbs", "lb/ft", "lbs/ft", "lbf/ft", "ft/lbf", "foot/pound", "foot/pounds"),
                    (_NO_PRODUCT, "ft-lb")),
    **dict.fromkeys(("in/lb", "in/lbs", "in/lbf", "inch/pound", "inch/pounds"), (_NO_PRODUCT, "in-lb")),
    "nm": ("the unit nm is a nanometre, a millionth of a millimetre", "N·m"),
    "mPa": ("the unit mPa is a thousandth of a pascal", "MPa"),
    "MN·m": ("the unit MN·m is a million newton metres", "N·m"),
    **dict.fromkeys(("month", "months"), ("the length of a month varies", "d, such as 30 d")),
    **dict.fromkeys(("year", "years", "yr", "yrs"), ("the length of a year varies", "d, such as 365 d")),
    **dict.fromkeys(("qt", "quart", "quarts"), ("a quart is different in the US and the UK", "US qt or imp qt")),
    **dict.fromkeys(("pt", "pint", "pints"), ("a pint is different in the US and the UK", "US pt or imp pt")),
    **dict.fromkeys(("gal", "gallon", "gallons"), ("a gallon is different in the US and the UK", "US gal or imp gal")),
    **dict.fromkeys(("tenth", "tenths"), ("a tenth can mean 0.1 thou or 0.1 mm", "thou or mm, such as 0.1 thou")),
    **dict.fromkeys(("rad", "rads", "radian", "radians"), ("write an angle in degrees or turns", "°")),
    "M": ("there is no unit M", "m, mm or min"),
    "k": ("there is no unit k", "kg or kN"),
}  # fmt: skip
"""Spellings that look like a unit but are refused. The values are the reason and the correct unit."""


def with_uniform_separators(spelling: str) -> str:
    """Return a spelling with uniform separators: ``ft·lbs`` for ``ft. - lbs.`` and ``ft lbs``.

    Superscripts become digits. The caller limits the length.
    """
    if not spelling.isascii():
        spelling = unicodedata.normalize("NFKC", spelling).replace("\u03bc", "µ").replace("\u2126", "Ω")
    joined = "·".join(part for part in _split_at_separators(spelling) if part)
    return joined.replace("·/·", "/").replace("/·", "/").replace("·/", "/").replace("^", "")


def _split_at_separators(spelling: str) -> list[str]:
    for mark in "-.*·×":
        spelling = spelling.replace(mark, " ")
    return spelling.split()


def _spellings() -> dict[str, Unit]:
    known: dict[str, Unit] = {}

    def add(unit: Unit, names: list[str]) -> None:
        for name in (unit.symbol, with_uniform_separators(unit.symbol), *names):
            known[name] = unit

    for symbol, dimension, factor, names in _ROWS:
        add(Unit(symbol, dimension, factor), names.split("|") if names else [])
    for symbol, factor, offset, names in _OFFSET_ROWS:
        add(Unit(symbol, "temperature", factor, offset), names.split("|"))
    for symbol, factor, left, right in _TORQUES:
        pairs = [(a, b) for a in left.split("|") for b in right.split("|")]
        # In one word, m, cm and mm never come first: "mN" would mean a millinewton.
        turned = [f"{b}{a}" for a, b in pairs if b not in ("m", "cm", "mm")]
        names_ = [f"{a}·{b}" for a, b in pairs] + [f"{b}·{a}" for a, b in pairs] + [f"{a}{b}" for a, b in pairs]
        add(Unit(symbol, "torque", factor), names_ + turned)
    return known


_KNOWN = _spellings()
BY_SYMBOL: dict[str, Unit] = {unit.symbol: unit for unit in _KNOWN.values()}


def _folded() -> dict[str, Unit]:
    """Return the lower-case spellings that can mean only one unit."""
    found: dict[str, Unit] = {}
    twice: set[str] = set()
    for name, unit in _KNOWN.items():
        plain = name.casefold()
        if found.setdefault(plain, unit) is not unit:
            twice.add(plain)
    return {name: unit for name, unit in found.items() if name not in twice}


_FOLDED = _folded()


def find(spelling: str) -> Unit | None:
    """Return the unit for a spelling, ``None`` if there is none. Case matters only if it distinguishes two units."""
    exact = _KNOWN.get(spelling)
    if exact is not None:
        return exact
    plain = with_uniform_separators(spelling)
    exact = _KNOWN.get(plain)
    if exact is not None:
        return exact
    if plain in REFUSED:
        return None
    return _FOLDED.get(plain.casefold())


def refusal(spelling: str) -> tuple[str, str] | None:
    """Return the reason why a spelling is refused, and a hint; ``None`` if it is not refused."""
    if find(spelling) is not None:
        return None
    plain = with_uniform_separators(spelling)
    found = REFUSED.get(plain) or REFUSED.get(plain.casefold())
    if found is None:
        return None
    reason, correct_unit = found
    return reason, f"write {correct_unit}"


def nearest(spelling: str, dimension: str | None = None) -> str | None:
    """Return the known symbol most similar to a spelling, for a hint; ``None`` if none is similar."""
    from difflib import SequenceMatcher, get_close_matches  # late import: only an error needs it

    plain = with_uniform_separators(spelling)[:40]
    names = {name.casefold(): unit for name, unit in _KNOWN.items() if dimension is None or unit.dimension == dimension}
    cutoff = 0.5 if len(plain) <= 2 else 0.6

    def nearness(name: str) -> float:
        """Return the similarity of a name, less a penalty for a different length, plus a bonus for a usual unit."""
        usual = EXAMPLES[names[name].dimension].endswith(" " + names[name].symbol)
        likeness = SequenceMatcher(None, name, plain.casefold()).ratio()
        return likeness - 0.2 * abs(len(name) - len(plain)) + 0.05 * usual

    close = get_close_matches(plain.casefold(), names, n=8, cutoff=cutoff)
    return names[max(close, key=nearness)].symbol if close else None
