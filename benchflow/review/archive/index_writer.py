"""Writes a batch of logs into the archive's tables, in one transaction."""

import os
from collections.abc import Sequence
from typing import Any, NamedTuple

from msgspec.structs import replace
from sqlalchemy import Connection, bindparam, delete, func, select, update

from benchflow.review.archive.database import Database
from benchflow.review.archive.fact_rows import to_row
from benchflow.review.archive.filed_log import FiledLog, Rows
from benchflow.review.archive.index_schema import copies, fact_tables, files, heads, sessions
from benchflow.review.archive.known_heads import BEHIND, FORKED, HeadBook, behind_text
from benchflow.session.log.log_heads import KnownHead

_MAX_BY_PATH = 400  # the most files that are selected by path; for more, all are read


class KnownFile(NamedTuple):
    """A file in the index, with its size, time and hash when it was last read."""

    size: int
    changed: int
    head: str
    events: int
    session: str
    why: str


class _IndexedCopy(NamedTuple):
    """The copy of a session whose facts are in the index."""

    number: int
    events: int
    head: str
    bench: str
    path: str


def known_files(database: Database, bench: str, paths: Sequence[str]) -> dict[str, KnownFile]:
    """The files of this bench in the index, by path. They include those at ``paths``."""
    c = files.c
    query = select(c.path, c.size, c.changed, c.head, c.events, c.session, c.why).where(c.bench == bench)
    if len(paths) <= _MAX_BY_PATH:
        query = query.where(c.path.in_(paths))
    with database.reading() as connection:
        return {row[0]: KnownFile(*row[1:]) for row in connection.execute(query).all()}


def copied_sessions(database: Database) -> set[str]:
    """The sessions whose logs are stored in the archive as copies."""
    with database.reading() as connection:
        return set(connection.execute(select(copies.c.session)).scalars())


def copies_without_facts(database: Database) -> list[tuple[str, str, bytes]]:
    """Bench, path and compressed log of each session that is stored as a copy and is not in the index."""
    c, h = copies.c, heads.c
    first = select(func.min(h.number)).where(h.session == c.session).correlate(copies).scalar_subquery()
    query = (
        select(h.bench, h.path, c.body)
        .join_from(copies, heads, (c.session == h.session) & (c.head == h.head))
        .where(h.number == first, c.session.not_in(select(sessions.c.session)))
    )
    with database.reading() as connection:
        return [(row[0], row[1], bytes(row[2])) for row in connection.execute(query).all()]


def failing_audits(database: Database, bench: str, paths: set[str]) -> tuple[str, ...]:
    """Those of ``paths`` on this bench whose logs fail the audit."""
    c = sessions.c
    with database.reading() as connection:
        found = connection.execute(select(c.path).where(c.bench == bench, c.audit_wrong > 0)).scalars()
        return tuple(sorted(path for path in found if path in paths))


def forget_stale(database: Database, bench: str, inside: tuple[str, ...], seen: set[str]) -> tuple[str, ...]:
    """Forget files below the folders ``inside`` that do not exist any more. Returns the paths of missing logs whose
    sessions stay in the index."""
    with database.writing() as connection:
        c = sessions.c
        sources = set(connection.execute(select(c.path).where(c.bench == bench)).scalars())
        known = connection.execute(select(files.c.path).where(files.c.bench == bench)).scalars()
        missing = {path for path in known if path not in seen and path.startswith(inside)}
        stale = [{"at": path} for path in missing - sources]
        if stale:
            connection.execute(delete(files).where(files.c.bench == bench, files.c.path == bindparam("at")), stale)
    return tuple(sorted(missing & sources))


def store(database: Database, bench: str, batch: Sequence[FiledLog]) -> list[str]:
    """Write the batch. Returns one result per log: ``new``, ``grown``, ``copy``, or the reason why it is left out."""
    with database.writing() as connection:
        return _Batch(database, connection, bench, batch).store()


class _Batch:
    """Writes one batch of logs over one connection."""

    def __init__(self, database: Database, connection: Connection, bench: str, batch: Sequence[FiledLog]) -> None:
        self.database, self.connection, self.bench, self.batch = database, connection, bench, batch
        self.heads = HeadBook(connection, bench, [entry.head for entry in batch if entry.head is not None])
        self.indexed = self._indexed_sessions()
        self.next = 1 + (connection.execute(select(func.max(sessions.c.number))).scalar() or 0)
        self.replaced: list[int] = []
        self.superseded: list[tuple[str, str, str]] = []  # bench, path and reason of files with a shorter copy
        self.chosen: dict[str, tuple[int, FiledLog]] = {}  # number and log of the copy to use, by session

    def store(self) -> list[str]:
        outcomes = [self._outcome(entry) for entry in self.batch]
        self.heads.save(self.database)
        self._remove_unverified()
        self._delete_replaced()
        self._insert_chosen()
        self._record_files(outcomes)
        return outcomes

    def _indexed_sessions(self) -> dict[str, _IndexedCopy]:
        hashes = [entry.session.session for entry in self.batch if entry.session is not None]
        c = sessions.c
        found: dict[str, _IndexedCopy] = {}
        for start in range(0, len(hashes), 500):  # databases limit the number of parameters
            rows = self.connection.execute(
                select(c.session, c.number, c.events, c.head, c.bench, c.path).where(
                    c.session.in_(hashes[start : start + 500])
                )
            )
            found.update((row[0], _IndexedCopy(*row[1:])) for row in rows)
        return found

    def _outcome(self, entry: FiledLog) -> str:
        new = entry.session
        if new is None:
            return entry.why
        assert entry.head is not None
        outcome = self.heads.outcome(entry.head)
        old = self.indexed.get(new.session)
        if outcome == "copy" and old is None:
            outcome = "new"  # only its head was kept
        if outcome == "copy" and old is not None:
            self._update_path(old, entry)
        if outcome.startswith((BEHIND, FORKED)) or (outcome == "copy" and old is not None and old.head == new.head):
            return outcome
        if old is not None:
            if (old.bench, old.path) != (self.bench, entry.path) and old.events < new.events:
                before = KnownHead(new.session, old.events, old.head, b"", path=old.path, bench=old.bench)
                why = behind_text(replace(entry.head, bench=self.bench), before)
                self.superseded.append((old.bench, old.path, why))
            if new.session not in self.chosen:
                self.replaced.append(old.number)
        self.chosen[new.session] = (self.next, entry)
        self.indexed[new.session] = _IndexedCopy(self.next, new.events, new.head, self.bench, entry.path)
        self.next += 1
        return outcome

    def _update_path(self, old: _IndexedCopy, entry: FiledLog) -> None:
        """Store the new path of a log that was moved on this bench."""
        if old.bench == self.bench and old.path != entry.path and not os.path.exists(old.path):
            self.connection.execute(update(sessions).where(sessions.c.number == old.number).values(path=entry.path))

    def _remove_unverified(self) -> None:
        """Remove the facts of logs that verified when they were filed and do not verify now."""
        c = sessions.c
        for entry in self.batch:
            if entry.session is None:
                found = self.connection.execute(
                    select(c.number, c.session).where(c.bench == self.bench, c.path == entry.path)
                ).all()
                self.replaced.extend(number for number, _ in found)
                # Other copies of the session are read again the next time.
                for _, session in found:
                    self.connection.execute(delete(files).where(files.c.session == session))

    def _delete_replaced(self) -> None:
        for start in range(0, len(self.replaced), 500):
            numbers = self.replaced[start : start + 500]
            for table in fact_tables.values():
                self.connection.execute(delete(table).where(table.c.number.in_(numbers)))
            self.connection.execute(delete(sessions).where(sessions.c.number.in_(numbers)))

    def _insert_chosen(self) -> None:
        together: Rows = {name: [] for name in fact_tables}
        heads: list[tuple[Any, ...]] = []
        for number, entry in self.chosen.values():
            assert entry.session is not None  # only logs with a session are chosen
            heads.append((number, *to_row(entry.session), self.bench, entry.path, entry.audit_wrong))
            for name, rows in entry.rows.items():
                together[name].extend((number, *row) for row in rows)
        self.database.insert_many(self.connection, sessions, heads)
        for name, rows in together.items():
            self.database.insert_many(self.connection, fact_tables[name], rows)
        self._insert_copies()

    def _insert_copies(self) -> None:
        """Store copies of the logs in the batch. Only an earlier part of the same copy is replaced, never a fork."""
        bodies = {
            (entry.session.session, entry.session.head): entry.body
            for entry in self.batch
            if entry.session is not None and entry.body
        }
        if not bodies:
            return
        c, h = copies.c, heads.c
        self.database.insert_many(
            self.connection, copies, [(*key, body) for key, body in bodies.items() if not self._has_copy(*key)]
        )
        # A head that is not remembered any more has grown into a later one, whose copy is here now.
        for session in {session for session, _ in bodies}:
            known = select(h.head).where(h.session == session)
            stored = set(self.connection.execute(select(c.head).where(c.session == session)).scalars())
            if stored & set(self.connection.execute(known).scalars()):
                self.connection.execute(delete(copies).where(c.session == session, c.head.not_in(known)))

    def _has_copy(self, session: str, head: str) -> bool:
        c = copies.c
        return self.connection.execute(select(c.head).where(c.session == session, c.head == head)).first() is not None

    def _record_files(self, outcomes: Sequence[str]) -> None:
        self.connection.execute(
            delete(files).where(files.c.bench == self.bench, files.c.path == bindparam("at")),
            [{"at": entry.path} for entry in self.batch],
        )
        rows: list[tuple[Any, ...]] = []
        for entry, outcome in zip(self.batch, outcomes, strict=True):
            session = entry.session
            why = "" if outcome in ("new", "grown", "copy") else outcome
            rows.append((
                self.bench, entry.path, entry.size, entry.changed,
                session.session if session is not None else "",
                session.head if session is not None else "",
                session.events if session is not None else 0, why,
            ))  # fmt: skip
        self.database.insert_many(self.connection, files, rows)
        for bench, path, why in self.superseded:
            self.connection.execute(update(files).where(files.c.bench == bench, files.c.path == path).values(why=why))
