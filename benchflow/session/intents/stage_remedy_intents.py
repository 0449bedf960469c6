"""The intent `remedy` for a fastener of a joint that is out of the band of its stage."""

from benchflow.ordering.remedy_scope import steps_called
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.plan import Step
from benchflow.session.context import Decision, Entry, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.remedy_steps import (
    lot_before_remedy,
    no_undo_reason,
    parts_and_wait,
    stop_that_would_be_cleared,
    stopped_fastener,
)
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_readings import fastener_number
from benchflow.session.rules.deferred_undos import undos_that_wait
from benchflow.session.rules.deviation_subjects import fastener_subject
from benchflow.session.rules.done_work import discarded_items
from benchflow.session.rules.failed_fasteners import stopped_reason
from benchflow.session.rules.joint_progress import JointProgress, joint_progress
from benchflow.session.rules.put_right_advice import limit_advice
from benchflow.session.rules.remedy_progress import steps_to_redo, steps_without_undo
from benchflow.session.rules.stage_remedies import FastenerRemedy, fastener_remedies, remedied_together
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def carry_out_stage_remedy(state: State, step: Step, intent: intents.CarryOutRemedy, by: str) -> Decision:
    """Log the remedy in turn of a fastener: the one that is named, or the only one that is held."""
    progress = joint_progress(state, step)
    assert progress is not None  # the step tightens the joint
    if progress.failed:
        return Refusal((stopped_reason(state, step, progress),))
    chosen = _remedy_in_turn(state, step, progress, intent)
    if isinstance(chosen, Refusal):
        return chosen
    joint, remedy = progress.joint.id, chosen.remedy
    if remedy is None or remedy.stop:
        return stopped_fastener(state, step, joint, chosen)
    open_lot = lot_before_remedy(state, step, remedy)
    if open_lot is not None:
        return open_lot
    served = remedied_together(chosen, fastener_remedies(state, step))
    redo, called = steps_to_redo(state, step, remedy), steps_called(state.plan, step, remedy)
    without = steps_without_undo(state, step, remedy)
    if without:
        return Refusal(tuple(no_undo_reason(state, step, joint, other) for other in without))
    if redo:
        for other in fastener_remedies(state, step):
            if other.final:
                return stopped_fastener(state, step, joint, other)
    stopped = stop_that_would_be_cleared(state, step) if step.id in redo else None
    if stopped is not None:
        return stopped
    fasteners = tuple(each.tick.fastener for each in served)
    subject = f"{joint}[{', '.join(map(str, fasteners))}]"
    event = ev.RemedyCarriedOut(
        operation=step.id,
        name=joint,
        verdict=chosen.verdict,
        do=remedy.do,
        redo=redo,
        fresh=remedy.fresh,
        undo_later=undos_that_wait(state, [name for name in redo if name not in (step.id, *called)]),
        discard=tuple(dict.fromkeys(item for name in redo for item in discarded_items(state, name))),
        stage=chosen.tick.stage,
        fasteners=fasteners,
        called=called,
        **parts_and_wait(state, remedy, subject, {step.id: {joint: tuple(map(str, fasteners))}}),
    )
    return (Entry(by, event),)


def _remedy_in_turn(
    state: State, step: Step, progress: JointProgress, intent: intents.CarryOutRemedy
) -> FastenerRemedy | Refusal:
    joint, held = progress.joint.id, fastener_remedies(state, step)
    index = ValueRef.parse(intent.name).indexes
    given = intent.fastener if intent.fastener is not None else next(iter(index), None)
    if given is None:
        wanted, found = joint, held
    else:
        number = fastener_number(progress, given)
        if isinstance(number, Refusal):
            return number
        wanted, found = fastener_subject(joint, number), tuple(each for each in held if each.tick.fastener == number)
    if not found:
        out = [tick for tick in progress.out if given is None or str(tick.fastener) == str(given)]
        advice = limit_advice(state, step, wanted, "Do it again")
        why = f"The procedure gives no remedy. {advice}" if out else "It is not out of its limit"
        return refuse("not-allowed", f"{wanted} needs no remedy. {why}", operation=step.id, name=joint)
    live = tuple(each for each in found if not each.final) or found[:1]
    if len(remedied_together(live[0], live)) == len(live):
        return live[0]
    subjects = " or ".join(str(each.tick.fastener) for each in live)
    message = (
        f"Several fasteners of {joint} are out of their limit. Name the one that was remedied (fastener): {subjects}"
    )
    return refuse("value-missing", message, operation=step.id, name=joint)
