"""The limits of a value and of all values that it depends on, as linear inequalities."""

from fractions import Fraction

from benchflow.procedure.checks.linear_inequalities import Inequality, LinearForm
from benchflow.procedure.formula.expression import (
    BinaryOperation,
    Call,
    Conditional,
    Constant,
    Expression,
    FormulaError,
    NameNode,
    Negation,
    Power,
)
from benchflow.procedure.formula.formula_parser import parse_formula
from benchflow.procedure.identity import ValueRef, joined, parts
from benchflow.procedure.index_meaning import THIS_PLACE, resolve_name, site_of
from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    Fixed,
    Operation,
    Procedure,
    RecordedValue,
    values_of,
)
from benchflow.procedure.value_indexes import ValueTable
from benchflow.quantity import Interval, interval
from benchflow.quantity.arithmetic import unit_with_symbol

Value = RecordedValue | CalculatedValue


class LimitInequalities:
    """The inequalities of one value. ``values`` are the names of the values with a limit that takes part."""

    def __init__(self, procedure: Procedure, table: ValueTable) -> None:
        self._places, self._table = procedure.places, table
        self._values: dict[str, tuple[Value, Operation]] = {
            value.name: (value, operation) for operation in procedure.operations for value in values_of(operation)
        }
        self.values: list[str] = []
        self.inequalities: list[Inequality] = []
        self._forms: dict[ValueRef, LinearForm] = {}
        self._unknowns = 0

    @property
    def names(self) -> set[str]:
        """The names of all values that take part."""
        return {ref.name for ref in self._forms}

    def add(self, name: str) -> None:
        """Add the limit of each result or reading of a value, and of what it depends on."""
        value, operation = self._values[name]
        place = site_of(operation).place
        self.form_of(ValueRef(value.name, place, None))

    def form_of(self, ref: ValueRef) -> LinearForm:
        """The value ``ref`` as a sum of readings. Its limit is added when it is used for the first time."""
        known = self._forms.get(ref)
        if known is not None:
            return known
        value, operation = self._values[ref.name]
        self._forms[ref] = unknown = LinearForm({f"{ref!r}": Fraction(1)})
        if value.dimension == "temperature":
            return unknown
        if isinstance(value, CalculatedValue):
            try:
                self._forms[ref] = self._of(parse_formula(value.formula).root, value, operation, ref)
            except FormulaError:
                return unknown
            if not value.by_reading:  # a form does not know which reading it is
                self._limit(self._forms[ref], value.bound, ref, operation)
        elif value.by_reading:
            return unknown
        elif value.used is None and (value.judge == "all" or (len(value.slots) == 1 and not value.by_place)):
            self._limit(unknown, value.bound, ref, operation)
        return self._forms[ref]

    def _limit(self, form: LinearForm, bound: Bound | None, ref: ValueRef, operation: Operation) -> None:
        match bound:
            case Fixed(limit=limit):
                ends = interval(limit)
            case AboveReading(name=name, by=by):
                written = ValueRef.parse(name)
                earlier = self._meant(NameNode(written.name, written.place, written.reading, 0), ref, operation)
                if earlier is None or self._has_one_figure(earlier.name):
                    return
                form, ends = form.plus(self.form_of(earlier), Fraction(-1)), interval(by, difference=True)
            case _:
                return
        self.values.append(ref.name)
        self._within(form, ends)

    def _within(self, form: LinearForm, ends: Interval) -> None:
        if ends.low is not None:
            self.inequalities.append(Inequality(form.plus(LinearForm({}, -ends.low)), ends.low_open))
        if ends.high is not None:
            high = LinearForm({}, ends.high).plus(form, Fraction(-1))
            self.inequalities.append(Inequality(high, ends.high_open))

    def _has_one_figure(self, name: str) -> bool:
        value = self._values[name][0]
        return isinstance(value, RecordedValue) and value.judge != "all"

    def _meant(self, node: NameNode, ref: ValueRef, operation: Operation) -> ValueRef | None:
        """The one value that a name in the formula or limit of ``ref`` means; ``None`` if it is not one value."""
        value, axes = self._values[ref.name][0], self._table.axes(node.name)
        if axes is None or self._values[node.name][0].dimension == "temperature":
            return None
        if isinstance(value, CalculatedValue):
            found = self._table.meaning(node, operation, value.name)
        else:
            found = resolve_name(node, axes, self._places, site_of(operation))
        if not isinstance(found, NameNode) or found.is_starred:
            return None
        present = dict(zip(parts(operation.each), parts(ref.place), strict=False))
        sets = zip(parts(found.place), parts(axes.each), strict=False)
        place = joined(present.get(name, ref.place or "") if part == THIS_PLACE else part for part, name in sets)
        reading = found.reading
        if reading == THIS_PLACE:
            reading = ref.place
        elif reading is None and axes.readings:
            reading = ref.reading
        return ValueRef(node.name, place, reading)

    def _of(self, node: Expression, value: Value, operation: Operation, ref: ValueRef) -> LinearForm:
        match node:
            case Constant(value=number, unit=unit):
                row = unit_with_symbol(unit) if unit else None
                if row is None or not row.offset:
                    return LinearForm({}, Fraction(number) if row is None else number * row.factor)
            case NameNode():
                meant = None if node.before else self._meant(node, ref, operation)
                return self._unknown(node) if meant is None else self.form_of(meant)
            case Negation(of=of):
                return self._of(of, value, operation, ref).scaled(Fraction(-1))
            case BinaryOperation(operator=operator, left=left, right=right):
                one, two = (self._of(side, value, operation, ref) for side in (left, right))
                if operator in "+-":
                    return one.plus(two, Fraction(1 if operator == "+" else -1))
                if operator == "*" and not two.terms:
                    return one.scaled(two.constant)
                if operator == "*" and not one.terms:
                    return two.scaled(one.constant)
                if operator == "/" and not two.terms and two.constant:
                    return one.scaled(1 / two.constant)
            case Power() | Conditional() | Call():
                pass
        return self._unknown(node)

    def _unknown(self, node: Expression) -> LinearForm:
        """A new unknown. A root, an absolute value and a spread are never below zero."""
        self._unknowns += 1
        form = LinearForm({f"unknown {self._unknowns}": Fraction(1)})
        if isinstance(node, Call) and node.function in ("abs", "sqrt", "spread"):
            self._within(form, Interval(Fraction(0), None))
        return form
