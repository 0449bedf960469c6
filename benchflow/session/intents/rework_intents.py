"""Taking work back: the plan is made by the ordering, agreed to once, and walked step by step or all at once."""

from collections.abc import Mapping

from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.ordering import rework
from benchflow.ordering.actions import MakeMove, ReworkStep, UndoOperation, rework_step_record
from benchflow.session.context import Around, Decision, Entry, refuse, said, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.blocking import move_blocked
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def plan_of(state: State, step_id: str) -> rework.ReworkPlan | Refusal:
    """How the work down to ``step_id`` comes apart, or every reason why it cannot."""
    if step_id not in state.plan.steps:
        return unknown("operation", step_id, state.plan.steps)
    if state.in_progress not in (None, step_id):
        message = f"{said(state, state.in_progress)} is in hand: finish it, set it aside or take it back first"
        return refuse("operation-in-progress", message, operation=state.in_progress)
    if state.rework is not None:
        message = f"work is already being taken back to {said(state, state.rework.operation)}"
        return refuse("not-allowed", message, operation=state.rework.operation)
    if step_id not in (*state.done, *state.paused, state.in_progress):
        message = f"{said(state, step_id)} is not done: there is nothing to take back"
        return refuse("not-started", message, operation=step_id)
    found = rework.plan_rework(state.plan, history(state), step_id)
    if isinstance(found, rework.NoRework):
        return Refusal(
            tuple(
                Reason("not-allowed", rework.obstacle_text(state.plan, reason), operation=rework.named_step(reason))
                for reason in found.reasons
            )
        )
    if state.in_progress is not None and found.steps != (UndoOperation(step_id),):
        message = f"{said(state, step_id)} is in hand, and nothing can be moved while it is: finish it first"
        return refuse("operation-in-progress", message, operation=step_id)
    gone = [
        name for each in found.steps if isinstance(each, UndoOperation) for name in thrown_away(state, each.operation)
    ]
    return replace(found, discard=tuple(dict.fromkeys(gone)))


def thrown_away(state: State, step_id: str) -> tuple[str, ...]:
    """The kit items that cannot be used again once a step is taken back: those its `undo` names, and those it uses that
    the kit says are thrown away."""
    operation = state.plan.steps[step_id].operation
    used_once = {item.id for item in state.plan.procedure.kit if item.discard}
    named = () if operation.undo is None else operation.undo.discard
    return tuple(
        dict.fromkeys([*(ref.name for ref in named), *(r.name for r in operation.uses if r.name in used_once)])
    )


def history(state: State) -> rework.DoneWork:
    """What the planner needs: what was finished, in that order (half-done work counts), and who wrote what."""
    writes: Mapping[str, tuple[rework.StateWrite, ...]] = {
        name: tuple(rework.StateWrite(write.step, write.value) for write in past) for name, past in state.writes.items()
    }
    held = () if state.in_progress is None else (state.in_progress,)
    return rework.DoneWork(finished=(*state.done, *state.paused, *held), writes=dict(writes))


def start_rework(state: State, intent: it.Rework, around: Around, by: str) -> Decision:
    if not intent.reason.strip():
        return refuse("value-missing", "say why it is taken back", operation=intent.operation)
    plan = plan_of(state, intent.operation)
    if isinstance(plan, Refusal):
        return plan
    reason = clean(intent.reason).strip()
    records = tuple(rework_step_record(step) for step in plan.steps)
    opened = ev.ReworkStarted(intent.operation, reason, records, plan.discard, walked=intent.walk)
    entries = [Entry(by, opened)]
    if not intent.walk:
        entries += [Entry(by, _done(step)) for step in plan.steps]
    return tuple(entries)


def _done(step: ReworkStep) -> ev.Event:
    return ev.Moved(step.move) if isinstance(step, MakeMove) else ev.Undone(step.operation)


def rework_step(state: State, intent: it.NextReworkStep, around: Around, by: str) -> Decision:
    """The next step of the plan was done. What stood when it was agreed may since have been found to stand
    otherwise, so the interlock is asked again."""
    plan = state.rework
    if plan is None:
        return refuse("not-started", "no work is being taken back")
    step = plan.next
    stopped = move_blocked(state, step.move) if isinstance(step, MakeMove) else _stopped(state, step.operation)
    return Refusal(stopped) if stopped else (Entry(by, _done(step)),)


def _stopped(state: State, step_id: str) -> tuple[Reason, ...]:
    return tuple(
        Reason("state-not-met", rework.obstacle_text(state.plan, reason), operation=step_id)
        for reason in rework.undo_reasons(state.plan, history(state), step_id)
    )
