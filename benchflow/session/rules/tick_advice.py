"""What to do about a fastener that is out of its band, as text."""

from benchflow.procedure.model import CheckStage, LoosenStage, Stage
from benchflow.procedure.plan import Step
from benchflow.quantity import dimension_of
from benchflow.session.rules.check_stages import out_of_band_text
from benchflow.session.rules.deviation_subjects import fastener_subject
from benchflow.session.rules.joint_progress import JointProgress, progress_text
from benchflow.session.rules.put_right_advice import limit_advice
from benchflow.session.rules.stage_remedies import FastenerRemedy, remedy_of_tick
from benchflow.session.rules.stop_advice import stop_text
from benchflow.session.state.state import State, Tick


def out_of_band_advice(state: State, step: Step, progress: JointProgress, tick: Tick) -> str:
    """What to do about a tick that is out of its band, as a sentence without its full stop."""
    held = remedy_of_tick(state, step, tick)
    subject = fastener_subject(progress.joint.id, tick.fastener)
    if held is not None and held.final and step.id not in state.done:
        return stop_text(state, step, held, subject)
    remedy = _remedy_of(progress, tick)
    if held is not None:
        remedy = f"Carry out the remedy: {held.instruction.rstrip('. ')}"
    return f"{_extension_hint(state, tick)}{limit_advice(state, step, subject, remedy)}"


def out_of_limit_text(state: State, step: Step, progress: JointProgress, tick: Tick) -> str:
    """Why no other fastener can be ticked while ``tick`` is out of its band, and what to do about it."""
    text = out_of_band_text(progress.joint, progress.tighten, tick)
    message = f"Fastener {tick.fastener} is out of its limit in stage {tick.stage}: {text}. "
    return message + out_of_band_advice(state, step, progress, tick)


def not_seated_text(progress: JointProgress) -> str:
    """Why no stage can be ticked during the draw-down."""
    title = progress.joint.title or progress.joint.id
    return f"{title} is not seated yet ({progress_text(progress)}). Confirm that all fasteners are seated, then tighten"


def remedy_first_text(progress: JointProgress, held: FastenerRemedy) -> str:
    """The message that the remedy in turn has to be carried out before a fastener is ticked again."""
    title = progress.joint.title or progress.joint.id
    where = f"{title}, fastener {held.tick.fastener}, stage {held.tick.stage}"
    return f"{where}: carry out the remedy first. {held.instruction}"


def too_tight_text(progress: JointProgress, tick: Tick) -> str:
    """Why a fastener has to be loosened before it is ticked again, and what to do if ``tick`` was misread."""
    text = out_of_band_text(progress.joint, progress.tighten, tick)
    loosen = _stage_remedy(progress.tighten.stages[tick.stage - 1], tick)
    return f"Fastener {tick.fastener} was too high ({text}). {loosen}. If it was misread, correct log line {tick.seq}"


def _extension_hint(state: State, tick: Tick) -> str:
    """A sentence on the extension of the wrench, if a torque was entered with it: it changes what the wrench shows."""
    fitted = state.wrench is not None and state.wrench.extension is not None
    if not fitted or tick.quantity is None or dimension_of(tick.quantity.unit) != "torque":
        return ""
    return "With an extension, enter the torque at the fastener, not the reading of the wrench. "


def _remedy_of(progress: JointProgress, tick: Tick) -> str:
    if any(later > tick.stage for later in progress.ticked_stages):
        return "Clear the ticks of the later stages and do it again"
    return _stage_remedy(progress.tighten.stages[tick.stage - 1], tick)


def _stage_remedy(stage: Stage, tick: Tick) -> str:
    """What to do about a tick that is out of the band of ``stage``."""
    if isinstance(stage, CheckStage):
        return "Read it again"
    if isinstance(stage, LoosenStage):
        if tick.verdict == "high":
            return "It was turned back too far. Tighten it again, turn it back and tick it as loosened"
        return "Turn it back further and tick it again"
    if tick.verdict == "high":
        return "Loosen it, bring it up again and tick it as loosened"
    return "Bring it up to the band and tick it again"
