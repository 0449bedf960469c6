"""The shop's other builds from the archive, for a review.

An SQLite file is read by the standard library alone, because the library for databases takes longer to load than a
review takes. The file is only read.
"""

import sqlite3
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from benchflow.base.errors import BenchflowError
from benchflow.review.archive.archive_version import VERSION
from benchflow.review.evidence.shop_history import OtherReading, ShopCase

Query = Callable[[str, dict[str, Any]], list[tuple[Any, ...]]]
"""Runs one SQL statement with its named parameters, and returns the rows."""

BUILDS: Final = 50
"""The number of other builds whose values are compared: the last ones."""

_CASES: Final = """
SELECT s.session, s.unit, c.complaint, c.finding, c.outcome, c.operation, c.date, s.simulated
FROM causes c JOIN sessions s ON s.number = c.number
WHERE c.in_force = :yes AND s.procedure_id = :procedure AND s.session <> :session
ORDER BY c.date, c.at, s.session
"""

_READINGS: Final = """
SELECT s.session, r.operation, r.name, r.slot, r.value, r.unit
FROM readings r JOIN sessions s ON s.number = r.number
WHERE r.in_force = :yes AND s.number IN (
    SELECT number FROM sessions
    WHERE procedure_id = :procedure AND session <> :session AND simulated = :simulated
    ORDER BY opened_at DESC, session LIMIT :builds)
ORDER BY s.opened_at, s.session, r.place
"""


class ArchivedHistory:
    """The archive as a :class:`~benchflow.review.evidence.shop_history.ShopHistory`. Answers are kept."""

    def __init__(self, query: Query) -> None:
        self._query = cache(lambda text, names: query(text, dict(names)))

    def cases(self, procedure: str, session: str) -> Sequence[ShopCase]:
        names = {"procedure": procedure, "session": session, "yes": True}
        fields = ShopCase.__struct_fields__
        return [
            ShopCase(**dict(zip(fields, (*row[:-1], bool(row[-1])), strict=True))) for row in self._rows(_CASES, names)
        ]

    def readings(self, procedure: str, session: str, simulated: bool) -> Sequence[OtherReading]:
        names = {"procedure": procedure, "session": session, "yes": True, "simulated": simulated, "builds": BUILDS}
        return [OtherReading(*row) for row in self._rows(_READINGS, names)]

    def _rows(self, text: str, names: dict[str, Any]) -> list[tuple[Any, ...]]:
        return self._query(text, tuple(names.items()))


def history_in_file(path: Path) -> ArchivedHistory:
    """The history in the SQLite file at ``path``.

    Raises:
        BenchflowError: the file cannot be read, or is not an archive of this version.
    """
    try:
        connection = sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)
        try:
            found = connection.execute("SELECT value FROM meta WHERE key = 'version'").fetchone()
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise BenchflowError(f"The archive {path} cannot be read: {error}.") from error
    if found is None or found[0] != str(VERSION):
        raise BenchflowError(
            f"The archive {path} belongs to another version of benchflow. "
            "Build it again from the logs: benchflow archive --rebuild"
        )

    def query(text: str, names: dict[str, Any]) -> list[tuple[Any, ...]]:
        try:
            reader = sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)
            try:
                return reader.execute(text, names).fetchall()
            finally:
                reader.close()
        except sqlite3.Error as error:
            raise BenchflowError(f"The archive {path} cannot be read: {error}.") from error

    return ArchivedHistory(query)


def history_on_server(url: str) -> ArchivedHistory:
    """The history in the archive at ``url``, which may be on a server.

    Raises:
        BenchflowError: the archive cannot be opened.
    """
    from sqlalchemy import text as statement

    from benchflow.review.archive.database import open_database

    database = open_database(url, existing=True)

    def query(text: str, names: dict[str, Any]) -> list[tuple[Any, ...]]:
        with database.reading() as connection:
            return [tuple(row) for row in connection.execute(statement(text), names).all()]

    return ArchivedHistory(query)
