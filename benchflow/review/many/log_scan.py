"""Answers questions directly from log files: all are read and verified each time, and nothing is stored."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from benchflow.review.log.interpretation import plans_or_empty
from benchflow.review.log.log_file import Unusable, verified_facts
from benchflow.review.many.session_question import LeftOut, Question, SessionMatch, from_facts, in_order, narrow
from benchflow.session.procedure_loading import procedure_reader_with_cache


class LogFiles:
    """A :class:`benchflow.review.many.session_question.SessionSource` over log files.

    Of several copies of one session the longest is used; of equally long ones, the one whose last hash sorts first.
    The archive has the same rule.
    """

    def __init__(self, paths: Iterable[Path], bench: str = "", compiled: Path | None = None) -> None:
        """``compiled`` is the folder with the compiled forms of procedures."""
        self._plan_of = plans_or_empty(procedure_reader_with_cache(compiled))
        self._found: dict[str, SessionMatch] = {}
        self._left_out: list[LeftOut] = []
        for path in paths:
            self._read(path, bench)

    def _read(self, path: Path, bench: str) -> None:
        try:
            data = path.read_bytes()
        except OSError as wrong:
            self._left_out.append(LeftOut(bench, str(path), f"cannot be read: {wrong.strerror}"))
            return
        got = verified_facts(data, self._plan_of)
        if isinstance(got, Unusable):
            self._left_out.append(LeftOut(bench, str(path), got.why))
            return
        new = from_facts(got, bench, str(path))
        old = self._found.get(got.session.session)
        if old is None or better(new, old):
            self._found[got.session.session] = new

    def ask(self, question: Question) -> Sequence[SessionMatch]:
        narrowed = (narrow(found, question) for found in self._found.values())
        return in_order([found for found in narrowed if found.anything])

    def sessions(self) -> Sequence[SessionMatch]:
        return in_order([SessionMatch(one.session, one.bench, one.path) for one in self._found.values()])

    def count(self) -> int:
        return len(self._found)

    def left_out(self) -> Sequence[LeftOut]:
        return sorted(self._left_out, key=lambda one: (one.bench, one.path))


def better(new: SessionMatch, old: SessionMatch) -> bool:
    """True if ``new`` is to be used instead of ``old``, another copy of the same session."""
    return (-new.session.events, new.session.head) < (-old.session.events, old.session.head)
