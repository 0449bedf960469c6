"""Assigns measured parts to places: shims to valves, shells to journals, pistons to bores.

Each part must be within the limits of its place. The best assignment buys the fewest parts. If several do, it is the
one that moves the fewest parts. If several still do, it is the one with the least sum of squared distances from the
aims, so that no place is far from its aim. The three numbers are combined into one exact whole number. This is the cost
for :mod:`benchflow.trade.assignment` (our own rule, no source).
"""

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import Literal

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.quantity import Limit, Quantity, base, dimension_of, show_short
from benchflow.trade.assignment import Assignment, assign
from benchflow.trade.rounding import in_unit

MAXIMUM = 500
"""The largest accepted number of parts or places. A larger number must be a mistake in a file."""


class MatchError(BenchflowError):
    """The parts and places contradict each other: a part is named twice, or dimensions are mixed."""


class StockPart(Struct, frozen=True):
    """A part on hand with its measured size."""

    id: str
    size: Quantity


class PartPlace(Struct, frozen=True):
    """A place and the sizes that fit it. ``current`` is the id of the part that is in it now."""

    name: str
    low: Quantity | None
    high: Quantity | None
    aim: Quantity | None = None
    current: str | None = None


class PurchasableSizes(Struct, frozen=True):
    """The sizes that can be bought: from ``first`` to ``last`` in steps of ``step``, all in one unit."""

    first: Quantity
    last: Quantity
    step: Quantity


class Placement(Struct, frozen=True):
    """A part assigned to a place. ``off`` is its size minus the aim, ``None`` without an aim."""

    place: str
    part: str
    size: Quantity
    moved: bool  # the part is not in this place now
    off: Quantity | None


class Purchase(Struct, frozen=True):
    """A part to buy for a place, with the limits and the aim of the place.

    ``sizes`` are the purchasable sizes nearest to the aim. There are two if both are equally near (the builder
    chooses), and none if no purchasable size fits. ``None`` means that the purchasable sizes are not known.
    """

    place: str
    sizes: tuple[Quantity, ...] | None
    low: Quantity | None
    high: Quantity | None
    aim: Quantity | None

    @property
    def text(self) -> str:
        """The purchase as text, such as ``3: 2.46 mm or 2.48 mm (from 2.42 mm to 2.52 mm)``."""
        span = _span(self.low, self.high)
        if self.sizes is None:
            best = "" if self.aim is None else f", best {show_short(self.aim)}"
            return f"{self.place}: one {span}{best}"
        if not self.sizes:
            return f"{self.place}: no purchasable size fits ({span})"
        return f"{self.place}: {' or '.join(show_short(size) for size in self.sizes)} ({span})"


def _span(low: Quantity | None, high: Quantity | None) -> str:
    if low is not None and high is not None:
        return f"from {show_short(low)} to {show_short(high)}"
    if high is not None:
        return f"at most {show_short(high)}"
    return "of any size" if low is None else f"at least {show_short(low)}"


class EqualAlternative(Struct, frozen=True):
    """The changes that give another assignment of the same cost."""

    changes: tuple[tuple[str, str], ...]  # place, and the part that it would have


class Matched(Struct, frozen=True, tag="matched"):
    """Every place gets a part on hand. ``moved`` is the number of parts that change their place."""

    given: tuple[Placement, ...]
    moved: int
    ties: tuple[EqualAlternative, ...]


class Unmatched(Struct, frozen=True, tag="unmatched"):
    """Some places get no part on hand.

    ``given`` has the places with a part, ``buy`` the others. ``why`` is the explanation, one sentence per item, without
    full stops.
    """

    why: tuple[str, ...]
    buy: tuple[Purchase, ...]
    given: tuple[Placement, ...]
    ties: tuple[EqualAlternative, ...]


def required(
    constant: Quantity, limit: Limit, aim: Quantity | None, slope: Literal[1, -1]
) -> tuple[Quantity | None, Quantity | None, Quantity | None]:
    """Return the smallest, the largest and the best size for which ``constant + slope * size`` is within ``limit``.

    The best size gives exactly ``aim``. All results are in the unit of ``constant``. A result is ``None`` if that end
    of the limit is open, or if there is no aim. Example: lash = (measured lash + old shim) - new shim. The constant is
    the sum in brackets, and the slope is -1. Source: arithmetic.

    Raises:
        QuantityError: there is no such unit.
    """
    ends = (limit.low, limit.high) if slope == 1 else (limit.high, limit.low)
    low, high = (None if end is None else _size(end, constant, slope) for end in ends)
    return low, high, None if aim is None else _size(aim, constant, slope)


def _size(value: Quantity, constant: Quantity, slope: int) -> Quantity:
    return in_unit(slope * (base(value) - base(constant)), constant.unit)


# --- matching ---------------------------------------------------------------------------------------


class _Column(Struct, frozen=True):
    """A column of the cost table: a part on hand, or a part to buy for one place."""

    size: Fraction | None  # None for a part to buy whose size is not known
    part: StockPart | None
    row: int = -1  # the index of the place for which the part is bought


def match(
    parts: Sequence[StockPart], places: Sequence[PartPlace], purchasable: PurchasableSizes | None = None
) -> Matched | Unmatched:
    """Return the best assignment of ``parts`` to ``places``, and the purchases for places without a part.

    All sizes and limits have one dimension, in any units. The rule is in the docstring of this module (no source).

    Raises:
        MatchError: there are no places or more than ``MAXIMUM`` parts or places; a part or place is named twice;
            dimensions are mixed; a ``current`` is not among the parts, or is in two places; the purchasable sizes have
            no step above zero, or end before they start.
    """
    _check(parts, places, purchasable)
    bought = [_sizes_for(place, purchasable) for place in places]
    columns = [_Column(base(part.size), part) for part in parts]
    columns += [_Column(base(sizes[0]) if sizes else None, None, row) for row, sizes in enumerate(bought)]
    best = assign(_costs(places, columns))
    return _answer(places, columns, best.chosen, bought, _ties(places, columns, best), purchasable)


def _check(parts: Sequence[StockPart], places: Sequence[PartPlace], grid: PurchasableSizes | None) -> None:
    if not places:
        raise MatchError("There are no places to match parts to.")
    if max(len(parts), len(places)) > MAXIMUM:
        raise MatchError(f"More than {MAXIMUM} parts or places cannot be matched at once.")
    for noun, names in (("part", [p.id for p in parts]), ("place", [p.name for p in places])):
        for name in names:
            if names.count(name) > 1:
                raise MatchError(f"The {noun} {name} is named twice. Give each its own name.")
    known = {part.id for part in parts}
    used: set[str] = set()
    for place in places:
        if place.current is not None and place.current not in known:
            raise MatchError(f"{place.current}, now in {place.name}, is not among the measured parts.")
        if place.current in used:
            raise MatchError(f"{place.current} is in two places now. Correct {place.name} or the other place.")
        used |= {place.current} if place.current is not None else set()
    sizes = [part.size for part in parts]
    sizes += [q for place in places for q in (place.low, place.high, place.aim) if q is not None]
    sizes += [] if grid is None else [grid.first, grid.last, grid.step]
    dimensions = {dimension_of(size.unit) for size in sizes}
    if len(dimensions) > 1:
        raise MatchError(f"All sizes must have one dimension. They have {', '.join(sorted(dimensions))}.")
    if grid is not None and (grid.step.value <= 0 or base(grid.first) > base(grid.last)):
        raise MatchError("The purchasable sizes need a step above zero, and a last size not below the first.")


class _Bounds(Struct, frozen=True):
    """The limits and the aim of a place, in the base unit."""

    low: Fraction | None
    high: Fraction | None
    aim: Fraction | None

    def fit(self, size: Fraction) -> bool:
        """True if the size fits the place."""
        return (self.low is None or self.low <= size) and (self.high is None or size <= self.high)

    def off(self, size: Fraction) -> Fraction:
        """The size minus the aim; 0 without an aim."""
        return Fraction(0) if self.aim is None else size - self.aim


def _bounds(place: PartPlace) -> _Bounds:
    low, high, aim = (None if end is None else base(end) for end in (place.low, place.high, place.aim))
    return _Bounds(low, high, aim)


def _sizes_for(place: PartPlace, grid: PurchasableSizes | None) -> tuple[Quantity, ...]:
    """Return the purchasable sizes that fit and are nearest to the aim: one, two if equally near, or none.

    Without an aim, the middle of the limits is the aim.
    """
    if grid is None:
        return ()
    first, last, step = base(grid.first), base(grid.last), base(grid.step)
    ends = [base(end) for end in (place.low, place.high) if end is not None]
    aim = base(place.aim) if place.aim is not None else sum(ends, Fraction(0)) / len(ends) if ends else first
    low = max([first, *([base(place.low)] if place.low is not None else [])])
    high = min([last, *([base(place.high)] if place.high is not None else [])])
    lowest = -((first - low) // step)  # rounded up
    highest = (high - first) // step
    if lowest > highest:
        return ()
    near = (aim - first) // step
    candidates = sorted({min(max(n, lowest), highest) for n in (near, near + 1)})
    least = min(abs(first + n * step - aim) for n in candidates)
    return tuple(in_unit(first + n * step, grid.first.unit) for n in candidates if abs(first + n * step - aim) == least)


def _costs(places: Sequence[PartPlace], columns: Sequence[_Column]) -> list[list[int | None]]:
    """Return the cost of each part in each place. ``None`` means that the part does not fit.

    A place that no part and no purchasable size fits costs more than any number of purchases. One purchase costs more
    than any number of moves. One move costs more than any distance from the aims.
    """
    offs: list[list[Fraction | None]] = []
    for row, place in enumerate(places):
        bounds = _bounds(place)
        line: list[Fraction | None] = []
        for column in columns:
            if column.part is None:
                size = column.size
                line.append((bounds.off(size) if size is not None else Fraction(0)) if column.row == row else None)
            else:
                assert column.size is not None  # a part on hand has been measured
                line.append(bounds.off(column.size) if bounds.fit(column.size) else None)
        offs.append(line)
    all_offs = [off for line in offs for off in line if off is not None]
    denominator = lcm(*(off.denominator for off in all_offs)) if all_offs else 1
    largest_distance = max((int(abs(off) * denominator) ** 2 for off in all_offs), default=0)
    move_cost = largest_distance * len(places) + 1
    purchase_cost = move_cost * (len(places) + 1)
    unserved_cost = purchase_cost * (len(places) + 1)

    def cost(row: int, column: int) -> int | None:
        off = offs[row][column]
        if off is None:
            return None
        distance = int(off * denominator) ** 2
        part = columns[column].part
        if part is None:
            return distance + move_cost + (unserved_cost if columns[column].size is None else purchase_cost)
        return distance + (0 if places[row].current == part.id else move_cost)

    return [[cost(row, column) for column in range(len(columns))] for row in range(len(places))]


def _ties(places: Sequence[PartPlace], columns: Sequence[_Column], best: Assignment) -> tuple[EqualAlternative, ...]:
    """Return other assignments of the same cost in which a place gets another size, at most one for each place."""
    ties: dict[frozenset[tuple[str, str]], EqualAlternative] = {}
    for row in range(len(places)):
        own = columns[best.chosen[row]].size
        other = best.alternative(row, [column.size != own for column in columns])
        if other is not None:
            changes = tuple((places[swap.row].name, _label(columns[swap.column])) for swap in other)
            ties.setdefault(frozenset(changes), EqualAlternative(changes))
    return tuple(ties.values())


def _label(column: _Column) -> str:
    return column.part.id if column.part is not None else "one to buy"


def _answer(
    places: Sequence[PartPlace],
    columns: Sequence[_Column],
    chosen: Sequence[int],
    bought: Sequence[tuple[Quantity, ...]],
    ties: tuple[EqualAlternative, ...],
    grid: PurchasableSizes | None,
) -> Matched | Unmatched:
    given: list[Placement] = []
    buy: list[Purchase] = []
    for row, place in enumerate(places):
        part = columns[chosen[row]].part
        if part is None:
            sizes = None if grid is None else bought[row]
            buy.append(Purchase(place.name, sizes, place.low, place.high, place.aim))
            continue
        off = None if place.aim is None else in_unit(base(part.size) - base(place.aim), part.size.unit)
        given.append(Placement(place.name, part.id, part.size, part.id != place.current, off))
    if not buy:
        return Matched(tuple(given), sum(one.moved for one in given), ties)
    count = "one place" if len(buy) == 1 else f"{len(buy)} places"
    unserved = [row for row, column in enumerate(chosen) if columns[column].part is None]
    why = (
        f"There are not enough fitting parts on hand: {count} without a part",
        *(_shortage(places[row], columns, given) for row in unserved),
    )
    return Unmatched(why, tuple(buy), tuple(given), ties)


def _shortage(place: PartPlace, columns: Sequence[_Column], given: Sequence[Placement]) -> str:
    """Return the reason why a place has no part: none fits, or those that fit are needed elsewhere."""
    sizes = {one.part.id: one.size for one in columns if one.part is not None and one.size is not None}
    bounds = _bounds(place)
    fitting = {part for part, size in sizes.items() if bounds.fit(size)}
    if not fitting:
        return f"No part on hand fits {place.name} ({_span(place.low, place.high)})"
    taken = [f"{one.part} (at {one.place})" for one in given if one.part in fitting]
    return f"The parts that fit {place.name} are needed elsewhere: {', '.join(taken)}"
