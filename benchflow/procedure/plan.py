"""The plan of one build: options answered, repeated operations written out, references resolved.

:func:`benchflow.procedure.expand.expand` makes it; the ordering, the session, the screens and the review all use it.
"""

from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from benchflow.procedure.identity import ALL_PLACES, StepId, ValueRef, fits, is_several, joined, parts
from benchflow.procedure.model import (
    CalculatedValue,
    Mark,
    Operation,
    PartChoice,
    PartMatching,
    Procedure,
    RecordedValue,
    Section,
    Settings,
    Values,
    values_of,
)

if TYPE_CHECKING:
    from benchflow.procedure.formula import Formula
    from benchflow.procedure.value_indexes import ValueTable


class TimeWindow(Struct, frozen=True):
    """Limits on the time since ``operation`` (a step id of the plan) was last finished, in seconds.

    With ``from_`` the time counts from the last entry of that value, or of the check with that id, in ``operation``.
    With ``until`` the upper end is judged when that value or check of this step is entered. The lower end counts only
    while the state is ``while_``, from when that was last entered. ``waive`` says who can sign
    a deviation about it, ``proves`` are the state variables that are not known if it is waived.
    """

    operation: str
    low: float | None
    high: float | None
    text: str
    mark: Mark = Mark()
    from_: str = ""
    until: str = ""
    waive: str = ""
    proves: tuple[str, ...] = ()
    while_: Values = {}


class Findings(Struct, frozen=True):
    """What was found so far, as far as it decides which operations are done.

    ``answers`` has what was found for each finding that some `when` names: for a value (``end-play[2]``) its verdicts
    ``ok``, ``below`` or ``above``, those of all its readings; for a check ``yes`` or ``no``; for a choice the part. It
    is empty if nothing was found, as for a waived choice. A finding that is not made yet is missing.

    ``called`` has the steps that a remedy called for, with the steps whose remedies called.
    """

    answers: dict[str, tuple[str, ...]] = {}
    called: dict[str, tuple[str, ...]] = {}


NOTHING_FOUND = Findings()


class Step(Struct, frozen=True):
    """An operation of this build.

    The ``id`` of a repeated operation has its place: ``seat[1]``. ``after`` are the ids of the prerequisites, including
    the operations that time windows count from. An operation that is not part of the build is replaced by its own
    prerequisites. In ``operation`` placeholders such as ``{cylinder}`` are filled in, and repeated values have their
    place: ``journal[2]``.
    """

    id: str
    operation: Operation
    place: str | None
    after: tuple[str, ...]
    needs: Values
    during: Settings
    sets: Settings
    time: tuple[TimeWindow, ...]
    takes: float  # seconds, 0 where not given
    undo_needs: Values = {}
    undo_sets: dict[str, str | None] = {}
    restarts: tuple[str, ...] = ()  # the steps whose clocks it starts again when it is done
    awaits: tuple[str, ...] = ()  # the findings that decide if it is done at all, and are not made yet

    @property
    def title(self) -> str:
        return self.operation.title

    def record(self, name: str) -> RecordedValue | None:
        """The step's recorded value with this name (``journal[2]``)."""
        return next((each for each in self.operation.record if each.name == name), None)

    def work_out(self, name: str) -> CalculatedValue | None:
        """The step's calculated value with this name."""
        return next((each for each in self.operation.work_out if each.name == name), None)

    def choice(self, name: str) -> PartChoice | None:
        """The step's choice of a part with this name."""
        return next((each for each in self.operation.choose if each.name == name), None)

    def match(self, name: str) -> PartMatching | None:
        """The step's matching of parts with this name (without a place)."""
        return next((each for each in self.operation.match if each.name == name), None)


class RecordAt(NamedTuple):
    """A recorded value and the step that it is recorded in."""

    step: Step
    record: RecordedValue


class WorkOutAt(NamedTuple):
    """A calculated value and the step that it is calculated in."""

    step: Step
    work_out: CalculatedValue


class Plan(Struct, frozen=True, dict=True):
    """The plan of one build: its options, its steps by id in the author's order, and the findings that it is made for.

    ``deciding_answers`` has, for each finding (``end-play[2]``), the answers that some `when` of this build names. The
    indexes are made on first use and then kept. ``numbers`` has the number of each step where some may be left out;
    otherwise it is empty.
    """

    procedure: Procedure
    options: dict[str, str]
    steps: dict[str, Step]
    findings: Findings = NOTHING_FOUND
    deciding_answers: dict[str, frozenset[str]] = {}
    numbers: dict[str, int] = {}

    @cached_property
    def while_variables(self) -> tuple[str, ...]:
        """The state variables that a `while` of the procedure names. For a variable by place, all of its places."""
        from benchflow.procedure.variants import every_variant  # late import: few procedures have a `while`

        named = {
            StepId.parse(name).operation
            for operation in every_variant(self.procedure)
            for window in operation.time
            for name in window.while_
        }
        return tuple(v.name for v in self.procedure.state if StepId.parse(v.name).operation in named)

    @cached_property
    def times_to_fill(self) -> tuple[tuple[str, str], ...]:
        """The time windows that are still to be filled in: the operation, and the one that its time counts from."""
        found = (
            (step.operation.id, StepId.parse(window.operation.name).operation)
            for step in self.steps.values()
            for window in step.operation.time
            if window.asked is not None
        )
        return tuple(dict.fromkeys(found))

    @cached_property
    def restarters(self) -> dict[str, tuple[str, ...]]:
        """For each step whose clock is started again by other steps, these steps."""
        found: dict[str, tuple[str, ...]] = {}
        for name, step in self.steps.items():
            for restarted in step.restarts:
                found[restarted] = (*found.get(restarted, ()), name)
        return found

    def number(self, step_id: str) -> int:
        """The number of a step as shown at the bench, from 1. It stays the same whatever is found."""
        return self.numbers[step_id] if self.numbers else self._numbers[step_id]

    def record(self, name: str) -> RecordAt | None:
        """The recorded value with this name (``journal[2]``)."""
        return self._records.get(name)

    def work_out(self, name: str) -> WorkOutAt | None:
        """The calculated value with this name (``clearance[2]``)."""
        return self._work_outs.get(name)

    def values(self, name: str) -> tuple[RecordedValue | CalculatedValue, ...]:
        """The values with this name: ``journal[2]`` gives one value, ``journal`` the values at all places."""
        return tuple(self._values.get(name, ()))

    def records(self, name: str) -> tuple[RecordAt, ...]:
        """Like :meth:`values`, but only the recorded values, each with its step."""
        found = (self._records[value.name] for value in self.values(name) if isinstance(value, RecordedValue))
        return tuple(found)

    def section_of(self, step: Step) -> Section:
        """The section that the step's operation is in."""
        return self.procedure.sections_by_id[step.operation.section]

    def formula(self, work_out: CalculatedValue, reading: str | None = None) -> "Formula":
        """The formula of a calculated value, parsed once per plan.

        Each name has its place and its reading where they belong. A name that means each reading in turn has the
        ``reading``, which is one of :func:`readings_of_formula`.

        Raises:
            FormulaError: the formula is malformed, which cannot happen for a procedure that was read without an error.
        """
        key = work_out.formula, reading
        found = self._formulas.get(key)
        if found is None:
            found = self._formulas[key] = self._parsed(*key)
        return found

    def _parsed(self, text: str, reading: str | None) -> "Formula":
        # late imports: most screens need no formula
        from msgspec.structs import replace

        from benchflow.procedure.formula.expression import NameNode, map_names, render
        from benchflow.procedure.formula.formula_parser import parse_any_length
        from benchflow.procedure.value_indexes import placed

        def complete(node: NameNode) -> NameNode:
            axes = self.value_table.axes(node.name)
            found = placed(node, axes)
            in_turn = axes is not None and axes.readings and found.reading is None
            return replace(found, reading=reading) if in_turn and reading is not None else found

        parsed = map_names(parse_any_length(text), complete)
        return parsed if reading is None else replace(parsed, text=render(parsed))

    def ref(self, text: str) -> ValueRef:
        """The value that ``text`` means: ``journal[2]`` is a place or a reading, depending on the value."""
        ref = ValueRef.parse(text)
        axes = self.value_table.axes(ref.name) if ref.indexes else None
        if axes is None:
            return ref
        count = len(parts(axes.each))
        if len(ref.indexes) == 1 and count > 0:
            return ref
        rest = ref.indexes[count:]
        return ValueRef(ref.name, joined(ref.indexes[:count]), joined(rest)) if count or axes.readings else ref

    def refs(self, ref: ValueRef) -> tuple[ValueRef, ...]:
        """The values that a name in a formula means: each place and each reading that ``*`` stands for."""
        if ALL_PLACES not in ref.indexes:
            return (ref,)
        axes = self.value_table.axes(ref.name)
        if axes is None:
            return ()
        places: tuple[str | None, ...] = (ref.place,)
        if is_several(ref.place):
            every = self.procedure.places.get(axes.each or "", ())
            places = tuple(place for place in every if fits(ref.place or "", place))
        readings = axes.readings if ref.reading == ALL_PLACES else (ref.reading,)
        return tuple(ValueRef(ref.name, place, reading) for place in places for reading in readings)

    def used_in_formula(self, name: str) -> bool:
        """True if a calculated value uses the recorded value with this name."""
        return ValueRef.parse(name).name in self._names_in_formulas

    @cached_property
    def names_before(self) -> frozenset[str]:
        """The values that a formula uses as they were in the round before, without places."""
        from benchflow.procedure.formula import names  # late import: most screens need no formula

        works = (work for step in self.steps.values() for work in step.operation.work_out if "before" in work.formula)
        return frozenset(ref.name for work in works for ref in names(self.formula(work)) if ref.before)

    # --- the indexes ------------------------------------------------------------------------------

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {step_id: number for number, step_id in enumerate(self.steps, start=1)}

    @cached_property
    def _records(self) -> dict[str, RecordAt]:
        found: dict[str, RecordAt] = {}
        for step in self.steps.values():
            for record in step.operation.record:
                found.setdefault(record.name, RecordAt(step, record))
        return found

    @cached_property
    def _work_outs(self) -> dict[str, WorkOutAt]:
        found: dict[str, WorkOutAt] = {}
        for step in self.steps.values():
            for work_out in step.operation.work_out:
                found.setdefault(work_out.name, WorkOutAt(step, work_out))
        return found

    @cached_property
    def _values(self) -> dict[str, list[RecordedValue | CalculatedValue]]:
        found: dict[str, list[RecordedValue | CalculatedValue]] = {}
        for step in self.steps.values():
            for value in values_of(step.operation):
                for name in {value.name, ValueRef.parse(value.name).name}:
                    found.setdefault(name, []).append(value)
        return found

    @cached_property
    def _names_in_formulas(self) -> frozenset[str]:
        from benchflow.procedure.formula import names  # late import: most screens need no formula

        works = (work for step in self.steps.values() for work in step.operation.work_out)
        return frozenset(ref.name for work in works for ref in names(self.formula(work)))

    @cached_property
    def _formulas(self) -> "dict[tuple[str, str | None], Formula]":
        return {}

    def is_callable(self, step_id: str) -> bool:
        """True if the step is done only when a remedy calls for it."""
        operation = self.procedure.operations_by_id.get(StepId.parse(step_id).operation)
        return operation is not None and operation.if_needed

    @cached_property
    def value_table(self) -> "ValueTable":
        """How each value of the procedure is repeated."""
        from benchflow.procedure.value_indexes import ValueTable  # late import: it reads formulas

        return ValueTable(self.procedure.operations, self.procedure.places)


def readings_of_formula(plan: Plan, work_out: CalculatedValue) -> tuple[str, ...]:
    """The readings of a calculated value whose formula is calculated reading by reading; ``()`` for a single result.

    :meth:`Plan.formula` gives the formula for one of them.
    """
    axes = plan.value_table.axes(ValueRef.parse(work_out.name).name)
    return () if axes is None else axes.readings
