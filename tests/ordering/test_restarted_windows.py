"""Time windows whose clocks are started again, or that count only in a state: against z3, and case by case."""

from collections import Counter
from random import Random

import pytest
from msgspec.structs import replace

from benchflow.ordering.latest_start import latest_starts
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.window_feasibility import (
    WindowConflict,
    WindowsKept,
    WindowsUndecided,
    check_windows,
    order_is_possible,
)
from benchflow.ordering.work_meter import unlimited
from benchflow.procedure.model import Move, Ref
from benchflow.procedure.plan import Plan, Step, TimeWindow
from benchflow.procedure.waits_as_needs import with_waits_as_needs
from tests.ordering.plans import plan, step, variable, within
from tests.ordering.random_plans import examples
from tests.ordering.windows_by_z3 import windows_can_be_kept

NO_PAUSE = {"hands": "full"}
HANDS = variable("hands", "free", "full")
VACUUM = variable("vacuum", "off", "on")


def restarting(one: Step, *names: str) -> Step:
    return replace(one, restarts=names, after=tuple(dict.fromkeys((*one.after, *names))))


def result(built: Plan) -> WindowConflict | WindowsKept | WindowsUndecided:
    return check_windows(built, PartialOrder(built), 0)


# --- against z3 --------------------------------------------------------------------------------------------


def random_steps(random: Random, *, states: bool) -> list[Step]:
    """Up to six steps that cannot be paused, with windows, restarts and, with ``states``, settings of the vacuum."""
    built: list[Step] = []
    for number in range(random.randint(3, 6)):
        earlier = [each.id for each in built]
        after = [name for name in earlier if random.random() < 0.25]
        windows = []
        for name in random.sample(earlier, min(len(earlier), random.choice([0, 1, 1, 2]))):
            low = random.choice([None, None, 3.0, 6.0])
            high = random.choice([None, 2.0, 5.0, 9.0])
            if high is not None and low is not None and high < low:
                high = low + 2
            while_ = {"vacuum": ("on",)} if states and low is not None and random.random() < 0.7 else {}
            if low is not None or high is not None:
                windows.append(replace(within(name, high, wait=low), while_=while_))
        sets = {"vacuum": random.choice(["on", "off"])} if states and random.random() < 0.5 else {}
        takes = random.choice([0.0, 1.0, 4.0])
        one = step(f"s{number}", *after, during=NO_PAUSE, sets=sets, time=windows, takes=takes)
        restarts = [name for name in earlier if random.random() < 0.3]
        built.append(restarting(one, *restarts))
    return built


@pytest.mark.parametrize("seed", range(examples(150)))
def test_restarts_agree_with_z3(seed: int) -> None:
    built = plan(*random_steps(Random(seed), states=False), state=[HANDS])
    found = result(built)
    assert not isinstance(found, WindowsUndecided)
    assert isinstance(found, WindowsKept) == windows_can_be_kept(built, {"hands": "free"})


def test_random_plans_are_neither_all_kept_nor_all_in_conflict() -> None:
    plans = [plan(*random_steps(Random(seed), states=False), state=[HANDS]) for seed in range(60)]
    kinds = Counter(type(result(each)).__name__ for each in plans if any(one.restarts for one in each.steps.values()))
    assert min(kinds["WindowsKept"], kinds["WindowConflict"]) >= 5


@pytest.mark.parametrize("seed", range(examples(150)))
def test_states_never_disagree_with_z3(seed: int) -> None:
    """A conflict is one for z3 too. An order that is kept and possible is one for z3 too."""
    built = with_waits_as_needs(plan(*random_steps(Random(seed), states=True), state=[HANDS, VACUUM]))
    start = {"hands": "free", "vacuum": "off"}
    order = PartialOrder(built)
    found = check_windows(built, order, 0)
    if isinstance(found, WindowConflict):
        assert not windows_can_be_kept(built, start)
    elif isinstance(found, WindowsKept) and found.order and order_is_possible(built, order, found, start, unlimited()):
        assert windows_can_be_kept(built, start)


# --- case by case --------------------------------------------------------------------------------------------

LONG = [step("lay"), step("wrap", "lay", takes=900)]


def test_step_that_starts_the_clock_again_keeps_a_window_that_was_too_short() -> None:
    trim = step("trim", "wrap", time=[within("lay", 600)])
    assert isinstance(result(plan(*LONG, trim)), WindowConflict)
    stir = restarting(step("stir", "wrap"), "lay")
    found = result(plan(*LONG, stir, trim))
    assert isinstance(found, WindowsKept)
    assert found.order.index("wrap") < found.order.index("stir") < found.order.index("trim")


def test_step_that_always_starts_it_again_counts_instead() -> None:
    stir = restarting(step("stir"), "lay")
    coat = step("coat", "stir", takes=700)
    trim = step("trim", "coat", time=[within("lay", 600)])
    found = result(plan(step("lay"), stir, coat, trim))
    assert isinstance(found, WindowConflict)


def test_restart_after_the_end_of_the_window_does_not_help() -> None:
    trim = step("trim", "wrap", time=[within("lay", 600)])
    stir = restarting(step("stir", "trim"), "lay")
    assert isinstance(result(plan(*LONG, trim, stir)), WindowConflict)


def test_restart_by_a_move_makes_no_conflict_but_proves_nothing() -> None:
    mix = Move("mix", "Mix", sets={"vacuum": "on"}, restarts=(Ref("lay"),))
    trim = step("trim", "wrap", time=[within("lay", 600)])
    built = plan(*LONG, trim, state=[VACUUM], moves=[mix])
    assert isinstance(result(built), WindowsUndecided)
    kept = step("trim", "wrap", time=[within("lay", 1000)])
    assert isinstance(result(plan(*LONG, kept, state=[VACUUM], moves=[mix])), WindowsKept)


def waiting(low: float, high: float | None = None) -> TimeWindow:
    return replace(within("lay", high, wait=low), while_={"vacuum": ("on",)})


def test_state_that_is_entered_late_is_waited_for() -> None:
    pump = step("pump", "lay", takes=100, sets={"vacuum": "on"})
    trim = step("trim", "pump", time=[waiting(500)])
    close = step("close", "trim", time=[within("pump", 400)])
    built = with_waits_as_needs(plan(step("lay"), pump, trim, close, state=[VACUUM]))
    assert isinstance(result(built), WindowsUndecided), "it is not known that pump enters the state"
    close = step("close", "trim", time=[within("pump", 600)])
    assert isinstance(result(with_waits_as_needs(plan(step("lay"), pump, trim, close, state=[VACUUM]))), WindowsKept)


def test_wait_needs_its_state() -> None:
    trim = step("trim", time=[waiting(500)])
    built = with_waits_as_needs(plan(step("lay"), trim, state=[VACUUM]))
    assert built.steps["trim"].needs == {"vacuum": ("on",)}
    contrary = step("trim", time=[waiting(500)], needs={"vacuum": "off"})
    assert with_waits_as_needs(plan(step("lay"), contrary, state=[VACUUM])).steps["trim"].needs == {"vacuum": ()}


def test_latest_start_leaves_out_a_clock_that_will_be_started_again() -> None:
    stir = restarting(step("stir"), "lay")
    trim = step("trim", "stir", time=[within("lay", 600)])
    built = plan(step("lay"), stir, trim)
    assert latest_starts(built, {"lay"}, 0.0, lambda window: -500.0) == {}
    assert latest_starts(built, {"lay", "stir"}, 0.0, lambda window: -100.0) == {"trim": 500.0}
