"""Variables that may become not known, because their proof can be waived: what `check` finds about them."""

from collections import deque
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.ordering.proof import OrderFinding, prove
from benchflow.procedure.model import Fixed, Procedure, RecordedValue, Ref, Undo
from benchflow.procedure.reader import read
from benchflow.quantity import parse_limit
from tests.driving.script import procedure_with
from tests.ordering import brute_force
from tests.ordering.random_plans import examples, plans_of, random_procedures

PUMP = """\
state:
  casing: {values: [hot, cold], start: hot%s}
  seal: {values: [out, in], start: out}
interference: [{never: {casing: hot, seal: in}, because: heat destroys the seal}]
"""


def pump(value: str = ", proves: casing", found: str = ", found: never", cool: str = "", *more: str) -> Procedure:
    """An invented pump: its casing has to be cold before the seal goes in, because heat destroys the seal."""
    text = procedure_with(
        f"{{id: cool, title: Cool, record: {{t: {{ask: T, unit: °C, limit: below 40 °C{value}}}}}, "
        f"sets: {{casing: cold}}{cool}}}",
        "{id: fit, title: Fit the seal, after: [cool], sets: {seal: in}}",
        *more,
        head=PUMP % found,
    )
    found_problems = read(text)
    assert found_problems.procedure is not None, [str(problem) for problem in found_problems.problems]
    return found_problems.procedure


def dead_ends(procedure: Procedure) -> list[OrderFinding]:
    return [finding for finding in prove(procedure).findings if finding.code == "dead-end"]


def test_proof_that_can_be_waived_and_never_made_good_is_a_dead_end() -> None:
    (found,) = dead_ends(pump())
    assert (found.severity, found.where, found.unknown) == ("error", "cool", ("casing",))
    assert isinstance(found.order, tuple)
    assert "cool" in found.order
    assert "Casing not known" in found.message
    json: dict[str, Any] = found.as_json()
    assert json["unknown"] == ["casing"]


@pytest.mark.parametrize(
    "procedure",
    [
        pump(value=", proves: casing, waive: never"),
        pump(found=""),
        pump(found=", found: inspector"),
        pump(cool=", undo: {do: Heat it again}"),
        pump(value=""),
    ],
    ids=["nobody waives it", "anyone finds it", "a role finds it", "it can be done again", "it proves nothing"],
)
def test_proof_that_can_be_made_good_is_not_a_dead_end(procedure: Procedure) -> None:
    assert dead_ends(procedure) == []


def test_variable_that_is_set_again_later_is_not_a_dead_end() -> None:
    again = "{id: soak, title: Soak, after: [cool], sets: {casing: cold}}"
    procedure = pump(", proves: casing", ", found: never", "", again)
    assert dead_ends(procedure) != []  # the seal may wait for the second cooling, but that can be doubted too


def test_undo_that_asks_is_explored_as_not_known() -> None:
    cool = ", undo: {do: Heat it, sets: {casing: ask}}"
    assert dead_ends(pump(value="", cool=cool)) == []  # cooling can be undone and done again
    final = "{id: chill, title: Chill, after: [cool], sets: {casing: cold}}"
    assert dead_ends(pump("", ", found: never", cool, final)) != []  # chilling cannot


def weak(text: str) -> list[str]:
    return [problem.message for problem in read(text).problems if problem.code == "weak-evidence"]


@pytest.mark.parametrize(
    ("value", "noted"),
    [
        ("", True),
        (", proves: casing", False),
        (", waive: never", False),
        (", waive: inspector", False),
        (", waive: anyone", False),
        (", proves: seal", True),
    ],
)
def test_variable_whose_evidence_anyone_can_waive_is_noted(value: str, noted: bool) -> None:
    text = procedure_with(
        f"{{id: cool, title: Cool, record: {{t: {{ask: T, unit: °C, limit: below 40 °C{value}}}}}, "
        "sets: {casing: cold}}",
        "{id: fit, title: Fit, sets: {seal: in}}",
        head=PUMP % "",
    )
    assert bool(weak(text)) is noted


def test_waiting_time_that_anyone_can_waive_is_noted_and_a_deadline_is_not() -> None:
    cool = "{{id: cool, title: Cool, time: {{heat: {}}}, sets: {{casing: cold}}}}"
    for limit, noted in (("at least 2 h", True), ("at most 2 h", False)):
        text = procedure_with("{id: heat, title: Heat}", cool.format(limit), head=PUMP % "")
        assert bool(weak(text)) is noted


# --- against brute force ----------------------------------------------------------------------------


def reachable_dead_end(procedure: Procedure, name: str) -> bool:
    """True if an order, in which ``name`` may become not known between any two actions, leads to a dead end."""
    (plan,) = plans_of(procedure)
    everything = frozenset(plan.steps)

    def successors(node: brute_force.Node) -> list[brute_force.Node]:
        found = [after for _, after in brute_force.allowed_actions(plan, node)]
        lost = {**dict(node[1]), name: None}
        if not brute_force.breaks_a_rule(procedure, lost):
            found.append((node[0], brute_force.value_pairs(lost)))
        return found

    origins = [
        (frozenset[str](), brute_force.value_pairs(start))
        for start in brute_force.starts(procedure)
        if not brute_force.breaks_a_rule(procedure, start)
    ]
    reached = set(origins)
    into: dict[brute_force.Node, list[brute_force.Node]] = {}
    queue = deque(origins)
    while queue:
        node = queue.popleft()
        for after in successors(node):
            into.setdefault(after, []).append(node)
            if after not in reached:
                reached.add(after)
                queue.append(after)
    live = {node for node in reached if node[0] == everything}
    queue = deque(live)
    while queue:
        for earlier in into.get(queue.popleft(), ()):
            if earlier not in live:
                live.add(earlier)
                queue.append(earlier)
    return live != reached


PROOF = RecordedValue("t", "T", "mm", "length", Fixed(parse_limit("at most 1 mm")), proves=(Ref("v0"),))


@given(random_procedures(most_operations=5, most_variables=2, with_options=False), st.integers(0, 4))
@settings(max_examples=examples(150), deadline=None)
def test_dead_end_after_a_loss_agrees_with_brute_force(procedure: Procedure, number: int) -> None:
    operations = list(procedure.operations)
    proving = operations[number % len(operations)]
    operations[number % len(operations)] = replace(proving, record=(PROOF,), sets={**proving.sets, "v0": "a"})
    state = tuple(replace(each, found="never") if each.name == "v0" else each for each in procedure.state)
    built = replace(procedure, operations=tuple(operations), state=state)
    expected = reachable_dead_end(built, "v0") or brute_force.Verdicts(plans_of(built)[0]).dead_end is not None
    if all(brute_force.breaks_a_rule(built, start) for start in brute_force.starts(built)):
        return
    assert bool(dead_ends(built)) == expected
    undone = [replace(each, undo=Undo("Take it off")) for each in built.operations]
    without_loss = replace(built, operations=tuple(undone))
    assert bool(dead_ends(without_loss)) == (brute_force.Verdicts(plans_of(built)[0]).dead_end is not None)
