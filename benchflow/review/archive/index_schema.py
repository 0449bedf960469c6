"""The tables of the archive, derived from the fact types: one table per type, one column per field.

Fields without a matching column type (lists, dicts, times) are stored as JSON text.
"""

from types import UnionType
from typing import Any, Final, TypeVar, get_args, get_origin

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
from benchflow.review.log import facts as f

FACT_TABLES: Final[dict[str, type[Struct]]] = {
    "operations": f.OperationFact,
    "readings": f.ReadingFact,
    "stages": f.StageFact,
    "failed_fasteners": f.FailedFastenerFact,
    "lots": f.LotFact,
    "choices": f.ChoiceFact,
    "signatures": f.SignatureFact,
    "deviations": f.DeviationFact,
    "instruments": f.InstrumentFact,
    "undone_steps": f.UndoneFact,
    "remedies": f.RemedyFact,
    "notes": f.NoteFact,
    "complaints": f.ComplaintFact,
    "causes": f.CauseFact,
}
"""The fact types by table name, which is the field name in :class:`benchflow.review.log.facts.Facts`."""

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


def _is_json(field_type: Any) -> bool:
    options = get_args(field_type) if isinstance(field_type, UnionType) else (field_type,)
    kinds = [option for option in options if option is not type(None)]
    return get_origin(kinds[0]) in (dict, tuple) or kinds[0] is f.LogTime


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
    *_columns_of_fact(f.SessionFact),
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


# --- facts to rows and back -------------------------------------------------------------------------

_FACTS: Final[tuple[type[Struct], ...]] = (f.SessionFact, *FACT_TABLES.values())
_JSON_FIELDS: Final[dict[type[Struct], tuple[tuple[int, Any], ...]]] = {
    fact: tuple((place, field.type) for place, field in enumerate(msgspec.structs.fields(fact)) if _is_json(field.type))
    for fact in _FACTS
}
_BOOLEANS: Final[dict[type[Struct], tuple[int, ...]]] = {
    fact: tuple(place for place, field in enumerate(msgspec.structs.fields(fact)) if field.type is bool)
    for fact in _FACTS
}
_encode = msgspec.json.Encoder().encode
F = TypeVar("F", bound=Struct)


def to_row(fact: Struct) -> tuple[Any, ...]:
    """The cells of a fact, in the order of its columns."""
    places = _JSON_FIELDS[type(fact)]
    row = msgspec.structs.astuple(fact)
    if not places:
        return row
    cells = list(row)
    for place, _ in places:
        if cells[place] is not None:
            cells[place] = _encode(cells[place]).decode()
    return tuple(cells)


def from_row(fact: type[F], row: Any) -> F:
    """The fact in a row that :func:`to_row` made. Booleans may be stored as 0 and 1."""
    cells = list(row)
    for place, kind in _JSON_FIELDS[fact]:
        if cells[place] is not None:
            cells[place] = msgspec.json.decode(cells[place], type=kind)
    for place in _BOOLEANS[fact]:
        cells[place] = bool(cells[place])
    return fact(*cells)
