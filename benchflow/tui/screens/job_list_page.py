"""The first screen: open jobs to continue, and procedures for a new job."""

from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.session.catalog import SessionSummary
from benchflow.session.controller import SessionController
from benchflow.session.job_register import OtherRegister
from benchflow.session.log.timestamps import local_time_of
from benchflow.tui.draw.styled_lines import EMPTY, Line, counted, cut, hanging, styled
from benchflow.tui.model.job_catalog import JobCatalog, title_of
from benchflow.tui.screens.continue_page import ContinuePage
from benchflow.tui.screens.other_register_page import OtherRegisterPage
from benchflow.tui.screens.start_page import NoticePage
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys
from benchflow.tui.widgets.page import letter


class JobListPage(ListPage[None], inherit_bindings=False):
    """The list of jobs and procedures. ``only`` limits it to one procedure and its jobs."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("open"),
        Binding(letter("c"), "continue_from", "continue in a new log", id="jobs.continue-from"),
        *leaving_keys("leave"),
    ]
    title_line = "benchflow"

    def __init__(
        self, catalog: JobCatalog, by: str | None, unit: str | None, only: tuple[list[SessionSummary], Path] | None
    ) -> None:
        super().__init__()
        self.catalog, self.by, self.unit = catalog, by, unit
        self.sessions = catalog.open_jobs() if only is None else only[0]
        self.procedures = catalog.procedures() if only is None else [only[1]]
        self.titles = {path: title_of(path) for path in self.procedures}

    def count(self) -> int:
        return len(self.sessions) + len(self.procedures)

    def intro(self, width: int) -> list[Line]:
        if not self.count():
            text = "There is no open job and no procedure. Start with a file: benchflow run FILE."
            return [EMPTY, *hanging("", text, width)]
        text = "Continue a job, or start a new one:" if self.sessions else "Start a job:"
        return [EMPTY, *self._skipped(width), styled(text, "label"), EMPTY]

    def _skipped(self, width: int) -> list[Line]:
        """Name the files in the folder that cannot be read."""
        files = self.catalog.skipped
        if not files:
            return []
        names = ", ".join(shown_path(file.path.name) for file in files[:3]) + (", ..." if len(files) > 3 else "")
        text = f"{counted(len(files), 'file')} in the folder skipped: {names}. The reasons: benchflow sessions"
        return [*hanging("", text, width, "attention"), EMPTY]

    def row(self, index: int, width: int) -> Line:
        if index < len(self.sessions):
            each = self.sessions[index]
            text = clean_line(f"{each.unit} · {each.procedure}")
            tail = _progress(each)
            available = min(width - 14, 60)
            return (("◊ ", "paused"), (cut(text, available).ljust(available), "strong"), (tail, "faint"))
        path = self.procedures[index - len(self.sessions)]
        available = min(width - 14, 60)
        return (("○ ", "ready"), (cut(self.titles[path], available).ljust(available), "text"), ("new job", "faint"))

    def details(self, width: int) -> list[Line]:
        if not self.count():
            return []
        if self.at < len(self.sessions):
            each = self.sessions[self.at]
            last = f"{local_time_of(each.last_at):%Y-%m-%d %H:%M}"
            note = f"; {each.note}" if each.note else ""
            least = f"at least {each.done} done, the rest is not known; " if each.status == "damaged" else ""
            text = clean_line(f"{least}by {each.by}, {each.events} events, last entry {last}{note}")
            if each.status == "damaged":
                note += ". Enter shows it; c begins a new log that takes over what was done"
                text = clean_line(f"{least}by {each.by}, {each.events} events, last entry {last}{note}")
            where = hanging("", shown_path(each.path), width, "faint")
            return [*hanging("Continue: ", text, width, "text", "label"), *where]
        path = self.procedures[self.at - len(self.sessions)]
        return [*hanging("New job: ", self.titles[path], width, "text", "label"), styled(str(path), "faint")]

    def open_selected(self) -> None:
        try:
            if self.at < len(self.sessions):
                self.bench_app.open_bench(self.catalog.resume(self.sessions[self.at].path), self.by or "")
            else:
                path = self.procedures[self.at - len(self.sessions)]
                self.app.push_screen(NoticePage(self.catalog, self.catalog.load(path), path.name, self.by, self.unit))
        except OtherRegister as error:
            self.app.push_screen(OtherRegisterPage(self.catalog, self.sessions[self.at].path, self.by or "", error))
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
            self.app.bell()

    @property
    def _damaged(self) -> SessionSummary | None:
        """The selected job if its log is damaged."""
        job = self.sessions[self.at] if self.at < len(self.sessions) else None
        return job if job is not None and job.status == "damaged" else None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return self._damaged is not None if action == "continue_from" else True

    def action_continue_from(self) -> None:
        job = self._damaged
        assert job is not None  # otherwise the key is hidden
        try:
            found = self.catalog.continue_from(job.path, None)
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
            self.app.bell()
            return
        if isinstance(found, SessionController):
            self.bench_app.open_bench(found, self.by or "")
        else:
            self.app.push_screen(ContinuePage(self.catalog, found, self.by, self.unit))

    def action_back(self) -> None:
        self.bench_app.leave(0)


def _progress(job: SessionSummary) -> str:
    """How far a job is, or why it cannot be continued here."""
    if job.status == "held":
        return "in use"
    if job.status == "damaged":
        return "damaged"
    return "view only" if job.note else f"{job.done} done"
