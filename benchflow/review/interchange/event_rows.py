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
    "lubricant", "nut_factor", "need", "title", "range", "stated_uncertainty", "k", "calibrated", "due",
    "options", "start", "open_steps", "intent", "of", "more",
)  # fmt: skip
"""``unit`` is the unit under build, ``measured_in`` the unit of the value; ``text`` is a reason, a note or the like.
``together`` is true for a fastener that was entered together with others. ``need`` to ``due`` describe an instrument.
``options`` and ``start`` are ``name=value``, with semicolons between them. ``open_steps`` are the steps that were not
done: in the row of the end of the job, or in the last row of a job that has not ended. ``more`` is a JSON object with
every field of the event that has no column."""

LEFT_OUT: Final = {
    "procedure": "the whole text of the procedure; its SHA-256 is exported, and the log has the text",
    "sent": "the intent that wrote the event; the event has the same data, judged",
}
"""The fields that rows do not have, with the reason."""

_COPIED_FIELDS: Final = (
    "operation", "name", "reading", "verdict", "limit", "decision", "conformity", "instrument", "serial",
    "joint", "stage", "fastener", "together", "check", "take", "consumable", "lot", "role", "self_signed", "about",
    "move", "variable", "event", "lubricant", "nut_factor", "need", "title", "range", "k", "calibrated", "due",
    "intent", "of",
)  # fmt: skip
_TEXT_FIELDS: Final = ("text", "reason", "do", "filled", "value", "what", "repair", "finding")
_PAIR_FIELDS: Final = ("options", "start")
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")


def event_row(log: LoadedLog, line: Line) -> dict[str, Any]:
    """One event as a dict. Its keys are those of :data:`COLUMNS` that the event has."""
    data = dict(line.data)
    if log.format < FORMAT and "verdict" in data:
        data["verdict"] = getattr(event_of(line), "verdict", data["verdict"])
    session = log.facts.session
    row: dict[str, Any] = {
        "session": session.session, "unit": session.unit, "seq": line.seq, "at": line.at,
        "by": line.by, "kind": line.kind, "format": log.format,
    }  # fmt: skip
    if data.get("unit") == session.unit:
        del data["unit"]
    for name in (*LEFT_OUT, "format"):
        if name != "format" or data.get(name) == log.format:
            data.pop(name, None)
    row.update((name, data.pop(name)) for name in _COPIED_FIELDS if _is_plain(data.get(name)))
    _move_quantity(data, row)
    _move_clock(data, row)
    for name in _PAIR_FIELDS:
        if isinstance(data.get(name), dict):
            row[name] = "; ".join(f"{key}={_word(value)}" for key, value in data.pop(name).items())
    open_steps = data.pop("open_operations", None) or (_steps_not_done(log) if line is log.lines[-1] else ())
    if open_steps:
        row["open_steps"] = "; ".join(open_steps)
    text = next((name for name in _TEXT_FIELDS if isinstance(data.get(name), str) and data[name]), None)
    if text is not None:
        row["text"] = data.pop(text)
    more = {name: value for name, value in data.items() if value not in (None, "", [], {})}
    if more:
        row["more"] = msgspec.json.encode(more).decode()
    return row


def _is_plain(value: Any) -> bool:
    return isinstance(value, str | int | float) and value != ""


def _word(value: Any) -> str:
    return "not known" if value is None else str(value)


def _move_quantity(data: dict[str, Any], row: dict[str, Any]) -> None:
    """Move the quantity of an entry and its uncertainty to the row, and the uncertainty of an instrument, a text."""
    quantity = data.pop("quantity", None)
    if quantity:
        row |= {"value": quantity["value"], "measured_in": quantity["unit"], "entered": quantity["entered"]}
    uncertainty = data.get("uncertainty")
    if isinstance(uncertainty, str) and uncertainty:
        row["stated_uncertainty"] = data.pop("uncertainty")
    elif isinstance(uncertainty, dict):
        row["uncertainty"] = uncertainty["value"]
        if uncertainty["unit"] == row.get("measured_in") and uncertainty["entered"].startswith(uncertainty["value"]):
            del data["uncertainty"]


def _move_clock(data: dict[str, Any], row: dict[str, Any]) -> None:
    clock = data.pop("clock", None)
    if clock:
        row |= {"boot": clock.get("boot", clock.get("run")), "ms": clock["ms"]}
        if data.get("boot") == row["boot"]:
            del data["boot"]


def _steps_not_done(log: LoadedLog) -> tuple[str, ...]:
    """The steps that are not done in a job that has not ended."""
    return () if log.facts.session.closed else tuple(name for name in log.plan.steps if name not in log.finished)


def as_csv(logs: Iterable[LoadedLog]) -> Iterator[str]:
    """The events as CSV (RFC 4180) with a header row. An apostrophe is put before text that a spreadsheet would run."""
    yield _csv_line(COLUMNS)
    for log in logs:
        for line in log.lines:
            row = event_row(log, line)
            yield _csv_line(tuple(csv_cell(row.get(name, "")) for name in COLUMNS))


def csv_cell(value: Any) -> str:
    """A cell of CSV as text, with an apostrophe before what a spreadsheet would run."""
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
