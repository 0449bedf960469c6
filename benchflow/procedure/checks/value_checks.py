"""Checks of values: limits, and the values that formulas, tables, matchings and relative limits use."""

from benchflow.base.plaintext import with_article
from benchflow.procedure.checks.formula_checks import FormulaChecks, is_difference_of_temperatures, units_in_formulas
from benchflow.procedure.formula import FormulaError, names, parse_formula
from benchflow.procedure.formula.expression import (
    OF_ANGLE,
    TO_ANGLE,
    TO_STEPS,
    Call,
    Conditional,
    Expression,
    NameNode,
    Power,
    uses_name,
    walk,
)
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.index_meaning import IndexFault, resolve_name, site_of
from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import (
    AboveReading,
    CalculatedValue,
    EqualWithin,
    Fixed,
    Mark,
    Operation,
    PartChoice,
    PartMatching,
    Procedure,
    RecordedValue,
    bounds_of,
    values_of,
)
from benchflow.procedure.shapes.quantity_shapes import read_bound
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.value_indexes import ValueTable
from benchflow.procedure.yaml_source.yaml_nodes import YamlScalar
from benchflow.quantity import base, dimension_of, interval

Value = RecordedValue | CalculatedValue


class ValueChecks:
    """The checks that need all values of a procedure."""

    def __init__(self, procedure: Procedure, context: ReadContext) -> None:
        operations = procedure.operations
        self._operations, self._context = operations, context
        self._values: dict[str, tuple[Value, Operation]] = {}
        for operation in operations:
            for value in values_of(operation):
                self._values.setdefault(value.name, (value, operation))
        units = {name: value.unit for name, (value, _) in self._values.items()}
        self._table = ValueTable(operations, procedure.places)
        self._units = units_in_formulas(operations, units)
        self._formulas = FormulaChecks(self._table, self._units, context)

    def run(self) -> None:
        uses: dict[str, set[str]] = {}
        for operation in self._operations:
            if self._context.problems.full:
                return
            for work_out in operation.work_out:
                uses[work_out.name] = self._formulas.check(work_out, operation)
                self._check_printed_pair(work_out)
            for value in values_of(operation):
                self._check_bounds(value, operation)
            for choose in operation.choose:
                self._check_choice(choose, operation)
            for match in operation.match:
                self._check_match(match, operation)
        self._check_cycles(uses)
        self._check_first_round()

    def _check_cycles(self, uses: dict[str, set[str]]) -> None:
        """Report values that are calculated from themselves."""
        for name in uses:
            seen: set[str] = set()
            waiting = list(uses[name])
            while waiting:
                other = waiting.pop()
                if other not in seen:
                    seen.add(other)
                    waiting.extend(uses.get(other, ()))
            if name in seen:
                mark = self._values[name][0].mark
                self._context.problem(
                    "circular-formula",
                    mark,
                    f"`{name}` is calculated from itself",
                    "Remove it from one of the formulas",
                )

    def _check_first_round(self) -> None:
        """Report tables and matchings by a value that has no result in the first round, because of a `before`."""
        for operation in self._operations:
            used = [(choose.name, choose.by, choose.mark) for choose in operation.choose]
            used += [(match.name, match.so_that, match.mark) for match in operation.match]
            used += [(f"stage {work.stage}", work.name, work.mark) for work in operation.work_out if work.stage]
            for name, by, mark in used:
                if self._needs_round_before(ValueRef.parse(by).name, frozenset()):
                    self._context.problem(
                        "bad-formula",
                        mark,
                        f"`{name}` needs `{by}`. It has no value in the first round, because its formula has `before`",
                        "Choose by a value without `before`",
                    )

    def _needs_round_before(self, name: str, seen: frozenset[str]) -> bool:
        value = self._values.get(name, (None,))[0]
        if not isinstance(value, CalculatedValue) or name in seen:
            return False
        try:
            used = names(parse_formula(value.formula))
        except FormulaError:
            return False  # reported by the check of this formula
        return any(ref.before or self._needs_round_before(ref.name, seen | {name}) for ref in used)

    # limits, tables, matchings

    def _check_printed_pair(self, work: CalculatedValue) -> None:
        """Report the temperatures of a calculated limit that disagree as what the formula gives.

        Before the formula was known, they could be temperatures or differences.
        """
        written = self._context.nodes.get(("work-out-limit", work.mark))
        if work.dimension == "temperature" and isinstance(work.bound, Fixed) and isinstance(written, YamlScalar):
            difference = is_difference_of_temperatures(work, self._units)
            read_bound(written, self._context, work.dimension, difference=difference)

    def _check_bounds(self, value: Value, operation: Operation) -> None:
        if isinstance(value, CalculatedValue) and value.limit_set is not None:
            self._check_limit_by_reading(value, operation)
        further = value.also if isinstance(value, RecordedValue) else ()
        for bound in (*bounds_of(value), *(limit.bound for limit in further)):
            if isinstance(bound, AboveReading):
                self._check_relative_limit(bound, value, operation)
            elif isinstance(bound, EqualWithin) and self._has_one_reading(value, operation):
                self._context.problem(
                    "too-few",
                    value.mark,
                    f"`{value.name}` has the limit `equal within {bound.spread.entered}`, but only one reading",
                    "Write `readings` with a number or a list of places",
                )

    def _check_limit_by_reading(self, value: CalculatedValue, operation: Operation) -> None:
        """Report a limit by the readings of a set that the value is not calculated for."""
        axes = self._table.axes(value.name)
        if axes is not None and axes.readings and axes.readings_set == value.limit_set:
            if any(match.so_that == value.name for match in operation.match):
                message = f"`{value.name}` is the value of a matching, so its limit cannot vary by reading"
                self._context.problem("which-reading", value.mark, message, "Write one limit")
            return
        message = f"The limit of `{value.name}` varies by `{value.limit_set}`, but there is one result"
        if axes is not None and axes.readings:
            message = f"The limit of `{value.name}` varies by `{value.limit_set}`, but its readings have another set"
        hint = f"Write `each: {value.limit_set}` on the operation, or use values with `readings: {value.limit_set}`"
        self._context.problem("unknown-name", value.mark, message, hint)

    def _has_one_reading(self, value: Value, operation: Operation) -> bool:
        return isinstance(value, CalculatedValue) or (len(value.slots) < 2 and operation.each is None)

    def _check_relative_limit(self, bound: AboveReading, value: Value, operation: Operation) -> None:
        name = ValueRef.parse(bound.name).name
        found = self._values.get(name)
        if found is None:
            return  # an unknown name is reported by the name check
        if name == value.name:
            self._context.problem(
                "circular-formula",
                value.mark,
                f"The limit of `{name}` depends on `{name}` itself",
                "Name another value",
            )
        elif found[0].dimension != value.dimension:
            self._context.problem(
                "wrong-dimension",
                value.mark,
                f"`{value.name}` is {_dimension_phrase(value.dimension)}, but its limit depends on `{name}`, "
                f"{_dimension_phrase(found[0].dimension)}",
            )
        else:
            self._check_reference(bound.name, operation, value.mark)

    def _check_reference(self, written: str, operation: Operation, mark: Mark) -> None:
        """Report the name of a value in a limit or table that means several values.

        A recorded value that compares one figure with its limit, such as the mean, means that figure.
        """
        ref = ValueRef.parse(written)
        value, axes = self._values[ref.name][0], self._table.axes(ref.name)
        if axes is None:
            return
        node = NameNode(ref.name, ref.place, ref.reading, 0)
        found = resolve_name(node, axes, self._table.places, site_of(operation))
        if isinstance(found, IndexFault):
            if found.code != "unknown-name":  # the name check reports that
                self._context.problem(found.code, mark, found.why, found.hint)
            return
        several = found.reading is None and bool(axes.readings)
        if isinstance(value, RecordedValue) and value.judge != "all":
            several = False
        if several or found.is_starred:
            self._context.problem(
                "which-reading",
                mark,
                f"`{written}` is more than one value, and a limit or a table needs one",
                f"Calculate the one that counts in `work-out`, such as `max({ref.name}[*])`, and name that",
            )

    def _check_choice(self, choose: PartChoice, operation: Operation) -> None:
        name = ValueRef.parse(choose.by).name
        found = self._values.get(name)
        edges = [edge for row in choose.rows for edge in (row.low, row.high) if edge is not None]
        if found is None or not edges:
            return
        self._check_reference(choose.by, operation, choose.mark)
        edge = edges[0]
        if dimension_of(edge.unit) != found[0].dimension:
            self._context.problem(
                "wrong-dimension",
                choose.mark,
                f"The table has {edge.entered}, but `{name}` is {_dimension_phrase(found[0].dimension)}",
            )

    def _check_match(self, match: PartMatching, operation: Operation) -> None:
        found = self._values.get(ValueRef.parse(match.so_that).name)
        if found is not None and found[1].id != operation.id:
            hint = f"Calculate it in `{operation.id}`"
            message = (
                f"`{match.so_that}` is calculated in `{found[1].id}`, but the parts are chosen in `{operation.id}`"
            )
            self._context.problem("unknown-name", match.mark, message, hint)
        if found is not None and isinstance(found[0], CalculatedValue):
            self._check_part_in_formula(match, found[0])
        if found is None or (match.limit.low is None and match.limit.high is None):
            return
        limit, value = limit_dimension(match.limit), found[0].dimension
        if limit != value:
            node = self._context.nodes["limit", match.mark]
            phrases = _dimension_phrase(limit), _dimension_phrase(value)
            message = f"`{match.limit.text}` is {phrases[0]}, but `{match.so_that}` is {phrases[1]}"
            self._context.problem("wrong-dimension", node.mark, message)
        elif match.aim is not None and interval(match.limit).position(base(match.aim)) != "within":
            message = f"The aim, {match.aim.entered}, is outside of the limit, {match.limit.text}"
            self._context.problem("bad-quantity", match.mark, message, "Check both in the source")

    def _check_part_in_formula(self, match: PartMatching, value: CalculatedValue) -> None:
        """Report a formula that does not contain the size of the part, so that no part changes its result."""
        try:
            formula = parse_formula(value.formula)
        except FormulaError:
            return  # reported by the check of this formula
        curved = next((node for node in walk(formula.root) if _is_curved(node) and uses_name(node, match.name)), None)
        if curved is not None:
            message = f"The size of the part, `{match.name}`, is in a power, an angle, a step or an `if`"
            hint = "Parts can be chosen only by sums, differences, and products with other values"
            self._context.problem("bad-formula", match.mark, message, hint)
        if match.name not in {ref.name for ref in names(formula)}:
            message = f"The formula of `{value.name}` does not contain `{match.name}`, the size of the part to choose"
            self._context.problem("bad-formula", match.mark, message, f"Write it like `gap - {match.name}`")


def _is_curved(node: Expression) -> bool:
    """True for what makes a formula other than linear in its values."""
    if isinstance(node, Call):
        return node.function in (*OF_ANGLE, *TO_ANGLE, *TO_STEPS)
    return isinstance(node, Power | Conditional)


def _dimension_phrase(dimension: str) -> str:
    """``a length``, ``an angle``, ``a number without a unit``."""
    if not dimension:
        return "a number without a unit"
    return with_article(dimension)
