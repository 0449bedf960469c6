"""Leaving the bench, ending the session, and going on in another folder when the disk does not take it."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.procedure.model import FollowUp
from benchflow.quantity import seconds
from benchflow.session.intents.dispatch import close_reasons
from benchflow.session.log.timestamps import parse
from benchflow.tui.app.session_client import Seat
from benchflow.tui.draw.styled_lines import EMPTY, Line, hang, rule, say, wrap
from benchflow.tui.screens.bench_forms import waived_words
from benchflow.tui.widgets.form_page import Ask, FormPage, form_keys
from benchflow.tui.widgets.list_page import leaving_keys
from benchflow.tui.widgets.page import APP_KEYS, TextPage, letter


class LeavePage(TextPage[None], inherit_bindings=False):
    """Always possible, always safe: everything that was entered is on disk already."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter," + letter("y"), "leave", "leave", id="leave.leave"),
        Binding("escape," + letter("q") + ",f10,ctrl+c,ctrl+q", "back", "stay", id="page.back"),
        *APP_KEYS,
    ]
    title_line = "Leave the bench"

    def __init__(self, seat: Seat) -> None:
        super().__init__()
        self.seat = seat

    def text(self, width: int) -> list[Line]:
        view = self.seat.view
        lines: list[Line] = [EMPTY, say("Everything you entered is on disk.", "title"), EMPTY]
        if view.now is not None and view.now.in_progress:
            words = f"{view.now.number} {view.now.title} stays in hand; what is half typed is kept too."
            lines.extend(say(part) for part in wrap(words, width))
        lines.extend(
            hang("Open windows go on running: ", "; ".join(c.title for c in view.clocks), width, "weak")
            if view.clocks
            else []
        )
        lines.extend(
            [EMPTY, say("To come back:", "label"), *(say(part) for part in wrap(back_words(self.seat), width))]
        )
        return lines

    def action_leave(self) -> None:
        self.bench.leave(0, *left_words(self.seat))


def back_words(seat: Seat) -> str:
    return f"benchflow run {seat.log}"


def left_words(seat: Seat) -> tuple[str, ...]:
    """What is said on the terminal when the bench is gone."""
    view = seat.view
    where = f"{view.title}, {view.unit}: {view.done} of {view.of} done, {view.saved} events saved."
    return (where, f"Log: {seat.log}", *(() if view.closed else (f"To go on: {back_words(seat)}",)))


class EndPage(FormPage, inherit_bindings=False):
    """Ends the session. With work left open it takes a reason; some things may not be left at all."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("end the session")
    title_line = "End the session"
    form = "end"

    def questions(self) -> Sequence[Ask]:
        assert self.seat is not None  # opened from the bench
        if self.seat.view.finished:
            return ()
        return (Ask("unfinished", "Not everything is done. Why does it end here all the same?"),)

    def intro(self, width: int) -> list[Line]:
        assert self.seat is not None  # opened from the bench
        view = self.seat.view
        lines: list[Line] = [EMPTY, say(f"{view.done} of {view.of} operations are done.", "title"), EMPTY]
        left = close_reasons(self.seat.state, unfinished=True)
        for reason in left:
            lines.extend(hang("× ", reason.message, width, "blocked"))
        lines.extend(follow_up_lines(self.seat.desk.procedure.follow_up, self.seat.now, width))
        words = "A session that is ended takes no more entries; its log stays, whole and readable."
        return [*lines, EMPTY, *(say(part, "faint") for part in wrap(words, width))]

    async def agreed(self, values: dict[str, str]) -> None:
        fields = {"unfinished": values["unfinished"]} if values.get("unfinished") else {}
        if await self.send("The session is ended.", "close", **fields):
            self.bench.ended()


class EndedPage(TextPage[None], inherit_bindings=False):
    """The end sheet: what was done, what is still to do and when, where the log is."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "leave", "leave", id="ended.leave"),
        *TextPage.BINDINGS,
        *leaving_keys("back to the bench"),
    ]
    title_line = "The session is ended"

    def __init__(self, seat: Seat) -> None:
        super().__init__()
        self.seat = seat

    def text(self, width: int) -> list[Line]:
        view, state = self.seat.view, self.seat.state
        lines: list[Line] = [EMPTY, *(say(part, "title") for part in wrap(f"{view.title}, {view.unit}", width)), EMPTY]
        lines.append(say(f"{view.done} of {view.of} operations done, {view.saved} events on disk."))
        deviations = [
            f"{now.title}, {waived_words(now, about)}: {each.reason} ({each.by})"
            for name, work in state.works.items()
            if work.deviations
            for now in (self.seat.operation(name),)
            for about, each in work.deviations.items()
        ]
        if deviations:
            lines.extend([EMPTY, rule(width, "DEVIATIONS")])
            lines.extend(line for each in deviations for line in hang("· ", each, width))
        lines.extend(follow_up_lines(self.seat.desk.procedure.follow_up, parse(state.closed).astimezone(), width))
        lines.extend([EMPTY, rule(width, "THE LOG")])
        lines.extend(say(part) for part in wrap(str(self.seat.log), width))
        lines.append(say(f"Fingerprint {self.seat.desk.journal.head[:16]}", "faint"))
        return lines

    def action_leave(self) -> None:
        self.bench.leave(0, *left_words(self.seat))


def follow_up_lines(items: Sequence[FollowUp], from_: datetime, width: int) -> list[Line]:
    """What is still to do after the build, each with its day where it has one."""
    if not items:
        return []
    out: list[Line] = [EMPTY, rule(width, "STILL TO DO AFTER THE BUILD")]
    for item in items:
        day = f"{from_ + timedelta(seconds=seconds(item.due)):%Y-%m-%d}" if item.due is not None else "no date   "
        other = f", or {item.or_}" if item.or_ else ""
        out.extend(hang(f"{day}  ", item.title + other, width, "text", "strong"))
    return out


class FolderPage(FormPage, inherit_bindings=False):
    """The disk does not take the log any more: go on in another folder, with everything known copied there."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("go on there")
    title_line = "Another folder for the log"
    form = "folder"

    def questions(self) -> Sequence[Ask]:
        return (Ask("folder", "Folder to go on in", keep=False),)

    def intro(self, width: int) -> list[Line]:
        assert self.seat is not None  # opened from the bench
        words = (
            "Everything in the log so far is copied there and checked, and the session goes on in the copy. "
            "What you had typed is still in its field."
        )
        return [EMPTY, say(f"Now in {self.seat.log.parent}", "strong"), EMPTY, *(say(p) for p in wrap(words, width))]

    async def agreed(self, values: dict[str, str]) -> None:
        assert self.seat is not None  # opened from the bench
        if not values["folder"]:
            self.say("Type a folder, such as the one of a stick.", role="weak")
            return
        wrong = await self.seat.move_to(Path(values["folder"]).expanduser())
        if wrong:
            self.say(wrong, role="alarm")
            self.app.bell()
        else:
            self.done(f"The log goes on in {self.seat.log}. Enter again what was refused.")
