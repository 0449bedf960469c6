"""Time networks, the check of time windows, and the latest starts at the bench."""

import math
from collections.abc import Hashable

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.ordering.latest_start import latest_starts
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.window_feasibility import WindowConflict, WindowsKept, check_windows
from benchflow.ordering.time_network import Between, contradicts, times
from benchflow.procedure.plan import Plan
from tests.ordering.plans import plan, step, within
from tests.ordering.random_plans import examples


def window_result(built: Plan) -> WindowConflict | WindowsKept:
    found = check_windows(built, PartialOrder(built), 0)
    assert isinstance(found, WindowConflict | WindowsKept)
    return found


# --- networks ---------------------------------------------------------------------------------------

BOUNDS = st.tuples(st.integers(-9, 9), st.integers(0, 9)).map(lambda pair: (float(pair[0]), float(sum(pair))))
NETWORKS = st.lists(
    st.builds(lambda a, b, both: Between(a, b, *both), st.integers(0, 4), st.integers(0, 4), BOUNDS), max_size=8
)


@settings(max_examples=examples(100), deadline=None)
@given(NETWORKS)
def test_network_contradicts_itself_exactly_if_its_graph_has_a_negative_cycle(network: list[Between]) -> None:
    graph: networkx.MultiDiGraph[Hashable] = networkx.MultiDiGraph()
    graph.add_nodes_from(range(5))
    for each in network:
        graph.add_edge(each.first, each.then, weight=each.most)
        graph.add_edge(each.then, each.first, weight=-each.least)
    negative = networkx.negative_edge_cycle(graph)
    assert contradicts(range(5), network) == negative
    kept = times(range(5), network)
    assert (kept is None) == negative
    if kept is not None:
        assert all(each.least <= kept[each.then] - kept[each.first] <= each.most for each in network)


# --- procedures -------------------------------------------------------------------------------------


def test_conflict_names_the_work_that_is_longer_than_the_window() -> None:
    built = plan(
        step("sealant"),
        step("dowels", "sealant", takes=400),
        step("gasket", "dowels", takes=300),
        step("unrelated", takes=9000),
        step("head-down", "gasket", time=[within("sealant", 600)]),
    )
    found = window_result(built)
    assert isinstance(found, WindowConflict)
    assert [(name, window.operation) for name, window in found.windows] == [("head-down", "sealant")]
    assert found.takes == ("dowels", "gasket")


def test_wait_contradicts_a_window_through_a_third_operation() -> None:
    built = plan(
        step("prime"),
        step("glue", "prime"),
        step("press", time=[within("glue", 3600)]),
        step("cure", "press", time=[within("prime", None, wait=7200)]),
        step("close", "cure", time=[within("prime", 7000), within("glue", 86400)]),
    )
    found = window_result(built)
    assert isinstance(found, WindowConflict)
    assert {(name, window.operation) for name, window in found.windows} == {("cure", "prime"), ("close", "prime")}


def test_two_operations_too_long_for_one_window_conflict() -> None:
    pair = [step(name, time=[within("mix", 600)], takes=360) for name in ("left", "right")]
    found = window_result(plan(step("mix"), *pair))
    assert isinstance(found, WindowConflict)
    assert {name for name, _ in found.windows} == {"left", "right"}
    assert isinstance(window_result(plan(step("mix"), pair[0])), WindowsKept)


def test_long_work_outside_a_window_does_not_conflict() -> None:
    built = plan(
        step("mix"),
        step("long", takes=9000),
        step("long-after", "mix", takes=9000),
        step("spread", time=[within("mix", 60)], takes=60),
    )
    assert isinstance(window_result(built), WindowsKept)


def test_other_work_can_be_done_during_a_wait_and_can_be_paused() -> None:
    glue = step("glue")
    bond = step("bond", time=[within("glue", 40, wait=30)], takes=10)
    grind = step("grind", time=[within("glue", 70)], takes=60)
    assert isinstance(window_result(plan(glue, bond, grind)), WindowsKept)
    # Grinding that cannot be paused, because of its `during`, fits neither before nor after the bond.
    unpausable = step("grind", time=[within("glue", 70)], takes=60, during={"jig": "on"})
    assert isinstance(window_result(plan(glue, bond, unpausable)), WindowConflict)


# --- against simulated time -------------------------------------------------------------------------


class BenchSimulation:
    """A simulated bench that tries every schedule, minute by minute. It is independent of the code under test.

    An entry that a window counts from or ends with can be made in any minute between the start and the end of its step.
    """

    def __init__(self, built: Plan) -> None:
        self.steps = list(built.steps.values())
        self.horizon = sum(int(s.takes) for s in self.steps) + sum(int(w.low or 0) for s in self.steps for w in s.time)
        self.entries = {(w.operation, w.from_) for s in self.steps for w in s.time if w.from_}
        self.entries |= {(s.id, w.until) for s in self.steps for w in s.time if w.until}
        self.seen: set[tuple[object, ...]] = set()

    def can_finish(self) -> bool:
        return self._can_finish_from(0, {}, {})

    def _can_finish_from(self, now: int, left: dict[str, int], times: dict[tuple[str, str], int]) -> bool:
        """``times`` holds when each step ended (its name is "") and when each entry was made."""
        ended = {name for name, event in times if not event}
        if len(ended) == len(self.steps):
            return True
        key = (now, tuple(sorted(left.items())), tuple(sorted(times.items())))
        if now > self.horizon or key in self.seen:
            return False
        self.seen.add(key)
        for each in self.steps:
            for w in each.time:
                since = times.get((w.operation, w.from_))
                is_over = (each.id, w.until) in times
                if w.high is not None and since is not None and not is_over and now > since + w.high:
                    return False
        missing = [entry for entry in self.entries - {*times} if entry[0] in left and entry[0] not in ended]
        if any(self._can_finish_from(now, left, {**times, entry: now}) for entry in missing):
            return True
        unpausable = [s for s in self.steps if s.id in left and s.id not in ended and s.during]
        for each in unpausable or self.steps:
            if each.id in ended:
                continue
            if each.id not in left:
                ready = all(a in ended for a in each.after) and all(
                    now >= times[w.operation, w.from_] + (w.low or 0) for w in each.time
                )
                if ready and self._can_finish_from(now, {**left, each.id: int(each.takes)}, times):
                    return True
            elif left[each.id] == 0:
                is_complete = all(entry in times for entry in self.entries if entry[0] == each.id)
                if is_complete and self._can_finish_from(now, left, {**times, (each.id, ""): now}):
                    return True
            elif self._can_finish_from(now + 1, {**left, each.id: left[each.id] - 1}, times):
                return True
        return self._can_finish_from(now + 1, left, times)


@st.composite
def timed_plans(draw: st.DrawFn, *, entries: bool = False) -> Plan:
    steps = []
    for number in range(draw(st.integers(2, 4))):
        earlier = [f"s{i}" for i in range(number)]
        after = draw(st.lists(st.sampled_from(earlier), max_size=1)) if earlier else []
        windows = []
        for name in draw(st.lists(st.sampled_from(earlier), max_size=2, unique=True)) if earlier else []:
            low = draw(st.one_of(st.none(), st.integers(0, 3)))
            high = draw(st.one_of(st.none(), st.integers(low or 0, 5)))
            window = within(name, None if high is None else float(high), wait=None if low is None else float(low))
            if entries:
                from_, until = draw(st.sampled_from(["", "", "hot"])), draw(st.sampled_from(["", "", "in"]))
                window = replace(window, from_=from_, until=until if high is not None else "")
            windows.append(window)
        during = {"jig": "on"} if draw(st.integers(0, 3)) == 0 else {}
        steps.append(step(f"s{number}", *after, time=windows, takes=float(draw(st.integers(0, 3))), during=during))
    return plan(*steps)


@settings(max_examples=examples(80), deadline=None)
@given(timed_plans())
def test_windows_conflict_exactly_if_no_schedule_by_the_minute_keeps_them(built: Plan) -> None:
    assert isinstance(window_result(built), WindowsKept) == BenchSimulation(built).can_finish()


@settings(max_examples=examples(80), deadline=None)
@given(timed_plans(entries=True))
def test_windows_with_entries_conflict_exactly_if_no_schedule_keeps_them(built: Plan) -> None:
    assert isinstance(window_result(built), WindowsKept) == BenchSimulation(built).can_finish()


@settings(max_examples=examples(60), deadline=None)
@given(timed_plans())
def test_every_window_of_a_conflict_is_needed_for_it(built: Plan) -> None:
    found = window_result(built)
    if not isinstance(found, WindowConflict):
        return
    for omitted in found.windows:
        kept = [pair for pair in found.windows if pair is not omitted]
        steps = []
        for each in built.steps.values():
            windows = [w for name, w in kept if name == each.id]
            steps.append(step(each.id, *each.after, time=windows, takes=each.takes, during=each.during))
        assert isinstance(window_result(plan(*steps)), WindowsKept)


# --- in a session -----------------------------------------------------------------------------------


def latest_after(built: Plan, done: dict[str, float], now: float) -> dict[str, float]:
    """The latest starts if ``done`` holds when each finished step was finished."""
    return latest_starts(built, done, now, lambda window: done.get(window.operation))


def test_latest_start_leaves_time_for_prerequisites() -> None:
    built = plan(
        step("sealant"),
        step("hoist", "sealant", takes=120),
        step("guide", "hoist", takes=60),
        step("head-down", "guide", time=[within("sealant", 600)], takes=180),
        step("later", "head-down", takes=60),
    )
    found = latest_after(built, {"sealant": 1000.0}, 1100.0)
    assert found == {"hoist": 140.0, "guide": 260.0, "head-down": 320.0}
    assert latest_after(built, {"sealant": 1000.0, "hoist": 1150.0}, 1200.0) == {
        "guide": 160.0,
        "head-down": 220.0,
    }


def test_no_latest_start_without_an_open_window() -> None:
    built = plan(step("a"), step("b", time=[within("a", 60)], takes=10))
    assert latest_after(built, {}, 0.0) == {}
    assert latest_after(built, {"a": 0.0, "b": 20.0}, 30.0) == {}
    assert latest_after(built, {"a": 0.0}, 100.0) == {"b": -50.0}


def test_wait_makes_the_latest_start_earlier() -> None:
    built = plan(
        step("a"),
        step("glue", "a", takes=10),
        step("b", time=[within("glue", None, wait=100), within("a", 300)], takes=20),
    )
    assert latest_after(built, {"a": 0.0}, 0.0) == {"glue": 170.0, "b": 280.0}


def test_two_operations_in_one_window_get_separate_latest_starts() -> None:
    built = plan(
        step("mix"),
        step("left", time=[within("mix", 600)], takes=100),
        step("right", time=[within("mix", 600)], takes=100),
    )
    assert latest_after(built, {"mix": 0.0}, 0.0) == {"left": 400.0, "right": 500.0}


def test_step_that_has_to_start_earlier_moves_the_start_of_its_wait_too() -> None:
    built = plan(
        step("mix"),
        step("glue", takes=10),
        step("left", "glue", time=[within("mix", 600), within("glue", None, wait=100)], takes=50),
        step("right", time=[within("mix", 600)], takes=80),
    )
    assert latest_after(built, {"mix": 0.0}, 0.0) == {"glue": 360.0, "left": 470.0, "right": 520.0}


@settings(max_examples=examples(60), deadline=None)
@given(timed_plans(), st.data())
def test_starting_by_the_latest_starts_keeps_every_open_window(built: Plan, data: st.DataObject) -> None:
    done: dict[str, float] = {}
    for each in built.steps.values():
        if all(name in done for name in each.after) and data.draw(st.booleans()):
            done[each.id] = 0.0
    starts = latest_after(built, done, 0.0)
    clock = -math.inf
    for name in sorted(starts, key=lambda name: (starts[name], built.steps[name].takes, list(built.steps).index(name))):
        each = built.steps[name]
        begin = starts[name]
        assert begin >= clock - 1e-9
        clock = begin + each.takes
        for window in each.time:
            if window.operation in done and window.high is not None:
                assert clock <= done[window.operation] + window.high + 1e-9
            if window.operation in starts and window.low is not None:
                since = starts[window.operation] + built.steps[window.operation].takes
                assert begin >= since + window.low - 1e-9
        for earlier in each.after:
            if earlier not in done:
                assert starts[earlier] + built.steps[earlier].takes <= begin + 1e-9


def test_network_that_contradicts_itself_has_no_times() -> None:
    assert times(["a", "b"], [Between("a", "b", 5, 3)]) is None
    with pytest.raises(KeyError):
        times(["a"], [Between("a", "z", 0, 1)])
