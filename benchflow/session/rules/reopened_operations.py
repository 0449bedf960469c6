"""Finished operations that are reopened: a correction has put a value in them out of its limit, or lost its proof.

Nothing in the log says so. It follows from the entries, so another correction or a deviation ends it.
"""

from benchflow.procedure.model import AboveReading, bounds_of
from benchflow.procedure.plan import Step
from benchflow.session.refusal import Reason
from benchflow.session.rules.open_items import limit_reasons
from benchflow.session.state.state import State


def reopened_operations(state: State) -> dict[str, tuple[Reason, ...]]:
    """The finished operations that are reopened, by step id, each with every reason."""
    found = {}
    for name, step in state.plan.steps.items() if state.changed_later else ():
        if name in state.done and _changed_since(state, step):
            reasons = limit_reasons(state, step)
            if reasons:
                found[name] = reasons
    return found


def done_operations(state: State) -> tuple[str, ...]:
    """The operations that are done and not reopened, in the order of finishing."""
    reopened = reopened_operations(state)
    return tuple(name for name in state.done if name not in reopened)


def _changed_since(state: State, step: Step) -> bool:
    """True if an entry that the verdicts of ``step`` can depend on was changed after it was finished."""
    own, anywhere = state.changed_later.get(step.id, 0), max(state.changed_later.values())
    return (anywhere if _uses_other_values(step) else own) >= state.done[step.id].seq


def _uses_other_values(step: Step) -> bool:
    """True if values of other operations can decide on a verdict of ``step``."""
    operation = step.operation
    if operation.work_out or operation.choose or operation.match:
        return True
    return any(
        isinstance(bound, AboveReading)
        for record in operation.record
        for one in record.by_limit
        for bound in bounds_of(one)
    )
