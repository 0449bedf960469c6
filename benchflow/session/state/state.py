"""The state of a session, made from its log by :mod:`benchflow.session.state.fold`.

All types are frozen. The dicts in them are never changed in place: the fold copies what it changes.
"""

from typing import Literal, NamedTuple

from msgspec import Struct

from benchflow.ordering.actions import ReworkStep
from benchflow.ordering.configuration import Configuration, Valuation
from benchflow.procedure.model import Mark, Procedure
from benchflow.procedure.plan import Plan, Step
from benchflow.session.state.clock import BootSpan, EventTime
from benchflow.session.state.continued_job import OperationTakenOver
from benchflow.session.state.events import (
    CheckAnswer,
    FastenerFailure,
    FindingRecorded,
    InstrumentShare,
    InstrumentUsed,
    JobOpened,
    LubricantChanged,
    PersonRecord,
    PictureAttached,
    StoredQuantity,
    WrenchAdapterChanged,
)
from benchflow.trade.verdict import RemedySide, Verdict


class Attempt(Struct, frozen=True):
    """One recorded value of a reading. A reading that is taken again, or corrected, gets another attempt."""

    seq: int
    quantity: StoredQuantity
    verdict: Verdict
    used: bool = False  # true if the limit for used parts applies
    uncertainty: StoredQuantity | None = None  # standard uncertainty
    corrects: int | None = None  # ``seq`` of the wrong entry that this attempt corrects
    instrument: str = ""  # serial number of the instrument, or its id in the procedure; "" without an instrument
    claims: int | None = None  # ``seq`` of the same reading, for which only ``used`` is stated again
    tools: tuple[InstrumentShare, ...] = ()  # all instruments, if it was taken with several


class Tick(Struct, frozen=True):
    """One fastener done in one stage, with the quantity read, if there was one."""

    seq: int
    stage: int  # from 1
    fastener: int
    quantity: StoredQuantity | None = None
    verdict: Verdict = "none"
    stretch: StoredQuantity | None = None
    answer: CheckAnswer = ""  # at a check stage, of a wrench that shows no reading
    corrected: int = 0  # ``seq`` of its last correction
    loosened: bool = False  # true if the fastener was let off and brought up again for this tick
    check: bool = False  # true in a check stage, which only measures
    torque: StoredQuantity | None = None  # of the stage when it was made, if that is not in the procedure
    judged_by: StoredQuantity | None = None  # the torque that it was judged by again
    at: EventTime | None = None  # when it was made

    @property
    def entry(self) -> int:
        """The ``seq`` of the event with its present values. A deviation names it."""
        return self.corrected or self.seq


class FailedFastener(Struct, frozen=True):
    """A fastener that failed and was not repaired. The joint is stopped until a deviation covers the entry."""

    seq: int
    fastener: int
    stage: int  # in which it failed, from 1; 0 before the first stage
    what: FastenerFailure
    quantity: StoredQuantity | None = None  # the torque or angle that it reached


class GivenFigure(Struct, frozen=True):
    """A figure as given at the bench: a quantity, a limit or a text as typed, and its source."""

    seq: int
    figure: str
    source: str


class Turn(Struct, frozen=True):
    """One fastener turned down a little in a draw-down, before the first stage."""

    round: int
    fastener: int


class Signature(Struct, frozen=True):
    """A signature for the hold of an operation."""

    by: str
    at: str
    self_signed: bool  # true if the signer also worked on the operation


class Takeover(Struct, frozen=True):
    """Who took over an operation from the log that the job continues."""

    by: str
    at: str
    seq: int  # of the event
    event: OperationTakenOver


class Deviation(Struct, frozen=True):
    """A signed deviation.

    ``entries`` has the ``seq`` of every entry that it covers. It lapses when one of them is replaced or cleared, except
    that one about a joint still covers the other ticks. A deviation from a hold or a time window covers no entry.
    """

    by: str
    reason: str
    entries: frozenset[int] = frozenset()
    clocks: tuple[int, ...] = ()  # ``seq`` of each event that a waived time window counts from; empty: of any


class RemedyKey(NamedTuple):
    """What the tries of remedies are counted for: one reading of a value (``""``: all of it), on one side.

    For a joint, ``reading`` is the stage and the fastener (:func:`fastener_slot`). For a check, ``name`` is
    :func:`check_key`.
    """

    name: str
    reading: str
    verdict: RemedySide
    limit: int = 0  # number of the further limit, from 1; 0 for the main one


class LoggedResult(Struct, frozen=True):
    """The last result of a calculated value. ``difference`` is true for a difference of temperatures."""

    quantity: StoredQuantity
    difference: bool = False


class RoundBefore(Struct, frozen=True):
    """The values of an operation in the round before: the last ones before it, or a reading, was reopened.

    ``readings`` are by value and reading, ``results`` by calculated value and reading ("" for a single result).
    """

    readings: dict[str, dict[str, Attempt]] = {}
    results: dict[str, dict[str, LoggedResult]] = {}


class WaitKey(NamedTuple):
    """What the wait of a remedy holds back: a reading; a fastener of a joint; a check or a value (``slot`` is "")."""

    name: str  # of the value or the joint; :func:`check_key` of a check
    slot: str


class RemedyWait(Struct, frozen=True):
    """The wait of a remedy ``do``, which was carried out at ``since``."""

    since: EventTime
    length: StoredQuantity
    do: str


class Work(Struct, frozen=True):
    """Everything entered for one operation since it was last undone."""

    readings: dict[str, dict[str, tuple[Attempt, ...]]] = {}  # attempts by value and reading, oldest first
    ticks: tuple[Tick, ...] = ()
    cleared_high: tuple[Tick, ...] = ()  # cleared ticks that were above their band; the fastener is still too tight
    failed_fasteners: dict[int, FailedFastener] = {}  # by fastener; kept when it is undone
    figures: dict[int, GivenFigure] = {}  # by stage, from 1
    turns: tuple[Turn, ...] = ()  # of the draw-down
    seated: bool = False  # the part was confirmed to be down
    checks: frozenset[int] = frozenset()  # numbers of the ticked checks, from 1
    failed: dict[int, int] = {}  # ``seq`` of the answer no, by the number of the check
    chosen: dict[str, str] = {}  # chosen part by choice
    choice_seqs: dict[str, int] = {}  # ``seq`` of the event of each chosen part
    reasoned: frozenset[str] = frozenset()  # the choices that were made with a reason
    lots: dict[str, str] = {}  # lot number by part or consumable (:func:`lot_key`)
    fitted: tuple[str, ...] = ()  # the parts that remedies have fitted (:func:`lot_key`); kept when it is undone
    waits: dict[WaitKey, RemedyWait] = {}  # of remedies, until the entry that they hold back; kept when it is undone
    deviations: dict[str, Deviation] = {}  # those in force, by subject
    lapsed: dict[str, Deviation] = {}  # those whose entry was replaced or cleared later, by subject
    remedies: dict[RemedyKey, int] = {}  # number of remedies carried out; kept when the operation is undone
    remedied: dict[str, int] = {}  # ``seq`` of the last remedy that made a value void, by value
    signed: Signature | None = None
    void: Signature | None = None  # the signature that a later entry made invalid
    people: frozenset[str] = frozenset()  # everybody who started the operation or entered something
    enterers: frozenset[str] = frozenset()  # everybody who entered something
    entered: dict[str, EventTime] = {}  # the last entry of each value (by name) and of each check (:func:`check_key`)
    redone: int = 0  # how often the operation was undone
    results: dict[str, dict[str, LoggedResult]] = {}  # of the calculated values that some `before` names
    before: RoundBefore = RoundBefore()  # kept when the operation is undone
    takeover: Takeover | None = None  # set if it was done under the log that this job continues
    finished: int = 0  # ``seq`` of the event that finished it first; 0 before that. Kept when it is started again

    @property
    def touched(self) -> bool:
        """True if anybody started the operation or entered something."""
        return bool(self.people or self.readings or self.ticks or self.turns or self.checks or self.chosen or self.lots)

    @property
    def entries(self) -> frozenset[int]:
        """The ``seq`` of every entry that a deviation can cover.

        They are the last attempts, ticks, failed fasteners, choices and answers no.
        """
        readings = (attempts[-1].seq for slots in self.readings.values() for attempts in slots.values() if attempts)
        ticks = (tick.seq for tick in self.ticks)
        failed = (one.seq for one in self.failed_fasteners.values())
        return frozenset((*readings, *ticks, *failed, *self.choice_seqs.values(), *self.failed.values()))

    def attempt(self, entry: "EntryRef", seq: int) -> Attempt | None:
        """The attempt of event ``seq`` at the reading ``entry``; ``None`` if it was cleared."""
        attempts = self.readings.get(entry.name, {}).get(entry.reading, ())
        return next((attempt for attempt in attempts if attempt.seq == seq), None)

    def stated_used(self, entry: "EntryRef", seq: int) -> bool:
        """True if the limit for used parts applies to the attempt of event ``seq``, by the last statement about it."""
        attempts = self.readings.get(entry.name, {}).get(entry.reading, ())
        stated = [attempt.used for attempt in attempts if seq in (attempt.seq, attempt.claims)]
        return bool(stated) and stated[-1]

    def tick(self, seq: int) -> Tick | None:
        """The tick of event ``seq``; ``None`` if it was cleared. A cleared tick above its band is kept."""
        return next((tick for tick in (*self.ticks, *self.cleared_high) if tick.seq == seq), None)

    @property
    def too_tight(self) -> dict[tuple[int, int], Tick]:
        """The ticks above their band after which the fastener was not loosened, by (stage, fastener).

        A cleared tick is one of them, since the fastener was tightened all the same. A check stage only measures, so
        its ticks are left out.
        """
        if not self.cleared_high and all(tick.verdict != "high" for tick in self.ticks):
            return {}
        found: dict[tuple[int, int], Tick] = {}
        cleared = {tick.seq for tick in self.cleared_high}
        for tick in sorted((*self.ticks, *self.cleared_high), key=lambda tick: tick.seq):
            if tick.loosened and tick.seq not in cleared:
                found.pop((tick.stage, tick.fastener), None)
            if tick.verdict == "high" and not tick.check:
                found[tick.stage, tick.fastener] = tick
        return found

    @property
    def ticks_in_force(self) -> dict[tuple[int, int], Tick]:
        """The tick of each fastener in each stage that counts, by (stage, fastener).

        It is the last one. A tick above its band stays in force until the fastener was loosened.
        """
        last = {(tick.stage, tick.fastener): tick for tick in self.ticks}
        return {**last, **{key: tick for key, tick in self.too_tight.items() if key in last}}

    @property
    def covered(self) -> frozenset[int]:
        """The ``seq`` of every entry that a signed deviation covers."""
        return frozenset().union(*(deviation.entries for deviation in self.deviations.values()))

    @property
    def left_out(self) -> frozenset[int]:
        """The failed fasteners that a signed deviation covers: the joint goes on without them."""
        covered = self.covered
        return frozenset(number for number, failed in self.failed_fasteners.items() if failed.seq in covered)


class VariableWrite(Struct, frozen=True):
    """A value given to a state variable."""

    seq: int  # of the event; 0 for the start value; 1 for the state asked again in a continued job
    step: str  # step id of the operation that set it; empty for a start value, a move or a state that was found
    value: str | None  # None if it is not known
    taken_over: bool = False  # true for an operation that was done under the log that this job continues


class ValueSince(Struct, frozen=True):
    """A value of a state variable, and when it got it."""

    value: str | None
    since: EventTime


class ReworkProgress(Struct, frozen=True):
    """A rework plan in progress."""

    operation: str
    reason: str
    steps: tuple[ReworkStep, ...]
    discard: tuple[str, ...]  # ids of the parts that cannot be used again
    left: int  # number of steps not done yet

    @property
    def next(self) -> ReworkStep:
        """The first step that is not done yet."""
        return self.steps[len(self.steps) - self.left]


class EntryRef(Struct, frozen=True):
    """An entry that can be corrected."""

    operation: str
    name: str  # of the value, the joint or the consumable; :func:`check_key` of a check answered no
    kind: Literal["reading", "tick", "lot", "check", "figure", "filled"]
    reading: str = ""  # number or place of the reading; of a figure that was filled in, its line and column


class State(Struct, frozen=True):
    """The state of a session after the event ``seq``."""

    plan: Plan
    opened: JobOpened
    by: str
    opened_at: str
    seq: int
    last: EventTime  # of the event ``seq``
    spans: tuple[BootSpan, ...] = ()  # how the clocks ran, for `elapsed`
    intents: int = 0  # number of the last intent that was logged
    register: str | None = None  # id of the shop's register; None without one
    people: tuple[PersonRecord, ...] = ()  # of the register, as last logged
    had_people: bool = False  # true if the register of the job has had people: then not any name can sign
    pin_refused: EventTime | None = None  # the last wrong PIN
    done: dict[str, EventTime] = {}  # finished operations by step id, in the order of finishing
    in_progress: str | None = None  # step id of the operation in progress
    started: EventTime | None = None  # when the operation in progress was started
    resumed: int = 0  # ``seq`` of the event with which the program was started last; 0 if only the job was opened
    works: dict[str, Work] = {}  # by step id
    to_undo: tuple[str, ...] = ()  # reopened by a remedy, but what they set is still in force; in the order of undoing
    reopened_holds: frozenset[str] = frozenset()  # finished operations whose hold has to be signed again
    changed_later: dict[str, int] = {}  # by step id, the last event that changed an entry after it was finished
    writes: dict[str, tuple[VariableWrite, ...]] = {}  # for each variable, every write not withdrawn, oldest first
    valuation: Valuation = {}  # present value of each state variable
    value_times: dict[str, tuple[ValueSince, ...]] = {}  # of variables that a `while` names: every value, oldest first
    restarted: dict[str, tuple[EventTime, ...]] = {}  # by step id, when moves and remedies started its clock again
    rework: ReworkProgress | None = None
    correctable: dict[int, EntryRef] = {}  # by ``seq``
    filled: dict[Mark, GivenFigure] = {}  # figures that were given for `ask`, by their place in the procedure
    as_written: Procedure | None = None  # the procedure without them; ``None`` while none is given
    tools: dict[str, InstrumentUsed] = {}  # the instrument used last, by its id in the procedure
    wrench: WrenchAdapterChanged | None = None  # the adapter on the torque wrench
    lubricants: dict[str, LubricantChanged] = {}  # by joint
    remarks: dict[int, str | None] = {}  # by ``seq``, what people wrote that a picture can show: the step of each
    pictures: dict[int, PictureAttached] = {}  # by ``seq``, without those withdrawn
    causes: dict[int, FindingRecorded] = {}  # what come-backs turned out to be, by ``seq``, without those withdrawn
    closed: str = ""  # timestamp; empty while the job is open

    def configuration(self) -> Configuration:
        """The finished operations and the values of the state variables, as the interlock uses them."""
        return Configuration(frozenset(self.done), self.valuation)

    def work(self, step: str) -> Work:
        """Everything entered for the operation with this step id."""
        return self.works.get(step, NO_WORK)

    def step(self, step: str) -> Step:
        """The step of the plan with this id."""
        return self.plan.steps[step]

    @property
    def paused(self) -> tuple[str, ...]:
        """The step ids of the paused operations, in the order of the procedure."""
        return tuple(
            name
            for name in self.plan.steps
            if name in self.works and name not in self.done and name != self.in_progress and self.works[name].touched
        )


def fastener_slot(stage: int, fastener: int) -> str:
    """The ``reading`` of a :class:`RemedyKey` for one fastener in one stage."""
    return f"stage {stage}, fastener {fastener}"


def lot_key(item: str, subject: str) -> str:
    """The key of a part in ``Work.lots``: its id, and what a remedy has fitted it for: ``sleeve for bore[2]``."""
    return f"{item} for {subject}" if subject else item


def lot_item(key: str) -> str:
    """The id of the part of a :func:`lot_key`."""
    return key.partition(" for ")[0]


def lot_subject(key: str) -> str:
    """The subject of the remedy that fitted the part of a :func:`lot_key`; "" for a part of the operation itself."""
    return key.partition(" for ")[2]


def check_key(number: int) -> str:
    """The key of a check, from 1, in ``Work.entered``."""
    return f"check {number}"


HOLD = "hold"
"""The subject of a deviation that waives the hold of an operation."""

NO_WORK = Work()
