"""Properties of limits: the unit of an entry changes no comparison, and columns that are rounded correctly agree."""

from decimal import Decimal
from fractions import Fraction
from typing import Literal, NamedTuple

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from benchflow.quantity import (
    Limit,
    QuantityError,
    base,
    convert,
    dimension_of,
    interval,
    parse_limit,
    parse_quantity,
    position,
    show,
    show_converted,
    show_limit,
    show_short,
)
from benchflow.quantity.shown import round_half_up
from benchflow.quantity.units import BY_SYMBOL

Position = Literal["low", "within", "high"]
units = sorted(BY_SYMBOL)
alike = st.sampled_from([(a, b) for a in units for b in units if dimension_of(a) == dimension_of(b)])
amounts = st.integers(1, 5000).flatmap(
    lambda digits: st.integers(0, 4).map(lambda places: Decimal(digits).scaleb(-places))
)


class Written(NamedTuple):
    """A limit as text, with its ends and its strictness calculated without the parser."""

    text: str
    low: Fraction | None
    high: Fraction | None
    strict: bool = False

    def position(self, value: Fraction) -> Position:
        if self.low is not None and (value < self.low or (self.strict and value == self.low)):
            return "low"
        if self.high is not None and (value > self.high or (self.strict and value == self.high)):
            return "high"
        return "within"


def in_base(value: Decimal | Fraction, unit: str) -> Fraction:
    return Fraction(value) * BY_SYMBOL[unit].factor + BY_SYMBOL[unit].offset


def step(value: Decimal) -> Fraction:
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int)
    return Fraction(10) ** exponent


@st.composite
def limits(draw: st.DrawFn, unit: str) -> Written:
    """A limit in one column, in any form."""
    one, two = sorted((draw(amounts), draw(amounts)))
    form = draw(st.sampled_from(["range", "at most", "at least", "below", "above", "±", "+-", "nominal"]))
    low, high = in_base(one, unit), in_base(two, unit)
    match form:
        case "range":
            return Written(f"{one} .. {two} {unit}", low, high)
        case "at most" | "below":
            return Written(f"{form} {two} {unit}", None, high, form == "below")
        case "at least" | "above":
            return Written(f"{form} {one} {unit}", low, None, form == "above")
        case "±":
            return Written(f"{two} ± {one} {unit}", in_base(two - one, unit), in_base(two + one, unit))
        case "+-":
            ends = in_base(Fraction(two) - Fraction(one) / 2, unit), in_base(Fraction(two) + Fraction(one), unit)
            return Written(f"{two} +{one} -{one / 2} {unit}", *ends)
        case _:
            half, middle = step(two) / 2, Fraction(two)
            return Written(f"{two} {unit}", in_base(middle - half, unit), in_base(middle + half, unit))


@given(alike.flatmap(lambda pair: st.tuples(st.just(pair), limits(pair[0]))), amounts, st.sampled_from(units))
def test_unit_of_entry_and_of_field_change_no_comparison(
    written: tuple[tuple[str, str], Written], amount: Decimal, field: str
) -> None:
    (unit, entry), limit = written
    parsed = parse_limit(limit.text)
    typed = parse_quantity(f"{amount} {entry}")
    expected = limit.position(in_base(amount, entry))
    assert position(parsed, typed) == expected
    for other in (unit, entry, field):
        if dimension_of(other) == dimension_of(unit):
            assert position(parsed, convert(typed, other)) == expected
            assert position(parsed, convert(convert(typed, other), unit)) == expected


@given(alike.flatmap(lambda pair: st.tuples(st.just(pair), limits(pair[0]))))
def test_entry_at_an_end_of_the_limit_is_compared_exactly_in_any_unit(written: tuple[tuple[str, str], Written]) -> None:
    (unit, field), limit = written
    parsed = parse_limit(limit.text)
    for end in (parsed.low, parsed.high):
        if end is not None:
            expected = limit.position(base(end))
            assert expected == ("within" if not limit.strict else "low" if end is parsed.low else "high")
            typed = parse_quantity(show(end))
            assert position(parsed, convert(typed, field)) == expected
            assert position(parsed, convert(convert(typed, field), unit)) == expected


@given(alike.flatmap(lambda pair: limits(pair[0])))
def test_shown_limit_is_parsed_as_the_same_limit(limit: Written) -> None:
    parsed = parse_limit(limit.text)
    assert show_limit(parsed) == limit.text
    assert interval(parse_limit(show_limit(parsed))) == interval(parsed)
    untyped = Limit(parsed.low, parsed.high, "", parsed.low_open, parsed.high_open, None, parsed.nominal)
    assert interval(parse_limit(show_limit(untyped))) == interval(parsed)


convertible = st.sampled_from(
    [(a, b) for a in units for b in units if a != b and dimension_of(a) == dimension_of(b) != "temperature"]
)


def rounded_column(amount: Decimal, pair: tuple[str, str], digits: int) -> Decimal | None:
    """``amount`` in the second unit, rounded to ``digits`` significant digits; ``None`` if nobody prints that."""
    exact = Fraction(amount) * BY_SYMBOL[pair[0]].factor / BY_SYMBOL[pair[1]].factor
    places = next((places for places in range(9) if exact * Fraction(10) ** places >= 10 ** (digits - 1)), None)
    return None if places is None or exact > 10**7 else round_half_up(exact, places)


@given(amounts, convertible, st.integers(1, 4))
@example(Decimal("0.13"), ("mm", "in"), 1)
def test_columns_that_are_rounded_correctly_agree(amount: Decimal, pair: tuple[str, str], digits: int) -> None:
    other = rounded_column(amount, pair, digits)
    assume(other is not None)
    for text in (f"{amount} {pair[0]} ({other:f} {pair[1]})", f"at most {amount} {pair[0]} ({other:f} {pair[1]})"):
        parsed = parse_limit(text)
        assert parsed.other is not None
        assert position(parsed, parse_quantity(f"{amount} {pair[0]}")) == "within"
        assert position(parsed, parse_quantity(f"{other:f} {pair[1]}")) == "within"


@given(st.integers(20, 900), convertible, st.sampled_from([5, 10]))
def test_integer_rounded_to_5_or_10_agrees_if_the_difference_is_at_most_5_percent(
    amount: int, pair: tuple[str, str], to: int
) -> None:
    exact = Fraction(amount) * BY_SYMBOL[pair[0]].factor / BY_SYMBOL[pair[1]].factor
    other = round_half_up(exact / to, 0) * to
    assume(10 <= other < 10**7)
    text = f"{amount} {pair[0]} ({other:f} {pair[1]})"
    if abs(exact - Fraction(other)) <= Fraction(5, 100) * Fraction(other):
        parse_quantity(text)


@given(st.integers(101, 999), convertible, st.sampled_from([Fraction(10), Fraction(1, 10), Fraction(2)]))
def test_column_with_a_shifted_decimal_point_does_not_agree(
    digits: int, pair: tuple[str, str], factor: Fraction
) -> None:
    amount = Decimal(digits).scaleb(-2)
    right = rounded_column(amount, pair, 4)
    assume(right is not None and right > 0)
    assert right is not None
    wrong = round_half_up(Fraction(right) * factor, 9)
    with pytest.raises(QuantityError) as refused:
        parse_quantity(f"{amount} {pair[0]} ({wrong:f} {pair[1]})")
    assert refused.value.code == "disagreeing-units"


@given(amounts, alike)
def test_stored_reading_is_shown_as_typed_or_as_its_typed_text_converted(
    amount: Decimal, pair: tuple[str, str]
) -> None:
    typed = parse_quantity(f"{amount} {pair[0]}")
    assert show_short(typed) == show(typed)
    stored = convert(typed, pair[1])
    assert show_short(stored) == show_converted(typed, pair[1])
    assert show_short(convert(stored, pair[0])) == show(typed)
