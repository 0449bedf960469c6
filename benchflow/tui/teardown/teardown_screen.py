"""The screen of a teardown: the list of what came off, the entry line, and how its text is understood."""

import asyncio
from datetime import datetime
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType

from benchflow.base.plaintext import shown_path
from benchflow.session.refusal import Refusal
from benchflow.session.teardown.part_text import UnderstoodRow
from benchflow.session.teardown.prompt_text import line_rows
from benchflow.session.teardown.teardown_record import TeardownRecord
from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.styled_lines import EMPTY, Line, counted, cut, hanging, rule
from benchflow.tui.teardown.part_lists_page import PartListsPage
from benchflow.tui.teardown.scanned_field import ScannedField
from benchflow.tui.teardown.teardown_bindings import TEARDOWN_KEYS
from benchflow.tui.teardown.teardown_client import ENTRY_DRAFT
from benchflow.tui.teardown.teardown_drawing import (
    checklist_lines,
    hazard_message,
    list_lines,
    problem_lines,
    row_lines,
)
from benchflow.tui.teardown.teardown_entry import TeardownEntry
from benchflow.tui.teardown.teardown_leave_page import TeardownLeavePage
from benchflow.tui.teardown.teardown_messages import LONGEST_NAME, accepted_message
from benchflow.tui.teardown.teardown_prompts import (
    AboutLine,
    CheckPrompt,
    ClosingPrompt,
    EntryPrompt,
    FolderPrompt,
    LinePrompt,
    PicturePrompt,
    Prompt,
    prompt_hint,
    prompt_label,
)
from benchflow.tui.widgets.page import APP_KEYS, BACK, DrawnPage

PROMPT_ROWS = 6
"""Rows below the entry line, so that the list does not jump while somebody types."""

SETTLING = 1.0
"""Seconds between two looks at a picture that may not be whole yet. (Own rule.)"""

WATCH_SECONDS = 2.0
"""Seconds between two looks at a log that another window writes."""


class TeardownScreen(TeardownEntry, inherit_bindings=False):
    """The list of lines, the newest at the bottom, and the entry line below it.

    A letter is text while the entry line has the focus. ↑ selects a line; then letters are commands about it.
    """

    BINDINGS: ClassVar[list[BindingType]] = [*TEARDOWN_KEYS, BACK, *APP_KEYS]

    @property
    def title_line(self) -> str:  # type: ignore[override]  # it changes with the record
        """What is taken apart, and how many lines are logged."""
        record = self.record
        what = f"{record.what}, {record.unit}{', closed' if record.closed else ''}"
        return f"Teardown  {what} · {counted(record.lines_off, 'line')} off, {counted(record.events, 'log line')}"

    def compose(self) -> ComposeResult:
        self.field = ScannedField(self.bench_app.bench_theme, "text", self.client.drafts.text(ENTRY_DRAFT))
        self.entries = [self.field]
        yield from super().compose()

    def on_mount(self) -> None:
        self._open_prompt(self._usual_prompt(), self.field.value)
        super().on_mount()
        self.field.display = True
        self.focus_on(None if self.client.read_only else self.field)
        if self.client.read_only:
            self.show_message(f"VIEW ONLY: {self.client.read_only}.", role="alarm")
            self._timer = self.set_interval(WATCH_SECONDS, self._watch)
        elif self._first_message:
            self.show_message(self._first_message, hazard_message(), role="attention")
        else:
            self.show_message(hazard_message(), role="attention")

    # --- drawing ------------------------------------------------------------------------------

    def body(self, width: int, height: int) -> DrawnPage:
        rows = min(PROMPT_ROWS + max(height - 19, 0) // 4, max(height - 6, 2))
        available = max(height - rows - 2, 1)
        if isinstance(self.prompt, CheckPrompt):
            top = checklist_lines(self.record, self.item, available, width)
        elif not self.record.lines:
            top = self._nothing_off(width, available)
        else:
            around = self.prompt.after if isinstance(self.prompt, EntryPrompt) else ""
            listed = list_lines(self.record, self.selected or around, available, width)
            top, self._first_line = listed.lines, listed.first
            self._first_row, self._end_row = 1 + listed.row, 1 + available
        top = [*top, *([EMPTY] * (available - len(top)))]
        label = f"LINE {self.selected}" if self.line is not None else prompt_label(self.prompt, self.record)
        if self.record.present_state and not isinstance(self.prompt, CheckPrompt):
            label = cut(f"{label}   state: {self.record.present_state}", width - 4)
        below = self._below(width)[:rows]
        lines = (*top, rule(width, label), EMPTY, *below)
        if self.line is not None:
            lines = (*top, rule(width, label), *self._below(width)[: rows + 1])
            return DrawnPage(lines, (None,))
        # An item of the checklist is named beside the field, so that nobody writes about another one.
        lead = f"► {cut(self.prompt.item.name, width // 3)}: " if isinstance(self.prompt, CheckPrompt) else "► "
        marked: Line = ((lead, "now"),)
        lines = (*top, rule(width, label), marked, *below)
        return DrawnPage(lines, (FieldPlace(len(lead), len(top) + 1, width - len(lead)),))

    def _nothing_off(self, width: int, height: int) -> list[Line]:
        lead = hanging("", "Nothing is off yet. Write the first thing that comes off.", width, "faint")
        return [*([EMPTY] * (height - len(lead))), *lead]

    def _below(self, width: int) -> list[Line]:
        """What is below the entry line: the selected line, how the text is understood, or hints."""
        if self.line is not None:
            head = UnderstoodRow("Line", self.line.description.what)
            return row_lines((head, *line_rows(self.line)[1:]), width)
        if not self.field.value.strip():
            picture = self.client.new_picture if isinstance(self.prompt, PicturePrompt) else None
            if picture is not None:
                arrived = f"{datetime.fromtimestamp(picture.arrived):%H:%M}"
                keeps = f"Enter alone keeps {picture.facts.name}, which arrived at {arrived}."
                others = prompt_hint(self.prompt, self.record)[1:]
                return [
                    *hanging("  ", keeps, width, "now"),
                    *(line for text in others for line in hanging("  ", text, width, "faint")),
                ]
            hints = [*prompt_hint(self.prompt, self.record)]
            if isinstance(self.prompt, PicturePrompt) and self.client.incoming is not None:
                watch = self.client.incoming
                hints.append(watch.missing or f"No new picture is in {shown_path(watch.folder)}.")
            return [line for text in hints for line in hanging("  ", text, width, "faint")]
        return [*problem_lines(self.read.problems, width), *row_lines(self.read.rows, width)]

    @work(group="watch")
    async def _watch(self) -> None:
        """Follow a log that another window writes."""
        left = self.client.holder_left
        error = await self.client.read_new_lines()
        if error:
            self.show_message(error, role="attention")
        elif self.client.holder_left and not left:
            self.show_message("The other window has left this teardown. Continue here with t.", role="attention")
        self.redraw()

    def action_continue_here(self) -> None:
        """Open the log for writing after the other window has left it."""
        self.run_holding_keys(self._continue_here())

    async def _continue_here(self) -> None:
        error = await self.client.continue_here()
        if error:
            self.show_message(error, role="alarm")
            return
        if self._timer is not None:
            self._timer.stop()
        self._open_prompt(self._usual_prompt(), "")
        self.show_message("You can log here now.")

    # --- keys ---------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        line = self.line
        if self.record.closed and not self._allowed_after_closing(action, parameters):
            return False
        can_write = None if self.client.read_only else True  # None: greyed, with the reason when it is pressed
        match action:
            case "continue_here":
                return bool(self.client.holder_left)
            case "log":
                return can_write if line is None else False
            case "same_container":
                return can_write if self._takes_container else False
            case "undo" | "picture":
                return can_write
            case "ask" | "insert" | "insert_before":
                return can_write if line is not None else False
            case "put_back":
                return can_write if line is not None and line.is_off else False
            case "off_again":
                return can_write if line is not None and not line.is_off else False
            case "select":
                return isinstance(self.prompt, CheckPrompt) or bool(self.record.lines)
            case "checklist":
                return line is None and not isinstance(self.prompt, CheckPrompt)
            case "lists":
                return bool(self.record.lines)
            case "folder":
                return self.save_failed
            case "close_teardown":
                return can_write if line is None and isinstance(self.prompt, EntryPrompt) else False
            case _:
                return True

    def _allowed_after_closing(self, action: str, parameters: tuple[object, ...]) -> bool:
        """True for a key that the closed teardown still has. Enter is there while something is written."""
        if action == "ask":
            return bool({*parameters} & {"fate", "found", "measured", "partner", "note"})
        if action == "log":
            return self.prompt != EntryPrompt() or bool(self.field.value.strip())
        hidden = ("put_back", "off_again", "insert", "insert_before", "undo", "checklist", "same_container",
                  "close_teardown")  # fmt: skip
        return action not in hidden

    def action_select(self, by: int) -> None:
        """Select a line of the list, or an item of the checklist. Below the newest line is the entry line."""
        if isinstance(self.prompt, CheckPrompt):
            self._next_item(1 if by > 0 else -1)
            return
        ids = [line.id for line in self.record.lines]
        at = max(self._position + by, 0)
        if at >= len(ids):
            self._to_entry()
            return
        self.selected = ids[at]
        self._forget_refusal()
        self.focus_on(None)
        self.redraw()

    @property
    def _position(self) -> int:
        """The index of the selected line; one more than the last if the entry line has the focus."""
        ids = [line.id for line in self.record.lines]
        return ids.index(self.selected) if self.selected in ids else len(ids)

    def _to_entry(self) -> None:
        self.selected = ""
        self._forget_refusal()
        self.focus_on(None if self.client.read_only else self.field)
        self.redraw()

    def clicked(self, row: int) -> None:
        """Select the clicked line."""
        index = self._first_line + row - self._first_row
        if not isinstance(self.prompt, CheckPrompt) and self._first_row <= row < self._end_row:
            self.action_select(index - self._position)

    def action_ask(self, what: LinePrompt) -> None:
        """Ask something about the selected line."""
        assert self.line is not None  # otherwise the key is hidden
        self._open_prompt(AboutLine(what, self.line.id))

    @property
    def _takes_container(self) -> bool:
        """True if Tab can put the bag of the newest line into the entry line."""
        return self.line is None and isinstance(self.prompt, EntryPrompt) and bool(self._last_container)

    @property
    def _last_container(self) -> str:
        lines = self.record.lines
        return next((line.description.container for line in reversed(lines) if line.description.container), "")

    def action_same_container(self) -> None:
        """Write the bag of the newest line that has one into the entry line. It is logged only with the line."""
        text = self.field.value.rstrip(" ,")
        self.field.set_content("text", f"{text}, {self._last_container}")
        self._understand()
        self.redraw()

    def action_insert(self) -> None:
        """Ask for a line that was forgotten after the selected one."""
        self._open_prompt(EntryPrompt(self.selected))

    def action_insert_before(self) -> None:
        """Ask for a line that was forgotten before the selected one."""
        before = self.record.lines[max(self._position - 1, 0)].id if self._position else "0"
        self._open_prompt(EntryPrompt(before))

    def action_put_back(self) -> None:
        self.action_ask("put-back")

    def action_off_again(self) -> None:
        """Log that the part of the selected line came off again."""
        self.run_holding_keys(self._send({"intent": "off-again", "line": self.selected}))

    def action_undo(self) -> None:
        """Undo the last entry. The words of an undone line are in the entry line again."""
        if not self._refused_bounce():
            self.run_holding_keys(self._undo())

    async def _undo(self) -> None:
        before = self.record
        answer = await self.client.send({"intent": "undo"})
        if isinstance(answer, Refusal):
            self.refused(answer)
            return
        kept = {line.id for line in self.record.lines}
        gone = next((line for line in reversed(before.lines) if line.id not in kept), None)
        prompt = self._prompt_after_undo(before)
        words = gone.description.entered if gone is not None and not self.field.value.strip() else None
        self._open_prompt(prompt, words if isinstance(prompt, EntryPrompt) else None)
        self.show_message(accepted_message({"intent": "undo"}, before, self.record))

    def _prompt_after_undo(self, before: TeardownRecord) -> Prompt:
        """The item of the checklist whose answer was undone, or the usual prompt."""
        left = {each.event for each in self.record.together}
        gone = next((each.name for each in reversed(before.together) if each.event not in left), "")
        names = [item.name for item in self.record.checklist]
        if gone not in names or self.record.lines:
            return self._usual_prompt()
        self.item = names.index(gone)
        return CheckPrompt(self.record.checklist[self.item])

    def action_checklist(self) -> None:
        """Show what is measured together, to add to it."""
        self.item = min(self.item, len(self.record.checklist) - 1)
        self._open_prompt(CheckPrompt(self.record.checklist[self.item]))

    def action_lists(self) -> None:
        """Show what to order, what goes to the machine shop, and what to ask the customer."""
        command = f"benchflow teardown {shown_path(self.client.log)} --lists"
        self.app.push_screen(PartListsPage(self.record, command))

    def action_picture(self) -> None:
        """Ask for a picture, and look for one that a phone has sent.

        It is of the selected line or of the newest one. The same key again changes between that and the assembly.
        """
        if isinstance(self.prompt, PicturePrompt):
            self._open_prompt(PicturePrompt("" if self.prompt.line else self.record.last_off))
        else:
            self._open_prompt(PicturePrompt(self.selected or self.record.last_off))
        self._look_for_picture()

    @work(group="picture", exclusive=True)
    async def _look_for_picture(self) -> None:
        """Offer the latest picture in the incoming folder. A file counts once two looks have found it unchanged."""
        if await self.client.look_for_picture():
            await asyncio.sleep(SETTLING)
            await self.client.look_for_picture()
        self.redraw()

    def action_folder(self) -> None:
        self._open_prompt(FolderPrompt())

    def action_close_teardown(self) -> None:
        if words := self.field.value.strip():
            message = (
                f"A line is not logged yet: {cut(words, LONGEST_NAME)}. Log it or clear it with Ctrl+U, then close"
            )
            self.show_message(f"{message}.", role="alarm")
            return
        self._open_prompt(ClosingPrompt())

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        return (f"View only: {self.client.read_only}.",)

    def action_back(self) -> None:
        """Go back to the entry line; from there ask whether to leave."""
        if self.line is not None:
            self._to_entry()
        elif not isinstance(self.prompt, EntryPrompt) and self.prompt != self._usual_prompt():
            self._open_prompt(self._usual_prompt())
        elif self.prompt != EntryPrompt() and isinstance(self.prompt, EntryPrompt):
            self._open_prompt(EntryPrompt())
        else:
            self.app.push_screen(TeardownLeavePage(self.client))
