"""Handlers of the intents `start`, `pause`, `finish`, `move`, `note` and `set-state`."""

from benchflow.base.plaintext import clean
from benchflow.session.context import Context, Decision, Entry, in_progress, refuse, refuse_all, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Refusal
from benchflow.session.rules.action_reasons import move_reasons, start_reasons
from benchflow.session.rules.computed_values import worked_out
from benchflow.session.rules.open_items import missing
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def start(state: State, intent: it.Start, context: Context, by: str) -> Decision:
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown("operation", intent.operation, state.plan.steps)
    refusal = refuse_all(start_reasons(state, step.id, context))
    if refusal is not None:
        return refusal
    entries = (Entry(by, ev.Started(step.id)),)
    return (*entries, *worked_out(state, step, entries, context, by))


def pause(state: State, intent: it.Pause, context: Context, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    if step.during:
        held = " and ".join(f"{name} is {value}" for name, value in step.during.items())
        return refuse(
            "not-allowed",
            f"{step.title} cannot be paused, because {held} only while it is in progress. Finish it",
            operation=step.id,
        )
    return (Entry(by, ev.Paused(step.id)),)


def finish(state: State, intent: it.Finish, context: Context, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    return refuse_all(missing(state, step, context.now)) or (Entry(by, ev.Finished(step.id)),)


def move(state: State, intent: it.PerformMove, context: Context, by: str) -> Decision:
    moves = [move.id for move in state.plan.procedure.moves]
    if intent.move not in moves:
        return unknown("move", intent.move, moves)
    return refuse_all(move_reasons(state, intent.move)) or (Entry(by, ev.Moved(intent.move)),)


def note(state: State, intent: it.Note, context: Context, by: str) -> Decision:
    text = clean(intent.text).strip()
    if not text:
        return refuse("value-missing", "The note is empty. Enter a text", name="text")
    if intent.operation is not None and intent.operation not in state.plan.steps:
        return unknown("operation", intent.operation, state.plan.steps)
    return (Entry(by, ev.Noted(text, intent.operation or state.in_progress)),)


def set_state(state: State, intent: it.SetState, context: Context, by: str) -> Decision:
    variables = {variable.name: variable for variable in state.plan.procedure.state}
    if intent.variable not in variables:
        return unknown("variable", intent.variable, variables)
    values = variables[intent.variable].values
    if not isinstance(intent.value, str) and intent.value is not None:
        return refuse(
            "value-missing", f"Enter the state of {intent.variable}: {' or '.join(values)}", state=intent.variable
        )
    if intent.value is not None and intent.value not in values:
        return unknown(f"value of {intent.variable}", intent.value, values)
    answered = state.valuation.get(intent.variable) is None
    if not answered and not intent.reason.strip():
        return refuse(
            "value-missing",
            f"{intent.variable} is {state.valuation[intent.variable]} by the entries. Give a reason for another state",
            state=intent.variable,
        )
    return (Entry(by, ev.StateSet(intent.variable, intent.value, clean(intent.reason).strip())),)
