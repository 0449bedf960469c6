"""The record of a teardown: what came off, in order, and what was measured. It is folded from the log and never stored.

``load_teardown`` in :mod:`benchflow.session.teardown.fold_teardown` reads it from a file.
"""

from typing import Literal

from msgspec import Struct, field

from benchflow.base.plaintext import folded
from benchflow.session.state.event_basics import StoredQuantity

PartFate = Literal["", "use-again", "machine", "replace", "ask-customer"]
"""What becomes of a part; "" if nobody has said so yet."""

FoundKind = Literal[
    "debris", "gasket-imprint", "thread-insert", "odd-bolt", "missing-dowel", "broken", "worn", "leak", "other"
]
"""What was found at a part. ``odd-bolt``: a fastener that does not belong there, or is of another length."""


class FastenerGroup(Struct, frozen=True, omit_defaults=True):
    """Fasteners of one line that are alike: count, kind, thread, length, and where they go."""

    count: int
    kind: str = ""  # one word of the trade, singular: bolt, nut, stud, screw, circlip ...; "" if not said
    thread: str = ""  # as the trade writes it: M6x1, M8x1.25, 1/4-20 UNC; "" if not said
    length: StoredQuantity | None = None
    where: str = ""  # where these go, such as "front" or "at the dowels"


class TeardownReading(Struct, frozen=True, omit_defaults=True):
    """One thing that was measured or answered, while the assembly was together or on a part that is off.

    A quantity is in ``value``; an answer in words, such as "marks line up", is in ``answer``.
    """

    name: str  # such as "input shaft end float"
    value: StoredQuantity | None = None
    answer: str = ""
    place: str = ""  # such as "cylinder 2"; "" for the whole
    instrument: str = ""  # as typed
    event: int = 0  # log line
    lines_off: int = 0  # number of lines that were off when it was measured; 0: all was together
    corrects: int = 0  # log line of an earlier reading of the same name and place; 0 if there is none


class ChecklistItem(Struct, frozen=True, omit_defaults=True):
    """One thing that can be measured only while the assembly is together.

    It is open until a reading has its name (``answered``), or it was skipped with a reason.
    """

    name: str  # such as "end float"
    ask: str = ""  # the instruction, such as "Push and pull the shaft against a dial gauge"
    dimension: str = ""  # of the quantity, such as "length"; "" for an answer in words
    added: bool = False  # by a person, not by the program
    answered: bool = False
    skipped: str = ""  # the reason

    @property
    def is_open(self) -> bool:
        """True if it has no answer and was not skipped."""
        return not self.answered and not self.skipped


class PartFinding(Struct, frozen=True, omit_defaults=True):
    """Something that was found at a part."""

    kind: FoundKind
    text: str = ""
    event: int = 0  # log line


class PartDescription(Struct, frozen=True, omit_defaults=True):
    """What a line says about a thing that comes off, as it was entered. An event has it whole.

    ``fate``, ``partner`` and ``found`` hold for each place of the line; :class:`TakenOffPart` has them place by place.
    """

    what: str  # the name of the thing, such as "rocker cover"
    count: int = 1  # how many of them; with places, their number
    fasteners: tuple[FastenerGroup, ...] = ()
    places: tuple[str, ...] = ()  # such as ("cylinder 1", "cylinder 2"), in this order
    marks: str = ""  # marks on the part, such as "punched 3, towards the front"
    orientation: str = ""  # such as "open side up"
    container: str = ""  # bag, tray or box, such as "bag 3"
    condition: str = ""  # in words, such as "light scoring"
    values: tuple[TeardownReading, ...] = ()  # measured when it came off
    state: str = ""  # of the assembly after this line, such as "crank at TDC 1"
    fate: PartFate = ""
    fate_reason: str = field(default="", name="fate-reason")
    partner: str = ""  # what it belongs with, such as "rod 2"
    found: tuple[PartFinding, ...] = ()
    remark: str = ""  # words that were kept as they are
    entered: str = ""  # the text of the entry line; "" if the line was sent in fields


class TakenOffPart(Struct, frozen=True, omit_defaults=True):
    """One part of a line, at one place. A line without places has one of them."""

    place: str = ""  # such as "cylinder 2"; "" if the line has no places
    fate: PartFate = ""
    fate_reason: str = ""
    partner: str = ""
    found: tuple[PartFinding, ...] = ()


class PutBack(Struct, frozen=True, omit_defaults=True):
    """A part was put back for a while, and perhaps taken off again."""

    event: int  # log line of the putting back
    after: str = ""  # id of the line that was the last one off then
    reason: str = ""
    off_again: int = 0  # log line of the taking off again; 0 if it is still in place
    off_again_after: str = ""  # id of the line that was the last one off then


class TeardownPicture(Struct, frozen=True, omit_defaults=True):
    """A picture of a line, or of the assembly (``line`` is ""). The file is stored under its SHA-256."""

    name: str
    sha256: str
    size: int = 0
    type: str = ""
    width: int = 0
    height: int = 0
    line: str = ""
    text: str = ""
    event: int = 0


class TeardownNote(Struct, frozen=True, omit_defaults=True):
    """A note about a line, or about the assembly (``line`` is "")."""

    text: str
    line: str = ""
    event: int = 0


class StateSeen(Struct, frozen=True, omit_defaults=True):
    """The state of the assembly, in words. ``after`` is the id of the last line off then; "" before the first."""

    text: str
    after: str = ""
    event: int = 0


class OldDescription(Struct, frozen=True, omit_defaults=True):
    """What a line said before a correction or a split."""

    description: PartDescription
    event: int  # log line of the correction
    reason: str = ""


class TeardownLine(Struct, frozen=True, omit_defaults=True):
    """One line of the record: a thing that came off, in the order of taking off.

    ``id`` is short text that never changes, such as "12". A line that was inserted after it is "12a".
    """

    id: str
    description: PartDescription
    parts: tuple[TakenOffPart, ...]  # one for each place, at least one
    is_off: bool = True  # false while the part is put back
    event: int = 0  # log line of the taking off
    at: str = ""  # RFC 3339, UTC
    by: str = ""
    inserted: bool = False  # it was forgotten, and entered later between two lines
    split_from: str = ""  # id of the line that it was split from
    values: tuple[TeardownReading, ...] = ()  # all readings of this line, also later ones; the latest is valid
    put_backs: tuple[PutBack, ...] = ()
    earlier: tuple[OldDescription, ...] = ()
    pictures: tuple[TeardownPicture, ...] = ()
    notes: tuple[TeardownNote, ...] = ()


class TeardownRecord(Struct, frozen=True, omit_defaults=True):
    """The state of a teardown.

    ``lines`` are in the order of taking off. A line whose part is put back has ``is_off`` false.
    """

    unit: str  # serial or job number
    what: str  # the assembly, such as "five-speed gearbox"
    by: str
    opened_at: str
    last_at: str
    events: int
    simulated: bool = False
    closed: bool = False
    format: int = 0
    checklist: tuple[ChecklistItem, ...] = ()
    together: tuple[TeardownReading, ...] = ()  # measured on the assembly, in the order of the log
    lines: tuple[TeardownLine, ...] = ()
    states: tuple[StateSeen, ...] = ()
    notes: tuple[TeardownNote, ...] = ()  # about the assembly
    pictures: tuple[TeardownPicture, ...] = ()  # of the assembly
    removed: tuple[str, ...] = ()  # ids of the lines that were taken away
    undone: int = 0  # number of entries that were undone
    people: tuple[str, ...] = ()  # everybody who entered something, in the order of their first entry

    @property
    def open_checks(self) -> tuple[ChecklistItem, ...]:
        """The items of the checklist that are neither answered nor skipped."""
        return tuple(item for item in self.checklist if item.is_open)

    @property
    def last_off(self) -> str:
        """The id of the last line; "" before the first."""
        return self.lines[-1].id if self.lines else ""

    @property
    def present_state(self) -> str:
        """The state of the assembly as it was described last, "" if it never was, or with `none`."""
        seen = [(each.event, each.text) for each in self.states]
        seen += [(each.event, each.description.state) for each in self.lines if each.description.state]
        last = max(seen)[1] if seen else ""
        return "" if folded(last) in ("none", "-") else last

    def line(self, line_id: str) -> TeardownLine | None:
        """The line with this id; ``None`` if there is none."""
        return next((each for each in self.lines if each.id == line_id), None)

    @property
    def lines_off(self) -> int:
        """The number of lines whose part is off."""
        return sum(1 for each in self.lines if each.is_off)

    def answers(self, name: str) -> tuple[TeardownReading, ...]:
        """The valid readings of the assembly with this name, such as that of an item of the checklist."""
        key = folded(name)
        return tuple(each for each in valid_readings(self.together) if folded(each.name) == key)


def valid_readings(readings: tuple[TeardownReading, ...]) -> tuple[TeardownReading, ...]:
    """The readings without those that a later one of the same name and place replaced."""
    replaced = {each.corrects for each in readings}
    return tuple(each for each in readings if not each.event or each.event not in replaced)
