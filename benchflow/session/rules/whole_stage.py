"""Rules for entering the rest of the current stage together, and for beginning the stage again."""

from benchflow.procedure.model import AngleStage, CheckStage, LoosenStage, OpenStage
from benchflow.procedure.plan import Step
from benchflow.session.refusal import Code, Reason
from benchflow.session.rules.failed_fasteners import stopped_reason
from benchflow.session.rules.joint_progress import JointProgress, progress_text
from benchflow.session.rules.missing_figures import joint_figure_missing
from benchflow.session.rules.remedy_waits import wait_reasons
from benchflow.session.rules.stage_remedies import remedy_of_tick
from benchflow.session.rules.stage_torques import stage_figure_missing
from benchflow.session.rules.tick_advice import (
    not_seated_text,
    out_of_limit_text,
    remedy_first_text,
    too_tight_text,
)
from benchflow.session.state.clock import Now
from benchflow.session.state.state import State


def rest_of_stage(progress: JointProgress) -> tuple[int, ...]:
    """The fasteners of the current stage that do not count as done, in tightening order."""
    return tuple(fastener for fastener in progress.order if fastener not in progress.accepted)


def rest_reasons(state: State, step: Step, progress: JointProgress, now: Now) -> tuple[Reason, ...]:
    """Every reason why the rest of the current stage cannot be entered together; empty if it can."""
    if progress.failed:
        return (stopped_reason(state, step, progress),)
    missing = joint_figure_missing(state, step, progress.joint)
    if missing is not None:
        return (missing,)
    title, stage = progress.joint.title or progress.joint.id, progress.current_stage
    if stage is None:
        return (_reason("already-done", progress, f"{title} is already tightened ({progress_text(progress)})"),)
    if progress.seating_open:
        return (_reason("stage-not-finished", progress, not_seated_text(progress)),)
    if isinstance(stage, OpenStage):
        return (stage_figure_missing(state, step, progress.stage_number, stage),)
    reasons: list[Reason] = []
    if isinstance(stage, CheckStage):
        message = f"Stage {progress.stage_number} of {title} needs a reading of each fastener ({stage.text}). "
        reasons.append(_reason("value-missing", progress, f"{message}Enter them one by one"))
    if progress.out:
        reasons.append(_reason("out-of-limit", progress, out_of_limit_text(state, step, progress, progress.out[0])))
    for fastener in rest_of_stage(progress):
        tight = progress.too_tight.get((progress.stage_number, fastener))
        if tight is not None and progress.out_tick(fastener) is None:
            reasons.append(_reason("remedy-first", progress, too_tight_text(progress, tight)))
        reasons += wait_reasons(state, step, progress.joint.id, str(fastener), now)
    return tuple(reasons)


def stage_again_reasons(state: State, step: Step, progress: JointProgress) -> tuple[Reason, ...]:
    """Every reason why the current stage cannot be begun again; empty if it is possible.

    A stage that turns by an angle cannot: what is turned stays turned, and a second turn would add to it.
    """
    if progress.failed:
        return (stopped_reason(state, step, progress),)
    title, stage, number = progress.joint.title or progress.joint.id, progress.current_stage, progress.stage_number
    if stage is None:
        message = f"{title} is already tightened ({progress_text(progress)}). Clear single ticks instead"
        return (_reason("already-done", progress, message),)
    if number not in progress.ticked_stages:
        message = f"Stage {number} of {title} has no ticks yet. There is nothing to begin again"
        return (_reason("fastener-order", progress, message),)
    reasons: list[Reason] = []
    if isinstance(stage, AngleStage) or (isinstance(stage, LoosenStage) and stage.angle is not None):
        message = f"Stage {number} of {title} turns each fastener by an angle ({stage.text}), and what is turned stays "
        message += "turned. Clear single ticks that are wrong, or loosen the joint: rework the operation"
        reasons.append(_reason("not-allowed", progress, message))
    if progress.later_stage:
        message = f"A later stage of {title} has ticks. Clear them before you begin stage {number} again"
        reasons.append(_reason("not-allowed", progress, message))
    for tick in progress.out:
        held = remedy_of_tick(state, step, tick)
        if held is not None and held.final:
            reasons.append(_reason("out-of-limit", progress, out_of_limit_text(state, step, progress, tick)))
        elif held is not None:
            reasons.append(_reason("remedy-first", progress, remedy_first_text(progress, held)))
    return tuple(reasons)


def _reason(code: Code, progress: JointProgress, message: str) -> Reason:
    return Reason(code, message, name=progress.joint.id)
