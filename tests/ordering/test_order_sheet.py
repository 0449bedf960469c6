"""A build in one safe order, compared with brute force."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.ordering.pictures.order_sheet import MoveTurn, NoSafeOrder, OperationTurn, OrderSheet, lay_out
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.procedure.waits_as_needs import with_waits_as_needs
from tests.ordering import brute_force
from tests.ordering.plans import move, plan, rule, step, valve_plan, variable, within
from tests.ordering.random_plans import examples, plans_of, random_procedures


def actions(made: OrderSheet) -> list[brute_force.Action]:
    return [("operation", t.step) if isinstance(t, OperationTurn) else ("move", t.move) for t in made.turns]


def order(made: OrderSheet | NoSafeOrder) -> list[str]:
    assert isinstance(made, OrderSheet), made
    return [name for _, name in actions(made)]


@settings(max_examples=examples(200), deadline=None)
@given(random_procedures(most_operations=6, with_cycles=True), st.data())
def test_sheet_has_a_safe_and_complete_order_if_one_exists(procedure: Procedure, data: st.DataObject) -> None:
    build = data.draw(st.sampled_from(plans_of(procedure)))
    start = data.draw(st.sampled_from(list(brute_force.starts(procedure))))
    place = (frozenset[str](), brute_force.value_pairs(start))
    made = lay_out(build, dict(start))
    if isinstance(made, NoSafeOrder):
        bad = brute_force.breaks_a_rule(procedure, start)
        assert bad or all(done != frozenset(build.steps) for done, _ in brute_force.distances(build, [place]))
        assert made.certain
        assert made.reasons
        return
    end = brute_force.replay(build, place, actions(made))
    assert end is not None
    assert end[0] == frozenset(build.steps)
    assert_states_name_the_turn_that_set_them(build, made)


def assert_states_name_the_turn_that_set_them(build: Plan, made: OrderSheet) -> None:
    since: dict[str, int] = {}
    turns = {t.step: t.turn for t in made.turns if isinstance(t, OperationTurn)}
    moves = {each.id: each for each in build.procedure.moves}
    for number, turn in enumerate(made.turns, 1):
        assert turn.turn == number
        needs, sets = (
            (build.steps[turn.step].needs, build.steps[turn.step].sets)
            if isinstance(turn, OperationTurn)
            else (moves[turn.move].needs, moves[turn.move].sets)
        )
        assert [each.since for each in turn.states] == [since.get(name) for name in needs]
        if isinstance(turn, OperationTurn):
            assert all(earlier < number for earlier in turn.after)
            assert {turns[name] for name in build.steps[turn.step].after} >= set(turn.after)
        else:
            assert isinstance(made.turns[turn.before - 1], OperationTurn)
            assert turn.before > number
        since.update(dict.fromkeys(sets, number))


def test_sheet_inserts_the_moves_that_an_operation_needs() -> None:
    made = lay_out(valve_plan(), {"pistons": "at-deck", "valves": "shut", "cam": "out"})
    assert order(made) == ["fit-head", "turn-crank-down", "seat-cam", "turn-crank-up", "time-cam"]
    assert isinstance(made, OrderSheet)
    down, seat = made.turns[1], made.turns[2]
    assert isinstance(down, MoveTurn)
    assert down.before == 3
    assert "an open valve would reach them" in down.lifts[0]
    assert isinstance(seat, OperationTurn)
    assert seat.after == (1,)
    assert "never with pistons at the deck" in seat.hazards[0]
    assert made.asked == ("pistons at the deck",)


def test_sheet_has_no_move_if_the_start_needs_none() -> None:
    made = lay_out(valve_plan(), {"pistons": "down", "valves": "shut", "cam": "out"})
    assert order(made) == ["fit-head", "seat-cam", "turn-crank-up", "time-cam"]


def test_sheet_departs_from_the_authors_order_to_avoid_a_dead_end() -> None:
    corner = plan(
        step("fit-pin", sets={"pin": "in"}),
        step("turn-engine", needs={"pin": "out"}),
        state=[variable("pin", "out", "in")],
    )
    assert order(lay_out(corner, {"pin": "out"})) == ["turn-engine", "fit-pin"]


def test_sheet_departs_from_the_authors_order_to_keep_a_window() -> None:
    late = plan(
        step("apply-sealant"),
        step("clean-flange", takes=900),
        step("fit-cover", "clean-flange", time=[within("apply-sealant", 600)]),
    )
    made = lay_out(late, {})
    assert order(made) == ["clean-flange", "apply-sealant", "fit-cover"]
    assert isinstance(made, OrderSheet)
    assert made.time_kept


def test_sheet_reports_windows_that_cannot_be_kept() -> None:
    never = plan(
        step("apply-sealant"),
        step("clean-flange", "apply-sealant", takes=900),
        step("fit-cover", "clean-flange", time=[within("apply-sealant", 600)]),
    )
    made = lay_out(never, {})
    assert isinstance(made, OrderSheet)
    assert not made.time_kept


@pytest.mark.parametrize(
    ("build", "start", "expected"),
    [
        (plan(step("a", "b"), step("b", "a")), {}, "wait for each other in a cycle"),
        (
            plan(
                step("a"),
                state=[variable("pistons", "up", "down"), variable("valves", "shut", "open")],
                rules=[rule("an open valve would reach them", pistons="up", valves="open")],
            ),
            {"pistons": "up", "valves": "open"},
            "A rule forbids this start. An open valve would reach them.",
        ),
        (
            plan(
                step("a", needs={"pistons": "down"}),
                state=[variable("pistons", "up", "down")],
                moves=[move("turn", {"pistons": "up"})],
            ),
            {"pistons": "up"},
            "“A” is blocked. Pistons must be down; now up",
        ),
    ],
)
def test_reasons_are_given_if_there_is_no_safe_order(build: Plan, start: dict[str, str | None], expected: str) -> None:
    made = lay_out(build, start)
    assert isinstance(made, NoSafeOrder)
    assert made.certain
    assert any(expected in reason for reason in made.reasons)


def test_sheet_counts_from_the_restart_and_names_the_state_of_a_wait() -> None:
    lay, pump = step("lay"), step("pump", "lay", sets={"vacuum": "on"})
    stir = replace(step("stir", "pump"), restarts=("lay",))
    window = replace(within("lay", 9000, wait=600), while_={"vacuum": ("on",)})
    trim = step("trim", "stir", time=[window])
    built = with_waits_as_needs(plan(lay, pump, stir, trim, state=[variable("vacuum", "off", "on")]))
    found = lay_out(built, {"vacuum": "off"})
    assert isinstance(found, OrderSheet)
    (turn,) = [each for each in found.turns if isinstance(each, OperationTurn) and each.step == "trim"]
    (time,) = turn.times
    assert (time.since, time.state, time.state_since) == (3, "vacuum on", 2)
