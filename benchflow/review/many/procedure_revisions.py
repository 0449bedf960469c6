"""Sorts sessions by the procedure and revision that they were built by, and leaves out simulated ones."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from benchflow.review.formatting import count
from benchflow.review.log.facts import SessionFact
from benchflow.review.many.session_question import SessionMatch


class ProcedureKey(NamedTuple):
    """One revision of one procedure."""

    procedure: str
    revision: str

    @property
    def words(self) -> str:
        """``head-install revision C``."""
        return f"{self.procedure} revision {self.revision}"


def procedure_key(session: SessionFact) -> ProcedureKey:
    """The procedure of a session. One that cannot be read is named by its file and the SHA-256 of its text."""
    if session.procedure_id:
        return ProcedureKey(session.procedure_id, session.revision)
    return ProcedureKey(session.file, session.procedure[:12])


def several_procedures(keys: Iterable[ProcedureKey]) -> tuple[str, ...]:
    """A note if there are several procedures or revisions."""
    names = sorted({key.words for key in keys})
    return (f"Kept apart, because procedure or revision differ: {', '.join(names)}.",) if len(names) > 1 else ()


def without_simulated(found: Sequence[SessionMatch]) -> tuple[list[SessionMatch], list[str]]:
    """The real sessions with a note, if there are some; otherwise all of them."""
    real = [one for one in found if not one.session.simulated]
    if real and len(real) < len(found):
        number = len(found) - len(real)
        return real, [f"{count(number, 'simulated job')} left out."]
    return list(found), ["All of these jobs are simulated."] if found and not real else []
