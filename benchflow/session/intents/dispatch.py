"""The decision on an intent: ``decide(state, intent, context) -> events or Refusal``, a pure function."""

from typing import assert_never

from benchflow.base.plaintext import clean
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.choices import choose_part
from benchflow.session.intents.come_back_intents import record_finding, report_complaint, withdraw_finding
from benchflow.session.intents.corrections import correct_entry
from benchflow.session.intents.entries import enter_lot, record_reading, tick_check
from benchflow.session.intents.failed_fastener_intents import repair_fastener, report_failed_fastener
from benchflow.session.intents.names_of_copies import with_names_of_copy
from benchflow.session.intents.open_and_close import close_job
from benchflow.session.intents.operations import (
    add_note,
    finish_operation,
    pause_operation,
    perform_move,
    set_state,
    start_operation,
)
from benchflow.session.intents.picture_intents import attach_picture
from benchflow.session.intents.remedies import carry_out_remedy
from benchflow.session.intents.rework_intents import do_rework_step, start_rework
from benchflow.session.intents.sign_off import sign_deviation, sign_hold
from benchflow.session.intents.stage_figure_intents import give_figure
from benchflow.session.intents.taking_over import take_over
from benchflow.session.intents.tightening import draw_down, tick_fastener, untick_fastener
from benchflow.session.intents.whole_stage_intents import begin_stage_again, tick_rest
from benchflow.session.intents.wrench_setting import set_lubricant, set_wrench_adapter
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.refusal import Refusal
from benchflow.session.rules.deferred_undos import with_undos_due
from benchflow.session.rules.proof_corrections import with_evidence_changed
from benchflow.session.rules.readings_judged_again import with_readings_judged_again
from benchflow.session.rules.ticks_judged_again import with_ticks_judged_again
from benchflow.session.state import events as ev
from benchflow.session.state.clock import PIN_WAIT, elapsed
from benchflow.session.state.state import State


def decide(state: State, intent: intents.Intent, context: Context) -> Decision:
    """Return the events that ``intent`` makes, or a refusal with every reason. A query makes no event.

    The events include the undos of a remedy that had to wait for this intent. They also include new verdicts on ticks
    whose torque it changes, and the changed proofs of states in finished operations.
    """
    intent = with_names_of_copy(state, intent)
    waiting = _pin_wait(state, intent, context)
    decision = _decide(state, intent, context) if waiting is None else waiting
    if isinstance(decision, Refusal):
        return decision
    entries = with_readings_judged_again(state, decision, context)
    entries = with_ticks_judged_again(state, with_evidence_changed(state, entries, context), context)
    return with_undos_due(state, entries, context)


def refused_pin_entries(intent: intents.Intent, refusal: Refusal) -> tuple[Entry, ...]:
    """The event of a wrong PIN, if that is why the intent was refused."""
    wrong = refusal.wrong_pin
    if wrong is None:
        return ()
    return (Entry(wrong.person, ev.PinRefused(wrong.person, wrong.role, getattr(intent, "operation", None))),)


def _local(at: str) -> str:
    """A timestamp of the log as local date and time."""
    return f"{local_time_of(at):%Y-%m-%d %H:%M}"


def _pin_wait(state: State, intent: intents.Intent, context: Context) -> Refusal | None:
    if state.pin_refused is None or not getattr(intent, "pin", None):
        return None
    since = elapsed(state.spans, state.last, state.pin_refused, context.now)
    if not since.known or since.low >= PIN_WAIT:
        return None
    return refused_too_soon()


def refused_too_soon() -> Refusal:
    """The refusal of a PIN that is entered too soon after a wrong one."""
    return refuse("pin-wait", f"The last PIN was wrong. Wait {PIN_WAIT:.0f} s, then enter the PIN again")


def _decide(state: State, intent: intents.Intent, context: Context) -> Decision:
    if state.closed and not isinstance(intent, intents.AfterClose | intents.OpenJob | intents.Query):
        return refuse(
            "not-open",
            f"This job was closed on {_local(state.closed)}. Only notes, pictures, complaints and findings can be "
            "added",
        )
    by = clean(intent.by or "").strip() or state.by
    match intent:
        case intents.OpenJob():
            return refuse("already-open", f"This job was already opened on {_local(state.opened_at)} by {state.by}")
        case intents.AskStatus() | intents.AskWhy() | intents.AskRoute() | intents.AskReworkPlan():
            return ()
        case intents.StartOperation():
            return start_operation(state, intent, context, by)
        case intents.PauseOperation():
            return pause_operation(state, intent, context, by)
        case intents.FinishOperation():
            return finish_operation(state, intent, context, by)
        case intents.PerformMove():
            return perform_move(state, intent, context, by)
        case intents.RecordReading():
            return record_reading(state, intent, context, by)
        case intents.GiveFigure():
            return give_figure(state, intent, context, by)
        case intents.TickFastener():
            return tick_fastener(state, intent, context, by)
        case intents.TickRest():
            return tick_rest(state, intent, context, by)
        case intents.BeginStageAgain():
            return begin_stage_again(state, intent, context, by)
        case intents.ReportFailedFastener():
            return report_failed_fastener(state, intent, context, by)
        case intents.RepairFastener():
            return repair_fastener(state, intent, context, by)
        case intents.UntickFastener():
            return untick_fastener(state, intent, context, by)
        case intents.DrawDown():
            return draw_down(state, intent, context, by)
        case intents.TickCheck():
            return tick_check(state, intent, context, by)
        case intents.ChoosePart():
            return choose_part(state, intent, context, by)
        case intents.EnterLot():
            return enter_lot(state, intent, context, by)
        case intents.SignHold():
            return sign_hold(state, intent, context, by)
        case intents.SignDeviation():
            return sign_deviation(state, intent, context, by)
        case intents.CarryOutRemedy():
            return carry_out_remedy(state, intent, context, by)
        case intents.StartRework():
            return start_rework(state, intent, context, by)
        case intents.DoReworkStep():
            return do_rework_step(state, intent, context, by)
        case intents.AddNote():
            return add_note(state, intent, context, by)
        case intents.ReportComplaint():
            return report_complaint(state, intent, context, by)
        case intents.RecordFinding():
            return record_finding(state, intent, context, by)
        case intents.AttachPicture():
            return attach_picture(state, intent, context, by)
        case intents.WithdrawFinding():
            return withdraw_finding(state, intent, context, by)
        case intents.CorrectEntry():
            return correct_entry(state, intent, context, by)
        case intents.SetWrenchAdapter():
            return set_wrench_adapter(state, intent, context, by)
        case intents.SetLubricant():
            return set_lubricant(state, intent, context, by)
        case intents.SetState():
            return set_state(state, intent, context, by)
        case intents.TakeOver():
            return take_over(state, intent, context, by)
        case intents.CloseJob():
            return close_job(state, intent, context, by)
        case _:
            assert_never(intent)
