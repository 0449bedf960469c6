"""What a session can be begun or gone on with: procedures, logs, and the desk that they make."""

import re
from datetime import date
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.procedure.compiled_cache import Loaded
from benchflow.session.catalog import Places, Session, library, make_folder, new_log_path, sessions
from benchflow.session.controller import Clock, Desk
from benchflow.session.procedure_loading import load_procedure, reader
from benchflow.session.shop.live_register import Register

TITLE_SEARCH = 4096
"""Characters of a file that are looked at for its title."""

OPEN_STATES = ("open", "held")


class JobCatalog:
    """``clock`` is handed in by tests. ``folder`` is where logs go, the platform's own unless it is given."""

    def __init__(self, where: Places, folder: Path | None, clock: Clock | None = None) -> None:
        self.where = where
        self.folder = folder or where.sessions
        self._clock = clock

    def register(self) -> Register:
        return Register(self.where.shop, self.where.compiled)

    def open_jobs(self) -> list[Session]:
        """Sessions that are not ended, last worked on first."""
        return [each for each in sessions(self.folder) if each.standing in OPEN_STATES]

    def procedures(self) -> list[Path]:
        return library()

    def load(self, path: Path) -> Loaded:
        """Raises :class:`~benchflow.base.errors.BenchflowError` with every mistake of a file that has some."""
        loaded = load_procedure(path)
        if loaded.procedure is None:
            told = "\n".join(str(problem) for problem in loaded.problems)
            raise BenchflowError(
                f"{told}\n{path.name} has mistakes, and no session is begun with it until they are mended."
            )
        return loaded

    def jobs_of(self, loaded: Loaded, unit: str | None) -> list[Session]:
        """Its open sessions: those that carry this very text, or a procedure of the same title."""
        title = loaded.procedure.title if loaded.procedure else ""
        mine = [each for each in self.open_jobs() if each.sha256 == loaded.sha256 or each.procedure == title]
        return mine if unit is None else [each for each in mine if each.unit == unit]

    def resume(self, log: Path) -> Desk:
        """Raises :class:`~benchflow.base.errors.BenchflowError` when there is nothing to go on with."""
        desk = Desk.resume(log, read=reader(), clock=self._clock, register=self.register())
        if desk.simulated and not desk.read_only:
            # Its time comes with each intent, which nobody at a bench can give: it may be looked at.
            desk.close()
            desk = Desk.resume(log, read=reader(), clock=self._clock, register=self.register(), read_only=True)
        return desk

    def begin(self, loaded: Loaded, file: str, unit: str, folder: Path) -> Desk:
        """A new log with nothing in it yet. Raises :class:`~benchflow.base.errors.BenchflowError`."""
        assert loaded.procedure is not None  # `load` has seen to it
        path = new_log_path(make_folder(folder), loaded.procedure.id, unit, date.today())
        return Desk.begin(path, loaded, file=file, read=reader(), clock=self._clock, register=self.register())


def title_of(path: Path) -> str:
    """A procedure's title at a glance, its file's name where that is not to be had."""
    try:
        with path.open(encoding="utf-8") as file:
            head = file.read(TITLE_SEARCH)
    except (OSError, UnicodeDecodeError):
        return path.stem
    found = re.search(r"^title:[ \t]*(\S.*?)[ \t]*$", head, re.MULTILINE)
    return clean_line(found[1].strip("\"'")) if found else path.stem


def close_unused(desk: Desk) -> None:
    """Give the log back; one in which nothing was begun is not left lying about."""
    empty = desk.state is None and not desk.journal.lines
    desk.close()
    if empty:
        desk.journal.path.unlink(missing_ok=True)
