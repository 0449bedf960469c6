"""The shortest safe route to an operation from the present state of a job."""

from benchflow.ordering.configuration import Configuration
from benchflow.ordering.route import NoRoute
from benchflow.ordering.route import route as find_route
from benchflow.session.refusal import Refusal
from benchflow.session.rules.blocking import as_refusal_reason, step_interlock_reasons
from benchflow.session.rules.deferred_undos import plan_for_routes
from benchflow.session.rules.done_work import steps_before
from benchflow.session.rules.reopened_operations import reopened_operations
from benchflow.session.state.state import State


def safe_route(state: State, step_id: str) -> tuple[str, ...] | Refusal:
    """Ids of the operations and moves of the route, the operation itself last; a refusal with every reason.

    Operations that were done before and have to be put right come first: what they set is still in force.
    """
    again = _to_finish_again(state)
    wanted = steps_before(state, step_id) | {step_id} if again else set[str]()
    first = [name for name in again if name in wanted]
    reasons = tuple(reason for name in first for reason in step_interlock_reasons(state, name))
    if reasons:
        return Refusal(reasons)
    if step_id in first:
        return tuple(first)
    here = Configuration(frozenset((*state.done, *again)), state.valuation)
    found = find_route(plan_for_routes(state), here, step_id)
    if isinstance(found, NoRoute):
        return Refusal(tuple(as_refusal_reason(state, reason) for reason in found.reasons))
    return (*first, *(action.id for action in found.steps))


def _to_finish_again(state: State) -> list[str]:
    """The operations that were finished and are reopened, or were started again, in the order of the procedure."""
    reopened = reopened_operations(state)
    started = {name for name, work in state.works.items() if work.finished and name not in state.done}
    return [name for name in state.plan.steps if name in reopened or name in started]
