"""The events of a session log: one class for each kind of log line.

The fields of a class are the keys in the ``data`` of its lines. The session controller adds to each line:

``clock``   the boot clock (:mod:`benchflow.session.state.clock`)
``intent``  the number of the intent that wrote the line, from 1
``of``      the number of lines that this intent wrote
``sent``    only on the first of them: the intent itself, without its PIN
"""

from typing import Any, Literal

import msgspec

from benchflow.session.log.line_format import Line
from benchflow.session.state.come_back_events import ComplaintReported as ComplaintReported
from benchflow.session.state.come_back_events import FindingRecorded as FindingRecorded
from benchflow.session.state.come_back_events import FindingWithdrawn as FindingWithdrawn
from benchflow.session.state.continued_job import ContinuedLog, EarlierJob, OperationTakenOver
from benchflow.session.state.event_basics import BlockRecord as BlockRecord
from benchflow.session.state.event_basics import Event as Event
from benchflow.session.state.event_basics import InstrumentShare as InstrumentShare
from benchflow.session.state.event_basics import PersonRecord as PersonRecord
from benchflow.session.state.event_basics import SignatureProof as SignatureProof
from benchflow.session.state.event_basics import StoredQuantity as StoredQuantity
from benchflow.session.state.joint_events import CheckAnswer as CheckAnswer
from benchflow.session.state.joint_events import DrawDownTurnCleared as DrawDownTurnCleared
from benchflow.session.state.joint_events import FastenerDrawnDown as FastenerDrawnDown
from benchflow.session.state.joint_events import FastenerFailed as FastenerFailed
from benchflow.session.state.joint_events import FastenerFailure as FastenerFailure
from benchflow.session.state.joint_events import FastenerFailureCleared as FastenerFailureCleared
from benchflow.session.state.joint_events import FastenerRepaired as FastenerRepaired
from benchflow.session.state.joint_events import FastenerTicked as FastenerTicked
from benchflow.session.state.joint_events import FastenerUnticked as FastenerUnticked
from benchflow.session.state.joint_events import FigureGiven as FigureGiven
from benchflow.session.state.joint_events import PartSeated as PartSeated
from benchflow.session.state.joint_events import ReadingsJudgedAgain as ReadingsJudgedAgain
from benchflow.session.state.joint_events import SeatingCleared as SeatingCleared
from benchflow.session.state.joint_events import StageBegunAgain as StageBegunAgain
from benchflow.session.state.joint_events import TicksJudgedAgain as TicksJudgedAgain
from benchflow.session.state.picture_events import PictureAttached as PictureAttached
from benchflow.session.state.picture_events import PictureWithdrawn as PictureWithdrawn
from benchflow.trade.verdict import RemedySide, Verdict

FORMAT = 3
"""The log format that this version writes and continues. Logs of version 0.1 have format 1 and do not state it."""

RULES = 3
"""The number of the rules that decide on intents. It grows when a rule gets stricter."""


class JobOpened(Event, frozen=True, tag="opened"):
    """A job was started. This is the first event of every log."""

    procedure: str  # the whole text of the procedure file; if it uses blocks, the text with them written out
    procedure_sha256: str
    file: str  # name of the procedure file, for display only
    options: dict[str, str]
    start: dict[str, str | None]  # the start value of every state variable; null if not known
    unit: str  # the unit under build: its serial number or job number
    version: str  # of benchflow
    simulated: bool = False
    format: int = 1  # not written by version 0.1
    rules: int = 0  # number of the rules (:data:`RULES`); 0 before format 3
    boot: str = ""  # boot id of the machine; "" where there is none
    register: str | None = None  # id of the shop's register; None without one
    people: tuple[PersonRecord, ...] = ()  # of the register
    shop: str | None = None  # SHA-256 of id and people of the register; None without one
    continues: ContinuedLog | None = None  # the damaged or left log whose engine is built on here
    earlier: tuple[EarlierJob, ...] = ()  # other logs of the same unit on this bench, the first one first
    blocks: tuple[BlockRecord, ...] = ()  # the blocks that are written out in `procedure`


class JobResumed(Event, frozen=True, tag="resumed"):
    """The program was started again, and the log opened to continue it."""

    version: str
    format: int
    rules: int
    boot: str = ""
    register: str | None = None
    people: tuple[PersonRecord, ...] = ()
    shop: str | None = None
    other_register: str = ""  # the reason why another register, or none, is used from here on


class RegisterChanged(Event, frozen=True, tag="register-changed"):
    """The entry of a person in the register changed during the job. Adding somebody is only a note."""

    person: str
    change: Literal["added", "removed", "roles", "pin", "retired"]
    before: str
    after: str
    register: str  # id of the register
    record: PersonRecord | None = None  # the whole entry afterwards; None if it was removed


class PinRefused(Event, frozen=True, tag="pin-refused"):
    """A wrong PIN was entered for a person. The intent was refused."""

    person: str
    role: str = ""
    operation: str | None = None


class OperationStarted(Event, frozen=True, tag="started"):
    """An operation was started, or continued after a pause."""

    operation: str


class OperationPaused(Event, frozen=True, tag="paused"):
    """The operation in progress was paused. Its entries are kept."""

    operation: str


class OperationFinished(Event, frozen=True, tag="finished"):
    """The operation in progress was finished."""

    operation: str
    unknown: tuple[str, ...] = ()  # state variables that are not known, because their proof was waived
    findings: dict[str, tuple[str, ...]] = msgspec.field(
        default_factory=dict
    )  # what was found, for each finding that decides what is done
    discard: tuple[str, ...] = ()  # ids of the parts that are thrown away, because their operation was taken apart


class MoveMade(Event, frozen=True, tag="moved"):
    """A move was made, such as turning the engine over on the stand."""

    move: str


class ReadingRecorded(Event, frozen=True, tag="recorded"):
    """A reading was recorded. ``verdict`` is for this reading alone, by the decision rule ``decision``."""

    operation: str
    name: str
    reading: str  # number of the reading, from "1", or the place where it was taken
    quantity: StoredQuantity
    verdict: Verdict
    limit: str = ""
    decision: str = "simple"
    instrument: str | None = None  # id of the instrument in the procedure
    serial: str | None = None  # serial number of the instrument used, from the shop's register
    uncertainty: StoredQuantity | None = None  # standard uncertainty u, in the unit of the value
    conformity: str | None = None  # probability of conformity, from 0 to 1
    used: bool = False  # true if the limit for used parts applies
    acceptance: str = ""  # the values that guarded acceptance accepts
    claims: int | None = None  # ``seq`` of the same reading: not read again, only ``used`` is stated again
    earlier: int | None = None  # ``seq`` of this reading in the log that the job continues: taken over, not read again
    tools: tuple[InstrumentShare, ...] = ()  # all instruments, if there are several; ``instrument`` is the first


class ValueCalculated(Event, frozen=True, tag="calculated"):
    """A value was calculated, because its last input was entered."""

    operation: str
    name: str
    quantity: StoredQuantity
    verdict: Verdict
    limit: str = ""
    decision: str = "simple"
    filled: str = ""  # the formula with the numbers inserted
    uncertainty: StoredQuantity | None = None
    conformity: str | None = None
    reading: str = ""  # the reading that it was calculated for, if there are several
    difference: bool = False  # true for a difference of temperatures
    acceptance: str = ""  # the values that guarded acceptance accepts


class RemedyCarriedOut(Event, frozen=True, tag="remedied"):
    """A remedy was carried out: for a value, or fasteners of a joint in one stage, out of the limit; or for a check.

    The ``name`` of a check is ``check`` and its number, as a deviation names it.
    """

    operation: str
    name: str
    verdict: RemedySide  # the verdict on the value before the remedy; "no" for a check
    do: str  # text of the remedy
    redo: tuple[str, ...] = ()  # ids of the operations that have to be done again; ``operation`` itself: it is cleared
    readings: tuple[str, ...] = ()  # the readings that it was carried out for; empty for the value as a whole
    void: dict[str, tuple[str, ...]] = msgspec.field(
        default_factory=dict
    )  # the readings to take again, by value; all of ``name`` if it is empty
    fresh: bool = False  # true if the tries of all remedies of the value are counted from zero again
    undo_later: tuple[str, ...] = ()  # those of ``redo`` that cannot be undone before a move
    discard: tuple[str, ...] = ()  # ids of the parts that cannot be used again
    stage: int = 0  # of the joint ``name``, from 1; 0 for a value
    fasteners: tuple[int, ...] = ()  # of the joint ``name``, for which it was carried out
    check: int = 0  # number of the check, from 1; 0 for a value or a joint
    called: tuple[str, ...] = ()  # those of ``redo`` that are done only if needed: they are part of the build now
    subject: str = ""  # what it was carried out for, as a formula names it; only if it fits parts
    uses: tuple[str, ...] = ()  # ids of the parts that it fits; their lots are entered afterwards
    restarts: tuple[str, ...] = ()  # ids of the done operations whose clocks start again
    wait: StoredQuantity | None = None  # the time before what it was carried out for counts again
    wait_for: dict[str, dict[str, tuple[str, ...]]] = msgspec.field(
        default_factory=dict
    )  # what the wait holds back: by step and name, the readings
    limit: int = 0  # number of the further limit of the value (`also`), from 1; 0 for its main limit


class CheckTicked(Event, frozen=True, tag="checked"):
    """A check of an operation was ticked, or answered no."""

    operation: str
    check: int  # from 1
    text: str
    answer: Literal["yes", "no"] = "yes"


class CheckUnticked(Event, frozen=True, tag="unchecked"):
    """The tick of a check was cleared."""

    operation: str
    check: int
    text: str


class PartChosen(Event, frozen=True, tag="chosen"):
    """A part was chosen: from a table, or for one place of a matching."""

    operation: str
    name: str  # name of the table, or of the matching with the place
    take: str  # the part
    reason: str = ""  # why this part was chosen
    earlier: int | None = None  # ``seq`` of this choice in the log that the job continues


class LotEntered(Event, frozen=True, tag="lot"):
    """The lot number of a part or consumable was entered. ``subject`` is what a remedy has fitted the part for."""

    operation: str
    consumable: str
    lot: str
    subject: str = ""
    earlier: int | None = None  # ``seq`` of this entry in the log that the job continues


class HoldSigned(Event, frozen=True, tag="signed"):
    """The hold of an operation was signed, by the person named in ``by`` of the log line."""

    operation: str
    role: str
    self_signed: bool  # true if the signer also worked on the operation
    proven: SignatureProof = ""


CHANGE_MARK = "change the procedure"
"""The words for the mark ``change`` of a note, a deviation or a correction. `benchflow revise` gathers these."""


class DeviationSigned(Event, frozen=True, tag="deviated"):
    """A deviation was signed.

    ``about`` is one of: the name of a value, a part or a joint; one fastener (``studs[3]``); ``hold``; ``time`` (every
    time window of the operation); ``time seal`` (the time window that counts from the operation ``seal``). It is never
    an interference rule. ``gap[2]`` is one of several readings. ``entries`` has the ``seq`` of every entry that the
    deviation covers. ``clocks`` has the ``seq`` of each event that a waived time window counts from; logs of older
    versions have none, and waive the window whatever it counts from.
    """

    operation: str
    about: str
    reason: str
    entries: tuple[int, ...] = ()
    self_signed: bool = False  # true for a hold that was waived by a person who worked on the operation
    clocks: tuple[int, ...] = ()
    role: str = ""  # the roles that the signature needed, with commas; empty if anyone could sign
    proven: SignatureProof = ""
    change: bool = False  # marked "change the procedure"


class ReworkStarted(Event, frozen=True, tag="rework-started"):
    """Rework of an operation was started.

    ``steps`` is the rework plan, in order. Each step is ``{"operation": id}`` (undo it) or ``{"move": id}`` (make it).
    """

    operation: str
    reason: str
    steps: tuple[dict[str, str], ...]
    discard: tuple[str, ...] = ()  # ids of the parts that cannot be used again
    walked: bool = False  # true if each step is logged when it is done, false if all steps are logged with this event
    reopened: tuple[str, ...] = ()  # operations without undo to do again, because a part of theirs is thrown away


class OperationUndone(Event, frozen=True, tag="undone"):
    """A finished operation was undone for rework. It has to be done again."""

    operation: str


class NoteAdded(Event, frozen=True, tag="noted"):
    """A note was added to the log, about an operation if one is named."""

    text: str
    operation: str | None = None
    change: bool = False  # marked "change the procedure"


class EntryCorrected(Event, frozen=True, tag="corrected"):
    """A wrong entry was corrected: a reading, a lot, what was read at a tick, the answer no to a check, or a figure.

    Of a figure, only what was wrong is there: the ``figure``, its ``source``, or both.
    """

    event: int  # ``seq`` of the line with the wrong entry
    operation: str
    reason: str
    quantity: StoredQuantity | None = None  # correct quantity, of a reading or a tick
    verdict: Verdict = "none"
    uncertainty: StoredQuantity | None = None
    tools: tuple[InstrumentShare, ...] = ()  # all instruments of the reading, if there are several
    lot: str | None = None  # correct lot number
    figure: str = ""  # correct figure that was given for `ask`, as typed
    source: str = ""  # correct source of that figure
    stretch: StoredQuantity | None = None  # correct stretch, of a tick with torque and stretch
    corner: str = ""
    answer: CheckAnswer | Literal["yes"] = ""  # correct answer, of a tick of a check stage or of a check
    role: str = ""  # the roles that the signature needed, with commas; empty if anyone could sign
    proven: SignatureProof = ""  # empty if the correction needed no signature
    change: bool = False  # marked "change the procedure"


class EvidenceChanged(Event, frozen=True, tag="evidence-changed"):
    """A later entry changed the proof of state variables in an operation that is done, or was done before."""

    operation: str
    unknown: tuple[str, ...] = ()  # the variables that are not known now; the others are as the operation sets them


class InstrumentUsed(Event, frozen=True, tag="instrument-used"):
    """An instrument was used, with the data that the shop's register had for it at that time.

    It is logged before the first use of the instrument in a job, and again when anything but ``uses`` changes.
    """

    need: str  # id of the instrument in the procedure
    serial: str
    title: str = ""
    range: str = ""
    uncertainty: str = ""  # expanded uncertainty, as written in the register
    k: str = ""  # coverage factor of the uncertainty
    calibrated: str | None = None  # a date, such as 2026-03-01
    due: str | None = None  # date of the next calibration
    uses: int | None = None  # number of uses, from the register
    warnings: tuple[str, ...] = ()  # why the instrument is not fit, where the procedure only warns


class WrenchAdapterChanged(Event, frozen=True, tag="wrench-fitted"):
    """An adapter was put on the torque wrench, or removed (all fields are ``None``)."""

    extension: StoredQuantity | None = None  # from the square drive of the wrench to the fastener
    lever: StoredQuantity | None = None  # from the square drive to the middle of the grip
    angle: StoredQuantity | None = None  # between lever and extension; None for a straight extension


class LubricantChanged(Event, frozen=True, tag="lubricated"):
    """A lubricant was entered for the threads of a joint, other than the one that the torque is stated for."""

    joint: str
    lubricant: str
    nut_factor: str = ""


class StateSet(Event, frozen=True, tag="state-set"):
    """A state variable was set to the value found on the engine."""

    variable: str
    value: str | None  # null if it is not known
    reason: str = ""
    role: str = ""  # the roles that the signature needed, with commas
    proven: SignatureProof = ""  # empty if no signature was needed


class ClockWentBack(Event, frozen=True, tag="clock-went-back"):
    """The clock of the computer was set back between two events."""

    before: str  # time of the event before, RFC 3339
    now: str


class JobClosed(Event, frozen=True, tag="closed"):
    """The job was closed. After that only notes, pictures, complaints and findings of a come-back can be added."""

    open_operations: tuple[str, ...] = ()  # ids of the operations that are not finished
    reason: str = ""  # for closing with operations that are not finished


AnyEvent = (
    JobOpened | JobResumed | RegisterChanged | PinRefused | OperationTakenOver
    | OperationStarted | OperationPaused | OperationFinished | MoveMade
    | ReadingRecorded | ValueCalculated | RemedyCarriedOut
    | FigureGiven | TicksJudgedAgain | ReadingsJudgedAgain
    | FastenerTicked | FastenerUnticked | StageBegunAgain | FastenerFailed | FastenerFailureCleared | FastenerRepaired
    | FastenerDrawnDown | DrawDownTurnCleared | PartSeated | SeatingCleared
    | CheckTicked | CheckUnticked | PartChosen | LotEntered | HoldSigned | DeviationSigned
    | ReworkStarted | OperationUndone | NoteAdded | EntryCorrected | EvidenceChanged
    | InstrumentUsed | WrenchAdapterChanged | LubricantChanged | StateSet | ClockWentBack | JobClosed
    | ComplaintReported | FindingRecorded | FindingWithdrawn | PictureAttached | PictureWithdrawn
)  # fmt: skip

EVENT_TYPES: dict[str, type[AnyEvent]] = {str(each.__struct_config__.tag): each for each in AnyEvent.__args__}
"""The class of every kind of event that this version can read."""


def event_of(line: Line) -> AnyEvent | None:
    """Return the event of a log line, or ``None`` for an unknown kind.

    Raises:
        msgspec.ValidationError: the data does not fit the kind.
    """
    return typed_event(line.kind, line.data)


def typed_event(kind: str, data: dict[str, Any]) -> AnyEvent | None:
    """Return the event of this kind with this data, or ``None`` for an unknown kind.

    Verdicts of log format 1 are translated.

    Raises:
        msgspec.ValidationError: the data does not fit the kind.
    """
    event_type = EVENT_TYPES.get(kind)
    if event_type is None:
        return None
    try:
        return msgspec.convert(data, event_type)
    except msgspec.ValidationError:
        if data.get("verdict") not in _FORMAT_1_VERDICTS and "side" not in data:
            raise
        return msgspec.convert(_from_format_1(data), event_type)


_FORMAT_1_VERDICTS = ("in", "out")


def _from_format_1(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data of an event of version 0.1 with its verdict in the present format.

    Version 0.1 wrote ``in`` for ``ok``, and ``out`` with a ``side`` for ``low`` and ``high``.
    """
    verdict = "ok" if data.get("verdict") == "in" else data.get("side")
    return {**data, "verdict": verdict}
