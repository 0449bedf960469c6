"""The tables of the archive, derived from the fact types: one table per type, one column per field.

:mod:`benchflow.review.archive.fact_rows` makes the rows.
"""

from types import UnionType
from typing import Any, Final, get_args

import msgspec
from msgspec import Struct
from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)
from sqlalchemy.types import TypeEngine

from benchflow.review.archive.archive_version import VERSION as VERSION
from benchflow.review.archive.fact_rows import FACT_TABLES
from benchflow.review.log.facts import SessionFact

metadata = MetaData()

meta = Table("meta", metadata, Column("key", Text, primary_key=True), Column("value", Text, nullable=False))

files = Table(
    "files",
    metadata,
    Column("bench", Text, primary_key=True),
    Column("path", Text, primary_key=True),
    Column("size", BigInteger, nullable=False),
    Column("changed", BigInteger, nullable=False),  # st_mtime_ns
    Column("session", Text, nullable=False),  # "" for a file that was left out
    Column("head", Text, nullable=False),
    Column("events", Integer, nullable=False),
    Column("why", Text, nullable=False),  # why it was left out; "" for a filed log
)

copies = Table(
    "copies",
    metadata,
    Column("session", Text, primary_key=True),
    Column("head", Text, primary_key=True),  # of the copy: a forked log has several
    Column("body", LargeBinary, nullable=False),  # the log, compressed
)

heads = Table(
    "heads",
    metadata,
    Column("session", Text, primary_key=True),
    Column("head", Text, primary_key=True),
    Column("number", Integer, nullable=False),  # order of filing; the lowest of a session is its main copy
    Column("bench", Text, nullable=False),
    Column("path", Text, nullable=False),
    Column("unit", Text, nullable=False),
    Column("opened_at", Text, nullable=False),
    Column("events", Integer, nullable=False),
    Column("starts", LargeBinary, nullable=False),  # of the hashes of all lines: see session.log.log_heads
    Index("heads_unit", "unit", "opened_at"),
    Index("heads_path", "bench", "path"),
)
"""The remembered heads of logs. They survive a rebuild."""


def _column_type(field_type: Any) -> tuple[type[TypeEngine[Any]], bool]:
    """The column type for the type of a field, and true if the column may be null."""
    options = get_args(field_type) if isinstance(field_type, UnionType) else (field_type,)
    nullable = type(None) in options
    kinds = [option for option in options if option is not type(None)]
    plain: dict[Any, type[TypeEngine[Any]]] = {str: Text, int: BigInteger, float: Float, bool: Boolean}
    return plain.get(kinds[0], Text), nullable


def _columns_of_fact(fact: type[Struct]) -> list[Column[Any]]:
    made: list[Column[Any]] = []
    for field in msgspec.structs.fields(fact):
        kind, nullable = _column_type(field.type)
        made.append(Column(field.name, kind, nullable=nullable))
    return made


sessions = Table(
    "sessions",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    *_columns_of_fact(SessionFact),
    Column("bench", Text, nullable=False),  # where the log was read
    Column("path", Text, nullable=False),
    Column("audit_wrong", Integer, nullable=True),  # places where the audit fails; null if it was not audited
    Index("sessions_session", "session", unique=True),
)

fact_tables: Final[dict[str, Table]] = {
    name: Table(
        name,
        metadata,
        Column("number", Integer, ForeignKey("sessions.number"), primary_key=True, autoincrement=False),
        Column(
            "place", Integer, primary_key=True, autoincrement=False
        ),  # position among the facts of the session, from 0
        *_columns_of_fact(fact),
        sqlite_with_rowid=False,
    )
    for name, fact in FACT_TABLES.items()
}

Index("stages_serial", fact_tables["stages"].c.serial)
Index("readings_serial", fact_tables["readings"].c.serial)
Index("readings_name", fact_tables["readings"].c.name)
Index("lots_lot", fact_tables["lots"].c.lot)
Index("operations_operation", fact_tables["operations"].c.operation)
