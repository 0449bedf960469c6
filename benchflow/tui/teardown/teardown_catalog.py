"""The teardowns of this machine: lists the open ones, opens one, begins one."""

from contextlib import suppress
from datetime import date
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.session.catalog import SessionSummary, list_sessions, new_log_path
from benchflow.session.head_memory import HeadMemory
from benchflow.session.machine_folders import MachineFolders, make_folder
from benchflow.session.refusal import Refusal
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
        """The teardowns that are not closed, the latest first. A damaged one that another log continues is left out."""
        found = self._all()
        continued = {each.continues for each in found if each.continues}
        return [
            each for each in found
            if each.events
            and (each.status in ("open", "held") or (each.status == "damaged" and not _is_one_of(each.path, continued)))
        ]  # fmt: skip

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

    def start(self, what: str, unit: str, by: str) -> TeardownController:
        """The controller of a new log in which the teardown is started.

        Raises:
            BenchflowError: the folder or the log cannot be written, or the teardown cannot be started.
        """
        controller = self.begin(what, unit)
        answer = controller.send({"intent": "open", "what": what, "unit": unit, "by": by})
        if isinstance(answer, Refusal):
            controller.close()
            controller.journal.path.unlink(missing_ok=True)
            raise BenchflowError(" ".join(reason.message for reason in answer.refused))
        return controller

    def continue_from(self, old: Path, by: str) -> TeardownController:
        """The controller of a log that continues a damaged one with its whole lines: a new log, or the one that does.

        Raises:
            BenchflowError: the old log is not damaged or no teardown, or the new one cannot be made.
        """
        from benchflow.session.teardown.continued_teardown import digest_of_log
        from benchflow.session.teardown.fold_teardown import load_teardown

        digest = digest_of_log(old)
        for each in self._all():
            if each.continues == digest and each.status in ("open", "held"):
                return self.open(each.path)
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


def _is_one_of(path: Path, digests: set[str]) -> bool:
    """True if the SHA-256 of the file is one of ``digests``."""
    from benchflow.session.teardown.continued_teardown import digest_of_log

    with suppress(BenchflowError):
        return bool(digests) and digest_of_log(path) in digests
    return False
