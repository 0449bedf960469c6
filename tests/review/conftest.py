"""The archives of these tests: an SQLite file, and a database on a real PostgreSQL server."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from benchflow.review.archive.database import Database, open_database
from benchflow.review.archive.index_schema import meta, metadata
from tests.driving.postgresql import binaries, running_server


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The URL of a database on a running server. Every test empties it first."""
    programs = binaries()
    if programs is None:
        pytest.skip("no PostgreSQL server below /usr/lib/postgresql: install Debian's package postgresql")
    with running_server(programs) as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def archive_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of an empty archive, once of each kind."""
    if request.param == "sqlite":
        return str(tmp_path / "archive.sqlite")
    url: str = request.getfixturevalue("postgres")
    emptied(url).close()
    return url


def emptied(url: str) -> Database:
    """The archive at ``url`` without any rows."""
    database = open_database(url)
    with database.writing() as connection:
        for table in reversed(metadata.sorted_tables):
            if table is not meta:
                connection.execute(table.delete())
    return database
