"""Why the work stops at something that is out of its limit or was answered no, and what is possible then."""

from benchflow.ordering.wording import one_of
from benchflow.procedure.evidence import NEVER
from benchflow.procedure.plan import Step
from benchflow.session.refusal import Reason
from benchflow.session.rules.check_remedies import CheckRemedy
from benchflow.session.rules.remedy_progress import RemedyInTurn
from benchflow.session.rules.rework_plans import undo_is_written
from benchflow.session.rules.waivers import deviation_advice, waive_rules
from benchflow.session.state.state import State, check_key


def stop_text(state: State, step: Step, progress: RemedyInTurn, about: str) -> str:
    """Why the work stops, and the ways on. ``about`` is the subject that a deviation would have."""
    ways = ["start a rework"] if undo_is_written(state, step.id) else []
    if NEVER not in waive_rules(state, step, about):
        ways = [deviation_advice(state, step, about), *ways, "correct the entry if it was misread"]
    number = state.plan.number(step.id)
    advice = one_of(ways) or f"nobody can waive it, and the procedure does not say how to undo step {number}"
    return f"{progress.instruction.rstrip('. ')}. {advice[:1].upper()}{advice[1:]}"


def check_held_reason(state: State, step: Step, held: CheckRemedy) -> Reason:
    """The reason that a check cannot be answered: its remedy comes first, or the work stops."""
    name = str(held.number)
    if held.final:
        stop = stop_text(state, step, held, check_key(held.number))
        return Reason("check-failed", f"{held.title} was answered no. {stop}", operation=step.id, name=name)
    message = f"{held.title}: carry out the remedy first. {held.instruction}"
    return Reason("remedy-first", message, operation=step.id, name=name)
