"""The state of a session: nothing but a fold over its log.

All types are frozen. Dicts inside them are never changed in place: the fold copies what it touches.
"""

from msgspec import Struct

from benchflow.ordering.actions import ReworkStep
from benchflow.ordering.configuration import Configuration, Valuation
from benchflow.procedure.plan import Plan, Step
from benchflow.session.state.events import InstrumentUsed, Lubricated, Opened, Side, Stored, Verdict, WrenchFitted


class When(Struct, frozen=True):
    """A moment: ``at`` is RFC 3339 UTC; ``run`` and ``ms`` are the monotonic clock (``run`` 0: none)."""

    seq: int
    at: str
    run: int = 0
    ms: int = 0


class Attempt(Struct, frozen=True):
    """One entry of one reading. A correction makes a new attempt that names the one it puts right."""

    seq: int
    quantity: Stored
    verdict: Verdict
    side: Side | None
    used: bool = False
    uncertainty: Stored | None = None
    corrects: int | None = None


class Tick(Struct, frozen=True):
    seq: int
    stage: int
    fastener: int
    quantity: Stored | None = None
    verdict: Verdict = "none"
    stretch: Stored | None = None


class Turn(Struct, frozen=True):
    """One fastener drawn down a little, before the first stage."""

    round: int
    fastener: int


class Signature(Struct, frozen=True):
    by: str
    at: str
    self_signed: bool


class Deviation(Struct, frozen=True):
    by: str
    reason: str


class Remedy(Struct, frozen=True):
    """How far the remedies of a value have been gone through: ``done`` counts every try, ``seq`` is the event of the
    last one."""

    side: Side
    done: int
    seq: int = 0


class Work(Struct, frozen=True):
    """What has been entered for one operation since it was last begun afresh."""

    readings: dict[str, dict[str, tuple[Attempt, ...]]] = {}
    ticks: tuple[Tick, ...] = ()
    turns: tuple[Turn, ...] = ()  # of a part that is drawn down
    seated: bool = False  # it was said to be down
    checks: frozenset[int] = frozenset()
    chosen: dict[str, str] = {}
    lots: dict[str, str] = {}
    deviations: dict[str, Deviation] = {}
    lapsed: dict[str, Deviation] = {}  # about what has been replaced since
    remedies: dict[str, Remedy] = {}
    signed: Signature | None = None
    void: Signature | None = None  # a signature that a later entry has undone
    people: frozenset[str] = frozenset()  # who took it up or entered anything
    used: frozenset[str] = frozenset()  # values judged as of a part used again
    redone: int = 0  # how often it was taken back

    @property
    def touched(self) -> bool:
        """Whether anything was entered that setting aside has to keep."""
        return bool(self.people or self.readings or self.ticks or self.turns or self.checks or self.chosen or self.lots)


class Write(Struct, frozen=True):
    """A variable written. ``step`` is empty for a move or for what was found to stand."""

    seq: int
    step: str
    value: str | None


class ReworkProgress(Struct, frozen=True):
    """Work coming apart step by step; ``left`` shrinks."""

    operation: str
    reason: str
    steps: tuple[ReworkStep, ...]
    discard: tuple[str, ...]
    left: int

    @property
    def next(self) -> ReworkStep:
        return self.steps[len(self.steps) - self.left]


class State(Struct, frozen=True):
    """``done`` is in the order of finishing. ``writes`` holds, for each variable, the start and then
    every write that has not been taken back, oldest first."""

    plan: Plan
    opened: Opened
    by: str
    opened_at: str
    seq: int
    last: When
    done: dict[str, When] = {}
    in_progress: str | None = None
    started: When | None = None
    works: dict[str, Work] = {}
    writes: dict[str, tuple[Write, ...]] = {}
    valuation: Valuation = {}
    rework: ReworkProgress | None = None
    recorded: dict[int, tuple[str, str, str]] = {}  # seq of a reading: operation, name, slot
    tools: dict[str, InstrumentUsed] = {}  # need to the instrument used for it last, as it was that day
    wrench: WrenchFitted | None = None
    lubricants: dict[str, Lubricated] = {}  # by joint
    notes: int = 0
    closed: str = ""  # when

    def configuration(self) -> Configuration:
        return Configuration(frozenset(self.done), self.valuation)

    def work(self, step: str) -> Work:
        return self.works.get(step, NO_WORK)

    def step(self, step: str) -> Step:
        return self.plan.steps[step]

    @property
    def paused(self) -> tuple[str, ...]:
        """Begun, neither finished nor in hand, in the author's order."""
        return tuple(
            name
            for name in self.plan.steps
            if name in self.works and name not in self.done and name != self.in_progress and self.works[name].touched
        )

    @property
    def finished(self) -> bool:
        return len(self.done) == len(self.plan.steps)


NO_WORK = Work()
