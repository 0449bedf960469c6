"""Parser of a painted screen: the current item, its field and limit, the choices, the message and the keys.

It is made from the text of the screen alone. On a screen with more than 120 columns the fasteners are drawn in large
letters, which it does not read.
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import pairwise

from msgspec import Struct

KEY = re.compile(r"(Enter|Esc|Space|⌫|↑↓|←→|PgUp PgDn|PgUp|PgDn|Home End|Del|Tab|Ctrl \w|F\d+|[\w?/=]) (\S.*[^.])")
STATUS = re.compile(r"(Ready to start|Reopened|In progress|Blocked|Paused|Finished|Done|Do now|Rework: step)\b")
SIGNAL = re.compile(r" (DANGER|WARNING|CAUTION) ")
FIELD = re.compile(r"^\s+(?P<label>[^\[]*)\[(?P<text>[^\[\]]{8,})\](?: (?P<unit>\S+))?(?:  (?P<limit>.*))?$")
SLOT = re.compile(r"► ?([^►◄\n]+?) +____")
FASTENER = re.compile(r"►(\d+)◄")
STAGE = re.compile(r"\bstage (\d+) of \d+")
PROGRESS = re.compile(r"\b\d+ of \d+, stage \d")
SECTION = re.compile(r"^ \S.* ─{3,}$")
OPEN_ITEM = re.compile(r"^ {1,3}(○|\[ \]) \S")
NEXT_ITEM = re.compile(r"^ {1,3}(○|●|×|\[[ x]\]|\[NO\]) ")
CHOICE = re.compile(r"(?: (\d) | )([○●]) (.+?)(?:  (by the table|best fit))?(?=  |$)")
BESIDE = re.compile(r"\S +(?:\[|[○●] )")
HIDDEN = re.compile(r"▼ \d+ more lines? \(PgDn\)")
DURATION = re.compile(r"\b(\d+) (d|h|min|s)\b")


class ShownKey(Struct, frozen=True):
    """One key of the key bar. A greyed key is not ``enabled``."""

    key: str
    label: str
    enabled: bool


class ShownField(Struct, frozen=True):
    """A field of the bench, as it is drawn: its text, unit and limit."""

    text: str
    unit: str
    limit: str


class ShownChoice(Struct, frozen=True):
    """One of the parts or answers to choose from. ``number`` is the key that chooses it, if there is one."""

    text: str
    number: str
    taken: bool
    proposed: bool


def squeezed(text: str) -> str:
    """The text without white space, so that texts can be compared however they are wrapped."""
    return "".join(text.split())


class SeenScreen:
    """The rows of a screen, and what a person reads in them."""

    def __init__(self, rows: Sequence[str]) -> None:
        self.rows = tuple(row.rstrip() for row in rows)

    @cached_property
    def text(self) -> str:
        return "\n".join(self.rows)

    # --- the foot: message and keys -----------------------------------------------------------------

    @cached_property
    def _foot_at(self) -> int:
        rules = [y for y, row in enumerate(self.rows) if row.strip("─ ") == "" and "─" in row]
        return rules[-1] if rules else len(self.rows)

    @cached_property
    def _key_rows(self) -> int:
        """The index of the first row of the key bar."""
        first = len(self.rows)
        while first > self._foot_at + 1 and all(map(KEY.fullmatch, re.split(r" {3,}", self.rows[first - 1].strip()))):
            first -= 1
        return first

    @cached_property
    def keys(self) -> tuple[ShownKey, ...]:
        """The key bar."""
        pieces = (piece for row in self.rows[self._key_rows :] for piece in re.split(r" {3,}", row.strip()))
        return tuple(_shown_key(piece) for piece in pieces)

    def key(self, name: str) -> ShownKey | None:
        """The key with this name on it, ``None`` if the key bar has none."""
        return next((each for each in self.keys if each.key == name), None)

    def key_for(self, label: str) -> ShownKey | None:
        """The enabled key with this label, ``None`` if the key bar has none."""
        return next((each for each in self.keys if each.enabled and each.label == label), None)

    @cached_property
    def message(self) -> str:
        """The message above the key bar."""
        return " ".join(row.strip() for row in self.rows[self._foot_at + 1 : self._key_rows]).strip()

    # --- the columns -----------------------------------------------------------------------------

    @cached_property
    def _columns(self) -> tuple[tuple[str, ...], ...]:
        """The rows of each column between vertical lines. A page has one column."""
        body = self.rows[1 : self._foot_at]
        at = Counter(found.start() for row in body for found in re.finditer("│", row))
        edges = (-1, *sorted(column for column, rows in at.items() if rows > len(body) * 0.6), None)
        return tuple(tuple(row[(left or 0) + 1 : right].rstrip() for row in body) for left, right in pairwise(edges))

    @property
    def on_bench(self) -> bool:
        """True on the bench, false on a page in front of it."""
        return len(self._columns) > 1

    @cached_property
    def panel(self) -> tuple[str, ...]:
        """The rows of the operation, without the list of its section below it; or the rows of the page."""
        rows = self._columns[0]
        end = next((y for y, row in enumerate(rows) if SECTION.match(row)), None) if self.on_bench else None
        return rows[:end]

    @property
    def side(self) -> tuple[str, ...]:
        """The rows of the state of the assembly, the clocks and the next operations."""
        return tuple(row.strip() for row in self._columns[-1]) if self.on_bench else ()

    @cached_property
    def clocks(self) -> str:
        """The text about the running clocks."""
        text = "\n".join(self.side)
        found = re.search(r"^CLOCKS? ─*\n(.*?)(?=^[A-Z]+ ─|\Z)", text, re.DOTALL | re.MULTILINE)
        return found[1] if found else ""

    # --- the task --------------------------------------------------------------------------------

    @cached_property
    def _status_at(self) -> int | None:
        return next((y for y, row in enumerate(self.panel) if STATUS.match(row.strip())), None)

    @cached_property
    def status(self) -> str:
        """The word of the status line, such as ``In progress``; empty on a page."""
        if not self.on_bench or self._status_at is None:
            return ""
        found = STATUS.match(self.panel[self._status_at].strip())
        return found[1] if found else ""

    @cached_property
    def title(self) -> str:
        """Number and title of the operation, or the title of the move or of the page.

        If rows are few, the first line of the instruction follows without a blank row, and is part of it.
        """
        if not self.status or self._status_at is None:
            return self.rows[0].strip() if self.rows else ""
        rows = self.panel[self._status_at + 1 :]
        end = next((y for y, row in enumerate(rows) if not row or row.lstrip().startswith(("×", "►"))), len(rows))
        return _joined(rows[:end])

    @property
    def task(self) -> str:
        """The number of the operation, or the title where there is none. It stays the same while the task goes on."""
        number = re.match(r"\d+", self.title)
        return number[0] if number else self.title

    @property
    def has_signal(self) -> bool:
        """True if a danger, warning or caution is shown."""
        return any(SIGNAL.search(row) for row in self.panel)

    @property
    def hides_lines(self) -> bool:
        """True if a part of the text is hidden below the last row."""
        return any(HIDDEN.search(row) for row in self.panel)

    @property
    def wait_seconds(self) -> float:
        """The time to wait that the panel states, in seconds; 0 if it states none."""
        found = re.search(r"Wait ([\d:dhmins ]+?) more", _joined(self.panel))
        return seconds_in(found[1]) if found else 0.0

    # --- the current item --------------------------------------------------------------------------

    @cached_property
    def _asks_choice(self) -> bool:
        return any(key.label == "choose" for key in self.keys)

    @cached_property
    def current_rows(self) -> tuple[str, ...]:
        """The rows of the current item: from the mark ``►`` to the next item or a blank row."""
        rows = self.panel
        start = next((y for y, row in enumerate(rows) if re.match(r"^ {0,3}► ?\S", row)), None)
        if start is None:
            return ()
        if not self.on_bench and BESIDE.search(rows[start]):
            return rows[start : start + 1]  # a form with its answers beside the questions
        end = start + 1
        while end < len(rows):
            blank = not rows[end] and not FASTENER.search("\n".join(rows[end:]))
            if blank or (NEXT_ITEM.match(rows[end]) and not self._asks_choice):
                break
            end += 1
        return rows[start:end]

    @property
    def current(self) -> str:
        """The text of the current item."""
        return _joined(self.current_rows)

    @property
    def field(self) -> ShownField | None:
        """The field of the current item."""
        found = next((found for row in self.current_rows if (found := FIELD.match(row))), None)
        return found and ShownField(found["text"].strip(), found["unit"] or "", (found["limit"] or "").strip())

    @property
    def slot(self) -> str:
        """The place or number of the current reading, where a value has several."""
        found = SLOT.search("\n".join(self.current_rows))
        return found[1].strip() if found else ""

    @property
    def fastener(self) -> int | None:
        """The number of the next fastener."""
        found = FASTENER.search("\n".join(self.panel))
        return int(found[1]) if found else None

    @property
    def stage(self) -> int | None:
        """The number of the stage of the current joint."""
        found = STAGE.search(self.current)
        return int(found[1]) if found else None

    @property
    def open_joint(self) -> str:
        """Title and progress of a joint that is not complete and not the current item; empty if there is none."""
        for row, below in pairwise((*self.panel, "")):
            if row.lstrip().startswith("○ ") and PROGRESS.search(row + below):
                return row.strip() if PROGRESS.search(row) else f"{row.strip()} {below.strip()}"
        return ""

    @property
    def open_items(self) -> tuple[str, ...]:
        """The first row of each item that is open, apart from the current one and the hold."""
        rows = (row.strip() for row in self.panel if OPEN_ITEM.match(row))
        return tuple(row for row in rows if not row.startswith("○ Hold point"))

    @property
    def choices(self) -> tuple[ShownChoice, ...]:
        """The parts or answers to choose from in the current item."""
        rows = self.current_rows if self._asks_choice else ()
        found = (one for row in rows for one in CHOICE.finditer(row))
        return tuple(ShownChoice(one[3].strip(), one[1] or "", one[2] == "●", bool(one[4])) for one in found)

    @cached_property
    def lines_to_read(self) -> frozenset[str]:
        """The lines of the panel or page that say what to do, without marks and the status line."""
        rows = [row for y, row in enumerate(self.panel) if y != self._status_at or not self.status]
        plain = (re.sub(r"\[[ xNO]*\]|[○●►◄×_▼▲]", "", row).strip() for row in rows)
        return frozenset(squeezed(row) for row in plain if row not in ("", "Finish", "Done"))


def seconds_in(text: str) -> float:
    """The seconds of a duration as the screen writes it: ``1 d 0 h``, ``10:00 min``, ``12 min``."""
    minutes, seconds = map(int, found.groups()) if (found := re.search(r"(\d+):(\d\d)", text)) else (0, 0)
    units = {"d": 86400, "h": 3600, "min": 60, "s": 1}
    return minutes * 60 + seconds + sum(int(each[1]) * units[each[2]] for each in DURATION.finditer(text))


def _shown_key(piece: str) -> ShownKey:
    found = KEY.fullmatch(piece)
    assert found is not None  # only rows of keys are parsed
    label = found[2]
    enabled = not (label.startswith("(") and label.endswith(")"))
    return ShownKey(found[1], label if enabled else label[1:-1], enabled)


def _joined(rows: Iterable[str]) -> str:
    return " ".join(row.strip() for row in rows).removeprefix("►").strip()
