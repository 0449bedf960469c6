"""The table of all calculations, for the command ``calc`` and the screen.

``calculate("wrench", {"torque": "300 in-lb", "lever": "10 in", "extension": "4 in"})`` returns a
:class:`~benchflow.trade.calculations.result.CalculationResult`.
"""

from collections.abc import Mapping

from benchflow.procedure.problems import hint_for
from benchflow.trade.calculations.acceptance import ACCEPTANCE_CALCULATIONS
from benchflow.trade.calculations.belt_tension import BELT_CALCULATIONS
from benchflow.trade.calculations.bob_weight import BALANCE_CALCULATIONS
from benchflow.trade.calculations.bolt_strength import STRENGTH_CALCULATIONS
from benchflow.trade.calculations.bolt_stretch import STRETCH_CALCULATIONS
from benchflow.trade.calculations.bolt_torque import TORQUE_CALCULATIONS
from benchflow.trade.calculations.cam_timing import CAM_CALCULATIONS
from benchflow.trade.calculations.chamber_volume import CHAMBER_CALCULATIONS
from benchflow.trade.calculations.clearances import CLEARANCE_CALCULATIONS
from benchflow.trade.calculations.compression import COMPRESSION_CALCULATIONS
from benchflow.trade.calculations.friction_torque import FRICTION_CALCULATIONS
from benchflow.trade.calculations.inputs import Calculation, CalculationErrors, run_calculation
from benchflow.trade.calculations.iso_fits import FIT_CALCULATIONS
from benchflow.trade.calculations.leak_down import LEAK_CALCULATIONS
from benchflow.trade.calculations.piston_clearance import PISTON_CALCULATIONS
from benchflow.trade.calculations.piston_motion import MOTION_CALCULATIONS
from benchflow.trade.calculations.play_shims import PLAY_CALCULATIONS
from benchflow.trade.calculations.press_fit import PRESS_CALCULATIONS
from benchflow.trade.calculations.result import CalculationError, CalculationResult
from benchflow.trade.calculations.shims import SHIM_CALCULATIONS
from benchflow.trade.calculations.thermal_growth import THERMAL_CALCULATIONS
from benchflow.trade.calculations.tightening_angle import ANGLE_CALCULATIONS
from benchflow.trade.calculations.top_dead_centre import DEAD_CENTRE_CALCULATIONS
from benchflow.trade.calculations.torque_wrench import WRENCH_CALCULATIONS
from benchflow.trade.calculations.valve_springs import SPRING_CALCULATIONS

CALCULATIONS: dict[str, Calculation] = {
    calculation.name: calculation
    for calculation in (
        *WRENCH_CALCULATIONS,
        *TORQUE_CALCULATIONS,
        *FRICTION_CALCULATIONS,
        *STRENGTH_CALCULATIONS,
        *STRETCH_CALCULATIONS,
        *ANGLE_CALCULATIONS,
        *CLEARANCE_CALCULATIONS,
        *PISTON_CALCULATIONS,
        *SHIM_CALCULATIONS,
        *PLAY_CALCULATIONS,
        *THERMAL_CALCULATIONS,
        *FIT_CALCULATIONS,
        *PRESS_CALCULATIONS,
        *COMPRESSION_CALCULATIONS,
        *CHAMBER_CALCULATIONS,
        *MOTION_CALCULATIONS,
        *DEAD_CENTRE_CALCULATIONS,
        *CAM_CALCULATIONS,
        *SPRING_CALCULATIONS,
        *LEAK_CALCULATIONS,
        *BALANCE_CALCULATIONS,
        *BELT_CALCULATIONS,
        *ACCEPTANCE_CALCULATIONS,
    )
}
"""Calculations by name, in the order in which they are offered."""


def calculate(name: str, texts: Mapping[str, str], *, use_field_units: bool = False) -> CalculationResult:
    """Run the calculation called ``name``. The other arguments are those of :func:`.inputs.run_calculation`.

    Raises:
        CalculationErrors: there is no such calculation, or something is wrong with its inputs.
    """
    calculation = CALCULATIONS.get(name)
    if calculation is None:
        error = CalculationError("", f"There is no calculation “{name}”", hint_for(name, CALCULATIONS))
        raise CalculationErrors((error,))
    return run_calculation(calculation, texts, use_field_units=use_field_units)
