"""Exports events as flat rows: CSV and JSON Lines.

Each event names the ``format`` of its log. Rows have the verdicts of today (``ok``, ``low``, ``high``, ``not-proven``)
for logs of format 1 too; kinds of events stay as they were written. JSON Lines repeat the data of the log unchanged.
"""

import csv
from collections.abc import Iterable, Iterator
from io import StringIO
from typing import Any, Final

import msgspec

from benchflow.base.plaintext import clean
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.margin import number
from benchflow.session.log.line_format import Line
from benchflow.session.state.events import FORMAT, event_of

COLUMNS: Final = (
    "session", "unit", "seq", "at", "by", "kind", "operation", "name", "reading", "value", "measured_in",
    "entered", "verdict", "limit", "decision", "uncertainty", "conformity", "instrument", "serial",
    "joint", "stage", "fastener", "together", "check", "take", "consumable", "lot", "role", "self_signed", "about",
    "move", "variable", "event", "text", "boot", "ms", "format",
)  # fmt: skip
"""``unit`` is the unit under build, ``measured_in`` the unit of the value; ``text`` is a reason, a note or the like.
``together`` is true for a fastener that was entered together with others."""

_COPIED_FIELDS: Final = (
    "operation", "name", "reading", "verdict", "limit", "decision", "conformity", "instrument", "serial",
    "joint", "stage", "fastener", "together", "check", "take", "consumable", "lot", "role", "self_signed", "about",
    "move", "variable", "event",
)  # fmt: skip
_TEXT_FIELDS: Final = ("text", "reason", "do", "filled", "value", "what", "repair")
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")


def event_row(log: LoadedLog, line: Line) -> dict[str, Any]:
    """One event as a dict. Its keys are those of :data:`COLUMNS` that the event has."""
    data = line.data
    if log.format < FORMAT and "verdict" in data:
        data = {**data, "verdict": getattr(event_of(line), "verdict", data["verdict"])}
    row: dict[str, Any] = {
        "session": log.facts.session.session, "unit": log.facts.session.unit, "seq": line.seq, "at": line.at,
        "by": line.by, "kind": line.kind, "format": log.format,
    }  # fmt: skip
    row.update((name, data[name]) for name in _COPIED_FIELDS if data.get(name) is not None)
    quantity = data.get("quantity")
    if quantity:
        row |= {"value": quantity["value"], "measured_in": quantity["unit"], "entered": quantity["entered"]}
    uncertainty = data.get("uncertainty")
    if isinstance(uncertainty, dict):  # the uncertainty of an instrument is a text
        row["uncertainty"] = uncertainty["value"]
    clock = data.get("clock")
    if clock:
        row |= {"boot": clock.get("boot", clock.get("run")), "ms": clock["ms"]}
    text = next((data[name] for name in _TEXT_FIELDS if isinstance(data.get(name), str) and data[name]), None)
    if text is not None:
        row["text"] = text
    return row


def as_csv(logs: Iterable[LoadedLog]) -> Iterator[str]:
    """The events as CSV (RFC 4180) with a header row. An apostrophe is put before text that a spreadsheet would run."""
    yield _csv_line(COLUMNS)
    for log in logs:
        for line in log.lines:
            row = event_row(log, line)
            yield _csv_line(tuple(_csv_cell(row.get(name, "")) for name in COLUMNS))


def _csv_cell(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    text = clean(str(value))
    harmless = number(text) is not None or not text.startswith(_FORMULA_STARTS)
    return text if harmless else f"'{text}"


def _csv_line(cells: tuple[str, ...]) -> str:
    out = StringIO()
    csv.writer(out).writerow(cells)
    return out.getvalue()


def as_json_lines(logs: Iterable[LoadedLog]) -> Iterator[str]:
    """The events as in the log, each with its session, unit and format. The procedure text of the first event is
    left out; its SHA-256 stays."""
    for log in logs:
        session = log.facts.session
        for line in log.lines:
            data = {name: value for name, value in line.data.items() if name != "procedure"}
            event = {
                "session": session.session, "unit": session.unit, "format": log.format, "seq": line.seq,
                "at": line.at, "by": line.by, "kind": line.kind, "data": data, "hash": line.hash,
            }  # fmt: skip
            yield msgspec.json.encode(event).decode() + "\n"
