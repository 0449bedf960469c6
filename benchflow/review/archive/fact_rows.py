"""Converts facts into rows of the archive and back, without the library for databases.

Fields without a matching column type (lists, dicts, times) are JSON text in a row.
"""

from types import UnionType
from typing import Any, Final, TypeVar, get_args, get_origin

import msgspec
from msgspec import Struct

from benchflow.review.log import facts as f
from benchflow.review.log.picture_facts import PictureFact
from benchflow.review.log.teardown_log import TeardownFact

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
    "pictures": PictureFact,
    "teardown_records": TeardownFact,
}
"""The fact types by table name, which is the field name in :class:`benchflow.review.log.facts.Facts`.

A teardown has ``teardown_records`` only, with one row."""


def _is_json(field_type: Any) -> bool:
    options = get_args(field_type) if isinstance(field_type, UnionType) else (field_type,)
    kinds = [option for option in options if option is not type(None)]
    return get_origin(kinds[0]) in (dict, tuple) or kinds[0] is f.LogTime


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
