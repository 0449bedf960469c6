"""Formulas: parsing, checking of units, exact evaluation, and the calculation as text."""

from decimal import Decimal

import pytest

from benchflow.procedure.formula import (
    FormulaError,
    at_place,
    check_units,
    evaluate,
    is_difference,
    names,
    parse_formula,
    render,
)
from benchflow.quantity import Quantity, parse_quantity

VALUES = {
    name: parse_quantity(text, unit="" if name == "n" else None)
    for name, text in {
        "bore[1]": "52.010 mm", "bore[2]": "52.012 mm", "bore[3]": "52.011 mm",
        "journal[1]": "51.970 mm", "journal[2]": "51.968 mm", "journal[3]": "51.969 mm",
        "end-play": "0.0045 in", "heel": "31.85 mm", "hot": "90 °C", "cold": "68 °F", "load": "110 lbf",
        "arm": "2 ft", "area": "64 mm²", "n": "5",
    }.items()
}  # fmt: skip
UNITS = {name: q.unit for name, q in VALUES.items()}


def filled(text: str, unit: str) -> str:
    formula = parse_formula(text)
    check_units(formula, UNITS, unit)
    return evaluate(formula, VALUES, unit).filled


# Calculated by hand.
WORKED = [
    ("bore[1] - journal[1]", "mm", "52.010 mm - 51.970 mm = 0.040 mm"),
    ("mean(bore[*]) - journal[2]", "mm", "mean(52.010 mm, 52.012 mm, 52.011 mm) - 51.968 mm = 0.043 mm"),
    (
        "max(bore[*] - journal[*])", "mm",
        "max(52.010 mm - 51.970 mm, 52.012 mm - 51.968 mm, 52.011 mm - 51.969 mm) = 0.044 mm",
    ),
    ("min(bore[*])", "mm", "min(52.010 mm, 52.012 mm, 52.011 mm) = 52.010 mm"),
    ("spread(bore[*])", "mm", "spread(52.010 mm, 52.012 mm, 52.011 mm) = 0.002 mm"),
    ("sum(bore[*]) / count(bore[*])", "mm", "sum(52.010 mm, 52.012 mm, 52.011 mm) / 3 = 52.011 mm"),
    ("mean(bore[1], bore[2])", "mm", "mean(52.010 mm, 52.012 mm) = 52.011 mm"),
    ("(32.00 mm - heel) / 2", "mm", "(32.00 mm - 31.85 mm) / 2 = 0.075 mm"),
    ("end-play", "mm", "0.0045 in = 0.1143 mm"),
    ("heel - (end-play - 1 thou)", "mm", "31.85 mm - (0.0045 in - 1 thou) = 31.7611 mm"),
    ("heel - -1 mm", "mm", "31.85 mm - (-1 mm) = 32.85 mm"),
    ("-heel + 32 mm", "mm", "-31.85 mm + 32 mm = 0.15 mm"),
    ("abs(journal[1] - bore[1])", "mm", "abs(51.970 mm - 52.010 mm) = 0.040 mm"),
    ("heel * 2", "mm", "31.85 mm × 2 = 63.70 mm"),
    ("heel × 2", "mm", "31.85 mm × 2 = 63.70 mm"),
    ("heel * 4 %", "mm", "31.85 mm × 4 % = 1.274 mm"),
    ("heel/10/4", "mm", "31.85 mm / 10 / 4 ≈ 0.796 mm"),
    ("heel / 3", "mm", "31.85 mm / 3 ≈ 10.617 mm"),
    ("sqrt(area)", "mm", "sqrt(64 mm²) = 8 mm"),
    ("load * arm", "ft-lb", "110 lbf × 2 ft = 220 ft-lb"),
    ("load * arm", "N·m", "110 lbf × 2 ft ≈ 298.3 N·m"),
    ("load / 5 N/mm", "mm", "110 lbf / 5 N/mm ≈ 97.86 mm"),
    ("1 1/64 in - 1/64 in", "in", "1 1/64 in - 1/64 in = 1 in"),
    ("n * 2", "", "5 × 2 = 10"),
    ("3 / 7", "", "3 / 7 ≈ 0.429"),
    # temperatures
    ("hot - cold", "°C", "90 °C - 68 °F = 70 °C"),
    ("hot - cold", "K", "90 °C - 68 °F = 70 K"),
    ("hot - 20 °C", "°F", "90 °C - 20 °C = 126 °F"),
    ("mean(hot, cold)", "°C", "mean(90 °C, 68 °F) = 55 °C"),
    ("hot + 5 K", "°F", "90 °C + 5 K = 203 °F"),
    ("spread(hot, cold)", "°C", "spread(90 °C, 68 °F) = 70 °C"),
    ("heel * 11.8 ppm/K * (hot - cold)", "mm", "31.85 mm × 11.8 ppm/K × (90 °C - 68 °F) ≈ 0.0263 mm"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "unit", "line"), WORKED)
def test_calculation_is_shown_with_its_numbers(text: str, unit: str, line: str) -> None:
    assert filled(text, unit) == line


@pytest.mark.parametrize("text", [text for text, _, _ in WORKED])
def test_rendered_formula_parses_to_the_same_tree(text: str) -> None:
    once = render(parse_formula(text))
    assert render(parse_formula(once)) == once
    check_units(parse_formula(once), UNITS, next(unit for t, unit, _ in WORKED if t == text))


def test_stored_value_is_exact_if_the_shown_one_is_rounded() -> None:
    worked = evaluate(parse_formula("heel / 3"), VALUES, "mm")
    assert worked.value == Quantity(Decimal("10.61666666666666666666666667"), "mm", "10.617 mm")
    assert evaluate(parse_formula("bore[1] - journal[1]"), VALUES, "mm").value.value.as_tuple().exponent == -3


def test_tenths_are_added_in_exact_decimals() -> None:
    assert evaluate(parse_formula("0.1 mm + 0.2 mm"), {}, "mm").value.value == Decimal("0.3")


def test_result_of_a_rounded_value_has_one_digit_more_than_is_shown_of_it() -> None:
    long = {"a": Quantity(Decimal("0.0413333333333333333333333333"), "mm", "0.0413 mm")}
    assert evaluate(parse_formula("a * 2"), long, "mm").filled == "0.0413 mm × 2 ≈ 0.08267 mm"


REFUSED_BY_UNITS = [
    ("bore-journal", "mm", 0, "To subtract, write `bore - journal`"),
    ("heal", "mm", 0, "Did you mean `heel`?"),
    ("bore[1] - load", "mm", 8, "A length and a force cannot be subtracted"),
    ("bore[1] - 0.05", "mm", 8, "`0.05` has no unit. Write it as a length"),
    ("max(heel, load)", "mm", 10, "`max` cannot combine a length and a force"),
    ("heel", "N·m", 0, "The result is a length, but its unit `N·m` is for a torque"),
    ("load * arm * arm", "N·m", 0, "a quantity that no known unit fits"),
    ("sqrt(heel)", "mm", 0, "a quantity that no known unit fits"),
    ("count(bore[*])", "mm", 0, "a number without a unit"),
    ("hot + cold", "°C", 4, "Two temperatures cannot be added"),
    ("sum(hot, cold)", "°C", 0, "cannot be summed"),
    ("hot * 2", "°C", 4, "A temperature cannot be multiplied"),
    ("heel / hot", "mm", 5, "A temperature cannot be divided"),
    ("-hot", "°C", 0, "made negative"),
    ("5 K - hot", "°C", 4, "cannot be subtracted from a temperature difference"),
    ("sin(heel)", "", 0, "takes an angle, or a number of radians, not a length"),
    ("asin(30°)", "°", 0, "takes a number without a unit, not an angle"),
    ("sin(30°)", "°", 0, "The result is a number without a unit"),
    ("round(heel, 5)", "mm", 0, "a step that is a number without a unit"),
    ("round(heel, -1 mm)", "mm", 0, "above zero"),
    ("round(hot, 5 K)", "°C", 0, "A temperature cannot be rounded"),
    ("hot^2", "", 3, "A temperature cannot be raised"),
    ("if(hot > 5 K, 1, 2)", "", 0, "cannot be compared"),
    ("if(heel > 5, 1, 2)", "", 0, "cannot be compared"),
    ("if(heel > arm, 1 mm, 2)", "mm", 0, "do not fit together"),
    ("heel^(1/2)", "mm", 0, "a quantity that no known unit fits (length^1/2)"),
    ("heel^10", "mm", 0, "(length^10)"),
    ("mean(hot, 3 K)", "°C", 10, "a temperature and a temperature difference"),
]


@pytest.mark.parametrize(("text", "unit", "at", "words"), REFUSED_BY_UNITS)
def test_units_that_do_not_fit_are_refused(text: str, unit: str, at: int, words: str) -> None:
    formula = parse_formula(text)
    with pytest.raises(FormulaError) as refused:
        check_units(formula, UNITS, unit)
    assert refused.value.at == at
    assert words in str(refused.value)


REFUSED_BY_GRAMMAR = [
    ("", 0, "The formula is empty"),
    ("bore[*]", 0, "`bore[*]` is more than one value"),
    ("bore[*] - mean(bore[*])", 0, "`bore[*]` is more than one value"),
    ("abs(bore[*])", 4, "`bore[*]` is more than one value"),
    ("heel ** 2", 5, "Write a power as `bore^2`"),
    ("heel^2^2", 6, "Put the first power in brackets"),
    ("heel^arm", 5, "exponent has to be a number"),
    ("heel^1/2", 5, "Write `^(1/2)`"),
    ("heel^0.3", 5, "whole or half number"),
    ("heel^13", 5, "from -12 to 12"),
    ("25 mm ^2", 6, "Write `(25 mm)^2`"),
    ("heel²", 4, "Write a power as `bore^2`"),
    ("if(heel, 1, 2)", 7, "A comparison is missing"),
    ("if(heel > arm > 1 mm, 1, 2)", 14, "one comparison"),
    ("if(heel != arm, 1, 2)", 8, "A comparison is missing"),
    ("if(heel > arm, 1)", 16, "two results"),
    ("if(heel > arm, 1, 2, 3)", 19, "two results"),
    ("heel > arm", 5, "comparison of an `if`"),
    ("round(heel)", 0, "a value and a step"),
    ("sin(heel, arm)", 0, "takes only one value"),
    ("before(heel + 1 mm)", 6, "the name of one value"),
    ("before(before(heel))", 6, "the name of one value"),
    ("before(pi)", 6, "the name of one value"),
    ("before(bore[*])", 0, "is more than one value"),
    ("heel *", 6, "A value is missing"),
    ("heel + ", 7, "A value is missing"),
    ("* heel", 0, "A value is missing"),
    ("(heel", 0, "not closed"),
    ("heel)", 4, "no opening bracket"),
    ("foo(heel)", 0, "no function `foo`"),
    ("mean()", 5, "`mean` has no value"),
    ("sqrt(heel, arm)", 0, "takes only one value"),
    ("1,5 mm", 1, "Write 1.5"),
    ("heel, arm", 4, "between the values of a function"),
    ("heel heel", 5, "An operator is missing"),
    ("2 heel", 2, "not a known unit"),
    ("10 kg m", 3, "kgf·m"),
    ("heel / 1/64 in", 7, "ambiguous"),
    ("bore[", 4, "not closed"),
    ("bore[]", 4, "place is missing"),
    ("heel = 2", 5, "comparison of an `if`"),
    ("heel - 1e5 mm", 8, "owers of ten"),
    ('__import__("os")', 0, "is not possible"),
    ("heel.real.part", 9, "is not possible"),
    ("(" * 50 + "heel" + ")" * 50, 21, "nested deeper"),
    ("-" * 100 + "heel", 21, "nested deeper"),
    ("heel + " * 60 + "heel", 300, "more than 300"),
    ("9" * 200, 20, "ore than 20 digits"),
    ("\x1b[2J", 0, "is not possible"),
]


@pytest.mark.parametrize(("text", "at", "words"), REFUSED_BY_GRAMMAR)
def test_malformed_formula_gives_the_reason_and_the_index(text: str, at: int, words: str) -> None:
    with pytest.raises(FormulaError) as refused:
        parse_formula(text)
    assert refused.value.at == at
    assert words in str(refused.value)
    assert str(refused.value).isprintable()


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("heel / (heel - heel)", "", "The divisor is zero"),
        ("sqrt(heel - 40 mm)", "mm", "no square root"),
        ("bore[9] - heel", "mm", "`bore[9]` has no value yet"),
        ("mean(gap[*])", "mm", "`gap[*]` has no value yet"),
        ("max(bore[*] - half[*])", "mm", "do not both have the place"),
    ],
)
def test_impossible_calculation_raises_a_formula_error(text: str, unit: str, words: str) -> None:
    values = {**VALUES, "half[1]": VALUES["heel"]}
    with pytest.raises(FormulaError, match=words.replace("[", r"\[").replace("*", r"\*")):
        evaluate(parse_formula(text), values, unit)


def test_longest_formula_does_not_exhaust_the_stack() -> None:
    formula = parse_formula("1" + "+1" * 149)
    check_units(formula, {}, "")
    assert evaluate(formula, {}, "").value.value == 150


def test_names_lists_the_values_of_a_formula() -> None:
    found = names(parse_formula("mean(bore[*]) - journal[2] + end-play - journal[2]"))
    assert [(ref.name, ref.place, ref.at) for ref in found] == [
        ("bore", "*", 5), ("journal", "2", 16), ("end-play", None, 29),
    ]  # fmt: skip


def test_dash_without_spaces_is_part_of_a_name() -> None:
    assert [ref.name for ref in names(parse_formula("end-play"))] == ["end-play"]
    assert [ref.name for ref in names(parse_formula("end - play"))] == ["end", "play"]
    assert [ref.name for ref in names(parse_formula("end -play"))] == ["end", "play"]


def test_at_place_adds_the_place_to_names() -> None:
    formula = at_place(parse_formula("bore - journal / n + mean(bore[*])"), {"bore", "journal"}, "2")
    assert render(formula) == "bore[2] - journal[2] / n + mean(bore[*])"
    assert formula.text == render(formula)


def test_unit_after_a_number_ends_before_the_next_name() -> None:
    assert [ref.name for ref in names(parse_formula("0.05 mm -heel"))] == ["heel"]
    assert [ref.name for ref in names(parse_formula("100 N / h"))] == ["h"]
    assert [ref.name for ref in names(parse_formula("2 mm*n"))] == ["n"]
    assert names(parse_formula("30 N/mm")) == ()


def test_temperature_difference_is_recognised() -> None:
    assert is_difference(parse_formula("hot - cold"), UNITS)
    assert not is_difference(parse_formula("mean(hot, cold)"), UNITS)
    assert not is_difference(parse_formula("heel"), UNITS)
    assert evaluate(parse_formula("hot - cold"), VALUES, "°C").difference


def test_one_unit_applies_to_all_places_of_a_name() -> None:
    check_units(parse_formula("mean(bore[*]) - journal[2]"), {"bore": "mm", "journal": "in"}, "mm")
