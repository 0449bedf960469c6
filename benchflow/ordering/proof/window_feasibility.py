"""Decides if there is an allowed order that keeps all time windows, with one operation in progress at a time.

Only some steps are relevant. They are done between the start and the end of a window that closes, and they take time or
a window names them. Every other step can be done before or after all of them.

First, the bounds that are valid in every order form one temporal network. If it contradicts itself, no order keeps the
windows. Otherwise orders are tried, each with its own network, until one keeps all windows.
"""

from collections.abc import Iterator, Sequence
from itertools import combinations

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import moves_of
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.route import SafeRoute, route
from benchflow.ordering.state_machine import bits
from benchflow.ordering.time_network import (
    Between,
    Point,
    bounds_in_order,
    bounds_of_window,
    contradicts,
    from_entry,
    until_entry,
    with_points_of,
)
from benchflow.ordering.work_meter import WorkMeter, unlimited
from benchflow.procedure.expand import resolve
from benchflow.procedure.plan import Plan, Step, TimeWindow

_MOST_TRIED = 3_000
_MOST_SUBSETS = 2_000
_WORK_PER_BOUND = 4
"""Units of work for each event or window of a network that is tested."""
_MOST_RELEVANT = 400
"""The largest number of relevant steps for which orders are tried. It limits the depth of the search."""
_MOST_SPLIT = 20
"""The largest number of relevant steps for which pauses are tried too. Each step then has two events."""


class WindowConflict(Struct, frozen=True):
    """Windows that no order can keep together.

    ``windows`` holds (step id, window). ``takes`` are the steps whose minimum durations are part of the conflict. If
    one of the windows is removed, there is no conflict.
    """

    windows: tuple[tuple[str, TimeWindow], ...]
    takes: tuple[str, ...]


class WindowsKept(Struct, frozen=True):
    """An order of the relevant steps in which all windows can be kept."""

    order: tuple[str, ...]


class WindowsUndecided(Struct, frozen=True):
    """The result if there are too many orders to try."""


def check_windows(
    plan: Plan, order: PartialOrder, never: int, work: WorkMeter | None = None
) -> WindowConflict | WindowsKept | WindowsUndecided:
    """Decide whether all time windows of a plan can be kept. The search ends when ``work`` is spent.

    ``order`` is the plan's order with the prerequisites that states imply. Steps in the mask ``never`` are left out.

    What moves do is not known. So it is first assumed that no move starts a clock again, and that each step which sets
    a state of `while` enters it. If that keeps no window, a conflict is only what remains without these assumptions.
    """
    given = unlimited() if work is None else work
    found = _check_problem(_WindowProblem(plan, order, never, given, assume=True))
    if isinstance(found, WindowsKept) or not _has_assumptions(plan):
        return found
    conflict = _check_problem(_WindowProblem(plan, order, never, given, assume=False))
    return conflict if isinstance(conflict, WindowConflict) else WindowsUndecided()


def _has_assumptions(plan: Plan) -> bool:
    """True if a move starts a clock again, or a window has a `while`."""
    return any(move.restarts for move in moves_of(plan).values()) or any(
        window.while_ for step in plan.steps.values() for window in step.time
    )


def _check_problem(problem: "_WindowProblem") -> WindowConflict | WindowsKept | WindowsUndecided:
    plan, order, windows = problem.plan, problem.order, problem.windows
    if not any(window.high is not None for _, window in windows):
        return WindowsKept(())
    if problem.contradicts(windows, problem.takes):
        smallest = _smallest_conflict(problem, windows)
        return WindowConflict(
            tuple((plan.steps[order.steps[step]].id, w) for step, w in smallest),
            _steps_with_needed_duration(problem, smallest),
        )
    found = _OrderTrial(problem, windows, whole=True).run()
    if found is None and len(problem.relevant) > _MOST_SPLIT:
        return WindowsUndecided()
    if found is None:
        # Pausing operations allows more orders, but makes the search larger.
        found = _OrderTrial(problem, windows, whole=False).run()
    if found is None:
        smallest = _irreducible_conflict_of_orders(problem, windows)
        return WindowConflict(
            tuple((order.steps[step], window) for step, window in smallest),
            tuple(order.steps[step] for step in problem.relevant if problem.takes[step]),
        )
    return found


def order_is_possible(
    plan: Plan, order: PartialOrder, kept: WindowsKept, start: dict[str, str], work: WorkMeter
) -> bool:
    """True if the states allow the order that keeps the windows. All other steps are done before or after it."""
    relevant = [order.index[name] for name in kept.order]
    mask = sum(1 << step for step in relevant)
    needed = 0
    for step in relevant:
        needed |= order.before[step]
    steps: dict[str, Step] = {}
    for number, name in enumerate(order.steps):
        if not mask >> number & 1:
            last = () if needed >> number & 1 or not order.before[number] & mask else kept.order[-1:]
            steps[name] = replace(plan.steps[name], after=(*plan.steps[name].after, *last))
    before = tuple(name for name in steps if not order.before[order.index[name]] & mask)
    for name in kept.order:
        steps[name] = replace(plan.steps[name], after=(*plan.steps[name].after, *before))
        before = (name,)
    end = replace(plan.steps[kept.order[-1]], id="\0end", after=tuple(steps), needs={}, during={}, sets={})
    whole = Plan(plan.procedure, plan.options, {**steps, end.id: end})
    return isinstance(route(whole, Configuration(frozenset(), dict(start)), end.id, work=work), SafeRoute)


Windows = Sequence[tuple[int, TimeWindow]]


class _WindowProblem:
    """The problem to solve: the ``relevant`` steps, the minimum seconds that each ``takes``, and the time windows.

    ``restarts`` are the steps that start a clock again, for each step with one; ``enters`` those that may enter the
    state of a window, as far as that is assumed.
    """

    def __init__(self, plan: Plan, order: PartialOrder, never: int, work: WorkMeter, *, assume: bool) -> None:
        self.plan = plan
        self.work = work
        self.order = order
        steps = [plan.steps[name] for name in order.steps]
        by_move = set() if assume else _restarted_by_moves(plan)
        given = [
            (i, replace(w, high=None) if w.operation in by_move else w)
            for i, step in enumerate(steps)
            if not never >> i & 1
            for w in step.time
        ]
        self.restarts = {
            order.index[name]: tuple(order.index[other] for other in others if not never >> order.index[other] & 1)
            for name, others in plan.restarters.items()
        }
        begins = sum({1 << order.index[w.operation] for _, w in given if w.high is not None})
        restart_ends = {1 << r for _, w in given if w.high is not None for r in self.restarts_of(w)}
        ends = sum({1 << i for i, w in given if w.high is not None} | restart_ends)
        later = [0] * len(steps)
        for step, mask in enumerate(order.before):
            for earlier in bits(mask):
                later[earlier] |= 1 << step
        after = before = 0
        for step in bits(begins):
            after |= later[step] | 1 << step
        for step in bits(ends):
            before |= order.before[step] | 1 << step
        span = after & before & ~never
        enters = [tuple(step for step in bits(span) if assume and _may_enter(steps[step], w)) for _, w in given]
        self.windows: Windows = []
        self.enters: dict[int, tuple[int, ...]] = {}
        self._named = 0
        for (i, w), entering in zip(given, enters, strict=True):
            restarting = [r for r in self.restarts_of(w) if span >> r & 1]
            since = order.index[w.operation]
            if span >> i & 1 and (span >> since & 1 or restarting or entering):
                self.windows = [*self.windows, (i, w)]
                self.enters[id(w)] = entering
                self._named |= sum({1 << step for step in (i, since, *restarting, *entering)})
        self.mask = self._named | sum(1 << step for step in bits(span) if steps[step].takes)
        self.later = later
        self.relevant = sorted(bits(self.mask), key=lambda step: order.rank[step])
        self.takes = {step: steps[step].takes for step in self.relevant}
        self.may_pause = {step: not steps[step].during for step in self.relevant}

    def restarts_of(self, window: TimeWindow) -> tuple[int, ...]:
        """The steps that start the clock of a window again."""
        return self.restarts.get(self.order.index[window.operation], ())

    def contradicts(self, windows: Windows, takes: dict[int, float]) -> bool:
        """True if the bounds that are valid in every order contradict each other."""
        points = [(step, event) for step in bits(self._named) for event in "bf"]
        network = [*self._bounds_of_every_order(takes), *self._window_bounds_of_every_order(windows)]
        return contradicts(with_points_of(points, network), network)

    def _bounds_of_every_order(self, takes: dict[int, float]) -> Iterator[Between]:
        """Bounds that are valid in every order: the work between the steps that windows name."""
        for step in bits(self._named):
            yield Between((step, "b"), (step, "f"), least=takes[step])
            for earlier in bits(self.order.before[step] & self._named):
                between = self.later[earlier] & self.order.before[step] & self.mask
                work = sum(takes[other] for other in bits(between))
                yield Between((earlier, "f"), (step, "b"), least=work)

    def _window_bounds_of_every_order(self, windows: Windows) -> Iterator[Between]:
        """The bounds of the windows that are valid in every order, whenever their clocks are started again.

        An upper end counts from the step that starts the clock again as the last one in every order, if there is one.
        """
        for step, window in windows:
            earlier = self.order.index[window.operation]
            possible = [r for r in self.restarts_of(window) if self.mask >> r & 1 and not self.later[step] >> r & 1]
            if not possible:
                yield from bounds_of_window(earlier, step, window)
                continue
            yield from bounds_of_window(earlier, step, replace(window, high=None))
            before = [r for r in possible if self.order.before[step] >> r & 1]
            for restart in before:
                if window.low is not None:
                    yield Between((restart, "f"), (step, "b"), least=window.low)
            last = [r for r in before if all(o == r or self.order.before[r] >> o & 1 for o in possible)]
            if last and window.high is not None:
                yield Between((last[0], "f"), (step, until_entry(window)), most=window.high)


def _restarted_by_moves(plan: Plan) -> set[str]:
    """The steps whose clocks a move of this build can start again."""
    return {one for move in moves_of(plan).values() for ref in move.restarts for one in resolve(plan, ref.name)}


def _may_enter(step: Step, window: TimeWindow) -> bool:
    """True if a step may enter the state in which the lower end of a window counts, by its end or by leaving it."""
    if window.low is None:
        return False
    return any(
        step.sets.get(name) in values or (name in step.during and step.during[name] not in values)
        for name, values in window.while_.items()
    )


def _smallest_conflict(problem: _WindowProblem, windows: Windows) -> Windows:
    """The fewest windows that contradict each other in every order."""
    closing = [each for each in windows if each[1].high is not None]
    tried = 0
    for size in range(1, len(windows) + 1):
        for chosen in combinations(windows, size):
            if not any(each in closing for each in chosen):
                continue
            tried += 1
            if tried > _MOST_SUBSETS or not problem.work.spend(_WORK_PER_BOUND * len(problem.relevant)):
                return _irreducible_conflict(problem, windows)
            if problem.contradicts(chosen, problem.takes):
                return chosen
    return windows


def _irreducible_conflict(problem: _WindowProblem, windows: Windows) -> Windows:
    """Windows that contradict each other, and no longer do if one is removed. Another set may be smaller."""
    kept = list(windows)
    for each in windows:
        rest = [other for other in kept if other is not each]
        if problem.contradicts(rest, problem.takes):
            kept = rest
    return kept


def _irreducible_conflict_of_orders(problem: _WindowProblem, windows: Windows) -> Windows:
    """As :func:`_irreducible_conflict`, but tests each set by trying all orders."""
    kept = list(windows)
    for each in windows:
        rest = [other for other in kept if other is not each]
        if rest and _OrderTrial(problem, rest, whole=False).run() is None:
            kept = rest
    return kept


def _steps_with_needed_duration(problem: _WindowProblem, windows: Windows) -> tuple[str, ...]:
    """The steps whose minimum durations are needed for the contradiction."""
    takes = dict(problem.takes)
    for step in problem.relevant:
        less = {**takes, step: 0.0}
        if takes[step] and problem.contradicts(windows, less):
            takes = less
    return tuple(problem.order.steps[step] for step in problem.relevant if takes[step])


# --- orders, tried one by one -----------------------------------------------------------------------

Event = tuple[int, str]
"""The start ("b") or the finish ("f") of a step."""


class _OrderTrial:
    """Depth-first search over orders of events: a step is started ("b") or finished ("f").

    With ``whole`` every step is finished right after it is started. Otherwise operations may be paused.
    """

    def __init__(self, problem: _WindowProblem, windows: Windows, *, whole: bool) -> None:
        self._problem = problem
        self._windows = windows
        self._whole = whole
        self._tried = 0
        # Steps that close a window are tried first, steps that open one last.
        high = [(step, problem.order.index[w.operation]) for step, w in windows if w.high is not None]
        self._entries = {
            entry
            for step, window in windows
            for entry in (
                (problem.order.index[window.operation], from_entry(window)),
                (step, until_entry(window)),
            )
        }
        self._opens = {since for _, since in high}
        self._closes = {step for step, _ in high}

    def run(self) -> WindowsKept | WindowsUndecided | None:
        """An order that keeps the windows; ``None`` if there is none."""
        if len(self._problem.relevant) > _MOST_RELEVANT:
            return WindowsUndecided()
        found = self._extend([], 0, 0)
        if found is None and (self._tried > _MOST_TRIED or self._problem.work.is_spent):
            return WindowsUndecided()
        return found

    def _extend(self, events: list[Event], started: int, finished: int) -> WindowsKept | None:
        """Complete ``events`` to an order that keeps the windows; ``None`` if that is impossible."""
        problem = self._problem
        if finished == problem.mask:
            return WindowsKept(tuple(problem.order.steps[step] for step, event in events if event == "f"))
        for step, event in self._next_events(started, finished):
            self._tried += 1
            work = _WORK_PER_BOUND * (len(events) + len(self._windows))
            if self._tried > _MOST_TRIED or not problem.work.spend(work):
                return None
            if self._whole:
                then = [*events, (step, "b"), (step, "f")]
                after = started | 1 << step, finished | 1 << step
            elif event == "b":
                then, after = [*events, (step, "b")], (started | 1 << step, finished)
            else:
                then, after = [*events, (step, "f")], (started, finished | 1 << step)
            if not self._contradicts(then):
                found = self._extend(then, *after)
                if found is not None:
                    return found
        return None

    def _next_events(self, started: int, finished: int) -> list[Event]:
        problem = self._problem
        in_progress = started & ~finished
        unsplittable = [step for step in bits(in_progress) if not problem.may_pause[step]]
        if unsplittable:
            return [(unsplittable[0], "f")]  # a step with a `during` cannot be paused
        ready = [
            step
            for step in problem.relevant
            if not started >> step & 1 and not problem.order.before[step] & problem.mask & ~finished
        ]
        ready.sort(key=lambda step: (step in self._opens and step not in self._closes, step not in self._closes))
        return [*((step, "f") for step in bits(in_progress)), *((step, "b") for step in ready)]

    def _contradicts(self, events: list[Event]) -> bool:
        problem = self._problem
        network = list(
            _bounds_without_pauses(events, problem.takes) if self._whole else _bounds_with_pauses(events, problem.takes)
        )
        known = set(events)
        place: dict[Point, int] = {event: number for number, event in enumerate(events)}
        # The time of an entry is known to lie within its step only if the step is finished.
        known_entries = {(step, name) for step, name in self._entries if (step, "f") in known}
        for step, window in self._windows:
            earlier, restarts = problem.order.index[window.operation], problem.restarts_of(window)
            open_restart = any(
                problem.mask >> r & 1 and (r, "f") not in known and not problem.later[step] >> r & 1 for r in restarts
            )
            for bound in bounds_in_order(earlier, step, window, place, restarts):
                first_is_known = bound.first in known or bound.first in known_entries
                if first_is_known and (bound.then in known or bound.then in known_entries):
                    network.append(bound)
                elif first_is_known and bound.most < float("inf") and _is_ahead(bound.then, known) and not open_restart:
                    # The end of the window is still ahead, after all events so far.
                    network.append(Between(bound.first, events[-1], most=bound.most))
            if window.low is not None and (step, "b") in known:
                network += [
                    Between((entering, "f"), (step, "b"), least=window.low)
                    for entering in problem.enters.get(id(window), ())
                    if (entering, "f") in known and place[entering, "f"] < place[step, "b"]
                ]
        return contradicts(with_points_of(events, network), network)


def _is_ahead(point: Point, known: set[Event]) -> bool:
    """True if a point comes after all events so far: the finish of a step, or an entry in a step not started yet."""
    assert isinstance(point, tuple)
    step, event = point
    return event == "f" or (step, "b") not in known


def _bounds_without_pauses(events: Sequence[Event], takes: dict[int, float]) -> Iterator[Between]:
    """Bounds between successive events without pauses, latest first, so that Bellman-Ford needs one pass."""
    for place in range(len(events) - 1, 0, -1):
        step, event = events[place]
        yield Between(events[place - 1], (step, event), least=takes[step] if event == "f" else 0.0)


def _bounds_with_pauses(events: Sequence[Event], takes: dict[int, float]) -> Iterator[Between]:
    """Bounds between events if operations may be paused.

    Between two events there must be time for every operation that starts and finishes between them.
    """
    for place, (step, event) in enumerate(events):
        if place:
            yield Between(events[place - 1], (step, event), least=0.0)
        if event != "b":
            continue
        started = {step}
        work = 0.0
        for other in events[place + 1 :]:
            if other[1] == "b":
                started.add(other[0])
            elif other[0] in started:
                work += takes[other[0]]
                yield Between((step, "b"), other, least=work)
