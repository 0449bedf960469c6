"""Completes the path of a group to an order of the whole procedure, and replays it there."""

from collections.abc import Iterator
from itertools import islice, product

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.actions import DoOperation, MakeMove, RouteStep
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import Interference, action_reasons, after_action, forbidden
from benchflow.ordering.proof.plan_analysis import PlanAnalysis
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.route import SafeRoute, route
from benchflow.ordering.work_meter import WorkMeter
from benchflow.procedure.model import Operation
from benchflow.procedure.plan import Plan, Step

_MOST_STARTS = 64


class Witness(Struct, frozen=True):
    """An order that shows a finding. ``start`` gives a value to every variable.

    If a rule is broken, the last action of ``order`` breaks it, and ``rule`` is its index in
    ``Procedure.interference``. ``shortest`` is false if there may be a shorter order.
    """

    start: dict[str, str]
    order: tuple[RouteStep, ...]
    rule: int | None = None
    shortest: bool = True


class FoundPath(Struct, frozen=True):
    """A path in the searched group: step numbers, and ``~number`` for a move.

    ``least`` is a lower bound on the length of an order of the whole procedure that shows the same finding. There may
    be a cheaper path if ``cheapest`` is false.
    """

    start: int
    path: tuple[int, ...]
    least: int
    cheapest: bool = True


def completed_order(
    analysis: PlanAnalysis, view: VariableGroup, found: FoundPath, work: WorkMeter, *, dead: bool
) -> Witness | None:
    """The shortest order of the whole procedure that contains the path, replayed; ``None`` if there is none."""
    forced = _ForcedPath(analysis, view, found, work, dead=dead)
    best: Witness | None = None
    for start in islice(_starts(analysis, view, found, forced.needed), _MOST_STARTS):
        order = forced.order_from(start)
        if order is not None and (best is None or len(order) < len(best.order)):
            witness = _replayed(analysis.plan, start, order, dead=dead)
            best = witness or best
            if best is not None and len(best.order) == found.least:
                break
    return best


class _ForcedPath:
    """A plan in which the steps and moves of the view can only be done along the path, each once.

    A route to the end of this plan is an order of the whole procedure that contains the path.
    """

    def __init__(
        self, analysis: PlanAnalysis, view: VariableGroup, found: FoundPath, work: WorkMeter, *, dead: bool
    ) -> None:
        self._work = work
        plan, paper = analysis.plan, analysis.paper
        machine = view.machine
        path = found.path
        on_path = {view.steps[action] for action in path if action >= 0}
        last = None if dead else path[-1]
        done = on_path if last is None or last < 0 else on_path - {view.steps[last]}
        missing = view.mask & ~sum(1 << number for number in done)
        self._actions: dict[str, RouteStep] = {}
        steps: dict[str, Step] = {}
        renamed: dict[str, str] = {}
        before: tuple[str, ...] = ()
        moves = plan.procedure.moves_by_id
        self.needed = 0
        for place, action in enumerate(path):
            name = f"\0{place}"
            if action >= 0:
                number = view.steps[action]
                self.needed |= paper.before[number]
                original = plan.steps[paper.steps[number]]
                self._actions[name] = DoOperation(original.id)
                renamed[original.id] = name
                after = tuple(other for other in original.after if other not in renamed)
                step = replace(original, id=name, after=(*after, *before))
            else:
                move = moves[machine.moves[~action]]
                self._actions[name] = MakeMove(move.id)
                step = replace(_single_step(name, move.needs, move.sets, before), during=move.during)
            if place == len(path) - 1 and last is not None:
                # The last step breaks the rule, so it is not done. The path ends where it could start.
                step = replace(step, needs={}, during={}, sets={})
            steps[name] = step
            before = (name,)
        for number, (step_id, original) in enumerate(plan.steps.items()):
            if not view.mask >> number & 1 and not paper.before[number] & missing:
                after = tuple(renamed.get(other, other) for other in original.after)
                steps[step_id] = replace(original, after=after)
        free = tuple(move for move in plan.procedure.moves if move.id not in machine.moves)
        steps["\0end"] = _single_step("\0end", {}, {}, before)
        self._plan = Plan(replace(plan.procedure, moves=free), plan.options, steps)

    def order_from(self, start: dict[str, str]) -> tuple[RouteStep, ...] | None:
        found = route(self._plan, Configuration(frozenset(), dict(start)), "\0end", work=self._work)
        if not isinstance(found, SafeRoute):
            return None
        return tuple(self._actions.get(action.id, action) for action in found.steps[:-1])


def _single_step(name: str, needs: dict[str, tuple[str, ...]], sets: dict[str, str], after: tuple[str, ...]) -> Step:
    return Step(name, Operation(name, name, "", 0), None, after, needs, {}, sets, (), 0.0)


def _starts(analysis: PlanAnalysis, view: VariableGroup, found: FoundPath, needed: int) -> Iterator[dict[str, str]]:
    """Start valuations of the whole plan that agree with the start of the path.

    For groups that the path waits for, every start is tried; for the other groups, one start.
    """
    values = {v.name: v.start or v.values[0] for v in analysis.plan.procedure.state}
    values.update(view.machine.known_values(found.start))
    choices = []
    for group in analysis.groups():
        if group.variables[0] in view.variables:
            continue
        starts = group.starts if group.mask & needed else group.starts[:1]
        choices.append([group.machine.known_values(number) for number in starts])
    for chosen in product(*choices):
        yield {**values, **{name: value for one in chosen for name, value in one.items()}}


def _replayed(plan: Plan, start: dict[str, str], order: tuple[RouteStep, ...], *, dead: bool) -> Witness | None:
    """The witness, if replaying the order confirms it; otherwise ``None``.

    Every step must be allowed. For a breach, the last step must break a rule.
    """
    here = Configuration(frozenset(), dict(start))
    if forbidden(plan, here.valuation):
        return None
    for place, action in enumerate(order):
        reasons = action_reasons(plan, here, action)
        if place == len(order) - 1 and not dead:
            broken = [reason.rule for reason in reasons if isinstance(reason, Interference)]
            return Witness(start, order, broken[0]) if broken and len(broken) == len(reasons) else None
        if reasons:
            return None
        here = after_action(plan, here, action)
    return Witness(start, order) if dead else None
