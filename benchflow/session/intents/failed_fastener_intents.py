"""Handlers of the intents `fastener-failed` and `repair`."""

from benchflow.base.plaintext import clean
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, QuantityError, dimension_of, parse_quantity
from benchflow.session.context import Context, Decision, Entry, refuse, unknown_name, unreadable_quantity
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.remedy_steps import stopped_fastener
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_readings import fastener_number
from benchflow.session.rules.current_operation import joint_in_progress
from benchflow.session.rules.failed_fasteners import FAILURES, failed_text, fitting_step, renewal_text
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.planned_disassembly import used_once_items
from benchflow.session.rules.stage_remedies import fastener_remedies
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def report_failed_fastener(state: State, intent: intents.ReportFailedFastener, context: Context, by: str) -> Decision:
    """Log that a fastener failed. Another one can be logged while the joint is stopped."""
    found = _fastener_in_progress(state, intent)
    if isinstance(found, Refusal):
        return found
    step, progress, fastener = found
    what = FAILURES.get(intent.what)
    if what is None:
        return unknown_name("failure of a fastener", intent.what, FAILURES)
    before = state.work(step.id).failed_fasteners.get(fastener)
    if before is not None:
        failure = failed_text(progress, before)
        message = f"It is already logged that {failure}. Repair the fastener, or clear the entry if it is wrong"
        return refuse("already-done", message, name=str(fastener))
    reached = None if intent.value is None else _torque_or_angle(intent.value, str(fastener))
    if isinstance(reached, Refusal):
        return reached
    stored = None if reached is None else to_stored(reached)
    event = ev.FastenerFailed(step.id, progress.joint.id, _stage_reached(progress), fastener, what, stored)
    return (Entry(by, event),)


def _fastener_in_progress(
    state: State, intent: intents.ReportFailedFastener | intents.RepairFastener
) -> tuple[Step, JointProgress, int] | Refusal:
    """The operation in progress, its joint and the fastener that the intent names."""
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    fastener = fastener_number(progress, intent.fastener)
    return fastener if isinstance(fastener, Refusal) else (step, progress, fastener)


def _torque_or_angle(text: str, name: str) -> Quantity | Refusal:
    try:
        read = parse_quantity(text)
    except QuantityError as error:
        return unreadable_quantity(error, name)
    if dimension_of(read.unit) not in ("torque", "angle"):
        message = f"{text} is neither a torque nor an angle. Enter what the fastener reached, such as 45 N·m or 60°"
        return refuse("wrong-dimension", message, name=name)
    if read.value < 0:
        return refuse("bad-quantity", f"{text} is below zero. Enter what the fastener reached", name=name)
    return read


def _stage_reached(progress: JointProgress) -> int:
    """The stage that the joint is in; 0 before the first stage."""
    drawn = progress.draw_down
    if drawn is not None and drawn.open:
        return 0
    return min(progress.stage_number, len(progress.tighten.stages))


def repair_fastener(state: State, intent: intents.RepairFastener, context: Context, by: str) -> Decision:
    """Log the repair of a failed fastener. All ticks and the draw-down of the joint become void."""
    found = _fastener_in_progress(state, intent)
    if isinstance(found, Refusal):
        return found
    step, progress, fastener = found
    if fastener not in state.work(step.id).failed_fasteners:
        message = f"Fastener {fastener} has not failed. Enter first what happened to it: stripped, broken or turning"
        return refuse("not-allowed", message, name=str(fastener))
    repair = clean(intent.repair).strip()
    if not repair:
        message = f"Enter how fastener {fastener} was repaired, such as: M10 thread insert fitted"
        return refuse("value-missing", message, name="repair")
    for held in fastener_remedies(state, step):
        if held.final:
            return stopped_fastener(state, step, progress.joint.id, held)
    fitted = fitting_step(state, step, state.work(step.id).failed_fasteners[fastener])
    if fitted is not None:
        message = f"The joint was tightened, so a part for one use is spent. {renewal_text(state, step, fitted)} first"
        return refuse("not-allowed", message, operation=fitted, name=str(fastener))
    discarded = used_once_items(state, step.id)
    return (Entry(by, ev.FastenerRepaired(step.id, progress.joint.id, fastener, repair, discarded)),)
