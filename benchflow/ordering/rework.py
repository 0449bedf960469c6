"""Rework planning: which finished operations to undo, in which safe order, and what to do again.

Undoing an operation also undoes its dependents: every operation finished later that comes after it or needed a value
that it set. Dependents are undone first. The needs of an ``undo`` must be met. While a step is undone, the values of
its ``during`` apply again: the valve opens again when the cam is taken out. No rule may match then or afterwards. A
variable returns to its last write that is not undone, unless the ``undo`` sets it.
"""

from collections.abc import Iterable, Iterator, Mapping
from heapq import heappop, heappush

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.actions import MakeMove, ReworkStep, UndoOperation
from benchflow.ordering.configuration import Configuration, Valuation, matches, unmet
from benchflow.ordering.interlock import (
    Interference,
    NotInThisBuild,
    StateNotMet,
    interferences,
    moves_of,
    reason_text,
)
from benchflow.ordering.wording import step_title
from benchflow.ordering.work_meter import WorkMeter, unlimited
from benchflow.procedure.model import Move
from benchflow.procedure.plan import Plan, Step

DEFAULT_LIMIT = 5_000
"""Number of partly undone states after which the search stops looking for the shortest plan."""


class StateWrite(Struct, frozen=True):
    """A value written by ``step``. ``step`` is empty for a move, for a state set by hand, and for the start value."""

    step: str
    value: str | None


class DoneWork(Struct, frozen=True):
    """The work done so far. ``finished`` is in order of finishing, paused operations last.

    ``writes`` holds, for each variable, the start and every write that was not undone, oldest first. ``only_written``
    names the operations in ``finished`` for which something was written down, and nothing was done to the engine yet:
    they need no ``undo``.
    """

    finished: tuple[str, ...]
    writes: dict[str, tuple[StateWrite, ...]]
    only_written: frozenset[str] = frozenset()

    @property
    def valuation(self) -> Valuation:
        return {name: past[-1].value if past else None for name, past in self.writes.items()}


class ReworkPlan(Struct, frozen=True, tag="rework"):
    """A safe order of undoing. ``discard`` holds kit ids, ``redo`` the steps to do again in the plan's order.

    ``reopened`` names those of ``redo`` that have no undo and are done again because a part of theirs is thrown away.

    ``shortest`` is false if the search reached its limit; the plan is safe anyway.
    """

    steps: tuple[ReworkStep, ...]
    discard: tuple[str, ...]
    redo: tuple[str, ...]
    shortest: bool = True
    reopened: tuple[str, ...] = ()


class NotDone(Struct, frozen=True, tag="not-done"):
    """The operation is not done, so there is nothing to undo."""

    operation: str


class NoUndo(Struct, frozen=True, tag="no-undo"):
    """The procedure has no ``undo`` for the operation."""

    operation: str


class NeededBy(Struct, frozen=True, tag="needed-by"):
    """A dependent is still done: ``by`` comes after ``operation`` or needed a value that it set."""

    operation: str
    by: str


class UndoBlocked(Struct, frozen=True, tag="undo-blocked"):
    """``operation`` cannot be undone now: its ``undo`` needs another state, or a rule would be broken."""

    operation: str
    reason: StateNotMet | Interference


class SearchLimitReached(Struct, frozen=True, tag="search-limit"):
    """No plan was found among the ``searched`` states; there may be one."""

    operation: str
    searched: int


Obstacle = NotDone | NoUndo | NeededBy | UndoBlocked | SearchLimitReached | NotInThisBuild


class NoRework(Struct, frozen=True, tag="no-rework"):
    """There is no safe plan. ``reasons`` is never empty."""

    reasons: tuple[Obstacle, ...]


def plan_rework(
    plan: Plan,
    history: DoneWork,
    step_id: str,
    *,
    also: Iterable[str] = (),
    limit: int = DEFAULT_LIMIT,
    work: WorkMeter | None = None,
) -> ReworkPlan | NoRework:
    """The shortest safe plan that undoes ``step_id`` and its dependents, or every reason why there is none.

    ``also`` names other finished steps that are undone with it, with their dependents. The search ends after ``limit``
    states, or when ``work`` is spent.
    """
    if step_id not in plan.steps:
        return NoRework((NotInThisBuild(step_id),))
    if step_id not in history.finished:
        return NoRework((NotDone(step_id),))
    dependents = dependents_of(plan, history)
    undone = with_dependents(plan, history, (step_id, *also))
    without = tuple(NoUndo(name) for name in plan.steps if name in undone and _lacks_undo(plan, history, name))
    if without:
        return NoRework(without)
    search = _ReworkSearch(plan, history, undone, dependents, unlimited() if work is None else work)
    found = search.run(limit, weight=1)
    if isinstance(found, SearchLimitReached):
        found = search.run(limit, weight=5)
    if isinstance(found, SearchLimitReached):
        return NoRework((SearchLimitReached(step_id, 2 * limit),))
    return found


def undo_reasons(plan: Plan, history: DoneWork, step_id: str) -> tuple[Obstacle, ...]:
    """Every reason why undoing this one step now is not safe; empty if it is."""
    if step_id not in plan.steps:
        return (NotInThisBuild(step_id),)
    if step_id not in history.finished:
        return (NotDone(step_id),)
    obstacles: list[Obstacle] = [NoUndo(step_id)] if _lacks_undo(plan, history, step_id) else []
    obstacles += [NeededBy(step_id, by) for by in dependents_of(plan, history)[step_id]]
    after = _undone(plan, history, step_id).valuation
    done = frozenset(history.finished)
    return (*obstacles, *_undo_obstacles(plan, plan.steps[step_id], done, history.valuation, after))


def dependents_of(plan: Plan, history: DoneWork) -> dict[str, tuple[str, ...]]:
    """The direct dependents of each finished step: finished steps that come after it or needed a value that it set."""
    dependents: dict[str, list[str]] = {name: [] for name in history.finished}
    setters: dict[str, list[Step]] = {}
    for name in history.finished:
        step = plan.steps[name]
        earlier = dict.fromkeys(other for other in step.after if other in dependents)
        for variable, wanted in step.needs.items():
            earlier.update(dict.fromkeys(s.id for s in setters.get(variable, ()) if s.sets[variable] in wanted))
        for other in earlier:
            dependents[other].append(name)
        for variable in step.sets:
            setters.setdefault(variable, []).append(step)
    return {name: tuple(others) for name, others in dependents.items()}


def obstacle_text(plan: Plan, reason: Obstacle) -> str:
    """A message for the bench, without a full stop."""
    match reason:
        case NotDone(operation):
            return f"“{step_title(plan, operation)}” is not done, so it needs no rework"
        case NoUndo(operation):
            return f"The procedure does not say how to undo “{step_title(plan, operation)}”"
        case NeededBy(operation, by):
            return f"Undo “{step_title(plan, by)}” before “{step_title(plan, operation)}”"
        case UndoBlocked(operation, blocked):
            return f"“{step_title(plan, operation)}” cannot be undone now. {reason_text(plan, blocked)}"
        case SearchLimitReached(operation, searched):
            title = step_title(plan, operation)
            return f"No safe order to undo “{title}” was found. The search stopped after {searched} states"
        case NotInThisBuild():
            return reason_text(plan, reason)


def named_step(reason: Obstacle) -> str | None:
    """The step that the reason names, if any."""
    return None if isinstance(reason, NotInThisBuild) else reason.operation


# --- one step ---------------------------------------------------------------------------------------


def _lacks_undo(plan: Plan, history: DoneWork, step_id: str) -> bool:
    return plan.steps[step_id].operation.undo is None and step_id not in history.only_written


def _undone(plan: Plan, history: DoneWork, step_id: str) -> DoneWork:
    """The work that is still done after one step was undone."""
    writes = {name: tuple(write for write in past if write.step != step_id) for name, past in history.writes.items()}
    for name, value in plan.steps[step_id].undo_sets.items():
        writes[name] = (*writes.get(name, ()), StateWrite("", value))
    return replace(history, finished=tuple(name for name in history.finished if name != step_id), writes=writes)


def work_after(plan: Plan, history: DoneWork, steps: Iterable[ReworkStep]) -> DoneWork:
    """The work that is still done after the steps of a rework."""
    moves = plan.procedure.moves_by_id
    for action in steps:
        if isinstance(action, UndoOperation):
            history = _undone(plan, history, action.operation)
            continue
        sets = moves[action.move].sets
        written = {name: (*history.writes.get(name, ()), StateWrite("", value)) for name, value in sets.items()}
        history = replace(history, writes={**history.writes, **written})
    return history


def _undo_obstacles(
    plan: Plan, step: Step, done: frozenset[str], now: Valuation, after: Valuation
) -> Iterator[UndoBlocked]:
    for name, wanted in unmet(now, step.undo_needs).items():
        yield UndoBlocked(step.id, StateNotMet(name, now.get(name), wanted))
    lost = {name: None for name, value in after.items() if value is None}
    written = {n: value for n, value in after.items() if value is not None and value != now.get(n)}
    here = Configuration(done, now)
    meanwhile = interferences(plan, here, (("during", step.during),))
    afterwards = interferences(plan, Configuration(done, {**now, **lost}), (("done", written),))
    for reason in (*meanwhile, *afterwards):
        yield UndoBlocked(step.id, reason)


def with_dependents(plan: Plan, history: DoneWork, step_ids: Iterable[str]) -> set[str]:
    """``step_ids`` and their dependents, direct and indirect. Steps that are not finished are left out."""
    dependents = dependents_of(plan, history)
    return {name for step_id in step_ids if step_id in dependents for name in _closure(dependents, step_id)}


def _closure(dependents: dict[str, tuple[str, ...]], step_id: str) -> set[str]:
    found = {step_id}
    todo = [step_id]
    while todo:
        for other in dependents[todo.pop()]:
            if other not in found:
                found.add(other)
                todo.append(other)
    return found


# --- the search -------------------------------------------------------------------------------------

_State = tuple[int, tuple[tuple[str, str | None], ...]]
"""The steps undone (bit mask), and the values that moves and undos have written since, by variable."""


class _ReworkSearch:
    """An A* search over partly undone states. Every step has to be undone, so plans differ only in their moves."""

    def __init__(
        self,
        plan: Plan,
        history: DoneWork,
        undone: set[str],
        dependents: dict[str, tuple[str, ...]],
        work: WorkMeter,
    ) -> None:
        self._work = work
        self._plan = plan
        self._history = history
        # Try the step that was finished last first: the usual plan is the build in reverse.
        self._steps = [plan.steps[name] for name in reversed(history.finished) if name in undone]
        number = {step.id: index for index, step in enumerate(self._steps)}
        self._first = [sum(1 << number[other] for other in dependents[step.id]) for step in self._steps]
        self._all = (1 << len(self._steps)) - 1
        self._moves = list(moves_of(plan).values())
        self._past = {
            name: [(1 << number[w.step] if w.step in number else 0, w.value) for w in reversed(past)]
            for name, past in history.writes.items()
        }
        self._watched = self._watched_variables()
        self._safe: dict[tuple[str | None, ...], bool] = {}

    def run(self, limit: int, *, weight: int) -> ReworkPlan | NoRework | SearchLimitReached:
        start, path = self._undo_early((0, ()))
        cost = {start: len(path)}
        came_from: dict[_State, tuple[_State | None, tuple[int, ...]]] = {start: (None, path)}
        heap = [(len(path) + weight * self._steps_left(start), self._steps_left(start), 0, start)]
        closed: set[_State] = set()
        count, farthest = 0, start
        while heap:
            _, left, _, state = heappop(heap)
            if state in closed:
                continue
            if not left:
                return self._rework_plan(came_from, state, shortest=weight == 1)
            closed.add(state)
            if len(closed) > limit or not self._work.spend(4 * (len(self._steps) + len(self._moves))):
                return SearchLimitReached(self._steps[-1].id, len(closed))
            if left < self._steps_left(farthest):
                farthest = state
            for action, then in self._next_states(state):
                after, early = self._undo_early(then)
                so_far = cost[state] + 1 + len(early)
                if so_far < cost.get(after, so_far + 1):
                    cost[after] = so_far
                    closed.discard(after)
                    came_from[after] = (state, (action, *early))
                    count -= 1  # of equal entries, the latest comes first
                    heappush(heap, (so_far + weight * self._steps_left(after), self._steps_left(after), count, after))
        return self._no_rework(farthest)

    def _steps_left(self, state: _State) -> int:
        return (self._all & ~state[0]).bit_count()

    def _next_states(self, state: _State) -> Iterator[tuple[int, _State]]:
        """The next (action, state). An action is the index of a step, or ``~index`` of a move."""
        now = self._valuation(state)
        for index in range(len(self._steps)):
            then = self._undo(state, now, index)
            if then is not None:
                yield index, then
        for number, move in enumerate(self._moves):
            then = self._after_move(state, now, move)
            if then != state:
                yield ~number, then

    def _undo(self, state: _State, now: Valuation, index: int) -> _State | None:
        undone, since = state
        step = self._steps[index]
        if undone >> index & 1 or self._first[index] & ~undone or unmet(now, step.undo_needs):
            return None
        if not self._is_safe({**now, **step.during}):
            return None
        then = (undone | 1 << index, _overwritten(since, step.undo_sets))
        return then if self._is_safe(self._valuation(then)) else None

    def _after_move(self, state: _State, now: Valuation, move: Move) -> _State:
        if unmet(now, move.needs) or not self._is_safe({**now, **move.sets}):
            return state
        if move.during and not self._is_safe({**now, **move.during}):
            return state
        if all(now.get(name) == value for name, value in move.sets.items()):
            return state
        return state[0], _overwritten(state[1], move.sets)

    def _undo_early(self, state: _State) -> tuple[_State, tuple[int, ...]]:
        """Undo every allowed step whose writes no rule, undo or move can read again, and return the state.

        Undoing such a step later would not change the rest of the plan.
        """
        path: list[int] = []
        again = True
        while again:
            again = False
            now = self._valuation(state)
            hidden = {name for name, _ in state[1]}
            for index, step in enumerate(self._steps):
                read = {*step.sets} - hidden | {*step.undo_sets}
                if read & self._watched:
                    continue
                then = self._undo(state, now, index)
                if then is not None:
                    state = then
                    path.append(index)
                    again = True
        return state, tuple(path)

    def _valuation(self, state: _State) -> Valuation:
        undone, since = state
        values = {
            name: next((value for mask, value in past if not mask & undone), None) for name, past in self._past.items()
        }
        values.update(since)
        return values

    def _is_safe(self, values: Valuation) -> bool:
        key = tuple(values.values())
        known = self._safe.get(key)
        if known is None:
            known = not any(matches(values, rule.never) for rule in self._plan.procedure.interference)
            self._safe[key] = known
        return known

    def _watched_variables(self) -> set[str]:
        watched = {name for rule in self._plan.procedure.interference for name in rule.never}
        for step in self._steps:
            watched.update(step.undo_needs)
        for move in self._moves:
            watched.update(move.needs)
        return watched

    def _rework_plan(
        self,
        came_from: dict[_State, tuple[_State | None, tuple[int, ...]]],
        state: _State | None,
        *,
        shortest: bool,
    ) -> ReworkPlan:
        actions: list[int] = []
        while state is not None:
            state, taken = came_from[state]
            actions[:0] = taken
        steps = tuple(UndoOperation(self._steps[a].id) if a >= 0 else MakeMove(self._moves[~a].id) for a in actions)
        undone = {step.id for step in self._steps}
        discard = dict.fromkeys(
            part.name
            for action in actions
            if action >= 0 and (undo := self._steps[action].operation.undo)
            for part in undo.discard
        )
        redo = tuple(name for name in self._plan.steps if name in undone)
        return ReworkPlan(steps, tuple(discard), redo, shortest)

    def _no_rework(self, state: _State) -> NoRework:
        undone, since = state
        now = self._valuation(state)
        left = {step.id for index, step in enumerate(self._steps) if not undone >> index & 1}
        gone = {step.id for step in self._steps} - left
        done = frozenset(self._history.finished) - gone
        reasons: list[Obstacle] = []
        for index, step in enumerate(self._steps):
            if step.id in left and not self._first[index] & ~undone:
                after = self._valuation((undone | 1 << index, _overwritten(since, step.undo_sets)))
                reasons += _undo_obstacles(self._plan, step, done, now, after)
        return NoRework(tuple(reasons))


def _overwritten(
    since: tuple[tuple[str, str | None], ...], settings: Mapping[str, str | None]
) -> tuple[tuple[str, str | None], ...]:
    return tuple(sorted({**dict(since), **settings}.items())) if settings else since
