"""The teardowns of this machine: lists the open ones, opens one, begins one."""

from datetime import date
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.session.catalog import SessionSummary, list_sessions, new_log_path
from benchflow.session.head_memory import HeadMemory
from benchflow.session.machine_folders import MachineFolders, make_folder
from benchflow.session.teardown.teardown_controller import TeardownController


class TeardownCatalog:
    """The teardowns in the folder of the logs."""

    def __init__(self, places: MachineFolders, folder: Path | None) -> None:
        self.places = places
        self.folder = folder or places.sessions

    def _all(self) -> list[SessionSummary]:
        try:
            return [each for each in list_sessions(self.folder) if each.is_teardown]
        except BenchflowError:
            return []

    def open_teardowns(self) -> list[SessionSummary]:
        """The teardowns that are not closed, the latest first."""
        return [each for each in self._all() if each.status in ("open", "held", "damaged") and each.events]

    def last_person(self) -> str:
        """The person of the teardown that was worked on last, "" if there is none."""
        return next((clean_line(each.by) for each in self._all() if each.by and not each.simulated), "")

    def open(self, log: Path) -> TeardownController:
        """The controller of an existing teardown. It is view only if another window has it, or if it is simulated.

        Raises:
            BenchflowError: it is not a teardown log, or it cannot be read.
        """
        if not log.exists():
            raise BenchflowError(f"There is no log at {log}. List the teardowns with: benchflow teardown")
        controller = TeardownController.open(log, read_only=self._is_simulated(log))
        if controller.record is None:
            controller.close()
            raise BenchflowError(f"{log} has no event. No teardown was started in it.")
        controller.memory = HeadMemory(self.places.heads)
        return controller

    def begin(self, what: str, unit: str) -> TeardownController:
        """The controller of a new, empty log.

        Raises:
            BenchflowError: the folder or the log cannot be written.
        """
        path = new_log_path(make_folder(self.folder), f"teardown-{what}", unit, date.today())
        controller = TeardownController.open(path)
        controller.memory = HeadMemory(self.places.heads)
        return controller

    def continue_from(self, old: Path, by: str) -> TeardownController:
        """The controller of a new log that continues a damaged one with its whole lines.

        Raises:
            BenchflowError: the old log is not damaged or no teardown, or the new one cannot be made.
        """
        from benchflow.session.teardown.fold_teardown import load_teardown

        record = load_teardown(old)
        path = new_log_path(make_folder(self.folder), f"teardown-{record.what}", record.unit, date.today())
        controller = TeardownController.continue_from(old, path, by)
        controller.memory = HeadMemory(self.places.heads)
        return controller

    @staticmethod
    def _is_simulated(log: Path) -> bool:
        """True if the log is simulated: each intent then carries its time, which the screen cannot send."""
        from benchflow.session.catalog import summarize_log

        return summarize_log(log).simulated
