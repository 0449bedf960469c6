"""A whole procedure file."""

from functools import cached_property

from msgspec import Struct

from benchflow.procedure.identity import ALL_PLACES, StepId
from benchflow.procedure.model.model_basics import Caution
from benchflow.procedure.model.operation_model import FollowUp, Operation, Section, parts_of, values_of
from benchflow.procedure.model.setup_model import (
    Document,
    Failure,
    InstrumentNeed,
    Joint,
    KitItem,
    Move,
    Option,
    ProcedureChange,
    Rule,
    Variable,
)
from benchflow.procedure.model.value_model import DecisionRule


class Procedure(Struct, frozen=True, dict=True):
    """A whole procedure file. The indexes at the end are made on first use and then kept.

    ``places`` has the author's sets, and the pairs of sets of operations with `each` in sections with `each`.
    """

    id: str
    title: str
    revision: str
    subject: str = ""
    source: str = ""
    notice: str = ""
    cautions: tuple[Caution, ...] = ()
    units: dict[str, str] = {}  # dimension to canonical unit symbol
    options: tuple[Option, ...] = ()
    places: dict[str, tuple[str, ...]] = {}
    state: tuple[Variable, ...] = ()
    interference: tuple[Rule, ...] = ()
    moves: tuple[Move, ...] = ()
    kit: tuple[KitItem, ...] = ()
    instruments: tuple[InstrumentNeed, ...] = ()
    joints: tuple[Joint, ...] = ()
    failures: tuple[Failure, ...] = ()
    sections: tuple[Section, ...] = ()
    operations: tuple[Operation, ...] = ()
    follow_up: tuple[FollowUp, ...] = ()
    decision: DecisionRule = "simple"
    waive: str = ""  # who can sign deviations: anyone (""), a role or never
    handover: dict[str, str] = {}  # advice for the customer, by heading
    changes: tuple[ProcedureChange, ...] = ()  # oldest first
    documents: tuple[Document, ...] = ()

    @cached_property
    def documents_by_id(self) -> dict[str, Document]:
        return {document.id: document for document in self.documents}

    @cached_property
    def options_by_name(self) -> dict[str, Option]:
        return {option.name: option for option in self.options}

    @cached_property
    def variables_by_name(self) -> dict[str, Variable]:
        return {variable.name: variable for variable in self.state}

    @cached_property
    def variable_families(self) -> dict[str, tuple[Variable, ...]]:
        """The variables of each place, by the name that the author wrote (without a place)."""
        found: dict[str, tuple[Variable, ...]] = {}
        for variable in self.state:
            if variable.family:
                found[variable.family] = (*found.get(variable.family, ()), variable)
        return found

    def variables_named(self, text: str) -> tuple[Variable, ...]:
        """The variables that a name means: ``pushrod[2]`` one, ``pushrod`` and ``pushrod[*]`` those of all places."""
        variable = self.variables_by_name.get(text)
        if variable is not None:
            return (variable,)
        name, place = StepId.parse(text)
        return self.variable_families.get(name, ()) if place in (None, ALL_PLACES) else ()

    @cached_property
    def _operations_by_finding(self) -> dict[str, tuple[Operation, ...]]:
        named = {StepId.parse(name).operation for operation in self.operations for name in operation.findings}
        found: dict[str, tuple[Operation, ...]] = {}
        for operation in self.operations if named else ():
            entries = [each.name for each in (*values_of(operation), *parts_of(operation))]
            for name in {*entries, *(point.id for point in operation.check)} & named:
                found[name] = (*found.get(name, ()), operation)
        return found

    def operations_of_finding(self, name: str) -> tuple[Operation, ...]:
        """The operations with a value, a check or a choice of this name that some `when` names."""
        return self._operations_by_finding.get(name, ())

    @cached_property
    def deciding_names(self) -> frozenset[str]:
        """The names of the values, checks and choices that some `when` names."""
        return frozenset(self._operations_by_finding)

    @cached_property
    def moves_by_id(self) -> dict[str, Move]:
        return {move.id: move for move in self.moves}

    @cached_property
    def kit_by_id(self) -> dict[str, KitItem]:
        return {item.id: item for item in self.kit}

    @cached_property
    def instruments_by_id(self) -> dict[str, InstrumentNeed]:
        return {need.id: need for need in self.instruments}

    @cached_property
    def joints_by_id(self) -> dict[str, Joint]:
        return {joint.id: joint for joint in self.joints}

    @cached_property
    def failures_by_id(self) -> dict[str, Failure]:
        return {failure.id: failure for failure in self.failures}

    @cached_property
    def sections_by_id(self) -> dict[str, Section]:
        return {section.id: section for section in self.sections}

    @cached_property
    def operations_by_id(self) -> dict[str, Operation]:
        return {operation.id: operation for operation in self.operations}
