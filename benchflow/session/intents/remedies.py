"""Handler of the intent `remedy`."""

from benchflow.ordering.interlock import forbidden
from benchflow.session.context import (
    Context,
    Decision,
    Entry,
    operation_in_progress,
    quoted_title,
    refuse,
    unknown_name,
)
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.entries import name_in_step
from benchflow.session.refusal import Refusal
from benchflow.session.rules.open_values import value_title
from benchflow.session.rules.remedy_progress import remedy_progress, steps_to_redo
from benchflow.session.rules.value_results import results_of
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.session.state.state_changes import operation_undone


def carry_out_remedy(state: State, intent: intents.CarryOutRemedy, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    names = [value.name for value in step.operation.record] + [value.name for value in step.operation.work_out]
    name = name_in_step(step, intent.name, names)
    if name is None:
        return unknown_name("value in this operation", intent.name, names)
    title = value_title(step, name)
    progress = remedy_progress(state, step, name)
    if progress is None:
        return refuse("not-allowed", f"{title} is not out of its limit. No remedy is needed", name=name)
    if progress.remedy is None:
        none_left = "All its remedies were carried out" if progress.exhausted else "The procedure gives no remedy"
        return refuse("not-allowed", f"{title} is out of its limit. {none_left}. Sign a deviation", name=name)
    if progress.remedy.stop:
        message = f"{title} is out of its limit. The procedure stops here. {progress.remedy.do}"
        return refuse("not-allowed", message, name=name)
    redo = steps_to_redo(state, step, progress.remedy)
    rule = _rule_broken_by_undoing(state, redo)
    if rule is not None:
        titles = ", ".join(quoted_title(state, step_id) for step_id in redo)
        message = f"The remedy cannot undo {titles} now ({rule}). Start a rework instead"
        return refuse("interference", message, name=name)
    void: dict[str, tuple[str, ...]] = {}
    for result in results_of(state, step, name):
        for reading in result.readings:
            if reading.step == step.id and reading.slot not in void.get(reading.name, ()):
                void[reading.name] = (*void.get(reading.name, ()), reading.slot)
    return (Entry(by, ev.RemedyCarriedOut(step.id, name, progress.verdict, progress.remedy.do, redo, void)),)


def _rule_broken_by_undoing(state: State, step_ids: tuple[str, ...]) -> str | None:
    """Return the reason of the interference rule that is broken when these steps are undone; ``None`` if none is."""
    if not step_ids:
        return None
    for step_id in step_ids:
        state = operation_undone(state, step_id, state.seq)
    broken = forbidden(state.plan, state.valuation)
    return state.plan.procedure.interference[broken[0]].because if broken else None
