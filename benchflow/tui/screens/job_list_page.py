"""The first screen: open jobs to continue, and procedures for a new job."""

from pathlib import Path
from typing import ClassVar

from msgspec import Struct
from textual.binding import Binding, BindingType

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.procedure.compiled_cache import Loaded
from benchflow.session.catalog import SessionSummary
from benchflow.session.controller import SessionController
from benchflow.session.job_register import OtherRegister
from benchflow.session.log.timestamps import local_time_of
from benchflow.tui.draw.styled_lines import EMPTY, Line, counted, cut, hanging, styled, wrap
from benchflow.tui.model.job_catalog import JobCatalog, title_of
from benchflow.tui.screens.continue_page import ContinuePage
from benchflow.tui.screens.other_register_page import OtherRegisterPage
from benchflow.tui.screens.start_page import StartPage
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys
from benchflow.tui.widgets.page import letter

UNIT_WIDTH, TITLE_WIDTH = 28, 44
"""The greatest widths of the columns with the unit and with the title of the procedure."""


class JobsOfProcedure(Struct, frozen=True):
    """A procedure with its open jobs."""

    file: Path
    loaded: Loaded
    jobs: list[SessionSummary]


class JobListPage(ListPage[None], inherit_bindings=False):
    """The list of jobs and procedures. With ``only`` it asks: start a new job, or continue one of that procedure."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("open"),
        Binding(letter("c"), "continue_from", "continue in a new log", id="jobs.continue-from"),
        *leaving_keys("leave"),
    ]
    title_line = "benchflow"

    def __init__(
        self, catalog: JobCatalog, by: str | None, unit: str | None, only: JobsOfProcedure | None = None
    ) -> None:
        super().__init__()
        self.catalog, self.by, self.unit, self.only = catalog, by, unit, only
        jobs = catalog.open_jobs() if only is None else only.jobs
        procedures = catalog.procedures() if only is None else [only.file]
        self.titles = {path: title_of(path) for path in procedures}
        # With one procedure, a new job comes first: a stray Enter then opens no job of another unit.
        self.rows: list[SessionSummary | Path] = [*jobs, *procedures] if only is None else [*procedures, *jobs]

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        if not self.rows:
            text = "There is no open job and no procedure. Start with a file: benchflow run FILE."
            return [EMPTY, *hanging("", text, width)]
        if self.only is not None:
            title = [styled(part, "title") for part in wrap(self.titles[self.only.file], width)]
            return [EMPTY, *title, EMPTY, styled("Start a new job, or continue an open one:", "label"), EMPTY]
        jobs = any(isinstance(row, SessionSummary) for row in self.rows)
        text = "Continue a job, or start a new one:" if jobs else "Start a job:"
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
        row = self.rows[index]
        if isinstance(row, Path):
            title = "Start a new job" if self.only is not None else self.titles[row]
            tail = "" if self.only is not None else "  new job"
            return (("○ ", "ready"), (cut(title, width - 2 - len(tail)), "text"), (tail, "faint"))
        tail = f"  {local_time_of(row.last_at):%Y-%m-%d %H:%M}  {self._progress(row)}"
        available = max(width - 2 - len(tail), 8)
        unit = cut(clean_line(row.unit) or "no unit", min(available, UNIT_WIDTH))
        title = clean_line(row.procedure) if self.only is None else ""
        text = f"{unit} · {title}" if title else unit
        column = min(available, UNIT_WIDTH + (TITLE_WIDTH if title else 0))
        return (("◊ ", "paused"), (cut(text, column).ljust(column), "strong"), (tail, "faint"))

    def _progress(self, job: SessionSummary) -> str:
        """How far a job is, and why it cannot be continued here."""
        if job.status == "damaged":
            return "damaged"
        of = None if self.only is None else self.catalog.operation_count(self.only.loaded, job)
        done = f"{job.done} of {of} done" if of is not None else f"{job.done} done"
        return f"{done}, in use" if job.status == "held" else f"{done}, view only" if job.note else done

    def details(self, width: int) -> list[Line]:
        if not self.rows:
            return []
        row = self.rows[self.at]
        if isinstance(row, Path):
            return [*hanging("New job: ", self.titles[row], width, "text", "label"), styled(str(row), "faint")]
        last = f"{local_time_of(row.last_at):%Y-%m-%d %H:%M}"
        note = f"; {row.note}" if row.note else ""
        least = ""
        if row.status == "damaged":
            least = f"at least {row.done} done, the rest is not known; "
            note += ". Enter shows it; c begins a new log that takes over what was done"
        elif row.status == "held":
            note += ". Enter shows it, view only, until that window leaves"
        text = clean_line(f"{least}by {row.by}, {row.events} log lines, last entry {last}{note}")
        where = hanging("", shown_path(row.path), width, "faint")
        return [*hanging("Continue: ", text, width, "text", "label"), *where]

    def open_selected(self) -> None:
        row = self.rows[self.at]
        try:
            if isinstance(row, SessionSummary):
                loaded = None if self.only is None else self.only.loaded
                self.bench_app.open_bench(self.catalog.resume(row.path, procedure=loaded), self.by or "")
            else:
                loaded = self.only.loaded if self.only is not None else self.catalog.load(row)
                self.app.push_screen(StartPage(self.catalog, loaded, row.name, self.by, self.unit))
        except OtherRegister as error:
            assert isinstance(row, SessionSummary)  # a new job has no register yet
            self.app.push_screen(OtherRegisterPage(self.catalog, row.path, self.by or "", error))
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
            self.app.bell()

    @property
    def _damaged(self) -> SessionSummary | None:
        """The selected job if its log is damaged."""
        row = self.rows[self.at] if self.rows else None
        return row if isinstance(row, SessionSummary) and row.status == "damaged" else None

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
