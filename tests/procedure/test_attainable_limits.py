"""Limits that no readings can satisfy."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.procedure.checks.unused_names import check_structure
from benchflow.procedure.formula.expression import NameNode
from benchflow.procedure.formula.formula_parser import parse_formula
from benchflow.procedure.formula.value_ranges import RangeOfName, ValueRange, range_of
from benchflow.procedure.problems import Problem
from benchflow.procedure.reader import read
from tests.driving.script import procedure_with

HEAD = """\
instruments:
  micrometer: {kind: length, uncertainty: at most 0.010 mm}
  gauge: {kind: length, uncertainty: at most 2 %}
places: {side: [left, right]}
"""


def problems(record: str, work_out: str = "", each: str = "", code: str = "never-ok") -> list[Problem]:
    calculated = f", work-out: {{{work_out}}}" if work_out else ""
    text = procedure_with(f"{{id: one, title: One, {each}record: {{{record}}}{calculated}}}", head=HEAD)
    result = read(text)
    assert result.procedure is not None, [str(problem) for problem in result.problems]
    return [each for each in check_structure(result.procedure, result.problems, "p.yaml") if each.code == code]


BORE = "bore: {limit: 52.00 .. 52.10 mm}, journal: {limit: 51.90 .. 51.95 mm}"


@pytest.mark.parametrize(
    ("record", "formula", "limit"),
    [
        (BORE, "bore - journal", "at most 0.04 mm"),
        (BORE, "bore - journal", "at least 0.21 mm"),
        (BORE, "bore - journal", "0.0001 .. 0.001 in"),
        (BORE, "bore - journal", "below 0.05 mm"),
        (BORE, "(bore - journal) / 2", "at most 0.02 mm"),
        (BORE, "abs(journal - bore)", "at most 0.04 mm"),
        (BORE, "max(bore, journal)", "at most 51.99 mm"),
        (BORE, "mean(bore, journal)", "at least 52.03 mm"),
        (BORE, "sqrt(bore * journal)", "at most 51.9 mm"),
        (BORE, "spread(bore)", "at least 0.01 mm"),
        ("x: {limit: 1 .. 2 mm, readings: 3}", "sum(x[*])", "at least 6.1 mm"),
        ("x: {limit: 1 .. 2 mm, readings: 3}", "spread(x[*])", "at least 1.1 mm"),
        ("x: {limit: 1 .. 2 mm, readings: 3, judge: mean}", "mean(x[*])", "at least 2.1 mm"),
        ("x: {limit: 1 .. 2 mm, readings: 3, judge: largest}", "x[2]", "at least 2.1 mm"),
        ("x: {unit: mm, limit: equal within 0.1 mm, readings: 3}", "spread(x[*])", "at least 0.2 mm"),
        ("x: {limit: 1 .. 2 mm}, y: {unit: mm, limit: above x by 1 .. 2 mm}", "y", "at most 1.9 mm"),
        ("x: {limit: at least 1 mm}", "2 mm / x * 1 mm", "at least 2.1 mm"),
        ("x: {limit: 1 .. 2 mm, used: at most 3 mm}", "x", "at least 3.1 mm"),
        ("x: {limit: 2 .. 3 mm}", "(x^2)^0.5", "at most 1.9 mm"),
        ("x: {limit: 2 .. 3 mm}", "up(x, 0.5 mm)", "at most 1.9 mm"),
        ("x: {limit: 2 .. 3 mm}", "if(x > 1 mm, 5 mm, 1 mm)", "at most 1.9 mm"),
        ("x: {limit: 2 .. 3 mm}", "1 mm * sin(x / 1 mm)", "at least 1.1 mm"),
    ],
)
def test_result_that_is_never_within_its_limit_is_an_error(record: str, formula: str, limit: str) -> None:
    (found,) = problems(record, f"result: {{is: '{formula}', unit: mm, limit: {limit}}}")
    assert found.severity == "error"
    assert "`result` is always" in found.message
    assert found.where == "one.work-out.result"


@pytest.mark.parametrize(
    ("record", "formula", "limit"),
    [
        (BORE, "bore - journal", "at most 0.05 mm"),
        (BORE, "bore - journal", "0.20 .. 0.30 mm"),
        (BORE, "bore - bore", "at least 0 mm"),
        ("x: {unit: mm}", "x", "at least 3 mm"),
        ("x: {limit: 1 .. 2 mm, readings: 3, judge: mean}", "x[2]", "at least 5 mm"),
        ("x: {limit: 1 .. 2 mm, readings: 3}", "sum(x[*])", "at least 6 mm"),
        ("x: {limit: -1 .. 2 mm}", "1 mm / x * 1 mm", "at least 50 mm"),
        ("x: {limit: 1 .. 2 mm, used: at most 3 mm}", "x", "at least 2.5 mm"),
        ("x: {limit: 2 .. 3 mm}", "up(x, 0.5 mm)", "at least 3.4 mm"),
        ("x: {limit: 2 .. 3 mm}", "if(x > 2.5 mm, 5 mm, 1 mm)", "at most 1.9 mm"),
        ("x: {limit: 2 .. 3 mm}", "if(x > 1 mm, x, x * x / (x - x))", "at least 2 mm"),
        ("x: {limit: 2 .. 3 mm}", "x - before(x)", "at least 9 mm"),
        ("x: {limit: 2 .. 3 mm, readings: 3}", "mean(x[*]) - mean(before(x[*]))", "at most -9 mm"),
    ],
)
def test_result_that_can_be_within_its_limit_is_not_reported(record: str, formula: str, limit: str) -> None:
    assert not problems(record, f"result: {{is: '{formula}', unit: mm, limit: {limit}}}")


@pytest.mark.parametrize(
    ("formula", "words"),
    [
        ("up(x, 1 mm - 1 mm)", "a step that is not above zero"),
        ("asin(1 + x / 1 mm) * 1 mm / 1°", "not from -1 to 1"),
        ("(-1 * x^2)^0.5", "the root of a negative number"),
        ("1 mm * (1 - 1)^(-1)", "divides by zero"),
    ],
)
def test_formula_that_never_has_a_result_is_an_error(formula: str, words: str) -> None:
    (found,) = problems("x: {limit: 1 .. 2 mm}", f"result: {{is: '{formula}', unit: mm}}")
    assert words in found.message


D = "d: {unit: mm, is: "
FREE = "x: {unit: mm}"


@pytest.mark.parametrize(
    ("record", "work_out", "at"),
    [
        (FREE, D + "x / 0}", "work-out.d"),
        (FREE, D + "x / (2 - 2)}", "work-out.d"),
        ("x: {unit: mm, limit: 1 .. 2 mm}", D + "sqrt(0 mm * x - x * x)}", "work-out.d"),
        (FREE, D + "x - x, limit: 0.5 .. 1 mm}", "work-out.d"),
        (BORE, D + "bore - bore, limit: at least 0.05 mm}", "work-out.d"),
        (FREE, D + "(x + 1 mm) * 2 - x / 0.5, limit: at most 1 mm}", "work-out.d"),
        (f"{FREE}, y: {{unit: mm, limit: above x by 1 .. 2 mm}}", D + "y - x, limit: 3 .. 4 mm}", "work-out.d"),
        ("z: {unit: mm, limit: above y by 1 .. 2 mm}, y: {unit: mm, limit: above z by 1 .. 2 mm}", "", "record.z"),
        ("x: {unit: mm, limit: above 2 mm}, y: {unit: mm, limit: below 2 mm}",
         D + "x - y, limit: at most 0 mm}", "work-out.d"),
        ("x: {unit: mm, readings: 2, judge: spread, limit: below 0 mm}", "", "record.x"),
        ("x: {unit: mm, readings: 2, judge: spread, limit: at most -1 mm}", "", "record.x"),
        ("x: {unit: mm, readings: 2, limit: equal within -1 mm}", "", "record.x"),
        (f"{FREE}, y: {{unit: mm, readings: 2, limit: above x by 1 .. 2 mm}}",
         "d: {unit: mm, is: 'y[2] - x', limit: at most 0.9 mm}", "work-out.d"),
    ],
)  # fmt: skip
def test_limits_that_contradict_each_other_are_an_error(record: str, work_out: str, at: str) -> None:
    for each in ("", "each: side, "):
        (found,) = problems(record, work_out, each)
        assert found.severity == "error"
        assert found.where == f"one.{at}"


@pytest.mark.parametrize(
    ("record", "work_out"),
    [
        (FREE, D + "x / 2}"),
        (FREE, D + "x - x, limit: at most 0 mm}"),
        (f"{FREE}, y: {{unit: mm, limit: above x by 1 .. 2 mm}}", D + "y - x, limit: 2 .. 4 mm}"),
        ("z: {unit: mm, limit: above y by -1 .. 2 mm}, y: {unit: mm, limit: above z by 1 .. 2 mm}", ""),
        ("x: {unit: mm, limit: above 2 mm}, y: {unit: mm, limit: at most 3 mm}", D + "x - y, limit: at most 0 mm}"),
        ("x: {unit: mm, readings: 2, judge: spread, limit: at most 0 mm}", ""),
        ("x: {unit: mm, readings: 2, limit: 1 .. 2 mm}", "d: {unit: mm, is: 'x[1] - x[2]', limit: 0.5 .. 1 mm}"),
        ("x: {unit: mm, readings: 2, limit: 1 .. 2 mm}",
         "d: {unit: mm, is: 'spread(x[*]) + x[1] - x[1]', limit: at least 0.5 mm}"),
        (FREE, D + "abs(x) - x, limit: at most 0 mm}"),
        ("x: {unit: mm, limit: 1 .. 2 mm, used: at most 9 mm}", D + "x * 2 - x, limit: 5 .. 6 mm}"),
    ],
)  # fmt: skip
def test_limits_that_can_be_satisfied_together_are_not_reported(record: str, work_out: str) -> None:
    assert not problems(record, work_out)


@given(st.data())
def test_limits_around_possible_readings_are_never_reported(data: st.DataObject) -> None:
    """Each limit contains the true value of one build, so the limits do not contradict each other."""
    sizes = [data.draw(st.integers(-3, 3)) for _ in range(3)]
    below, above = st.integers(0, 2), st.integers(0, 2)

    def limit(true: Fraction) -> str:
        low, high = true - data.draw(below), true + data.draw(above)
        return data.draw(st.sampled_from([f"{low} .. {high} mm", f"at most {high} mm", f"at least {low} mm"]))

    record = []
    for number, size in enumerate(sizes):
        other = data.draw(st.integers(0, 2))
        fixed = other == number or data.draw(st.booleans())
        bound = limit(Fraction(size)) if fixed else f"above x{other} by {limit(Fraction(size - sizes[other]))}"
        record.append(f"x{number}: {{unit: mm, limit: {bound}}}")
    work_out = []
    for number in range(2):
        factors = [data.draw(st.integers(-2, 2)) for _ in sizes]
        formula = " + ".join(f"{factor} * x{i}" for i, factor in enumerate(factors)).replace("+ -", "- ")
        true = Fraction(sum(factor * size for factor, size in zip(factors, sizes, strict=True)))
        work_out.append(f"d{number}: {{unit: mm, is: '{formula}', limit: {limit(true)}}}")
    assert not problems(", ".join(record), ", ".join(work_out))


def test_table_without_a_part_for_the_values_within_the_limit_is_an_error() -> None:
    table = "choose: {shim: {by: x, from: [{up to: 0.5 mm, take: thin}, {up to: 0.9 mm, take: thick}ROW]}}, "
    for limit, row, expected in (
        ("1 .. 2 mm", "", 1), ("0.8 .. 2 mm", "", 0), ("1 .. 2 mm", ", {take: best}", 0),
        ("1 .. 2 mm", ", {stop: Ask}", 1), ("at least 1 mm, readings: 2, judge: mean", "", 1),
    ):  # fmt: skip
        found = problems(f"x: {{unit: mm, limit: {limit}}}", "", table.replace("ROW", row))
        assert len(found) == expected, (limit, row)
        assert all(each.where == "one.choose.shim" for each in found)


def test_matching_with_fewer_parts_than_places_is_an_error() -> None:
    match = "match: {shims: {measured: hand, to: side, so that: lash, limit: 0.2 .. 0.3 mmSIZES}}, "
    for readings, sizes, expected in (
        ("1", "", 1), ("2", "", 0), ("1", ", sizes: 1.00 .. 3.00 mm step 0.05 mm", 0)
    ):  # fmt: skip
        record = f"gap: {{unit: mm, readings: side}}, hand: {{unit: mm, readings: {readings}}}"
        found = problems(record, "lash: {is: gap - shims, unit: mm}", match.replace("SIZES", sizes))
        assert len(found) == expected, (readings, sizes)


def test_sum_over_places_and_readings_counts_each() -> None:
    each = "each: side, "
    record = "x: {limit: 1 .. 2 mm, readings: 3}"
    assert not problems(record, "r: {is: 'sum(x[*])', unit: mm, limit: 6 .. 6 mm}", each)
    assert problems(record, "r: {is: 'sum(x[*])', unit: mm, limit: at least 6.1 mm}", each)
    assert not problems(record, "r: {is: 'sum(x[*, *])', unit: mm, limit: at least 12 mm}", each)
    assert problems(record, "r: {is: 'sum(x[*, *])', unit: mm, limit: at least 12.1 mm}", each)


def test_result_of_a_value_calculated_before_is_followed() -> None:
    calculated = "a: {is: x * 2, unit: mm, limit: at most 3 mm}, b: {is: a + 1 mm, unit: mm, limit: at least 4.1 mm}"
    (found,) = problems("x: {limit: 1 .. 2 mm}", calculated)
    assert found.where == "one.work-out.b"
    assert "at most 4 mm" in found.message


def test_temperatures_are_not_compared() -> None:
    record = "hot: {unit: °C, limit: 80 .. 90 °C}, cold: {unit: °C, limit: 10 .. 20 °C}"
    assert not problems(record, "rise: {is: hot - cold, unit: °C, limit: 60 .. 80 °C}")


@pytest.mark.parametrize(
    ("record", "narrow"),
    [
        ("x: {limit: 1.000 .. 1.019 mm, with: micrometer, decision: guarded}", True),
        ("x: {limit: 1.000 .. 1.020 mm, with: micrometer, decision: guarded}", False),
        ("x: {limit: 1.000 .. 1.019 mm, with: micrometer}", False),
        ("x: {limit: at most 1.019 mm, with: micrometer, decision: guarded}", False),
        ("x: {limit: 10.00 .. 10.38 mm, with: gauge, decision: guarded}", True),
        ("x: {limit: 10.00 .. 10.40 mm, with: gauge, decision: guarded}", False),
    ],
)
def test_guarded_limit_too_narrow_for_its_instrument_is_a_warning(record: str, narrow: bool) -> None:
    found = problems(record, code="cannot-prove")
    assert [each.severity for each in found] == (["warning"] if narrow else [])


# --- interval arithmetic -------------------------------------------------------------------------------

numbers = st.fractions(-4, 4, max_denominator=4)
FORMULAS = [
    "a + b", "a - b", "a * b", "a / b", "-a", "abs(a)", "abs(a - b)", "max(a, b)", "min(a, b)", "mean(a, b)",
    "sum(a, b)", "spread(a, b)", "a * b - c / a", "(a + b) * (b - c)", "count(a, b)", "max(a, b - c) / 2",
]  # fmt: skip


def value_of(text: str, values: dict[str, Fraction]) -> Fraction | None:
    """The result, calculated by Python itself."""
    functions = {
        "abs": abs, "max": max, "min": min, "sum": lambda *x: sum(x), "mean": lambda *x: sum(x) / Fraction(len(x)),
        "spread": lambda *x: max(x) - min(x), "count": lambda *x: Fraction(len(x)),
    }  # fmt: skip
    try:
        result: Fraction = eval(text.replace(" 2", " Fraction(2)"), {"Fraction": Fraction}, {**functions, **values})
    except ZeroDivisionError:
        return None
    return result


@given(st.sampled_from(FORMULAS), st.tuples(*[st.tuples(numbers, numbers, numbers)] * 3), st.sets(st.integers(0, 5)))
def test_result_is_never_outside_the_range(
    text: str, chosen: tuple[tuple[Fraction, Fraction, Fraction], ...], opened: set[int]
) -> None:
    ranges, values = {}, {}
    for number, (name, three) in enumerate(zip("abc", chosen, strict=True)):
        low, value, high = sorted(three)
        ranges[name] = ValueRange(
            None if number in opened else low, None if number + 3 in opened else high
        )  # fmt: skip
        values[name] = value

    def range_of_name(node: NameNode) -> RangeOfName:
        return RangeOfName(ranges[node.name])

    found = range_of(parse_formula(text).root, range_of_name)
    result = value_of(text, values)
    if result is not None:
        assert found.low is None or found.low <= result
        assert found.high is None or result <= found.high


@given(st.fractions(0, 1000))
def test_root_is_inside_its_range(value: Fraction) -> None:
    found = range_of(parse_formula("sqrt(a)").root, lambda node: RangeOfName(ValueRange(value, value)))
    assert found.low is not None
    assert found.high is not None
    assert found.low**2 <= value <= found.high**2
    assert found.high - found.low < Fraction(1, 10**9)
