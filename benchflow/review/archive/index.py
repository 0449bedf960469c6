"""Answers questions from the archive.

The database may return more facts than needed. :func:`~benchflow.review.many.session_question.narrow` removes those
that do not answer the question.
"""

import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final, TypeVar

from msgspec import Struct, json
from sqlalchemy import ColumnElement, Connection, Table, and_, func, or_, select, true

from benchflow.procedure.identity import prefix_of_places
from benchflow.review.archive.database import Database
from benchflow.review.archive.fact_rows import FACT_TABLES, from_row
from benchflow.review.archive.index_schema import (
    copies,
    fact_tables,
    files,
    heads,
    sessions,
)
from benchflow.review.log.facts import TOOL_SEPARATOR, SessionFact
from benchflow.review.log.log_file import Unusable, read_log_file
from benchflow.review.log.teardown_log import record_in_text
from benchflow.review.many.session_question import (
    FoundTeardown,
    InstrumentName,
    InstrumentSubject,
    LeftOut,
    LotSubject,
    OperationSubject,
    PersonSubject,
    Question,
    ReadingSubject,
    SessionMatch,
    SubjectKind,
    narrow,
)

F = TypeVar("F", bound=Struct)
_SESSION_COLUMNS: Final = [sessions.c[name] for name in SessionFact.__struct_fields__]
_MAX_BY_NUMBER: Final = 400  # the most sessions that are selected by number; for more, all are read


class ArchiveIndex:
    """The archive as a :class:`~benchflow.review.many.session_question.SessionSource`."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def ask(self, question: Question) -> Sequence[SessionMatch]:
        conditions = _row_conditions(question)
        with self._database.reading() as connection:
            facts = {name: _facts_by_session(connection, name, where) for name, where in conditions.items()}
            numbers = set().union(*facts.values())
            heads = _session_rows(connection, numbers)
        found = (
            narrow(
                SessionMatch(session, bench, path, **{name: tuple(of.get(number, ())) for name, of in facts.items()}),
                question,
            )
            for number, session, bench, path in heads
            if number in numbers
        )
        return [one for one in found if one.has_facts]

    def sessions(self) -> Sequence[SessionMatch]:
        with self._database.reading() as connection:
            return [SessionMatch(session, bench, path) for _, session, bench, path in _session_rows(connection, None)]

    def logs(self) -> Sequence[SessionMatch]:
        """The logs of all jobs and teardowns, without their facts."""
        with self._database.reading() as connection:
            found = _session_rows(connection, None, jobs=None)
        return [SessionMatch(session, bench, path) for _, session, bench, path in found]

    def count(self) -> int:
        with self._database.reading() as connection:
            of_jobs = select(func.count()).select_from(sessions).where(_IS_JOB)
            return connection.execute(of_jobs).scalar_one()

    def teardowns(self) -> Sequence[FoundTeardown]:
        with self._database.reading() as connection:
            records = _facts_by_session(connection, "teardown_records", true())
            found = _session_rows(connection, set(records), jobs=False)
        return [
            FoundTeardown(session, bench, path, record_in_text(records[number][0].record))
            for number, session, bench, path in found
        ]

    def log_bytes(self, found: SessionMatch) -> bytes | None:
        body = self.log_of(found.session.session, found.session.head)
        if body is not None:
            return body
        data = read_log_file(Path(found.path))
        return None if isinstance(data, Unusable) else data

    def left_out(self) -> Sequence[LeftOut]:
        c = files.c
        with self._database.reading() as connection:
            found = connection.execute(select(c.bench, c.path, c.why).where(c.why != "")).all()
        return sorted((LeftOut(*row) for row in found), key=lambda one: (one.bench, one.path))

    def names(self, kind: SubjectKind) -> Sequence[str]:
        with self._database.reading() as connection:
            return sorted({name for name in _all_names(connection, kind) if name})

    def instruments(self) -> Sequence[InstrumentName]:
        c = fact_tables["instruments"].c
        with self._database.reading() as connection:
            found = connection.execute(select(c.serial, c.title, c.need).distinct()).all()
        return sorted(InstrumentName(*row) for row in found)

    def log_of(self, session: str, head: str) -> bytes | None:
        """The bytes of a log, where the archive has the copy with this head. Verify them before use."""
        c = copies.c
        with self._database.reading() as connection:
            body = connection.execute(select(c.body).where(c.session == session, c.head == head)).scalar()
        return None if body is None else zlib.decompress(body)

    def forks_of(self, session: str, head: str) -> Sequence[tuple[str, str, str]]:
        """Head, bench and path of each other copy of a session, which is not the one with this head."""
        h = heads.c
        query = select(h.head, h.bench, h.path).where(h.session == session, h.head != head).order_by(h.number)
        with self._database.reading() as connection:
            return [(row[0], row[1], row[2]) for row in connection.execute(query).all()]

    def copies_by_head(self, digits: str) -> Sequence[tuple[str, str]]:
        """Session and head of each stored copy whose head begins with ``digits``."""
        c = copies.c
        with self._database.reading() as connection:
            found = connection.execute(select(c.session, c.head).where(c.head.startswith(digits, autoescape=True)))
            return [(row[0], row[1]) for row in found.all()]


_IS_JOB: Final = sessions.c.teardown == ""

_NAME_COLUMNS: Final[dict[SubjectKind, tuple[ColumnElement[Any], ...]]] = {
    "instrument": (
        *(fact_tables["instruments"].c[name] for name in ("serial", "title", "need")),
        *(fact_tables[table].c[name] for table in ("readings", "stages") for name in ("serial", "instrument")),
    ),
    "lot": (fact_tables["lots"].c.lot,),
    "person": (
        sessions.c.by,
        *(fact_tables[table].c.by for table in ("readings", "stages", "lots", "signatures", "deviations")),
    ),
    "operation": (fact_tables["operations"].c.operation,),
    "reading": (fact_tables["readings"].c.name,),
}
"""The columns with the names of each kind. Lists of names are added by :func:`_all_names`."""


def _all_names(connection: Connection, kind: SubjectKind) -> Iterator[str]:
    for column in _NAME_COLUMNS[kind]:
        query = select(column).distinct()
        yield from connection.execute(query.where(_IS_JOB) if column is sessions.c.by else query).scalars()
    if kind == "person":
        for people in connection.execute(select(fact_tables["operations"].c.people).distinct()).scalars():
            yield from json.decode(people, type=tuple[str, ...])
    if kind == "instrument":
        for others in connection.execute(select(fact_tables["readings"].c.others).distinct()).scalars():
            for line in others.splitlines():
                yield from line.split(TOOL_SEPARATOR)


def _session_rows(
    connection: Connection, numbers: set[int] | None, *, jobs: bool | None = True
) -> list[tuple[int, SessionFact, str, str]]:
    """The sessions with these ``numbers``, or all for ``None``, sorted by the time of opening and then by hash.

    They are the jobs, with ``jobs`` false the teardowns, and with ``None`` both.
    """
    c = sessions.c
    query = select(c.number, c.bench, c.path, *_SESSION_COLUMNS)
    if jobs is not None:
        query = query.where(_IS_JOB if jobs else ~_IS_JOB)
    if numbers is not None and len(numbers) <= _MAX_BY_NUMBER:
        query = query.where(c.number.in_(numbers))
    heads = [
        (row[0], from_row(SessionFact, row[3:]), row[1], row[2])
        for row in connection.execute(query).all()
        if numbers is None or row[0] in numbers
    ]
    return sorted(heads, key=lambda head: (head[1].opened_at, head[1].session))


def _facts_by_session(connection: Connection, name: str, where: ColumnElement[bool]) -> dict[int, list[Any]]:
    table, fact = fact_tables[name], FACT_TABLES[name]
    found: dict[int, list[Any]] = {}
    c = table.c
    for row in connection.execute(select(table).where(where).order_by(c.number, c.place)).all():
        found.setdefault(row[0], []).append(from_row(fact, row[2:]))
    return found


def _one_of_several(table: Table, subject: InstrumentSubject) -> tuple[ColumnElement[bool], ...]:
    """The condition for readings that were taken with this instrument beside another one."""
    if "others" not in table.c:
        return ()
    named = [f"\n{serial}{TOOL_SEPARATOR}" for serial in subject.serials]
    unnamed = f"\n{TOOL_SEPARATOR}{subject.serial}\n"
    return tuple(table.c.others.contains(text, autoescape=True) for text in (*named, unnamed))


def _row_conditions(question: Question) -> dict[str, ColumnElement[bool]]:
    """For each table, the condition for rows that may answer the question."""
    t = fact_tables
    subject = question.subject
    match subject:
        case InstrumentSubject():
            return {
                **{
                    name: and_(
                        or_(
                            t[name].c.serial.in_(subject.serials),
                            and_(t[name].c.serial == "", t[name].c.instrument == subject.serial),
                            *_one_of_several(t[name], subject),
                        ),
                        _time_condition(question, t[name]),
                    )
                    for name in ("readings", "stages")
                },
                "instruments": or_(
                    t["instruments"].c.serial.in_(subject.serials),
                    and_(t["instruments"].c.serial == "", t["instruments"].c.need == subject.serial),
                ),
            }
        case LotSubject(lot):
            return {"lots": t["lots"].c.lot == lot}
        case PersonSubject(name):
            by_line = ("readings", "stages", "lots", "signatures", "deviations")
            return {
                # The people of an operation are stored as a list, so `narrow` selects them.
                "operations": true(),
                **{table: t[table].c.by == name for table in by_line},
            }
        case OperationSubject(operation):
            tables = ("operations", "readings", "stages", "lots", "signatures", "deviations")
            return {table: _name_condition(t[table].c.operation, operation) for table in tables}
        case ReadingSubject(name):
            return {"readings": _name_condition(t["readings"].c.name, name)}


def _name_condition(column: Any, name: str) -> ColumnElement[bool]:
    """The SQL condition that ``column`` is ``name`` or one of its places, such as ``name[1]``."""
    return or_(column == name, column.startswith(prefix_of_places(name), autoescape=True))


def _time_condition(question: Question, table: Table) -> ColumnElement[bool]:
    first = table.c.at if "at" in table.c else table.c.first_at
    last = table.c.at if "at" in table.c else table.c.last_at
    spans: list[ColumnElement[bool]] = [true()]
    if question.since:
        spans.append(last >= question.since)
    if question.until:
        spans.append(first <= question.until)
    return and_(*spans)
