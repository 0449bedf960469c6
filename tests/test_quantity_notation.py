"""Parsing of quantities: exact, or an error with the index and the reason."""

from decimal import Decimal

import pytest

from benchflow.quantity import QuantityError, parse_quantity, show, unit_symbol

READ = [
    ("85 ft-lb", "85", "ft-lb"),
    ("85 ft·lb", "85", "ft-lb"),
    ("85ftlb", "85", "ft-lb"),
    ("85 ft lb", "85", "ft-lb"),
    ("85 lb-ft", "85", "ft-lb"),
    ("85 lbf·ft", "85", "ft-lb"),
    ("85 ft. lbs.", "85", "ft-lb"),
    ("85 Foot-Pounds", "85", "ft-lb"),
    ("89 in-lb", "89", "in-lb"),
    ("89 lb-in", "89", "in-lb"),
    ("120 N·m", "120", "N·m"),
    ("120 Nm", "120", "N·m"),
    ("120 N-m", "120", "N·m"),
    ("120 N.m", "120", "N·m"),
    ("120 NM", "120", "N·m"),
    ("12 kgf·m", "12", "kgf·m"),
    ("0.045 mm", "0.045", "mm"),
    ("0.045mm", "0.045", "mm"),
    ("0.0450 MM", "0.0450", "mm"),
    (".0015 in", "0.0015", "in"),
    ('.0015"', "0.0015", "in"),
    ("2.5''", "2.5", "in"),
    ("1.5 thou", "1.5", "thou"),
    ("5 mil", "5", "thou"),
    ("1/64 in", "0.015625", "in"),
    ("1 1/64 in", "1.015625", "in"),
    ("1-1/64 in", "1.015625", "in"),
    ("½ in", "0.5", "in"),
    ("1½ in", "1.5", "in"),
    ("1 ½ in", "1.5", "in"),
    ("1⁄64 in", "0.015625", "in"),
    ("90°", "90", "°"),
    ("90º", "90", "°"),
    ("90 deg", "90", "°"),
    ("quarter turn", "0.25", "turn"),
    ("a quarter turn", "0.25", "turn"),
    ("half a turn", "0.5", "turn"),
    ("three-quarter turn", "0.75", "turn"),
    ("1/4 turn", "0.25", "turn"),
    ("1/4-turn", "0.25", "turn"),
    ("quarter-turn", "0.25", "turn"),
    ("¼ turn", "0.25", "turn"),
    ("85-ft-lb", "85", "ft-lb"),
    ("one turn", "1", "turn"),
    ("1/6 turn", "60", "°"),
    ("1/3 turn", "120", "°"),
    ("20 °C", "20", "°C"),
    ("20C", "20", "°C"),
    ("20 ℃", "20", "°C"),
    ("68 °F", "68", "°F"),
    ("10 min", "10", "min"),
    ("24 h", "24", "h"),
    ("3 d", "3", "d"),
    ("14 days", "14", "d"),
    ("−0.05 mm", "-0.05", "mm"),
    ("-0 mm", "0", "mm"),
    ("+0.05 mm", "0.05", "mm"),
    ("５．５ ｍｍ", "5.5", "mm"),
    ("0.05\u00a0mm", "0.05", "mm"),
    ("0.05\u202fmm", "0.05", "mm"),
    ("  12.34 mm ", "12.34", "mm"),
    ("30 N/mm²", "30", "MPa"),
    ("14.7 lb/in2", "14.7", "psi"),
    ("76 cc", "76", "cm³"),
    ("5 cu. in.", "5", "in³"),
    ("4 %", "4", "%"),
    ("300 lb/in", "300", "lbf/in"),
]


@pytest.mark.parametrize(("text", "value", "unit"), READ)
def test_trade_notation_is_parsed_with_all_digits(text: str, value: str, unit: str) -> None:
    q = parse_quantity(text)
    assert (str(q.value), q.unit, q.entered) == (value, unit, text.strip())


@pytest.mark.parametrize(("text", "value", "unit"), READ)
def test_shown_quantity_parses_to_the_same_quantity(text: str, value: str, unit: str) -> None:
    again = parse_quantity(show(parse_quantity(text)))
    assert (again.value, again.unit) == (Decimal(value), unit)


REFUSED = [
    # text, dimension, code, index, words of the message
    ("85", "torque", "bad-quantity", 2, "the unit is missing"),
    ("85", None, "bad-quantity", 2, "the unit is missing"),
    ("1,234", None, "bad-quantity", 1, "write 1.234 or 1234"),
    ("0,15 mm", None, "bad-quantity", 1, "write 0.15"),
    ("1,234.5 mm", None, "bad-quantity", 1, "without commas"),
    (",5 mm", None, "bad-quantity", 0, "comma"),
    ("85 ft", "torque", "wrong-dimension", 3, "the unit ft is for a length, but a torque is expected here"),
    ("85 ft", "torque", "wrong-dimension", 3, "did you mean 85 ft-lb?"),
    ("85 lb", "torque", "wrong-dimension", 3, "did you mean 85 ft-lb?"),
    ("12 N", "torque", "wrong-dimension", 3, "did you mean 12 N·m?"),
    ("12 N/m", "torque", "wrong-dimension", 3, "did you mean 12 N·m?"),
    ("10 kg m", "torque", "bad-quantity", 3, "kgf·m"),
    ("10 kg·m", None, "bad-quantity", 3, "kgf·m"),
    ("12 mkg", None, "bad-quantity", 3, "kgf·m"),
    ("85 ft/lb", None, "bad-quantity", 3, "write ft-lb"),
    ("120 nm", None, "bad-quantity", 4, "write N·m"),
    ("10 mPa", None, "bad-quantity", 3, "write MPa"),
    ("20°", "temperature", "wrong-dimension", 2, "did you mean 20 °C?"),
    ("0.05 mm", "", "wrong-dimension", 5, "a number without a unit is expected"),
    ("5 qt", None, "bad-quantity", 2, "US qt or imp qt"),
    ("2 months", None, "bad-quantity", 2, "30 d"),
    ("5 tenths", None, "bad-quantity", 2, "a tenth can mean"),
    ("85 foot-punds", None, "bad-quantity", 3, "did you mean ft-lb?"),
    ("0.05 mn", "length", "bad-quantity", 5, "did you mean mm?"),
    ("1.2.3 mm", None, "bad-quantity", 3, "a second decimal point"),
    ("1 000 mm", None, "bad-quantity", 2, "cannot contain a space"),
    ("0.1 - 0.2 mm", None, "bad-quantity", 4, "write only one, such as 0.1 mm"),
    ("0.1 .. 0.2 mm", None, "bad-quantity", 4, "write only one, such as 0.1 mm"),
    ("0.1 to 0.2 mm", None, "bad-quantity", 4, "write only one, such as 0.1 mm"),
    ("85 - ft-lb", None, "bad-quantity", 3, "one quantity is expected"),
    ("1/3 in", None, "bad-quantity", 0, "does not end"),
    ("1/0 in", None, "bad-quantity", 2, "zero"),
    ("1 5/4 in", None, "bad-quantity", 2, "less than one"),
    ("12345/7 in", None, "bad-quantity", 0, "four digits"),
    ("mm", None, "bad-quantity", 0, "a number is expected"),
    ("", None, "bad-quantity", 0, "the text is empty"),
    ("5 mm 3", None, "bad-quantity", 5, "more follows"),
    ("5 mm (0.2 in", None, "bad-quantity", 12, "not closed"),
    ("5 mm (0.2)", None, "bad-quantity", 9, "the unit is missing"),
    # hostile
    ("nan mm", None, "bad-quantity", 0, "a number is expected"),
    ("inf mm", None, "bad-quantity", 0, "a number is expected"),
    ("Infinity", None, "bad-quantity", 0, "a number is expected"),
    ("1e400 mm", None, "bad-quantity", 1, "powers of ten"),
    ("10**10**10", None, "bad-quantity", 2, "is not possible"),
    ("9**9**9**9 mm", None, "bad-quantity", 1, "is not possible"),
    ('__import__("os").system("true")', None, "bad-quantity", 0, "a number is expected"),
    ("1_000 mm", None, "bad-quantity", 1, "only digits and a decimal point"),
    ("9" * 10_000 + " mm", None, "bad-quantity", 200, "longer than 200"),
    ("9" * 150 + " mm", None, "bad-quantity", 20, "more than 20 digits"),
    ("0x10 mm", None, "bad-quantity", 1, "unknown unit"),
    ("5 \x1b[31mmm", None, "bad-quantity", 2, "is not possible"),
    ("٥ mm", None, "bad-quantity", 0, "a number is expected"),
]


@pytest.mark.parametrize(("text", "dimension", "code", "at", "words"), REFUSED)
def test_wrong_quantity_gives_the_reason_and_the_index(
    text: str, dimension: str | None, code: str, at: int, words: str
) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity(text, dimension=dimension)
    error = refused.value
    assert (error.code, error.at) == (code, at)
    assert words in f"{error.why}; {error.hint}"
    assert error.text == text


def test_error_message_has_no_escape_sequence() -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity("5 \x1b]52;c;cm0K\x07 mm\u202e")
    assert str(refused.value).isprintable()


def test_default_unit_is_used_only_without_a_typed_unit() -> None:
    assert parse_quantity("0.12", unit="mm").unit == "mm"
    assert parse_quantity(".005 in", unit="mm").unit == "in"


def test_unit_of_another_dimension_is_refused() -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity("5 N", unit="mm")
    assert refused.value.code == "wrong-dimension"


def test_number_without_a_unit_is_accepted_for_a_count() -> None:
    assert parse_quantity("14", unit="").value == 14
    assert parse_quantity("14", dimension="").unit == ""


def test_pounds_are_a_force_or_a_mass_by_the_dimension() -> None:
    assert parse_quantity("110 lb", dimension="force").unit == "lbf"
    assert parse_quantity("110 lb", dimension="mass").unit == "lb"
    assert parse_quantity("500 N (112 lb)").unit == "N"


@pytest.mark.parametrize(
    ("spelling", "symbol"),
    [("lbf·ft", "ft-lb"), ("Nm", "N·m"), ("inches", "in"), ("deg", "°"), ("", ""), ("kgf/cm2", "kgf/cm²")],
)
def test_spellings_give_the_canonical_symbol(spelling: str, symbol: str) -> None:
    assert unit_symbol(spelling) == symbol


@pytest.mark.parametrize("spelling", ["kg·m", "nm", "furlong", "m in", "mω", "M", "rad", "2"])
def test_unknown_unit_is_refused(spelling: str) -> None:
    with pytest.raises(QuantityError):
        unit_symbol(spelling)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("85 ft", "did you mean 85 ft-lb?"),
        ("1/3 ft", "write it like 40 N·m"),  # a third has no decimal to suggest
        ("85 mm", "write it like 40 N·m"),  # no torque unit looks like mm
    ],
)
def test_hint_for_another_dimension_suggests_the_unit_that_was_meant(text: str, hint: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity(text, dimension="torque")
    assert refused.value.hint == hint


@pytest.mark.parametrize(("spelling", "at"), [("furlong", 0), ("  furlong", 2)])
def test_unknown_unit_is_reported_at_its_index(spelling: str, at: int) -> None:
    with pytest.raises(QuantityError) as refused:
        unit_symbol(spelling)
    assert refused.value.at == at
