"""Assigns parts to places by size: the thickest, the thinnest or the nearest that fits (`prefer` of a matching).

As many places as possible get a part. Of all such assignments, the preferred one has the largest sum of sizes, the
smallest, or the least sum of squared distances from the aims. If several are equal, the one that buys the fewest parts
is taken, and then the one that moves the fewest. Own rule, no source.
"""

from collections.abc import Sequence
from fractions import Fraction
from math import lcm

from msgspec import Struct

from benchflow.procedure.model import Preference
from benchflow.trade.assignment import assign


class SizedPart(Struct, frozen=True):
    """A part with its exact size in the base unit. ``id`` is its name; "" for a part to buy."""

    id: str
    size: Fraction


class OpenPlace(Struct, frozen=True):
    """A place without a part. ``fits`` names the parts on hand that fit, ``buy`` is the best size that can be bought.

    ``aim`` is the best size, for ``nearest``. ``current`` is the part that is in it now.
    """

    name: str
    fits: frozenset[str]
    buy: Fraction | None = None
    aim: Fraction | None = None
    current: str = ""


class PreferredParts(Struct, frozen=True):
    """The preferred part of each place; a place that none fits is left out.

    Of two assignments of the same places, the one with the smaller ``score`` is preferred: the number of places without
    a part, then the sum of the distances from the preferred size.
    """

    parts: dict[str, SizedPart]
    score: tuple[int, Fraction]


def distance(prefer: Preference, size: Fraction, aim: Fraction | None) -> Fraction:
    """How far a size is from the preferred one. Only differences count, so it may be below zero."""
    if prefer == "nearest":
        return Fraction(0) if aim is None else (size - aim) ** 2
    return size if prefer == "thinnest" else -size


def preferred_parts(parts: Sequence[SizedPart], places: Sequence[OpenPlace], prefer: Preference) -> PreferredParts:
    """The preferred assignment of ``parts`` to ``places``."""
    if not places:
        return PreferredParts({}, (0, Fraction(0)))
    columns = [*parts, *(SizedPart("", place.buy if place.buy is not None else Fraction(0)) for place in places)]
    costs = _costs(parts, places, prefer)
    chosen = assign(costs).chosen
    found: dict[str, SizedPart] = {}
    total = Fraction(0)
    for place, column in zip(places, chosen, strict=True):
        if column < len(parts) or place.buy is not None:
            found[place.name] = columns[column]
            total += distance(prefer, columns[column].size, place.aim)
    return PreferredParts(found, (len(places) - len(found), total))


def _costs(parts: Sequence[SizedPart], places: Sequence[OpenPlace], prefer: Preference) -> list[list[int | None]]:
    """The cost of each part in each place, and of a bought part, or none, in a column of its own for each place.

    A step of the distance costs more than any number of purchases, a purchase more than any number of moves, and a
    place without a part more than any distance.
    """
    on_hand = [
        [distance(prefer, part.size, place.aim) if part.id in place.fits else None for part in parts]
        for place in places
    ]
    bought = [None if place.buy is None else distance(prefer, place.buy, place.aim) for place in places]
    known = [one for row in on_hand for one in row if one is not None] + [one for one in bought if one is not None]
    least = min(known, default=Fraction(0))
    denominator = lcm(*(one.denominator for one in known)) if known else 1
    purchase = len(places) + 1
    step = purchase * (len(places) + 1)
    largest = max((int((one - least) * denominator) for one in known), default=0)
    nothing = (largest + 1) * step * (len(places) + 1)

    def cost(one: Fraction | None) -> int | None:
        return None if one is None else int((one - least) * denominator) * step

    rows: list[list[int | None]] = []
    for index, place in enumerate(places):
        row: list[int | None] = []
        for part, one in zip(parts, on_hand[index], strict=True):
            found = cost(one)
            row.append(None if found is None else found + (part.id != place.current))
        own = cost(bought[index])
        last: list[int | None] = [None] * len(places)
        last[index] = nothing if own is None else own + purchase
        rows.append([*row, *last])
    return rows
