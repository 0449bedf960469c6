"""What to do about an entry that is out of its limit, also in a finished operation."""

from benchflow.procedure.plan import Step
from benchflow.session.rules.blocking import step_interlock_reasons
from benchflow.session.rules.rework_plans import undo_is_written
from benchflow.session.rules.waivers import deviation_advice
from benchflow.session.state.state import State


def limit_advice(state: State, step: Step, about: str, otherwise: str) -> str:
    """What to do about something in ``step`` that is out of its limit: ``otherwise``, while the step is not done.

    ``about`` is the subject that a deviation would have. The result is a sentence without its full stop.
    """
    first = _put_right_text(state, step) if step.id in state.done else otherwise
    sign = deviation_advice(state, step, about)
    return f"{first}{f', or {sign}' if sign else ''}"


def _put_right_text(state: State, step: Step) -> str:
    number = state.plan.number(step.id)
    if not step_interlock_reasons(state, step.id):
        return f"Start step {number} again and put it right"
    return "If it was misread, correct it" if rework_asked(state, step) is None else f"Rework step {number}"


def rework_asked(state: State, step: Step) -> str | None:
    """The id of ``step`` if it is done and the advice is to rework it; otherwise ``None``."""
    if step.id not in state.done or not step_interlock_reasons(state, step.id):
        return None
    return step.id if undo_is_written(state, step.id) else None
