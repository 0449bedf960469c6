"""The jobs of a revision, and the log lines that a proposal comes from."""

from functools import cached_property

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.procedure.identity import StepId
from benchflow.procedure.model import Operation, ProcedureChange
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.log.line_format import Line


class LogEvidence(Struct, frozen=True):
    """One line of a log, with what it shows in words. ``session`` is the hash of the first line of the log."""

    unit: str
    session: str
    log: str
    line: int
    at: str
    by: str
    words: str

    @property
    def reference(self) -> str:
        """How `changes` names the line: ``job 2417, line 43 (log 3f9a1c2b5d6e)``."""
        return f"{job_name(self.unit)}, line {self.line} (log {self.session[:12]})"


MOST_CHARACTERS = 400
"""The longest quotation of a person in a proposal, in characters. The log has the full text."""


def shortened(words: str, most: int = MOST_CHARACTERS) -> str:
    """The words, cut off with an ellipsis if they are long."""
    return words if len(words) <= most else f"{words[: most - 1]}…"


def job_name(unit: str) -> str:
    """A job by its number: ``job 2417``."""
    return unit if unit.casefold().startswith("job ") else f"job {unit or '(no number)'}"


class DoneJob(Struct, frozen=True, dict=True):
    """A job by the procedure, with its log."""

    log: LoadedLog

    @property
    def unit(self) -> str:
        return shortened(clean_line(self.log.facts.session.unit), 60)

    @property
    def revision(self) -> str:
        return self.log.procedure.revision

    @cached_property
    def changes(self) -> frozenset[tuple[str, str, str]]:
        """The changes that the procedure of the job had already."""
        return frozenset(map(change_key, self.log.procedure.changes))

    def evidence(self, line: int, words: str) -> LogEvidence:
        """The line with this number, from 1, as evidence."""
        found = self.log.lines[line - 1]
        session = self.log.facts.session.session
        by = shortened(clean_line(found.by), 60)
        return LogEvidence(self.unit, session, self.log.path, line, found.at, by, shortened(words))

    def operation(self, step: str) -> Operation | None:
        """The operation of a step in the plan of the job; ``None`` if it has none."""
        found = self.log.plan.steps.get(step)
        return None if found is None else found.operation

    def lines_of(self, *kinds: str) -> list[Line]:
        """The lines of these kinds."""
        return [line for line in self.log.lines if line.kind in kinds]


def change_key(change: ProcedureChange) -> tuple[str, str, str]:
    """Identifies a change in every copy of the procedure."""
    return change.revision, change.date, change.what


def operation_of(step: str) -> str:
    """The id of an operation in the file, without its place."""
    return StepId.parse(step).operation
