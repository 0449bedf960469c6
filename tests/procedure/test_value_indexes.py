"""What the indexes of a value in a formula mean, and which uses of several readings `check` refuses."""

import pytest

from benchflow.procedure.expand import expand
from benchflow.procedure.formula import render
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue
from benchflow.procedure.plan import Plan, readings_of_formula
from benchflow.procedure.reader import read

# `gap` has places, `crown` readings, `bore` both; the readings of `height` are named after the places of cap.
TEXT = """\
benchflow: 1
id: trial
title: A trial
places: {cap: [1, 2, 3], side: [left, right]}
sections:
- title: All of it
  operations:
  - id: measure
    title: Measure
    each: cap
    record:
      gap: {unit: mm}
      bore: {unit: mm, readings: side}
      twice: {unit: mm, readings: 2}
  - id: once
    title: Once
    record:
      crown: {unit: mm, readings: 2}
      wall: {unit: mm, readings: 2}
      height: {unit: mm, readings: cap}
      play: {unit: mm}
  - id: inside
    title: Inside
    after: ["measure[*]", once]
    each: cap
    work-out: {inside-result: {is: "INSIDE", unit: mm}}
  - id: outside
    title: Outside
    after: ["measure[*]", once]
    work-out: {outside-result: {is: "OUTSIDE", unit: mm}}
"""


def codes(inside: str, outside: str) -> list[str]:
    problems = read(TEXT.replace("INSIDE", inside).replace("OUTSIDE", outside)).problems
    return [problem.code for problem in problems]


def plan_with(inside: str, outside: str) -> Plan:
    result = read(TEXT.replace("INSIDE", inside).replace("OUTSIDE", outside))
    assert result.procedure is not None, [str(problem) for problem in result.problems]
    return expand(result.procedure, {})


def calculation(plan: Plan, step: str) -> CalculatedValue:
    (found,) = plan.steps[step].operation.work_out
    return found


INSIDE = [
    ("gap", "gap[2]", ()),
    ("gap[3]", "gap[3]", ()),
    ("max(gap[*])", "max(gap[*])", ()),
    ("bore[left]", "bore[2, left]", ()),
    ("bore[3, left]", "bore[3, left]", ()),
    ("bore[cap, right]", "bore[2, right]", ()),
    ("mean(bore[*])", "mean(bore[2, *])", ()),
    ("mean(bore[*, left])", "mean(bore[*, left])", ()),
    ("mean(bore[3, *])", "mean(bore[3, *])", ()),
    ("mean(bore[cap, *])", "mean(bore[2, *])", ()),
    ("mean(bore[*, *])", "mean(bore[*, *])", ()),
    ("bore", "bore[2]", ("left", "right")),
    ("bore[3]", "bore[3]", ("left", "right")),
    ("bore - gap", "bore[2] - gap[2]", ("left", "right")),
    ("bore - mean(bore[*])", "bore[2] - mean(bore[2, *])", ("left", "right")),
    ("max(bore, play)", "max(bore[2], play)", ("left", "right")),
    ("crown[1]", "crown[1]", ()),
    ("crown - play", "crown - play", ("1", "2")),
    ("mean(crown[*])", "mean(crown[*])", ()),
    ("height", "height[2]", ()),
    ("height[3]", "height[3]", ()),
    ("height - mean(height[*])", "height[2] - mean(height[*])", ()),
    ("twice[cap, 1]", "twice[2, 1]", ()),
    ("twice[3, 1]", "twice[3, 1]", ()),
    ("twice - crown", "twice[2] - crown", ("1", "2")),
    ("max(bore[*] - bore[3, *])", "max(bore[2, *] - bore[3, *])", ()),
]


@pytest.mark.parametrize(("written", "meant", "readings"), INSIDE, ids=[case[0] for case in INSIDE])
def test_index_at_a_place_means_what_the_format_says(written: str, meant: str, readings: tuple[str, ...]) -> None:
    plan = plan_with(written, "play")
    work = calculation(plan, "inside[2]")
    assert work.formula == meant
    assert readings_of_formula(plan, work) == readings


OUTSIDE = [
    ("gap[2]", "gap[2]", ()),
    ("mean(bore[*])", "mean(bore[*, *])", ()),
    ("bore[2, left]", "bore[2, left]", ()),
    ("bore[2]", "bore[2]", ("left", "right")),
    ("crown - wall", "crown - wall", ("1", "2")),
    ("height", "height", ("1", "2", "3")),
    ("height[2]", "height[2]", ()),
]


@pytest.mark.parametrize(("written", "meant", "readings"), OUTSIDE, ids=[case[0] for case in OUTSIDE])
def test_index_outside_of_the_places_means_what_the_format_says(
    written: str, meant: str, readings: tuple[str, ...]
) -> None:
    plan = plan_with("play", written)
    work = calculation(plan, "outside")
    assert render(plan.formula(work)) == meant
    assert readings_of_formula(plan, work) == readings


def test_formula_of_one_reading_names_it_everywhere() -> None:
    plan = plan_with("bore - gap + bore[cap, right] - mean(bore[*])", "crown - wall[2]")
    inside, outside = calculation(plan, "inside[3]"), calculation(plan, "outside")
    assert plan.formula(inside, "left").text == "bore[3, left] - gap[3] + bore[3, right] - mean(bore[3, *])"
    assert plan.formula(outside, "1").text == "crown[1] - wall[2]"
    assert [(ref.place, ref.reading) for ref in plan.refs(ValueRef("bore", "3", "*"))] == [
        ("3", "left"),
        ("3", "right"),
    ]
    assert len(plan.refs(ValueRef("bore", "*", "*"))) == 6


def test_name_with_one_index_is_a_place_or_a_reading_by_its_value() -> None:
    plan = plan_with("play", "play")
    assert plan.ref("gap[2]") == ValueRef("gap", "2")
    assert plan.ref("crown[2]") == ValueRef("crown", None, "2")
    assert plan.ref("bore[2]") == ValueRef("bore", "2")
    assert plan.ref("bore[2, left]") == ValueRef("bore", "2", "left")


def test_value_calculated_by_reading_has_readings_in_the_next_formula() -> None:
    text = TEXT.replace("INSIDE", "bore - gap").replace("OUTSIDE", "play")
    text += (
        "  - {id: last, title: Last, each: cap, after: [inside], work-out: {half: {is: inside-result / 2, unit: mm}, "
        "most: {is: 'max(inside-result[*])', unit: mm}, one: {is: 'inside-result[left]', unit: mm}}}\n"
    )
    result = read(text)
    assert result.procedure is not None, [str(problem) for problem in result.problems]
    plan = expand(result.procedure, {})
    half, most, one = plan.steps["last[2]"].operation.work_out
    assert [work.formula for work in (half, most, one)] == [
        "inside-result[2] / 2", "max(inside-result[2, *])", "inside-result[2, left]",
    ]  # fmt: skip
    assert [readings_of_formula(plan, work) for work in (half, most, one)] == [("left", "right"), (), ()]


@pytest.mark.parametrize(
    ("inside", "outside", "expected"),
    [
        ("play", "bore", "which-reading"),
        ("play", "mean(crown)", "which-reading"),
        ("play", "crown[*]", "which-reading"),
        ("play", "gap[*]", "which-place"),
        ("play", "crown - height", "which-reading"),
        ("play", "mean(crown[*] - wall)", "which-reading"),
        ("play", "bore[left]", "which-place"),
        ("play", "bore[cap, left]", "which-place"),
        ("twice[2]", "play", "which-reading"),
        ("bore - crown", "play", "which-reading"),
        ("max(bore)", "play", "which-reading"),
        ("bore[*, *]", "play", "which-reading"),
        ("bore[4]", "play", "unknown-name"),
        ("bore[4, left]", "play", "unknown-name"),
        ("bore[1, middle]", "play", "unknown-name"),
        ("crown[1, 2]", "play", "unknown-name"),
        ("gap[1, 2]", "play", "unknown-name"),
        ("play[1]", "play", "unknown-name"),
        ("crown[3]", "play", "unknown-name"),
        ("bore[1, left, 2]", "play", "bad-formula"),
        ("max(bore[*] - gap[*])", "play", "bad-formula"),
    ],
)
def test_unclear_index_is_an_error(inside: str, outside: str, expected: str) -> None:
    assert codes(inside, outside) == [expected]


def test_index_that_could_be_a_place_or_a_reading_has_a_hint_for_both() -> None:
    (problem,) = read(TEXT.replace("INSIDE", "twice[2]").replace("OUTSIDE", "play")).problems
    assert "`twice[cap, 2]` for reading 2 at this place" in problem.hint
    assert "`twice[2, 1]`" in problem.hint


def test_same_fault_is_reported_once_and_different_ones_all() -> None:
    assert codes("bore[4] - bore[4]", "missing - mean(crown)") == ["unknown-name", "unknown-name"]


def test_long_formula_of_a_repeated_operation_is_written_out() -> None:
    long = " + ".join(["gap"] * 48)  # 286 characters, but 430 with places
    plan = plan_with(long, "play")
    assert render(plan.formula(calculation(plan, "inside[1]"))).count("gap[1]") == 48


def reference_codes(record: str, other: str = "") -> list[str]:
    text = TEXT.replace("INSIDE", "play").replace("OUTSIDE", "play")
    text += f"  - {{id: last, title: Last, after: [once, 'measure[*]'], {other}record: {{{record}}}}}\n"
    return [problem.code for problem in read(text).problems]


@pytest.mark.parametrize(
    ("name", "each", "expected"),
    [
        ("play", "", []),
        ("gap", "", ["which-place"]),
        ("gap[2]", "", []),
        ("gap", "each: cap, ", []),
        ("gap[*]", "", ["which-reading"]),
        ("crown", "", ["which-reading"]),
        ("crown[2]", "", []),
        ("bore", "each: cap, ", ["which-reading"]),
        ("bore[left]", "each: cap, ", []),
        ("height", "each: cap, ", []),
        ("height", "", ["which-reading"]),
    ],
)
def test_relative_limit_names_one_value(name: str, each: str, expected: list[str]) -> None:
    assert reference_codes(f"final: {{unit: mm, limit: 'above {name} by 1 .. 2 mm'}}", each) == expected


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("play", []),
        ("crown[1]", []),
        ("crown", ["which-reading"]),
        ("gap", ["which-place"]),
        ("crown[*]", ["which-reading"]),
    ],
)
def test_table_looks_up_one_value(name: str, expected: list[str]) -> None:
    choose = f"choose: {{shim: {{by: '{name}', from: [{{at least: 0 mm, up to: 1 mm, take: thin}}]}}}}, "
    assert reference_codes("final: {unit: mm}", choose) == expected


@pytest.mark.parametrize(
    ("judge", "expected"),
    [("", ["which-reading"]), ("judge: all", ["which-reading"]), ("judge: mean", []), ("judge: largest", [])],
)
def test_table_looks_up_several_readings_only_by_their_judged_figure(judge: str, expected: list[str]) -> None:
    choose = "choose: {shim: {by: final, from: [{at least: 0 mm, up to: 1 mm, take: thin}, {take: thick}]}}, "
    assert reference_codes(f"final: {{unit: mm, readings: 2, {judge}}}", choose) == expected


def test_parts_are_matched_by_a_value_of_the_same_operation() -> None:
    text = TEXT.replace("INSIDE", "play").replace("OUTSIDE", "play")
    match = "match: {shims: {measured: crown, to: cap, so that: outside-result, limit: 0.20 .. 0.30 mm}}"
    text += f"  - {{id: last, title: Last, after: [outside], {match}}}\n"
    problem, formula = read(text).problems
    assert (problem.code, formula.code) == ("unknown-name", "bad-formula")  # the formula has no part, either
    assert "`outside-result` is calculated in `outside`" in problem.message
