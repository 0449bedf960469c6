"""A measured set of parts given to a set of places: shims to valves, shells to journals, pistons to bores.

What is best, in this order: every limit holds; as few parts as can be are bought; as few as can be are
not in their place already; the squared distances from the aims add up to the least (so that no one place
pays for the others). They are weighed as one exact whole number (:mod:`benchflow.trade.assignment`).
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

MOST = 500
"""Places and parts beyond this are refused: no bench has them, and a slip in a file may."""


class MatchError(BenchflowError):
    """What was handed in cannot be matched: a part named twice, a length beside a mass."""


class StockPart(Struct, frozen=True):
    """A part on hand and its measured size."""

    id: str
    size: Quantity


class PartPlace(Struct, frozen=True):
    """A place and the sizes that will do there. ``current`` is the id of the part that is in it now."""

    name: str
    low: Quantity | None
    high: Quantity | None
    aim: Quantity | None = None
    current: str | None = None


class PurchasableSizes(Struct, frozen=True):
    """The sizes that can be bought: from ``first`` to ``last`` every ``step``, all in one unit."""

    first: Quantity
    last: Quantity
    step: Quantity


class Placement(Struct, frozen=True):
    """``part`` goes to ``place``. ``off`` is its size less the aim, ``None`` without an aim."""

    place: str
    part: str
    size: Quantity
    moved: bool  # not in this place already
    off: Quantity | None


class Purchase(Struct, frozen=True):
    """A part to buy for ``place``. ``sizes`` are the best that are made: more than one where two are as
    near the aim, for the builder to say; none where no size made will do; ``None`` where it is not known
    what is made. ``low``, ``high`` and ``aim`` are what the place asks."""

    place: str
    sizes: tuple[Quantity, ...] | None
    low: Quantity | None
    high: Quantity | None
    aim: Quantity | None

    @property
    def words(self) -> str:
        span = _span(self.low, self.high)
        if self.sizes is None:
            best = "" if self.aim is None else f", best {show(self.aim)}"
            return f"{self.place}: one {span}{best}"
        if not self.sizes:
            return f"{self.place}: no size that is made is {span}"
        return f"{self.place}: {' or '.join(show(size) for size in self.sizes)} ({span})"


def _span(low: Quantity | None, high: Quantity | None) -> str:
    if low is not None and high is not None:
        return f"from {show(low)} to {show(high)}"
    if high is not None:
        return f"at most {show(high)}"
    return "of any size" if low is None else f"at least {show(low)}"


class EqualAlternative(Struct, frozen=True):
    """Another way that is exactly as good: these places take these parts instead."""

    instead: tuple[tuple[str, str], ...]  # place, part


class Matched(Struct, frozen=True, tag="matched"):
    """Every place is served by a part on hand. ``moved`` counts those not in their place already."""

    given: tuple[Placement, ...]
    moved: int
    ties: tuple[EqualAlternative, ...]


class Unmatched(Struct, frozen=True, tag="unmatched"):
    """The parts on hand cannot serve every place. ``given`` is the best that can be done with them
    beside what is to be bought, fewest first; ``why`` says it in words, a clause each."""

    why: tuple[str, ...]
    buy: tuple[Purchase, ...]
    given: tuple[Placement, ...]
    ties: tuple[EqualAlternative, ...]

    @property
    def can_be_bought(self) -> bool:
        """Whether a size that is made serves every place to buy for."""
        return all(buy.sizes for buy in self.buy)


def required(
    constant: Quantity, limit: Limit, aim: Quantity | None, slope: Literal[1, -1]
) -> tuple[Quantity | None, Quantity | None, Quantity | None]:
    """The sizes that will do where the value judged is ``constant + slope * size``: low, high, aim.

    A shim under a bucket: lash = (measured lash + old shim) - new shim, so the slope is -1.
    """
    ends = (limit.low, limit.high) if slope == 1 else (limit.high, limit.low)
    low, high = (None if end is None else _less(end, constant, slope) for end in ends)
    return low, high, None if aim is None else _less(aim, constant, slope)


def _less(value: Quantity, constant: Quantity, slope: int) -> Quantity:
    return in_unit(slope * (base(value) - base(constant)), constant.unit)


# --- matching ---------------------------------------------------------------------------------------


class _Column(Struct, frozen=True):
    """Something that can be given: a part on hand, or what would be bought for one place."""

    size: Fraction | None  # None: bought, and no grid to take a size from
    part: StockPart | None
    row: int = -1  # the only place that a bought one is for


def match(
    parts: Sequence[StockPart], places: Sequence[PartPlace], purchasable: PurchasableSizes | None = None
) -> Matched | Unmatched:
    """The best way of giving ``parts`` to ``places``; what to buy where they will not do.

    All sizes and limits are of one dimension, in any units. Raises :class:`MatchError` on a part or place named twice,
    an empty set of places, mixed dimensions, a ``current`` that is not among the parts, or a grid whose
    step is not above zero.
    """
    _refuse_nonsense(parts, places, purchasable)
    bought = [_sizes_for(place, purchasable) for place in places]
    columns = [_Column(base(part.size), part) for part in parts]
    columns += [_Column(base(sizes[0]) if sizes else None, None, row) for row, sizes in enumerate(bought)]
    best = assign(_costs(places, columns))
    return _answer(places, columns, best.chosen, bought, _ties(places, columns, best), purchasable)


def _refuse_nonsense(parts: Sequence[StockPart], places: Sequence[PartPlace], grid: PurchasableSizes | None) -> None:
    if not places:
        raise MatchError("There is no place to match a part to.")
    if max(len(parts), len(places)) > MOST:
        raise MatchError(f"More than {MOST} parts or places cannot be matched at once.")
    for what, names in (("part", [p.id for p in parts]), ("place", [p.name for p in places])):
        for name in names:
            if names.count(name) > 1:
                raise MatchError(f"The {what} {name} is named twice; give each a name of its own.")
    known = {part.id for part in parts}
    used: set[str] = set()
    for place in places:
        if place.current is not None and place.current not in known:
            raise MatchError(f"{place.current}, now in {place.name}, is not among the parts measured.")
        if place.current in used:
            raise MatchError(f"{place.current} cannot be in two places now; look at {place.name}.")
        used |= {place.current} if place.current is not None else set()
    sizes = [part.size for part in parts]
    sizes += [q for place in places for q in (place.low, place.high, place.aim) if q is not None]
    sizes += [] if grid is None else [grid.first, grid.last, grid.step]
    dimensions = {dimension_of(size.unit) for size in sizes}
    if len(dimensions) > 1:
        raise MatchError(f"All sizes must be of one kind; here are {', '.join(sorted(dimensions))}.")
    if grid is not None and (grid.step.value <= 0 or base(grid.first) > base(grid.last)):
        raise MatchError("The sizes that can be bought need a first not above the last, and a step above zero.")


class _Bounds(Struct, frozen=True):
    """The sizes that fit a place and its aim, in the base unit."""

    low: Fraction | None
    high: Fraction | None
    aim: Fraction | None

    def fit(self, size: Fraction) -> bool:
        return (self.low is None or self.low <= size) and (self.high is None or size <= self.high)

    def off(self, size: Fraction) -> Fraction:
        return Fraction(0) if self.aim is None else size - self.aim


def _bounds(place: PartPlace) -> _Bounds:
    low, high, aim = (None if end is None else base(end) for end in (place.low, place.high, place.aim))
    return _Bounds(low, high, aim)


def _sizes_for(place: PartPlace, grid: PurchasableSizes | None) -> tuple[Quantity, ...]:
    """The sizes of the grid nearest the aim that fit: one, two where they tie, none where none fits.
    Without an aim, the middle of what will do is aimed at."""
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
    tried = sorted({min(max(n, lowest), highest) for n in (near, near + 1)})
    least = min(abs(first + n * step - aim) for n in tried)
    return tuple(in_unit(first + n * step, grid.first.unit) for n in tried if abs(first + n * step - aim) == least)


def _costs(places: Sequence[PartPlace], columns: Sequence[_Column]) -> list[list[int | None]]:
    """Exact costs: ``None`` where a part will not do. One place that no size made will serve outweighs any
    number bought, one bought any number moved, one moved any distance from the aims."""
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
    every = [off for line in offs for off in line if off is not None]
    whole = lcm(*(off.denominator for off in every)) if every else 1
    dearest = max((int(abs(off) * whole) ** 2 for off in every), default=0)
    a_move = dearest * len(places) + 1
    a_purchase = a_move * (len(places) + 1)
    no_way = a_purchase * (len(places) + 1)

    def cost(row: int, column: int) -> int | None:
        off = offs[row][column]
        if off is None:
            return None
        distance = int(off * whole) ** 2
        part = columns[column].part
        if part is None:
            return distance + a_move + (no_way if columns[column].size is None else a_purchase)
        return distance + (0 if places[row].current == part.id else a_move)

    return [[cost(row, column) for column in range(len(columns))] for row in range(len(places))]


def _ties(places: Sequence[PartPlace], columns: Sequence[_Column], best: Assignment) -> tuple[EqualAlternative, ...]:
    """Other ways that are exactly as good and give some place another size: at most one for each place,
    each told whole."""
    ties: dict[frozenset[tuple[str, str]], EqualAlternative] = {}
    for row in range(len(places)):
        own = columns[best.chosen[row]].size
        other = best.alternative(row, [column.size != own for column in columns])
        if other is not None:
            told = tuple((places[taking.row].name, _called(columns[taking.column])) for taking in other)
            ties.setdefault(frozenset(told), EqualAlternative(told))
    return tuple(ties.values())


def _called(column: _Column) -> str:
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
        f"The parts on hand cannot serve {count}, however they are given out",
        *(_shortage(places[row], columns, given) for row in unserved),
    )
    return Unmatched(why, tuple(buy), tuple(given), ties)


def _shortage(place: PartPlace, columns: Sequence[_Column], given: Sequence[Placement]) -> str:
    """Why nothing on hand is left for a place: nothing fits, or what fits is needed elsewhere."""
    sizes = {one.part.id: one.size for one in columns if one.part is not None and one.size is not None}
    bounds = _bounds(place)
    fitting = {part for part, size in sizes.items() if bounds.fit(size)}
    if not fitting:
        return f"{place.name}: nothing on hand is {_span(place.low, place.high)}"
    taken = [f"{one.part} (at {one.place})" for one in given if one.part in fitting]
    return f"{place.name}: all that fits is needed elsewhere: {', '.join(taken)}"
