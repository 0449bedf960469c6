"""Parsing of limits, and comparison with a limit."""

from decimal import Decimal

import pytest
from msgspec.structs import replace

from benchflow.quantity import Limit, QuantityError, parse_limit, parse_quantity, position, show, show_limit


def ends(limit: Limit) -> tuple[str | None, str | None]:
    return (show(limit.low) if limit.low else None, show(limit.high) if limit.high else None)


READ = [
    ("0.10 .. 0.28 mm", "0.10 mm", "0.28 mm"),
    ("0.10..0.28mm", "0.10 mm", "0.28 mm"),
    ("0.155–0.220 in", "0.155 in", "0.220 in"),
    ("0.155 — 0.220 in", "0.155 in", "0.220 in"),
    ("0.10–0.28 mm (0.004–0.011 in)", "0.10 mm", "0.28 mm"),
    ("0.15 +0.03 –0.01 mm", "0.14 mm", "0.18 mm"),
    ("5–10 min", "5 min", "10 min"),
    ("0.10..1.28mm", "0.10 mm", "1.28 mm"),
    ("0.10 mm .. 0.011 in", "0.10 mm", "0.011 in"),
    ("at most 0.05 mm", None, "0.05 mm"),
    ("At most 4 %", None, "4 %"),
    ("at least 0.5 mm", "0.5 mm", None),
    ("at least quarter turn", "0.25 turn", None),
    ("0.15 ± 0.02 mm", "0.13 mm", "0.17 mm"),
    ("0.15 +/- 0.02 mm", "0.13 mm", "0.17 mm"),
    ("0.15 mm ± 0.02 mm", "0.13 mm", "0.17 mm"),
    ("0.15 +0.03 -0.01 mm", "0.14 mm", "0.18 mm"),
    ("0.15 -0.01 +0.03 mm", "0.14 mm", "0.18 mm"),
    ("0.15 +0.03 −0.01 mm", "0.14 mm", "0.18 mm"),
    ("50 +0.030 +0.011 mm", "50.011 mm", "50.030 mm"),
    ("50 mm +0.03 0", "50.00 mm", "50.03 mm"),
    ("100 N·m ± 4 %", "96 N·m", "104 N·m"),
    ("50 N·m ± 4 %", "48 N·m", "52 N·m"),
    ("-50 mm ± 4 %", "-52 mm", "-48 mm"),
    ("-0.05 .. 0.05 mm", "-0.05 mm", "0.05 mm"),
    ("20 ± 5 °C", "15 °C", "25 °C"),
    ("30 min .. 4 h", "30 min", "4 h"),
    ("1/64 .. 1/32 in", "0.015625 in", "0.03125 in"),
    ("0.10 .. 0.28 mm (0.004 .. 0.011 in)", "0.10 mm", "0.28 mm"),
    ("at most 0.05 mm (0.002 in)", None, "0.05 mm"),
    ("at most 0.05 mm (at most 0.002 in)", None, "0.05 mm"),
    ("0.15 ± 0.02 mm (0.006 ± 0.001 in)", "0.13 mm", "0.17 mm"),
    ("below 40 °C", None, "40 °C"),
    ("above 0.5 mm (0.02 in)", "0.5 mm", None),
    ("0.006 in (0.15 mm)", "0.0055 in", "0.0065 in"),
    ("40 N·m", "39.5 N·m", "40.5 N·m"),
    ("40.0 N·m", "39.95 N·m", "40.05 N·m"),
    ("-2°", "-2.5°", "-1.5°"),
    ("1/64 in", "0.0078125 in", "0.0234375 in"),
    ("1 1/2 in", "1.25 in", "1.75 in"),
    ("1/3 turn", "60°", "180°"),
    ("40 N·m (about 30 ft-lb)", "39.5 N·m", "40.5 N·m"),
    ("0.10 .. 0.28 mm (about 0.02 in)", "0.10 mm", "0.28 mm"),
    ("40 ± 4 N·m (30 ± 3 ft-lb)", "36 N·m", "44 N·m"),
    ("40 ± 4 N·m (30 ft-lb)", "36 N·m", "44 N·m"),
    ("40 ± 4 N·m (27 .. 33 ft-lb)", "36 N·m", "44 N·m"),
    ("100 N·m ± 4 % (74 ft-lb ± 4 %)", "96 N·m", "104 N·m"),
    ("60 .. 70 N·m (6.1 .. 7.1 kgf·m, 44 .. 52 ft-lb)", "60 N·m", "70 N·m"),
]


@pytest.mark.parametrize(("text", "low", "high"), READ)
def test_limit_is_parsed_with_both_ends_and_all_digits(text: str, low: str | None, high: str | None) -> None:
    limit = parse_limit(text)
    assert ends(limit) == (low, high)
    assert limit.text == text


@pytest.mark.parametrize(("text", "low", "high"), READ)
def test_shown_limit_parses_to_the_same_limit(text: str, low: str | None, high: str | None) -> None:
    limit = parse_limit(text)
    assert ends(parse_limit(show_limit(limit))) == ends(limit)


REFUSED = [
    ("0.28 .. 0.10 mm", "bad-quantity", 0, "above the upper end"),
    ("0.5 in .. 0.28 mm", "bad-quantity", 0, "above the upper end"),
    ("0.10 .. 0.28", "bad-quantity", 12, "the unit is missing"),
    ("0.15 ± 0.02", "bad-quantity", 11, "the unit is missing"),
    ("0.15 +0.03 -0.01", "bad-quantity", 16, "the unit is missing"),
    ("0.10 mm .. 0.28", "bad-quantity", 15, "the unit is missing"),
    ("0.10 - 0.28 mm", "bad-quantity", 5, "write 0.10 .. 0.28 mm"),
    ("0.155-0.220 in", "bad-quantity", 5, "write 0.155 .. 0.220 in"),
    ("0.10-0.28 mm (0.004-0.011 in)", "bad-quantity", 4, "write 0.10 .. 0.28 mm (0.004"),
    ("0.220–0.155 in", "bad-quantity", 0, "above the upper end"),
    ("0.15 –0.01 mm", "bad-quantity", 0, "above the upper end"),
    ("0.05 mm max", "bad-quantity", 8, "write at most 0.05 mm"),
    ("5 N·m minimum", "bad-quantity", 6, "write at least 5 N·m"),
    ("0.05 mm or less", "bad-quantity", 8, "write at most 0.05 mm"),
    ("between 1 and 2 mm", "bad-quantity", 0, "write 1 .. 2 mm"),
    ("0.10 mm - 0.28 mm", "bad-quantity", 8, "write 0.10 mm .. 0.28 mm"),
    ("0.15 -0.01 mm", "bad-quantity", 13, "write a range as 0.10 .. 0.28 mm, or both deviations"),
    ("0.10 ... 0.28 mm", "bad-quantity", 5, "two points"),
    ("0.10 … 0.28 mm", "bad-quantity", 5, "two points"),
    ("0.10 to 0.28 mm", "bad-quantity", 5, "0.10 .. 0.28 mm"),
    ("max. 0.05 mm", "bad-quantity", 0, "write “at most”"),
    ("≥ 0.05 mm", "bad-quantity", 0, "write “at least”"),
    ("under 40 °C", "bad-quantity", 0, "write “at most”, or “below” if the end itself is not allowed"),
    ("> 0.5 mm", "bad-quantity", 0, "write “at least”, or “above” if the end itself is not allowed"),
    ("below", "bad-quantity", 5, "a number is expected"),
    ("at most x", "bad-quantity", 8, "a number is expected here; write it like 40 N·m"),
    ("0.15 +0.03 mm -0.001 in", "bad-quantity", 5, "different units"),
    ("above start-torque 0.5 N·m", "bad-quantity", 6, "above NAME by 0.5 mm"),
    ("0.15", "bad-quantity", 4, "the unit is missing"),
    ("half a turn", "bad-quantity", 0, "a number in words has no last digit"),
    ("0.15 ± -0.02 mm", "bad-quantity", 7, "not have a sign"),
    ("0.15 +0.03 mm", "bad-quantity", 13, "second deviation"),
    ("0.15 mm ± 0.001 in", "bad-quantity", 10, "in the same unit"),
    ("0.1 mm .. 5 N", "wrong-dimension", 0, "the same thing"),
    ("at most 1,5 mm", "bad-quantity", 9, "1.5"),
    ("at most", "bad-quantity", 7, "a number is expected"),
    ("0.10 .. 0.28 mm (0.004 .. 0.021 in)", "disagreeing-units", 17, "0.28 mm is 0.0110 in, but 0.021 in"),
    ("0.10 .. 0.28 mm (at most 0.011 in)", "disagreeing-units", 25, "is a range, but the second is “at most”"),
    ("at most 0.5 mm (below 0.02 in)", "disagreeing-units", 22, "is “at most”, but the second is “below”"),
    ("0.10 .. 0.28 mm (0.004 in)", "disagreeing-units", 17, "is a range, but the second is one value"),
    ("40 N·m (30 ± 3 ft-lb)", "disagreeing-units", 8, "is one value, but the second is a value with a tolerance"),
    ("40 ± 4 N·m (30 ± 5 ft-lb)", "disagreeing-units", 12, "the tolerance 4 N·m is 2.95 ft-lb, but 5 ft-lb"),
    ("40 N·m (about 30 mm)", "wrong-dimension", 17, "a torque is expected"),
    ("40 N·m (approx. 30 ft-lb)", "bad-quantity", 8, "write “about”"),
    ("at most 0.05 mm (0.02 in)", "disagreeing-units", 17, "0.05 mm is 0.00197 in, but 0.02 in"),
    ("at most 0.05 mm (0.002 ft-lb)", "wrong-dimension", 23, "length"),
    ("9" * 300, "bad-quantity", 200, "longer"),
]


@pytest.mark.parametrize(("text", "code", "at", "words"), REFUSED)
def test_wrong_limit_gives_the_reason_and_the_index(text: str, code: str, at: int, words: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_limit(text)
    error = refused.value
    assert (error.code, error.at) == (code, at)
    assert words in f"{error.why}; {error.hint}"


@pytest.mark.parametrize("text", [row[0] for row in READ if "±" not in row[0] and "/" not in row[0]])
def test_limit_without_its_text_is_shown_as_the_same_limit(text: str) -> None:
    limit = parse_limit(text)
    again = parse_limit(show_limit(replace(limit, text="")))
    assert (ends(again), again.low_open, again.high_open) == (ends(limit), limit.low_open, limit.high_open)
    assert (again.other is None, again.nominal is None) == (limit.other is None, limit.nominal is None)
    assert show_limit(limit) == text


def test_columns_without_a_text_are_shown_from_their_numbers() -> None:
    limit = parse_limit("at most 0.05 mm (0.002 in)")
    assert limit.other is not None
    made = replace(limit, text="", other=replace(limit.other, text=""))
    assert show_limit(made) == "at most 0.05 mm (at most 0.002 in)"


def verdicts(limit: str, *values: str) -> list[str]:
    return [position(parse_limit(limit), parse_quantity(value)) for value in values]


def test_edge_of_below_and_above_is_not_included() -> None:
    assert verdicts("below 40 °C", "40 °C", "39.999 °C", "104 °F", "103.9 °F") == ["high", "within", "high", "within"]
    assert verdicts("above 0.5 mm", "0.5 mm", "0.501 mm") == ["low", "within"]
    # in two columns, a value within either is within the limit, and neither includes its own end
    assert verdicts("below 5 mm (0.197 in)", "5 mm", "0.197 in", "5.0038 mm") == ["within", "high", "high"]


def test_nominal_is_equal_within_half_its_last_digit_in_either_column() -> None:
    band = ("0.0055 in", "0.0065 in", "0.00549 in", "0.00651 in", "0.145 mm", "0.155 mm", "0.166 mm")
    assert verdicts("0.006 in (0.15 mm)", *band) == ["within", "within", "low", "high", "within", "within", "high"]
    assert verdicts("0.15 mm (0.006 in)", "0.0065 in", "0.0055 in", "0.166 mm") == ["within", "within", "high"]
    assert verdicts("0.150 mm", "0.1505 mm", "0.1506 mm") == ["within", "high"]


def test_value_within_either_printed_column_is_within_the_limit() -> None:
    printed = "0.13 .. 0.20 mm (0.005 .. 0.008 in)"
    assert verdicts(printed, "0.005 in", "0.127 mm", "0.008 in", "0.2032 mm") == ["within"] * 4
    assert verdicts(printed, "0.1269 mm", "0.2033 mm") == ["low", "high"]
    three = "at most 40 N·m (4.1 kgf·m, 30 ft-lb)"
    assert verdicts(three, "4.1 kgf·m", "30 ft-lb", "30.1 ft-lb") == ["within", "within", "high"]


def test_second_value_after_about_is_not_compared() -> None:
    assert verdicts("at most 40 N·m (about 30 ft-lb)", "40 N·m", "30 ft-lb") == ["within", "high"]
    parse_limit("40 N·m (about 50 ft-lb)")
    parse_quantity("40 N·m (about 50 ft-lb)")


def test_single_quantity_is_refused_where_a_nominal_makes_no_sense() -> None:
    with pytest.raises(QuantityError, match=r"A single value is not a limit. Write at most 2 h, at least 2 h"):
        parse_limit("2 h", nominal=False)


def test_both_ends_are_within_the_limit() -> None:
    limit = parse_limit("0.10 .. 0.28 mm")
    assert [position(limit, parse_quantity(t)) for t in ("0.0999 mm", "0.10 mm", "0.28 mm", "0.2801 mm")] == [
        "low", "within", "within", "high",
    ]  # fmt: skip


def test_reading_equal_to_the_limit_is_within_in_any_unit() -> None:
    assert position(parse_limit("at most 0.0254 mm"), parse_quantity("1 thou")) == "within"
    assert position(parse_limit("at most 0.0254 mm"), parse_quantity("1.0000000001 thou")) == "high"
    assert position(parse_limit("at most 100 °C"), parse_quantity("212 °F")) == "within"
    assert position(parse_limit("at least 120°"), parse_quantity("1/3 turn")) == "within"


def test_temperature_difference_is_compared_without_the_offset() -> None:
    warming = parse_quantity("18 °C")
    assert position(parse_limit("at most 36 °F"), warming, difference=True) == "within"
    assert position(parse_limit("at most 36 °F"), warming) == "high"


def test_torque_cannot_be_compared_with_a_length() -> None:
    with pytest.raises(QuantityError) as refused:
        position(parse_limit("at most 5 mm"), parse_quantity("5 N·m"))
    assert refused.value.code == "wrong-dimension"


def test_ends_of_a_tolerance_are_exact_decimals() -> None:
    limit = parse_limit("0.3 ± 0.1 mm")
    assert limit.low is not None
    assert limit.low.value == Decimal("0.2")


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("more than 0.1 mm", "write “at least”"),
        ("less than 0.1 mm", "write “at most”"),
        ("no more than 0.1 mm", "write “at most”"),
    ],
)
def test_limit_in_other_words_gives_a_hint_with_the_accepted_words(text: str, hint: str) -> None:
    with pytest.raises(QuantityError) as wrong:
        parse_limit(text)
    assert hint in wrong.value.hint
