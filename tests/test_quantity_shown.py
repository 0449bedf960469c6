"""How quantities stand on the screen, and what is said of those that a maker printed twice."""

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
)


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
def test_a_value_from_another_unit_is_shown_to_digits_that_mean_something(typed: str, unit: str, shown: str) -> None:
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
def test_a_mean_of_three_does_not_fill_a_page_with_digits_and_what_was_read_keeps_all_of_its_own(
    value: str, shown: str
) -> None:
    assert show_short(Quantity(Decimal(value), "mm", "")) == shown


def test_what_is_shown_rounded_is_not_what_is_stored() -> None:
    assert convert(parse_quantity("89 in-lb"), "N·m") == Quantity(Decimal("10.0556497834578863"), "N·m", "89 in-lb")


def test_a_conversion_without_an_end_is_rounded_once_to_28_digits() -> None:
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
def test_halves_are_rounded_up_and_units_are_set_as_the_trade_sets_them(
    value: str, unit: str, digits: int | None, shown: str
) -> None:
    assert show(Quantity(Decimal(value), unit, ""), digits=digits) == shown


def test_a_limit_can_be_shown_in_the_unit_of_the_gauge() -> None:
    assert show_limit(parse_limit("0.10 .. 0.28 mm"), "in") == "0.00394 .. 0.0110 in"


def test_a_limit_open_below_is_shown_in_words() -> None:
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
def test_a_value_printed_twice_that_agrees_is_taken_as_printed_first(text: str) -> None:
    q = parse_quantity(text)
    assert q.entered == text
    assert convert(q, parse_quantity(text.split(" (")[0]).unit).value == parse_quantity(text.split(" (")[0]).value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("29.5 ft-lb (42 N·m)", "29.5 ft-lb is 40.00 N·m, but 42 N·m is printed beside it"),
        ("29.5 ft-lb (40.6 N·m)", "printed beside it"),
        ("1.0 mm (0.004 inch)", "1.0 mm is 0.0394 in, but 0.004 in is printed beside it"),
        ("20 °C (86 °F)", "20 °C is 68 °F, but 86 °F is printed beside it"),
        ("89 ft-lb (10 N·m)", "printed beside it"),
    ],
)
def test_a_misprint_in_a_value_printed_twice_is_caught_with_both_in_one_unit(text: str, words: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity(text)
    assert refused.value.code == "disagreeing-units"
    assert refused.value.at == text.index("(") + 1
    assert words in refused.value.why


def test_the_coarser_of_two_printed_values_decides_how_close_they_must_be() -> None:
    parse_quantity("20 N·m (15.0 ft-lb)")  # half of 1 N·m either way, though 14.75 would be nearer
    with pytest.raises(QuantityError):
        parse_quantity("20.0 N·m (15.0 ft-lb)")


def test_a_difference_of_one_degree_fahrenheit_has_no_offset() -> None:
    assert difference_factor("°F") == Fraction(5, 9)
    assert convert(parse_quantity("36 °F"), "°C", difference=True).value == 20
    assert convert(parse_quantity("36 °F"), "K", difference=True).value == 20


def test_base_values_are_exact_fractions_of_the_base_unit() -> None:
    assert base(parse_quantity("1 in")) == Fraction(254, 10000)
    assert base(parse_quantity("20 °C")) == Fraction(29315, 100)
    assert base(parse_quantity("14", unit="")) == 14


def test_a_torque_kept_in_another_unit_still_lies_on_its_limit() -> None:
    kept = convert(parse_quantity("100 N·m"), "ft-lb")
    assert len(kept.value.as_tuple().digits) == 28
    assert base(kept) == 100
    assert convert(kept, "N·m").value == 100
    assert base(convert(parse_quantity("-0.10 mm"), "in")) == Fraction(-1, 10_000)
    assert convert(convert(parse_quantity("89 in-lb"), "ft-lb"), "in-lb").value == 89
    assert base(convert(parse_quantity("31.7 °F"), "°C")) == base(parse_quantity("31.7 °F"))


def test_time_comes_in_seconds_and_nothing_else_does() -> None:
    assert seconds(parse_quantity("1.5 h")) == 5400.0
    with pytest.raises(QuantityError):
        seconds(parse_quantity("90°"))


def test_what_measures_something_else_cannot_be_converted() -> None:
    with pytest.raises(QuantityError) as refused:
        convert(parse_quantity("5 mm"), "N·m")
    assert refused.value.code == "wrong-dimension"


def test_a_unit_is_asked_for_its_dimension_by_its_symbol() -> None:
    assert (dimension_of("ft-lb"), dimension_of(""), dimension_of("%")) == ("torque", "", "fraction")
    with pytest.raises(QuantityError, match="did you mean ft-lb"):
        dimension_of("ft-lbs!")


def test_reading_a_quantity_does_not_bring_in_what_the_first_paint_cannot_afford() -> None:
    import subprocess
    import sys

    code = (
        "import sys; from benchflow.quantity import parse_quantity, show_converted;"
        "show_converted(parse_quantity('89 in-lb'), 'N·m');"
        "print([m for m in ('pint', 'scipy', 'networkx', 'numpy', 'uncertainties', 'difflib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
