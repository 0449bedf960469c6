"""The entry line of the teardown screen: asks, understands what is typed, sends it, and asks the next thing."""

import re
from pathlib import Path
from typing import Any

import msgspec
from textual.timer import Timer
from textual.widgets import Input

from benchflow.session.refusal import Refusal
from benchflow.session.teardown.part_text import UnderstoodRow
from benchflow.session.teardown.prompt_text import ReadPrompt
from benchflow.session.teardown.scanned_code import with_scanned_code
from benchflow.session.teardown.teardown_record import TeardownLine, TeardownRecord
from benchflow.tui.teardown.scanned_field import ScannedField
from benchflow.tui.teardown.teardown_client import ENTRY_DRAFT, TeardownClient
from benchflow.tui.teardown.teardown_messages import accepted_message
from benchflow.tui.teardown.teardown_prompts import (
    AboutLine,
    CheckPrompt,
    EntryPrompt,
    FolderPrompt,
    PicturePrompt,
    Prompt,
    first_text,
    read_prompt,
    reason_missing,
)
from benchflow.tui.widgets.page import Page


class TeardownEntry(Page[None], inherit_bindings=False):
    """The part of the screen that handles the entry line. ``prompt`` is the current question."""

    field: ScannedField

    def __init__(self, client: TeardownClient, first_message: str = "") -> None:
        super().__init__()
        self.client = client
        self.selected = ""  # id of the selected line
        self.item = 0  # index of the checklist item
        self.prompt: Prompt = EntryPrompt()
        self.read = ReadPrompt()
        self.save_failed = False
        self._drafts: dict[Prompt, str] = {}
        self._first_line = 0  # index of the first line shown
        self._first_row = self._end_row = 0  # its row on the screen, and the row after the last one
        self._timer: Timer | None = None
        self._first_message = first_message
        self._goes_on = False  # true if the entry to log is what was typed after the refused one
        self._refused = ""  # the entry that was refused last, while it is at the start of the field

    @property
    def record(self) -> TeardownRecord:
        """The record of the teardown."""
        return self.client.record

    @property
    def line(self) -> TeardownLine | None:
        """The selected line."""
        return self.record.line(self.selected) if self.selected else None

    # --- prompts --------------------------------------------------------------------------------------

    def _usual_prompt(self) -> Prompt:
        """The checklist while it is open and nothing is off, otherwise the entry of lines."""
        record = self.record
        if record.open_checks and not record.lines and not record.closed:
            self.item = record.checklist.index(record.open_checks[0])
            return CheckPrompt(record.checklist[self.item])
        return EntryPrompt()

    def _open_prompt(self, prompt: Prompt, text: str | None = None) -> None:
        """Ask something. The text typed before is kept for its own prompt, unless it began with the words of a line."""
        if not first_text(self.prompt, self.record):
            self._drafts[self.prompt] = self.field.value
        if prompt != self.prompt:
            self._forget_refusal()
        self.prompt = prompt
        self.selected = ""
        shown = text if text is not None else self._drafts.get(prompt, "") or first_text(prompt, self.record)
        self.field.set_content("text", shown)
        self._understand()
        self.focus_on(None if self.client.read_only else self.field)
        self.redraw()

    def _forget_refusal(self) -> None:
        """Remove a message about a text that was refused at another place."""
        if self.message.role == "alarm" and not self.client.read_only:
            self.show_message()

    def _understand(self) -> None:
        text = self.field.value
        self.read = read_prompt(self.prompt, text, self.record)
        self._goes_on = False
        if not (self._refused and text.startswith(self._refused)):
            self._refused = ""
        elif self.read.intent is None and (behind := self._typed_after_refusal(text)) is not None:
            self.read, self._goes_on = behind, True

    def _typed_after_refusal(self, text: str) -> ReadPrompt | None:
        """What was typed after a refused entry, if it is a whole entry: somebody typed on without looking.

        It begins with a letter directly after the refused text, and has several words. ``None`` for anything else,
        such as a unit that was missing.
        """
        behind = text[len(self._refused) :]
        if self.prompt != EntryPrompt() or not behind[:1].isalpha() or not re.search(r"\w[ ,]+\w", behind):
            return None
        read = read_prompt(self.prompt, behind, self.record)
        kept = UnderstoodRow("Not logged", self._refused, kept=True)
        return None if read.intent is None else msgspec.structs.replace(read, rows=(kept, *read.rows))

    def typed(self, field: Input) -> None:
        self._understand()
        if self.prompt == EntryPrompt() or isinstance(self.prompt, CheckPrompt):
            self.client.drafts.set_text(ENTRY_DRAFT, field.value)
            self.bench_app.save_soon()

    def action_log(self) -> None:
        """Log what is typed, if it is understood."""
        code = self.field.take_scanned()
        if code and self.field.value.strip(" ,") == code and self._can_add_bag:
            intent = {"intent": "add", "line": self.record.last_off, "text": with_scanned_code("", code).strip(" ,")}
            self.run_holding_keys(self._send(intent))
            return
        if code and self._takes_code:
            self.field.set_content("text", with_scanned_code(self.field.value, code))
            self._understand()
            self.show_message(f"Scanned: {code}. Enter logs the line.")
            return
        if not self.field.value.strip() and self._enter_alone():
            return
        if isinstance(self.prompt, FolderPrompt):
            self.run_holding_keys(self._move(self.field.value.strip()))
            return
        if self.read.intent is None:
            self._refused = self.field.value if self.prompt == EntryPrompt() else ""
            if isinstance(self.prompt, CheckPrompt) and (command := reason_missing(self.field.value)):
                self.field.set_content("text", command)
                self._understand()
                self.redraw()
            self.show_message("NOT LOGGED: see ×. Correct it, or clear the line with Ctrl+U.", role="alarm")
            self.app.bell()
            return
        self.run_holding_keys(self._send(self.read.intent))

    @property
    def _takes_code(self) -> bool:
        """True if a scanned code is a bag here."""
        return isinstance(self.prompt, EntryPrompt) or (
            isinstance(self.prompt, AboutLine) and self.prompt.what in ("add", "edit", "split")
        )

    @property
    def _can_add_bag(self) -> bool:
        """True if a code that is scanned alone is the bag of the newest line, which has none yet."""
        lines = self.record.lines
        return self.prompt == EntryPrompt() and bool(lines) and not lines[-1].description.container

    def _enter_alone(self) -> bool:
        """Handle Enter without a text. Return false if it is an answer of the prompt."""
        if isinstance(self.prompt, CheckPrompt):
            self._next_item(1)
            return True
        if isinstance(self.prompt, PicturePrompt) and self.client.new_picture is not None:
            about = {"line": self.prompt.line} if self.prompt.line else {}
            path = str(self.client.new_picture.path)
            self.client.new_picture = None
            self.run_holding_keys(self._send({"intent": "attach", "file": path, **about}))
            return True
        if isinstance(self.prompt, EntryPrompt):
            if self.record.closed:
                self.show_message("The teardown is closed. ↑ selects a line.", role="attention")
            elif not self._refused_bounce():
                self.show_message("Write what comes off, then Enter. ↑ selects a line.", role="attention")
            return True
        return False

    def _next_item(self, by: int) -> None:
        """Show the next item of the checklist. After the last one, lines can be logged if no item is open."""
        last = len(self.record.checklist) - 1
        if by > 0 and self.item == last and not self.record.open_checks:
            self._open_prompt(EntryPrompt())
            return
        if by > 0 and self.item == last:
            self.item = self.record.checklist.index(self.record.open_checks[0])
        else:
            self.item = min(max(self.item + by, 0), last)
        self._open_prompt(CheckPrompt(self.record.checklist[self.item]), "")

    def _next_open_item(self) -> None:
        """Show the next item that is open, and the entry of lines if none is open any more."""
        later = [each for each in self.record.checklist[self.item + 1 :] if each in self.record.open_checks]
        following = [*later, *self.record.open_checks][:1]
        if not following:
            self._open_prompt(EntryPrompt())
            return
        self.item = self.record.checklist.index(following[0])
        self.show_message(*self.message.texts, f"Next: {following[0].name}.")
        self._open_prompt(CheckPrompt(following[0]), "")

    # --- sending ------------------------------------------------------------------------------------------

    async def _send(self, intent: dict[str, Any]) -> None:
        before = self.record
        answer = await self.client.send(intent)
        if isinstance(answer, Refusal):
            self.save_failed = any(reason.code == "not-saved" for reason in answer.refused)
            self.refused(answer)
            return
        self.save_failed = False
        self._accepted(intent, before)

    def _accepted(self, intent: dict[str, Any], before: TeardownRecord) -> None:
        self.show_message(accepted_message(intent, before, self.record))
        self._drafts.pop(self.prompt, None)
        if self.prompt == EntryPrompt() or isinstance(self.prompt, CheckPrompt):
            self.client.drafts.set_text(ENTRY_DRAFT, "")
            self.bench_app.save_soon()
        refused, self._refused = self._refused if self._goes_on else "", ""
        self.field.set_content("text", "")
        if isinstance(self.prompt, CheckPrompt):
            self._after_check(intent)
            return
        line = intent.get("line", "")
        self._open_prompt(EntryPrompt(), refused if self.prompt == EntryPrompt() else None)
        if refused and self.prompt == EntryPrompt():
            self._refused = refused
            self.show_message(*self.message.texts, f"Not logged yet: {refused}", role="attention")
        # The fates of many lines are entered one after the other. After the newest line, the next one comes off.
        if line and line != self.record.last_off and self.record.line(line) is not None:
            self.selected = line
            self.focus_on(None)

    def _after_check(self, intent: dict[str, Any]) -> None:
        """Show the next item of the checklist, or the entry of lines if none is open.

        After a value with a place the item stays, for the next place.
        """
        name = intent["intent"]
        open_checks = self.record.open_checks
        if name == "measure" and not intent.get("place") and intent["name"] == self.record.checklist[self.item].name:
            self._next_open_item()
            return
        if name == "skip" and not open_checks:
            self._open_prompt(EntryPrompt())
            return
        if name == "skip":
            self.item = self.record.checklist.index(open_checks[0])
        elif name == "add-check":
            self.item = len(self.record.checklist) - 1
        elif not open_checks:
            self.show_message(*self.message.texts, "No item is open. Enter alone: what comes off.")
        self._open_prompt(CheckPrompt(self.record.checklist[self.item]), "")

    async def _move(self, folder: str) -> None:
        error = await self.client.move_to(Path(folder).expanduser()) if folder else "Write the path of a folder."
        if error:
            self.show_message(error, role="alarm")
            return
        self.save_failed = False
        self._open_prompt(EntryPrompt())
        self.show_message(f"The log continues in {self.client.log}. Log the entry again.")
