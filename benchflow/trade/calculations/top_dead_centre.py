"""True top dead centre from the two readings of a degree wheel at a positive stop."""

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import Calculation, angle_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, decimals_of, line
from benchflow.trade.rounding import amount

SOURCE = "geometry: top dead centre is halfway between the two readings"
_BY_HAND = Caution("caution", "Turn the engine only by hand, slowly. Remove the stop before you turn it further.")


def positive_stop(before: Quantity, after: Quantity) -> CalculationResult:
    """Return what the degree wheel must read at the stop, and its error at true top dead centre, in degrees.

    The error has no sign; its title has the side. ``before`` is the reading at the stop on the side before the zero
    mark, ``after`` the one on the side after it. A reading on the wrong side of the zero mark is negative. The error is
    half their difference. Source: geometry.

    Raises:
        CalculationError: a reading is not from −180° to 180°, or the readings are not on two sides of a dead centre.
    """
    hint = "On a wheel that is marked to 360°, enter 360° minus the reading before zero."
    for field, angle in (("before", before), ("after", after)):
        require_within(field, angle, "A reading", "-180°", "180°", hint)
    first, second = amount(before, "°"), amount(after, "°")
    centred, error = (first + second) / 2, (second - first) / 2
    if not 0 < centred < 180:
        raise CalculationError(
            "after", f"The stop would be at {float(centred):g}° on each side of top dead centre",
            "Enter the two readings where the piston touches the stop, one for each direction.",
        )  # fmt: skip
    decimals = decimals_of(before, after) + 1
    side, more, less = ("after", after, before) if error >= 0 else ("before", before, after)
    lines = (
        line("at-stop", "Set the wheel at the stop to", centred, "°", "(before + after) / 2",
             f"({show(before)} + {show(after)}) / 2", decimals=decimals),
        line("error", f"At true top dead centre the wheel now reads, {side} zero", abs(error), "°",
             "half the difference of the readings", f"({show(more)} − {show(less)}) / 2", decimals=decimals),
    )  # fmt: skip
    notes = [
        f"Hold the piston against the stop on the side after zero. Set the wheel or pointer to {lines[0].shown} after "
        "zero. Turn back to the stop on the other side. It must read the same there.",
    ]
    if error == 0:
        notes.append("The wheel is right. No correction is needed.")
    if centred < 15:
        notes.append("The stop is so close to top dead centre that the piston hardly moves there. "
                     "Set it 15° or more before it.")  # fmt: skip
    notes.append("Assumed: the pin is not offset, and the pointer did not move between the readings.")
    return CalculationResult("Top dead centre by a positive stop", lines, SOURCE, tuple(notes), cautions=(_BY_HAND,))


DEAD_CENTRE_CALCULATIONS = (
    Calculation(
        "tdc", "Top dead centre by a positive stop",
        (
            angle_field("before", "Reading at the stop, before zero", "38°"),
            angle_field("after", "Reading at the stop, after zero", "42°"),
        ),
        lambda inputs: positive_stop(*inputs.quantities("before", "after")),
        SOURCE,
    ),
)  # fmt: skip
