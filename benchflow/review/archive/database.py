"""Opens the archive's database: an SQLite file, or a PostgreSQL server that several benches share."""

import os
import sqlite3
import threading
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, Table, create_engine, delete, event, inspect, select
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, OperationalError

from benchflow.base.errors import BenchflowError
from benchflow.review.archive import index_schema as schema
from benchflow.session.log.line_format import logged_hash
from benchflow.session.log.log_folder import why_not_a_file

_LOCK: Final = 7_042_313  # the key of the advisory lock: any number that all benches share
_WRITES: Final = "benchflow_writes"
LOCK_TIMEOUT: Final = 10  # seconds to wait while another program has the archive locked
_BETWEEN_TRIES: Final = 0.02  # seconds
TELL_AFTER: Final = 0.8  # seconds of waiting, until ``on_wait`` is called


def no_report(text: str) -> None:
    """Report nothing."""


class NoArchive(BenchflowError):
    """The archive cannot be opened, or this version cannot use it."""


def url_of(text: str) -> URL:
    """The URL of a database. ``text`` is a PostgreSQL URL or the path of an SQLite file.

    Raises:
        NoArchive: the text is a malformed URL, or names another kind of database.
    """
    if "://" not in text:
        return URL.create("sqlite+pysqlite", database=str(Path(text)))
    try:
        url = make_url(text)
    except ArgumentError as error:
        raise NoArchive(f"{text.split('@')[-1]!r} is not the URL of a database.") from error
    kind = url.get_backend_name()
    if kind == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if kind == "sqlite":
        return url.set(drivername="sqlite+pysqlite")
    raise NoArchive(
        f"An archive is kept in an SQLite file or on a PostgreSQL server; {kind} is neither. "
        "Write postgresql://user@host/name, or the path of a file."
    )


class Database:
    """An open archive with the tables of this version."""

    def __init__(self, url: URL, engine: Engine, on_wait: Callable[[str], None] = no_report) -> None:
        """``on_wait`` is called, in another thread, with a sentence if the archive is locked for a while."""
        self._on_wait = on_wait
        self.shown = url.render_as_string(hide_password=True)
        self.shared = url.get_backend_name() == "postgresql"
        self._engine = engine
        self._writer = engine.execution_options(**{_WRITES: True})

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A read transaction."""
        with self._database_errors(), ExitStack() as stack:
            with self._waiting():
                connection = stack.enter_context(self._engine.connect())
                stack.enter_context(connection.begin())
                if not self.shared:
                    connection.exec_driver_sql("SELECT count(*) FROM sqlite_schema")  # waits for the lock here
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A write transaction. There is one writer at a time."""
        with self._database_errors(), ExitStack() as stack:
            with self._waiting():
                connection = stack.enter_context(self._writer.connect())
                stack.enter_context(connection.begin())
                if self.shared:
                    connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{LOCK_TIMEOUT}s'")
                    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
            yield connection

    @contextmanager
    def _waiting(self) -> Iterator[None]:
        """Tell after a short while that the archive is locked."""
        text = (
            f"Another program has the archive {self.shown} locked. "
            f"Waiting for it, {LOCK_TIMEOUT} seconds at the most. To stop: Ctrl+C."
        )
        timer = threading.Timer(TELL_AFTER, self._on_wait, (text,))
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    @contextmanager
    def _database_errors(self) -> Iterator[None]:
        """Turn errors of the database into :class:`NoArchive`."""
        try:
            yield
        except OperationalError as error:
            if _is_locked(error):
                raise NoArchive(
                    f"Another program has the archive {self.shown} locked for more than {LOCK_TIMEOUT} seconds. "
                    "Nothing was added in this step. End the other program, or try again later."
                ) from error
            raise NoArchive(f"The archive {self.shown} failed: {first_line(error)}") from error
        except DatabaseError as error:
            raise NoArchive(
                f"{self.shown} is not a benchflow archive, or is damaged: {first_line(error)} "
                "Name another file or database. To make a new archive, move the file away and add the logs again."
            ) from error

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    def use_write_ahead_log(self) -> None:
        """Switch an SQLite file to write-ahead logging, so that readers do not wait for a writer.

        SQLite refuses the switch at once, without its own waiting, while another connection has the file locked.

        Raises:
            NoArchive: another program has the file locked for too long.
        """
        if self.shared:
            return
        deadline = time.monotonic() + LOCK_TIMEOUT
        with self._database_errors(), self._waiting(), self._engine.connect() as connection:
            connection.commit()  # the mode cannot be changed in a transaction
            driver = connection.connection.dbapi_connection
            assert driver is not None
            while True:
                try:
                    driver.cursor().execute("PRAGMA journal_mode=WAL")
                    return
                except sqlite3.Error as error:
                    failed = OperationalError(None, None, error)
                    if not _is_locked(failed) or time.monotonic() > deadline:
                        raise failed from error
                time.sleep(_BETWEEN_TRIES)

    def clear(self, bench: str) -> None:
        """Remove what this bench can file again: its logs whose files still exist. Log files are not touched.

        The heads and the copies stay, and so does what other benches filed. The tables of an older version are made
        again: then every bench has to file its logs again, and only copies and heads are kept.

        Raises:
            NoArchive: the database has tables of another program, or of a newer version.
        """
        with self.writing() as connection:
            found = _read_version(connection) or ""
            if not found.isdigit():
                _refuse_other_tables(connection, self.shown)
                _create_tables(connection)
            elif int(found) > schema.VERSION:
                raise NoArchive(_other_version(self.shown, found))
            elif int(found) == schema.VERSION:
                _remove_bench(connection, bench)
            else:
                _make_again(self, connection)

    def insert_many(self, connection: Connection, table: Table, rows: Sequence[Sequence[Any]]) -> None:
        """Insert many rows. Their cells are in the order of the table's columns."""
        if not rows:
            return
        if self.shared:
            columns = ", ".join(f'"{column.name}"' for column in table.columns)
            with connection.connection.cursor().copy(f'COPY "{table.name}" ({columns}) FROM STDIN') as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join("?" * len(table.columns))
            connection.exec_driver_sql(f'INSERT INTO "{table.name}" VALUES ({marks})', [*map(tuple, rows)])


def open_database(
    text: str, *, fresh: str | None = None, existing: bool = False, on_wait: Callable[[str], None] = no_report
) -> Database:
    """Open the archive that ``text`` names. A new one gets its tables, unless ``existing`` is set.

    ``fresh`` is the name of a bench: what it filed is removed first, as far as it can file it again.

    Raises:
        NoArchive: the database cannot be reached, is not an archive, or is of another version.
    """
    url = url_of(text)
    database = Database(url, _engine_for(url), on_wait)
    try:
        if fresh is not None:
            database.clear(fresh)
            database.use_write_ahead_log()  # the file may be new
        _check_version(database, existing=existing)
    except DatabaseError as error:
        database.close()
        raise NoArchive(
            f"{database.shown} is not a benchflow archive: {first_line(error)} Name another file or database."
        ) from error
    except BaseException:
        database.close()
        raise
    return database


def _engine_for(url: URL) -> Engine:
    if url.get_backend_name() == "postgresql":
        try:
            return create_engine(url, connect_args={"connect_timeout": 15}, pool_pre_ping=True)
        except ImportError as missing:
            raise NoArchive(
                "The archive is on a PostgreSQL server, and the driver for it is not installed. "
                "Run: pip install 'benchflow-assembly[postgres]'"
            ) from missing
    if url.database and url.database != ":memory:" and Path(url.database).exists():
        why = why_not_a_file(Path(url.database))
        if why:
            raise NoArchive(f"{url.database} {why}. Name another file.")
    if url.database and url.database != ":memory:" and not Path(url.database).parent.is_dir():
        raise NoArchive(f"There is no folder {Path(url.database).parent}. Create it, or name another file.")
    engine = create_engine(url, connect_args={"timeout": LOCK_TIMEOUT})

    @event.listens_for(engine, "connect")
    def _disable_driver_transactions(connection: Any, record: Any) -> None:
        connection.isolation_level = None  # the driver would start a transaction too late
        # The archive can be built again from the logs, so losing the last batch at a power failure is acceptable.
        connection.execute("PRAGMA synchronous=NORMAL")

    @event.listens_for(engine, "begin")
    def _begin_transaction(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _check_version(database: Database, *, existing: bool) -> None:
    with database.reading() as connection:
        found = _read_version(connection)
    if found is None and existing:
        raise NoArchive(f"{database.shown} is not a benchflow archive. Name another file or database.")
    if found is None:
        with database.writing() as connection:
            found = _read_version(connection)  # another bench may have created them
            if found is None:
                _refuse_other_tables(connection, database.shown)
                _create_tables(connection)
                found = str(schema.VERSION)
        database.use_write_ahead_log()
    if not found.isdigit():
        raise NoArchive(_other_tables(database.shown))
    if found != str(schema.VERSION):
        raise NoArchive(_other_version(database.shown, found))


def _other_version(shown: str, found: str) -> str:
    advice = "Build it again from the logs: benchflow archive --rebuild FOLDER."
    if int(found) > schema.VERSION:
        advice = "Use the newer version here too, or another archive."
    return (
        f"The archive {shown} belongs to another version of benchflow (its tables have version {found}, this program "
        f"uses {schema.VERSION}). {advice}"
    )


def _remove_bench(connection: Connection, bench: str) -> None:
    """Remove the facts of the logs of ``bench`` whose files exist, and the list of its files."""
    c = schema.sessions.c
    rows = connection.execute(select(c.number, c.path).where(c.bench == bench)).all()
    numbers = [number for number, path in rows if os.path.exists(path)]
    for start in range(0, len(numbers), 500):  # databases limit the number of parameters
        some = numbers[start : start + 500]
        for table in schema.fact_tables.values():
            connection.execute(delete(table).where(table.c.number.in_(some)))
        connection.execute(delete(schema.sessions).where(c.number.in_(some)))
    connection.execute(delete(schema.files).where(schema.files.c.bench == bench))


def _make_again(database: Database, connection: Connection) -> None:
    """Make the tables of this version in place of older ones. The copies of logs and the heads are kept."""
    copied: list[tuple[str, str, bytes]] = []
    known: list[tuple[Any, ...]] = []
    tables = inspect(connection).get_table_names()
    if schema.copies.name in tables:
        for session, body in connection.exec_driver_sql("SELECT session, body FROM copies").all():
            last = zlib.decompress(bytes(body)).rstrip(b"\n").rpartition(b"\n")[2]
            copied.append((session, logged_hash(last), bytes(body)))
    if schema.heads.name in tables:
        known = [tuple(row) for row in connection.execute(select(schema.heads)).all()]
    schema.metadata.drop_all(connection)
    _create_tables(connection)
    database.insert_many(connection, schema.copies, copied)
    database.insert_many(connection, schema.heads, known)


def _refuse_other_tables(connection: Connection, shown: str) -> None:
    """Check that the database is empty.

    Raises:
        NoArchive: it has tables.
    """
    if inspect(connection).get_table_names():
        raise NoArchive(_other_tables(shown))


def _other_tables(shown: str) -> str:
    return f"{shown} has tables that are not a benchflow archive. Name an empty database."


def _read_version(connection: Connection) -> str | None:
    if not inspect(connection).has_table(schema.meta.name):
        return None
    found = connection.execute(select(schema.meta.c.value).where(schema.meta.c.key == "version")).scalar()
    return "unknown" if found is None else str(found)


def _create_tables(connection: Connection) -> None:
    schema.metadata.create_all(connection)
    connection.execute(schema.meta.insert().values(key="version", value=str(schema.VERSION)))


def _is_locked(error: OperationalError) -> bool:
    """True if the database waited for a lock in vain: SQLITE_BUSY or SQLITE_LOCKED, or lock_not_available."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    return (code is not None and code & 0xFF in (5, 6)) or getattr(error.orig, "sqlstate", None) == "55P03"


def first_line(error: DatabaseError) -> str:
    """The message of the database, without the SQL statement."""
    text = str(error.orig).strip() or type(error).__name__
    return text.splitlines()[0].rstrip(".") + "."
