"""The facts of one log. Every question about past builds is answered from these types.

Log files and the shop's archive both deliver them, so an answer does not depend on the source. Facts name things by
id; their titles are in the procedure that the log contains.

``in_force`` is true for work that is valid at the end of the log: not replaced, reworked or withdrawn. Of the
attempts at a reading, only the last can be in force. :mod:`benchflow.session.state.fold` decides.
"""

from collections.abc import Iterable
from typing import Literal

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.review.log.picture_facts import PictureFact
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.rules.failed_fasteners import FAILURE_TEXT
from benchflow.session.state.come_back_events import FirstAnswers, WhenNoticed, YesNo
from benchflow.session.state.event_basics import InstrumentShare
from benchflow.session.state.joint_events import FastenerFailure


class LogTime(Struct, frozen=True, array_like=True):
    """The time of an event.

    ``at`` is a timestamp in the log's form (UTC). ``ms`` is the boot clock in milliseconds, in the boot ``boot``. If
    the line has no boot clock, ``boot`` is "" and ``ms`` is the wall clock. ``seq`` is the number of the event.
    """

    at: str
    boot: str = ""
    ms: int = 0
    seq: int = 0

    def seconds_until(self, later: "LogTime") -> float:
        """Seconds by the boot clock within one boot, otherwise by the calendar. Never negative."""
        if self.boot and self.boot == later.boot and self.ms <= later.ms:
            return (later.ms - self.ms) / 1000
        return max(0.0, (parse_timestamp(later.at) - parse_timestamp(self.at)).total_seconds())


class SessionFact(Struct, frozen=True):
    """One session. ``session`` is the hash of its first line, which identifies it wherever the file is."""

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
    clock_back: int  # how often the clock went backwards
    left_open: tuple[str, ...]  # operations open when it was closed
    why_open: str
    unknown: int  # events of a kind that this version cannot read
    procedure_id: str = ""  # this and the next two: "" if the procedure cannot be read
    revision: str = ""
    procedure_title: str = ""
    teardown: str = ""  # what is taken apart; "" for a job

    @property
    def closed(self) -> bool:
        return self.closed_at is not None

    def is_better_copy_than(self, other: "SessionFact") -> bool:
        """True for two copies of one session if this one is longer, or equally long and its last hash sorts first."""
        return (-self.events, self.head) < (-other.events, other.head)


class OperationFact(Struct, frozen=True):
    """One operation of a session. Times are seconds since its last rework.

    ``active`` is the time in progress without ``pauses``, the long gaps between two events of it
    (:mod:`benchflow.review.log.pause_rule`). ``span`` is the time from the first start to finishing. ``entries``
    counts readings, ticks, checks, lots and choices. ``people`` are those who started it. ``paused`` counts how often
    it was paused, ``redone`` how often it was reworked, over the whole log.
    """

    operation: str
    by: str  # who finished it, otherwise who started it last
    people: tuple[str, ...]
    started: LogTime | None
    finished: LogTime | None
    active: float
    span: float
    pauses: float
    entries: int
    checks: int
    paused: int
    redone: int

    @property
    def done(self) -> bool:
        return self.finished is not None

    @property
    def in_progress(self) -> float:
        """The time in progress with its pauses."""
        return self.active + self.pauses


TOOL_SEPARATOR = "\t"


def tool_lines(shares: Iterable[InstrumentShare]) -> str:
    """The instruments of a reading for :attr:`ReadingFact.others`. Each line begins and ends with a line break."""
    lines = [
        f"{clean_line(share.serial or '')}{TOOL_SEPARATOR}{clean_line(share.instrument or '')}" for share in shares
    ]
    return "".join(f"\n{line}" for line in lines) + ("\n" if lines else "")


class ReadingFact(Struct, frozen=True):
    """One attempt at one reading, or one calculated value.

    ``slot`` is the reading; of a calculated value "", or the reading that it was calculated for.

    ``share`` is the margin: see :func:`benchflow.review.log.margin.margin`.
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
    limit: str
    decision: str
    instrument: str
    serial: str
    uncertainty: str  # standard uncertainty in `unit`; "": not known
    conformity: str
    attempt: int
    in_force: bool
    corrected: bool
    filled: str  # of a calculated value: the formula with its numbers
    share: float | None
    two_ended: bool  # the limit has two ends
    calculated: bool = False
    difference: bool = False  # a difference of temperatures
    others: str = ""  # the instruments beside the first one: a line for each, with serial and name in the procedure

    @property
    def tools(self) -> tuple[tuple[str, str], ...]:
        """The serial number, and the name in the procedure, of each instrument; ``""`` for what is not known."""
        first = ((self.serial, self.instrument),) if self.serial or self.instrument else ()
        rows = (line.split(TOOL_SEPARATOR) for line in self.others.splitlines() if line)
        return (*first, *((serial, name) for serial, name in rows))


class StageFact(Struct, frozen=True):
    """The ticks of one stage with one instrument by one person on one day (UTC), one by one or ``together``.

    ``seq`` is the first tick. ``seconds`` is the time from the first tick to the last. ``gap`` is the longest pause
    before one of the ticks, within the stage, and ``gap_seq`` is that tick. ``bad`` counts the fasteners whose last
    tick was out of its band. ``low`` and ``high`` count all ticks below and above it, also those that were replaced or
    cleared later. ``loosened`` counts the ticks after the fastener was let off and brought up again.

    ``kind`` is the kind of the stage: ``torque``, ``angle``, ``check`` and so on; "" if the procedure cannot be read.
    ``torque`` is the figure of a stage of torque, "" for another one. ``allowed_low`` and ``allowed_high`` are its
    tolerance to each side as a share of the torque; ``None``: not known. ``turned`` is true if a later stage turns the
    fasteners further by an angle.
    """

    seq: int
    operation: str
    joint: str
    stage: int
    round: int  # how often the operation was reworked before
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
    measured: int  # ticks with a value
    stretch: bool  # the instrument measured stretch; another one tightened
    in_force: bool
    low: int = 0
    high: int = 0
    loosened: int = 0
    together: bool = False  # these ticks were entered together, not one by one
    torque: str = ""
    allowed_low: float | None = None
    allowed_high: float | None = None
    turned: bool = False
    kind: str = ""


class FailedFastenerFact(Struct, frozen=True):
    """A fastener that failed. ``reached`` is the torque or angle, ``repair`` what was done then; ``""``: not known."""

    seq: int
    at: str
    by: str
    operation: str
    joint: str
    stage: int  # from 1; 0 before the first stage
    fastener: int
    what: FastenerFailure
    reached: str
    repair: str

    @property
    def words(self) -> str:
        """What happened as a clause: ``studs, fastener 3 stripped at 45 N·m; repaired: insert fitted``."""
        reached = f" at {self.reached}" if self.reached else ""
        repair = f"; repaired: {self.repair}" if self.repair else ""
        return f"{self.joint}, fastener {self.fastener} {FAILURE_TEXT[self.what]}{reached}{repair}"


class LotFact(Struct, frozen=True):
    """A lot of a consumable, entered for an operation.

    ``subject`` is the value that a remedy fitted it for, such as ``bore[2]``; "" for a part of the operation itself.
    """

    seq: int
    at: str
    by: str
    operation: str
    consumable: str
    lot: str
    in_force: bool
    subject: str = ""


class ChoiceFact(Struct, frozen=True):
    """The part ``take`` that was chosen for ``name``."""

    seq: int
    at: str
    by: str
    operation: str
    name: str
    take: str
    in_force: bool


class SignatureFact(Struct, frozen=True):
    """The signature of a hold point. ``self_signed`` is true if the signer did the work."""

    seq: int
    at: str
    by: str
    operation: str
    role: str
    self_signed: bool
    in_force: bool


class DeviationFact(Struct, frozen=True):
    """A signed deviation from ``about``: a value, a joint, ``hold``, ``time`` or ``time <operation>``."""

    seq: int
    at: str
    by: str
    operation: str
    about: str
    reason: str
    in_force: bool


class InstrumentFact(Struct, frozen=True):
    """An instrument as the register described it when it was used. Dates are ``2026-03-01``; ``""``: not known."""

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
    """An operation that had to be done again, because of a person's rework or a remedy."""

    seq: int
    at: str
    by: str
    operation: str
    cause: Literal["rework", "remedy"]
    reason: str


class RemedyFact(Struct, frozen=True):
    """A remedy ``do`` that was carried out for a value, a joint or a check.

    ``reading`` names the readings; ``""`` for the whole value. ``verdict`` is ``no`` for a check.
    """

    seq: int
    at: str
    by: str
    operation: str
    name: str
    reading: str
    verdict: str  # on the value before the remedy
    do: str

    @property
    def words(self) -> str:
        """The remedy as a clause: ``gap, reading 2, too high: Grind it``."""
        if self.verdict == "no":
            return f"{self.name} answered no: {self.do}"
        which = f", reading {self.reading}" if self.reading else ""
        return f"{self.name}{which}, too {self.verdict}: {self.do}"


class NoteFact(Struct, frozen=True):
    """A note. ``operation`` is ``""`` for a note about the whole job."""

    seq: int
    at: str
    by: str
    operation: str
    text: str


class ComplaintFact(Struct, frozen=True):
    """A customer's complaint, with the answers to the first questions; ``""``: left open."""

    seq: int
    at: str
    by: str
    text: str
    running: YesNo
    since: str
    when: WhenNoticed
    touched: str
    retorque: YesNo
    changed: str

    @property
    def answers(self) -> FirstAnswers:
        """The answers to the first questions."""
        return FirstAnswers(self.running, self.since, self.when, self.touched, self.retorque, self.changed)


class CauseFact(Struct, frozen=True):
    """What a come-back turned out to be. ``in_force`` is false if it was withdrawn or replaced.

    ``operation``, ``title`` and ``hours`` are ``""`` if there are none. ``date`` is the day of the finding.
    """

    seq: int
    at: str
    by: str
    complaint: str
    finding: str
    outcome: str
    operation: str
    title: str
    date: str
    hours: str
    in_force: bool


class Facts(Struct, frozen=True):
    """All facts of one log."""

    session: SessionFact
    operations: tuple[OperationFact, ...]
    readings: tuple[ReadingFact, ...]
    stages: tuple[StageFact, ...]
    failed_fasteners: tuple[FailedFastenerFact, ...]
    lots: tuple[LotFact, ...]
    choices: tuple[ChoiceFact, ...]
    signatures: tuple[SignatureFact, ...]
    deviations: tuple[DeviationFact, ...]
    instruments: tuple[InstrumentFact, ...]
    undone_steps: tuple[UndoneFact, ...]
    remedies: tuple[RemedyFact, ...]
    notes: tuple[NoteFact, ...]
    complaints: tuple[ComplaintFact, ...] = ()
    causes: tuple[CauseFact, ...] = ()
    pictures: tuple[PictureFact, ...] = ()
