"""The meaning of an index: ``journal[2]`` is a place or a reading, depending on the value.

==================  =====================  =======================  =============================
written             only places            only readings            places and readings
==================  =====================  =======================  =============================
``x``               this place             each reading in turn     each reading of this place
``x[2]``            place 2                reading 2                the one that has the name ``2``
``x[*]``            all places             all readings             all of this place; outside of
                                                                    its `each`: all of all
``x[2, left]``      –                      –                        reading left of place 2
``x[cap, left]``    –                      –                        reading left of this place
==================  =====================  =======================  =============================

If the readings are named after a set of places that repeats the operation, ``x`` is the reading of this place.

A value of an operation with `each` in a section with `each` has places with two parts, that of the section first. In
that section ``x`` is the same place, ``x[left]`` the place left at this place of the section, and ``x[*]`` all of
those; outside ``x[4, left]`` is one place, and ``x[*]`` all of them.
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from msgspec.structs import replace

from benchflow.procedure.formula.expression import NameNode
from benchflow.procedure.identity import ALL_PLACES, ValueRef, joined, parts
from benchflow.procedure.model import Operation
from benchflow.procedure.problems import hint_for

THIS_PLACE = ""
"""The place of the operation that a formula belongs to, in a formula that is not expanded yet. A place in a repeated
section has two such parts."""


class Site(NamedTuple):
    """Where a formula is calculated, or a reference is written: the repetition of its operation, and the place.

    ``each`` is the set of places. ``section`` is the section of the operation if that is repeated, otherwise empty.
    """

    each: str | None = None
    place: str | None = None
    section: str = ""

    @property
    def places(self) -> dict[str, str]:
        """The place for each set that repeats the operation."""
        return dict(zip(parts(self.each), parts(self.place), strict=True)) if self.place is not None else {}


def site_of(operation: Operation, place: str | None = None) -> Site:
    """The site of an operation at ``place``; without one, at a place that is not known yet."""
    if place is None and operation.each is not None:
        place = joined(THIS_PLACE for _ in parts(operation.each))
    return Site(operation.each, place, operation.section if operation.section_each is not None else "")


class ValueAxes(NamedTuple):
    """How a value is repeated.

    ``each`` is the set of places of its operation. ``readings`` are the names of its readings, ``()`` for a value with
    one reading. ``readings_set`` is the set of places that they are named after, if they are. ``section`` is the
    section of its operation if that is repeated.
    """

    each: str | None = None
    readings: tuple[str, ...] = ()
    readings_set: str | None = None
    section: str = ""


class IndexFault(NamedTuple):
    """Why it is not clear which value a name in a formula means: the code of the problem, the text and the hint."""

    code: str
    why: str
    hint: str


def places_named(each: str, indexes: tuple[str, ...], site: Site, section: str) -> str | None:
    """The places of something repeated over the set ``each`` that a reference at ``site`` means, as a pattern.

    ``indexes`` are those of the reference. ``section`` is the repeated section that the named thing is in. The result
    is ``None`` if the indexes do not say which places are meant.
    """
    sets, here = parts(each), site.places
    if not indexes:
        return joined(here.get(name, ALL_PLACES) for name in sets)
    if len(indexes) == len(sets):
        return joined(indexes)
    if len(sets) == 2 and len(indexes) == 1:
        if section and section == site.section:
            return joined((here[sets[0]], indexes[0]))
        if indexes[0] == ALL_PLACES:
            return joined(indexes * 2)
    return None


def resolve_name(
    node: NameNode, axes: ValueAxes, places: Mapping[str, tuple[str, ...]], site: Site
) -> NameNode | IndexFault:
    """The name with its place and its reading, as the author meant it at ``site``.

    The result has no reading if it means each reading in turn.
    """
    return _Meaning(node, axes, places, site).find()


class _Meaning:
    """The search for the meaning of one name."""

    def __init__(self, node: NameNode, axes: ValueAxes, places: Mapping[str, tuple[str, ...]], site: Site) -> None:
        self.node, self.axes, self.name = node, axes, node.name
        self.sets = parts(axes.each)
        self.own = tuple(places.get(name, ()) for name in self.sets)
        self.here = site.places
        self.is_here = bool(self.sets) and all(name in self.here for name in self.sets)
        self.inside = bool(axes.section) and axes.section == site.section

    def find(self) -> NameNode | IndexFault:
        indexes = self.node.ref.indexes
        if not indexes:
            return self._without_index()
        if not self.sets and not self.axes.readings:
            return IndexFault("unknown-name", f"`{self.name}` has one reading and no places", f"Write `{self.name}`")
        named = self._at_this_place(indexes)
        if isinstance(named, IndexFault):
            return named
        found = list(self._meanings(named))
        if len(found) == 1:
            return found[0]
        return self._ambiguous(named, found) if found else self._no_meaning(named)

    def _at_this_place(self, indexes: tuple[str, ...]) -> tuple[str, ...] | IndexFault:
        """The indexes in which the name of a set, as in ``x[cap, left]``, is replaced by the present place."""
        found = []
        for number, index in enumerate(indexes):
            is_set = number < len(self.sets) and index == self.sets[number] and index not in self.own[number]
            if is_set and len(indexes) > 1 and index not in self.here:
                one = ValueRef(self.name, self._example_place(), self._example_reading())
                why = f"`{index}` means this place, but the operation is not repeated for each {index}"
                star = ValueRef(self.name, joined((ALL_PLACES, *indexes[1:])))
                return IndexFault("which-place", why, f"Write `{one}`, or `{star}`")
            found.append(self.here[index] if is_set and len(indexes) > 1 else index)
        return tuple(found)

    def _without_index(self) -> NameNode | IndexFault:
        axes, name = self.axes, self.name
        if self.sets and not self.is_here:
            count = len(self.own[0]) if len(self.own) == 1 else len(self.own[0]) * len(self.own[1])
            one = ValueRef(name, self._example_place(), self._example_reading())
            several = f" with {len(axes.readings)} readings each" if axes.readings else ""
            return IndexFault(
                "which-reading" if axes.readings else "which-place",
                f"`{name}` has {count} places{several}, and the formula does not say which one",
                f"Write `{one}`, or use all of them, such as mean({name}[*])",
            )
        reading = self.here.get(axes.readings_set or "") if axes.readings_set not in self.sets else None
        return self._indexed(self._present_place(), reading)

    def _meanings(self, indexes: tuple[str, ...]) -> Iterator[NameNode]:
        """Every meaning that the indexes can have."""
        sets, readings, count = len(self.sets), self.axes.readings, len(indexes)
        if readings and count == sets + 1 and self._are_places(indexes[:-1]) and self._is_reading(indexes[-1]):
            yield self._indexed(joined(indexes[:-1]), indexes[-1])
            return
        if readings and sets and indexes == (ALL_PLACES,):
            yield self._all()
            return
        if sets and count == sets and self._are_places(indexes):
            yield self._indexed(joined(indexes), None)
        if sets == 2 and count == 1:
            if self.inside and self._is_place(1, indexes[0]):
                yield self._indexed(joined((self.here[self.sets[0]], indexes[0])), None)
            elif not readings and indexes == (ALL_PLACES,):
                yield self._indexed(joined(indexes * 2), None)
        if readings and self.is_here and count == 1 and indexes[0] in readings:
            yield self._indexed(self._present_place(), indexes[0])
        inside = readings and sets == 2 and self.inside and count == 2
        if inside and self._is_place(1, indexes[0]) and self._is_reading(indexes[1]):
            yield self._indexed(joined((self.here[self.sets[0]], indexes[0])), indexes[1])

    def _all(self) -> NameNode:
        """The meaning of ``x[*]`` for a value with places and readings."""
        if self.is_here:
            return self._indexed(self._present_place(), ALL_PLACES)
        if self.inside:
            return self._indexed(joined((self.here[self.sets[0]], ALL_PLACES)), ALL_PLACES)
        return self._indexed(joined(ALL_PLACES for _ in self.sets), ALL_PLACES)

    def _ambiguous(self, indexes: tuple[str, ...], found: list[NameNode]) -> IndexFault:
        index = ", ".join(indexes)
        reading = next(node for node in found if node.reading is not None)
        place = next(node for node in found if node.reading is None)
        this = f"`{self.name}[{joined(self.sets)}, {reading.reading}]` for reading {reading.reading} at this place, or "
        one = ValueRef(self.name, place.place, self._example_reading())
        shown = ", ".join(part or name for part, name in zip(parts(place.place), self.sets, strict=True))
        return IndexFault(
            "which-reading",
            f"`{self.name}[{index}]` could be the place {index} or the reading {index}",
            f"Write {this if self.is_here else ''}`{ValueRef(one.name, shown, one.reading)}` for one reading at place "
            f"{index}",
        )

    def _no_meaning(self, indexes: tuple[str, ...]) -> IndexFault:
        name, readings, count = self.name, self.axes.readings, len(indexes)
        one = ValueRef(name, self._example_place(), self._example_reading())
        if count > len(self.sets) + bool(readings) and self.sets and readings:
            why = f"`{name}` is written with {count} indexes, but it has {len(self.sets)} for the place and a reading"
            return IndexFault("bad-formula", why, f"Write `{one}`")
        if count > len(self.sets) + bool(readings):
            lack = "several readings" if not readings else "places"
            shorter = ValueRef(name, joined(indexes[: len(self.sets)]), indexes[-1] if readings else None)
            return IndexFault("unknown-name", f"`{name}` does not have {lack}", f"Write `{shorter}`")
        if count == 1 and len(self.sets) == 1 and readings and indexes[0] in readings:
            why = f"`{name}` has {len(self.own[0])} places with a reading {indexes[0]}, and the formula does not say "
            hint = f"Write `{ValueRef(name, self._example_place(), indexes[0])}`, or use all of them, such as "
            return IndexFault("which-place", f"{why}which place", f"{hint}mean({name}[*, {indexes[0]}])")
        if count < len(self.sets):
            why = f"`{name}` is repeated over {self.sets[0]} and {self.sets[1]}, and one index does not say which place"
            return IndexFault("which-place", why, f"Write both places: `{one}`")
        for number, index in enumerate(indexes[: len(self.sets)]):
            if not self._is_place(number, index):
                what, known = "place", self.own[number]
                if count == len(self.sets) == 1 and readings:
                    what, known = "place or reading", (*known, *readings)
                return _no_such(what, name, index, known)
        return _no_such("reading", name, indexes[-1], readings)

    def _are_places(self, indexes: tuple[str, ...]) -> bool:
        return all(self._is_place(number, index) for number, index in enumerate(indexes))

    def _is_place(self, number: int, index: str) -> bool:
        return index in (ALL_PLACES, THIS_PLACE) or index in self.own[number]

    def _is_reading(self, index: str) -> bool:
        return index == ALL_PLACES or index in self.axes.readings

    def _present_place(self) -> str | None:
        return joined(self.here[name] for name in self.sets)

    def _example_place(self) -> str | None:
        return joined(own[0] if own else ALL_PLACES for own in self.own)

    def _example_reading(self) -> str | None:
        return self.axes.readings[0] if self.axes.readings else None

    def _indexed(self, place: str | None, reading: str | None) -> NameNode:
        return replace(self.node, place=place, reading=reading)


def _no_such(what: str, name: str, index: str, known: tuple[str, ...]) -> IndexFault:
    return IndexFault("unknown-name", f"`{name}` has no {what} `{index}`", hint_for(index, known))
