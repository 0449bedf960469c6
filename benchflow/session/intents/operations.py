"""Handlers of the intents `start`, `pause`, `finish`, `move`, `note` and `set-state`."""

from benchflow.base.plaintext import clean
from benchflow.ordering.wording import all_of, in_a_sentence, state_text
from benchflow.procedure.evidence import ANYONE, NEVER
from benchflow.procedure.model import Variable
from benchflow.session.context import (
    Context,
    Decision,
    Entry,
    quoted_title,
    refusal_or_none,
    refuse,
    unknown_name,
    unknown_operation,
)
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Refusal
from benchflow.session.rules.action_reasons import move_reasons, start_reasons
from benchflow.session.rules.calculated_values import calculated_entries
from benchflow.session.rules.current_operation import operation_in_progress
from benchflow.session.rules.findings import findings_made
from benchflow.session.rules.open_items import finish_reasons
from benchflow.session.rules.planned_disassembly import parts_thrown_away
from benchflow.session.rules.proofs import unproven_variables
from benchflow.session.rules.signatures import may_not_sign, signature_proof
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def start_operation(state: State, intent: intents.StartOperation, context: Context, by: str) -> Decision:
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown_operation(state, intent.operation)
    refusal = refusal_or_none(start_reasons(state, step.id, context))
    if refusal is not None:
        return refusal
    entries = (Entry(by, ev.OperationStarted(step.id)),)
    return (*entries, *calculated_entries(state, step, entries, context, by))


def pause_operation(state: State, intent: intents.PauseOperation, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    if step.during:
        procedure = state.plan.procedure
        settings = all_of(in_a_sentence(state_text(procedure, name, value)) for name, value in step.during.items())
        title = quoted_title(state, step.id)
        message = f"{title} cannot be paused, because {settings} only while it is in progress. Finish it"
        return refuse("not-allowed", message, operation=step.id)
    return (Entry(by, ev.OperationPaused(step.id)),)


def finish_operation(state: State, intent: intents.FinishOperation, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    refusal = refusal_or_none(finish_reasons(state, step, context.now))
    if refusal is not None:
        return refusal
    finished = ev.OperationFinished(
        step.id, unproven_variables(state, step), findings_made(state, step), parts_thrown_away(state, step)
    )
    return (Entry(by, finished),)


def perform_move(state: State, intent: intents.PerformMove, context: Context, by: str) -> Decision:
    moves = state.plan.procedure.moves_by_id
    if intent.move not in moves:
        return unknown_name("move", intent.move, moves)
    return refusal_or_none(move_reasons(state, intent.move)) or (Entry(by, ev.MoveMade(intent.move)),)


def add_note(state: State, intent: intents.AddNote, context: Context, by: str) -> Decision:
    text = clean(intent.text).strip()
    if not text:
        return refuse("value-missing", "The note is empty. Enter a text", name="text")
    if intent.operation is not None and intent.operation not in state.plan.steps:
        return unknown_operation(state, intent.operation)
    return (Entry(by, ev.NoteAdded(text, intent.operation or state.in_progress, intent.change)),)


def set_state(state: State, intent: intents.SetState, context: Context, by: str) -> Decision:
    """One event for each variable: ``pushrod`` and ``pushrod[*]`` mean the variable of every place."""
    named = state.plan.procedure.variables_named(intent.variable)
    if not named:
        return unknown_name("variable", intent.variable, state.plan.procedure.variables_by_name)
    entries: list[Entry] = []
    for variable in named:
        found = _state_found(state, variable, intent, context, by)
        if isinstance(found, Refusal):
            return found
        entries.append(found)
    return tuple(entries)


def _state_found(
    state: State, variable: Variable, intent: intents.SetState, context: Context, by: str
) -> Entry | Refusal:
    name, values, value, found = variable.name, variable.values, intent.value, variable.found
    if not isinstance(value, str) and value is not None:
        return refuse(
            "value-missing", f"Enter the state of {name}: {' or '.join(values)}, or null if it is not known", state=name
        )
    if value is not None and value not in values:
        return unknown_name(f"value of {name}", value, values)
    present, reason = state.valuation.get(name), clean(intent.reason).strip()
    if value is not None and found == NEVER:
        message = (
            f"{name} cannot be entered as found (`found: never`). An operation or a move has to bring it to {value}. "
            "If its state is in doubt, enter it as not known"
        )
        return refuse("not-allowed", message, state=name)
    if present is not None and not reason:
        message = f"According to the log, {name} is {present}. Give a reason for another state"
        return refuse("value-missing", message, state=name)
    if not reason and any(name in rule.never for rule in state.plan.procedure.interference):
        message = f"A rule against damage depends on {name}. Give the reason: how was its state found?"
        return refuse("value-missing", message, state=name)
    if value is None or found in ("", ANYONE):
        return Entry(by, ev.StateSet(name, value, reason))
    refusal = may_not_sign(state, context, by, found, intent.pin, ask_pin=True)
    if refusal is not None:
        return refusal
    return Entry(by, ev.StateSet(name, value, reason, found, signature_proof(context, by, intent.pin)))
