"""Units compared with published values: NIST SP 811 (1995) App. B.8 as transcribed in the R package NISTunits 1.0.1,
SciPy's ``scipy.constants`` 1.17, pint 0.25's unit definitions, and values that manuals print in two units."""

from decimal import Decimal
from fractions import Fraction
from functools import cache

import pint
import pytest
from scipy import constants

from benchflow.quantity import QuantityError, base, convert, parse_limit, parse_quantity, show_converted
from benchflow.quantity.units import BY_SYMBOL

# --- SP 811 as in NISTunits (seven digits), and the exact values ----------------------


@pytest.mark.parametrize(
    ("one", "to", "exact", "sp811"),
    [
        ("1 in", "m", "0.0254", "0.0254"),
        ("1 ft", "m", "0.3048", "0.3048"),
        ("1 thou", "mm", "0.0254", "0.0254"),
        ("1 lbf", "N", "4.4482216152605", "4.448222"),
        ("1 kgf", "N", "9.80665", "9.80665"),
        ("1 ft-lb", "N·m", "1.3558179483314004", "1.355818"),
        ("1 in-lb", "N·m", "0.1129848290276167", "0.1129848"),
        ("1 in-oz", "N·m", "0.00706155181422604375", "0.007061552"),
        ("1 kgf·m", "N·m", "9.80665", "9.80665"),
        ("1 bar", "Pa", "100000", "100000"),
        ("1 kgf/cm²", "Pa", "98066.5", "98066.5"),
        ("1 in³", "cm³", "16.387064", "16.387064"),
    ],
)
def test_unit_has_the_value_of_sp_811(one: str, to: str, exact: str, sp811: str) -> None:
    got = convert(parse_quantity(one), to).value
    assert got == Decimal(exact)
    digits = Decimal(sp811)
    assert abs(got - digits) <= Decimal(5).scaleb(int(digits.as_tuple().exponent) - 1)


@pytest.mark.parametrize(
    ("one", "to", "printed"),
    [
        ("1 psi", "Pa", "6894.757293168361"),
        ("1 psi", "bar", "0.06894757293168"),
        ("1 ksi", "MPa", "6.894757293"),
        ("1 bar", "psi", "14.503773773020923"),
        ("1 N·m", "ft-lb", "0.7375621492772655"),
    ],
)
def test_conversion_without_an_exact_decimal_agrees_with_each_printed_digit(one: str, to: str, printed: str) -> None:
    """The printed values are doubles of pint and SciPy, so their last digit can differ by two."""
    got, want = convert(parse_quantity(one), to).value, Decimal(printed)
    assert abs(got - want) <= Decimal(2).scaleb(int(want.as_tuple().exponent))


@pytest.mark.parametrize(("fahrenheit", "celsius"), [("212", 100), ("68", 20), ("-40", -40), ("32", 0)])
def test_fahrenheit_converts_exactly_to_celsius(fahrenheit: str, celsius: int) -> None:
    assert convert(parse_quantity(f"{fahrenheit} °F"), "°C").value == celsius


# --- every row of the table compared with two libraries ----------------------------------------------------

PINT = {
    "m": "meter", "cm": "cm", "mm": "mm", "µm": "micrometer", "km": "km", "in": "inch", "thou": "thou", "ft": "foot",
    "mi": "mile", "°": "degree", "turn": "turn", "K": "kelvin", "°C": "degC", "°F": "degF", "s": "second",
    "min": "minute", "h": "hour", "d": "day", "week": "week", "N": "newton", "kN": "kN", "daN": "decanewton",
    "kgf": "kgf", "lbf": "lbf", "Pa": "pascal", "kPa": "kPa", "MPa": "MPa", "bar": "bar", "mbar": "mbar", "psi": "psi",
    "ksi": "kip/inch**2", "kgf/cm²": "kgf/cm**2", "inHg": "inch_Hg", "mmHg": "mmHg", "kg": "kg", "g": "gram",
    "mg": "mg",
    "lb": "pound", "oz": "ounce", "L": "liter", "mL": "milliliter", "cm³": "cm**3", "mm³": "mm**3", "m³": "m**3",
    "in³": "inch**3", "US gal": "gallon", "US qt": "quart", "US pt": "pint", "US fl oz": "fluid_ounce",
    "imp gal": "imperial_gallon", "imp qt": "imperial_quart", "imp pt": "imperial_pint", "m²": "m**2", "cm²": "cm**2",
    "mm²": "mm**2", "in²": "inch**2", "%": "percent", "mm/mm": "mm/mm", "in/in": "inch/inch", "N/m": "N/m",
    "N/mm": "N/mm", "kgf/mm": "kgf/mm", "lbf/in": "lbf/inch", "rpm": "turn/minute", "ppm/K": "ppm/kelvin",
    "V": "volt", "mV": "mV", "A": "ampere", "mA": "mA", "Ω": "ohm", "kΩ": "kiloohm", "MΩ": "megaohm", "mΩ": "milliohm",
    "Hz": "hertz", "µin": "microinch", "mm²/s": "mm**2/s", "cSt": "centistokes", "g·cm": "gram*cm", "g·mm": "gram*mm",
    "1/K": "1/kelvin", "1/°F": "1/delta_degF", "ppm/°F": "ppm/delta_degF",
    "N·m": "N*m", "N·cm": "N*cm", "N·mm": "N*mm", "cN·m": "centinewton*m", "mN·m": "millinewton*m",
    "daN·m": "decanewton*m", "kN·m": "kN*m", "kgf·m": "kgf*m", "kgf·cm": "kgf*cm", "ft-lb": "foot*lbf",
    "in-lb": "inch*lbf", "in-oz": "inch*force_ounce",
}  # fmt: skip
BASE = {
    "length": "m", "torque": "N*m", "temperature": "kelvin", "time": "s", "force": "N", "pressure": "Pa", "mass": "kg",
    "volume": "m**3", "area": "m**2", "fraction": "dimensionless", "stiffness": "N/m", "expansion": "1/kelvin",
    "voltage": "volt", "current": "ampere", "resistance": "ohm", "frequency": "1/s", "viscosity": "m**2/s",
    "unbalance": "kg*m",
}  # fmt: skip


@cache
def registry() -> "pint.UnitRegistry[Fraction]":
    return pint.UnitRegistry(non_int_type=Fraction)


def by_pint(symbol: str, value: int) -> Fraction:
    """Return ``value`` of a unit in the base unit of its dimension, exactly, by the definitions of pint."""
    unit = BY_SYMBOL[symbol]
    return Fraction(registry().Quantity(Fraction(value), PINT[symbol]).to(BASE[unit.dimension]).magnitude)


def test_each_unit_of_the_table_is_checked() -> None:
    assert set(PINT) == set(BY_SYMBOL) - {"HRC"}  # pint has no scales of hardness


@pytest.mark.parametrize("symbol", sorted(set(BY_SYMBOL) - {"°", "turn", "rpm", "HRC"}))
def test_each_unit_is_exactly_equal_to_the_unit_of_pint(symbol: str) -> None:
    for value in (1, 68):
        q = parse_quantity(str(value), unit=symbol)
        assert base(q) == by_pint(symbol, value)


def test_turns_degrees_and_speeds_agree_with_pint() -> None:
    """pint converts these by pi, which it has as a double."""
    pairs = [("turn", "degree", 360), ("turn/minute", "degree/second", 6), ("revolution", "turn", 1)]
    for one, other, ratio in pairs:
        found = pint.UnitRegistry().Quantity(1.0, one).to(other).magnitude
        assert found == pytest.approx(ratio, rel=1e-14)
    assert BY_SYMBOL["turn"].factor == Fraction(360)
    assert BY_SYMBOL["rpm"].factor == Fraction(6)


SCIPY = {
    "in": constants.inch, "ft": constants.foot, "thou": constants.mil, "mi": constants.mile, "min": constants.minute,
    "h": constants.hour, "d": constants.day, "week": constants.week, "lbf": constants.lbf, "kgf": constants.kgf,
    "psi": constants.psi, "bar": constants.bar, "lb": constants.lb, "oz": constants.oz, "L": constants.liter,
    "US gal": constants.gallon, "imp gal": constants.gallon_imp, "US fl oz": constants.fluid_ounce,
    "°F": constants.degree_Fahrenheit, "°": 1.0, "km": constants.kilo, "mm": constants.milli,
}  # fmt: skip


@pytest.mark.parametrize("symbol", sorted(SCIPY))
def test_units_agree_with_scipy(symbol: str) -> None:
    assert float(BY_SYMBOL[symbol].factor) == pytest.approx(SCIPY[symbol], rel=1e-15)


def test_zero_celsius_agrees_with_scipy() -> None:
    assert float(BY_SYMBOL["°C"].offset) == constants.zero_Celsius


# --- values that service manuals print in two units -------------------------------------------------

AGREEING = [
    "35 ft-lb (47 N·m)", "45 ft-lb (61 N·m)", "65 ft-lb (88 N·m)", "90 ft-lb (122 N·m)", "95 in-lb (11 N·m)",
    "89 lb-in (10 N·m)", "40 N·m (4.1 kgf·m, 29.5 lbf·ft)", "29.5 ft-lb (40 N·m)", "20 N·m (2.0 kgf·m)",
    # This manual rounds lbf·ft to halves: 14.751 is printed as 15.0. That is within half a step of the coarser value.
    "20 N·m (2.0 kgf·m, 15.0 lbf·ft)",
    "0.009 in (0.22 mm)", ".002 in (.05 mm)", ".008 in (.2 mm)", ".0047 in (0.12 mm)",
]  # fmt: skip


@pytest.mark.parametrize("printed", AGREEING)
def test_printed_pair_that_is_correctly_rounded_is_accepted(printed: str) -> None:
    assert parse_quantity(printed).entered == printed


MISPRINTS = [
    # a service manual of 2000
    ("at most 1.0 mm (0.004 inch)", "disagreeing-units"),
    # a service manual of 2002: the same ratio with two values
    ("at most 0.0007 mm/mm (0.0004 inch/inch)", "disagreeing-units"),
    # US Army TM 9-2815-254-24: the decimal point of the low limit is wrong, so low is above high
    ("0.082 .. 0.0044 in (0.080 .. 0.114 mm)", "bad-quantity"),
    # the same with a corrected low limit: 0.114 mm is 0.0045 in, but the page prints 0.0044
    ("0.0032 .. 0.0044 in (0.080 .. 0.114 mm)", "disagreeing-units"),
]


@pytest.mark.parametrize(("printed", "code"), MISPRINTS)
def test_misprint_of_a_manual_is_an_error(printed: str, code: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_limit(printed)
    assert refused.value.code == code


def test_89_inch_pounds_are_shown_as_10_06_newton_metres() -> None:
    """Common practice, no source."""
    assert show_converted(parse_quantity("89 in-lb"), "N·m") == "10.06 N·m"


@pytest.mark.parametrize(("stage", "third"), [("25 ft-lb", 1), ("50 ft-lb", 2), ("75 ft-lb", 3)])
def test_three_equal_torque_stages_are_exact_thirds(stage: str, third: int) -> None:
    """Common practice, no source."""
    assert base(parse_quantity(stage)) * 3 == base(parse_quantity("75 ft-lb")) * third
