"""The clamp load of a joint by torque and lubricant, for weak points that state the consequence in numbers.

The load is estimated by the nut factor: F = T / (K d) (:mod:`benchflow.trade.calculations.bolt_torque`), so the load
changes in proportion to the torque and inversely to the nut factor. The scatter is 25 % and more, so that only the
change means something.
"""

from decimal import Decimal
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import AngleStage, Joint, Tighten, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.trade.calculations.bolt_torque import preload_of
from benchflow.trade.calculations.result import CalculationError
from benchflow.trade.joint_estimates import proof_share, thread_of

USUAL_NUT_FACTORS: Final = (
    (("dry", "nothing", "clean", "degreased", "none", "bare"), Decimal("0.20")),
    (("moly", "mos2", "molybdenum", "assembly lube", "assembly paste"), Decimal("0.11")),
    (("anti-seize", "antiseize", "anti seize", "copper", "nickel"), Decimal("0.12")),
    (("lock", "thread sealant", "sealer"), Decimal("0.18")),
    (("stud lubricant", "thread lubricant"), Decimal("0.15")),
    (("grease",), Decimal("0.16")),
    (("oil",), Decimal("0.15")),
)
"""The nut factor by words for the lubricant; the first row with one of its words applies.

Sources: 0.20 clean dry steel and 0.15 residual oil from a mechanical design handbook, as quoted; 0.12 anti-seize from a
textbook's table, from memory. The others are common practice, no source.
"""


class ClampLoad(Struct, frozen=True):
    """The clamp load of a joint in kN, and as a share of its proof load; ``None``: not known."""

    kilonewtons: float
    proof: float | None


def usual_nut_factor(lubricant: str) -> Decimal | None:
    """The usual nut factor with a lubricant, by the words for it; ``None`` if they are not known."""
    words = lubricant.casefold()
    return next((factor for names, factor in USUAL_NUT_FACTORS if any(name in words for name in names)), None)


def joint_of_step(log: LoadedLog, step: Step) -> Joint | None:
    """The joint that ``step`` tightens."""
    tighten = step.operation.tighten
    return None if tighten is None else log.procedure.joints_by_id.get(tighten.joint)


def final_torque(log: LoadedLog, step: Step) -> Quantity | None:
    """The torque of the last stage with one, as it is known now; ``None`` without such a stage."""
    tighten = tighten_in_force(log.state, step)
    stages = () if tighten is None else tighten.stages
    return next((stage.torque for stage in reversed(stages) if isinstance(stage, TorqueStage)), None)


def is_turned(tighten: Tighten | None) -> bool:
    """True if the last stages turn the fasteners by an angle, which decides their load more than the torque."""
    return tighten is not None and any(isinstance(stage, AngleStage) for stage in tighten.stages)


def clamp_load(joint: Joint, torque: Quantity | None, nut_factor: Decimal | None) -> ClampLoad | None:
    """The estimated clamp load at ``torque``; ``None`` if thread, torque or nut factor is not known."""
    thread = thread_of(joint)
    if thread is None or torque is None or nut_factor is None:
        return None
    try:
        newtons, _ = preload_of(torque, thread, nut_factor, "")
    except CalculationError:
        return None
    return ClampLoad(newtons / 1000, proof_share(replace(joint, nut_factor=nut_factor), torque))


def load_change_text(change: float, now: ClampLoad | None, stated: ClampLoad | None) -> str:
    """``about 25 % less clamp load, 25 kN instead of 34 kN``; above the proof load, that too. ``change`` is a share."""
    words = f"about {abs(change):.0%} {'more' if change > 0 else 'less'} clamp load".replace("%", " %")
    if now is None or stated is None:
        return words
    words += f", {_kilonewtons(now)} instead of {_kilonewtons(stated)}"
    if change > 0 and now.proof is not None:
        words += f", {now.proof:.0%} of the proof load".replace("%", " %")
    return words


def _kilonewtons(load: ClampLoad) -> str:
    return f"{load.kilonewtons:.{0 if load.kilonewtons >= 10 else 1}f} kN"
