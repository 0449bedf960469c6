"""Proofs that reach the bound: the bound counts all work, and the answer says what was proven."""

import pytest
from hypothesis import given, settings
from msgspec.structs import replace

from benchflow.ordering.proof import Reductions, prove
from benchflow.ordering.proof.group_explorer import Explorer
from benchflow.ordering.proof.plan_analysis import analyse
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure, Section
from tests.benchmarks.bench_ordering import all_different
from tests.ordering.plans import move, procedure, variable
from tests.ordering.random_plans import examples, plans_of, random_procedures
from tests.ordering.test_proof_cases import only_finding, op
from tests.ordering.wide import KINDS, Kind, wide_procedure


@pytest.mark.parametrize("kind", KINDS)
def test_bound_of_one_never_completes_a_proof(kind: Kind) -> None:
    proof = prove(wide_procedure(kind, 12, 4), bound=1)
    assert not proof.complete
    assert "not-explored" in {each.code for each in proof.findings}


def test_bound_below_one_order_of_operations_without_states_is_too_small() -> None:
    built = procedure(op("one"), op("two"), op("three"))
    assert prove(built).complete
    small = prove(built, bound=3)
    assert not small.complete
    assert "too small for the 3 operations" in only_finding(small, "not-explored").message
    assert prove(built, bound=4).complete


@pytest.mark.parametrize("reductions", [Reductions(), Reductions(approximation=False), Reductions(lattice=False)])
def test_groups_together_do_not_go_past_the_bound(reductions: Reductions) -> None:
    """Ten groups of eight configurations each fit one by one, but not together."""
    states = [variable(f"s{n}", "off", "on", start="off") for n in range(10)]
    work = [op(f"op-{n}-{i}", needs={f"s{n}": ("off", "on")[i]}) for n in range(10) for i in (0, 1)]
    moves = [move(f"to-{n}-{value}", {f"s{n}": value}) for n in range(10) for value in ("off", "on")]
    built = procedure(*work, state=states, moves=moves)
    whole = prove(built, reductions=reductions)
    assert whole.complete
    assert whole.configurations == 80
    assert prove(built, bound=80, reductions=reductions).complete
    small = prove(built, bound=60, reductions=reductions)
    assert not small.complete
    assert small.configurations <= 60 + 8


def test_small_groups_are_proven_beside_one_that_is_too_large() -> None:
    wide = wide_procedure("tangled", 60, 12)
    gauge = variable("gauge", "off", "on", start="off")
    read = op("read", needs={"gauge": ["on"]})
    fit = op("fit", needs={"gauge": ["off"]}, sets={"gauge": "on"})
    sections = (*wide.sections, Section("more", "More", ("read", "fit")))
    more = tuple(replace(each, section="more", number=100 + n) for n, each in enumerate((read, fit)))
    built = replace(wide, operations=(*wide.operations, *more), state=(*wide.state, gauge), sections=sections)
    proof = prove(built, bound=300)
    assert not proof.complete
    messages = [each.message for each in proof.findings if each.code == "not-explored"]
    assert any("The other group of states is proven" in message for message in messages)
    assert any("Not proven: `dead-end`" in message for message in messages)


@pytest.mark.parametrize("kind", ["tangled", "pairs", "moves"])
def test_work_on_a_wide_procedure_ends_near_its_bound(kind: Kind) -> None:
    """Work is counted in every phase, so a bound a tenth as large takes much less work."""
    built = wide_procedure(kind, 60, 14)
    explorer = Explorer(5_000)
    analysis = analyse(expand(built, {}), explorer)
    assert explorer.work.spent <= explorer.work.limit * 1.5
    assert explorer.configurations <= 6_000 or analysis.conclusive


def test_reduced_proof_of_a_wide_procedure_is_the_same_each_time() -> None:
    one, two = (prove(wide_procedure("tangled", 60, 14), bound=20_000) for _ in range(2))
    assert one == two
    assert not one.complete


@settings(max_examples=examples(60))
@given(random_procedures())
def test_path_to_each_dead_end_of_a_group_is_a_path_of_its_state_machine(procedure: Procedure) -> None:
    for plan in plans_of(procedure):
        for group, space in analyse(plan, Explorer(10_000)).pairs:
            machine = group.machine
            for valuation, family in space.dead_ends():
                for done in space.families.members(family):
                    here, path = space.path_to(done, valuation)
                    assert here in group.starts
                    finished = 0
                    for action in path:
                        if action < 0:
                            here = machine.move(here, ~action)
                        else:
                            assert not group.before[action] & ~finished
                            assert not finished >> action & 1
                            here = machine.step(here, machine.effect_of[action])
                            finished |= 1 << action
                    assert (here, finished) == (valuation, done)


def test_dead_end_of_a_large_explored_group_is_shown_though_the_search_for_a_shortest_order_ends() -> None:
    built = all_different(12, blocking=True, turns="c")
    short, certain = prove(built), prove(built, bound=40_000)
    assert short.complete
    assert certain.complete
    assert "There may be a shorter order" not in only_finding(short, "dead-end").message
    assert "There may be a shorter order" in only_finding(certain, "dead-end").message


def test_too_many_starts_are_reported_with_what_to_do() -> None:
    found = only_finding(prove(wide_procedure("asked")), "not-explored")
    assert "too many start values" in found.message
    assert "Fix the start of some of them" in found.message
    assert "--bound" not in found.message


def test_order_that_breaks_a_rule_is_found_in_a_group_that_is_too_large() -> None:
    """The shortest order has three operations; the search for it ends before it is found."""
    found = only_finding(prove(wide_procedure("tangled", 300, 20), bound=20_000), "interlock-needed")
    assert isinstance(found.order, tuple)
    assert len(found.order) >= 3
    assert "There may be a shorter order" in found.message


def test_group_without_a_rule_cannot_break_one_though_it_is_too_large() -> None:
    built = replace(wide_procedure("tangled", 60, 20), interference=())
    proof = prove(built, bound=2_000)
    assert "interlock-needed" in proof.proven
    assert "dead-end" in proof.undecided
