"""Shim size, exact to the last digit: N = R + (M − target), and the nearest size that is made.

Where the wanted size is halfway between two sizes made, both are named and the builder chooses.
"""

from fractions import Fraction

from msgspec import Struct

from benchflow.quantity import Quantity, base, show
from benchflow.trade.calculations.inputs import Calculation, Inputs, length_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, decimals_of, line
from benchflow.trade.rounding import in_unit

SOURCE = "a maker's service manual: N = R + (M − target), nearest size made"


class NearestSizes(Struct, frozen=True):
    """The sizes made that are nearest to a wanted size: one, or two where they are equally near.

    ``short`` is the distance from the wanted size to the end of the range of sizes, where it is more than half a
    step outside.
    """

    sizes: tuple[Quantity, ...]
    short: Quantity | None = None


def exact_size(old: Quantity, measured: Quantity, target: Quantity) -> Quantity:
    """N = R + (M − target) in the unit of ``old``, for a shim that reduces the clearance as it gets thicker."""
    return in_unit(base(old) + base(measured) - base(target), old.unit)


def nearest(wanted: Quantity, first: Quantity, last: Quantity, step: Quantity) -> NearestSizes:
    """The nearest of the sizes ``first``, ``first + step``, ... up to ``last``.

    Raises:
        CalculationError: there are no such sizes.
    """
    start, end, spacing, aim = (base(size) for size in (first, last, step, wanted))
    if spacing <= 0 or end < start:
        raise CalculationError("step", "The step must be above zero, and the last size not below the first")
    most = (end - start) // spacing
    below = (aim - start) // spacing
    candidates = sorted({min(max(n, 0), most) for n in (below, below + 1)})
    least = min(abs(start + n * spacing - aim) for n in candidates)
    sizes = tuple(
        in_unit(start + n * spacing, first.unit) for n in candidates if abs(start + n * spacing - aim) == least
    )
    beyond = max(start - aim, aim - (start + most * spacing), Fraction(0))
    return NearestSizes(sizes, in_unit(beyond, first.unit) if beyond > spacing / 2 else None)


def shim(
    old: Quantity,
    measured: Quantity,
    target: Quantity,
    made: tuple[Quantity, Quantity, Quantity] | None = None,
) -> CalculationResult:
    """The shim to fit and the clearance with it. ``made`` is the first size made, the last, and the step."""
    wanted = exact_size(old, measured, target)
    if wanted.value <= 0:
        raise CalculationError("measured", "The shim would have no thickness", "Check the readings.")
    filled = f"{show(old)} + ({show(measured)} − {show(target)})"
    lines: list[ResultLine] = [_exact("wanted", "Shim wanted", wanted, "N = R + (M − target)", filled)]
    notes: list[str] = []
    if made is not None:
        found = nearest(wanted, *made)
        for number, size in enumerate(found.sizes, start=1):
            name = "fit" if len(found.sizes) == 1 else f"fit-{number}"
            clearance = in_unit(base(measured) + base(old) - base(size), target.unit)
            filled = f"{show(measured)} + {show(old)} − {show(size)}"
            sizes = f"{show(made[0])} + n × {show(made[2])}"
            lines.append(_exact(name, "Size to fit", size, "nearest size made", sizes, made[0], made[2]))
            lines.append(_exact(f"{name}-clearance", "Clearance with it", clearance, "M + R − N", filled, measured))
        if len(found.sizes) > 1:
            notes.append("Two sizes are equally near. The thinner one leaves more clearance: choose one.")
        if found.short is not None:
            notes.append(f"The sizes made end {show(found.short)} before the size wanted.")
    return CalculationResult("Shim size", tuple(lines), SOURCE, tuple(notes))


def _exact(name: str, title: str, value: Quantity, formula: str, filled: str, *as_fine_as: Quantity) -> ResultLine:
    """A line with the exact value, with at least as many decimals as ``as_fine_as``."""
    return line(name, title, value.value, value.unit, formula, filled, decimals=decimals_of(value, *as_fine_as))


def _shim(inputs: Inputs) -> CalculationResult:
    first, last, step = (inputs.optional_quantity(name) for name in ("first", "last", "step"))
    made = None if first is None or last is None or step is None else (first, last, step)
    if made is None and any(one is not None for one in (first, last, step)):
        raise CalculationError(
            "step", "The sizes made need a first size, a last size and a step", "Give all three or none."
        )
    return shim(inputs.quantity("old"), inputs.quantity("measured"), inputs.quantity("target"), made)


SHIM_CALCULATIONS = (
    Calculation(
        "shim", "Shim size",
        (
            length_field("old", "Shim in place", "2.40 mm"), length_field("measured", "Clearance measured", "0.45 mm"),
            length_field("target", "Clearance wanted", "0.37 mm"),
            length_field("first", "Smallest size made", "2.00 mm", optional=True),
            length_field("last", "Largest size made", "2.98 mm", optional=True),
            length_field("step", "Step of the sizes", "0.02 mm", optional=True),
        ),
        _shim, SOURCE,
    ),
)  # fmt: skip
