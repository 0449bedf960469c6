"""The state of a session: the result of folding its log (:mod:`benchflow.session.state.fold`).

All types are frozen. Dicts in them are never changed in place: the fold copies what it changes.
"""

from typing import Literal

from msgspec import Struct

from benchflow.ordering.actions import ReworkStep
from benchflow.ordering.configuration import Configuration, Valuation
from benchflow.procedure.plan import Plan, Step
from benchflow.session.state.clock import EventTime
from benchflow.session.state.events import InstrumentUsed, Lubricated, Opened, StoredQuantity, WrenchFitted
from benchflow.trade.verdict import OutOfLimit, Verdict


class Attempt(Struct, frozen=True):
    """One entry of one reading. A correction is a new attempt; ``corrects`` is the ``seq`` of the wrong entry."""

    seq: int
    quantity: StoredQuantity
    verdict: Verdict
    used: bool = False
    uncertainty: StoredQuantity | None = None
    corrects: int | None = None


class Tick(Struct, frozen=True):
    """One fastener done in one stage (counted from 1), with what was read, if anything was."""

    seq: int
    stage: int
    fastener: int
    quantity: StoredQuantity | None = None
    verdict: Verdict = "none"
    stretch: StoredQuantity | None = None


class Turn(Struct, frozen=True):
    """One fastener turned down a little in a draw-down, before the first stage."""

    round: int
    fastener: int


class Signature(Struct, frozen=True):
    by: str
    at: str
    self_signed: bool


class Deviation(Struct, frozen=True):
    by: str
    reason: str


class RemedyCount(Struct, frozen=True):
    """The remedies carried out for a value with this ``verdict``: ``done`` counts the tries, ``seq`` is the
    last event."""

    verdict: OutOfLimit
    done: int
    seq: int = 0


class Work(Struct, frozen=True):
    """Everything entered for one operation since it was last undone."""

    readings: dict[str, dict[str, tuple[Attempt, ...]]] = {}
    ticks: tuple[Tick, ...] = ()
    turns: tuple[Turn, ...] = ()  # of a draw-down
    seated: bool = False  # the part was confirmed to be down
    checks: frozenset[int] = frozenset()
    chosen: dict[str, str] = {}
    lots: dict[str, str] = {}
    deviations: dict[str, Deviation] = {}
    lapsed: dict[str, Deviation] = {}  # deviations whose entry has been replaced since
    remedies: dict[str, RemedyCount] = {}
    signed: Signature | None = None
    void: Signature | None = None  # a signature made invalid by a later entry
    people: frozenset[str] = frozenset()  # who started it or entered anything
    used: frozenset[str] = frozenset()  # values judged by the limit for used parts
    redone: int = 0  # how often it was undone

    @property
    def touched(self) -> bool:
        """Whether anybody started it or entered anything."""
        return bool(self.people or self.readings or self.ticks or self.turns or self.checks or self.chosen or self.lots)


class Write(Struct, frozen=True):
    """A value given to a state variable. ``step`` is empty for a move and for a state that was found."""

    seq: int
    step: str
    value: str | None


class ReworkProgress(Struct, frozen=True):
    """A rework plan in progress. ``left`` counts the steps still to be done."""

    operation: str
    reason: str
    steps: tuple[ReworkStep, ...]
    discard: tuple[str, ...]
    left: int

    @property
    def next(self) -> ReworkStep:
        return self.steps[len(self.steps) - self.left]


class EntryRef(Struct, frozen=True):
    """An entry that can be corrected. ``name`` is a value, a joint or a consumable; ``reading``: which reading."""

    operation: str
    name: str
    kind: Literal["reading", "tick", "lot"]
    reading: str = ""


class State(Struct, frozen=True):
    """A session after some event.

    ``done`` is in the order of finishing. ``writes`` holds, for each variable, the start value and then every write
    that was not withdrawn, oldest first. ``correctable`` has the entries that can be corrected by their ``seq``.
    """

    plan: Plan
    opened: Opened
    by: str
    opened_at: str
    seq: int
    last: EventTime
    done: dict[str, EventTime] = {}
    in_progress: str | None = None
    started: EventTime | None = None
    works: dict[str, Work] = {}
    writes: dict[str, tuple[Write, ...]] = {}
    valuation: Valuation = {}
    rework: ReworkProgress | None = None
    correctable: dict[int, EntryRef] = {}
    tools: dict[str, InstrumentUsed] = {}  # by instrument need: the one used last, as it was that day
    wrench: WrenchFitted | None = None
    lubricants: dict[str, Lubricated] = {}  # by joint
    notes: int = 0
    closed: str = ""  # timestamp

    def configuration(self) -> Configuration:
        return Configuration(frozenset(self.done), self.valuation)

    def work(self, step: str) -> Work:
        return self.works.get(step, NO_WORK)

    def step(self, step: str) -> Step:
        return self.plan.steps[step]

    @property
    def paused(self) -> tuple[str, ...]:
        """The operations started and neither finished nor in progress, in the order of the procedure."""
        return tuple(
            name
            for name in self.plan.steps
            if name in self.works and name not in self.done and name != self.in_progress and self.works[name].touched
        )

    @property
    def finished(self) -> bool:
        return len(self.done) == len(self.plan.steps)


NO_WORK = Work()
