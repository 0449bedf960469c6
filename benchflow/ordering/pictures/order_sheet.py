"""The content of a printed order sheet: a build in one safe order, with the reason for each line.

The order follows the author's as closely as the interlock allows. Moves are inserted where a state requires one. Every
step is checked by the interlock from the given start, so the order is safe from that start only.
"""

from collections.abc import Callable, Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.plaintext import sentence
from benchflow.ordering.actions import DoOperation, MakeMove, RouteStep
from benchflow.ordering.configuration import Configuration, Valuation
from benchflow.ordering.interlock import (
    action_reasons,
    after_action,
    forbidden,
    moves_of,
    reason_text,
    step_reasons,
)
from benchflow.ordering.pictures.order_graph import reduced_after
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.window_feasibility import WindowsKept, check_windows
from benchflow.ordering.route import NoRoute, SafeRoute, route
from benchflow.ordering.state_machine import bits
from benchflow.ordering.time_network import Between, Point, bounds_in_order, contradicts, with_points_of
from benchflow.ordering.wording import all_of, in_a_sentence, one_of, step_title, variable_title, variable_value_text
from benchflow.ordering.work_meter import WORK_PER_CONFIGURATION, WorkMeter
from benchflow.procedure.expand import resolve
from benchflow.procedure.model import Settings, Values
from benchflow.procedure.plan import Plan, TimeWindow

_MOST_WORK = 10_000_000
"""Units of work after which the search for a safe order ends."""


class NeededState(Struct, frozen=True):
    """A state that a line of the sheet needs, as text. ``since`` is the turn that set it; ``None`` is the start."""

    words: str
    since: int | None


class SheetWindow(Struct, frozen=True):
    """A time window of an operation.

    ``text`` is the author's text. The window counts from the end of turn ``since``: of the operation that it names, or
    of what starts its clock again. ``holds_back`` is true if the operation must not start before the window opens.
    ``closes`` is true if it must be finished before the end of the window. The lower end counts only in the ``state``,
    which begins with turn ``state_since``; ``None`` for a state that is there at the start.
    """

    text: str
    since: int
    holds_back: bool
    closes: bool
    state: str = ""
    state_since: int | None = None


class OperationTurn(Struct, frozen=True, tag="operation"):
    """One operation on the sheet. ``turn`` counts from 1.

    ``after`` are the turns that it waits for, without those that others imply. ``hazards`` are the texts of the rules
    that name a value set by the operation.
    """

    turn: int
    step: str
    after: tuple[int, ...]
    states: tuple[NeededState, ...]
    times: tuple[SheetWindow, ...]
    hazards: tuple[str, ...]


class MoveTurn(Struct, frozen=True, tag="move"):
    """A move inserted for the operation at turn ``before``. ``lifts`` are the reasons that blocked that operation."""

    turn: int
    move: str
    before: int
    lifts: tuple[str, ...]
    states: tuple[NeededState, ...]


class OrderSheet(Struct, frozen=True):
    """A build in one safe order.

    ``begin`` are the start values of the state as text. ``asked`` are those that the procedure asks for. ``time_kept``
    is false if some time window cannot be kept in this order, however fast the builder works.
    """

    plan: Plan
    start: Valuation
    begin: tuple[str, ...]
    asked: tuple[str, ...]
    turns: tuple[OperationTurn | MoveTurn, ...]
    time_kept: bool


class NoSafeOrder(Struct, frozen=True):
    """The result if no safe order was found from this start. ``reasons`` are why no step can follow ``done``.

    ``done`` holds ids of operations and moves. ``certain`` is false if the search reached its limit.
    """

    reasons: tuple[str, ...]
    done: tuple[str, ...]
    certain: bool = True


def lay_out(plan: Plan, start: Valuation, progress: Callable[[int], None] | None = None) -> OrderSheet | NoSafeOrder:
    """One safe order of the whole build from ``start``, which gives a value to every variable.

    ``progress`` is called now and then with about the number of configurations searched.
    """
    rules = forbidden(plan, start)
    if rules:
        because = tuple(plan.procedure.interference[rule].because for rule in rules)
        return NoSafeOrder(tuple(f"A rule forbids this start. {sentence(reason)}" for reason in because), ())
    order = PartialOrder(plan)
    if order.cycles:
        cycle = all_of(f"“{step_title(plan, order.steps[step])}”" for step in order.cycles[0])
        return NoSafeOrder((f"{cycle} wait for each other in a cycle",), ())
    work = WorkMeter(_MOST_WORK, tell=None if progress is None else lambda: progress(_configurations(work)))
    found = _safe_order(plan, start, order, work.part(_MOST_WORK // 2))
    if isinstance(found, NoSafeOrder):
        return found
    kept = _time_kept(plan, found)
    if not kept:
        in_time = _safe_order_in_time(plan, start, order, work)
        if in_time is not None:
            found, kept = in_time, True
    begin = {name: _state_phrase(plan, name, (value,)) for name, value in start.items() if value is not None}
    asked = {variable.name for variable in plan.procedure.state if variable.start is None}
    return OrderSheet(
        plan,
        dict(start),
        tuple(begin.values()),
        tuple(words for name, words in begin.items() if name in asked),
        tuple(_turns(plan, start, order, found)),
        kept,
    )


# --- the order --------------------------------------------------------------------------------------


def _configurations(work: WorkMeter) -> int:
    return work.spent // WORK_PER_CONFIGURATION


def _safe_order(
    plan: Plan, start: Valuation, order: PartialOrder, work: WorkMeter
) -> tuple[RouteStep, ...] | NoSafeOrder:
    """A safe order as close to the author's as possible. If that leads to a dead end, any safe order."""
    configuration = Configuration(frozenset(), dict(start))
    walked: list[RouteStep] = []
    left = sorted(plan.steps, key=lambda name: order.rank[order.index[name]])
    while left:
        steps = _next_actions(plan, configuration, left, work)
        if not steps:
            found = _any_order(plan, start, order, work)
            if isinstance(found, NoRoute):
                return _no_safe_order(plan, configuration, left, walked, certain=found.certain)
            return found
        for action in steps:
            configuration = _advance(plan, configuration, action)
        walked += steps
        left = [name for name in left if name not in configuration.done]
    return tuple(walked)


def _next_actions(
    plan: Plan, configuration: Configuration, left: Sequence[str], work: WorkMeter
) -> tuple[RouteStep, ...]:
    """The route to the first step that can be reached; empty if there is none."""
    for name in left:
        if any(earlier not in configuration.done for earlier in plan.steps[name].after):
            continue
        if not step_reasons(plan, configuration, name):
            return (DoOperation(name),)
        found = route(plan, configuration, name, work=work.part(work.left // 4))
        if isinstance(found, SafeRoute):
            return found.steps
    return ()


def _any_order(plan: Plan, start: Valuation, order: PartialOrder, work: WorkMeter) -> tuple[RouteStep, ...] | NoRoute:
    """A route to an extra last step that comes after all others; the extra step is dropped."""
    last = plan.steps[order.steps[-1]]
    end = replace(last, id="\0end", after=tuple(plan.steps), needs={}, during={}, sets={}, time=())
    whole = replace(plan, steps={**plan.steps, end.id: end})
    found = route(whole, Configuration(frozenset(), dict(start)), end.id, work=work)
    return found.steps[:-1] if isinstance(found, SafeRoute) else found


def _no_safe_order(
    plan: Plan, configuration: Configuration, left: Sequence[str], walked: Sequence[RouteStep], *, certain: bool
) -> NoSafeOrder:
    """The reasons why no further step is possible after the steps in ``walked``."""
    ready = [name for name in left if all(earlier in configuration.done for earlier in plan.steps[name].after)]
    reasons = [
        f"“{step_title(plan, name)}” is blocked. {reason_text(plan, reason)}"
        for name in ready
        for reason in step_reasons(plan, configuration, name)
    ]
    return NoSafeOrder(tuple(dict.fromkeys(reasons)), tuple(action.id for action in walked), certain)


def _advance(plan: Plan, configuration: Configuration, action: RouteStep) -> Configuration:
    # Check against the interlock again, because nothing checks a printed sheet at the bench.
    assert not action_reasons(plan, configuration, action)
    return after_action(plan, configuration, action)


# --- time -------------------------------------------------------------------------------------------


def _time_kept(plan: Plan, walked: Sequence[RouteStep]) -> bool:
    """True if all windows can be kept in this order, with each operation done in its minimum time."""
    done = [action.operation for action in walked if isinstance(action, DoOperation)]
    points = [(name, event) for name in done for event in "bf"]
    network = list(_time_bounds(plan, done))
    return not contradicts(with_points_of(points, network), network)


def _time_bounds(plan: Plan, done: Sequence[str]) -> Iterator[Between]:
    place: dict[Point, int] = {
        (name, event): 2 * number + (event == "f") for number, name in enumerate(done) for event in "bf"
    }
    for earlier, name in zip([None, *done], done, strict=False):
        step = plan.steps[name]
        if earlier is not None:
            yield Between((earlier, "f"), (name, "b"), least=0.0)
        yield Between((name, "b"), (name, "f"), least=step.takes)
        for window in step.time:
            restarts = plan.restarters.get(window.operation, ())
            yield from bounds_in_order(window.operation, name, window, place, restarts)


def _safe_order_in_time(
    plan: Plan, start: Valuation, order: PartialOrder, work: WorkMeter
) -> tuple[RouteStep, ...] | None:
    """A safe order that keeps the time windows. The steps in windows are in an order that the proof found."""
    kept = check_windows(plan, order, 0, work.part(work.left // 2))
    if not isinstance(kept, WindowsKept) or not kept.order:
        return None
    relevant = sum(1 << order.index[name] for name in kept.order)
    others = [name for name in order.steps if not relevant >> order.index[name] & 1]
    later = [name for name in others if order.before[order.index[name]] & relevant]
    steps = dict(plan.steps)
    before = tuple(name for name in others if name not in later)
    for name in kept.order:
        steps[name] = replace(steps[name], after=(*steps[name].after, *before))
        before = (name,)
    for name in later:
        steps[name] = replace(steps[name], after=(*steps[name].after, *before))
    chained = replace(plan, steps=steps)
    found = _safe_order(chained, start, PartialOrder(chained), work)
    return found if isinstance(found, tuple) and _time_kept(plan, found) else None


# --- the reasons ------------------------------------------------------------------------------------


def _turns(
    plan: Plan, start: Valuation, order: PartialOrder, walked: Sequence[RouteStep]
) -> Iterator[OperationTurn | MoveTurn]:
    configuration = Configuration(frozenset(), dict(start))
    reduced = reduced_after(order.after, order.before, order.blocked)
    turn_of = {action.operation: turn for turn, action in enumerate(walked, 1) if isinstance(action, DoOperation)}
    since: dict[str, int] = {}
    moves = moves_of(plan)
    for turn, action in enumerate(walked, 1):
        if isinstance(action, MakeMove):
            move = moves[action.move]
            goal, before = next((name, later) for name, later in turn_of.items() if later > turn)
            lifts = tuple(reason_text(plan, reason) for reason in step_reasons(plan, configuration, goal))
            yield MoveTurn(turn, action.move, before, lifts, _needed_states(plan, configuration, move.needs, since))
            written = move.sets
        else:
            step = plan.steps[action.operation]
            yield OperationTurn(
                turn,
                action.operation,
                tuple(sorted(turn_of[order.steps[i]] for i in bits(reduced[order.index[action.operation]]))),
                _needed_states(plan, configuration, step.needs, since),
                tuple(_sheet_window(plan, walked[: turn - 1], turn_of[w.operation], w, since) for w in step.time),
                _hazards(plan, step.during, step.sets),
            )
            written = step.sets
        since.update(dict.fromkeys(written, turn))
        configuration = _advance(plan, configuration, action)


def _sheet_window(
    plan: Plan, walked: Sequence[RouteStep], first: int, window: TimeWindow, since: dict[str, int]
) -> SheetWindow:
    """A window of the operation after the turns ``walked``. ``first`` is the turn of what it names."""
    restarts = [turn for turn, action in enumerate(walked, 1) if turn > first and _restarts(plan, action, window)]
    begun = [since[name] for name in window.while_ if name in since]
    state = all_of(_state_phrase(plan, name, values) for name, values in window.while_.items())
    return SheetWindow(
        window.text,
        max([first, *restarts]),
        window.low is not None,
        window.high is not None,
        state,
        max(begun, default=None),
    )


def _restarts(plan: Plan, action: RouteStep, window: TimeWindow) -> bool:
    """True if an operation or a move starts the clock of a window again."""
    if isinstance(action, DoOperation):
        return window.operation in plan.steps[action.operation].restarts
    return any(window.operation in resolve(plan, ref.name) for ref in moves_of(plan)[action.move].restarts)


def _needed_states(
    plan: Plan, configuration: Configuration, needs: Values, since: dict[str, int]
) -> tuple[NeededState, ...]:
    return tuple(
        NeededState(_state_phrase(plan, name, (str(configuration.valuation[name]),)), since.get(name)) for name in needs
    )


def _state_phrase(plan: Plan, name: str, values: Sequence[str]) -> str:
    """The title of a variable and its values, such as ``pistons half way down``."""
    listed = one_of(variable_value_text(plan.procedure, name, value) for value in values)
    return f"{in_a_sentence(variable_title(plan.procedure, name))} {listed}"


def _hazards(plan: Plan, *written: Settings) -> tuple[str, ...]:
    """One text per rule, such as ``valves open: never with pistons at the deck. An open valve would reach them``."""
    found = []
    for rule in plan.procedure.interference:
        brought = [name for name, values in rule.never.items() if any(each.get(name) in values for each in written)]
        others = [_state_phrase(plan, name, values) for name, values in rule.never.items() if name not in brought]
        if not brought or not others:
            continue
        these = all_of(_state_phrase(plan, name, [v for v in rule.never[name] if v in {w.get(name) for w in written}])
                       for name in brought)  # fmt: skip
        because = f". {rule.because[:1].upper()}{rule.because[1:]}" if rule.because else ""
        found.append(f"{these}: never with {all_of(others)}{because}")
    return tuple(found)
