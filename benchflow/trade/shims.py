"""Which shim: N = R + (M − target), and the nearest size that is made. Exact to the last digit.

A size halfway between two that are made is asked, not guessed: both are named.
"""

from fractions import Fraction

from msgspec import Struct

from benchflow.quantity import Quantity, base, show
from benchflow.trade.rounding import in_unit
from benchflow.trade.worked import Line, SumError, Worked, decimals_of, line

SOURCE = "a maker's service manual: N = R + (M − target), nearest size made"


class Nearest(Struct, frozen=True):
    """The sizes made that are nearest to what is wanted: one, or two where they tie."""

    sizes: tuple[Quantity, ...]
    short: Quantity | None = None  # by how much the grid does not reach; None where it does


def exact_size(old: Quantity, measured: Quantity, target: Quantity) -> Quantity:
    """N = R + (M − target): a shim under a bucket or rocker takes up clearance as it grows. In ``old``'s unit."""
    return in_unit(base(old) + base(measured) - base(target), old.unit)


def nearest(wanted: Quantity, first: Quantity, last: Quantity, step: Quantity) -> Nearest:
    """The nearest of the sizes ``first``, ``first + step``, ... up to ``last``. Raises :class:`SumError` for a grid
    that has none."""
    start, end, pace, aim = (base(size) for size in (first, last, step, wanted))
    if pace <= 0 or end < start:
        raise SumError("step", "The sizes made need a step above zero and a last one not below the first")
    most = (end - start) // pace
    below = (aim - start) // pace
    tried = sorted({min(max(n, 0), most) for n in (below, below + 1)})
    least = min(abs(start + n * pace - aim) for n in tried)
    sizes = tuple(in_unit(start + n * pace, first.unit) for n in tried if abs(start + n * pace - aim) == least)
    beyond = max(start - aim, aim - (start + most * pace), Fraction(0))
    return Nearest(sizes, in_unit(beyond, first.unit) if beyond > pace / 2 else None)


def shim(
    old: Quantity,
    measured: Quantity,
    target: Quantity,
    grid: tuple[Quantity, Quantity, Quantity] | None = None,
) -> Worked:
    """The shim to fit, and the clearance it will give. ``grid`` is first, last and step of the sizes made."""
    wanted = exact_size(old, measured, target)
    if wanted.value <= 0:
        raise SumError("measured", "That asks for a shim of no thickness at all", "Look at the readings again.")
    filled = f"{show(old)} + ({show(measured)} − {show(target)})"
    lines: list[Line] = [_exact("wanted", "Shim wanted", wanted, "N = R + (M − target)", filled)]
    notes: list[str] = []
    if grid is not None:
        found = nearest(wanted, *grid)
        for number, size in enumerate(found.sizes, start=1):
            name = "fit" if len(found.sizes) == 1 else f"fit-{number}"
            left = in_unit(base(measured) + base(old) - base(size), target.unit)
            told = f"{show(measured)} + {show(old)} − {show(size)}"
            row = f"{show(grid[0])} + n × {show(grid[2])}"
            lines.append(_exact(name, "Size to fit", size, "the nearest made", row))
            lines.append(_exact(f"{name}-clearance", "Clearance with it", left, "M + R − N", told))
        if len(found.sizes) > 1:
            notes.append("Two sizes are as near: the thinner leaves more clearance. That is for you to say.")
        if found.short is not None:
            notes.append(f"The sizes made fall short by {show(found.short)}.")
    return Worked("Shim size", tuple(lines), SOURCE, tuple(notes))


def _exact(name: str, title: str, value: Quantity, formula: str, filled: str) -> Line:
    return line(name, title, value.value, value.unit, formula, filled, decimals=decimals_of(value))
