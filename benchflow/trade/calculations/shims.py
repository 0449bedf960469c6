"""Shim size, exact to the last digit: N = R + (M − target), and the nearest available size.

If the exact size is halfway between two available sizes, the result has both and the builder chooses.
"""

from fractions import Fraction

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, base, show
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import Calculation, Inputs, length_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, decimals_of, line
from benchflow.trade.rounding import in_unit

SOURCE = "a maker's service manual: N = R + (M − target), nearest available size"


class NearestSizes(Struct, frozen=True):
    """The available sizes nearest to the exact size: one, or two if they are equally near.

    ``beyond`` is the distance of the exact size from the nearest size, if it is more than half a step. Otherwise it is
    ``None``.
    """

    sizes: tuple[Quantity, ...]
    beyond: Quantity | None = None


def exact_size(old: Quantity, measured: Quantity, target: Quantity) -> Quantity:
    """Return the exact shim size N = R + (M − target) in the unit of ``old``.

    ``old`` R is the shim in place, ``measured`` M the clearance with it, ``target`` the clearance to reach. A thicker
    shim must reduce the clearance. Source: a maker's service manual.
    """
    return in_unit(base(old) + base(measured) - base(target), old.unit)


def nearest_sizes(exact: Quantity, first: Quantity, last: Quantity, step: Quantity) -> NearestSizes:
    """Return the nearest of the sizes ``first``, ``first + step``, ... up to ``last``, in the unit of ``first``.

    Source: arithmetic.

    Raises:
        CalculationError: the step is not above zero, or the last size is below the first.
    """
    start, end, spacing, aim = (base(size) for size in (first, last, step, exact))
    if spacing <= 0:
        raise CalculationError(
            "step", f"The step must be above zero, not {show(step)}", "Check the number and its unit."
        )
    if end < start:
        raise CalculationError(
            "last", f"The largest size, {show(last)}, is below the smallest, {show(first)}", "Check both sizes."
        )
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
    available: tuple[Quantity, Quantity, Quantity] | None = None,
) -> CalculationResult:
    """Return the exact shim size, the nearest available size and the clearance with it.

    Sizes are in the unit of ``old`` or of the available sizes, clearances in the unit of ``target``. ``available`` is
    the first available size, the last, and the step. Source: a maker's service manual.

    Raises:
        CalculationError: a shim is not from 0.05 to 50 mm, a clearance is not from 0 to 10 mm, the exact size is not
            above zero, or ``available`` has no sizes.
    """
    sizes = (("old", old, "The shim in place"),) if available is None else (
        ("old", old, "The shim in place"), ("first", available[0], "The smallest size"),
        ("last", available[1], "The largest size"),
    )  # fmt: skip
    for field, value, label in sizes:
        require_within(field, value, label, "0.05 mm", "50 mm")
    require_within("measured", measured, "The clearance measured", "0 mm", "10 mm",
                   "If the valve has no clearance, fit a thinner shim first, then measure.")  # fmt: skip
    require_within("target", target, "The clearance wanted", "0 mm", "10 mm")
    exact = exact_size(old, measured, target)
    if exact.value <= 0:
        raise CalculationError("measured", "The thickness of the new shim would be zero or less", "Check the readings.")
    filled = f"{show(old)} + ({show(measured)} − {show(target)})"
    lines: list[ResultLine] = [_exact("wanted", "Exact size", exact, "N = R + (M − target)", filled)]
    cautions: tuple[Caution, ...] = ()
    notes = ["Assumed: a thicker shim makes the clearance smaller by as much, and all is measured cold."]
    if available is not None:
        found = nearest_sizes(exact, *available)
        for number, size in enumerate(found.sizes, start=1):
            name = "fit" if len(found.sizes) == 1 else f"fit-{number}"
            clearance = in_unit(base(measured) + base(old) - base(size), target.unit)
            filled = f"{show(measured)} + {show(old)} − {show(size)}"
            steps = f"{show(available[0])} + n × {show(available[2])}"
            lines.append(_exact(name, "Size to fit", size, "nearest available size", steps, available[0], available[2]))
            lines.append(_exact(f"{name}-clearance", "Clearance with it", clearance, "M + R − N", filled, measured))
        if len(found.sizes) > 1:
            notes.append("Two sizes are equally near. The thinner one leaves more clearance. Choose one.")
        if any(base(measured) + base(old) < base(size) for size in found.sizes):
            cautions = (Caution("caution", "With this size there is no clearance. Do not fit it."),)
        if found.beyond is not None:
            notes.append(f"The nearest available size is {show(found.beyond)} away from the exact size.")
    return CalculationResult("Shim size", tuple(lines), SOURCE, tuple(notes), cautions=cautions)


def _exact(name: str, title: str, value: Quantity, formula: str, filled: str, *as_fine_as: Quantity) -> ResultLine:
    """Return a line with the exact value, with at least as many decimals as each of ``as_fine_as``."""
    return line(name, title, value.value, value.unit, formula, filled, decimals=decimals_of(value, *as_fine_as))


def _shim(inputs: Inputs) -> CalculationResult:
    first, last, step = (inputs.optional_quantity(name) for name in ("first", "last", "step"))
    made = None if first is None or last is None or step is None else (first, last, step)
    if made is None and any(one is not None for one in (first, last, step)):
        raise CalculationError(
            "step", "A first size, a last size and a step are needed together", "Give all three or none."
        )
    return shim(inputs.quantity("old"), inputs.quantity("measured"), inputs.quantity("target"), made)


SHIM_CALCULATIONS = (
    Calculation(
        "shim", "Shim size",
        (
            length_field("old", "Shim in place", "2.40 mm"), length_field("measured", "Clearance measured", "0.45 mm"),
            length_field("target", "Clearance wanted", "0.37 mm"),
            length_field("first", "Smallest available size", "2.00 mm", optional=True),
            length_field("last", "Largest available size", "2.98 mm", optional=True),
            length_field("step", "Step of the sizes", "0.02 mm", optional=True),
        ),
        _shim, SOURCE,
    ),
)  # fmt: skip
