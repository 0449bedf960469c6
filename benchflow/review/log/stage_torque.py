"""The torque of a tightening stage with its tolerance, for the facts of a log."""

from functools import lru_cache

from msgspec import Struct

from benchflow.procedure.model import AngleStage, OpenStage, Stage, TickTolerance, TorqueStage
from benchflow.quantity import base
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.state import State
from benchflow.trade.tick_bands import band_of_stage


class StageTorque(Struct, frozen=True):
    """The torque of a stage as text, and its tolerance to each side as a share of it.

    ``kind`` is the kind of the stage, "" if it is not known. ``torque`` is "" for a stage
    of another kind. ``turned`` is true if a later stage turns the fasteners by an angle.
    """

    torque: str = ""
    low: float | None = None
    high: float | None = None
    turned: bool = False
    kind: str = ""


NO_STAGE = StageTorque()


def stage_torque(state: State, operation: str, number: int) -> StageTorque:
    """The torque of the stage ``number`` (from 1) as it is known in ``state``."""
    step = state.plan.steps.get(operation)
    tighten = None if step is None else tighten_in_force(state, step)
    if tighten is None or not 1 <= number <= len(tighten.stages):
        return NO_STAGE
    joint = state.plan.procedure.joints_by_id.get(tighten.joint)
    tolerances = (tighten.tolerance,) if joint is None else (tighten.tolerance, joint.tolerance)
    turned = any(isinstance(later, AngleStage) for later in tighten.stages[number:])
    return _figure(tighten.stages[number - 1], turned, *tolerances)


@lru_cache(maxsize=1024)
def _figure(stage: Stage, turned: bool, *tolerances: TickTolerance) -> StageTorque:
    if not isinstance(stage, TorqueStage):
        kind = stage.what if isinstance(stage, OpenStage) else str(stage.__struct_config__.tag)
        return StageTorque(kind=kind)
    band, nominal = band_of_stage(stage, *tolerances), base(stage.torque)
    low, high = (None, None) if band is None else (band.exact.low, band.exact.high)
    return StageTorque(
        stage.text,
        None if low is None else float((nominal - low) / nominal),
        None if high is None else float((high - nominal) / nominal),
        turned,
        "torque",
    )
