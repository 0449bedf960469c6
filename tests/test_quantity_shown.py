"""Quantities as text, conversion, and quantities printed in two units."""

from decimal import Decimal
from fractions import Fraction

import pytest

from benchflow.quantity import (
    Quantity,
    QuantityError,
    base,
    convert,
    difference_factor,
    dimension_of,
    parse_limit,
    parse_quantity,
    seconds,
    show,
    show_converted,
    show_limit,
    show_short,
    show_with_typed,
)
from benchflow.quantity.shown import decimals_shown


@pytest.mark.parametrize(
    ("typed", "unit", "shown"),
    [
        ("89 in-lb", "N·m", "10.06 N·m"),
        ("85 ft-lb", "N·m", "115.2 N·m"),
        ("120 N·m", "ft-lb", "88.5 ft-lb"),
        ("40 N·m", "ft-lb", "29.5 ft-lb"),
        ("0.045 mm", "in", "0.00177 in"),
        ("0.0018 in", "mm", "0.0457 mm"),
        ("1 in", "mm", "25.4 mm"),
        ("1/64 in", "mm", "0.396875 mm"),
        ("20 °C", "°F", "68 °F"),
        ("20.0 °C", "°F", "68.0 °F"),
        ("212 °F", "°C", "100 °C"),
        ("quarter turn", "°", "90°"),
        ("10 min", "h", "0.167 h"),
        ("0 mm", "in", "0 in"),
        ("0.045 mm", "mm", "0.045 mm"),
    ],
)
def test_converted_value_has_a_sensible_number_of_digits(typed: str, unit: str, shown: str) -> None:
    assert show_converted(parse_quantity(typed), unit) == shown


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("0.7190333333333333333333333333", "0.719033 mm"),
        ("-0.0153666666666666666666666666", "-0.0153667 mm"),
        ("23.98776", "23.98776 mm"),
        ("0.10", "0.10 mm"),
    ],
)
def test_long_decimal_is_shown_short_and_a_reading_keeps_all_digits(value: str, shown: str) -> None:
    assert show_short(Quantity(Decimal(value), "mm", "")) == shown


@pytest.mark.parametrize(
    ("value", "unit", "entered", "shown", "with_typed"),
    [
        ("52.01158", "mm", "2.0477 in", "52.0116 mm", "52.0116 mm (typed 2.0477 in)"),
        ("2.047244094488188976377952756", "in", "52 mm", "2.05 in", "2.05 in (typed 52 mm)"),
        ("20.16666666666666666666666667", "°C", "68.3 °F", "20.17 °C", "20.17 °C (typed 68.3 °F)"),
        ("52.0124", "mm", "52.0124 mm", "52.0124 mm", "52.0124 mm"),
        ("52.0120", "mm", "52.0120", "52.0120 mm", "52.0120 mm"),
        ("54.23271793325600", "N·m", "40 ft-lb (54 N·m)", "54.2 N·m", "54.2 N·m (typed 40 ft-lb (54 N·m))"),
        ("120", "°", "1/3 turn", "120°", "120° (typed 1/3 turn)"),
        ("0.396875", "mm", "1/64 in", "0.396875 mm", "0.396875 mm (typed 1/64 in)"),
        # a calculated value: its text is the rounded value
        ("0.1033333333333333333333333333", "mm", "0.1033 mm", "0.1033 mm", "0.1033 mm"),
        ("0.1033333333333333333333333333", "mm", "0.1033333333333333333333333333 mm", "0.103333 mm", "0.103333 mm"),
        ("0.1033333333333333333333333333", "mm", "", "0.103333 mm", "0.103333 mm"),
        ("0.10335", "mm", "0.1034 mm", "0.1034 mm", "0.1034 mm"),
        ("0.103351", "mm", "0.1033 mm", "0.103351 mm", "0.103351 mm"),
        ("1.234567891", "mm", "1.234567891 mm", "1.234567891 mm", "1.234567891 mm"),
        ("1.2345678912", "mm", "1.2345678912 mm", "1.23457 mm", "1.23457 mm"),
        # a text that means something else is not shown as the value
        ("0.10", "mm", "0.2 mm", "0.10 mm", "0.10 mm"),
        ("0.0001", "in", "at most 0.0002 in", "0.0001 in", "0.0001 in (typed at most 0.0002 in)"),
        ("0.5", "mm", "0.5 N", "0.5 mm", "0.5 mm (typed 0.5 N)"),
        ("-0.045", "mm", "-0.04500 mm", "-0.04500 mm", "-0.04500 mm"),
    ],
)
def test_stored_quantity_is_shown_to_the_digits_that_were_typed(
    value: str, unit: str, entered: str, shown: str, with_typed: str
) -> None:
    stored = Quantity(Decimal(value), unit, entered)
    assert show_short(stored) == shown
    assert show_with_typed(stored) == with_typed
    assert decimals_shown(stored) == len(shown.split(" ")[0].removesuffix("°").partition(".")[2])


def test_conversion_stores_more_digits_than_are_shown() -> None:
    assert convert(parse_quantity("89 in-lb"), "N·m") == Quantity(Decimal("10.0556497834578863"), "N·m", "89 in-lb")


def test_conversion_is_rounded_to_28_digits_if_the_decimal_does_not_end() -> None:
    assert convert(parse_quantity("1 mm"), "in").value == Decimal("0.03937007874015748031496062992")


@pytest.mark.parametrize(
    ("value", "unit", "digits", "shown"),
    [
        ("0.045", "mm", 2, "0.05 mm"),
        ("-0.045", "mm", 2, "-0.05 mm"),
        ("0.0449", "mm", 2, "0.04 mm"),
        ("90", "°", None, "90°"),
        ("1", "turn", None, "1 turn"),
        ("0.25", "turn", None, "0.25 turn"),
        ("2", "turn", None, "2 turns"),
        ("14", "", None, "14"),
        ("-0.001", "mm", 1, "0.0 mm"),
    ],
)
def test_halves_are_rounded_up_and_units_have_their_usual_form(
    value: str, unit: str, digits: int | None, shown: str
) -> None:
    assert show(Quantity(Decimal(value), unit, ""), digits=digits) == shown


def test_limit_is_shown_in_another_unit() -> None:
    assert show_limit(parse_limit("0.10 .. 0.28 mm"), "in") == "0.00394 .. 0.0110 in"


def test_limit_with_an_open_end_is_shown_in_words() -> None:
    assert show_limit(parse_limit("at most 0.05 mm")) == "at most 0.05 mm"


@pytest.mark.parametrize(
    "text",
    [
        "29.5 ft-lb (40 N·m)",
        "40 N·m (4.1 kgf·m, 29.5 lbf·ft)",
        "40 N·m (4.1 kgf·m) (29.5 lbf·ft)",
        "1/2 in (13 mm)",
        "1/4 turn (90°)",
        "20 °C (68 °F)",
    ],
)
def test_first_of_two_agreeing_values_is_used(text: str) -> None:
    q = parse_quantity(text)
    assert q.entered == text
    assert convert(q, parse_quantity(text.split(" (")[0]).unit).value == parse_quantity(text.split(" (")[0]).value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("29.5 ft-lb (42 N·m)", "29.5 ft-lb is 40.00 N·m, but 42 N·m is printed"),
        ("29.5 ft-lb (40.6 N·m)", " is printed"),
        ("1.0 mm (0.004 inch)", "1.0 mm is 0.0394 in, but 0.004 in is printed"),
        ("20 °C (86 °F)", "20 °C is 68 °F, but 86 °F is printed"),
        ("89 ft-lb (10 N·m)", " is printed"),
    ],
)
def test_misprint_in_two_units_is_reported_with_both_values(text: str, words: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity(text)
    assert refused.value.code == "disagreeing-units"
    assert refused.value.at == text.index("(") + 1
    assert words in refused.value.why


@pytest.mark.parametrize(
    ("agreeing", "disagreeing"),
    [
        ("21 mm (2.15 cm)", "21 mm (2.151 cm)"),  # exactly half a millimetre above, and just beyond
        ("21 mm (2.05 cm)", "21 mm (2.049 cm)"),
        ("2.15 cm (21 mm)", "2.151 cm (21 mm)"),  # the order does not matter
        ("21 N·m (15.2 ft-lb)", "21 N·m (15.1 ft-lb)"),  # 20.61 and 20.47 N·m
        ("0.10 mm (0.1049 mm)", "0.10 mm (0.1051 mm)"),
        ("21 °C (70.7 °F)", "21 °C (70.8 °F)"),  # 21.5 and 21.56 °C
        # an integer that ends in 0 may be rounded to 10, but by no more than 5 %
        ("20 mm (2.1 cm)", "20 mm (2.11 cm)"),
        ("500 N·m (505.0 N·m)", "500 N·m (505.1 N·m)"),
        ("90 ft-lb (120 N·m)", "90 ft-lb (112 N·m)"),
        ("10 mm (1.05 cm)", "10 N·m (11 ft-lb)"),
        # one that ends in 5 to 5
        ("105 mm (107.5 mm)", "105 mm (107.6 mm)"),
        ("25 N·m (26.2 N·m)", "25 N·m (26.3 N·m)"),
        # a single digit, or a number with decimals, is rounded to its last digit
        ("5 mm (5.5 mm)", "5 mm (5.6 mm)"),
        ("20.0 mm (2.005 cm)", "20.0 mm (2.006 cm)"),
        # a fraction is exact
        ("1/8 in (3.18 mm)", "1/8 in (3.2250 mm)"),
    ],
)
def test_two_printed_values_agree_up_to_half_the_coarser_last_digit(agreeing: str, disagreeing: str) -> None:
    parse_quantity(agreeing)
    with pytest.raises(QuantityError) as refused:
        parse_quantity(disagreeing)
    assert refused.value.code == "disagreeing-units"


def test_coarser_of_two_printed_values_sets_the_tolerance() -> None:
    parse_quantity("20 N·m (15.0 ft-lb)")  # 20.34 N·m, within half of 1 N·m, although 14.75 ft-lb would be nearer
    with pytest.raises(QuantityError):
        parse_quantity("20.0 N·m (15.0 ft-lb)")


def test_temperature_difference_is_converted_without_an_offset() -> None:
    assert difference_factor("°F") == Fraction(5, 9)
    assert convert(parse_quantity("36 °F"), "°C", difference=True).value == 20
    assert convert(parse_quantity("36 °F"), "K", difference=True).value == 20


def test_base_values_are_exact_fractions() -> None:
    assert base(parse_quantity("1 in")) == Fraction(254, 10000)
    assert base(parse_quantity("20 °C")) == Fraction(29315, 100)
    assert base(parse_quantity("14", unit="")) == 14


def test_value_stored_in_another_unit_keeps_its_exact_base_value() -> None:
    kept = convert(parse_quantity("100 N·m"), "ft-lb")
    assert len(kept.value.as_tuple().digits) == 28
    assert base(kept) == 100
    assert convert(kept, "N·m").value == 100
    assert base(convert(parse_quantity("-0.10 mm"), "in")) == Fraction(-1, 10_000)
    assert convert(convert(parse_quantity("89 in-lb"), "ft-lb"), "in-lb").value == 89
    assert base(convert(parse_quantity("31.7 °F"), "°C")) == base(parse_quantity("31.7 °F"))


def test_seconds_accepts_only_a_time() -> None:
    assert seconds(parse_quantity("1.5 h")) == 5400.0
    with pytest.raises(QuantityError):
        seconds(parse_quantity("90°"))


def test_conversion_to_another_dimension_is_refused() -> None:
    with pytest.raises(QuantityError) as refused:
        convert(parse_quantity("5 mm"), "N·m")
    assert refused.value.code == "wrong-dimension"


def test_dimension_of_a_unit_symbol() -> None:
    assert (dimension_of("ft-lb"), dimension_of(""), dimension_of("%")) == ("torque", "", "fraction")
    with pytest.raises(QuantityError, match="Did you mean ft-lb"):
        dimension_of("ft-lbs!")


def test_parsing_a_quantity_imports_no_large_library() -> None:
    import subprocess
    import sys

    code = (
        "import sys; from benchflow.quantity import parse_quantity, show_converted;"
        "show_converted(parse_quantity('89 in-lb'), 'N·m');"
        "print([m for m in ('pint', 'scipy', 'networkx', 'numpy', 'uncertainties', 'difflib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
