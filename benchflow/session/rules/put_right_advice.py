"""What to do about an entry of a finished operation that is out of its limit."""

from benchflow.procedure.plan import Step
from benchflow.session.rules.blocking import step_interlock_reasons
from benchflow.session.rules.rework_plans import can_be_reworked
from benchflow.session.state.state import State


def put_right_advice(state: State, step: Step) -> str:
    """What is possible in ``step``, which is done, as a sentence without its full stop."""
    number = state.plan.number(step.id)
    if not step_interlock_reasons(state, step.id):
        return f"Start step {number} again and put it right"
    if can_be_reworked(state, step.id):
        return f"Rework step {number}"
    return "If it was misread, correct it"
