"""What can happen in a session, one type an event kind. The log's ``data`` is one of these.

Field names are the keys in the log. Quantities are stored with the digits as entered. A ``clock``
(run number and monotonic milliseconds since that run began) is put beside them by the desk, outside
these types, so that durations survive a clock that is set back.
"""

from typing import Literal

from msgspec import Struct


class Stored(Struct, frozen=True):
    """``value`` in ``unit`` (the field's), exact; ``entered`` as typed."""

    value: str
    unit: str
    entered: str


class Event(Struct, frozen=True, tag_field="kind", omit_defaults=True):
    pass


class Opened(Event, frozen=True, tag="opened"):
    procedure: str  # the whole text
    procedure_sha256: str
    file: str  # its name, for people
    options: dict[str, str]
    start: dict[str, str | None]  # every variable; null is not known
    unit: str
    version: str
    simulated: bool = False
    shop: str | None = None  # sha256 of the shop file in force, if any


class Started(Event, frozen=True, tag="started"):
    operation: str


class Paused(Event, frozen=True, tag="paused"):
    operation: str


class Finished(Event, frozen=True, tag="finished"):
    operation: str


class Moved(Event, frozen=True, tag="moved"):
    move: str


Verdict = Literal["in", "out", "not-proven", "none"]
Side = Literal["low", "high"]


class Recorded(Event, frozen=True, tag="recorded"):
    """One reading. ``verdict`` is of this reading, by the rule in force when it was made (``decision``)."""

    operation: str
    name: str
    reading: str  # the slot: "1", or a place
    quantity: Stored
    verdict: Verdict
    side: Side | None = None
    limit: str = ""
    decision: str = "simple"
    instrument: str | None = None  # the need's id
    serial: str | None = None  # the one used, from the shop's register
    uncertainty: Stored | None = None  # standard uncertainty u in the field's unit
    conformity: str | None = None  # probability of conformity, as a decimal
    used: bool = False  # judged as a part used again


class Calculated(Event, frozen=True, tag="calculated"):
    """A value worked out when its last input came in. ``filled`` is the sum as written on a bench pad."""

    operation: str
    name: str
    quantity: Stored
    verdict: Verdict
    side: Side | None = None
    limit: str = ""
    decision: str = "simple"
    filled: str = ""
    uncertainty: Stored | None = None
    conformity: str | None = None


class Remedied(Event, frozen=True, tag="remedied"):
    """A remedy was carried out: ``do`` its words, ``redo`` the operations that must be done again."""

    operation: str
    name: str
    side: Side
    do: str
    redo: tuple[str, ...] = ()


class Ticked(Event, frozen=True, tag="ticked"):
    operation: str
    joint: str
    stage: int  # from 1
    fastener: int
    quantity: Stored | None = None
    verdict: Verdict = "none"
    side: Side | None = None
    instrument: str | None = None
    serial: str | None = None
    stretch: Stored | None = None  # read together with a torque, and judged with it
    corner: str = ""  # where the two lie together: "friction-high" and the like (benchflow.trade.stretch)
    stretch_instrument: str | None = None
    stretch_serial: str | None = None


class Unticked(Event, frozen=True, tag="unticked"):
    operation: str
    joint: str
    stage: int
    fastener: int


class DrawnDown(Event, frozen=True, tag="drawn-down"):
    """One fastener turned on a little, before the first stage, so that the part comes down level."""

    operation: str
    joint: str
    round: int  # from 1
    fastener: int


class Undrawn(Event, frozen=True, tag="undrawn"):
    operation: str
    joint: str
    round: int
    fastener: int


class Seated(Event, frozen=True, tag="seated"):
    """The part is down and level: the stages may begin. ``turns`` is how many were counted, 0 if nobody did."""

    operation: str
    joint: str
    turns: int


class Unseated(Event, frozen=True, tag="unseated"):
    """It is not down after all: drawing down goes on."""

    operation: str
    joint: str


class Checked(Event, frozen=True, tag="checked"):
    operation: str
    check: int  # from 1
    text: str


class Unchecked(Event, frozen=True, tag="unchecked"):
    operation: str
    check: int
    text: str


class Chosen(Event, frozen=True, tag="chosen"):
    operation: str
    name: str
    take: str


class Lot(Event, frozen=True, tag="lot"):
    operation: str
    consumable: str
    lot: str


class Signed(Event, frozen=True, tag="signed"):
    """``by`` of the line is the signer."""

    operation: str
    role: str
    self_signed: bool  # by the one who did the work


class Deviated(Event, frozen=True, tag="deviated"):
    """``about`` is the name of a value, a part or a joint, ``hold``, ``time`` (every window of the operation) or
    ``time seal`` (the one that counts from ``seal``); never an interference rule."""

    operation: str
    about: str
    reason: str


class ReworkStarted(Event, frozen=True, tag="rework-started"):
    """Work is to be taken back. ``steps`` is the whole way, in order: each ``{"operation": id}`` (take
    it back) or ``{"move": id}``. ``walked`` says that the steps follow one by one as they are done;
    otherwise they are all recorded together with this event."""

    operation: str
    reason: str
    steps: tuple[dict[str, str], ...]
    discard: tuple[str, ...] = ()
    walked: bool = False


class Undone(Event, frozen=True, tag="undone"):
    operation: str


class Noted(Event, frozen=True, tag="noted"):
    text: str
    operation: str | None = None


class Corrected(Event, frozen=True, tag="corrected"):
    """A wrong entry put right: ``event`` is the ``seq`` of the line it speaks of, a reading
    or a tick that was read (``quantity`` is the right one), or a lot (``lot``)."""

    event: int
    operation: str
    reason: str
    quantity: Stored | None = None
    verdict: Verdict = "none"
    side: Side | None = None
    uncertainty: Stored | None = None
    lot: str | None = None
    stretch: Stored | None = None  # of a tick that read both
    corner: str = ""


class InstrumentUsed(Event, frozen=True, tag="instrument-used"):
    """An instrument as the shop's register had it that day: logged before its first use in a session, so
    that the log tells its calibration by itself. ``warnings`` are the reasons, in words, why it was not
    fit where the procedure only warns; logged again when they change."""

    need: str
    serial: str
    title: str = ""
    range: str = ""
    uncertainty: str = ""  # expanded, as the register has it
    k: str = ""
    calibrated: str | None = None  # 2026-03-01
    due: str | None = None
    uses: int | None = None
    warnings: tuple[str, ...] = ()


class WrenchFitted(Event, frozen=True, tag="wrench-fitted"):
    """What is on the torque wrench from here on; all ``None``: nothing. ``angle`` 0 is in line."""

    extension: Stored | None = None
    lever: Stored | None = None
    angle: Stored | None = None


class Lubricated(Event, frozen=True, tag="lubricated"):
    """What is on the threads of a joint where it is not what its torque is stated for."""

    joint: str
    lubricant: str
    nut_factor: str = ""


class StateSet(Event, frozen=True, tag="state-set"):
    """How a variable was found to stand: answered late, lost (null), or seen to differ."""

    variable: str
    value: str | None
    reason: str = ""


class ClockWentBack(Event, frozen=True, tag="clock-went-back"):
    before: str
    now: str


class Closed(Event, frozen=True, tag="closed"):
    open_operations: tuple[str, ...] = ()
    reason: str = ""  # why it ends with work left open


Happening = (
    Opened | Started | Paused | Finished | Moved | Recorded | Calculated | Remedied
    | Ticked | Unticked | DrawnDown | Undrawn | Seated | Unseated
    | Checked | Unchecked | Chosen | Lot | Signed | Deviated
    | ReworkStarted | Undone | Noted | Corrected | InstrumentUsed | WrenchFitted | Lubricated
    | StateSet | ClockWentBack | Closed
)  # fmt: skip
