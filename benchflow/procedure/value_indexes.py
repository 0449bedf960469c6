"""What the indexes of a value in a formula mean: ``journal[2]`` is a place or a reading, depending on the value.

A value is repeated by the `each` of its operation (places), by its own `readings`, or by both. A calculated value whose
formula names such a value without saying which reading is calculated reading by reading, and has the same readings.

:mod:`benchflow.procedure.index_meaning` says what each index means.
"""

from collections.abc import Iterator, Mapping

from msgspec.structs import replace

from benchflow.procedure.formula.expression import OVER_PLACES, Call, Formula, FormulaError, NameNode, name_nodes, walk
from benchflow.procedure.formula.formula_parser import parse_formula
from benchflow.procedure.identity import ALL_PLACES, joined, parts
from benchflow.procedure.index_meaning import THIS_PLACE, IndexFault, ValueAxes, resolve_name, site_of
from benchflow.procedure.model import CalculatedValue, Operation, RecordedValue
from benchflow.procedure.variants import variants_of


class ValueTable:
    """The values of a procedure by name, and how each of them is repeated."""

    def __init__(self, operations: tuple[Operation, ...], places: Mapping[str, tuple[str, ...]]) -> None:
        self.places = places
        self._recorded: dict[str, ValueAxes] = {}
        self._calculated: dict[str, tuple[CalculatedValue, Operation]] = {}
        for operation in (variant for written in operations for variant in variants_of(written)):
            for record in operation.record:
                self._recorded.setdefault(record.name, axes_of_record(record, operation))
            for work_out in operation.work_out:
                self._calculated.setdefault(work_out.name, (work_out, operation))
        self._known: dict[str, ValueAxes] = {}

    def axes(self, name: str) -> ValueAxes | None:
        """How the value ``name`` is repeated; ``None`` if there is no such value."""
        known = self._recorded.get(name) or self._known.get(name)
        if known is not None or name not in self._calculated:
            return known
        work_out, operation = self._calculated[name]
        self._known[name] = _axes_of_one(operation)  # in a circle, which is reported, the value has one reading
        self._known[name] = axes = self._axes_of_formula(work_out, operation)
        return axes

    def _axes_of_formula(self, work_out: CalculatedValue, operation: Operation) -> ValueAxes:
        try:
            formula = parse_formula(work_out.formula)
        except FormulaError:
            return _axes_of_one(operation)
        for name in self.read_in_turn(formula, operation, work_out.name):
            found = self.axes(name)
            if found is not None:
                return _axes_of_one(operation)._replace(readings=found.readings, readings_set=found.readings_set)
        return _axes_of_one(operation)

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
        return resolve_name(node, axes, self.places, site_of(operation))


def axes_of_record(record: RecordedValue, operation: Operation) -> ValueAxes:
    """How a recorded value of an operation is repeated."""
    several = len(record.slots) > 1 or record.by_place
    return _axes_of_one(operation)._replace(readings=record.slots if several else (), readings_set=record.readings_set)


def _axes_of_one(operation: Operation) -> ValueAxes:
    """How a value with one reading of an operation is repeated."""
    return ValueAxes(operation.each, section=site_of(operation).section)


def placed(node: NameNode, axes: ValueAxes | None) -> NameNode:
    """A name in a formula of a plan, with its indexes where they belong.

    In a plan every name of a repeated value has its place (:func:`benchflow.procedure.expand.expand`), so the last
    index is a reading only if there are more indexes than sets of places.
    """
    indexes = node.ref.indexes
    if axes is None or not indexes:
        return node
    count = len(parts(axes.each))
    if indexes == (ALL_PLACES,) and (count > 1 or (count and axes.readings)):
        return replace(node, place=joined(indexes * count), reading=ALL_PLACES if axes.readings else None)
    if count == 0 and not axes.readings:
        return node
    reading = indexes[count] if len(indexes) > count else None
    return replace(node, place=joined(indexes[:count]), reading=reading)


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
