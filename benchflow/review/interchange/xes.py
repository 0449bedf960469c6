"""Exports sessions for process mining: XES, IEEE 1849-2016.

A session is a trace. Starting, pausing, resuming and finishing an operation are the lifecycle of one activity; every
entry is a separate activity that is complete at once. Extensions and keys are those of the standard: concept,
lifecycle, org and time. Other data has keys of this program, without a prefix. The attribute ``format`` of a trace is
the format of its log. In format 1, kinds of events have the names of version 0.1.
"""

from collections.abc import Iterable
from typing import Any, Final
from xml.etree.ElementTree import Element, ElementTree, SubElement, indent

from benchflow.base.plaintext import clean
from benchflow.review.interchange.event_rows import event_row
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.log.timestamps import parse_timestamp

_EXTENSIONS: Final = (
    ("Concept", "concept", "http://www.xes-standard.org/concept.xesext"),
    ("Lifecycle", "lifecycle", "http://www.xes-standard.org/lifecycle.xesext"),
    ("Organizational", "org", "http://www.xes-standard.org/org.xesext"),
    ("Time", "time", "http://www.xes-standard.org/time.xesext"),
)
_TEXT_KEYS: Final = (
    "operation", "name", "reading", "value", "measured_in", "entered", "verdict", "limit", "decision",
    "uncertainty", "conformity", "instrument", "serial", "joint", "take", "consumable", "lot", "role", "about",
    "move", "variable", "text",
)  # fmt: skip
_INTEGER_KEYS: Final = ("seq", "stage", "fastener", "check", "event", "ms")


def as_xes(logs: Iterable[LoadedLog]) -> bytes:
    """The sessions as one XES document, in UTF-8."""
    root = Element("log", {
        "xes.version": "1849-2016", "xes.features": "", "xmlns": "http://www.xes-standard.org/",
    })  # fmt: skip
    for name, prefix, uri in _EXTENSIONS:
        SubElement(root, "extension", {"name": name, "prefix": prefix, "uri": uri})
    _add_global_attributes(root)
    SubElement(root, "classifier", {"name": "Activity", "keys": "concept:name"})
    SubElement(root, "classifier", {"name": "Activity and lifecycle", "keys": "concept:name lifecycle:transition"})
    _add_attribute(root, "string", "concept:name", "benchflow sessions")
    for log in logs:
        _add_trace(root, log)
    indent(root)
    from io import BytesIO

    out = BytesIO()
    ElementTree(root).write(out, encoding="utf-8", xml_declaration=True)
    return out.getvalue() + b"\n"


def _add_global_attributes(root: Element) -> None:
    """The attributes of every trace and event, with default values, as the standard requires."""
    trace = SubElement(root, "global", {"scope": "trace"})
    _add_attribute(trace, "string", "concept:name", "UNKNOWN")
    event = SubElement(root, "global", {"scope": "event"})
    _add_attribute(event, "string", "concept:name", "UNKNOWN")
    _add_attribute(event, "string", "lifecycle:transition", "complete")
    _add_attribute(event, "string", "org:resource", "UNKNOWN")
    _add_attribute(event, "date", "time:timestamp", "1970-01-01T00:00:00.000+00:00")


def _add_trace(root: Element, log: LoadedLog) -> None:
    session, procedure = log.facts.session, log.procedure
    trace = SubElement(root, "trace")
    _add_attribute(trace, "string", "concept:name", session.unit or session.session[:16])
    _add_attribute(trace, "string", "session", session.session)
    _add_attribute(trace, "string", "procedure", procedure.id)
    _add_attribute(trace, "string", "revision", procedure.revision)
    _add_attribute(trace, "string", "procedure_sha256", session.procedure)
    _add_attribute(trace, "boolean", "simulated", session.simulated)
    _add_attribute(trace, "int", "format", log.format)
    for name, value in session.options.items():
        _add_attribute(trace, "string", f"option:{name}", value)
    started: set[str] = set()
    for line in log.lines:
        row = event_row(log, line)
        event = SubElement(trace, "event")
        name, transition = _activity_and_transition(log, row, started)
        _add_attribute(event, "string", "concept:name", name)
        _add_attribute(event, "string", "lifecycle:transition", transition)
        _add_attribute(event, "string", "org:resource", line.by)
        _add_attribute(event, "date", "time:timestamp", parse_timestamp(line.at).isoformat(timespec="milliseconds"))
        _add_attribute(event, "string", "kind", line.kind)
        for key in _INTEGER_KEYS:
            if key in row:
                _add_attribute(event, "int", key, row[key])
        for key in _TEXT_KEYS:
            if key in row:
                _add_attribute(event, "string", key, row[key])
        if "self_signed" in row:
            _add_attribute(event, "boolean", "self_signed", row["self_signed"])


def _activity_and_transition(log: LoadedLog, row: dict[str, Any], started: set[str]) -> tuple[str, str]:
    """The name of the activity, and its lifecycle transition."""
    operation, kind = str(row.get("operation", "")), row["kind"]
    step = log.plan.steps.get(operation)
    title = step.title if step is not None else operation
    if kind == "started":
        transition = "resume" if operation in started else "start"
        started.add(operation)
        return title, transition
    if kind == "paused":
        return title, "suspend"
    if kind == "finished":
        started.discard(operation)
        return title, "complete"
    if kind == "undone":
        started.discard(operation)
        return f"rework: {title}", "complete"
    subject = next((str(row[key]) for key in ("name", "joint", "consumable", "move", "variable") if key in row), title)
    return f"{kind}: {subject}" if subject else kind, "complete"


def _add_attribute(parent: Element, tag: str, key: str, value: Any) -> None:
    text = str(value).lower() if isinstance(value, bool) else clean(str(value))
    SubElement(parent, tag, {"key": clean(key), "value": text})
