"""The operation that an entry is for."""

from benchflow.procedure.plan import Step
from benchflow.session.context import quoted_title, refuse, unknown_operation
from benchflow.session.refusal import Refusal
from benchflow.session.rules.reopened_operations import reopened_operations
from benchflow.session.state.state import State


def operation_in_progress(state: State, named: str | None) -> Step | Refusal:
    """The operation in progress; a refusal if there is none, or if ``named`` is another operation."""
    if named is not None and named not in state.plan.steps:
        return unknown_operation(state, named)
    if state.in_progress is None:
        if named is None:
            return refuse("not-started", "No operation is in progress. Start one first")
        if named in state.done and named not in reopened_operations(state):
            return refuse(
                "already-done", f"{quoted_title(state, named)} is already done. Start a rework first", operation=named
            )
        return refuse(
            "not-started", f"{quoted_title(state, named)} is not in progress. Start it first", operation=named
        )
    if state.rework is not None:
        message = f"{quoted_title(state, state.in_progress)} is being reworked. Finish the rework first"
        return refuse("not-allowed", message, operation=state.in_progress)
    if named is not None and named != state.in_progress:
        current = quoted_title(state, state.in_progress)
        message = f"{quoted_title(state, named)} is not in progress. Finish or pause {current} first"
        return refuse("not-started", message, operation=named)
    return state.plan.steps[state.in_progress]
