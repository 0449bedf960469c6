from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.ordering.actions import DoOperation, MakeMove, RouteStep
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import (
    AfterMissing,
    AlreadyDone,
    Interference,
    StateNotMet,
    after_move,
    after_step,
    move_reasons,
    step_reasons,
)
from benchflow.ordering.route import NoRoute, SafeRoute, route
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from tests.ordering import brute_force
from tests.ordering.plans import move, plan, rule, step, valve_plan, variable
from tests.ordering.random_plans import examples, plans_of, random_procedures


def walk(built: Plan, here: Configuration, steps: tuple[RouteStep, ...]) -> Configuration:
    for go in steps:
        match go:
            case DoOperation(name):
                assert step_reasons(built, here, name) == ()
                here = after_step(built, here, name)
            case MakeMove(name):
                assert move_reasons(built, here, name) == ()
                here = after_move(built, here, name)
    return here


def test_route_inserts_moves_before_operations_that_need_them() -> None:
    built = valve_plan()
    here = Configuration(frozenset(), {"pistons": "at-deck", "valves": "shut", "cam": "out"})
    found = route(built, here, "time-cam")
    assert isinstance(found, SafeRoute)
    assert len(found.steps) == 5
    assert found.steps[-1] == DoOperation("time-cam")
    assert walk(built, here, found.steps).done == {"fit-head", "seat-cam", "time-cam"}


def test_route_does_only_what_the_goal_needs() -> None:
    built = plan(step("a"), step("b", "a"), step("unrelated"), step("c", "b"))
    assert route(built, Configuration(frozenset({"a"}), {}), "c") == SafeRoute((DoOperation("b"), DoOperation("c")))


def test_route_includes_an_operation_that_sets_a_needed_state() -> None:
    built = plan(
        step("lift", sets={"block": "up"}),
        step("fit-pan", needs={"block": "up"}),
        state=[variable("block", "down", "up")],
    )
    here = Configuration(frozenset(), {"block": "down"})
    assert route(built, here, "fit-pan") == SafeRoute((DoOperation("lift"), DoOperation("fit-pan")))


def test_no_route_gives_the_reasons_closest_to_the_goal() -> None:
    built = plan(
        step("first"),
        step("stuck", "first", needs={"crank": "up"}),
        step("goal", "stuck"),
        state=[variable("crank", "down", "up")],
    )
    found = route(built, Configuration(frozenset(), {"crank": "down"}), "goal")
    assert isinstance(found, NoRoute)
    assert found.reasons == (StateNotMet("crank", "down", ("up",)),)
    assert found.at.done == {"first"}


def test_cycle_has_no_route() -> None:
    built = plan(step("a", "b"), step("b", "a"))
    found = route(built, Configuration(frozenset(), {}), "a")
    assert isinstance(found, NoRoute)
    assert AfterMissing("b") in found.reasons


def test_done_goal_has_no_route_and_an_unknown_value_can_be_set_by_a_move() -> None:
    built = valve_plan()
    unknown = {"pistons": None, "valves": "shut", "cam": "out"}
    assert route(built, Configuration(frozenset({"fit-head"}), unknown), "fit-head") == NoRoute(
        (AlreadyDone("fit-head"),), Configuration(frozenset({"fit-head"}), unknown)
    )
    found = route(built, Configuration(frozenset({"fit-head"}), unknown), "seat-cam")
    assert found == SafeRoute((MakeMove("turn-crank-down"), DoOperation("seat-cam")))


def test_route_never_breaks_a_rule() -> None:
    built = plan(
        step("open", sets={"valves": "open"}),
        state=[variable("valves", "shut", "open"), variable("pistons", "at-deck", "down")],
        rules=[rule(valves="open", pistons="at-deck")],
    )
    found = route(built, Configuration(frozenset(), {"valves": "shut", "pistons": "at-deck"}), "open")
    assert isinstance(found, NoRoute)
    assert isinstance(found.reasons[0], Interference)


def test_eight_valves_in_two_crank_positions_need_two_moves() -> None:
    positions = ["one", "two", "one", "two", "two", "one", "two", "one"]
    built = plan(
        *(step(f"valve-{i}", needs={"crank": at}, sets={f"lash-{i}": "set"}) for i, at in enumerate(positions)),
        step("cover", *(f"valve-{i}" for i in range(8)), needs={f"lash-{i}": "set" for i in range(8)}),
        state=[variable("crank", "between", "one", "two"), *(variable(f"lash-{i}", "loose", "set") for i in range(8))],
        moves=[move("to-one", {"crank": "one"}), move("to-two", {"crank": "two"})],
    )
    here = Configuration(frozenset(), {"crank": "between", **{f"lash-{i}": "loose" for i in range(8)}})
    found = route(built, here, "cover")
    assert isinstance(found, SafeRoute)
    assert found.shortest
    assert len(found.steps) == 8 + 1 + 2
    walk(built, here, found.steps)


def test_each_of_two_exclusive_operations_has_a_route() -> None:
    built = plan(
        step("either", needs={"jig": "free"}, sets={"jig": "taken"}),
        step("or", needs={"jig": "free"}, sets={"jig": "taken"}),
        state=[variable("jig", "free", "taken")],
    )
    here = Configuration(frozenset(), {"jig": "free"})
    assert route(built, here, "either") == SafeRoute((DoOperation("either"),))
    assert route(built, here, "or") == SafeRoute((DoOperation("or"),))


def test_search_at_its_limit_does_not_claim_the_shortest_route() -> None:
    built = plan(
        *(step(f"s{i}", sets={"x": "abc"[i % 3]}, needs={"x": "abc"[(i + 1) % 3]}) for i in range(12)),
        step("goal", *(f"s{i}" for i in range(12))),
        state=[variable("x", "a", "b", "c")],
        moves=[move("to-a", {"x": "a"}, needs={"x": "c"}), move("to-b", {"x": "b"}, needs={"x": "a"})],
    )
    here = Configuration(frozenset(), {"x": "a"})
    best = route(built, here, "goal")
    assert isinstance(best, SafeRoute)
    kinds = set()
    for limit in range(1, 30):
        cut = route(built, here, "goal", limit=limit)
        kinds.add(type(cut))
        if isinstance(cut, SafeRoute):
            walk(built, here, cut.steps)
            assert len(cut.steps) == len(best.steps) or not cut.shortest
        else:
            assert not cut.certain
    assert kinds == {SafeRoute, NoRoute}


@settings(max_examples=examples(150), deadline=None)
@given(random_procedures(most_operations=7), st.data())
def test_route_is_safe_and_as_short_as_brute_force_finds(procedure: Procedure, data: st.DataObject) -> None:
    built = data.draw(st.sampled_from(plans_of(procedure)))
    if not built.steps:
        return
    values = data.draw(st.sampled_from(list(brute_force.starts(procedure))))
    start = {**values, **({data.draw(st.sampled_from(list(values))): None} if data.draw(st.booleans()) else {})}
    origin = data.draw(
        st.sampled_from(sorted(brute_force.distances(built, [(frozenset(), brute_force.value_pairs(start))]), key=repr))
    )
    here = Configuration(origin[0], dict(origin[1]))
    goal = data.draw(st.sampled_from(list(built.steps)))
    found = route(built, here, goal)
    shortest = None if goal in here.done else brute_force.shortest_to(built, origin, goal)
    if shortest is None:
        assert isinstance(found, NoRoute)
        assert found.reasons
    else:
        assert isinstance(found, SafeRoute)
        assert found.steps[-1] == DoOperation(goal)
        assert len(found.steps) == shortest
        assert walk(built, here, found.steps).done >= {goal}
