"""Answers questions directly from log files. All files are read and verified each time; nothing is stored."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from benchflow.base.plaintext import shown_path
from benchflow.review.log.interpretation import plans_or_empty
from benchflow.review.log.log_file import Unusable, facts_of_file, read_log_file
from benchflow.review.log.teardown_log import LoggedTeardown, teardown_in
from benchflow.review.many.names_in_facts import names_in_match
from benchflow.review.many.session_question import (
    FoundTeardown,
    InstrumentName,
    LeftOut,
    Question,
    SessionMatch,
    SubjectKind,
    from_facts,
    in_order,
    narrow,
)
from benchflow.session.procedure_loading import procedure_reader_with_cache


class LogFiles:
    """Log files as a :class:`~benchflow.review.many.session_question.SessionSource`.

    If there are several copies of one session, the longest is used; if these are equally long, the one whose last hash
    sorts first. The archive has the same rule.
    """

    def __init__(self, paths: Iterable[Path], bench: str = "", compiled: Path | None = None) -> None:
        """Read the logs at ``paths``. ``compiled`` is the folder with the compiled forms of procedures."""
        self._plan_of = plans_or_empty(procedure_reader_with_cache(compiled))
        self._found: dict[str, SessionMatch] = {}
        self._files: dict[str, Path] = {}
        self._teardowns: dict[str, FoundTeardown] = {}
        self._left_out: list[LeftOut] = []
        for path in paths:
            self._read_log(path, bench)

    def _read_log(self, path: Path, bench: str) -> None:
        data = read_log_file(path)
        teardown = None if isinstance(data, Unusable) else teardown_in(path, data)
        if isinstance(teardown, LoggedTeardown):
            self._add_teardown(FoundTeardown(teardown.session, bench, shown_path(path), teardown.record))
            return
        data = data if teardown is None else teardown
        facts = data if isinstance(data, Unusable) else facts_of_file(path, data, self._plan_of)
        if isinstance(facts, Unusable):
            self._left_out.append(LeftOut(bench, shown_path(path), facts.why))
            return
        new = from_facts(facts, bench, shown_path(path))
        old = self._found.get(facts.session.session)
        if old is None or new.session.is_better_copy_than(old.session):
            self._found[facts.session.session] = new
            self._files[facts.session.session] = path

    def _add_teardown(self, new: FoundTeardown) -> None:
        old = self._teardowns.get(new.session.session)
        if old is None or new.session.is_better_copy_than(old.session):
            self._teardowns[new.session.session] = new

    def ask(self, question: Question) -> Sequence[SessionMatch]:
        narrowed = (narrow(found, question) for found in self._found.values())
        return in_order([found for found in narrowed if found.has_facts])

    def sessions(self) -> Sequence[SessionMatch]:
        return in_order([SessionMatch(one.session, one.bench, one.path) for one in self._found.values()])

    def count(self) -> int:
        return len(self._found)

    def teardowns(self) -> Sequence[FoundTeardown]:
        return sorted(self._teardowns.values(), key=lambda one: (one.session.opened_at, one.session.session))

    def log_bytes(self, found: SessionMatch) -> bytes | None:
        data = read_log_file(self._files[found.session.session])
        return None if isinstance(data, Unusable) else data

    def left_out(self) -> Sequence[LeftOut]:
        return sorted(self._left_out, key=lambda one: (one.bench, one.path))

    def names(self, kind: SubjectKind) -> Sequence[str]:
        return sorted({name for found in self._found.values() for name in names_in_match(found, kind) if name})

    def instruments(self) -> Sequence[InstrumentName]:
        return sorted(
            {InstrumentName(one.serial, one.title, one.need) for f in self._found.values() for one in f.instruments}
        )
