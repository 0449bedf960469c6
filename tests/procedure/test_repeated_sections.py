"""Sections with `each`, their order, places in order, and state variables by place, from file to plan."""

from collections.abc import Sequence

import pytest

from benchflow.procedure.expand import expand, resolve
from benchflow.procedure.plan import Findings, Plan
from benchflow.procedure.reader import read

HEAD = """benchflow: 1
id: trial
title: A trial
revision: A
places: {cap: [1, 2, 3], side: [left, right]}
options: {kind: {ask: Kind?, choices: [a, b]}}
"""
CAPS = """sections:
- title: Before
  operations:
  - {id: clean, title: Clean}
- title: Caps
  id: caps
  each: cap
  SECTION
  operations:
  - {id: fit, title: "Fit cap {cap}", after: clean}
  - {id: seat, title: "Seat {side} of {cap}", each: side, after: fit}
  - {id: close, title: "Close {cap}", after: ["seat[*]"]}
- title: After
  operations:
  - {id: last, title: Last, after: AFTER}
"""


def made(sections: str, findings: Findings | None = None, options: dict[str, str] | None = None) -> Plan:
    result = read(HEAD + sections)
    assert result.procedure is not None, [str(problem) for problem in result.problems]
    return expand(result.procedure, options or {"kind": "a"}, findings or Findings())


def caps(section: str = "", after: str = "caps") -> Plan:
    return made(CAPS.replace("  SECTION\n", f"  {section}\n" if section else "").replace("AFTER", after))


def codes(text: str) -> list[str]:
    return [problem.code for problem in read(HEAD + text).problems if problem.severity == "error"]


def before(plan: Plan, step: str) -> set[str]:
    """Every step that comes before ``step``."""
    found: set[str] = set()
    todo = [step]
    while todo:
        for name in plan.steps[todo.pop()].after:
            if name not in found:
                found.add(name)
                todo.append(name)
    return found


def test_ids_have_the_place_of_the_section_first() -> None:
    plan = caps()
    assert list(plan.steps) == [
        "clean",
        *("fit[1]", "fit[2]", "fit[3]"),
        *("seat[1, left]", "seat[1, right]", "seat[2, left]", "seat[2, right]", "seat[3, left]", "seat[3, right]"),
        *("close[1]", "close[2]", "close[3]"),
        "last",
    ]
    assert plan.steps["seat[2, left]"].title == "Seat left of 2"


def test_plain_id_in_the_section_means_the_same_place_of_the_section() -> None:
    plan = caps()
    assert plan.steps["seat[2, left]"].after == ("fit[2]",)
    assert plan.steps["close[2]"].after == ("seat[2, left]", "seat[2, right]")


@pytest.mark.parametrize(
    ("after", "found"),
    [
        ("caps", 12),
        ('["seat[*]"]', 6),
        ("seat", 6),
        ('["seat[*, left]"]', 3),
        ('["seat[2, left]"]', 1),
        ('["close[2]"]', 1),
        ("close", 3),
    ],
)
def test_reference_from_outside_of_the_section(after: str, found: int) -> None:
    assert len(caps(after=after).steps["last"].after) == found


def test_one_index_from_outside_does_not_say_which_place() -> None:
    assert codes(CAPS.replace("  SECTION\n", "").replace("AFTER", '["seat[left]"]')) == ["which-place"]
    assert codes(CAPS.replace("  SECTION\n", "").replace("AFTER", '["seat[7, left]"]')) == ["unknown-name"]
    assert codes(CAPS.replace("  SECTION\n", "").replace("AFTER", '["close[1, left]"]')) == ["unknown-name"]


def orders_of(plan: Plan, operation: str) -> list[tuple[str, str]]:
    """The pairs of steps of an operation of which the first has to come before the second."""
    names = [name for name, step in plan.steps.items() if step.operation.id == operation]
    return [(one, other) for other in names for one in names if one in before(plan, other)]


def test_order_of_a_section_holds_for_each_operation_but_does_not_finish_a_place_first() -> None:
    plan = caps("order: [3, 1, 2]")
    assert orders_of(plan, "fit") == [("fit[3]", "fit[1]"), ("fit[1]", "fit[2]"), ("fit[3]", "fit[2]")]
    assert "seat[3, right]" in before(plan, "seat[1, left]")
    assert "seat[3, left]" not in before(plan, "seat[3, right]")
    assert "close[3]" not in before(plan, "fit[1]")


def test_without_order_any_order_of_places_is_possible() -> None:
    assert orders_of(caps(), "fit") == []


def test_one_by_one_finishes_a_place_before_the_next() -> None:
    plan = caps("one-by-one: true")
    assert {"fit[1]", "seat[1, left]", "close[1]"} <= before(plan, "fit[2]")
    turned = caps("order: [2, 3, 1]\n  one-by-one: true")
    assert "close[2]" in before(turned, "fit[3]")
    assert "close[3]" in before(turned, "fit[1]")


def test_in_order_does_the_places_in_the_order_of_the_set() -> None:
    plan = made("sections: [{title: A, operations: [{id: fit, title: F, each: cap, in-order: true}]}]")
    assert [step.after for step in plan.steps.values()] == [(), ("fit[1]",), ("fit[2]",)]


@pytest.mark.parametrize(
    ("section", "expected"),
    [
        ("order: [3, 1]", "not-covered"),
        ("order: [3, 1, 2, 3]", "duplicate-item"),
        ("order: [3, 1, 2, 9]", "unknown-name"),
    ],
)
def test_order_names_each_place_once(section: str, expected: str) -> None:
    assert codes(CAPS.replace("SECTION", section).replace("AFTER", "caps")) == [expected]


def test_order_without_each_is_an_error() -> None:
    assert codes("sections: [{title: A, order: [1], operations: [{id: a, title: A}]}]") == ["missing-key"]


def test_the_same_set_twice_is_an_error() -> None:
    text = "sections: [{title: A, each: cap, operations: [{id: a, title: A, each: cap}]}]"
    assert codes(text) == ["one-too-many"]


VALUES = """sections:
- title: Caps
  each: cap
  operations:
  - {id: bore, title: B, record: {bore: {unit: mm}}}
  - {id: pin, title: P, each: side, after: bore, record: {pin: {unit: mm, readings: [x, y]}}}
  - id: clear
    title: C
    each: side
    after: pin
    work-out: {gap: {is: "INSIDE", unit: mm}}
- title: After
  operations:
  - {id: last, title: L, after: ["clear[*]"], work-out: {all: {is: "OUTSIDE", unit: mm}}}
"""


@pytest.mark.parametrize(
    ("inside", "found"),
    [
        ("bore - mean(pin[*])", ["bore[2]", "pin[2, left, *]"]),
        ("bore - pin[x]", ["bore[2]", "pin[2, left, x]"]),
        ("bore[1] - max(pin[left, *])", ["bore[1]", "pin[2, left, *]"]),
        ("bore - max(pin[*, *, *])", ["bore[2]", "pin[*, *, *]"]),
        ("bore - pin[3, right, y]", ["bore[2]", "pin[3, right, y]"]),
        ("bore - pin[cap, side, y]", ["bore[2]", "pin[2, left, y]"]),
    ],
)
def test_names_in_a_formula_of_a_repeated_section(inside: str, found: Sequence[str]) -> None:
    from benchflow.procedure.formula import names

    plan = made(VALUES.replace("INSIDE", inside).replace("OUTSIDE", "max(gap[*])"))
    (work,) = plan.steps["clear[2, left]"].operation.work_out
    assert work.name == "gap[2, left]"
    assert [str(name_ref(name)) for name in names(plan.formula(work))] == found


def name_ref(name: object) -> object:
    from benchflow.procedure.identity import ValueRef

    return ValueRef(name.name, name.place, name.reading)  # type: ignore[attr-defined]


def test_all_places_from_outside_of_a_repeated_section() -> None:
    plan = made(VALUES.replace("INSIDE", "bore - mean(pin[*])").replace("OUTSIDE", "max(gap[*]) - max(pin[*])"))
    from benchflow.procedure.formula import names

    (work,) = plan.steps["last"].operation.work_out
    refs = [plan.refs(plan.ref(str(name_ref(name)))) for name in names(plan.formula(work))]
    assert [len(one) for one in refs] == [6, 12]


@pytest.mark.parametrize("outside", ["gap", "gap[left]", "gap[2]", "pin[*, left]"])
def test_name_from_outside_must_say_both_places(outside: str) -> None:
    assert codes(VALUES.replace("INSIDE", "bore - pin[x]").replace("OUTSIDE", f"max({outside})")) != []


PUSHRODS = """state:
  pushrod: {each: cap, values: [out, seated], start: out}
  crank: {values: [tdc, bdc], start: tdc}
interference:
- never: {pushrod: seated, crank: bdc}
  because: It hits.
moves:
  turn: {title: Turn, needs: {"pushrod[*]": out}, sets: {crank: bdc}}
sections:
- title: A
  operations:
  - {id: seat, title: S, each: cap, sets: {pushrod: seated}}
  - {id: check, title: C, after: "seat[*]", needs: {"pushrod[*]": seated}}
  - {id: lift, title: L, after: check, sets: {"pushrod[2]": out}, undo: {do: Back, sets: {"pushrod[2]": ask}}}
"""


def test_state_by_place_is_one_variable_for_each_place() -> None:
    plan = made(PUSHRODS)
    assert [variable.name for variable in plan.procedure.state] == ["pushrod[1]", "pushrod[2]", "pushrod[3]", "crank"]
    assert plan.steps["seat[2]"].sets == {"pushrod[2]": "seated"}
    assert plan.steps["check"].needs == {f"pushrod[{place}]": ("seated",) for place in (1, 2, 3)}
    assert plan.steps["lift"].undo_sets == {"pushrod[2]": None}
    assert plan.procedure.moves_by_id["turn"].needs == {f"pushrod[{place}]": ("out",) for place in (1, 2, 3)}


def test_rule_with_a_plain_name_holds_for_each_place() -> None:
    rules = made(PUSHRODS).procedure.interference
    assert [rule.never for rule in rules] == [
        {f"pushrod[{place}]": ("seated",), "crank": ("bdc",)} for place in (1, 2, 3)
    ]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('needs: {"pushrod[*]": seated}', "needs: {pushrod: seated}", "which-place"),
        ('needs: {"pushrod[*]": seated}', 'needs: {"pushrod[4]": seated}', "unknown-name"),
        ('needs: {"pushrod[*]": seated}', 'needs: {"pushrod[*]": seatd}', "unknown-name"),
        ('needs: {"pushrod[*]": seated}', 'needs: {"crank[*]": tdc}', "unknown-name"),
        ('needs: {"pushrod[*]": out}, sets', "needs: {pushrod: out}, sets", "which-place"),
        ('sets: {"pushrod[2]": ask}', "sets: {pushrod: ask}", "which-place"),
    ],
)
def test_state_by_place_must_say_which_place(old: str, new: str, expected: str) -> None:
    assert old in PUSHRODS
    assert codes(PUSHRODS.replace(old, new)) == [expected]


def test_rule_of_two_sets_is_an_error() -> None:
    text = PUSHRODS.replace("  crank:", "  valve: {each: side, values: [shut, open], start: shut}\n  crank:")
    assert codes(text.replace("{pushrod: seated, crank: bdc}", "{pushrod: seated, valve: open}")) == ["which-place"]
    assert codes(text.replace("{pushrod: seated, crank: bdc}", '{pushrod: seated, "valve[*]": open}')) == []


def test_section_reference_resolves_for_a_step() -> None:
    plan = caps()
    assert resolve(plan, "seat[*]", plan.steps["fit[2]"]) == ("seat[2, left]", "seat[2, right]")
    assert resolve(plan, "seat[left]", plan.steps["fit[2]"]) == ("seat[2, left]",)
