"""A robot that works a job from start to end as a person does: it reads the screen and presses what the screen offers.

It chooses each key by the text of the screen (:mod:`tests.tui.seen_screen`): the key bar, the current item with its
field and limit, the title, the choices. What it enters comes from outside the program, as for a person: readings from
a gauge that it asks by the title and the place on the screen, names from a card. It types a reading with as many
decimals as the limit on the screen, and fails if it is not within that limit. It waits if the screen says so, and it
reads the hidden lines of an instruction that it has not seen whole.

After each key it looks in the log what the key has done. It fails if an event is about something that the screen had
not shown as the current item (:mod:`tests.tui.evidence_objects`), if a check is ticked while a joint of the operation
is open, or if a hold is signed while anything else is open. It presses each greyed key once, and fails if the screen
does not answer. It fails if no key changes the screen.

**Counted** are all keys from the first page to the end of the job: each typed character, each Enter, each letter.
The trials of greyed keys are not counted.

**Without information** is a key that records or confirms nothing. A key has information if one of these is true:

- it made an entry of evidence (``ENTRIES``);
- it ends a typed text, or chooses an answer;
- it shows hidden lines of a text;
- it starts an operation that shows DANGER, WARNING or CAUTION, or leaves a page that shows one: this was read;
- it starts an operation that a clock on the screen waits for: the time of the start is evidence;
- it finishes an operation for which nothing else was entered: the work was done;
- it opens the page of a hold that is the current item.

What is left are starts with nothing to confirm, finishes where nothing is open, questions that are left as they are,
and ways from page to page.

**The longest run** is the greatest number of Enters in a row between which nothing new to read came up: no new line in
the panel or page, apart from marks (``►``, ``[x]``, ``●``) and the status line. A person who presses Enter in a
steady rhythm makes that many entries without a reason to stop. Any other key ends a run. Before each key the clock
moves by a pause for reading (``PAUSE`` and ``READING_SPEED``), so no two keys are as close as a bounce of a switch.
"""

import re
from collections import Counter
from collections.abc import Callable
from typing import Any, Protocol

from msgspec import Struct, field
from msgspec.structs import replace

from benchflow.quantity import Limit, QuantityError, parse_limit, parse_quantity, position
from benchflow.session.state.state import State
from tests.tui.evidence_objects import ENTRIES, missing_objects
from tests.tui.seen_screen import SeenScreen, ShownField, ShownKey, squeezed

PAUSE = 1.0
"""Shortest time between two keys of a person, in seconds of the clock of the job."""

READING_SPEED = 25.0
"""Characters that a person reads in a second."""

MAX_KEYS = 6000
"""A job that needs more keys is in a loop."""

HOLD = "Hold point"

CARD = {"Unit": "2417", "Builder": "R. Tiller", "Who signs": "K. Lathe"}
"""The answer to each question of a form, by the beginning of the question."""

Gauge = Callable[[SeenScreen], str]
"""Returns the reading for the current item of a screen, with its unit."""


class Hands(Protocol):
    """The keyboard, the screen and the clock of a running program."""

    def see(self) -> SeenScreen:
        """The screen as it is painted now."""

    def new_events(self) -> list[dict[str, Any]]:
        """The events that were logged since the last call."""

    def state(self) -> State | None:
        """The state of the job, ``None`` before it is started. It is asked only after a key was chosen."""

    async def press(self, name: str) -> None:
        """Press the key with this name in the key bar."""

    async def type(self, text: str) -> None:
        """Type a text, without Enter."""

    def pause(self, seconds: float) -> None:
        """Let the time between two keys pass."""

    async def wait(self, seconds: float) -> None:
        """Let a longer time pass, until the screen shows it."""


class KeyCount(Struct):
    """The keys of a job. ``typed`` and ``enters`` are parts of ``keys``.

    ``without`` counts the keys without information, by their label.
    """

    operations: int = 0
    keys: int = 0
    typed: int = 0
    enters: int = 0
    without: Counter[str] = field(default_factory=Counter)
    longest_run: int = 0
    longest_run_at: str = ""

    @property
    def per_hundred(self) -> float:
        """The keys without information in a hundred keys."""
        return 100 * self.without.total() / self.keys if self.keys else 0.0


class Robot:
    """Works a job with the keys of the screen. ``gauge`` gives the readings.

    ``findings`` collects the entries that the screen did not announce. With ``None``, the first one is a failure.
    ``tries_greyed`` is false to leave greyed keys alone.
    """

    def __init__(
        self, hands: Hands, gauge: Gauge, findings: list[str] | None = None, *, tries_greyed: bool = True
    ) -> None:
        self.hands, self.gauge, self.findings, self.tries_greyed = hands, gauge, findings, tries_greyed
        self.count = KeyCount()
        self.screen = self._bench = hands.see()  # `_bench` is the last screen of the bench
        self._read: frozenset[str] = frozenset()  # the lines on the screen at the last Enter
        self._run = 0
        self._answered = False  # a text was typed or a choice taken since the last Enter
        self._entered = False  # an entry was made since the operation was started
        self._turned: set[str] = set()  # the operations in which a part was drawn down by a turn
        self._read_whole = ""  # the operation whose hidden lines were read
        self._probed: set[str] = set()
        self._closed = False

    async def work(self) -> KeyCount:
        """Work until the job has ended. Returns the count."""
        while not self._closed:
            before = self.screen
            await self.act()
            assert self.count.keys < MAX_KEYS, self._report("The job does not end")
            assert self.screen.text != before.text or self._closed, self._report("No key changes the screen")
        return self.count

    async def act(self) -> None:
        """Do the one thing that the screen asks for."""
        screen = self.screen
        if screen.on_bench and not screen.hides_lines:
            self._read_whole = screen.task
        if not screen.on_bench:
            await self._answer_page(screen)
        elif self._read_whole != screen.task:
            await self._press("PgDn")
        else:
            if self.tries_greyed:
                await self._try_greyed_keys()
            await self._work_operation(screen)

    # --- the bench -------------------------------------------------------------------------------

    async def _work_operation(self, screen: SeenScreen) -> None:
        seated, held = screen.key_for("all seated"), screen.key_for("held")
        if screen.status == "Blocked":
            await self._leave_block(screen)
        elif held is not None:  # a click wrench shows no reading
            await self._press(held.key)
        elif screen.choices:
            proposed = any(each.proposed for each in screen.choices)
            await self._press("Enter" if proposed else screen.choices[0].number)
        elif screen.field is not None:
            await self._read_gauge(screen)
        elif seated is not None and screen.task in self._turned:
            await self._press(seated.key)
        else:
            if seated is not None:
                self._turned.add(screen.task)
            await self._press("Enter")

    async def _leave_block(self, screen: SeenScreen) -> None:
        """Wait if the screen says how long, else follow the route that it offers."""
        seconds = screen.wait_seconds
        if seconds:
            await self.hands.wait(seconds + 1)
            self.screen = self.hands.see()
            return
        guide = screen.key_for("guide me there")
        assert guide is not None, self._report("The operation is blocked, and no key leads on")
        await self._press(guide.key)

    async def _read_gauge(self, screen: SeenScreen) -> None:
        """Type the reading that the current field asks for. The unit is left out if the field shows it."""
        assert screen.field is not None  # asked by the caller
        if not screen.field.text:
            number, _, unit = self._rounded(screen.field, self.gauge(screen)).partition(" ")
            await self._type(number if unit == screen.field.unit else f"{number} {unit}".strip())
        await self._press("Enter")

    def _rounded(self, shown: ShownField, reading: str) -> str:
        """The reading with as many decimals as the limit on the screen. Fail if it is not within that limit."""
        limit = limit_on_screen(shown)
        if limit is None:
            if "…" in shown.limit:
                self._find(f"{self.screen.title}: the limit is cut off: “{shown.limit}”")
            return reading
        value = parse_quantity(reading)
        assert position(limit, value) == "within", self._report(f"{reading} is not within “{shown.limit}”")
        decimals = max((len(each[1]) for each in re.finditer(r"\.(\d+)", shown.limit)), default=0)
        number = round(value.value, decimals).normalize()
        rounded = replace(value, value=number)
        return f"{number:f} {value.unit}".strip() if position(limit, rounded) == "within" else reading

    # --- pages -----------------------------------------------------------------------------------

    async def _answer_page(self, screen: SeenScreen) -> None:
        """Answer the current question of a form, or go on from a page with nothing to answer."""
        choose, offered = screen.key_for("choose"), screen.key_for("sign with this name")
        if offered is not None:
            await self._press(offered.key)
            return
        if screen.choices and choose is not None and not any(each.taken for each in screen.choices):
            await self._press(choose.key)
            return
        answer = next((text for start, text in CARD.items() if screen.current.startswith(start)), None)
        if answer is not None and not screen.choices and squeezed(answer) not in squeezed(screen.current):
            await self._type(answer)
        await self._press("Enter")

    # --- keys ------------------------------------------------------------------------------------

    async def _type(self, text: str) -> None:
        self._pause()
        self.count.keys += len(text)
        self.count.typed += len(text)
        self._answered, self._run = True, 0
        await self.hands.type(text)
        self.screen = self.hands.see()
        assert not self.hands.new_events(), self._report("A typed text made an entry before its Enter")

    async def _press(self, name: str) -> None:
        before = self.screen
        shown = _key_with(before, name)
        assert shown is not None, self._report(f"The key bar has no key {name}")
        assert shown.enabled, self._report(f"The key {name} ({shown.label}) is greyed")
        self._count_run(before, name)
        self._pause()
        await self.hands.press(name)
        self.count.keys += 1
        self.count.enters += name == "Enter"
        self.screen = self.hands.see()
        events = self.hands.new_events()
        self._check_objects(events, before, shown)
        kinds = [event["kind"] for event in events]
        if not self._has_information(before, shown, {*kinds}):
            self.count.without[shown.label] += 1
        self._note_events(kinds)
        self._answered = shown.key == "←→"

    def _pause(self) -> None:
        """Take the time to read what is new on the screen."""
        unread = sum(len(line) for line in self.screen.lines_to_read - self._read)
        self.hands.pause(PAUSE + unread / READING_SPEED)

    def _count_run(self, before: SeenScreen, name: str) -> None:
        if name != "Enter":
            self._run = 0
            return
        self._run = self._run + 1 if before.lines_to_read <= self._read else 1
        self._read = before.lines_to_read
        if self._run > self.count.longest_run:
            self.count.longest_run, self.count.longest_run_at = self._run, before.title

    def _has_information(self, before: SeenScreen, key: ShownKey, kinds: set[str]) -> bool:
        """True if the key has information, as defined at the top. ``kinds`` are those of its events."""
        alone = "finished" in kinds and not self._entered
        if kinds & ENTRIES or self._answered or alone or key.key in ("PgDn", "PgUp PgDn", "←→"):
            return True
        if "started" in kinds:
            return before.has_signal or squeezed(before.title)[:12] in squeezed(before.clocks)
        if not before.on_bench and not before.current:
            return before.hides_lines or before.has_signal
        return HOLD in before.current

    def _note_events(self, kinds: list[str]) -> None:
        self.count.operations += kinds.count("finished")
        self._closed = "closed" in kinds
        self._entered = "finished" not in kinds and (self._entered or bool(ENTRIES & {*kinds}))

    def _check_objects(self, events: list[dict[str, Any]], before: SeenScreen, key: ShownKey) -> None:
        """Fail if an event is about something that was not the current item on the screen before the key."""
        self._bench = before if before.on_bench else self._bench
        if not events:
            return
        state = self.hands.state()
        assert state is not None  # there are events only in an open job
        for event in events:
            for missing in missing_objects(state, event, before):
                self._find(f"{before.title}: key {key.key} ({key.label}): {missing}", before)
            still_open = self._open_before(event["kind"])
            if still_open:
                what = f"{event['kind']} while this is open: {still_open}"
                self._find(f"{before.title}: key {key.key} ({key.label}): {self._bench.current}: {what}", self._bench)

    def _open_before(self, kind: str) -> str:
        """What has to be entered before an entry of this kind, and is still open on the bench."""
        match kind:
            case "checked":
                return self._bench.open_joint
            case "signed":
                return ", ".join(self._bench.open_items)
            case _:
                return ""

    async def _try_greyed_keys(self) -> None:
        """Press each greyed key once, and fail if nothing says why it is blocked."""
        was = self.screen.message
        for key in self.screen.keys:
            if key.enabled or len(key.key) > 1 or key.label in self._probed or self.screen.field is not None:
                continue
            self._probed.add(key.label)
            await self.hands.press(key.key)
            self.screen = self.hands.see()
            assert not self.hands.new_events(), self._report(f"The greyed key {key.key} made an entry")
            assert self.screen.message, self._report(f"The greyed key {key.key} ({key.label}) says nothing")
            if self.screen.message == was:
                self._find(f"{self.screen.title}: the greyed key {key.key} ({key.label}) says nothing new: {was}")

    # --- reports ---------------------------------------------------------------------------------

    def _find(self, what: str, screen: SeenScreen | None = None) -> None:
        if self.findings is None:
            raise AssertionError(self._report(what, screen))
        self.findings.append(what)

    def _report(self, what: str, screen: SeenScreen | None = None) -> str:
        return f"{what}. The screen:\n{(screen or self.screen).text}"


def limit_on_screen(shown: ShownField) -> Limit | None:
    """The limit as it is written on the screen, ``None`` if there is none or it is cut off before its end."""
    text = shown.limit.partition(" (")[0] if "…" in shown.limit else shown.limit
    try:
        return parse_limit(text, unit=shown.unit or None)
    except QuantityError:
        return None


def _key_with(screen: SeenScreen, name: str) -> ShownKey | None:
    """The key with this name: in the key bar, or beside what it acts on, as the number of a choice or ``(PgDn)``."""
    for key in screen.keys:
        if name == key.key or name in key.key.split():
            return key
    beside = f"({name})" in screen.text or any(each.number == name for each in screen.choices)
    return ShownKey(name, "", True) if beside else None
