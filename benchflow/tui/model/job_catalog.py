"""The jobs that can be continued, the procedures that a job can be started with, and the controller for one of them."""

import re
from datetime import date
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.procedure.compiled_cache import Loaded
from benchflow.session.catalog import Session, new_log_path, sessions
from benchflow.session.controller import Clock, SessionController
from benchflow.session.machine_folders import Places, library, make_folder
from benchflow.session.procedure_loading import load_procedure, reader
from benchflow.session.shop.live_register import Register

TITLE_SEARCH = 4096
"""Characters at the start of a file that are searched for its title."""

OPEN_STATES = ("open", "held")


class JobCatalog:
    """``folder`` is where logs are written (default: the platform's data folder); ``clock`` is passed in by tests."""

    def __init__(self, where: Places, folder: Path | None, clock: Clock | None = None) -> None:
        self.where = where
        self.folder = folder or where.sessions
        self._clock = clock

    def register(self) -> Register:
        return Register(self.where.shop, self.where.compiled)

    def open_jobs(self) -> list[Session]:
        """Jobs that are not ended, the latest first."""
        return [each for each in sessions(self.folder) if each.status in OPEN_STATES]

    def procedures(self) -> list[Path]:
        return library()

    def load(self, path: Path) -> Loaded:
        """Read a procedure.

        Raises:
            BenchflowError: the file has errors; the message lists all of them.
        """
        loaded = load_procedure(path)
        if loaded.procedure is None:
            problems = "\n".join(str(problem) for problem in loaded.problems)
            raise BenchflowError(f"{problems}\n{path.name} has errors. Correct them before you start a job with it.")
        return loaded

    def open_jobs_of(self, loaded: Loaded, unit: str | None) -> list[Session]:
        """Open jobs of a procedure: those with the same text, or with a procedure of the same title."""
        title = loaded.procedure.title if loaded.procedure else ""
        mine = [each for each in self.open_jobs() if each.sha256 == loaded.sha256 or each.procedure == title]
        return mine if unit is None else [each for each in mine if each.unit == unit]

    def resume(self, log: Path) -> SessionController:
        """The controller of a log that is continued.

        Raises:
            BenchflowError: the log cannot be read or holds no job.
        """
        controller = SessionController.resume(log, read=reader(), clock=self._clock, register=self.register())
        if controller.simulated and not controller.read_only:
            # In a simulated job each intent brings its time, which the bench cannot do: view only.
            controller.close()
            controller = SessionController.resume(
                log, read=reader(), clock=self._clock, register=self.register(), read_only=True
            )
        return controller

    def begin(self, loaded: Loaded, file: str, unit: str, folder: Path) -> SessionController:
        """The controller of a new, empty log.

        Raises:
            BenchflowError: the folder or the log cannot be written.
        """
        assert loaded.procedure is not None  # checked by `load`
        path = new_log_path(make_folder(folder), loaded.procedure.id, unit, date.today())
        return SessionController.begin(
            path, loaded, file=file, read=reader(), clock=self._clock, register=self.register()
        )


def title_of(path: Path) -> str:
    """A procedure's title, read without parsing the file; the file's name if no title is found."""
    try:
        with path.open(encoding="utf-8") as file:
            head = file.read(TITLE_SEARCH)
    except (OSError, UnicodeDecodeError):
        return path.stem
    found = re.search(r"^title:[ \t]*(\S.*?)[ \t]*$", head, re.MULTILINE)
    return clean_line(found[1].strip("\"'")) if found else path.stem


def close_unused(controller: SessionController) -> None:
    """Close a controller and delete its log if no job was started in it."""
    empty = controller.state is None and not controller.journal.lines
    controller.close()
    if empty:
        controller.journal.path.unlink(missing_ok=True)
