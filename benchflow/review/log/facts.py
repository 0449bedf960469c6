"""What one log tells, boiled down: the facts that every later question is answered from.

Both sources of answers, the log files themselves and the shop's archive, hold these types and nothing
else, so an answer means the same whichever it came from. The facts need no procedure: titles, limits'
reasons and what guards against what are looked up by the procedure's SHA-256 when an answer is told.

What stands is read from the last state of :mod:`benchflow.session.state.fold`: the last attempt at a reading stands,
unless a remedy set it aside or its operation was taken back.
"""

from typing import Literal

from msgspec import Struct

from benchflow.session.log.timestamps import parse


class Moment(Struct, frozen=True, array_like=True):
    """When something was logged. ``at`` is RFC 3339, UTC, in the log's form; ``ms`` is milliseconds by the monotonic
    clock of the program run ``run`` (0: there was none)."""

    at: str
    run: int = 0
    ms: int = 0

    def seconds_until(self, later: "Moment") -> float:
        """Seconds by the monotonic clock within one program run, otherwise by the calendar. Never negative."""
        if self.run and self.run == later.run:
            return max(0.0, (later.ms - self.ms) / 1000)
        return max(0.0, (parse(later.at) - parse(self.at)).total_seconds())


class SessionFact(Struct, frozen=True):
    """One build. ``session`` is the hash of its first line: the same wherever the file lies."""

    session: str
    unit: str
    by: str
    opened_at: str
    closed_at: str | None
    last_at: str
    events: int
    head: str  # the hash of the last line
    file: str  # the procedure file's name, for people
    procedure: str  # SHA-256 of the procedure's text
    options: dict[str, str]
    start: dict[str, str | None]
    version: str
    simulated: bool
    shop: str | None
    clock_back: int  # how often the clock was seen going backwards
    left_open: tuple[str, ...]  # operations open when it was closed
    why_open: str
    unknown: int  # lines of a kind that this version does not know

    @property
    def closed(self) -> bool:
        return self.closed_at is not None


class OperationFact(Struct, frozen=True):
    """One operation as it was worked. Times are of the work that stands, in seconds.

    ``active`` is the time in hand, ``span`` from first taking up to finishing, ``pause`` the longest
    stretch in it without an event. ``entries`` counts readings, ticks, checks, lots and choices.
    """

    operation: str
    by: str  # who finished it, or had it in hand last
    people: tuple[str, ...]
    begun: Moment | None
    finished: Moment | None
    active: float
    span: float
    pause: float
    entries: int
    checks: int
    paused: int
    redone: int

    @property
    def done(self) -> bool:
        return self.finished is not None


class ReadingFact(Struct, frozen=True):
    """One attempt at one reading, or one value worked out (``slot`` is then empty).

    ``share`` is the part of the limit's band left before the nearer end: 0.5 in the middle of a band with
    two ends, 0 at an end, negative outside; with one end only, the distance to it as a part of its value.
    """

    seq: int
    at: str
    by: str
    operation: str
    name: str
    slot: str
    value: str
    unit: str
    entered: str
    verdict: str
    side: str
    limit: str
    decision: str
    instrument: str
    serial: str
    uncertainty: str  # standard, in `unit`; "" when none was known
    conformity: str
    attempt: int
    standing: bool
    corrected: bool
    filled: str  # a value worked out: the sum with its numbers in
    share: float | None
    two_ended: bool  # whether `share` is of a band with two ends

    @property
    def worked(self) -> bool:
        return not self.slot


class StageFact(Struct, frozen=True):
    """What was tightened in one stage with one instrument by one person on one day (UTC).

    ``seq`` is the first of these ticks. ``gap`` is the longest wait before one of them since the tick before it
    in the same stage, ``gap_seq`` the tick that it ended with, ``seconds`` the time over all of them. ``bad``
    counts checked fasteners that were not proven in.
    """

    seq: int
    operation: str
    joint: str
    stage: int
    round: int  # how often the operation had been taken back before
    instrument: str
    serial: str
    by: str
    day: str
    first_at: str
    last_at: str
    fasteners: int
    unticked: int
    gap: float
    gap_seq: int
    seconds: float
    bad: int
    measured: int  # ticks that came with a value
    stretch: bool  # the instrument read the stretch of fasteners that another one tightened
    standing: bool


class LotFact(Struct, frozen=True):
    seq: int
    at: str
    by: str
    operation: str
    consumable: str
    lot: str
    standing: bool


class ChoiceFact(Struct, frozen=True):
    seq: int
    at: str
    by: str
    operation: str
    name: str
    take: str
    standing: bool


class SignatureFact(Struct, frozen=True):
    seq: int
    at: str
    by: str
    operation: str
    role: str
    self_signed: bool
    standing: bool


class DeviationFact(Struct, frozen=True):
    seq: int
    at: str
    by: str
    operation: str
    about: str
    reason: str
    standing: bool


class InstrumentFact(Struct, frozen=True):
    """An instrument as the shop's register had it when it was used. Dates are ``2026-03-01``, ``""`` unknown."""

    seq: int
    at: str
    by: str
    need: str
    serial: str
    title: str
    range: str
    uncertainty: str
    k: str
    calibrated: str
    due: str
    uses: int | None
    warnings: tuple[str, ...]


class UndoneFact(Struct, frozen=True):
    """An operation that had to be done again. ``cause`` says whether a person or a remedy asked for it."""

    seq: int
    at: str
    by: str
    operation: str
    cause: Literal["rework", "remedy"]
    reason: str


class NoteFact(Struct, frozen=True):
    seq: int
    at: str
    by: str
    operation: str
    text: str


class Facts(Struct, frozen=True):
    """Everything that one log tells."""

    session: SessionFact
    operations: tuple[OperationFact, ...]
    readings: tuple[ReadingFact, ...]
    stages: tuple[StageFact, ...]
    lots: tuple[LotFact, ...]
    choices: tuple[ChoiceFact, ...]
    signatures: tuple[SignatureFact, ...]
    deviations: tuple[DeviationFact, ...]
    instruments: tuple[InstrumentFact, ...]
    undone_steps: tuple[UndoneFact, ...]
    notes: tuple[NoteFact, ...]
