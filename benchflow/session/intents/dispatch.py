"""``decide(state, intent, context) -> events | Refusal``: pure and total. The screen, scripts and tests all use it."""

from typing import assert_never

from benchflow.base.plaintext import clean
from benchflow.session.context import Context, Decision, refuse
from benchflow.session.intents import intent_types as it
from benchflow.session.intents.choices import choose
from benchflow.session.intents.corrections import correct
from benchflow.session.intents.entries import lot, record, tick_check
from benchflow.session.intents.open_and_close import close_job
from benchflow.session.intents.operations import finish, move, note, pause, set_state, start
from benchflow.session.intents.remedies import remedy
from benchflow.session.intents.rework_intents import rework_step, start_rework
from benchflow.session.intents.sign_off import deviate, sign
from benchflow.session.intents.tightening import draw_down, tick, untick
from benchflow.session.intents.wrench_setting import lubricant, wrench
from benchflow.session.state.state import State


def decide(state: State, intent: it.Intent, context: Context) -> Decision:
    """The events that ``intent`` makes in ``state``, or every reason against it. A query makes none."""
    if state.closed and not isinstance(intent, it.Note | it.Open | it.Query):
        return refuse("not-open", f"This job was closed on {state.closed}. Only notes can be added")
    by = clean(intent.by or "").strip() or state.by
    match intent:
        case it.Open():
            return refuse("already-open", f"This job is open already, since {state.opened_at}, by {state.by}")
        case it.Status() | it.Why() | it.Route() | it.AskReworkPlan():
            return ()
        case it.Start():
            return start(state, intent, context, by)
        case it.Pause():
            return pause(state, intent, context, by)
        case it.Finish():
            return finish(state, intent, context, by)
        case it.PerformMove():
            return move(state, intent, context, by)
        case it.Record():
            return record(state, intent, context, by)
        case it.TickFastener():
            return tick(state, intent, context, by)
        case it.Untick():
            return untick(state, intent, context, by)
        case it.DrawDown():
            return draw_down(state, intent, context, by)
        case it.TickCheck():
            return tick_check(state, intent, context, by)
        case it.Choose():
            return choose(state, intent, context, by)
        case it.EnterLot():
            return lot(state, intent, context, by)
        case it.Sign():
            return sign(state, intent, context, by)
        case it.Deviate():
            return deviate(state, intent, context, by)
        case it.RemedyDone():
            return remedy(state, intent, context, by)
        case it.Rework():
            return start_rework(state, intent, context, by)
        case it.NextReworkStep():
            return rework_step(state, intent, context, by)
        case it.Note():
            return note(state, intent, context, by)
        case it.Correct():
            return correct(state, intent, context, by)
        case it.Wrench():
            return wrench(state, intent, context, by)
        case it.Lubricant():
            return lubricant(state, intent, context, by)
        case it.SetState():
            return set_state(state, intent, context, by)
        case it.Close():
            return close_job(state, intent, context, by)
        case _:
            assert_never(intent)
