"""Parsing of limits, and comparison with a limit."""

from decimal import Decimal

import pytest

from benchflow.quantity import Limit, QuantityError, parse_limit, parse_quantity, position, show, show_limit


def ends(limit: Limit) -> tuple[str | None, str | None]:
    return (show(limit.low) if limit.low else None, show(limit.high) if limit.high else None)


READ = [
    ("0.10 .. 0.28 mm", "0.10 mm", "0.28 mm"),
    ("0.10..0.28mm", "0.10 mm", "0.28 mm"),
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
    ("0.10 - 0.28 mm", "bad-quantity", 14, "write a range as 0.10 .. 0.28 mm"),
    ("0.10–0.28 mm", "bad-quantity", 12, "write a range as 0.10 .. 0.28 mm"),
    ("0.10 ... 0.28 mm", "bad-quantity", 5, "two points"),
    ("0.10 … 0.28 mm", "bad-quantity", 5, "two points"),
    ("0.10 to 0.28 mm", "bad-quantity", 5, "0.10 .. 0.28 mm"),
    ("max. 0.05 mm", "bad-quantity", 0, 'write "at most"'),
    ("≥ 0.05 mm", "bad-quantity", 0, 'write "at least"'),
    ("0.15 mm", "bad-quantity", 7, "not a limit"),
    ("0.15 ± -0.02 mm", "bad-quantity", 7, "not have a sign"),
    ("0.15 +0.03 mm", "bad-quantity", 13, "second deviation"),
    ("0.15 mm ± 0.001 in", "bad-quantity", 10, "in the same unit"),
    ("0.1 mm .. 5 N", "wrong-dimension", 0, "the same thing"),
    ("at most 1,5 mm", "bad-quantity", 9, "1.5"),
    ("at most", "bad-quantity", 0, "a number is expected"),
    ("0.10 .. 0.28 mm (0.004 .. 0.021 in)", "disagreeing-units", 17, "0.28 mm is 0.0110 in, but 0.021 in"),
    ("0.10 .. 0.28 mm (at most 0.011 in)", "disagreeing-units", 25, "different open ends"),
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
        ("2 h", "write at most 2 h, at least 2 h"),
        ("more than 0.1 mm", 'write "at least"'),
        ("less than 0.1 mm", 'write "at most"'),
        ("no more than 0.1 mm", 'write "at most"'),
    ],
)
def test_limit_in_other_words_gives_a_hint_with_the_accepted_words(text: str, hint: str) -> None:
    with pytest.raises(QuantityError) as wrong:
        parse_limit(text)
    assert hint in wrong.value.hint
