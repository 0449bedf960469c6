"""Writes an operation for one place: placeholders filled in, places in the names of its values, remedies resolved."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef, parts
from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    FurtherLimit,
    HandStage,
    Operation,
    PartChoice,
    PartMatching,
    Procedure,
    ReadingTerms,
    RecordedValue,
    Ref,
    Remedy,
    Stage,
    Tighten,
    parts_of,
    values_of,
)
from benchflow.procedure.placeholders import PLACEHOLDER
from benchflow.procedure.settings_by_place import settings_at
from benchflow.procedure.variants import every_variant

if TYPE_CHECKING:
    from benchflow.procedure.formula.expression import NameNode
    from benchflow.procedure.index_meaning import Site
    from benchflow.procedure.value_indexes import ValueTable

StepIds = Callable[[str], tuple[str, ...]]
"""The step ids that a reference of the operation means."""


class PlacedOperations:
    """Writes the operations of one procedure for their places. ``options`` are the answers to its options."""

    def __init__(self, procedure: Procedure, options: Mapping[str, str]) -> None:
        self.procedure, self._places, self._options = procedure, procedure.places, options
        self._table: ValueTable | None = None
        self._sets = {
            name: op.each
            for op in every_variant(procedure)  # a torque that is calculated is a value in some variants only
            if op.each is not None
            for name in (*(value.name for value in values_of(op)), *(part.name for part in parts_of(op)))
        }

    def name_at(self, name: str, place: str | None) -> str:
        """The name of a value or a choice in a step at ``place``."""
        return str(ValueRef(name, place)) if place is not None and name in self._sets else name

    def placed(self, operation: Operation, site: "Site", step_ids: StepIds) -> Operation:
        """The operation at the place of ``site``. ``step_ids`` resolves the `redo` of its remedies."""
        return _OnePlace(self, operation, site, step_ids).operation()

    def set_of(self, name: str) -> str | None:
        """The set of places of a repeated value or choice."""
        return self._sets.get(name)

    def readings_set(self, name: str) -> str | None:
        """The set of places that the results of a calculated value are named after."""
        axes = self._values().axes(name)
        return None if axes is None else axes.readings_set

    def _values(self) -> "ValueTable":
        from benchflow.procedure.value_indexes import ValueTable  # late import: few files need it

        if self._table is None:
            self._table = ValueTable(self.procedure.operations, self._places)
        return self._table

    def at_place(self, node: "NameNode", site: "Site") -> "NameNode":
        """The name of a value with its place and reading, as the author meant it at ``site``."""
        from benchflow.procedure.index_meaning import IndexFault, resolve_name  # late import, as above

        axes = self._values().axes(node.name)
        if axes is None:  # the size of a part that a matching assigns
            own = self._sets.get(node.name) == site.each
            return node if node.place or not own else replace(node, place=site.place)
        found = resolve_name(node, axes, self._places, site)
        return node if isinstance(found, IndexFault) else found

    def is_used(self, record: RecordedValue) -> bool | None:
        """The answer of an option whether a part is used; ``None`` if the builder says it."""
        if not record.used_when:
            return None
        return all(self._options.get(name) in choices for name, choices in record.used_when.items())


class _OnePlace:
    def __init__(self, all_of_it: PlacedOperations, written: Operation, site: "Site", step_ids: StepIds) -> None:
        self._all, self._written, self._site, self._step_ids = all_of_it, written, site, step_ids
        self._fill = _Fill(site.places)

    def operation(self) -> Operation:
        written, fill = self._written, self._fill
        undo, hold = written.undo, written.hold
        changed: dict[str, object] = {
            "title": fill(written.title),
            "do": fill(written.do),
            "because": fill(written.because),
            "cautions": tuple(replace(caution, text=fill(caution.text)) for caution in written.cautions),
            "check": tuple(
                replace(
                    point,
                    text=fill(point.text),
                    if_not=self._remedies(point.if_not),
                    proves=self._variables(point.proves),
                )
                for point in written.check
            ),
            "time": tuple(replace(window, proves=self._variables(window.proves)) for window in written.time),
            "hold": hold and replace(hold, for_=fill(hold.for_)),
            "undo": undo and replace(undo, do=fill(undo.do)),
            "tighten": written.tighten and self._tighten(written.tighten),
            "record": tuple(self._record(record) for record in written.record),
            "work_out": tuple(self._work_out(work_out) for work_out in written.work_out),
            "choose": tuple(self._choose(choose) for choose in written.choose),
            "match": tuple(self._match(match) for match in written.match),
        }
        return replace(written, **changed)

    def _name(self, name: str) -> str:
        """The name of a value with its place, if it is repeated over the same set of places."""
        if self._site.place is None or self._all.set_of(name) != self._site.each:
            return name  # not repeated here, or already written with a place
        return str(ValueRef(name, self._site.place))

    def _variables(self, proves: tuple[Ref, ...]) -> tuple[Ref, ...]:
        """The state variables that ``proves`` means at this place."""
        families, here = self._all.procedure.variable_families, self._site.places
        return tuple(Ref(name, ref.mark) for ref in proves for name in settings_at({ref.name: ref}, families, here))

    def _remedies(self, remedies: tuple[Remedy, ...], readings_set: str | None = None) -> tuple[Remedy, ...]:
        """The remedies with the steps that they redo. ``readings_set`` names the readings of their value."""
        return tuple(
            replace(
                remedy,
                do=self._fill(remedy.do),
                restarts=tuple(Ref(one, ref.mark) for ref in remedy.restarts for one in self._step_ids(ref.name)),
                redo=tuple(Ref(one, ref.mark) for ref in remedy.redo for one in self._step_ids(ref.name)),
                at_reading=tuple(
                    one
                    for ref in remedy.redo
                    if self._is_of_readings(ref.name, readings_set)
                    for one in self._step_ids(ref.name)
                ),
            )
            for remedy in remedies
        )

    def _is_of_readings(self, ref: str, readings_set: str | None) -> bool:
        """True if a reference without a place means the place of the reading that was out."""
        operation = self._all.procedure.operations_by_id.get(ref)
        if operation is None or readings_set is None or readings_set in self._site.places:
            return False
        return parts(operation.each)[-1:] == (readings_set,)

    def _tighten(self, tighten: Tighten) -> Tighten:
        stages = tuple(self._stage(stage) for stage in tighten.stages)
        return replace(tighten, draw_down=self._fill(tighten.draw_down), stages=stages)

    def _stage(self, stage: Stage) -> Stage:
        if isinstance(stage, HandStage):
            return stage
        return replace(stage, below=self._remedies(stage.below), above=self._remedies(stage.above))

    def _bound(self, bound: Bound | None) -> Bound | None:
        return replace(bound, name=self._value_ref(bound.name)) if isinstance(bound, AboveReading) else bound

    def _record(self, record: RecordedValue) -> RecordedValue:
        used_by_option = self._all.is_used(record)
        if used_by_option is not None:
            record = replace(record, bound=record.used) if used_by_option else replace(record, used=None)
        return replace(
            record,
            by_reading={slot: self._terms(terms, used_by_option) for slot, terms in record.by_reading.items()},
            used_by_option=used_by_option,
            name=self._name(record.name),
            ask=self._fill(record.ask),
            bound=self._bound(record.bound),
            used=self._bound(record.used),
            below=self._remedies(record.below, record.readings_set),
            above=self._remedies(record.above, record.readings_set),
            also=tuple(self._further_limit(limit, record.readings_set) for limit in record.also),
            proves=self._variables(record.proves),
        )

    def _further_limit(self, limit: FurtherLimit, readings_set: str | None) -> FurtherLimit:
        return replace(
            limit,
            bound=self._bound(limit.bound),
            title=self._fill(limit.title),
            below=self._remedies(limit.below, readings_set),
            above=self._remedies(limit.above, readings_set),
        )

    def _terms(self, terms: ReadingTerms, used: bool | None) -> ReadingTerms:
        """The terms of one reading. ``used`` says that an option decides which limit is in force."""
        if used is not None:
            terms = replace(terms, bound=terms.used) if used else replace(terms, used=None)
        return replace(terms, bound=self._bound(terms.bound), used=self._bound(terms.used))

    def _work_out(self, work_out: CalculatedValue) -> CalculatedValue:
        has_remedies = work_out.below or work_out.above
        readings_set = self._all.readings_set(work_out.name) if has_remedies else None
        return replace(
            work_out,
            by_reading={slot: self._terms(terms, None) for slot, terms in work_out.by_reading.items()},
            name=self._name(work_out.name),
            title=self._fill(work_out.title),
            formula=self._formula(work_out.formula),
            bound=self._bound(work_out.bound),
            below=self._remedies(work_out.below, readings_set),
            above=self._remedies(work_out.above, readings_set),
            proves=self._variables(work_out.proves),
        )

    def _formula(self, text: str) -> str:
        if self._site.place is None:
            return text
        # Late import: only a repeated formula needs it (benchmark bench_screen).
        from benchflow.procedure.formula.expression import map_names, render
        from benchflow.procedure.formula.formula_parser import parse_formula

        return render(map_names(parse_formula(text), lambda node: self._all.at_place(node, self._site)))

    def _value_ref(self, text: str) -> str:
        """The name of a value in a limit or a table, with its place and reading."""
        if self._site.place is None:
            return text
        from benchflow.procedure.formula.expression import NameNode  # late import, as above

        return self._all.at_place(NameNode(*ValueRef.parse(text), at=0), self._site).key

    def _choose(self, choose: PartChoice) -> PartChoice:
        name, by = self._name(choose.name), self._value_ref(choose.by)
        return replace(choose, name=name, by=by, title=self._fill(choose.title))

    def _match(self, match: PartMatching) -> PartMatching:
        return replace(
            match,
            name=self._name(match.name),
            measured=self._name(match.measured),
            so_that=self._name(match.so_that),
            title=self._fill(match.title),
        )


class _Fill:
    """Replaces ``{cylinder}`` in a text by the place, and doubled braces by single ones."""

    def __init__(self, places: Mapping[str, str]) -> None:
        self._places = places

    def __call__(self, text: str) -> str:
        if "{" not in text and "}" not in text:
            return text
        return PLACEHOLDER.sub(
            lambda found: found[0][0] if found[1] is None else self._places.get(found[1], found[0]), text
        )
