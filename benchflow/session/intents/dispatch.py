"""``decide(state, intent, around) -> events | Refusal``: pure, total. The screen, scripts and tests all go here."""

from collections.abc import Callable
from typing import Any

from benchflow.base.plaintext import clean
from benchflow.ordering.actions import MakeMove
from benchflow.procedure.expand import resolve
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Step
from benchflow.session.context import Around, Decision, Entry, in_progress, refuse, refuse_all, said, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.intents.choices import choose
from benchflow.session.intents.corrections import correct
from benchflow.session.intents.entries import lot, record, tick_check
from benchflow.session.intents.remedies import remedy
from benchflow.session.intents.rework_intents import rework_step, start_rework
from benchflow.session.intents.sign_off import allowed, deviate, sign
from benchflow.session.intents.tightening import draw_down, tick, untick
from benchflow.session.intents.wrench_setting import lubricant, wrench
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.blocking import move_blocked, step_blocked
from benchflow.session.rules.computed_values import worked_out
from benchflow.session.rules.open_items import limits_open, missing, too_early
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def decide_open(procedure: Procedure, intent: it.Open, around: Around, record_of: ev.Opened) -> Decision:
    """Whether a session may begin so. ``record_of`` is the ``opened`` event with all but the answers filled in."""
    reasons: list[Reason] = []
    by = clean(intent.by or "").strip() or ("" if around.shop is None else around.shop.defaults.by)
    if not by:
        reasons.append(Reason("value-missing", "say who is at the bench (by)", name="by"))
    reasons += _answers("option", {option.name: option.choices for option in procedure.options}, intent.options)
    asked = {variable.name: variable.values for variable in procedure.state if variable.start is None}
    fixed = {variable.name for variable in procedure.state} - set(asked)
    for name, value in intent.start.items():
        if name in fixed:
            reasons.append(Reason("not-allowed", f"{name} has a fixed start and is not asked", state=name))
        elif name not in asked:
            reasons += unknown("variable", name, asked).refused
        elif value is not None and value not in asked[name]:
            reasons += unknown(f"value of {name}", value, asked[name]).refused
    if reasons:
        return Refusal(tuple(reasons))
    stopped = allowed(around.shop, by, None, None)
    if stopped is not None:
        return stopped
    start = {v.name: intent.start.get(v.name) if v.start is None else v.start for v in procedure.state}
    event = ev.Opened(
        procedure=record_of.procedure,
        procedure_sha256=record_of.procedure_sha256,
        file=record_of.file,
        options=dict(intent.options),
        start=start,
        unit=clean(intent.unit).strip(),
        version=record_of.version,
        simulated=record_of.simulated,
        format=record_of.format,
        shop=record_of.shop,
    )
    return (Entry(by, event),)


def _answers(what: str, known: dict[str, tuple[str, ...]], given: dict[str, str]) -> list[Reason]:
    reasons: list[Reason] = []
    for name, value in given.items():
        if name not in known:
            reasons += unknown(what, name, known).refused
        elif value not in known[name]:
            reasons += unknown(f"choice of {name}", value, known[name]).refused
    for name, choices in known.items():
        if name not in given:
            reasons.append(Reason("value-missing", f"{what} {name} is not answered: {' or '.join(choices)}", name=name))
    return reasons


def decide(state: State, intent: it.Intent, around: Around) -> Decision:
    """The events that ``intent`` makes in ``state``, or every reason why not. Queries make none."""
    by = clean(intent.by or "").strip() or state.by
    if isinstance(intent, it.Open):
        return refuse("already-open", f"this session is open already, since {state.opened_at} by {state.by}")
    if isinstance(intent, it.Query):
        return ()
    if state.closed and not isinstance(intent, it.Note):
        return refuse("not-open", f"this session was closed on {state.closed}: only notes may be added")
    return DECIDE[type(intent)](state, intent, around, by)


def start(state: State, intent: it.Start, around: Around, by: str) -> Decision:
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown("operation", intent.operation, state.plan.steps)
    stopped = refuse_all(start_reasons(state, step.id, around))
    if stopped is not None:
        return stopped
    entries = (Entry(by, ev.Started(step.id)),)
    return (*entries, *worked_out(state, step, entries, around, by))


def start_reasons(state: State, step_id: str, around: Around) -> tuple[Reason, ...]:
    """Every reason why an operation may not be taken up now."""
    step = state.plan.steps[step_id]
    if step_id in state.done:
        return (Reason("already-done", f"{step.title} is done already", operation=step_id),)
    reasons: list[Reason] = []
    if state.in_progress is not None:
        words = "is in hand already" if state.in_progress == step_id else "is in hand: finish it or set it aside first"
        reasons.append(
            Reason("operation-in-progress", f"{said(state, state.in_progress)} {words}", operation=state.in_progress)
        )
    if state.rework is not None:
        reasons.append(_coming_apart(state))
    reasons += step_blocked(state, step_id)
    reasons += too_early(state, step, around.now)
    return tuple(reasons)


def _coming_apart(state: State) -> Reason:
    plan = state.rework
    assert plan is not None
    return Reason(
        "not-allowed",
        f"work is being taken back to {said(state, plan.operation)}: {plan.left} of {len(plan.steps)} steps are left",
        operation=plan.operation,
    )


def pause(state: State, intent: it.Pause, around: Around, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    if step.during:
        held = ", ".join(f"{name} {value}" for name, value in step.during.items())
        return refuse(
            "not-allowed",
            f"{step.title} cannot be left half done: while it is in hand {held} holds",
            operation=step.id,
        )
    return (Entry(by, ev.Paused(step.id)),)


def finish(state: State, intent: it.Finish, around: Around, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    return refuse_all(missing(state, step, around.now)) or (Entry(by, ev.Finished(step.id)),)


def move(state: State, intent: it.PerformMove, around: Around, by: str) -> Decision:
    moves = [move.id for move in state.plan.procedure.moves]
    if intent.move not in moves:
        return unknown("move", intent.move, moves)
    return refuse_all(move_reasons(state, intent.move)) or (Entry(by, ev.Moved(intent.move)),)


def move_reasons(state: State, move_id: str) -> tuple[Reason, ...]:
    """Every reason why a move may not be made now."""
    reasons: list[Reason] = []
    if state.in_progress is not None:
        message = f"{said(state, state.in_progress)} is in hand: moves are made between operations"
        reasons.append(Reason("operation-in-progress", message, operation=state.in_progress))
    if state.rework is not None and state.rework.next != MakeMove(move_id):
        reasons.append(_coming_apart(state))
    return (*reasons, *move_blocked(state, move_id))


def note(state: State, intent: it.Note, around: Around, by: str) -> Decision:
    text = clean(intent.text).strip()
    if not text:
        return refuse("value-missing", "the note is empty", name="text")
    if intent.operation is not None and intent.operation not in state.plan.steps:
        return unknown("operation", intent.operation, state.plan.steps)
    return (Entry(by, ev.Noted(text, intent.operation or state.in_progress)),)


def stands(state: State, intent: it.SetState, around: Around, by: str) -> Decision:
    variables = {variable.name: variable for variable in state.plan.procedure.state}
    if intent.variable not in variables:
        return unknown("variable", intent.variable, variables)
    values = variables[intent.variable].values
    if not isinstance(intent.value, str) and intent.value is not None:
        return refuse(
            "value-missing", f"say how {intent.variable} stands: {' or '.join(values)}", state=intent.variable
        )
    if intent.value is not None and intent.value not in values:
        return unknown(f"value of {intent.variable}", intent.value, values)
    answered = state.valuation.get(intent.variable) is None
    if not answered and not intent.reason.strip():
        return refuse(
            "value-missing",
            f"{intent.variable} is known to be {state.valuation[intent.variable]}: say why it stands otherwise",
            state=intent.variable,
        )
    return (Entry(by, ev.StateSet(intent.variable, intent.value, clean(intent.reason).strip())),)


def close(state: State, intent: it.Close, around: Around, by: str) -> Decision:
    reasons = refuse_all(close_reasons(state, bool(intent.unfinished.strip())))
    if reasons is not None:
        return reasons
    left = tuple(name for name in state.plan.steps if name not in state.done)
    return (Entry(by, ev.Closed(left, clean(intent.unfinished).strip())),)


def close_reasons(state: State, unfinished: bool) -> tuple[Reason, ...]:
    """Every reason why the session may not end now. Open work may be left with a reason (one in which nothing was begun
    needs none); a temporary setting, or a value that a correction has put out of its limit, may not."""
    reasons: list[Reason] = []
    left: list[Reason] = []
    if state.in_progress is not None:
        message = f"{said(state, state.in_progress)} is in hand: finish it or set it aside"
        reasons.append(Reason("operation-in-progress", message, operation=state.in_progress))
    if state.rework is not None:
        reasons.append(_coming_apart(state))
    begun = bool(state.done or state.works)
    for name, step in state.plan.steps.items():
        temporary = _temporary_left(state, step)
        if temporary is not None:
            reasons.append(temporary)
        if name in state.done:
            reasons += limits_open(state, step)
        elif begun and not unfinished:
            message = f"{step.title} is not done; to end all the same, say why (unfinished)"
            left.append(Reason("after-missing", message, operation=name))
    return (*reasons, *left)


def _temporary_left(state: State, step: Step) -> Reason | None:
    """A temporary setting that nothing has put right since. What is not part of the build counts as done."""
    restored = step.operation.restored_by
    if restored is None or step.id not in state.done:
        return None
    made = state.done[step.id].seq
    for name in resolve(state.plan, restored.name, step.place, step.operation.each):
        if name not in state.done or state.done[name].seq < made:
            again = "has to be done before the end"
            if name in state.done:
                again = "was done before it, and has to be done again: take it back first"
            message = f"{step.title} is temporary: {said(state, name)} {again}"
            return Reason("temporary-left", message, operation=step.id)
    return None


DECIDE: dict[type[Any], Callable[[State, Any, Around, str], Decision]] = {
    it.Start: start,
    it.Pause: pause,
    it.Finish: finish,
    it.PerformMove: move,
    it.Record: record,
    it.TickFastener: tick,
    it.Untick: untick,
    it.DrawDown: draw_down,
    it.TickCheck: tick_check,
    it.Choose: choose,
    it.EnterLot: lot,
    it.Sign: sign,
    it.Deviate: deviate,
    it.RemedyDone: remedy,
    it.Rework: start_rework,
    it.NextReworkStep: rework_step,
    it.Note: note,
    it.Correct: correct,
    it.Wrench: wrench,
    it.Lubricant: lubricant,
    it.SetState: stands,
    it.Close: close,
}
