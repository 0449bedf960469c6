"""Handler of the intent `remedy`."""

from benchflow.ordering.interlock import forbidden
from benchflow.session.context import Context, Decision, Entry, in_progress, refuse, title_of, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.intents.entries import resolve
from benchflow.session.refusal import Refusal
from benchflow.session.rules.open_items import called
from benchflow.session.rules.remedy_progress import redo_steps, remedying
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.session.state.state_changes import operation_undone


def remedy(state: State, intent: it.RemedyDone, context: Context, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    names = [one.name for one in step.operation.record] + [one.name for one in step.operation.work_out]
    name = resolve(step, intent.name, names)
    if name is None:
        return unknown("value in this operation", intent.name, names)
    now = remedying(state, step, name)
    if now is None:
        return refuse("not-allowed", f"{called(step, name)} is not out of its limit. No remedy is needed", name=name)
    if now.remedy is None:
        words = "all its remedies have been carried out" if now.exhausted else "the procedure gives no remedy"
        return refuse(
            "not-allowed",
            f"{called(step, name)} is out of its limit, and {words}: only a deviation is possible",
            name=name,
        )
    if now.remedy.stop:
        return refuse("not-allowed", f"{called(step, name)}: the procedure stops here: {now.remedy.do}", name=name)
    redo = redo_steps(state, step, now.remedy)
    struck = _forbidden_after(state, redo)
    if struck is not None:
        titles = ", ".join(title_of(state, one) for one in redo)
        message = f"{struck} after {titles} is undone. Start a rework instead of the remedy"
        return refuse("interference", message, name=name)
    return (Entry(by, ev.Remedied(step.id, name, now.verdict, now.remedy.do, redo)),)


def _forbidden_after(state: State, redo: tuple[str, ...]) -> str | None:
    """The rule that the assembly would break once what is to be done again counts as not done."""
    for one in redo:
        state = operation_undone(state, one, state.seq)
    broken = forbidden(state.plan, state.valuation) if redo else ()
    return state.plan.procedure.interference[broken[0]].because if broken else None
