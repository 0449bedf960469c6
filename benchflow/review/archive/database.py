"""Opens the archive's database: an SQLite file, or a PostgreSQL server that several benches share."""

import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, Table, create_engine, event, inspect, select
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, OperationalError

from benchflow.base.errors import BenchflowError
from benchflow.review.archive import index_schema as schema
from benchflow.session.log.log_folder import why_not_a_file

_LOCK: Final = 7_042_313  # the key of the advisory lock: any number that all benches share
_WRITES: Final = "benchflow_writes"
LOCK_TIMEOUT: Final = 10  # seconds to wait while another program has the archive locked
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
        """Switch an SQLite file to write-ahead logging, so that readers do not wait for a writer."""
        if not self.shared:
            with self._database_errors(), self._waiting(), self._engine.connect() as connection:
                connection.commit()  # the mode cannot be changed in a transaction
                driver = connection.connection.dbapi_connection
                assert driver is not None
                try:
                    driver.cursor().execute("PRAGMA journal_mode=WAL")
                except sqlite3.Error as error:
                    raise OperationalError(None, None, error) from error

    def clear(self) -> None:
        """Empty the archive and create the tables of this version. Log files are not touched.

        Raises:
            NoArchive: the database has tables of another program.
        """
        with self.writing() as connection:
            if not (_read_version(connection) or "").isdigit():
                _refuse_other_tables(connection, self.shown)
            schema.metadata.drop_all(connection)
            _create_tables(connection)

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


def open_database(text: str, *, fresh: bool = False, on_wait: Callable[[str], None] = no_report) -> Database:
    """Open the archive that ``text`` names; a new one gets its tables. ``fresh`` empties it first.

    Raises:
        NoArchive: the database cannot be reached, is not an archive, or is of another version.
    """
    url = url_of(text)
    database = Database(url, _engine_for(url), on_wait)
    try:
        if fresh:
            database.clear()
        _check_version(database)
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


def _check_version(database: Database) -> None:
    with database.reading() as connection:
        found = _read_version(connection)
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
        raise NoArchive(
            f"The archive {database.shown} belongs to another version of benchflow (its tables have version {found}, "
            f"this program uses {schema.VERSION}). "
            + (
                "Use the newer version here too, or another archive."
                if int(found) > schema.VERSION
                else "Build it again from the logs: benchflow archive --rebuild FOLDER."
            )
        )


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
