"""The tool of a tick: the wrench or angle gauge of the stage."""

from benchflow.procedure.model import CheckStage, Stage, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import Context
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_stages import quantity_name
from benchflow.session.rules.instrument_fitness import Tool, choose_tool, need_for_stage
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.wrench_correction import wrench_setting
from benchflow.session.rules.wrench_range import wrench_range_refusal
from benchflow.session.state.state import State


def tool_of_stage(
    state: State,
    context: Context,
    step: Step,
    progress: JointProgress,
    stage: Stage,
    given: str | None,
    read: Quantity | None = None,
) -> Tool | Refusal:
    """The tool of a tick in ``stage``. ``given`` is the instrument in the intent, ``read`` what was read with it."""
    need = need_for_stage(state, step, stage, progress.tighten.instrument)
    outside = wrench_range_refusal(state, context, need, given, _torques_now(stage, read))
    return outside or choose_tool(state, context, need, given, shown_on_tool(state, stage, read))


def _torques_now(stage: Stage, read: Quantity | None) -> tuple[Quantity, ...]:
    """The torque at the fastener for which the wrench is set, or at which it was read."""
    if isinstance(stage, TorqueStage):
        return (stage.torque,)
    is_torque = isinstance(stage, CheckStage) and quantity_name(stage.limit) == "torque"
    return (read,) if is_torque and read is not None else ()


def shown_on_tool(state: State, stage: Stage, read: Quantity | None) -> Quantity | None:
    """What the tool shows or is set to in ``stage``, with the fitted extension; ``None`` if that is not known."""
    for torque in _torques_now(stage, read):
        return wrench_setting(state, torque)
    return read if isinstance(stage, CheckStage) else None
