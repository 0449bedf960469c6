"""Taking work back: what has to come apart, in which safe order, and what must be done again.

With an operation comes back everything done that comes after it, or that needed what it set and was finished
later. What rests on others comes off first. While a step comes apart its ``during`` holds again (the valve
opens again when the cam comes out), its undo's needs must stand, and no rule may match then or afterwards. A
variable goes back to its last write that is not taken back, unless the step's undo says what then stands.
"""

from collections.abc import Iterable, Iterator
from heapq import heappop, heappush

from msgspec import Struct

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
from benchflow.procedure.model import Move, Settings
from benchflow.procedure.plan import Plan, Step

DEFAULT_LIMIT = 5_000
"""Half-way states looked at before the search stops asking for the shortest way."""


class StateWrite(Struct, frozen=True):
    """``step`` is empty for a move, a finding or the start."""

    step: str
    value: str | None


class DoneWork(Struct, frozen=True):
    """``finished`` in order, work set aside half done last; ``writes`` by variable, the start first, only
    those not taken back."""

    finished: tuple[str, ...]
    writes: dict[str, tuple[StateWrite, ...]]

    @property
    def valuation(self) -> Valuation:
        return {name: past[-1].value if past else None for name, past in self.writes.items()}


class ReworkPlan(Struct, frozen=True, tag="take-back"):
    """``discard`` are kit ids, ``redo`` the steps to be done again in the plan's order. ``shortest`` is false
    only where the search was cut off by its limit: the way is safe all the same."""

    steps: tuple[ReworkStep, ...]
    discard: tuple[str, ...]
    redo: tuple[str, ...]
    shortest: bool = True


class NotDone(Struct, frozen=True, tag="not-done"):
    operation: str


class NoUndo(Struct, frozen=True, tag="no-undo"):
    """The procedure does not say how the operation is taken back."""

    operation: str


class NeededBy(Struct, frozen=True, tag="rests-on-it"):
    """``by`` is done and comes after ``operation``, or needed what it set."""

    operation: str
    by: str


class UndoBlocked(Struct, frozen=True, tag="undo-blocked"):
    """Taking ``operation`` back needs another state, or would break a rule."""

    operation: str
    reason: StateNotMet | Interference


class SearchLimitReached(Struct, frozen=True, tag="too-many-ways"):
    """No way was found among the states that were looked at; there may be one."""

    operation: str
    looked_at: int


Obstacle = NotDone | NoUndo | NeededBy | UndoBlocked | SearchLimitReached | NotInThisBuild


class NoRework(Struct, frozen=True, tag="cannot"):
    """``reasons`` is never empty."""

    reasons: tuple[Obstacle, ...]


def plan_rework(plan: Plan, history: DoneWork, step_id: str, *, limit: int = DEFAULT_LIMIT) -> ReworkPlan | NoRework:
    """The shortest safe way to take ``step_id`` and all that rests on it apart, or every reason why not."""
    if step_id not in plan.steps:
        return NoRework((NotInThisBuild(step_id),))
    if step_id not in history.finished:
        return NoRework((NotDone(step_id),))
    resting = dependents_of(plan, history)
    coming = _coming_back(resting, step_id)
    without = tuple(NoUndo(name) for name in plan.steps if name in coming and not _undo_of(plan, name))
    if without:
        return NoRework(without)
    search = _ReworkSearch(plan, history, coming, resting)
    found = search.run(limit, weight=1)
    if isinstance(found, SearchLimitReached):
        found = search.run(limit, weight=5)
    if isinstance(found, SearchLimitReached):
        return NoRework((SearchLimitReached(step_id, 2 * limit),))
    return found


def undo_reasons(plan: Plan, history: DoneWork, step_id: str) -> tuple[Obstacle, ...]:
    """Every reason why taking back this one step now is not safe; empty when it is."""
    if step_id not in plan.steps:
        return (NotInThisBuild(step_id),)
    if step_id not in history.finished:
        return (NotDone(step_id),)
    obstacles: list[Obstacle] = [] if _undo_of(plan, step_id) else [NoUndo(step_id)]
    obstacles += [NeededBy(step_id, by) for by in dependents_of(plan, history)[step_id]]
    after = _undone(plan, history, step_id).valuation
    done = frozenset(history.finished)
    return (*obstacles, *_blocked(plan, plan.steps[step_id], done, history.valuation, after))


def dependents_of(plan: Plan, history: DoneWork) -> dict[str, tuple[str, ...]]:
    """By finished step, the finished steps that come after it or needed what it set, directly."""
    place = {name: index for index, name in enumerate(history.finished)}
    resting: dict[str, list[str]] = {name: [] for name in place}
    setters: dict[str, list[Step]] = {}
    for name in history.finished:
        step = plan.steps[name]
        earlier = dict.fromkeys(other for other in step.after if other in place)
        for variable, wanted in step.needs.items():
            earlier.update(dict.fromkeys(s.id for s in setters.get(variable, ()) if s.sets[variable] in wanted))
        for other in earlier:
            resting[other].append(name)
        for variable in step.sets:
            setters.setdefault(variable, []).append(step)
    return {name: tuple(others) for name, others in resting.items()}


def obstacle_text(plan: Plan, reason: Obstacle) -> str:
    """A sentence for the bench."""
    match reason:
        case NotDone(operation):
            return f"“{step_title(plan, operation)}” is not done: there is nothing to take back"
        case NoUndo(operation):
            return f"The procedure does not say how “{step_title(plan, operation)}” is taken back"
        case NeededBy(operation, by):
            return f"“{step_title(plan, by)}” rests on “{step_title(plan, operation)}” and comes off first"
        case UndoBlocked(operation, why):
            return f"To take back “{step_title(plan, operation)}”: {reason_text(plan, why)}"
        case SearchLimitReached(operation, looked_at):
            return (
                f"No safe way to take back “{step_title(plan, operation)}” was found among"
                f" {looked_at} that were looked at"
            )
        case NotInThisBuild():
            return reason_text(plan, reason)


def named_step(reason: Obstacle) -> str | None:
    """The step that a reason names."""
    return None if isinstance(reason, NotInThisBuild) else reason.operation


# --- one step ---------------------------------------------------------------------------------------


def _undo_of(plan: Plan, step_id: str) -> bool:
    return plan.steps[step_id].operation.undo is not None


def _undone(plan: Plan, history: DoneWork, step_id: str) -> DoneWork:
    """The history with one step taken back."""
    writes = {name: tuple(write for write in past if write.step != step_id) for name, past in history.writes.items()}
    for name, value in plan.steps[step_id].undo_sets.items():
        writes[name] = (*writes.get(name, ()), StateWrite("", value))
    return DoneWork(tuple(name for name in history.finished if name != step_id), writes)


def _blocked(plan: Plan, step: Step, done: frozenset[str], now: Valuation, after: Valuation) -> Iterator[UndoBlocked]:
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
    """``step_ids`` and every finished step that rests on one of them, directly or not."""
    resting = dependents_of(plan, history)
    return {name for step_id in step_ids if step_id in resting for name in _coming_back(resting, step_id)}


def _coming_back(resting: dict[str, tuple[str, ...]], step_id: str) -> set[str]:
    coming = {step_id}
    todo = [step_id]
    while todo:
        for other in resting[todo.pop()]:
            if other not in coming:
                coming.add(other)
                todo.append(other)
    return coming


# --- the search -------------------------------------------------------------------------------------

_State = tuple[int, tuple[tuple[str, str | None], ...]]
"""Steps taken back (mask), and what moves and undos have written since, by variable."""


class _ReworkSearch:
    """A* over half-way states; every step has to come off, so only moves can be saved."""

    def __init__(self, plan: Plan, history: DoneWork, coming: set[str], resting: dict[str, tuple[str, ...]]) -> None:
        self._plan = plan
        self._history = history
        # The last finished is the first to be tried: the plain way back is the way there, backwards.
        self._steps = [plan.steps[name] for name in reversed(history.finished) if name in coming]
        number = {step.id: index for index, step in enumerate(self._steps)}
        self._first = [sum(1 << number[other] for other in resting[step.id]) for step in self._steps]
        self._all = (1 << len(self._steps)) - 1
        self._moves = list(moves_of(plan).values())
        self._past = {
            name: [(1 << number[w.step] if w.step in number else 0, w.value) for w in reversed(past)]
            for name, past in history.writes.items()
        }
        self._matters = self._variables_that_matter()
        self._safe: dict[tuple[str | None, ...], bool] = {}

    def run(self, limit: int, *, weight: int) -> ReworkPlan | NoRework | SearchLimitReached:
        start, path = self._hurry((0, ()))
        cost = {start: len(path)}
        came: dict[_State, tuple[_State | None, tuple[int, ...]]] = {start: (None, path)}
        heap = [(len(path) + weight * self._left(start), self._left(start), 0, start)]
        closed: set[_State] = set()
        count, farthest = 0, start
        while heap:
            _, left, _, state = heappop(heap)
            if state in closed:
                continue
            if not left:
                return self._told(came, state, shortest=weight == 1)
            closed.add(state)
            if len(closed) > limit:
                return SearchLimitReached(self._steps[-1].id, len(closed))
            if left < self._left(farthest):
                farthest = state
            for action, then in self._next(state):
                after, hurried = self._hurry(then)
                so_far = cost[state] + 1 + len(hurried)
                if so_far < cost.get(after, so_far + 1):
                    cost[after] = so_far
                    closed.discard(after)
                    came[after] = (state, (action, *hurried))
                    count -= 1  # the latest first among equals
                    heappush(heap, (so_far + weight * self._left(after), self._left(after), count, after))
        return self._stuck(farthest)

    def _left(self, state: _State) -> int:
        return (self._all & ~state[0]).bit_count()

    def _next(self, state: _State) -> Iterator[tuple[int, _State]]:
        """An action is a step's number here, or ``~number`` of a move."""
        now = self._valuation(state)
        for index in range(len(self._steps)):
            then = self._step_back(state, now, index)
            if then is not None:
                yield index, then
        for number, move in enumerate(self._moves):
            then = self._make(state, now, move)
            if then != state:
                yield ~number, then

    def _step_back(self, state: _State, now: Valuation, index: int) -> _State | None:
        taken, since = state
        step = self._steps[index]
        if taken >> index & 1 or self._first[index] & ~taken or unmet(now, step.undo_needs):
            return None
        if not self._is_safe({**now, **step.during}):
            return None
        then = (taken | 1 << index, _over(since, step.undo_sets))
        return then if self._is_safe(self._valuation(then)) else None

    def _make(self, state: _State, now: Valuation, move: Move) -> _State:
        if unmet(now, move.needs) or not self._is_safe({**now, **move.sets}):
            return state
        if all(now.get(name) == value for name, value in move.sets.items()):
            return state
        return state[0], _over(state[1], move.sets)

    def _hurry(self, state: _State) -> tuple[_State, tuple[int, ...]]:
        """Every step that may come off here and whose writes nothing can ever see again comes off at once:
        whenever it came off later, all the rest would go just the same."""
        path: list[int] = []
        again = True
        while again:
            again = False
            now = self._valuation(state)
            hidden = {name for name, _ in state[1]}
            for index, step in enumerate(self._steps):
                seen = {*step.sets} - hidden | {*step.undo_sets}
                if seen & self._matters:
                    continue
                then = self._step_back(state, now, index)
                if then is not None:
                    state = then
                    path.append(index)
                    again = True
        return state, tuple(path)

    def _valuation(self, state: _State) -> Valuation:
        taken, since = state
        values = {
            name: next((value for mask, value in past if not mask & taken), None) for name, past in self._past.items()
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

    def _variables_that_matter(self) -> set[str]:
        matters = {name for rule in self._plan.procedure.interference for name in rule.never}
        for step in self._steps:
            matters.update(step.undo_needs)
        for move in self._moves:
            matters.update(move.needs)
        return matters

    def _told(
        self,
        came: dict[_State, tuple[_State | None, tuple[int, ...]]],
        state: _State | None,
        *,
        shortest: bool,
    ) -> ReworkPlan:
        actions: list[int] = []
        while state is not None:
            state, taken = came[state]
            actions[:0] = taken
        steps = tuple(UndoOperation(self._steps[a].id) if a >= 0 else MakeMove(self._moves[~a].id) for a in actions)
        coming = {step.id for step in self._steps}
        discard = dict.fromkeys(
            part.name
            for action in actions
            if action >= 0 and (undo := self._steps[action].operation.undo)
            for part in undo.discard
        )
        redo = tuple(name for name in self._plan.steps if name in coming)
        return ReworkPlan(steps, tuple(discard), redo, shortest)

    def _stuck(self, state: _State) -> NoRework:
        taken, since = state
        now = self._valuation(state)
        left = {step.id for index, step in enumerate(self._steps) if not taken >> index & 1}
        gone = {step.id for step in self._steps} - left
        done = frozenset(self._history.finished) - gone
        reasons: list[Obstacle] = []
        for index, step in enumerate(self._steps):
            if step.id in left and not self._first[index] & ~taken:
                after = self._valuation((taken | 1 << index, _over(since, step.undo_sets)))
                reasons += _blocked(self._plan, step, done, now, after)
        return NoRework(tuple(reasons))


def _over(since: tuple[tuple[str, str | None], ...], settings: Settings) -> tuple[tuple[str, str | None], ...]:
    return tuple(sorted({**dict(since), **settings}.items())) if settings else since
