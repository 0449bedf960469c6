"""Checks of the formulas of calculated values: names, indexes of places and readings, units."""

from collections.abc import Iterable, Iterator, Mapping

from benchflow.procedure.formula import Formula, FormulaError, check_units, is_difference, names, parse_formula
from benchflow.procedure.formula.expression import OVER_PLACES, Call, Constant, NameNode, name_nodes, walk
from benchflow.procedure.identity import ALL_PLACES, ValueRef, joined, parts
from benchflow.procedure.index_meaning import IndexFault
from benchflow.procedure.model import CalculatedValue, Operation, PartMatching
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.value_indexes import ValueTable, needs_star
from benchflow.procedure.yaml_source.yaml_nodes import YamlScalar
from benchflow.quantity.arithmetic import unit_with_symbol


def units_in_formulas(operations: Iterable[Operation], values: Mapping[str, str]) -> dict[str, str]:
    """The unit with which each value counts in formulas. ``values`` has the unit of each value.

    A calculated difference of temperatures counts in K, whatever scale it is shown in, because it has no offset.
    """
    found = dict(values)
    on_scale = [work for operation in operations for work in operation.work_out if offset_unit(work.unit)]
    changed = bool(on_scale)
    while changed:
        changed = False
        for work in on_scale:
            if found[work.name] != "K" and is_difference_of_temperatures(work, found):
                found[work.name] = "K"
                changed = True
    return found


def offset_unit(unit: str) -> bool:
    """True for a temperature scale with an offset: °C and °F."""
    return bool(unit) and unit_with_symbol(unit).offset != 0


def is_difference_of_temperatures(work: CalculatedValue, units: Mapping[str, str]) -> bool:
    """True if a calculated value is a difference of temperatures. ``units`` is as :func:`units_in_formulas` has it."""
    try:
        formula = parse_formula(work.formula)
        return all(ref.name in units for ref in names(formula)) and is_difference(formula, units)
    except FormulaError:
        return False  # reported by the check of this formula


class FormulaChecks:
    """The checks of formulas. ``units`` has the unit of each value of the procedure."""

    def __init__(self, table: ValueTable, units: Mapping[str, str], context: ReadContext) -> None:
        self._table, self._units, self._context = table, units, context

    def check(self, work_out: CalculatedValue, operation: Operation) -> set[str]:
        """Check one formula and return the names of the values that it uses, also in the round before."""
        written = self._context.nodes.get(("is", work_out.mark))
        if not isinstance(written, YamlScalar):
            return set()
        shift = len(written.text) - len(written.text.lstrip())
        match = next((match for match in operation.match if match.so_that == work_out.name), None)
        units = self._units if match is None else {**self._units, match.name: self._size_unit(match, work_out)}
        try:
            formula = parse_formula(work_out.formula)
            faults = list(self._faults(formula, operation, work_out))
            if not faults and all(ref.name in units for ref in names(formula)):
                check_units(formula, units, work_out.unit)
            pi = next((node for node in walk(formula.root) if isinstance(node, Constant) and node.rounded), None)
            if pi is not None and pi.shown in self._units:
                raise FormulaError(
                    formula.text, pi.at, "`pi` is a number in a formula, but a value has that name", "Rename the value"
                )
        except FormulaError as error:
            code = self._code_of(error, work_out.formula)
            self._context.problem(code, written.at(shift + error.at), error.why, error.hint)
            return set()
        for node, fault in faults:
            self._context.problem(fault.code, written.at(shift + node.at), fault.why, fault.hint)
        axes = self._table.axes(work_out.name)
        if not faults and work_out.stage and axes is not None and axes.readings:
            why = f"The torque of a stage is one figure, but the formula has {len(axes.readings)} results"
            hint = "Name one reading, such as `breakaway[1]`, or write `mean(breakaway[*])`"
            self._context.problem("which-reading", written.at(shift), why, hint)
        return {ref.name for ref in names(formula)}

    def _size_unit(self, match: PartMatching, work_out: CalculatedValue) -> str:
        """The unit of the part size in a matching. In its formula, the name of the matching means that size."""
        return self._units.get(match.measured, work_out.unit)

    def _code_of(self, error: FormulaError, text: str) -> str:
        """The code of a star outside of a function: it is several readings, or several places."""
        if error.code != "which-reading":
            return error.code
        name = ValueRef.parse(text[error.at :].partition("[")[0]).name
        axes = self._table.axes(name)
        return error.code if axes is None or axes.readings else "which-place"

    def _faults(
        self, formula: Formula, operation: Operation, work_out: CalculatedValue
    ) -> Iterator[tuple[NameNode, IndexFault]]:
        """The names that mean no value or not one certain value, each at its first use."""
        meant: dict[int, NameNode] = {}
        reported: set[ValueRef] = set()
        sizes = {match.name for match in operation.match if match.so_that == work_out.name}
        for node in name_nodes(formula):
            found = self._table.meaning(node, operation, work_out.name)
            if isinstance(found, NameNode):
                meant[node.at] = found
            elif node.ref not in reported:
                reported.add(node.ref)
                if found is not None:
                    yield node, found
                elif node.name not in sizes and node.name not in self._context.unreadable_names:
                    hint = self._context.hint(node.name, self._units, "The file defines no value")
                    yield node, IndexFault("unknown-name", f"There is no value `{node.name}`", hint)
        if not reported - {ValueRef(name) for name in sizes}:
            yield from self._faults_of_readings(formula, meant)
            yield from self._faults_of_stars(formula, meant)

    def _faults_of_readings(
        self, formula: Formula, meant: dict[int, NameNode]
    ) -> Iterator[tuple[NameNode, IndexFault]]:
        """Names that mean each reading in turn, where that is not possible."""
        first: tuple[NameNode, tuple[str, ...]] | None = None
        for node in name_nodes(formula):
            axes = self._table.axes(node.name)
            found = meant.get(node.at)
            if found is None or axes is None or not axes.readings or found.reading is not None:
                continue
            key = node.key
            written = node.ref.indexes
            all_of_it = ValueRef(node.name, joined((*written, ALL_PLACES)))
            one = ValueRef(node.name, joined((*written, axes.readings[0])))
            hint = f"Write `mean({all_of_it})` or another function of all of them, or name one, such as `{one}`"
            if needs_star(formula, node):
                why = f"`{key}` has {len(axes.readings)} readings, and the formula does not say which one"
                yield node, IndexFault("which-reading", why, hint)
                return
            if first is None:
                first = node, axes.readings
            elif set(first[1]) != set(axes.readings):
                why = (
                    f"`{first[0].key}` has the readings {_listed(first[1])}, but `{key}` has {_listed(axes.readings)}. "
                    "A formula is calculated reading by reading only if its values have the same readings"
                )
                yield node, IndexFault("which-reading", why, hint)
                return

    def _faults_of_stars(self, formula: Formula, meant: dict[int, NameNode]) -> Iterator[tuple[NameNode, IndexFault]]:
        """Names with stars in one argument that do not have the same places or readings."""
        for call in walk(formula.root):
            if not isinstance(call, Call) or call.function not in OVER_PLACES:
                continue
            for argument in call.arguments:
                stars = [node for node in walk(argument) if isinstance(node, NameNode) and node.is_starred]
                stars.sort(key=lambda node: node.at)
                sets = [self._indexes(meant[node.at]) for node in stars if node.at in meant]
                for node, indexes in zip(stars[1:], sets[1:], strict=False):
                    if indexes != sets[0]:
                        why = f"`{stars[0].key}` and `{node.key}` do not have the same places or readings"
                        hint = "Use each of them in its own function, or name the places"
                        yield node, IndexFault("bad-formula", why, hint)
                        return

    def _indexes(self, node: NameNode) -> tuple[frozenset[str], ...]:
        """What the stars of a name stand for, one set for each star."""
        axes = self._table.axes(node.name)
        if axes is None:
            return ()
        sets = zip(parts(node.place), parts(axes.each), strict=True)
        found = [frozenset(self._table.places.get(name, ())) for part, name in sets if part == ALL_PLACES]
        if node.reading == ALL_PLACES:
            found.append(frozenset(axes.readings))
        return tuple(found)


def _listed(readings: tuple[str, ...]) -> str:
    return ", ".join(readings[:6]) + (" …" if len(readings) > 6 else "")
