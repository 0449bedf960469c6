"""Screens for leaving the bench, ending the job, and continuing the log in another folder."""

import asyncio
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType

from benchflow.base.errors import BenchflowError
from benchflow.procedure.model import FollowUp
from benchflow.quantity import seconds
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.view.bench_view import ClockRow
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, rule, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.list_page import leaving_keys
from benchflow.tui.widgets.page import APP_KEYS, TextPage, letter

if TYPE_CHECKING:
    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.review.sheets.sheet_content import BuildSheet
    from benchflow.review.sheets.sheet_file import Copy
    from benchflow.session.shop.register import Shop


class LeavePage(TextPage[None], inherit_bindings=False):
    """The confirmation before the bench is left: what keeps running, and how to continue."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter," + letter("y"), "leave", "leave", id="leave.leave"),
        Binding("escape," + letter("q") + ",f10,ctrl+c,ctrl+q", "back", "stay", id="page.back"),
        *APP_KEYS,
    ]
    title_line = "Leave the bench"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client

    def text(self, width: int) -> list[Line]:
        view = self.client.view
        lines: list[Line] = [EMPTY, styled("Everything you entered is on disk.", "title"), EMPTY]
        if view.now is not None and view.now.in_progress:
            text = f"{view.now.number} {view.now.title} stays in progress. Text that is typed but not entered is kept."
            lines.extend(styled(part) for part in wrap(text, width))
        lines.extend(
            hanging("Time keeps running for: ", "; ".join(map(_clock_title, view.clocks)), width, "attention")
            if view.clocks
            else []
        )
        lines.extend(
            [
                EMPTY,
                styled("To look at it again:" if view.closed else "To continue:", "label"),
                *(styled(part) for part in wrap(resume_command(self.client), width)),
            ]
        )
        return lines

    def action_leave(self) -> None:
        self.bench_app.leave(0, *exit_messages(self.client))


def _clock_title(row: ClockRow) -> str:
    return row.title if row.known else f"{row.title} (time not known)"


def resume_command(client: SessionClient) -> str:
    """Return the command that continues the job."""
    return f"benchflow run {client.log}"


def exit_messages(client: SessionClient) -> tuple[str, ...]:
    """Return the lines printed on the terminal after the bench is closed."""
    view = client.view
    progress = f"{view.title}, {view.unit}: {view.done} of {view.of} done. {view.saved} log lines are on disk."
    return (progress, f"Log: {client.log}", *(() if view.closed else (f"To continue: {resume_command(client)}",)))


class EndJobPage(FormPage, inherit_bindings=False):
    """The form that ends the job. If operations are open, it asks for a reason."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("end the job")
    title_line = "End the job"
    form = "end"

    def questions(self) -> Sequence[FormField]:
        assert self.client is not None  # the page is opened only from the bench of an open job
        if self.client.view.finished:
            return ()
        return (FormField("unfinished", "Not every operation is done. Why do you end the job now?"),)

    def intro(self, width: int) -> list[Line]:
        assert self.client is not None  # the page is opened only from the bench of an open job
        view = self.client.view
        lines: list[Line] = [EMPTY, styled(f"{view.done} of {view.of} operations are done.", "title"), EMPTY]
        left = self.client.reasons_against_ending()
        for reason in left:
            lines.extend(hanging("× ", reason.message, width, "blocked"))
        lines.extend(follow_up_lines(self.client.controller.procedure.follow_up, self.client.now, width))
        text = "After that, no more entries are possible. The log is kept."
        return [*lines, EMPTY, *(styled(part, "faint") for part in wrap(text, width))]

    async def submit(self, values: dict[str, str]) -> None:
        fields = {"unfinished": values["unfinished"]} if values.get("unfinished") else {}
        if await self.send("The job has ended.", "close", **fields):
            assert self.client is not None  # the page is opened only from the bench of an open job
            self.app.push_screen(EndSheetPage(self.client, values.get("unfinished", "")))


class EndSheetPage(TextPage[None], inherit_bindings=False):
    """The end page: progress, what was out of the ordinary, follow-ups with their dates, and the path of the log."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "leave", "leave", id="ended.leave"),
        Binding(letter("b"), "build_sheet('customer')", "build sheet", id="ended.build-sheet"),
        Binding(letter("s"), "build_sheet('shop')", "shop's copy", id="ended.shop-copy"),
        *TextPage.BINDINGS,
        *leaving_keys("back to the bench"),
    ]
    title_line = "Job ended"

    def __init__(self, client: SessionClient, reason: str = "") -> None:
        """``reason`` is the reason for ending the job early, empty if every operation is done."""
        super().__init__()
        self.client, self.reason = client, reason
        self.loaded: tuple[LoadedLog, BuildSheet] | None = None  # None while the log is read

    def on_mount(self) -> None:
        super().on_mount()
        self.run_holding_keys(self._read_log())

    async def _read_log(self) -> None:
        """Read the log as a review does, because that decides what was out of the ordinary."""
        try:
            self.loaded = await asyncio.to_thread(_read_for_review, self.client.log)
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
        self.redraw()

    def text(self, width: int) -> list[Line]:
        view, state = self.client.view, self.client.state
        lines: list[Line] = [
            EMPTY,
            *(styled(part, "title") for part in wrap(f"{view.title}, {view.unit}", width)),
            EMPTY,
        ]
        lines.append(styled(f"{view.done} of {view.of} operations done, {view.saved} log lines on disk."))
        if self.reason:
            lines.extend(hanging("Ended early: ", self.reason, width, "strong", "attention"))
        lines.extend(self._remark_lines(width))
        lines.extend(follow_up_lines(self.client.controller.procedure.follow_up, local_time_of(state.closed), width))
        lines.extend([EMPTY, rule(width, "LOG")])
        lines.extend(styled(part) for part in wrap(str(self.client.log), width))
        lines.append(styled(f"Fingerprint {self.client.controller.journal.head[:16]}", "faint"))
        return lines

    def _remark_lines(self, width: int) -> list[Line]:
        if self.loaded is None:
            return [EMPTY, styled("Reading the log …", "faint")]
        _, sheet = self.loaded
        remarks = (*sheet.exceptions, *(f"Note, {note}" for note in sheet.notes))
        lines: list[Line] = [EMPTY, rule(width, "OUT OF THE ORDINARY")]
        if not remarks:
            return [*lines, styled("Nothing.", "ok")]
        return [*lines, *(line for each in remarks for line in hanging("· ", each, width))]

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        blocked = self.loaded is None or bool(self.client.view.read_only)
        return None if action == "build_sheet" and blocked else True

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        if self.client.view.read_only:
            return (f"View only: {self.client.view.read_only}. Make the sheet with: benchflow sheet",)
        return ("The log could not be read, so there is no build sheet.",)

    def action_build_sheet(self, copy: "Copy") -> None:
        self.run_holding_keys(self._write_sheet(copy))

    async def _write_sheet(self, copy: "Copy") -> None:
        assert self.loaded is not None  # otherwise the key is greyed
        try:
            path = await asyncio.to_thread(_write_copy, *self.loaded, copy)
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
            self.app.bell()
            return
        whose = "for the customer" if copy == "customer" else "for the shop, with everything"
        self.show_message(f"The build sheet is {path} ({whose}). Open it in a browser to read or print it.")

    def action_leave(self) -> None:
        self.bench_app.leave(0, *exit_messages(self.client))


def _read_for_review(log: Path) -> "tuple[LoadedLog, BuildSheet]":
    """Read the log with its audit, and make its build sheet, which says what was out of the ordinary."""
    # Imported late: only the end of a job needs the review.
    from benchflow.review.audit.audited_log import with_audit
    from benchflow.review.log.loaded_log import load_log
    from benchflow.review.sheets.build_sheet import build_sheet
    from benchflow.session.procedure_loading import procedure_reader

    loaded = with_audit(load_log(log, procedure_reader()))
    return loaded, build_sheet(loaded, _shop())


def _write_copy(loaded: "LoadedLog", made: "BuildSheet", copy: "Copy") -> Path:
    """Write a copy of the build sheet beside the log, with the letterhead of the register."""
    # Imported late: only a sheet needs the templates.
    from benchflow.review.sheets.letterhead import letterhead_of
    from benchflow.review.sheets.sheet_file import write_sheet
    from benchflow.session.machine_folders import machine_folders

    return write_sheet(loaded, made, copy, letterhead_of(_shop(), machine_folders().shop))


def _shop() -> "Shop | None":
    """The register of this machine; ``None`` without one.

    Raises:
        BenchflowError: it has errors.
    """
    from benchflow.session.machine_folders import machine_folders
    from benchflow.session.shop.live_register import Register

    return Register(machine_folders().shop, machine_folders().compiled).shop()


def follow_up_lines(items: Sequence[FollowUp], start: datetime, width: int) -> list[Line]:
    """Return the list of tasks after the build, each with its date if it has one."""
    if not items:
        return []
    out: list[Line] = [EMPTY, rule(width, "TO DO AFTER THE BUILD")]
    for item in items:
        day = f"{start + timedelta(seconds=seconds(item.due)):%Y-%m-%d}" if item.due is not None else "no date   "
        other = f", or {item.or_}" if item.or_ else ""
        out.extend(hanging(f"{day}  ", item.title + other, width, "text", "strong"))
    return out


class FolderPage(FormPage, inherit_bindings=False):
    """The form for another folder, if the log cannot be written any more."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("continue there")
    title_line = "Another folder for the log"
    form = "folder"

    def questions(self) -> Sequence[FormField]:
        return (FormField("folder", "Folder", keep=False),)

    def intro(self, width: int) -> list[Line]:
        assert self.client is not None  # the page is opened only from the bench of an open job
        text = (
            "The log is copied to that folder and checked. The job continues in the copy. Your typed text stays in its "
            "field."
        )
        return [
            EMPTY,
            styled(f"The log is now in {self.client.log.parent}", "strong"),
            EMPTY,
            *(styled(p) for p in wrap(text, width)),
        ]

    async def submit(self, values: dict[str, str]) -> None:
        assert self.client is not None  # the page is opened only from the bench of an open job
        if not values["folder"]:
            self.show_message("Type a folder, for example on a USB stick.", role="attention")
            return
        wrong = await self.client.move_to(Path(values["folder"]).expanduser())
        if wrong:
            self.show_message(wrong, role="alarm")
            self.app.bell()
        else:
            self.done(f"The log continues in {self.client.log}. Enter the last value again.")
