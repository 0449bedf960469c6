"""The events of a session log, one type per kind. The ``data`` of a log line is one of these.

Field names are the keys in the log. Quantities keep their digits as entered. The session controller adds a ``clock``
to each event (the number of the program run, and milliseconds by its monotonic clock): see
:mod:`benchflow.session.state.clock`.
"""

from typing import Any

import msgspec
from msgspec import Struct

from benchflow.session.log.line_format import Line
from benchflow.trade.verdict import OutOfLimit, Verdict

FORMAT = 2
"""The format of the logs that this version writes and continues. Version 0.1 wrote format 1 and did not name it."""


class StoredQuantity(Struct, frozen=True):
    """A quantity in the log: the exact ``value`` in ``unit`` (the unit of the field), and the text as ``entered``."""

    value: str
    unit: str
    entered: str


class Event(Struct, frozen=True, tag_field="kind", omit_defaults=True):
    pass


class Opened(Event, frozen=True, tag="opened"):
    procedure: str  # the whole text
    procedure_sha256: str
    file: str  # name of the procedure file, for display
    options: dict[str, str]
    start: dict[str, str | None]  # every variable; null: not known
    unit: str
    version: str
    simulated: bool = False
    format: int = 1  # absent in logs of 0.1
    shop: str | None = None  # SHA-256 of the shop file, if there was one


class Started(Event, frozen=True, tag="started"):
    operation: str


class Paused(Event, frozen=True, tag="paused"):
    operation: str


class Finished(Event, frozen=True, tag="finished"):
    operation: str


class Moved(Event, frozen=True, tag="moved"):
    move: str


class Recorded(Event, frozen=True, tag="recorded"):
    """One reading. ``verdict`` judges this reading alone, by the decision rule of that time (``decision``)."""

    operation: str
    name: str
    reading: str  # its number ("1") or its place
    quantity: StoredQuantity
    verdict: Verdict
    limit: str = ""
    decision: str = "simple"
    instrument: str | None = None  # id of the procedure's instrument need
    serial: str | None = None  # of the instrument used, from the shop's register
    uncertainty: StoredQuantity | None = None  # standard uncertainty u, in the unit of the field
    conformity: str | None = None  # probability of conformity, as a decimal
    used: bool = False  # judged by the limit for used parts


class Calculated(Event, frozen=True, tag="calculated"):
    """A value calculated when its last input was entered. ``filled`` is the formula with the numbers put in."""

    operation: str
    name: str
    quantity: StoredQuantity
    verdict: Verdict
    limit: str = ""
    decision: str = "simple"
    filled: str = ""
    uncertainty: StoredQuantity | None = None
    conformity: str | None = None


class Remedied(Event, frozen=True, tag="remedied"):
    """A remedy was carried out, for a value that was too ``low`` or too ``high`` (``verdict``): ``do`` is its text,
    ``redo`` the operations to be done again."""

    operation: str
    name: str
    verdict: OutOfLimit
    do: str
    redo: tuple[str, ...] = ()


class Ticked(Event, frozen=True, tag="ticked"):
    operation: str
    joint: str
    stage: int  # from 1
    fastener: int
    quantity: StoredQuantity | None = None
    verdict: Verdict = "none"
    instrument: str | None = None
    serial: str | None = None
    stretch: StoredQuantity | None = None  # read together with a torque, and judged with it
    corner: str = ""  # what torque and stretch together mean, such as "friction-high" (trade.torque_and_stretch)
    stretch_instrument: str | None = None
    stretch_serial: str | None = None


class Unticked(Event, frozen=True, tag="unticked"):
    """The last tick of this fastener in this stage was taken back."""

    operation: str
    joint: str
    stage: int
    fastener: int


class DrawnDown(Event, frozen=True, tag="drawn-down"):
    """One fastener was turned down a little, before the first stage, so that the part comes down level."""

    operation: str
    joint: str
    round: int  # from 1
    fastener: int


class Undrawn(Event, frozen=True, tag="undrawn"):
    """The last turn of the draw-down was entered by mistake."""

    operation: str
    joint: str
    round: int
    fastener: int


class Seated(Event, frozen=True, tag="seated"):
    """The part is down and level: the stages may begin. ``turns`` were counted; 0 if nobody counted."""

    operation: str
    joint: str
    turns: int


class Unseated(Event, frozen=True, tag="unseated"):
    """The part is not down yet: the draw-down continues."""

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
    """The hold of an operation was signed. ``by`` of the log line is the signer."""

    operation: str
    role: str
    self_signed: bool  # by somebody who worked on the operation


class Deviated(Event, frozen=True, tag="deviated"):
    """A deviation was signed.

    ``about`` is the name of a value, a part or a joint, ``hold``, ``time`` (every window of the operation) or
    ``time seal`` (the window that counts from ``seal``); never an interference rule.
    """

    operation: str
    about: str
    reason: str


class ReworkStarted(Event, frozen=True, tag="rework-started"):
    """Rework began. ``steps`` is the whole plan, in order: each is ``{"operation": id}`` (undo it) or ``{"move": id}``.

    With ``walked`` the steps are logged one by one as they are done; otherwise all together with this event.
    """

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
    """A wrong entry was corrected. ``event`` is the ``seq`` of its line: a reading or a tick with a value
    (``quantity`` is the right one), or a lot (``lot``)."""

    event: int
    operation: str
    reason: str
    quantity: StoredQuantity | None = None
    verdict: Verdict = "none"
    uncertainty: StoredQuantity | None = None
    lot: str | None = None
    stretch: StoredQuantity | None = None  # of a tick with torque and stretch
    corner: str = ""


class InstrumentUsed(Event, frozen=True, tag="instrument-used"):
    """An instrument as the shop's register described it that day.

    Logged before its first use in a session, so that the log contains its calibration, and again when ``warnings``
    change: the reasons why it was not fit, where the procedure only warns.
    """

    need: str
    serial: str
    title: str = ""
    range: str = ""
    uncertainty: str = ""  # expanded, as written in the register
    k: str = ""
    calibrated: str | None = None  # a date, such as 2026-03-01
    due: str | None = None
    uses: int | None = None
    warnings: tuple[str, ...] = ()


class WrenchFitted(Event, frozen=True, tag="wrench-fitted"):
    """The adapter on the torque wrench from now on; all ``None``: no adapter. ``angle`` 0 is in line."""

    extension: StoredQuantity | None = None
    lever: StoredQuantity | None = None
    angle: StoredQuantity | None = None


class Lubricated(Event, frozen=True, tag="lubricated"):
    """The lubricant on the threads of a joint, where it is not the one that the torque is stated for."""

    joint: str
    lubricant: str
    nut_factor: str = ""


class StateSet(Event, frozen=True, tag="state-set"):
    """The value that a state variable was found to have: answered late, seen to differ, or not known (null)."""

    variable: str
    value: str | None
    reason: str = ""


class ClockWentBack(Event, frozen=True, tag="clock-went-back"):
    before: str
    now: str


class Closed(Event, frozen=True, tag="closed"):
    open_operations: tuple[str, ...] = ()
    reason: str = ""  # for closing with operations not finished


AnyEvent = (
    Opened | Started | Paused | Finished | Moved | Recorded | Calculated | Remedied
    | Ticked | Unticked | DrawnDown | Undrawn | Seated | Unseated
    | Checked | Unchecked | Chosen | Lot | Signed | Deviated
    | ReworkStarted | Undone | Noted | Corrected | InstrumentUsed | WrenchFitted | Lubricated
    | StateSet | ClockWentBack | Closed
)  # fmt: skip

EVENT_TYPES: dict[str, type[AnyEvent]] = {str(each.__struct_config__.tag): each for each in AnyEvent.__args__}
"""Every kind of event that this version knows, with its type."""


def event_of(line: Line) -> AnyEvent | None:
    """The typed event of a log line; ``None`` for a kind that this version does not know.

    Raises:
        msgspec.ValidationError: the data is not what the kind requires.
    """
    return typed_event(line.kind, line.data)


def typed_event(kind: str, data: dict[str, Any]) -> AnyEvent | None:
    """As :func:`event_of`, for the kind and the data of a line. Verdicts of format 1 are translated."""
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
    """The data of a 0.1 event. It wrote ``in``, or ``out`` with a ``side``, for ``ok``, ``low`` and ``high``."""
    verdict = "ok" if data.get("verdict") == "in" else data.get("side")
    return {**data, "verdict": verdict}
