"""The intents of a teardown: one class for each request that a screen or a script can send, with an example of each.

In JSON the class is named by the key ``intent``. ``line`` is the id of a line, such as "12"; by default the newest.
"""

from typing import Any

from msgspec import Struct, field

from benchflow.session.intents.intent_types import BaseIntent


class GivenFasteners(Struct, frozen=True, forbid_unknown_fields=True):
    """Fasteners in an intent: as in the record, but the length is text, such as "30 mm"."""

    count: int
    kind: str = ""
    thread: str = ""
    length: str = ""
    where: str = ""


class GivenReading(Struct, frozen=True, forbid_unknown_fields=True):
    """A reading in an intent: a quantity as text, or an answer in words."""

    name: str
    value: str = ""
    answer: str = ""
    place: str = ""
    instrument: str = ""


class GivenFinding(Struct, frozen=True, forbid_unknown_fields=True):
    """What was found, in an intent."""

    kind: str
    text: str = ""


class OpenTeardown(BaseIntent, frozen=True, tag="open"):
    """Start a teardown of ``what``, such as a gearbox. ``checks`` are added to the checklist."""

    unit: str = ""  # serial or job number
    what: str = ""
    checks: tuple[str, ...] = ()


class AskTeardown(BaseIntent, frozen=True, tag="status"):
    """Query: the record of the teardown."""


class AskUnderstood(BaseIntent, frozen=True, tag="understand", kw_only=True):
    """Query: how the text of an entry line is understood. Nothing is logged."""

    text: str


class MeasureTogether(BaseIntent, frozen=True, tag="measure", kw_only=True):
    """Record a reading: of the assembly, or with ``line`` of a part that is off.

    ``value`` is a quantity as text; ``answer`` is an answer in words. A value replaces the earlier one of the same name
    and place. Words are added to the earlier words; with ``instead`` they replace the latest ones.
    """

    name: str
    value: str = ""
    answer: str = ""
    place: str = ""
    line: str = ""
    instrument: str = ""
    instead: bool = False


class SkipCheck(BaseIntent, frozen=True, tag="skip", kw_only=True):
    """Skip an item of the checklist; without ``name`` all that are open. The reason is logged."""

    reason: str
    name: str = ""


class AddCheck(BaseIntent, frozen=True, tag="add-check", kw_only=True):
    """Add an item to the checklist of what is measured together.

    ``dimension`` is that of its quantity, such as "length"; without it, the answer may be a quantity or words.
    """

    name: str
    ask: str = ""
    dimension: str = ""


class PartFields(BaseIntent, frozen=True, kw_only=True):
    """What `off` and `edit` may say about a part: ``text``, which is an entry line, or the other fields.

    ``None`` is a field that is not given. An empty text or list removes what the line says there.
    """

    text: str = ""
    what: str | None = None
    count: int | None = None
    fasteners: tuple[GivenFasteners, ...] | None = None
    places: tuple[str, ...] | None = None
    marks: str | None = None
    orientation: str | None = None
    container: str | None = None
    condition: str | None = None
    values: tuple[GivenReading, ...] | None = None
    state: str | None = None
    fate: str | None = None
    fate_reason: str | None = field(default=None, name="fate-reason")
    partner: str | None = None
    found: tuple[GivenFinding, ...] | None = None
    remark: str | None = None


class TakeOff(PartFields, frozen=True, tag="off", kw_only=True):
    """Log a thing that came off. ``after`` inserts it after that line; "0" is before the first line."""

    after: str = ""


class EditLine(PartFields, frozen=True, tag="edit", kw_only=True):
    """Correct a line. With ``text`` the whole line is replaced; otherwise only the fields that are given.

    An empty field removes what was there: ``"fasteners": []``.
    """

    line: str = ""
    reason: str = ""


class AddToLine(BaseIntent, frozen=True, tag="add", kw_only=True):
    """Add details to a line as text, such as "bag 3"."""

    text: str
    line: str = ""


class SplitLine(BaseIntent, frozen=True, tag="split", kw_only=True):
    """Split a line into several. ``into`` has the text of each; the first keeps the id of the line."""

    line: str
    into: tuple[str, ...]


class PutPartBack(BaseIntent, frozen=True, tag="put-back", kw_only=True):
    """Put the part of a line back for a while."""

    line: str = ""
    reason: str = ""


class TakeOffAgain(BaseIntent, frozen=True, tag="off-again", kw_only=True):
    """Take the part of a line off again, after it was put back."""

    line: str


class RemoveLine(BaseIntent, frozen=True, tag="remove", kw_only=True):
    """Take away a line that was logged by mistake. The log keeps it; its number is not used again."""

    line: str = ""
    reason: str = ""


class DecideFate(BaseIntent, frozen=True, tag="fate", kw_only=True):
    """Decide the fate of a part: `use-again`, `machine`, `replace` or `ask-customer`."""

    fate: str
    line: str = ""
    place: str = ""
    reason: str = ""


class ReportFound(BaseIntent, frozen=True, tag="found", kw_only=True):
    """Log what was found at a part. ``kind`` is `debris`, `gasket-imprint`, `thread-insert`, `odd-bolt`,
    `missing-dowel`, `broken`, `worn`, `leak` or `other`."""

    kind: str
    text: str = ""
    line: str = ""
    place: str = ""


class NamePartner(BaseIntent, frozen=True, tag="partner", kw_only=True):
    """Name the partner of a part, such as the rod of a cap."""

    partner: str
    line: str = ""
    place: str = ""


class DescribeState(BaseIntent, frozen=True, tag="state", kw_only=True):
    """Describe the state of the assembly in words, such as where the shafts are turned."""

    text: str


class AddTeardownNote(BaseIntent, frozen=True, tag="note", kw_only=True):
    """Add a note, about a line or about the assembly."""

    text: str
    line: str = ""


class AttachTeardownPicture(BaseIntent, frozen=True, tag="attach", kw_only=True):
    """Attach a picture of a line or of the assembly. ``file`` is its path; a copy is stored beside the log."""

    file: str
    line: str = ""
    text: str = ""


class UndoEntry(BaseIntent, frozen=True, tag="undo"):
    """Undo the last entry. The log keeps it. Several in a row go further back."""


class CloseTeardown(BaseIntent, frozen=True, tag="close"):
    """Close the teardown. Fates, findings, readings and notes can still be added."""

    reason: str = ""


TeardownIntent = (
    OpenTeardown | AskTeardown | AskUnderstood | MeasureTogether | SkipCheck | AddCheck | TakeOff | EditLine | AddToLine
    | SplitLine | PutPartBack | TakeOffAgain | RemoveLine | DecideFate | ReportFound | NamePartner | DescribeState
    | AddTeardownNote | AttachTeardownPicture | UndoEntry | CloseTeardown
)  # fmt: skip

TEARDOWN_INTENT_TYPES: dict[str, type[TeardownIntent]] = {
    str(each.__struct_config__.tag): each for each in TeardownIntent.__args__
}
"""The class of every intent of a teardown, by its name in JSON."""

TEARDOWN_QUERIES = ("status", "understand")
"""Intents that log nothing."""

TEARDOWN_EXAMPLES: dict[str, dict[str, Any]] = {
    "open": {"by": "Robin", "unit": "GB-12", "what": "five-speed gearbox", "checks": ["shift lever play"]},
    "status": {},
    "understand": {"text": "rocker cover, 8x M6x1 30 mm, bag 3"},
    "measure": {"name": "end float", "value": "0.12 mm", "place": "input shaft", "instrument": "G-17"},
    "skip": {"name": "leak-down", "reason": "A gearbox has no cylinders"},
    "add-check": {"name": "shift rail travel", "ask": "Measure from neutral to 1st", "dimension": "length"},
    "off": {"text": "rear housing, 9x M8x1.25 45 mm + 2x M8x1.25 70 mm at the dowels, tray 2"},
    "edit": {"line": "12", "text": "rocker cover, 7x M6x1 30 mm, bag 3", "reason": "Counted again"},
    "add": {"line": "12", "text": "bag 3"},
    "split": {"line": "12", "into": ["thrust washer, bag 4", "needle bearing, bag 5"]},
    "put-back": {"line": "12", "reason": "Keeps the shaft from turning"},
    "off-again": {"line": "12"},
    "remove": {"line": "12", "reason": "Typed twice"},
    "fate": {"line": "12", "place": "cylinder 2", "fate": "replace", "reason": "pitted"},
    "found": {"line": "12", "kind": "odd-bolt", "text": "One M6 of 40 mm at the rear"},
    "partner": {"line": "12", "place": "cylinder 2", "partner": "rod 2"},
    "state": {"text": "3rd gear in, input shaft locked"},
    "note": {"line": "12", "text": "Heated to 80 °C to come off"},
    "attach": {"file": "pictures/dsc-0042.jpg", "line": "12", "text": "Shims from above"},
    "undo": {},
    "close": {"reason": "Complete"},
}
"""The fields of an example of each intent. All names in them are invented."""


def teardown_intent_purpose(name: str) -> str:
    """What an intent is for, on one line: the first paragraph about its class."""
    first = (TEARDOWN_INTENT_TYPES[name].__doc__ or "").partition("\n\n")[0]
    return " ".join(first.split()).replace("``", "`")
