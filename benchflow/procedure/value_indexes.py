"""What the indexes of a value in a formula mean: ``journal[2]`` is a place or a reading, depending on the value.

A value is repeated by the `each` of its operation (places), by its own `readings`, or by both. A calculated value whose
formula names such a value without saying which reading is calculated reading by reading, and has the same readings.

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

If the readings are named after the set of places that repeats the operation, ``x`` is the reading of this place.
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from msgspec.structs import replace

from benchflow.procedure.formula.expression import OVER_PLACES, Call, Formula, FormulaError, NameNode, name_nodes, walk
from benchflow.procedure.formula.formula_parser import parse_formula
from benchflow.procedure.identity import ALL_PLACES, ValueRef
from benchflow.procedure.model import CalculatedValue, Operation, RecordedValue
from benchflow.procedure.problems import hint_for

THIS_PLACE = ""
"""The place of the operation that a formula belongs to, in a formula that is not expanded yet."""


class ValueAxes(NamedTuple):
    """How a value is repeated.

    ``each`` is the set of places of its operation. ``readings`` are the names of its readings, ``()`` for a value with
    one reading. ``readings_set`` is the set of places that they are named after, if they are.
    """

    each: str | None = None
    readings: tuple[str, ...] = ()
    readings_set: str | None = None


class IndexFault(NamedTuple):
    """Why it is not clear which value a name in a formula means: the code of the problem, the text and the hint."""

    code: str
    why: str
    hint: str


class ValueTable:
    """The values of a procedure by name, and how each of them is repeated."""

    def __init__(self, operations: tuple[Operation, ...], places: Mapping[str, tuple[str, ...]]) -> None:
        self.places = places
        self._recorded: dict[str, ValueAxes] = {}
        self._calculated: dict[str, tuple[CalculatedValue, Operation]] = {}
        for operation in operations:
            for record in operation.record:
                self._recorded.setdefault(record.name, axes_of_record(record, operation.each))
            for work_out in operation.work_out:
                self._calculated.setdefault(work_out.name, (work_out, operation))
        self._known: dict[str, ValueAxes] = {}

    def axes(self, name: str) -> ValueAxes | None:
        """How the value ``name`` is repeated; ``None`` if there is no such value."""
        known = self._recorded.get(name) or self._known.get(name)
        if known is not None or name not in self._calculated:
            return known
        work_out, operation = self._calculated[name]
        self._known[name] = ValueAxes(operation.each)  # in a circle, which is reported, the value has one reading
        self._known[name] = axes = self._axes_of_formula(work_out, operation)
        return axes

    def _axes_of_formula(self, work_out: CalculatedValue, operation: Operation) -> ValueAxes:
        try:
            formula = parse_formula(work_out.formula)
        except FormulaError:
            return ValueAxes(operation.each)
        for name in self.read_in_turn(formula, operation, work_out.name):
            found = self.axes(name)
            if found is not None:
                return ValueAxes(operation.each, found.readings, found.readings_set)
        return ValueAxes(operation.each)

    def read_in_turn(self, formula: Formula, operation: Operation, name: str) -> Iterator[str]:
        """The names in the formula of ``name`` that mean each reading in turn."""
        for node in name_nodes(formula):
            meant = self.meaning(node, operation, name)
            axes = self.axes(node.name)
            if isinstance(meant, NameNode) and meant.reading is None and axes is not None and axes.readings:
                yield node.name

    def meaning(self, node: NameNode, operation: Operation, name: str) -> NameNode | IndexFault | None:
        """The meaning of a name in the formula of the value ``name`` of an operation; ``""`` is the present place.

        ``None`` if there is no such value, and for the size of a part in the formula of a matching.
        """
        match = next((match for match in operation.match if match.so_that == name), None)
        if match is not None and node.name == match.name and node.place is None:
            return None
        axes = self.axes(node.name)
        if axes is None:
            return None
        if match is not None and node.place is None:
            # the formula is calculated for each place of the matching
            to = set(self.places.get(match.to, ()))
            if axes.each is None and axes.readings and to <= set(axes.readings):
                return replace(node, reading=THIS_PLACE)
            if axes.each is not None and not axes.readings and to <= set(self.places.get(axes.each, ())):
                return replace(node, place=THIS_PLACE)
        return resolve_name(node, axes, self.places, operation.each, THIS_PLACE)


def axes_of_record(record: RecordedValue, each: str | None) -> ValueAxes:
    """How a recorded value is repeated in an operation with this `each`."""
    several = len(record.slots) > 1 or record.by_place
    return ValueAxes(each, record.slots if several else (), record.readings_set)


def resolve_name(
    node: NameNode, axes: ValueAxes, places: Mapping[str, tuple[str, ...]], each: str | None, place: str | None
) -> NameNode | IndexFault:
    """The name with its place and its reading, as the author meant it.

    ``each`` is the set of places that the formula is calculated for, and ``place`` the present one. The result has no
    reading if it means each reading in turn.
    """
    first, second = node.place, node.reading
    here = axes.each is not None and axes.each == each
    own = places.get(axes.each or "", ())
    if second is not None:
        return _with_two_indexes(node, axes, own, here, place)
    if first is None:
        return _without_index(node, axes, own, each, place)
    if axes.each is None and not axes.readings:
        return IndexFault("unknown-name", f"`{node.name}` has one reading and no places", f"Write `{node.name}`")
    if not axes.readings:
        return node if first in (ALL_PLACES, *own) else _no_such("place", node.name, first, own)
    if axes.each is None:
        known = first in (ALL_PLACES, *axes.readings)
        return _indexed(node, None, first) if known else _no_such("reading", node.name, first, axes.readings)
    if first == ALL_PLACES:
        return _indexed(node, place if here else ALL_PLACES, ALL_PLACES)
    return _with_one_of_two_indexes(node, axes, own, here, place)


def _without_index(
    node: NameNode, axes: ValueAxes, own: tuple[str, ...], each: str | None, place: str | None
) -> NameNode | IndexFault:
    name = node.name
    if axes.each is not None and axes.each != each:
        if axes.readings:
            return IndexFault(
                "which-reading",
                f"`{name}` has {len(own)} places with {len(axes.readings)} readings each, and the formula does not say "
                "which one",
                f"Write `{ValueRef(name, own[0] if own else None, axes.readings[0])}`, or use all of them, such as "
                f"mean({name}[*])",
            )
        return IndexFault(
            "which-place",
            f"`{name}` has {len(own)} places, and the formula does not say which one",
            f"Write `{ValueRef(name, own[0] if own else None)}`, or use all of them, such as mean({name}[*])",
        )
    if axes.each is not None:
        return _indexed(node, place, None)
    if axes.readings and axes.readings_set is not None and axes.readings_set == each:
        return _indexed(node, None, place)
    return node


def _with_one_of_two_indexes(
    node: NameNode, axes: ValueAxes, own: tuple[str, ...], here: bool, place: str | None
) -> NameNode | IndexFault:
    """The meaning of ``name[2]`` if the value has places and readings."""
    name, index = node.name, node.place or ""
    if index in own and index in axes.readings:
        this = f"`{name}[{axes.each}, {index}]` for reading {index} at this place, or " if here else ""
        return IndexFault(
            "which-reading",
            f"`{name}[{index}]` could be the place {index} or the reading {index}",
            f"Write {this}`{name}[{index}, {axes.readings[0]}]` for one reading at place {index}",
        )
    if index in axes.readings:
        if here:
            return _indexed(node, place, index)
        one = ValueRef(name, own[0] if own else None, index)
        return IndexFault(
            "which-place",
            f"`{name}` has {len(own)} places with a reading {index}, and the formula does not say which place",
            f"Write `{one}`, or use all of them, such as mean({name}[*, {index}])",
        )
    if index in own:
        return _indexed(node, index, None)
    return _no_such("place or reading", name, index, (*own, *axes.readings))


def _with_two_indexes(
    node: NameNode, axes: ValueAxes, own: tuple[str, ...], here: bool, place: str | None
) -> NameNode | IndexFault:
    name, first, second = node.name, node.place or "", node.reading or ""
    if axes.each is None or not axes.readings:
        if axes.each is None and not axes.readings:
            return IndexFault("unknown-name", f"`{name}` has one reading and no places", f"Write `{name}`")
        lack = "places" if axes.each is None else "several readings"
        one = second if axes.each is None else first
        return IndexFault("unknown-name", f"`{name}` does not have {lack}", f"Write `{name}[{one}]`")
    if second not in (ALL_PLACES, *axes.readings):
        return _no_such("reading", name, second, axes.readings)
    if first in (ALL_PLACES, *own):
        return node
    if first != axes.each:
        return _no_such("place", name, first, own)
    if here:
        return _indexed(node, place, second)
    why = f"`{first}` means this place, but the operation is not repeated for each {first}"
    return IndexFault(
        "which-place", why, f"Write `{ValueRef(name, own[0] if own else None, second)}`, or `{name}[*, {second}]`"
    )


def _indexed(node: NameNode, place: str | None, reading: str | None) -> NameNode:
    return replace(node, place=place, reading=reading)


def _no_such(what: str, name: str, index: str, known: tuple[str, ...]) -> IndexFault:
    return IndexFault("unknown-name", f"`{name}` has no {what} `{index}`", hint_for(index, known))


def placed(node: NameNode, axes: ValueAxes | None) -> NameNode:
    """A name in a formula of a plan, with its indexes where they belong.

    In a plan every name of a repeated value has its place (:func:`benchflow.procedure.expand.expand`), so a single
    index is a reading only if the value is not repeated.
    """
    if axes is None or not axes.readings or node.place is None or node.reading is not None:
        return node
    if axes.each is None:
        return _indexed(node, None, node.place)
    return _indexed(node, ALL_PLACES, ALL_PLACES) if node.place == ALL_PLACES else node


def needs_star(formula: Formula, node: NameNode) -> bool:
    """True if a name that means each reading in turn is the only value of a ``mean`` or another function of several.

    ``mean(x)`` would be the mean of one number. In ``max(x, y)`` it is one of several values, so it has a meaning.
    """
    calls = (each for each in walk(formula.root) if isinstance(each, Call) and each.function in OVER_PLACES)
    for call in calls:
        for argument in call.arguments:
            inside = walk(argument)
            starred = any(isinstance(other, NameNode) and other.is_starred for other in inside)
            if any(other is node for other in inside) and (starred or len(call.arguments) == 1):
                return True
    return False
