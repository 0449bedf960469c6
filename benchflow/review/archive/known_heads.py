"""The heads of the logs that were filed: they show a log that is behind what was filed, or forked from it."""

import os
from collections.abc import Sequence, Set
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select, update

from benchflow.review.archive.database import Database
from benchflow.review.archive.index_schema import files, heads
from benchflow.session.log.log_heads import KnownHead, compare_heads

_COLUMNS = (heads.c.session, heads.c.events, heads.c.head, heads.c.starts, heads.c.unit, heads.c.opened_at,
            heads.c.path, heads.c.bench)  # fmt: skip

BEHIND, FORKED = "is behind", "is forked"
"""How the reason begins for which a log is not in the index."""


class HeadBook:
    """The remembered heads, over one connection of a write transaction.

    ``present`` has the session and the path of each log that is filed now.
    """

    def __init__(self, connection: Connection, bench: str, present: Set[tuple[str, str]]) -> None:
        self._connection, self._bench, self._present = connection, bench, present
        self._next = 1 + (connection.execute(select(func.max(heads.c.number))).scalar() or 0)

    def outcome(self, log: KnownHead) -> str:
        """Remember the head of a log that verifies, and say what it is.

        Returns:
            ``new``, ``copy``, ``grown``, or the reason why the log is behind or forked, as a clause after its path.
        """
        of_session = self._select(heads.c.session == log.session)
        if not of_session:
            other = self._same_log_with_another_start(log)
            if other is None:
                self._insert(log)
                return "new"
            self._insert(log)
            return _forked_text(other, 1)
        compared = [(known, compare_heads(log, known)) for known in of_session]
        (main, with_main), rest = compared[0], compared[1:]
        if with_main.status == "grown":
            self._replace(main, log)
            return "grown"
        if with_main.status == "same":
            return "copy"
        if with_main.status == "behind":
            return behind_text(main, log)
        extended = next((known for known, found in rest if found.status == "grown"), None)
        if extended is not None:
            self._replace(extended, log)
        elif not any(found.status in ("same", "behind") for _, found in rest):
            self._insert(log)
        return _forked_text(main, with_main.line)

    def _select(self, where: ColumnElement[bool]) -> list[KnownHead]:
        query = select(*_COLUMNS).where(where).order_by(heads.c.number)
        return [_known(row) for row in self._connection.execute(query).all()]

    def _same_log_with_another_start(self, log: KnownHead) -> KnownHead | None:
        """A remembered log of the same unit and opening time, or at the same path, whose first line is another."""
        by_unit = and_(heads.c.unit == log.unit, heads.c.opened_at == log.opened_at, heads.c.unit != "")
        by_path = and_(heads.c.bench == self._bench, heads.c.path == log.path)
        for known in self._select(or_(by_unit, by_path)):
            moved = (known.unit, known.opened_at) != (log.unit, log.opened_at) and self._is_elsewhere(known)
            if not moved:
                return known
        return None

    def _is_elsewhere(self, known: KnownHead) -> bool:
        """True if a file of this bench with that log exists at another path: it was moved, and its name used again."""
        c = files.c
        found = self._connection.execute(select(c.path).where(c.bench == self._bench, c.session == known.session))
        now = [path for session, path in self._present if session == known.session]
        return any(path != known.path and os.path.exists(path) for path in (*found.scalars(), *now))

    def _insert(self, log: KnownHead) -> None:
        first = (log.session, log.head, self._next, self._bench, log.path)
        row = (*first, log.unit, log.opened_at, log.events, log.starts)
        self._next += 1
        self._connection.execute(heads.insert().values(row))

    def _replace(self, known: KnownHead, log: KnownHead) -> None:
        c = heads.c
        self._connection.execute(
            update(heads)
            .where(c.session == known.session, c.head == known.head)
            .values(head=log.head, bench=self._bench, path=log.path, events=log.events, starts=log.starts)
        )


def remembered_heads(database: Database, log: KnownHead) -> Sequence[KnownHead]:
    """The remembered heads that may be of the log: of its session, of its unit and opening time, or at its path."""
    c = heads.c
    by_unit = and_(c.unit == log.unit, c.opened_at == log.opened_at, c.unit != "")
    query = select(*_COLUMNS).where(or_(c.session == log.session, by_unit, c.path == log.path)).order_by(c.number)
    with database.reading() as connection:
        return [_known(row) for row in connection.execute(query).all()]


def _known(row: Sequence[Any]) -> KnownHead:
    session, events, head, starts, unit, opened_at, path, bench = row
    return KnownHead(session, events, head, bytes(starts), unit, opened_at, path, bench)


def behind_text(known: KnownHead, log: KnownHead) -> str:
    """The reason why a log that is behind is not in the index."""
    return (
        f"{BEHIND}: another copy of this log, on {known.bench} at {known.path}, has {known.events} events; this one "
        f"has {log.events}. The later copy stays in the index"
    )


def _forked_text(known: KnownHead, line: int) -> str:
    return (
        f"{FORKED} at line {line}: from there on it is not the log that was filed from {known.bench}, {known.path} "
        f"({known.events} events, fingerprint {known.head[:16]}). Both are kept"
    )
