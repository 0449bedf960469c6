"""Assigns measured parts to places: shims to valves, shells to journals, pistons to bores.

Every limit must hold. Among such assignments the best one buys the fewest parts, then moves the fewest parts, then
has the least sum of squared distances from the aims (so that no single place is far off). The three are combined
into one exact whole number as the cost for :mod:`benchflow.trade.assignment`.
"""

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import Literal

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.quantity import Limit, Quantity, base, dimension_of, show
from benchflow.trade.assignment import Assignment, assign
from benchflow.trade.rounding import in_unit

MAXIMUM = 500
"""The largest number of parts or places. A larger number is a mistake in a file."""


class MatchError(BenchflowError):
    """The parts and places cannot be matched, such as a part named twice or mixed dimensions."""


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
    """A part for a place. ``off`` is its size minus the aim, ``None`` without an aim."""

    place: str
    part: str
    size: Quantity
    moved: bool  # it is not in this place now
    off: Quantity | None


class Purchase(Struct, frozen=True):
    """A part to buy for a place, with the limits and the aim of the place.

    ``sizes`` are the best sizes made: two where both are equally near the aim (the builder chooses), none where no
    size made fits, ``None`` where the sizes made are not known.
    """

    place: str
    sizes: tuple[Quantity, ...] | None
    low: Quantity | None
    high: Quantity | None
    aim: Quantity | None

    @property
    def words(self) -> str:
        """The purchase in a few words: ``3: 2.46 mm or 2.48 mm (from 2.42 mm to 2.52 mm)``."""
        span = _span(self.low, self.high)
        if self.sizes is None:
            best = "" if self.aim is None else f", best {show(self.aim)}"
            return f"{self.place}: one {span}{best}"
        if not self.sizes:
            return f"{self.place}: no size made is {span}"
        return f"{self.place}: {' or '.join(show(size) for size in self.sizes)} ({span})"


def _span(low: Quantity | None, high: Quantity | None) -> str:
    if low is not None and high is not None:
        return f"from {show(low)} to {show(high)}"
    if high is not None:
        return f"at most {show(high)}"
    return "of any size" if low is None else f"at least {show(low)}"


class EqualAlternative(Struct, frozen=True):
    """Changes that give another assignment of the same cost."""

    instead: tuple[tuple[str, str], ...]  # place and its part instead


class Matched(Struct, frozen=True, tag="matched"):
    """Every place has a part on hand. ``moved`` is the number of parts that change their place."""

    given: tuple[Placement, ...]
    moved: int
    ties: tuple[EqualAlternative, ...]


class Unmatched(Struct, frozen=True, tag="unmatched"):
    """There is not a part on hand for every place.

    ``given`` are the places that have one, ``buy`` the others. ``why`` is the explanation, one clause an item.
    """

    why: tuple[str, ...]
    buy: tuple[Purchase, ...]
    given: tuple[Placement, ...]
    ties: tuple[EqualAlternative, ...]

    @property
    def can_be_bought(self) -> bool:
        """True if for every place to buy for a size is made that fits."""
        return all(buy.sizes for buy in self.buy)


def required(
    constant: Quantity, limit: Limit, aim: Quantity | None, slope: Literal[1, -1]
) -> tuple[Quantity | None, Quantity | None, Quantity | None]:
    """The sizes for which ``constant + slope * size`` is within ``limit``: low, high, and the size for the aim.

    A shim under a bucket: lash = (measured lash + old shim) - new shim, so the slope is -1.
    """
    ends = (limit.low, limit.high) if slope == 1 else (limit.high, limit.low)
    low, high = (None if end is None else _size(end, constant, slope) for end in ends)
    return low, high, None if aim is None else _size(aim, constant, slope)


def _size(value: Quantity, constant: Quantity, slope: int) -> Quantity:
    return in_unit(slope * (base(value) - base(constant)), constant.unit)


# --- matching ---------------------------------------------------------------------------------------


class _Column(Struct, frozen=True):
    """A part on hand, or the part that would be bought for one place."""

    size: Fraction | None  # None: a part to buy whose size is not known
    part: StockPart | None
    row: int = -1  # the only place for a part to buy


def match(
    parts: Sequence[StockPart], places: Sequence[PartPlace], purchasable: PurchasableSizes | None = None
) -> Matched | Unmatched:
    """The best assignment of ``parts`` to ``places``, with what to buy where no part fits.

    All sizes and limits are of one dimension, in any units.

    Raises:
        MatchError: a part or place is named twice, there are no places, dimensions are mixed, a ``current`` is not
            among the parts, or the step of the purchasable sizes is not above zero.
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
    for what, names in (("part", [p.id for p in parts]), ("place", [p.name for p in places])):
        for name in names:
            if names.count(name) > 1:
                raise MatchError(f"The {what} {name} is named twice. Give each its own name.")
    known = {part.id for part in parts}
    used: set[str] = set()
    for place in places:
        if place.current is not None and place.current not in known:
            raise MatchError(f"{place.current}, now in {place.name}, is not among the measured parts.")
        if place.current in used:
            raise MatchError(f"{place.current} is in two places now. Check {place.name}.")
        used |= {place.current} if place.current is not None else set()
    sizes = [part.size for part in parts]
    sizes += [q for place in places for q in (place.low, place.high, place.aim) if q is not None]
    sizes += [] if grid is None else [grid.first, grid.last, grid.step]
    dimensions = {dimension_of(size.unit) for size in sizes}
    if len(dimensions) > 1:
        raise MatchError(f"All sizes must have one dimension. They have {', '.join(sorted(dimensions))}.")
    if grid is not None and (grid.step.value <= 0 or base(grid.first) > base(grid.last)):
        raise MatchError("The sizes made need a step above zero, and a last size not below the first.")


class _Bounds(Struct, frozen=True):
    """The sizes that fit a place and its aim, in the base unit."""

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
    """The purchasable sizes that fit and are nearest to the aim: one, two where they are equally near, or none.

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
    """Costs by place and column; ``None`` where a part does not fit.

    One place for which no size is made costs more than any number of purchases, one purchase more than any number of
    moves, one move more than any distance from the aims.
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
    """Other assignments of the same cost that give some place another size, at most one for each place."""
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
        f"The parts on hand leave {count} without a part",
        *(_shortage(places[row], columns, given) for row in unserved),
    )
    return Unmatched(why, tuple(buy), tuple(given), ties)


def _shortage(place: PartPlace, columns: Sequence[_Column], given: Sequence[Placement]) -> str:
    """Why a place has no part: nothing fits, or what fits is needed elsewhere."""
    sizes = {one.part.id: one.size for one in columns if one.part is not None and one.size is not None}
    bounds = _bounds(place)
    fitting = {part for part, size in sizes.items() if bounds.fit(size)}
    if not fitting:
        return f"{place.name}: no part on hand is {_span(place.low, place.high)}"
    taken = [f"{one.part} (at {one.place})" for one in given if one.part in fitting]
    return f"{place.name}: the parts that fit are needed elsewhere: {', '.join(taken)}"
