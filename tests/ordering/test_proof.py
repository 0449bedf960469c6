"""The proof compared with brute force, on random small procedures."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.ordering.proof import OrderFinding, Proof, Reductions, SuggestedLine, prove
from benchflow.procedure.model import Procedure, Ref
from benchflow.procedure.plan import Plan
from tests.driving.shipped import shipped_procedure
from tests.ordering import brute_force
from tests.ordering.agreement import LIBRARY, SWITCHED_OFF, SWITCHED_OFF_FOR_SMALL_PLANS, disagreements
from tests.ordering.large import large_procedure
from tests.ordering.random_plans import examples, plan_of_waiting_groups, plans_of, random_procedures


def findings_with(proof: Proof, code: str) -> list[OrderFinding]:
    return [finding for finding in proof.findings if finding.code == code]


def actions(plan: Plan, order: object) -> list[brute_force.Action]:
    assert isinstance(order, tuple)
    return [("operation" if name in plan.steps else "move", name) for name in order]


def assert_agrees_with_brute_force(plan: Plan, proof: Proof) -> None:
    """Check that the proof and brute force have the same findings about a plan, with orders of equal length."""
    truth = brute_force.Verdicts(plan)
    assert bool(findings_with(proof, "forbidden-start")) == bool(truth.forbidden_starts)
    for finding in findings_with(proof, "forbidden-start"):
        assert finding.start in truth.forbidden_starts
    if not truth.origins:
        assert not proof.complete
        return
    assert proof.complete
    assert {finding.where for finding in findings_with(proof, "unreachable-operation")} == truth.unreachable
    dead_ends = findings_with(proof, "dead-end")
    assert bool(dead_ends) == (truth.dead_end is not None)
    for finding in dead_ends:
        end = brute_force.replay(plan, origin(truth, finding), actions(plan, finding.order))
        assert end is not None
        assert end not in truth.finishable
    if dead_ends:
        assert min(len(actions(plan, finding.order)) for finding in dead_ends) == truth.dead_end
    needed = findings_with(proof, "interlock-needed")
    assert bool(needed) == (truth.breach is not None)
    for finding in needed:
        *earlier, last = actions(plan, finding.order)
        before = brute_force.replay(plan, origin(truth, finding), earlier)
        assert before is not None
        assert any(action == last and bad for action, _, bad in brute_force.allowed_on_paper(plan, before))
    if needed:
        assert min(len(actions(plan, finding.order)) for finding in needed) == truth.breach


def origin(truth: brute_force.Verdicts, finding: OrderFinding) -> brute_force.Node:
    assert isinstance(finding.start, dict)
    place = (frozenset[str](), brute_force.value_pairs(finding.start))
    assert place in truth.origins
    return place


@settings(max_examples=examples(150), deadline=None)
@given(random_procedures(most_operations=6, most_variables=3, with_options=False, with_cycles=True))
def test_proof_agrees_with_brute_force(procedure: Procedure) -> None:
    (plan,) = plans_of(procedure)
    assert_agrees_with_brute_force(plan, prove(procedure))


@settings(max_examples=examples(60), deadline=None)
@given(random_procedures(most_operations=6, most_variables=3, with_options=False, one_variable_each=True))
def test_separate_groups_agree_with_brute_force(procedure: Procedure) -> None:
    (plan,) = plans_of(procedure)
    assert_agrees_with_brute_force(plan, prove(procedure))


@pytest.mark.parametrize("seed", range(max(150, examples(0))))
def test_groups_that_wait_for_each_other_agree_with_brute_force(seed: int) -> None:
    plan = plan_of_waiting_groups(seed)
    assert_agrees_with_brute_force(plan, prove(plan.procedure))


@settings(max_examples=examples(60), deadline=None)
@given(random_procedures(most_operations=5, most_variables=2))
def test_every_choice_of_options_is_proven(procedure: Procedure) -> None:
    proof = prove(procedure)
    truths = [(plan, brute_force.Verdicts(plan)) for plan in plans_of(procedure)]
    if not truths[0][1].origins:
        return
    assert bool(findings_with(proof, "dead-end")) == any(truth.dead_end is not None for _, truth in truths)
    assert bool(findings_with(proof, "interlock-needed")) == any(truth.breach is not None for _, truth in truths)
    unreachable = {name for _, truth in truths for name in truth.unreachable}
    assert {finding.where for finding in findings_with(proof, "unreachable-operation")} == unreachable
    for finding in proof.findings:
        if finding.code in ("dead-end", "interlock-needed") and procedure.options:
            (plan,) = [plan for plan, _ in truths if plan.options == finding.options]
            assert isinstance(finding.start, dict)
            place = (frozenset[str](), brute_force.value_pairs(finding.start))
            walked = actions(plan, finding.order)
            assert brute_force.replay(plan, place, walked[:-1]) is not None


@settings(max_examples=examples(80), deadline=None)
@given(random_procedures(most_operations=6, most_variables=3, with_options=False), st.integers(1, 6))
def test_findings_within_a_small_bound_are_true(procedure: Procedure, bound: int) -> None:
    (plan,) = plans_of(procedure)
    truth = brute_force.Verdicts(plan)
    for reductions in (Reductions(), Reductions(approximation=False)):
        proof = prove(procedure, bound=bound, reductions=reductions)
        if not truth.origins:
            continue
        if proof.complete:
            assert_agrees_with_brute_force(plan, proof)
        else:
            assert findings_with(proof, "not-explored")
        assert {finding.where for finding in findings_with(proof, "unreachable-operation")} <= truth.unreachable
        for finding in findings_with(proof, "dead-end"):
            end = brute_force.replay(plan, origin(truth, finding), actions(plan, finding.order))
            assert end is not None
            assert end not in truth.finishable
        for finding in findings_with(proof, "interlock-needed"):
            before = brute_force.replay(plan, origin(truth, finding), actions(plan, finding.order)[:-1])
            assert before is not None
            assert brute_force.replay(plan, origin(truth, finding), actions(plan, finding.order)) is None


@settings(max_examples=examples(40), deadline=None)
@given(random_procedures(most_operations=6, most_variables=3, with_options=False, with_cycles=True))
def test_no_reduction_changes_a_verdict(procedure: Procedure) -> None:
    assert list(disagreements(procedure, SWITCHED_OFF_FOR_SMALL_PLANS)) == []


@pytest.mark.parametrize("seed", range(1000, 1000 + max(40, examples(0))))
def test_no_reduction_changes_a_verdict_where_groups_wait_for_each_other(seed: int) -> None:
    assert list(disagreements(plan_of_waiting_groups(seed).procedure, SWITCHED_OFF_FOR_SMALL_PLANS)) == []


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_no_reduction_changes_a_verdict_on_a_shipped_procedure(path: Path) -> None:
    assert list(disagreements(shipped_procedure(path), SWITCHED_OFF_FOR_SMALL_PLANS)) == []


def test_no_reduction_changes_a_verdict_on_a_large_procedure() -> None:
    assert list(disagreements(large_procedure(54), SWITCHED_OFF)) == []


# --- suggested lines ----------------------------------------------------------------------------------------


def with_suggested_lines(procedure: Procedure, lines: tuple[SuggestedLine, ...]) -> Procedure:
    """Return the procedure with each suggested line added to the operation or move that it names."""
    operations = {each.id: each for each in procedure.operations}
    moves = {each.id: each for each in procedure.moves}
    domains = {v.name: v.values for v in procedure.state}
    for line in lines:
        if line.to in operations:
            each = operations[line.to]
            if line.after:
                operations[line.to] = replace(each, after=(*each.after, Ref(line.after)))
                continue
            wanted = [v for v in each.needs.get(line.variable, domains[line.variable]) if v in line.values]
            operations[line.to] = replace(each, needs={**each.needs, line.variable: tuple(wanted)})
        else:
            turn = moves[line.to]
            wanted = [v for v in turn.needs.get(line.variable, domains[line.variable]) if v in line.values]
            moves[line.to] = replace(turn, needs={**turn.needs, line.variable: tuple(wanted)})
    return replace(procedure, operations=tuple(operations.values()), moves=tuple(moves.values()))


@settings(max_examples=examples(60), deadline=None)
@given(random_procedures(most_operations=5, most_variables=3, with_options=False))
def test_suggested_lines_make_the_procedure_safe_and_nothing_worse(procedure: Procedure) -> None:
    proof = prove(procedure)
    before = verdicts_of(procedure)
    for number, lines in proof.fixes.items():
        assert proof.findings[number].code == "interlock-needed"
        if not lines:
            continue
        after = verdicts_of(
            with_suggested_lines(procedure, tuple(line for each in proof.fixes.values() for line in each))
        )
        if all(proof.fixes.values()):
            assert after.breach is None
        assert after.unreachable <= before.unreachable
        assert before.dead_end is not None or after.dead_end is None


def verdicts_of(procedure: Procedure) -> brute_force.Verdicts:
    (plan,) = plans_of(procedure)
    return brute_force.Verdicts(plan)
