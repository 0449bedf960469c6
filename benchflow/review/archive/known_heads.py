"""The heads of the logs that were filed: they show a log that is behind what was filed, or forked from it."""

import os
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from msgspec.structs import replace
from sqlalchemy import Connection, and_, func, or_, select, update

from benchflow.review.archive.database import Database
from benchflow.review.archive.index_schema import files, heads
from benchflow.session.log.log_heads import KnownHead, compare_heads

_COLUMNS = (heads.c.session, heads.c.events, heads.c.head, heads.c.starts, heads.c.unit, heads.c.opened_at,
            heads.c.path, heads.c.bench)  # fmt: skip

_MOST_PARAMETERS = 400  # databases limit the number of parameters

BEHIND, FORKED = "is behind", "is forked"
"""How the reason begins for which a log is not in the index."""


@dataclass
class _Entry:
    """A remembered head. ``stored`` is the head that its row has; ``None`` if it has no row yet."""

    number: int
    known: KnownHead
    stored: str | None


class HeadBook:
    """The remembered heads that may be of the logs of one batch, read at once. ``save`` writes what has changed."""

    def __init__(self, connection: Connection, bench: str, logs: Sequence[KnownHead]) -> None:
        self._connection, self._bench = connection, bench
        self._present = [(log.session, log.path) for log in logs]
        self._next = 1 + (connection.execute(select(func.max(heads.c.number))).scalar() or 0)
        self._entries: list[_Entry] = []
        self._by_session = defaultdict[str, list[_Entry]](list)
        self._by_unit = defaultdict[tuple[str, str], list[_Entry]](list)
        self._by_path = defaultdict[str, list[_Entry]](list)
        for number, known in sorted(self._rows(logs).items()):
            self._add(_Entry(number, known, known.head))

    def _rows(self, logs: Sequence[KnownHead]) -> dict[int, KnownHead]:
        """The rows with a session, a unit or a path of ``logs``, by number."""
        c = heads.c
        found: dict[int, KnownHead] = {}
        for start in range(0, len(logs), _MOST_PARAMETERS):
            some = logs[start : start + _MOST_PARAMETERS]
            for where in (
                c.session.in_({log.session for log in some}),
                c.unit.in_({log.unit for log in some if log.unit}),
                (c.bench == self._bench) & c.path.in_({log.path for log in some}),
            ):
                rows = self._connection.execute(select(c.number, *_COLUMNS).where(where)).all()
                found.update((row[0], _known(row[1:])) for row in rows)
        return found

    def outcome(self, log: KnownHead) -> str:
        """Remember the head of a log that verifies, and say what it is.

        Returns:
            ``new``, ``copy``, ``grown``, or the reason why the log is behind or forked, as a clause after its path.
        """
        log = replace(log, bench=self._bench)
        of_session = self._by_session[log.session]
        if not of_session:
            other = self._same_log_with_another_start(log)
            self._add(_Entry(self._next, log, None))
            self._next += 1
            return "new" if other is None else _forked_text(other, 1)
        (main, with_main), *rest = [(entry, compare_heads(log, entry.known)) for entry in of_session]
        if with_main.status == "grown":
            main.known = log
            return "grown"
        if with_main.status == "same":
            return "copy"
        if with_main.status == "behind":
            return behind_text(main.known, log)
        extended = next((entry for entry, found in rest if found.status == "grown"), None)
        if extended is not None:
            extended.known = log
        elif not any(found.status in ("same", "behind") for _, found in rest):
            self._add(_Entry(self._next, log, None))
            self._next += 1
        return _forked_text(main.known, with_main.line)

    def save(self, database: Database) -> None:
        """Write the heads that are new or have changed."""
        c = heads.c
        new: list[tuple[Any, ...]] = []
        for entry in self._entries:
            log = entry.known
            if entry.stored is None:
                new.append((log.session, log.head, entry.number, log.bench, log.path, log.unit, log.opened_at,
                            log.events, log.starts))  # fmt: skip
            elif entry.stored != log.head:
                self._connection.execute(
                    update(heads)
                    .where(c.session == log.session, c.head == entry.stored)
                    .values(head=log.head, bench=log.bench, path=log.path, events=log.events, starts=log.starts)
                )
        database.insert_many(self._connection, heads, new)

    def _add(self, entry: _Entry) -> None:
        known = entry.known
        self._entries.append(entry)
        self._by_session[known.session].append(entry)
        if known.unit:
            self._by_unit[known.unit, known.opened_at].append(entry)
        if known.bench == self._bench:
            self._by_path[known.path].append(entry)

    def _same_log_with_another_start(self, log: KnownHead) -> KnownHead | None:
        """A remembered log of the same unit and opening time, or at the same path, whose first line is another."""
        of_unit = self._by_unit.get((log.unit, log.opened_at), [])
        at_path = [entry for entry in self._by_path.get(log.path, []) if not self._is_elsewhere(entry.known)]
        return min((*of_unit, *at_path), key=lambda entry: entry.number).known if of_unit or at_path else None

    def _is_elsewhere(self, known: KnownHead) -> bool:
        """True if a file of this bench with that log exists at another path: it was moved, and its name used again."""
        c = files.c
        found = self._connection.execute(select(c.path).where(c.bench == self._bench, c.session == known.session))
        now = [path for session, path in self._present if session == known.session]
        return any(path != known.path and os.path.exists(path) for path in (*found.scalars(), *now))


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
