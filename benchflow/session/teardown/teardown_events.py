"""The events of a teardown log: one class for each kind of log line. The fields are the keys in its ``data``.

The line format, ``clock``, ``intent``, ``of`` and ``sent`` are as in the log of a job (:mod:`session.state.events`).
"""

from typing import Any

import msgspec
from msgspec import Struct

from benchflow.session.log.line_format import Line
from benchflow.session.log.log_folder import TEARDOWN_OPENED
from benchflow.session.state.event_basics import Event
from benchflow.session.teardown.teardown_record import (
    ChecklistItem,
    FoundKind,
    PartDescription,
    PartFate,
    TeardownReading,
)

TEARDOWN_FORMAT = 1
"""The format of teardown logs that this version writes and continues."""

OPENED_KIND = TEARDOWN_OPENED
"""The kind of the first event of every teardown log. A log of a job begins with ``opened``."""


class ContinuedTeardown(Struct, frozen=True, omit_defaults=True):
    """The damaged log that a teardown continues. The entries of its ``events`` whole lines follow in the new log."""

    file: str
    sha256: str  # of the whole file
    head: str  # hash of its last whole line
    events: int
    line: int  # the first damaged line
    damage: str
    opened_at: str  # when the teardown was started
    untrusted: int = 0  # number of lines after the damage that can be read


class TeardownOpened(Event, frozen=True, tag="teardown-opened"):
    """A teardown was started. This is the first event of its log."""

    unit: str
    what: str  # the assembly, such as "five-speed gearbox"
    version: str  # of benchflow
    format: int
    simulated: bool = False
    boot: str = ""
    checklist: tuple[ChecklistItem, ...] = ()
    continues: ContinuedTeardown | None = None


class TeardownResumed(Event, frozen=True, tag="teardown-resumed"):
    """The program was started again, and the log opened to continue it."""

    version: str
    format: int
    boot: str = ""


class ClockSetBack(Event, frozen=True, tag="clock-went-back"):
    """The clock of the computer was set back between two events."""

    before: str
    now: str


class CheckAdded(Event, frozen=True, tag="check-added"):
    """An item was added to the checklist of what is measured together."""

    item: ChecklistItem


class ReadingTaken(Event, frozen=True, tag="measured"):
    """Something was measured or answered: on the assembly (``line`` is ""), or on the part of a line."""

    reading: TeardownReading
    line: str = ""


class ChecksSkipped(Event, frozen=True, tag="measurement-skipped"):
    """Items of the checklist were skipped."""

    names: tuple[str, ...]
    reason: str


class CameOff(Event, frozen=True, tag="came-off"):
    """A thing came off. ``after`` is the line after which it was inserted; ``None`` if it is the newest."""

    line: str
    description: PartDescription
    after: str | None = None  # "" inserts it before the first line


class LineCorrected(Event, frozen=True, tag="line-corrected"):
    """A line was corrected. The old words are kept."""

    line: str
    description: PartDescription
    before: PartDescription
    reason: str = ""


class LineSplit(Event, frozen=True, tag="line-split"):
    """A line was split. The first part keeps the id of the line."""

    line: str
    lines: tuple[str, ...]  # ids, as many as descriptions
    descriptions: tuple[PartDescription, ...]
    before: PartDescription


class WasPutBack(Event, frozen=True, tag="put-back"):
    """The part of a line was put back for a while."""

    line: str
    reason: str = ""


class CameOffAgain(Event, frozen=True, tag="off-again"):
    """The part of a line that had been put back came off again."""

    line: str


class LineRemoved(Event, frozen=True, tag="line-removed"):
    """A line was taken away: it was logged by mistake. Nothing came off. Its number is not used again."""

    line: str
    before: PartDescription
    reason: str = ""


class FateDecided(Event, frozen=True, tag="fate"):
    """The fate of a part was decided, at one place or at all places of the line (``place`` is "")."""

    line: str
    fate: PartFate
    place: str = ""
    reason: str = ""


class FoundAtPart(Event, frozen=True, tag="found-at-part"):
    """Something was found at a part."""

    line: str
    what: FoundKind
    text: str = ""
    place: str = ""


class PartnerNamed(Event, frozen=True, tag="partner"):
    """The partner of a part was named, such as the rod of a cap."""

    line: str
    partner: str
    place: str = ""


class AssemblyState(Event, frozen=True, tag="state-seen"):
    """The state of the assembly, in words."""

    text: str


class TeardownNoteAdded(Event, frozen=True, tag="teardown-note"):
    """A note about a line, or about the assembly."""

    text: str
    line: str = ""


class PictureKept(Event, frozen=True, tag="attached"):
    """A picture was stored beside the log, under its SHA-256."""

    name: str
    sha256: str
    size: int = 0
    type: str = ""
    width: int = 0
    height: int = 0
    line: str = ""
    text: str = ""


class EntryUndone(Event, frozen=True, tag="undone"):
    """An entry was undone. ``event`` is its log line."""

    event: int
    what: str  # its kind
    line: str = ""


class TeardownClosed(Event, frozen=True, tag="teardown-closed"):
    """The teardown is complete, or stopped for good. Fates, findings, readings and notes can still be added."""

    reason: str = ""


TeardownEvent = (
    TeardownOpened | TeardownResumed | ClockSetBack | CheckAdded | ReadingTaken | ChecksSkipped
    | CameOff | LineCorrected | LineSplit | WasPutBack | CameOffAgain | LineRemoved
    | FateDecided | FoundAtPart | PartnerNamed | AssemblyState | TeardownNoteAdded | PictureKept
    | EntryUndone | TeardownClosed
)  # fmt: skip

TEARDOWN_EVENT_TYPES: dict[str, type[TeardownEvent]] = {
    str(each.__struct_config__.tag): each for each in TeardownEvent.__args__
}
"""The class of every kind of event in a teardown log that this version can read."""


def teardown_event(line: Line) -> TeardownEvent | None:
    """The event of a log line; ``None`` for an unknown kind.

    Raises:
        msgspec.ValidationError: the data does not fit the kind.
    """
    return teardown_event_of(line.kind, line.data)


def teardown_event_of(kind: str, data: dict[str, Any]) -> TeardownEvent | None:
    """The event of this kind with this data; ``None`` for an unknown kind.

    Raises:
        msgspec.ValidationError: the data does not fit the kind.
    """
    event_type = TEARDOWN_EVENT_TYPES.get(kind)
    return None if event_type is None else msgspec.convert(data, event_type)
