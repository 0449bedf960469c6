"""The pictures of a job: those that have arrived, a file of another folder, and those that are attached."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, ClassVar

from msgspec import Struct
from textual.binding import Binding, BindingType

from benchflow.base.plaintext import shown_path
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.history.picture_text import picture_size, picture_subject
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.pictures.incoming_folder import IncomingPicture, RefusedFile
from benchflow.session.state.events import PictureAttached
from benchflow.tui.app.navigation import PictureSubject
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys
from benchflow.tui.widgets.page import letter


class _AttachedRow(Struct, frozen=True):
    """A picture of the job, and the number of its event."""

    seq: int
    picture: PictureAttached


class _ElsewhereRow(Struct, frozen=True):
    """A new picture that only another job has."""

    new: IncomingPicture
    job: str


_Row = IncomingPicture | _ElsewhereRow | RefusedFile | _AttachedRow | None
"""A new picture, one of another job, a file that cannot be attached, an attached one, or ``None`` for a file of another
folder."""


class PicturesPage(ListPage[str], inherit_bindings=False):
    """The list of the pictures: the new ones first, then a file of another folder, then what is not offered, then the
    pictures of the job."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("attach, withdraw"),
        Binding(letter("x"), "skip", "do not offer", id="pictures.skip"),
        *leaving_keys(),
    ]
    title_line = "Pictures"

    def __init__(
        self,
        client: SessionClient,
        subjects: tuple[PictureSubject, ...],
        finished: dict[str, PictureSubject] | None = None,
    ) -> None:
        super().__init__()
        self.client, self.subjects, self.finished = client, subjects, finished or {}
        self.titles = LogTitles(client.state.plan)
        self._load()

    def _load(self) -> None:
        attached = (_AttachedRow(seq, picture) for seq, picture in sorted(self.client.state.pictures.items()))
        elsewhere = (_ElsewhereRow(new, job) for new, job in self.client.elsewhere)
        refused = () if self.client.incoming is None else self.client.incoming.refused
        self.rows: list[_Row] = [*self.client.offered, None, *elsewhere, *refused, *attached]
        self.at = min(self.at, len(self.rows) - 1)

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        watch = self.client.incoming
        text = ""
        if watch is not None and watch.exists:
            text = f"New pictures come from {shown_path(watch.folder)}. They are copied; the originals stay there."
        elif watch is not None:
            text = watch.missing
        return [EMPTY, *(styled(part, "faint") for part in wrap(text, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        match self.rows[index]:
            case None:
                return (("A file of another folder …", "text"),)
            case IncomingPicture() as new:
                return (("new  ", "attention"), (cut(new.facts.name, width - 5), "strong"))
            case _ElsewhereRow(new=new, job=job):
                text = f"{new.facts.name}, attached to {job} already"
                return (("     ", "label"), (cut(text, width - 5), "faint"))
            case RefusedFile(name=name, unfinished=unfinished):
                why = "not complete yet, or damaged" if unfinished else "cannot be attached"
                return (("     ", "label"), (cut(f"{name}, {why}", width - 5), "faint"))
            case _AttachedRow(seq=seq, picture=picture):
                caption = f": {picture.text}" if picture.text else ""
                text = f"{picture_subject(picture.operation, picture.target, self.titles)}{caption}"
                return ((f"{seq:>4} ", "label"), (cut(text, width - 5), "text"))

    def details(self, width: int) -> list[Line]:
        match self.rows[self.at]:
            case None:
                return [styled("Enter asks for the path of the file.", "label")]
            case IncomingPicture() as new:
                arrived = local_time_of(_utc(new.arrived))
                text = f"{picture_size(new.facts)}, arrived at {arrived:%H:%M}"
                finished = self.finished.get(new.facts.sha256)
                made = [] if finished is None else [f"made during {finished.title}"]
                return [styled(cut(part, width), "label") for part in (text, *made)]
            case _ElsewhereRow(new=new, job=job):
                text = f"{picture_size(new.facts)}. Enter attaches it to this job too; {job} keeps it."
            case RefusedFile(why=why):
                return [styled(part, "label") for part in wrap(why, width)]
            case _AttachedRow(picture=picture):
                text = f"{picture.name}, {picture_size(picture.facts)}"
        return [styled(cut(text, width), "label")]

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "skip":
            return isinstance(self.rows[self.at], IncomingPicture) or None
        return super().check_action(action, parameters)

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        return ("Only a new picture can be left out. To remove one from the job, press Enter and withdraw it.",)

    def action_skip(self) -> None:
        """Do not offer the selected picture again while the program runs."""
        new, watch = self.rows[self.at], self.client.incoming
        assert isinstance(new, IncomingPicture)
        assert watch is not None  # it has found the picture
        watch.skipped.add(new.facts.sha256)
        self.client.offer(self.client.arrived)
        self._load()
        self.show_message(f"{new.facts.name} is not offered again while the program runs. The file stays.")

    def open_selected(self) -> None:
        chosen = self.rows[self.at]
        if isinstance(chosen, _AttachedRow):
            picture = chosen.picture
            title = picture_subject(picture.operation, picture.target, self.titles)
            self.app.push_screen(WithdrawPicturePage(self.client, chosen.seq, title, picture.name), self._done)
        elif isinstance(chosen, RefusedFile):
            self.show_message(chosen.why)
        else:
            chosen = chosen.new if isinstance(chosen, _ElsewhereRow) else chosen
            finished = None if chosen is None else self.finished.get(chosen.facts.sha256)
            subjects = self.subjects if finished is None else (finished, *self.subjects)
            self.app.push_screen(AttachPage(self.client, chosen, subjects), self._done)

    def _done(self, message: str | None) -> None:
        if message:
            self.dismiss(message)


def _utc(seconds: float) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(seconds, UTC).isoformat()


class AttachPage(FormPage, inherit_bindings=False):
    """The form that attaches a picture: its file, what it is a picture of, and a caption."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("attach")
    title_line = "Attach a picture"
    form = "attach"

    def __init__(
        self, client: SessionClient, picture: IncomingPicture | None, subjects: tuple[PictureSubject, ...]
    ) -> None:
        self.picture, self.subjects = picture, subjects
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        choices = tuple((str(number), subject.title) for number, subject in enumerate(self.subjects))
        file = () if self.picture is not None else (FormField("file", "File", keep=False),)
        return (
            *file,
            FormField("subject", "A picture of", choices, "0", keep=False, offered=True),
            FormField("text", "Caption", keep=False, optional=True),
        )

    def intro(self, width: int) -> list[Line]:
        if self.picture is None:
            return [EMPTY]
        facts = self.picture.facts
        return [
            EMPTY,
            styled(cut(facts.name, width), "title"),
            styled(cut(picture_size(facts), width), "label"),
            EMPTY,
        ]

    async def submit(self, values: dict[str, str]) -> None:
        file = str(Path(values["file"]).expanduser()) if self.picture is None else str(self.picture.path)
        subject = self.subjects[int(values["subject"])]
        fields: dict[str, Any] = dict(subject.fields)
        name = self.picture.facts.name if self.picture is not None else shown_path(Path(file).name)
        await self.send(
            f"{name} is attached to {subject.title}.", "attach", file=file, text=values.get("text", ""), **fields
        )


class WithdrawPicturePage(FormPage, inherit_bindings=False):
    """The form that withdraws a wrong picture. Its file and its entry are kept."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("withdraw")
    title_line = "Withdraw a picture"
    form = "withdraw-picture"

    def __init__(self, client: SessionClient, event: int, title: str, name: str) -> None:
        self.event, self.title_of_subject, self.name_of_file = event, title, name
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        return (FormField("reason", "Why is it withdrawn?", keep=False),)

    def intro(self, width: int) -> list[Line]:
        text = f"{self.name_of_file}, a picture of {self.title_of_subject} (log line {self.event})"
        kept = "It is no longer shown as evidence. Its entry stays in the log, and its file beside it."
        return [
            EMPTY,
            *(styled(part, "title") for part in wrap(text, width)),
            *(styled(part, "faint") for part in wrap(kept, width)),
            EMPTY,
        ]

    async def submit(self, values: dict[str, str]) -> None:
        await self.send(
            f"Picture of log line {self.event} withdrawn.", "withdraw", event=self.event, reason=values["reason"]
        )
