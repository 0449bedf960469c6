"""The proof compared with general-purpose tools: a solver, a model checker and a graph library."""

from pathlib import Path
from tempfile import TemporaryDirectory

import networkx
import pytest
from hypothesis import HealthCheck, assume, given, settings
from msgspec.structs import replace

from benchflow.ordering.proof import Proof, prove
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from tests.ordering import brute_force, promela, smt
from tests.ordering.random_plans import examples, plan_of_waiting_groups, plans_of, random_procedures


def codes(proof: Proof) -> set[str]:
    return {finding.code for finding in proof.findings}


def fewest(proof: Proof, code: str) -> int | None:
    orders = [f.order for f in proof.findings if f.code == code]
    return min((len(order) for order in orders if isinstance(order, tuple)), default=None)


def assert_agrees_with_z3(plan: Plan, proof: Proof) -> None:
    truth = smt.Smt(plan)
    assert fewest(proof, "interlock-needed") == truth.breach
    assert fewest(proof, "dead-end") == truth.dead_end
    assert {f.where for f in proof.findings if f.code == "unreachable-operation"} == truth.unreachable


def has_allowed_start(procedure: Procedure) -> bool:
    return any(not brute_force.breaks_a_rule(procedure, start) for start in brute_force.starts(procedure))


@settings(max_examples=examples(30), deadline=None)
@given(random_procedures(most_operations=5, most_variables=2, with_options=False))
def test_solver_agrees_on_verdicts_and_shortest_lengths(procedure: Procedure) -> None:
    assume(has_allowed_start(procedure))
    (plan,) = plans_of(procedure)
    assert_agrees_with_z3(plan, prove(procedure))


@pytest.mark.parametrize("seed", range(2000, 2000 + max(8, examples(0))))
def test_solver_agrees_where_groups_wait_for_each_other(seed: int) -> None:
    plan = plan_of_waiting_groups(seed)
    assert_agrees_with_z3(plan, prove(plan.procedure))


@pytest.mark.skipif(not promela.AVAILABLE, reason="needs the programs spin and gcc (Debian packages of those names)")
@settings(max_examples=examples(8), deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(random_procedures(most_operations=6, most_variables=3, with_options=False))
def test_model_checker_agrees_on_the_shortest_breach(procedure: Procedure) -> None:
    assume(procedure.interference and len(procedure.operations) > 2 and has_allowed_start(procedure))
    (plan,) = plans_of(procedure)
    proof = prove(procedure)
    with TemporaryDirectory() as folder:
        result = promela.run(promela.promela_model(plan, on_paper=True), Path(folder), only_rules=True)
    assert result.complete
    assert result.depth == fewest(proof, "interlock-needed")


@pytest.mark.skipif(not promela.AVAILABLE, reason="needs the programs spin and gcc (Debian packages of those names)")
@pytest.mark.parametrize("seed", [3000, 3001, 3009, 3010, 3011, *range(3100, 3100 + examples(0))])
def test_model_checker_agrees_on_dead_ends(seed: int) -> None:
    """Without moves every order ends, and the end is a dead end exactly if an operation is left."""
    procedure = replace(plan_of_waiting_groups(seed).procedure, moves=())
    (plan,) = plans_of(procedure)
    with TemporaryDirectory() as folder:
        result = promela.run(promela.promela_model(plan, on_paper=False), Path(folder))
    assert result.complete
    assert (result.depth is not None) == ("dead-end" in codes(prove(procedure)))


# --- the order itself -------------------------------------------------------------------------------


def order_as_graph(procedure: Procedure) -> "networkx.DiGraph[str]":
    graph: networkx.DiGraph[str] = networkx.DiGraph()
    graph.add_nodes_from(each.id for each in procedure.operations)
    graph.add_edges_from((ref.name, each.id) for each in procedure.operations for ref in each.after)
    return graph


@settings(max_examples=examples(60), deadline=None)
@given(random_procedures(most_operations=7, most_variables=1, with_options=False, with_cycles=True))
def test_connected_cycles_are_reported_once(procedure: Procedure) -> None:
    components = [
        component
        for component in networkx.strongly_connected_components(order_as_graph(procedure))
        if len(component) > 1
    ]
    assume(has_allowed_start(procedure))
    found = [finding.where for finding in prove(procedure).findings if finding.code == "order-cycle"]
    assert len(found) == len(components)
    assert all(sum(where in component for where in found) == 1 for component in components)


@settings(max_examples=examples(60), deadline=None)
@given(random_procedures(most_operations=7, most_variables=1, with_options=False))
def test_removing_redundant_lines_leaves_the_transitive_reduction(procedure: Procedure) -> None:
    reduced = networkx.transitive_reduction(order_as_graph(procedure))
    redundant = {finding.where for finding in prove(procedure).findings if finding.code == "redundant-after"}
    for each in procedure.operations:
        kept = [ref.name for place, ref in enumerate(each.after, 1) if f"{each.id}.after[{place}]" not in redundant]
        assert sorted(kept) == sorted(reduced.predecessors(each.id))
