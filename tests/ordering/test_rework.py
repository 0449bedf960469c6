"""Rework plans are safe and shortest. Without a plan, all reasons are given."""

from collections import deque
from collections.abc import Iterator

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.ordering.actions import MakeMove, UndoOperation, read_rework_step, rework_step_record
from benchflow.ordering.interlock import Interference, NotInThisBuild, StateNotMet
from benchflow.ordering.rework import (
    DoneWork,
    NeededBy,
    NoRework,
    NotDone,
    NoUndo,
    ReworkPlan,
    SearchLimitReached,
    StateWrite,
    UndoBlocked,
    named_step,
    obstacle_text,
    plan_rework,
    undo_reasons,
)
from benchflow.procedure.model import Procedure, Ref, Undo
from benchflow.procedure.plan import Plan
from tests.ordering import brute_force
from tests.ordering.plans import move, plan, rule, step, variable
from tests.ordering.random_plans import examples, plans_of, random_procedures


def work_done(built: Plan, start: dict[str, str | None], *actions: str) -> DoneWork:
    """The work done after these steps and moves in order."""
    writes = {name: [StateWrite("", value)] for name, value in start.items()}
    finished: list[str] = []
    by_name = {each.id: each for each in built.procedure.moves}
    for name in actions:
        if name in built.steps:
            finished.append(name)
        sets = built.steps[name].sets if name in built.steps else by_name[name].sets
        for changed, value in sets.items():
            writes[changed].append(StateWrite(name if name in built.steps else "", value))
    return DoneWork(tuple(finished), {name: tuple(past) for name, past in writes.items()})


OFF = Undo("Take it off")


def cam_and_chain() -> Plan:
    """A cam that is seated with the pistons down, and a chain that is fitted with the crank turned to its mark."""
    return plan(
        step("fit-head", undo=Undo("Lift it off", discard=(Ref("gasket"),))),
        step("seat-cam", "fit-head", during={"valves": "open"}, sets={"cam": "in"}, undo=OFF),
        step("fit-chain", needs={"cam": "in", "pistons": "at-mark"}, sets={"chain": "on"}, undo=OFF),
        step("fit-sump", undo=OFF),
        state=[
            variable("pistons", "down", "at-mark", words={"at-mark": "at the mark"}),
            variable("valves", "shut", "open"),
            variable("cam", "out", "in"),
            variable("chain", "off", "on"),
        ],
        rules=[rule("an open valve would reach them", pistons="at-mark", valves="open")],
        moves=[
            move("turn-down", {"pistons": "down"}, needs={"chain": "off"}),
            move("turn-up", {"pistons": "at-mark"}, needs={"chain": "off"}),
        ],
    )


START: dict[str, str | None] = {"pistons": "down", "valves": "shut", "cam": "out", "chain": "off"}


def test_dependents_are_undone_first_with_the_moves_they_need() -> None:
    built = cam_and_chain()
    history = work_done(built, START, "fit-head", "seat-cam", "fit-sump", "turn-up", "fit-chain")
    assert plan_rework(built, history, "fit-head") == ReworkPlan(
        steps=(UndoOperation("fit-chain"), MakeMove("turn-down"), UndoOperation("seat-cam"), UndoOperation("fit-head")),
        discard=("gasket",),
        redo=("fit-head", "seat-cam", "fit-chain"),
    )


def test_independent_work_is_not_undone() -> None:
    built = cam_and_chain()
    history = work_done(built, START, "fit-head", "seat-cam", "fit-sump")
    assert plan_rework(built, history, "seat-cam") == ReworkPlan((UndoOperation("seat-cam"),), (), ("seat-cam",))


def test_dependents_without_an_undo_are_named() -> None:
    built = plan(step("a", undo=OFF), step("b", "a"), step("c", "b"))
    found = plan_rework(built, work_done(built, {}, "a", "b", "c"), "a")
    assert found == NoRework((NoUndo("b"), NoUndo("c")))
    assert obstacle_text(built, NoUndo("b")) == "The procedure does not say how to undo “B”"


def test_operation_that_is_not_done_has_no_rework() -> None:
    built = plan(step("a", undo=OFF))
    assert plan_rework(built, DoneWork((), {}), "a") == NoRework((NotDone("a"),))
    assert plan_rework(built, DoneWork((), {}), "z") == NoRework((NotInThisBuild("z"),))
    assert named_step(NotDone("a")) == "a"
    assert named_step(NotInThisBuild("z")) is None


def test_rework_that_no_move_makes_safe_names_the_rule() -> None:
    built = plan(
        step("seat-cam", during={"valves": "open"}, undo=OFF),
        state=[variable("pistons", "at-deck", "down"), variable("valves", "shut", "open")],
        rules=[rule("an open valve would reach them", pistons="at-deck", valves="open")],
    )
    history = DoneWork(("seat-cam",), {"pistons": (StateWrite("", "at-deck"),), "valves": (StateWrite("", "shut"),)})
    found = plan_rework(built, history, "seat-cam")
    assert isinstance(found, NoRework)
    (reason,) = found.reasons
    assert isinstance(reason, UndoBlocked)
    assert isinstance(reason.reason, Interference)
    assert obstacle_text(built, reason) == (
        "“Seat cam” cannot be undone now. Pistons are at-deck; an open valve would reach them"
    )


def test_variable_returns_to_its_last_write_or_to_the_undo_value() -> None:
    built = plan(
        step("warm", sets={"head": "warm"}, undo=OFF),
        step("hot", "warm", sets={"head": "hot"}, undo=Undo("Let it cool", sets={"head": "cool"})),
        step("pour", needs={"head": "cool"}, undo=Undo("Tip it out", needs={"head": ("warm",)})),
        state=[variable("head", "cold", "warm", "hot", "cool")],
    )
    history = work_done(built, {"head": "cold"}, "warm", "hot")
    assert history.valuation == {"head": "hot"}
    assert plan_rework(built, history, "warm") == ReworkPlan(
        (UndoOperation("hot"), UndoOperation("warm")), (), ("warm", "hot")
    )
    # With “hot” undone the head is cool, not warm, so pouring cannot be undone.
    poured = DoneWork(
        (*history.finished, "pour"),
        {"head": (StateWrite("", "cold"), StateWrite("warm", "warm"), StateWrite("", "cool"))},
    )
    assert undo_reasons(built, poured, "pour") == (UndoBlocked("pour", StateNotMet("head", "cool", ("warm",))),)


def test_undoing_one_step_is_refused_while_a_dependent_is_done() -> None:
    built = cam_and_chain()
    history = work_done(built, START, "fit-head", "seat-cam", "turn-up")
    assert undo_reasons(built, history, "fit-head") == (NeededBy("fit-head", "seat-cam"),)
    (reason,) = undo_reasons(built, history, "seat-cam")
    assert isinstance(reason, UndoBlocked)
    down = work_done(built, START, "fit-head", "seat-cam")
    assert undo_reasons(built, down, "seat-cam") == ()


def test_paused_work_is_undone_too() -> None:
    built = plan(step("a", undo=OFF), step("b", "a", undo=OFF), step("c", "b", undo=OFF))
    history = DoneWork(("a", "b", "c"), {})  # c half done
    found = plan_rework(built, history, "a")
    assert isinstance(found, ReworkPlan)
    assert found.steps == (UndoOperation("c"), UndoOperation("b"), UndoOperation("a"))


# --- compared with brute force ------------------------------------------------------------------

PartlyUndone = tuple[tuple[str, ...], tuple[tuple[str, tuple[tuple[str, str | None], ...]], ...]]


def values_of(state: PartlyUndone) -> dict[str, str | None]:
    return {name: past[-1][1] for name, past in state[1]}


def next_states(built: Plan, state: PartlyUndone, dependents: dict[str, set[str]]) -> Iterator[PartlyUndone]:
    finished, values = state[0], values_of(state)
    procedure = built.procedure
    for name in finished:
        each = built.steps[name]
        if dependents[name] & set(finished) or any(values[n] not in ok for n, ok in each.undo_needs.items()):
            continue
        if brute_force.breaks_a_rule(procedure, {**values, **each.during}):
            continue
        writes = tuple(
            (n, tuple(w for w in past if w[0] != name) + ((("", each.undo_sets[n]),) if n in each.undo_sets else ()))
            for n, past in state[1]
        )
        then = (tuple(other for other in finished if other != name), writes)
        if not brute_force.breaks_a_rule(procedure, values_of(then)):
            yield then
    for turn in brute_force.moves(built):
        if any(values[n] not in ok for n, ok in turn.needs.items()):
            continue
        if brute_force.breaks_a_rule(procedure, {**values, **turn.sets}):
            continue
        yield (
            finished,
            tuple(
                (n, (*past, ("", turn.sets[n])) if n in turn.sets and past[-1] != ("", turn.sets[n]) else past)
                for n, past in state[1]
            ),
        )


def shortest_by_brute_force(built: Plan, history: DoneWork, undone: set[str]) -> int | None:
    """The length of a shortest rework plan, by brute force; ``None`` if there is no plan."""
    dependents: dict[str, set[str]] = {name: set() for name in history.finished}
    for late, name in enumerate(history.finished):
        for early in history.finished[:late]:
            before, after = built.steps[early], built.steps[name]
            needed = any(v in before.sets and before.sets[v] in ok for v, ok in after.needs.items())
            if early in after.after or needed:
                dependents[early].add(name)
    keep = [name for name in history.finished if name not in undone]
    start: PartlyUndone = (
        tuple(name for name in history.finished if name in undone),
        tuple((n, tuple((w.step, w.value) for w in past)) for n, past in history.writes.items()),
    )
    assert not any(dependents[name] & set(keep) for name in undone)
    distance = {start: 0}
    queue = deque([start])
    while queue:
        state = queue.popleft()
        if not state[0]:
            return distance[state]
        if len(distance) > 4000:
            raise OverflowError
        for then in next_states(built, state, dependents):
            if then not in distance:
                distance[then] = distance[state] + 1
                queue.append(then)
    return None


@settings(max_examples=examples(120), deadline=None)
@given(random_procedures(most_operations=6, most_variables=3, with_undo=True), st.data())
def test_rework_plan_is_safe_and_as_short_as_brute_force_finds(procedure: Procedure, data: st.DataObject) -> None:
    built = data.draw(st.sampled_from(plans_of(procedure)))
    start = data.draw(st.sampled_from(list(brute_force.starts(procedure))))
    place = (frozenset[str](), brute_force.value_pairs(start))
    actions: list[str] = []
    for _ in range(10):
        choices = list(brute_force.allowed_actions(built, place))
        if not choices:
            break
        action, place = data.draw(st.sampled_from(choices))
        actions.append(action[1])
    history = work_done(built, dict(start), *actions)
    if not history.finished:
        return
    assert dict(place[1]) == history.valuation
    goal = data.draw(st.sampled_from(history.finished))
    found = plan_rework(built, history, goal)
    if isinstance(found, NoRework) and any(isinstance(reason, NoUndo) for reason in found.reasons):
        assert all(built.steps[str(named_step(reason))].operation.undo is None for reason in found.reasons)
        return
    undone = set(found.redo) if isinstance(found, ReworkPlan) else with_dependents_by_brute_force(built, history, goal)
    try:
        shortest = shortest_by_brute_force(built, history, undone)
    except OverflowError:
        return
    if shortest is None:
        assert isinstance(found, NoRework)
        assert found.reasons
        assert not any(isinstance(reason, SearchLimitReached) for reason in found.reasons)
        return
    assert isinstance(found, ReworkPlan)
    assert len(found.steps) == shortest
    assert found.shortest
    assert_each_undo_is_allowed(built, history, found)


def with_dependents_by_brute_force(built: Plan, history: DoneWork, goal: str) -> set[str]:
    undone = {goal}
    for late, name in enumerate(history.finished):
        for early in history.finished[:late]:
            before, after = built.steps[early], built.steps[name]
            needed = any(v in before.sets and before.sets[v] in ok for v, ok in after.needs.items())
            if early in undone and (early in after.after or needed):
                undone.add(name)
    return undone


def assert_each_undo_is_allowed(built: Plan, history: DoneWork, found: ReworkPlan) -> None:
    """Check that each step is allowed when its turn comes, with the function that the controller uses."""
    moves = {each.id: each for each in built.procedure.moves}
    for rework_step in found.steps:
        if isinstance(rework_step, UndoOperation):
            assert undo_reasons(built, history, rework_step.operation) == ()
            undo_sets = built.steps[rework_step.operation].undo_sets
            history = DoneWork(
                tuple(name for name in history.finished if name != rework_step.operation),
                {
                    n: tuple(w for w in past if w.step != rework_step.operation)
                    + ((StateWrite("", undo_sets[n]),) if n in undo_sets else ())
                    for n, past in history.writes.items()
                },
            )
        else:
            sets = moves[rework_step.move].sets
            history = DoneWork(
                history.finished,
                {n: (*past, StateWrite("", sets[n])) if n in sets else past for n, past in history.writes.items()},
            )
    assert not set(found.redo) & set(history.finished)


def test_rework_step_reads_back_from_its_log_record() -> None:
    assert rework_step_record(UndoOperation("seat-cam")) == {"operation": "seat-cam"}
    assert rework_step_record(MakeMove("turn-down")) == {"move": "turn-down"}
    for step_ in (UndoOperation("seat-cam"), MakeMove("turn-down")):
        assert read_rework_step(rework_step_record(step_)) == step_


@pytest.mark.parametrize("record", [{}, {"operation": "a", "move": "b"}, {"step": "a"}])
def test_rework_record_must_have_exactly_one_known_key(record: dict[str, str]) -> None:
    with pytest.raises(msgspec.ValidationError):
        read_rework_step(record)
