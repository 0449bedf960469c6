"""What to do about an entry of a finished operation that is out of its limit."""

from benchflow.procedure.plan import Step
from benchflow.session.rules.blocking import step_interlock_reasons
from benchflow.session.rules.rework_plans import undo_is_written
from benchflow.session.state.state import State


def put_right_advice(state: State, step: Step) -> str:
    """What is possible in ``step``, which is done, as a sentence without its full stop."""
    number = state.plan.number(step.id)
    if not step_interlock_reasons(state, step.id):
        return f"Start step {number} again and put it right"
    return "If it was misread, correct it" if rework_asked(state, step) is None else f"Rework step {number}"


def rework_asked(state: State, step: Step) -> str | None:
    """The id of ``step`` if it is done and the advice is to rework it; otherwise ``None``."""
    if step.id not in state.done or not step_interlock_reasons(state, step.id):
        return None
    return step.id if undo_is_written(state, step.id) else None
