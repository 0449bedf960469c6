"""Properties of all quantities: any text parses or is refused, and conversion keeps all digits."""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from benchflow.quantity import (
    Limit,
    Quantity,
    QuantityError,
    base,
    convert,
    dimension_of,
    parse_limit,
    parse_quantity,
    position,
    show,
    show_converted,
    show_limit,
    unit_symbol,
)
from benchflow.quantity.numerals import MAX_DIGITS
from benchflow.quantity.units import BY_SYMBOL

values = st.decimals(min_value=Decimal(-99999), max_value=Decimal(99999), places=5) | st.decimals(
    min_value=0, max_value=10, places=9
)
symbols = st.sampled_from(sorted(BY_SYMBOL))
quantities = st.builds(lambda value, unit: Quantity(value + 0, unit, f"{value:f} {unit}"), values, symbols).filter(
    lambda q: q.unit not in ("°C", "°F") or base(q) >= 0  # below absolute zero is refused
)
pairs = [(a, b) for a in sorted(BY_SYMBOL) for b in sorted(BY_SYMBOL) if dimension_of(a) == dimension_of(b)]
alike = st.sampled_from(pairs)
bench = st.text("0123456789.,-+/ ±()%°'\"·*;½_einmftlbNkgCFto", max_size=40)


def refusal(read: Callable[[str], object], text: str) -> QuantityError | None:
    try:
        read(text)
    except QuantityError as error:
        return error
    return None


@given(quantities)
def test_parsing_inverts_showing(q: Quantity) -> None:
    again = parse_quantity(show(q))
    assert (again.value, again.unit, again.value.as_tuple().exponent) == (q.value, q.unit, q.value.as_tuple().exponent)


@given(values, alike)
def test_conversion_there_and_back_keeps_all_digits(value: Decimal, pair: tuple[str, str]) -> None:
    q = Quantity(value, pair[0], "")
    back = convert(convert(q, pair[1]), pair[0])
    assert round(back.value, 9) == q.value


@given(values, alike)
def test_conversion_is_exact_if_the_decimal_is_finite(value: Decimal, pair: tuple[str, str]) -> None:
    there = convert(Quantity(value, pair[0], ""), pair[1])
    error = base(there) - base(Quantity(value, pair[0], ""))
    if error:  # then the decimal is infinite, and was rounded to 28 digits
        assert len(there.value.as_tuple().digits) == 28
        assert abs(error) <= abs(Fraction(there.value)) * BY_SYMBOL[pair[1]].factor * Fraction(1, 10**27)


@given(values, values, values, alike)
def test_comparison_does_not_depend_on_the_unit(a: Decimal, b: Decimal, x: Decimal, pair: tuple[str, str]) -> None:
    low, high = (Quantity(end, pair[0], "") for end in sorted((a, b)))
    limit, reading = Limit(low, high, ""), Quantity(x, pair[0], f"{x:f} {pair[0]}")
    assert position(limit, convert(reading, pair[1])) == position(limit, reading)


@given(values, alike)
def test_converted_reading_equal_to_its_limit_is_within(value: Decimal, pair: tuple[str, str]) -> None:
    q = Quantity(value, pair[0], f"{value:f} {pair[0]}")
    assert position(Limit(q, q, ""), convert(q, pair[1])) == "within"


@given(st.text(max_size=60) | bench)
@example("\x00")
@example("1" * 5000)
@example("1/" * 100)
@example("(" * 200)
@example("1 mm " + "(1 mm)" * 30)
@example("0~\x08")
@example("0 to 1\x07")
@settings(max_examples=300)
def test_any_text_parses_or_raises_a_quantity_error(text: str) -> None:
    for read in (parse_quantity, parse_limit, unit_symbol):
        refused = refusal(read, text)
        assert refused is None or (0 <= refused.at <= len(text) and str(refused).isprintable())


@given(bench)
@settings(max_examples=200)
def test_parsed_text_is_shown_as_the_same_quantity(text: str) -> None:
    try:
        q = parse_quantity(text)
    except QuantityError:
        return
    again = parse_quantity(show(q))
    assert (again.value, again.unit) == (q.value, q.unit)


@given(values, values, symbols)
def test_parsing_inverts_showing_of_limits(a: Decimal, b: Decimal, unit: str) -> None:
    low, high = sorted((a, b))
    limit = Limit(Quantity(low, unit, ""), Quantity(high, unit, ""), "")
    assume(unit not in ("°C", "°F") or base(Quantity(low, unit, "")) >= 0)  # below absolute zero is refused
    again = parse_limit(show_limit(limit))
    assert again.low is not None
    assert again.high is not None
    assert (again.low.value, again.low.unit, again.high.value, again.high.unit) == (low, unit, high, unit)


@given(values, alike)
def test_converted_display_is_within_half_its_last_digit(value: Decimal, pair: tuple[str, str]) -> None:
    q = Quantity(value, pair[0], "")
    assume(pair[1] not in ("°C", "°F") or base(q) >= 1)  # rounded text just below absolute zero is refused
    text = show_converted(q, pair[1])
    assume(len(text.split()[0]) <= MAX_DIGITS)  # a nanometre of kilometres has more digits than anybody may type
    shown = parse_quantity(text)
    exponent = shown.value.as_tuple().exponent
    assert isinstance(exponent, int)
    half = Fraction(10) ** exponent / 2 * BY_SYMBOL[pair[1]].factor
    assert shown.unit == pair[1]
    assert abs(base(shown) - base(q)) <= half
