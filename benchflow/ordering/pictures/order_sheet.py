"""A build laid out in one safe order, with the reason for each line: what a printed sheet is made of.

The order follows the author's as closely as the interlock allows; moves are put in where a state asks for one. It
is walked by the interlock's own rules from the start that is given, so it is safe from that start and from no other.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.actions import DoOperation, MakeMove, RouteStep
from benchflow.ordering.configuration import Configuration, Valuation
from benchflow.ordering.interlock import (
    after_move,
    after_step,
    forbidden,
    move_reasons,
    moves_of,
    reason_text,
    step_reasons,
)
from benchflow.ordering.pictures.order_graph import reduced_after
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.window_feasibility import WindowsKept, timing
from benchflow.ordering.route import NoRoute, SafeRoute, route
from benchflow.ordering.state_machine import bits
from benchflow.ordering.time_network import Between, contradicts
from benchflow.ordering.wording import all_of, in_a_sentence, one_of, step_title, value_words, variable_title
from benchflow.procedure.model import Settings, Values
from benchflow.procedure.plan import Plan


class NeededState(Struct, frozen=True):
    """A state that a line needs, in words, and the turn that brought it about: ``None`` is the start."""

    words: str
    since: int | None


class SheetWindow(Struct, frozen=True):
    """A time window: the author's text, and the turn whose end it counts from. ``holds_back`` says that it holds back
    the beginning, ``closes`` that the operation has to be finished by its end."""

    text: str
    since: int
    holds_back: bool
    closes: bool


class SheetOperation(Struct, frozen=True, tag="operation"):
    """An operation's turn, from 1. ``after`` are the turns that it waits for, without what others imply. ``hazards``
    tell the rules of which it brings about a value, in words."""

    turn: int
    step: str
    after: tuple[int, ...]
    states: tuple[NeededState, ...]
    times: tuple[SheetWindow, ...]
    hazards: tuple[str, ...]


class SheetMove(Struct, frozen=True, tag="move"):
    """A move that is put in for the sake of turn ``before``; ``lifts`` says what stood against that."""

    turn: int
    move: str
    before: int
    lifts: tuple[str, ...]
    states: tuple[NeededState, ...]


class OrderSheet(Struct, frozen=True):
    """``begin`` says in words how everything has to stand before the first turn, ``asked`` those of it that the
    procedure asks for. ``time_kept`` is false where the windows cannot all be kept in this order, however quick the
    builder is."""

    plan: Plan
    start: Valuation
    begin: tuple[str, ...]
    asked: tuple[str, ...]
    turns: tuple[SheetOperation | SheetMove, ...]
    time_kept: bool


class NoSafeOrder(Struct, frozen=True):
    """No safe order was found from this start; ``reasons`` say in words what stood against going on after ``done``
    (ids of operations and moves). ``certain`` is false where the search was cut off."""

    reasons: tuple[str, ...]
    done: tuple[str, ...]
    certain: bool = True


def lay_out(plan: Plan, start: Valuation) -> OrderSheet | NoSafeOrder:
    """One safe order of the whole build from ``start`` (every variable)."""
    rules = forbidden(plan, start)
    if rules:
        because = tuple(plan.procedure.interference[rule].because for rule in rules)
        return NoSafeOrder(tuple(f"The start itself is forbidden: {each}" for each in because), ())
    order = PartialOrder(plan)
    if order.circles:
        circle = all_of(f"“{step_title(plan, order.steps[step])}”" for step in order.circles[0])
        return NoSafeOrder((f"{circle} wait for each other in a circle",), ())
    found = _walk(plan, start, order)
    if isinstance(found, NoSafeOrder):
        return found
    kept = _time_kept(plan, found)
    if not kept:
        timely = _walk_in_time(plan, start, order)
        if timely is not None:
            found, kept = timely, True
    begin = {name: _words(plan, name, (value,)) for name, value in start.items() if value is not None}
    asked = {variable.name for variable in plan.procedure.state if variable.start is None}
    return OrderSheet(
        plan,
        dict(start),
        tuple(begin.values()),
        tuple(told for name, told in begin.items() if name in asked),
        tuple(_turns(plan, start, order, found)),
        kept,
    )


# --- the order --------------------------------------------------------------------------------------


def _walk(plan: Plan, start: Valuation, order: PartialOrder) -> tuple[RouteStep, ...] | NoSafeOrder:
    """The author's order, as far as ``after`` and the interlock allow; where that comes to a dead end, any order."""
    configuration = Configuration(frozenset(), dict(start))
    gone: list[RouteStep] = []
    left = sorted(plan.steps, key=lambda name: order.rank[order.index[name]])
    while left:
        way = _next(plan, configuration, left)
        if not way:
            found = _any_order(plan, start, order)
            if isinstance(found, NoRoute):
                return _stuck(plan, configuration, left, gone, certain=found.certain)
            return found
        for go in way:
            configuration = _go(plan, configuration, go)
        gone += way
        left = [name for name in left if name not in configuration.done]
    return tuple(gone)


def _next(plan: Plan, configuration: Configuration, left: Sequence[str]) -> tuple[RouteStep, ...]:
    """The way to the first step that can be reached, or nothing."""
    for name in left:
        if any(earlier not in configuration.done for earlier in plan.steps[name].after):
            continue
        if not step_reasons(plan, configuration, name):
            return (DoOperation(name),)
        found = route(plan, configuration, name)
        if isinstance(found, SafeRoute):
            return found.steps
    return ()


def _any_order(plan: Plan, start: Valuation, order: PartialOrder) -> tuple[RouteStep, ...] | NoRoute:
    """A way to a step that comes after all others, which is then left off."""
    last = plan.steps[order.steps[-1]]
    end = replace(last, id="\0end", after=tuple(plan.steps), needs={}, during={}, sets={}, time=())
    whole = replace(plan, steps={**plan.steps, end.id: end})
    found = route(whole, Configuration(frozenset(), dict(start)), end.id)
    return found.steps[:-1] if isinstance(found, SafeRoute) else found


def _stuck(
    plan: Plan, configuration: Configuration, left: Sequence[str], gone: Sequence[RouteStep], *, certain: bool
) -> NoSafeOrder:
    """What stands against going on from the place that the author's order comes to."""
    ready = [name for name in left if all(earlier in configuration.done for earlier in plan.steps[name].after)]
    reasons = [
        f"“{step_title(plan, name)}”: {reason_text(plan, reason)}"
        for name in ready
        for reason in step_reasons(plan, configuration, name)
    ]
    return NoSafeOrder(tuple(dict.fromkeys(reasons)), tuple(go.id for go in gone), certain)


def _go(plan: Plan, configuration: Configuration, go: RouteStep) -> Configuration:
    # Held against the interlock once more: a sheet is read where no interlock stands by.
    if isinstance(go, DoOperation):
        assert not step_reasons(plan, configuration, go.operation)
        return after_step(plan, configuration, go.operation)
    assert not move_reasons(plan, configuration, go.move)
    return after_move(plan, configuration, go.move)


# --- time -------------------------------------------------------------------------------------------


def _time_kept(plan: Plan, gone: Sequence[RouteStep]) -> bool:
    """Whether the windows can be kept in this order, one operation after the other, each in its least time."""
    done = [go.operation for go in gone if isinstance(go, DoOperation)]
    points = [(name, moment) for name in done for moment in "bf"]
    return not contradicts(points, list(_network(plan, done)))


def _network(plan: Plan, done: Sequence[str]) -> Iterator[Between]:
    for earlier, name in zip([None, *done], done, strict=False):
        step = plan.steps[name]
        if earlier is not None:
            yield Between((earlier, "f"), (name, "b"), least=0.0)
        yield Between((name, "b"), (name, "f"), least=step.takes)
        for window in step.time:
            since = (window.operation, "f")
            if window.low is not None:
                yield Between(since, (name, "b"), least=window.low)
            if window.high is not None:
                yield Between(since, (name, "f"), most=window.high)


def _walk_in_time(plan: Plan, start: Valuation, order: PartialOrder) -> tuple[RouteStep, ...] | None:
    """An order that keeps the windows, made of the one that the proof finds for the steps that matter."""
    kept = timing(plan, order, 0)
    if not isinstance(kept, WindowsKept) or not kept.order:
        return None
    matter = sum(1 << order.index[name] for name in kept.order)
    others = [name for name in order.steps if not matter >> order.index[name] & 1]
    later = [name for name in others if order.before[order.index[name]] & matter]
    steps = dict(plan.steps)
    before = tuple(name for name in others if name not in later)
    for name in kept.order:
        steps[name] = replace(steps[name], after=(*steps[name].after, *before))
        before = (name,)
    for name in later:
        steps[name] = replace(steps[name], after=(*steps[name].after, *before))
    chained = replace(plan, steps=steps)
    found = _walk(chained, start, PartialOrder(chained))
    return found if isinstance(found, tuple) and _time_kept(plan, found) else None


# --- the reasons ------------------------------------------------------------------------------------


def _turns(
    plan: Plan, start: Valuation, order: PartialOrder, gone: Sequence[RouteStep]
) -> Iterator[SheetOperation | SheetMove]:
    configuration = Configuration(frozenset(), dict(start))
    reduced = reduced_after(order.after, order.before, order.held)
    turn_of = {go.operation: turn for turn, go in enumerate(gone, 1) if isinstance(go, DoOperation)}
    since: dict[str, int] = {}
    moves = moves_of(plan)
    for turn, go in enumerate(gone, 1):
        if isinstance(go, MakeMove):
            move = moves[go.move]
            goal, before = next(
                (g.operation, t) for t, g in enumerate(gone, 1) if t > turn and isinstance(g, DoOperation)
            )
            lifts = tuple(reason_text(plan, reason) for reason in step_reasons(plan, configuration, goal))
            yield SheetMove(turn, go.move, before, lifts, _stand(plan, configuration, move.needs, since))
            written = move.sets
        else:
            step = plan.steps[go.operation]
            yield SheetOperation(
                turn,
                go.operation,
                tuple(sorted(turn_of[order.steps[i]] for i in bits(reduced[order.index[go.operation]]))),
                _stand(plan, configuration, step.needs, since),
                tuple(
                    SheetWindow(window.text, turn_of[window.operation], window.low is not None, window.high is not None)
                    for window in step.time
                ),
                _hazards(plan, step.during, step.sets),
            )
            written = step.sets
        since.update(dict.fromkeys(written, turn))
        configuration = _go(plan, configuration, go)


def _stand(
    plan: Plan, configuration: Configuration, needs: Values, since: dict[str, int]
) -> tuple[NeededState, ...]:  # fmt: skip
    return tuple(
        NeededState(_words(plan, name, (str(configuration.valuation[name]),)), since.get(name)) for name in needs
    )  # fmt: skip


def _words(plan: Plan, name: str, values: Sequence[str]) -> str:
    """``pistons half way down``."""
    told = one_of(value_words(plan.procedure, name, value) for value in values)
    return f"{in_a_sentence(variable_title(plan.procedure, name))} {told}"


def _hazards(plan: Plan, *written: Settings) -> tuple[str, ...]:
    """``valves partly open: never with pistons on the mark. An open valve would reach a piston``"""
    found = []
    for rule in plan.procedure.interference:
        brought = [name for name, values in rule.never.items() if any(each.get(name) in values for each in written)]
        others = [_words(plan, name, values) for name, values in rule.never.items() if name not in brought]
        if not brought or not others:
            continue
        these = all_of(_words(plan, name, [v for v in rule.never[name] if v in {w.get(name) for w in written}])
                       for name in brought)  # fmt: skip
        because = f". {rule.because[:1].upper()}{rule.because[1:]}" if rule.because else ""
        found.append(f"{these}: never with {all_of(others)}{because}")
    return tuple(found)
