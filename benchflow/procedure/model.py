"""The procedure as the author wrote it, as frozen types. Nothing is expanded yet.

Every type is a ``msgspec.Struct``: cheap to define, which keeps the start of the bench fast, and written to the
compiled cache without further code. A ``mark`` is the line and column in the author's file.

All texts are clean: the reader has removed control characters and bidirectional overrides.
"""

from decimal import Decimal
from functools import cached_property
from typing import Literal

from msgspec import Struct

from benchflow.quantity import Limit, Quantity

Signal = Literal["danger", "warning", "caution", "notice"]
"""Signal words of ANSI Z535 / ISO 3864, strongest first."""


class Mark(Struct, frozen=True, array_like=True):
    """Line and column in the author's file, both from 1. ``Mark(0, 0)`` means no particular place."""

    line: int = 0
    column: int = 0


class Ref(Struct, frozen=True):
    """A name that the author wrote, for example under ``after`` or ``uses``, and where it is written."""

    name: str
    mark: Mark = Mark()


class Caution(Struct, frozen=True):
    """A warning with its signal word."""

    signal: Signal
    text: str


Values = dict[str, tuple[str, ...]]
"""State variable to the accepted values (``needs``) or the forbidden ones (``never``)."""

Settings = dict[str, str]
"""State variable to the one value that it gets (``sets``) or has meanwhile (``during``)."""


class Option(Struct, frozen=True):
    """A question asked when a job is started."""

    name: str
    ask: str
    choices: tuple[str, ...]
    mark: Mark = Mark()


class Variable(Struct, frozen=True):
    """A state variable: one feature of the assembly and its possible values.

    ``start`` is the value at the start of a job, ``None`` if the builder is asked for it. ``words`` maps a value to its
    text for the bench ("at-deck": "at the deck"); a value without an entry is shown as it is.
    """

    name: str
    values: tuple[str, ...]
    start: str | None
    ask: str = ""
    title: str = ""
    words: dict[str, str] = {}
    mark: Mark = Mark()


class Rule(Struct, frozen=True):
    """An interference rule: a combination of values that must never occur."""

    never: Values
    because: str
    mark: Mark = Mark()


class Move(Struct, frozen=True):
    """A change of state that may be made any number of times between operations, such as turning the crank."""

    id: str
    title: str
    do: str = ""
    cautions: tuple[Caution, ...] = ()
    when: Values = {}
    needs: Values = {}
    sets: Settings = {}
    mark: Mark = Mark()


class KitItem(Struct, frozen=True):
    """A part or a consumable. ``life`` is how long it can be used after it was opened."""

    id: str
    kind: Literal["part", "consumable"]
    title: str
    quantity: str = ""
    lot_required: bool = False
    discard: bool = False
    life: Quantity | None = None
    mark: Mark = Mark()
    pn: str = ""  # the part number, every digit as written


class InstrumentNeed(Struct, frozen=True):
    """An instrument that the procedure needs. Which instruments the shop has is in the shop's register.

    ``covers`` is the measuring range that is needed. ``uncertainty`` is the largest accepted expanded uncertainty: a
    percentage of the reading (``at most 4 %``) or a quantity. ``unfit`` decides if an unfit instrument is refused or
    only warned about.
    """

    id: str
    kind: str
    title: str = ""
    covers: Limit | None = None
    uncertainty: Limit | None = None
    unfit: Literal["refuse", "warn"] = "refuse"
    mark: Mark = Mark()


class Joint(Struct, frozen=True):
    """A bolted joint. ``layout`` shows the fasteners from above as rows of cells: a fastener's number, ``None`` for an
    empty cell. The numbers are 1..count in tightening order."""

    id: str
    title: str
    layout: tuple[tuple[int | None, ...], ...]
    count: int
    thread: str = ""
    grade: str = ""  # the author's key is `class`
    lubricant: str = ""
    nut_factor: Decimal | None = None
    groups: dict[str, tuple[int, ...]] = {}
    pattern: str = ""
    mark: Mark = Mark()


class Failure(Struct, frozen=True):
    """A complaint that a customer may come back with, in his words."""

    id: str
    text: str
    mark: Mark = Mark()


# --- limits --------------------------------------------------------------------------------------------


class AboveReading(Struct, frozen=True, tag="above-reading"):
    """A limit relative to an earlier value: ``above start-torque by 0.35 .. 0.45 N·m``."""

    name: str
    by: Limit
    text: str


class EqualWithin(Struct, frozen=True, tag="equal-within"):
    """A limit on the difference between the readings of a value: ``equal within 0.010 in``."""

    spread: Quantity
    text: str


class Fixed(Struct, frozen=True, tag="fixed"):
    """A limit given by numbers."""

    limit: Limit

    @property
    def text(self) -> str:
        return self.limit.text


Bound = Fixed | AboveReading | EqualWithin

Judge = Literal["all", "mean", "largest", "smallest", "spread"]
DecisionRule = Literal["simple", "guarded"]


class Remedy(Struct, frozen=True):
    """A remedy for a value that is out of its limit. It is tried ``tries`` times before the next remedy."""

    do: str
    redo: tuple[Ref, ...] = ()
    tries: int = 1
    stop: bool = False
    mark: Mark = Mark()


class RecordedValue(Struct, frozen=True):
    """A value to be measured and recorded. ``slots`` names its readings: ``("1",)`` for one, ``("1", "2", "3")`` for
    ``readings: 3``, or the author's places (``by_place``)."""

    name: str
    ask: str
    unit: str  # canonical symbol; "" for a bare count
    dimension: str  # as benchflow.quantity names it; "" for a bare count
    bound: Bound | None = None
    used: Bound | None = None
    instrument: str | None = None  # the author's key is `with`
    slots: tuple[str, ...] = ("1",)
    by_place: bool = False
    judge: Judge = "all"
    decision: DecisionRule = "simple"
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    mark: Mark = Mark()


class CalculatedValue(Struct, frozen=True):
    """A value calculated from others. ``formula`` is the author's text; its units are already checked."""

    name: str
    formula: str
    unit: str
    dimension: str
    bound: Bound | None = None
    decision: DecisionRule = "simple"
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    title: str = ""
    mark: Mark = Mark()


class ChoiceRow(Struct, frozen=True):
    """One row of a selection table: from above the row before, up to and including ``up_to``."""

    up_to: Quantity
    take: str


class PartChoice(Struct, frozen=True):
    """The choice of a part by a value, from a table without gaps."""

    name: str
    by: str
    bands: tuple[ChoiceRow, ...]
    above: Quantity | None = None  # the lower edge of the first row; lower values have no part
    title: str = ""
    mark: Mark = Mark()


class StockSizes(Struct, frozen=True):
    """The sizes that can be bought: from ``first`` to ``last`` in steps of ``step``. ``text`` is the author's."""

    first: Quantity
    last: Quantity
    step: Quantity
    text: str


class PartMatching(Struct, frozen=True):
    """The assignment of a measured set of parts to a set of places.

    ``measured`` names the kit item or recorded value with the parts on hand. ``to`` names the places, as under
    `places`. ``so_that`` names the calculated value. It has to be within ``limit`` and as close as possible to ``aim``.
    """

    name: str
    measured: str
    to: str
    so_that: str
    limit: Limit
    aim: Quantity | None = None
    title: str = ""
    sizes: StockSizes | None = None
    mark: Mark = Mark()


# --- tightening ------------------------------------------------------------------------------------


class TorqueStage(Struct, frozen=True, tag="torque"):
    """Tightening to a torque. ``only`` is the group of fasteners that the stage is for; ``None`` for all."""

    torque: Quantity
    text: str
    only: str | None = None


class AngleStage(Struct, frozen=True, tag="angle"):
    """Turning further by an angle."""

    angle: Quantity
    text: str
    only: str | None = None


class LoosenStage(Struct, frozen=True, tag="loosen"):
    """Turning back by an angle, such as ``1 turn``."""

    angle: Quantity
    text: str
    only: str | None = None


class CheckStage(Struct, frozen=True, tag="check"):
    """Checking each fastener against a limit of torque, angle or stretch (a length).

    ``stretch`` is a second limit beside one of torque: both are measured, and a fastener is accepted only if both are
    within.
    """

    limit: Limit
    text: str
    only: str | None = None
    stretch: Limit | None = None


Stage = TorqueStage | AngleStage | LoosenStage | CheckStage


class Tighten(Struct, frozen=True):
    """The tightening of a joint in stages."""

    joint: str
    stages: tuple[Stage, ...]
    total_angle: Quantity | None = None
    draw_down: str = ""  # the instruction for drawing the part down evenly before the first stage; "" if there is none
    instrument: str | None = None  # the author's key is `with`
    mark: Mark = Mark()


# --- an operation ----------------------------------------------------------------------------------


class Hold(Struct, frozen=True):
    """A signature without which an operation is not finished. ``by`` is the role that signs, ``for_`` its text."""

    by: str
    for_: str
    mark: Mark = Mark()


class TimeSince(Struct, frozen=True):
    """Limits on the time since ``operation`` was last finished: no start before ``low``, no finish after ``high``."""

    operation: Ref
    low: Quantity | None
    high: Quantity | None
    text: str


class Undo(Struct, frozen=True):
    """The instructions to undo an operation. ``sets`` holds the values that differ afterwards."""

    do: str
    needs: Values = {}
    discard: tuple[Ref, ...] = ()
    sets: Settings = {}
    mark: Mark = Mark()


class Operation(Struct, frozen=True):
    """An operation as the author wrote it."""

    id: str
    title: str
    section: str  # the section's id
    number: int  # position in the file, from 1
    do: str = ""
    because: str = ""  # why it is done at this point
    cautions: tuple[Caution, ...] = ()
    when: Values = {}
    each: str | None = None
    after: tuple[Ref, ...] = ()
    needs: Values = {}
    during: Settings = {}
    sets: Settings = {}
    time: tuple[TimeSince, ...] = ()
    takes: Quantity | None = None
    uses: tuple[Ref, ...] = ()
    record: tuple[RecordedValue, ...] = ()
    work_out: tuple[CalculatedValue, ...] = ()
    choose: tuple[PartChoice, ...] = ()
    match: tuple[PartMatching, ...] = ()
    tighten: Tighten | None = None
    check: tuple[str, ...] = ()
    hold: Hold | None = None
    guards_against: tuple[Ref, ...] = ()
    undo: Undo | None = None
    restored_by: Ref | None = None  # `temporary: {restored-by: ...}`
    mark: Mark = Mark()


def values_of(operation: Operation) -> tuple[RecordedValue | CalculatedValue, ...]:
    """The values of an operation: recorded ones, then calculated ones."""
    return (*operation.record, *operation.work_out)


def parts_of(operation: Operation) -> tuple[PartChoice | PartMatching, ...]:
    """The parts that an operation chooses: from tables (``choose``), then by matching (``match``)."""
    return (*operation.choose, *operation.match)


class Section(Struct, frozen=True):
    """A section with the ids of its operations."""

    id: str
    title: str
    operations: tuple[str, ...]
    mark: Mark = Mark()


class FollowUp(Struct, frozen=True):
    """Work that remains after the build. ``due`` is the time from the end of the job."""

    title: str
    due: Quantity | None = None
    or_: str = ""
    mark: Mark = Mark()


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
