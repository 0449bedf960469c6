"""The jobs that can be continued and the procedures that can be started, each with its session controller."""

import re
from datetime import date
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, folded
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.expand import expand
from benchflow.session.catalog import SessionSummary, list_sessions, new_log_path
from benchflow.session.continuation import LogToContinue, earlier_jobs_in, log_to_continue
from benchflow.session.controller import SessionController
from benchflow.session.head_memory import HeadMemory
from benchflow.session.machine_clock import Clock
from benchflow.session.machine_folders import MachineFolders, make_folder, shipped_procedures
from benchflow.session.present_revision import revision_notes_by_name
from benchflow.session.procedure_loading import load_procedure, procedure_reader
from benchflow.session.shop.live_register import Register
from benchflow.session.state.continued_job import ContinuedLog

TITLE_SEARCH = 4096
"""Number of characters at the start of a file in which its title is searched."""

OPEN_STATES = ("open", "held", "damaged")


class JobCatalog:
    """The jobs and procedures of this computer.

    ``folder`` is the folder of the logs (default: the platform's data folder). Tests pass in a ``clock``.
    ``other_register`` is the reason for continuing a job with another register than before.
    """

    def __init__(
        self, places: MachineFolders, folder: Path | None, clock: Clock | None = None, other_register: str = ""
    ) -> None:
        self.places = places
        self.folder = folder or places.sessions
        self._clock, self._other_register = clock, other_register
        self._listed: list[SessionSummary] | None = None  # for `_real_jobs`
        self.skipped: list[SessionSummary] = []  # the files that the last list of jobs left out

    def register(self) -> Register:
        """Return the shop register; its file may be missing."""
        return Register(self.places.shop, self.places.compiled)

    def open_jobs(self) -> list[SessionSummary]:
        """Return the jobs that have not ended, the latest first; also damaged logs of which the start can be read."""
        jobs = list_sessions(self.folder)
        self.skipped = [job for job in jobs if job.status == "skipped"]
        return [job for job in jobs if job.status in OPEN_STATES and job.events and not job.is_teardown]

    def procedures(self) -> list[Path]:
        """Return the files of the procedures that come with benchflow."""
        return shipped_procedures()

    def load(self, path: Path) -> Loaded:
        """Read a procedure.

        Raises:
            BenchflowError: the file has errors. The message lists all of them.
        """
        loaded = load_procedure(path)
        if loaded.procedure is None:
            problems = "\n".join(str(problem) for problem in loaded.problems)
            raise BenchflowError(f"{problems}\n{path.name} has errors. Correct them before you start a job with it.")
        return loaded

    def open_jobs_of(self, loaded: Loaded, unit: str | None) -> list[SessionSummary]:
        """Return the open jobs of a procedure and of its other revisions. If ``unit`` is given, only its jobs."""
        title = loaded.procedure.title if loaded.procedure else ""
        jobs = [job for job in self.open_jobs() if job.sha256 == loaded.sha256 or job.procedure == title]
        return jobs if unit is None else [job for job in jobs if job.unit == unit]

    def operation_count(self, loaded: Loaded, job: SessionSummary) -> int | None:
        """Return the number of operations of a job; ``None`` if it was started with another text of the procedure."""
        if loaded.procedure is None or job.sha256 != loaded.sha256:
            return None
        return len(expand(loaded.procedure, job.options).steps)

    def resume(self, log: Path, other_register: str = "", procedure: Loaded | None = None) -> SessionController:
        """Open a log to continue its job, and return its controller. ``other_register`` replaces the common reason.

        If the present ``procedure`` file is given, the controller notes which of its blocks were changed. It notes
        another revision also of a file of that name in the current folder, or of a shipped one.

        Raises:
            OtherRegister: the job has another register, and no reason is given.
            BenchflowError: the log cannot be read, or contains no job.
        """
        controller = SessionController.resume(
            log,
            read=procedure_reader(),
            clock=self._clock,
            register=self.register(),
            other_register=other_register or self._other_register,
        )
        if controller.simulated and not controller.read_only:
            # In a simulated job each intent carries its time. The bench cannot send that, so the job is view only.
            controller.close()
            controller = self.watch(log)
        controller.memory = HeadMemory(self.places.heads)
        if procedure is not None:
            controller.compare_blocks(procedure)
        if controller.state is not None and not controller.block_notes:
            opened, folders = controller.state.opened, dict.fromkeys(path.parent for path in shipped_procedures())
            of_job = controller.state.plan.procedure
            controller.block_notes = revision_notes_by_name(of_job, opened.file, (Path.cwd(), *folders))
        return controller

    def watch(self, log: Path) -> SessionController:
        """Open a log to look at its job while another window works on it. It is neither locked nor written.

        Raises:
            BenchflowError: the log cannot be read, or contains no job.
        """
        return SessionController.resume(
            log, read=procedure_reader(), clock=self._clock, register=self.register(), read_only=True
        )

    def begin(self, loaded: Loaded, file: str, unit: str, folder: Path) -> SessionController:
        """Return the controller of a new, empty log.

        Raises:
            BenchflowError: the folder or the log cannot be written.
        """
        assert loaded.procedure is not None  # checked by `load`
        path = new_log_path(make_folder(folder), loaded.procedure.id, unit, date.today())
        return self._new_controller(path, loaded, file, None)

    def _new_controller(
        self, path: Path, loaded: Loaded, file: str, continues: ContinuedLog | None
    ) -> SessionController:
        read = procedure_reader()
        controller = SessionController.begin(
            path, loaded, file=file, read=read, clock=self._clock, register=self.register(), continues=continues,
            earlier_jobs=earlier_jobs_in(path.parent, read, simulated=False),
        )  # fmt: skip
        controller.memory = HeadMemory(self.places.heads)
        return controller

    def continue_from(self, log: Path, procedure: tuple[Loaded, str] | None) -> LogToContinue | SessionController:
        """Return what a new job takes from ``log``; if such a job is open already, its controller.

        Raises:
            OtherRegister: the open job has another register, and no reason is given.
            BenchflowError: the log cannot be continued in a new one.
        """
        old = log_to_continue(log, procedure, procedure_reader())
        if old.simulated:
            raise BenchflowError(f"{log} is a log of a simulated session. Continue it with: benchflow drive")
        for job in self.open_jobs():
            if job.continues == old.continues.sha256 and job.status in ("open", "held"):
                return self.resume(job.path)
        if old.source.procedure is None:
            problems = "\n".join(str(problem) for problem in old.source.problems)
            raise BenchflowError(f"{problems}\nThe procedure has errors.")
        return old

    def begin_continued(self, old: LogToContinue, unit: str, folder: Path) -> SessionController:
        """Return the controller of a new, empty log that continues ``old``.

        Raises:
            BenchflowError: the folder or the log cannot be written.
        """
        assert old.source.procedure is not None  # checked by `continue_from`
        path = new_log_path(make_folder(folder), old.source.procedure.id, unit, date.today())
        return self._new_controller(path, old.source, old.procedure_file, old.continues)

    def earlier_logs_of(self, unit: str) -> list[SessionSummary]:
        """Return the logs of a unit."""
        wanted = folded(unit.strip())
        return [job for job in self._real_jobs() if wanted and folded(job.unit) == wanted]

    def last_builder(self) -> str:
        """Return the builder of the job that was worked on last, empty if there is none."""
        return next((clean_line(job.by) for job in self._real_jobs() if job.by), "")

    def _real_jobs(self) -> list[SessionSummary]:
        """Return the jobs that are not simulated, the latest first. The folder is read once."""
        if self._listed is None:
            try:
                self._listed = [job for job in list_sessions(self.folder) if not job.simulated and not job.is_teardown]
            except BenchflowError:
                self._listed = []
        return self._listed


def title_of(path: Path) -> str:
    """Return the title of a procedure without parsing the file, or the name of the file if no title is found."""
    try:
        head = read_regular_file(path, TITLE_SEARCH).decode("utf-8", "ignore")
    except OSError:
        return path.stem
    found = re.search(r"^title:[ \t]*(\S.*?)[ \t]*$", head, re.MULTILINE)
    return clean_line(found[1].strip("\"'")) if found else path.stem


def close_unused(controller: SessionController) -> None:
    """Close a controller and delete its log if no job was started in it."""
    empty = controller.state is None and not controller.journal.lines
    controller.close()
    if empty:
        controller.journal.path.unlink(missing_ok=True)
