"""Remedies that are never needed, and complaints without evidence. All figures are invented."""

import pytest

from benchflow.procedure.checks.unused_names import check_structure
from benchflow.procedure.reader import read

HEAD = """\
benchflow: 1
id: trial
title: A trial
joints: {studs: {layout: "1 2"}}
"""
OPERATIONS = """\
sections:
- title: All
  operations:
"""
REMEDY = "[{do: Fit another}]"


def _found(*operations: str, head: str = "") -> list[tuple[str, str]]:
    """The code and the severity of each finding about remedies and evidence."""
    lines = [f"  - {{id: op{number}, title: Work {number}, {keys}}}\n" for number, keys in enumerate(operations)]
    reading = read(HEAD + head + OPERATIONS + "".join(lines))
    assert reading.procedure is not None, reading.problems
    codes = ("never-carried-out", "remedy-without-limit", "weak-evidence")
    found = check_structure(reading.procedure, reading.problems, "trial.yaml")
    return [(each.code, each.severity) for each in found if each.code in codes]


@pytest.mark.parametrize(
    ("limit", "below", "above"),
    [
        ("at most 5 mm", True, False), ("at least 5 mm", False, True), ("below 5 mm", True, False),
        ("above 5 mm", False, True), ("5 .. 6 mm", False, False), ("5 mm", False, False), ("5 ± 1 mm", False, False),
    ],
)  # fmt: skip
def test_a_remedy_on_a_side_without_an_end_is_warned_of_once(limit: str, below: bool, above: bool) -> None:
    for side, expected in (("below", below), ("above", above)):
        found = _found(f"record: {{gap: {{unit: mm, limit: {limit}, {side}: {REMEDY}}}}}")
        assert found == [("remedy-without-limit", "warning")] * expected, (limit, side)


def test_a_limit_for_used_parts_with_this_end_makes_the_remedy_needed() -> None:
    assert _found(f"record: {{gap: {{unit: mm, limit: below 5 mm, used: 3 .. 6 mm, below: {REMEDY}}}}}") == []


def test_a_difference_between_readings_is_never_too_low() -> None:
    equal = "record: {gap: {unit: mm, readings: 3, limit: equal within 0.1 mm, SIDE: [{do: Fit another}]}}"
    assert _found(equal.replace("SIDE", "below")) == [("remedy-without-limit", "warning")]
    assert _found(equal.replace("SIDE", "above")) == []
    spread = "record: {gap: {unit: mm, readings: 3, judge: spread, limit: 0 .. 0.1 mm, SIDE: [{do: Fit another}]}}"
    assert _found(spread.replace("SIDE", "below")) == [("never-carried-out", "note")]
    assert _found(spread.replace("0 ..", "0.05 ..").replace("SIDE", "below")) == []
    assert _found(spread.replace("judge: spread, ", "").replace("SIDE", "below")) == []
    assert _found(spread.replace("SIDE", "above")) == []


@pytest.mark.parametrize(
    ("limit", "expected"),
    [
        ("{by: kind, a: below 5 mm, b: 3 .. 6 mm}", []),
        ("{by: kind, a: below 5 mm, b: ask}", []),
        ("{by: kind, a: below 5 mm, b: below 6 mm}", [("remedy-without-limit", "warning")]),
    ],
)
def test_a_remedy_that_one_choice_can_need_is_not_named(limit: str, expected: list[tuple[str, str]]) -> None:
    options = "options: {kind: {ask: Kind, choices: [a, b]}}\n"
    assert _found(f"record: {{gap: {{unit: mm, limit: {limit}, below: {REMEDY}}}}}", head=options) == expected


def test_a_remedy_of_a_formula_that_one_choice_can_need_is_not_named() -> None:
    options = "options: {kind: {ask: Kind, choices: [a, b]}}\n"
    text = (
        "record: {gap: {unit: mm, limit: {by: kind, a: 1 .. 2 mm, b: 2 .. MOST mm}}}, "
        f"work-out: {{twice: {{is: gap * 2, unit: mm, limit: at most 5 mm, above: {REMEDY}}}}}"
    )
    assert _found(text.replace("MOST", "4"), head=options) == []
    assert _found(text.replace("MOST", "2.5"), head=options) == [("never-carried-out", "note")]


def test_a_relative_limit_has_the_ends_of_its_amount() -> None:
    first = "record: {start: {unit: N·m, limit: 1 .. 2 N·m}}"
    for amount, expected in (("at most 0.4 N·m", [("remedy-without-limit", "warning")]), ("0.2 .. 0.4 N·m", [])):
        second = f"after: [op0], record: {{end: {{unit: N·m, limit: above start by {amount}, below: {REMEDY}}}}}"
        assert _found(first, second) == expected


@pytest.mark.parametrize(
    ("formula", "limit", "below", "above"),
    [
        ("bore - journal", "0.01 .. 0.06 mm", True, True),  # the result is 0.02 .. 0.05 mm
        ("bore - journal", "0.02 .. 0.05 mm", True, True),
        ("bore - journal", "0.03 .. 0.06 mm", False, True),
        ("bore - journal", "0.01 .. 0.04 mm", True, False),
        ("bore - journal", "above 0.02 mm", False, True),
        ("bore - free", "0.01 .. 0.06 mm", False, False),  # it has no limit
        ("abs(bore - free)", "0 .. 0.06 mm", True, False),
    ],
)
def test_a_result_that_its_inputs_keep_within_the_limit_needs_no_remedy(
    formula: str, limit: str, below: bool, above: bool
) -> None:
    values = (
        "bore: {unit: mm, limit: 50.02 .. 50.03 mm}, journal: {unit: mm, limit: 49.98 .. 50.00 mm}, free: {unit: mm}"
    )
    for side, expected in (("below", below), ("above", above)):
        work_out = f"work-out: {{gap: {{is: {formula}, unit: mm, limit: {limit}, {side}: {REMEDY}}}}}"
        found = _found(f"record: {{{values}}}, {work_out}")
        is_open = limit.startswith("above") and side == "above"
        assert found == [("remedy-without-limit", "warning") if is_open else ("never-carried-out", "note")] * expected


def test_a_stage_with_a_limit_of_one_end_warns_of_the_other() -> None:
    stages = "tighten: {joint: studs, stages: [40 N·m, {check: LIMIT, above: [{do: Fit another}]}]}"
    assert _found(stages.replace("LIMIT", "at least 30 N·m")) == [("remedy-without-limit", "warning")]
    assert _found(stages.replace("LIMIT", "30 .. 50 N·m")) == []
    assert _found(stages.replace("LIMIT", "40 N·m")) == []


def test_a_complaint_whose_operations_enter_nothing_is_noted() -> None:
    leak = "failures: {leak: It leaks}\n"
    guards = "guards-against: [leak]"
    assert _found(guards, head=leak) == [("weak-evidence", "note")]
    assert _found(guards, guards, head=leak) == [("weak-evidence", "note")]
    for evidence in ("check: [It is flush]", "record: {gap: {unit: mm}}", "hold: {by: inspector, for: leak}"):
        assert _found(guards, f"{guards}, {evidence}", head=leak) == []
    kit = "kit: {consumables: {sealant: {title: Sealant, lot: required}, rag: Rag}}\n"
    assert _found(f"{guards}, uses: [sealant]", "uses: [rag]", head=leak + kit) == []
    assert _found(f"{guards}, uses: [rag]", "uses: [sealant]", head=leak + kit) == [("weak-evidence", "note")]
