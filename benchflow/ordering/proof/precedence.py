"""Decides if one operation is done before another in every order, and shows an order in which it is not."""

from functools import cached_property

from msgspec.structs import replace

from benchflow.ordering.actions import DoOperation, RouteStep
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import action_reasons, after_action, forbidden, moves_of
from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.proof.plan_analysis import AllowedStarts, PlanAnalysis, allowed_starts
from benchflow.ordering.proof.witness import Undecided
from benchflow.ordering.rework import DoneWork, StateWrite
from benchflow.ordering.route import SafeRoute, route
from benchflow.ordering.route_relevance import RelevantActions
from benchflow.ordering.state_machine import bits
from benchflow.ordering.work_meter import WorkMeter
from benchflow.procedure.plan import Plan, Step

_SHARE = 4
"""One search may take this part of the work that is left for all searches: one unit in 4."""


class Precedence:
    """The order of the operations of one plan, over every order that the interlock allows.

    The searches end when ``work`` is spent; what is asked after that is undecided.
    """

    def __init__(self, analysis: PlanAnalysis, work: WorkMeter) -> None:
        self.analysis = analysis
        self.work = work
        self._without: dict[str, Plan] = {}
        self._followers: dict[str, set[str]] | None = None
        self._known: dict[tuple[str, ...], Witness | Undecided | None] = {}

    def is_done(self, step_id: str) -> bool:
        """True if some order does the step."""
        order = self.analysis.order
        return not self.analysis.never >> order.index[step_id] & 1

    def comes_after(self, later: str, earlier: str) -> bool:
        """True if `after` lines put ``later`` after ``earlier``, directly or indirectly."""
        order = self.analysis.paper
        return bool(order.before[order.index[later]] >> order.index[earlier] & 1)

    def may_rest_on(self, step_id: str) -> set[str]:
        """The steps that come after ``step_id`` or may need a value that it sets, directly or indirectly."""
        if self._followers is None:
            self._followers = _followers_in(self.analysis.plan)
        found, todo = set[str](), [step_id]
        while todo:
            more = self._followers[todo.pop()] - found
            found |= more
            todo += more
        return found

    def order_without(self, earlier: str, later: str) -> Witness | Undecided | None:
        """A shortest order that does ``later`` while ``earlier`` is not done; ``None`` if there is no such order.

        ``later`` is the last step of the order.
        """
        order = self.analysis.order
        if order.before[order.index[later]] >> order.index[earlier] & 1:
            return None
        key = earlier, later
        if key not in self._known:
            self._known[key] = self._search(self._plan_without(earlier), later)
        return self._known[key]

    def order_to(self, step_id: str) -> Witness | Undecided | None:
        """A shortest order that ends with the step; ``None`` if no order does it."""
        key = "", step_id
        if key not in self._known:
            self._known[key] = self._search(self.analysis.plan, step_id)
        return self._known[key]

    def orders_key(self, step_id: str) -> tuple[object, ...]:
        """A key that is equal in two builds if the same states are possible before the step, by the same actions.

        Steps that neither read nor write a state do not count.
        """
        order = self.analysis.paper
        before = order.before[order.index[step_id]] & self._steps_with_states
        return _names(order.steps, before), self._states_key

    @cached_property
    def _order_of_states(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """The steps that read or write a state, each with those of them that come before it."""
        order, own = self.analysis.paper, self._steps_with_states
        return tuple((order.steps[each], _names(order.steps, order.before[each] & own)) for each in bits(own))

    @cached_property
    def _steps_with_states(self) -> int:
        """The mask of the steps that read or write a state."""
        steps = self.analysis.plan.steps.values()
        return sum(1 << number for number, step in enumerate(steps) if _uses_a_state(step))

    @cached_property
    def _states_key(self) -> str:
        """What the steps and moves of the build do with states, and the order of these steps."""
        plan = self.analysis.plan
        steps = [
            (step.id, step.needs, step.during, step.sets, step.undo_needs, step.undo_sets)
            for step in plan.steps.values()
            if _uses_a_state(step)
        ]
        return repr((steps, list(moves_of(plan)), self._order_of_states))

    def order_with(self, first: str, between: str, last: str) -> Witness | Undecided | None:
        """A shortest order that ends with ``last`` and does ``between`` after ``first``; ``None`` if there is none."""
        if not self.is_done(between):
            return None
        key = first, between, last
        if key not in self._known:
            plan = self.analysis.plan
            steps = dict(plan.steps)
            for name, earlier in ((between, first), (last, between)):
                steps[name] = replace(steps[name], after=(*steps[name].after, earlier))
            self._known[key] = self._search(Plan(plan.procedure, plan.options, steps), last)
        return self._known[key]

    def _plan_without(self, step_id: str) -> Plan:
        """The plan without a step and all that comes after it."""
        found = self._without.get(step_id)
        if found is None:
            plan, order = self.analysis.plan, self.analysis.paper
            number = order.index[step_id]
            steps = {
                name: step
                for name, step in plan.steps.items()
                if name != step_id and not order.before[order.index[name]] >> number & 1
            }
            found = self._without[step_id] = Plan(plan.procedure, plan.options, steps)
        return found

    def _search(self, plan: Plan, goal: str) -> Witness | Undecided | None:
        """A shortest order of ``plan`` to ``goal`` over all starts, replayed on the whole plan."""
        best: Witness | None = None
        work = self.work.part(self.work.left // _SHARE)
        starts, certain = self._starts_for(plan, goal)
        for start in starts:
            found = route(plan, Configuration(frozenset(), dict(start)), goal, work=work)
            if not isinstance(found, SafeRoute):
                certain &= found.certain
                continue
            if _is_allowed(self.analysis.plan, start, found.steps) and (
                best is None or len(found.steps) < len(best.order)
            ):
                best = Witness(start, found.steps, shortest=found.shortest)
            if best is not None and len(best.order) <= self._least(goal):
                break
        return best if best is not None or certain else Undecided()

    def _starts_for(self, plan: Plan, goal: str) -> AllowedStarts:
        """The starts that may differ in the orders to ``goal``: in the variables on which these orders depend."""
        groups = self.analysis.groups()
        for start in allowed_starts(self.analysis.plan, groups, frozenset()).starts:
            relevant = RelevantActions(plan, Configuration(frozenset(), dict(start)), goal).variables
            return allowed_starts(self.analysis.plan, groups, relevant)
        return AllowedStarts([], complete=not any(group.too_many_starts for group in groups))

    def _least(self, goal: str) -> int:
        """The least number of steps of an order to ``goal``: its prerequisites and itself."""
        order = self.analysis.paper
        return order.before[order.index[goal]].bit_count() + 1


def _uses_a_state(step: Step) -> bool:
    return bool(step.needs or step.during or step.sets or step.undo_needs or step.undo_sets)


def _names(steps: tuple[str, ...], mask: int) -> tuple[str, ...]:
    return tuple(steps[number] for number in bits(mask))


def _followers_in(plan: Plan) -> dict[str, set[str]]:
    """For each step the steps that come directly after it or may need a value that it sets."""
    followers: dict[str, set[str]] = {name: set() for name in plan.steps}
    setters: dict[tuple[str, str | None], list[str]] = {}
    for name, step in plan.steps.items():
        for setting in step.sets.items():
            setters.setdefault(setting, []).append(name)
    for name, step in plan.steps.items():
        for earlier in step.after:
            followers[earlier].add(name)
        for variable, wanted in step.needs.items():
            for value in wanted:
                for earlier in setters.get((variable, value), ()):
                    followers[earlier].add(name)
    return followers


def _is_allowed(plan: Plan, start: dict[str, str], order: tuple[RouteStep, ...]) -> bool:
    """True if the interlock allows every action of the order."""
    here = Configuration(frozenset(), dict(start))
    if forbidden(plan, here.valuation):
        return False
    for action in order:
        if action_reasons(plan, here, action):
            return False
        here = after_action(plan, here, action)
    return True


def work_before_last(plan: Plan, witness: Witness) -> DoneWork:
    """The work done in an order, without its last action."""
    writes: dict[str, tuple[StateWrite, ...]] = {
        name: (StateWrite("", value),) for name, value in witness.start.items()
    }
    finished = []
    for action in witness.order[:-1]:
        step_id = action.operation if isinstance(action, DoOperation) else ""
        sets = plan.steps[step_id].sets if step_id else plan.procedure.moves_by_id[action.id].sets
        if step_id:
            finished.append(step_id)
        for name, value in sets.items():
            writes[name] = (*writes.get(name, ()), StateWrite(step_id, value))
    return DoneWork(tuple(finished), writes)
