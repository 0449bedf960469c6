"""A whole procedure file."""

from functools import cached_property

from msgspec import Struct

from benchflow.procedure.model.model_basics import Caution
from benchflow.procedure.model.operation_model import FollowUp, Operation, Section
from benchflow.procedure.model.setup_model import Failure, InstrumentNeed, Joint, KitItem, Move, Option, Rule, Variable
from benchflow.procedure.model.value_model import DecisionRule


class Procedure(Struct, frozen=True, dict=True):
    """A whole procedure file. The indexes at the end are made on first use and then kept."""

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

    @cached_property
    def options_by_name(self) -> dict[str, Option]:
        return {option.name: option for option in self.options}

    @cached_property
    def variables_by_name(self) -> dict[str, Variable]:
        return {variable.name: variable for variable in self.state}

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
