"""Exports sessions for process mining: XES, IEEE 1849-2016.

A session is a trace: two sessions of one unit are two traces. Starting, pausing, resuming and finishing an operation
are the lifecycle of one activity; every entry is a separate activity that is complete at once. Extensions and keys are
those of the standard: concept, lifecycle, org and time. Other data has keys of this program, without a prefix. The
attribute ``format`` of a trace is the format of its log. In format 1, kinds of events have the names of version 0.1.
"""

from collections import Counter
from collections.abc import Iterable
from typing import Any, Final
from xml.etree.ElementTree import Element, ElementTree, SubElement, indent

from benchflow.base.plaintext import clean
from benchflow.review.interchange.event_rows import COLUMNS, event_row
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.log.timestamps import parse_timestamp

_EXTENSIONS: Final = (
    ("Concept", "concept", "http://www.xes-standard.org/concept.xesext"),
    ("Lifecycle", "lifecycle", "http://www.xes-standard.org/lifecycle.xesext"),
    ("Organizational", "org", "http://www.xes-standard.org/org.xesext"),
    ("Time", "time", "http://www.xes-standard.org/time.xesext"),
)
_OTHER_KEYS: Final = ("session", "unit", "at", "by", "kind", "format", "event")
"""The columns of a row that an event or its trace has under another key. ``event``, the number of the event that is
corrected, has the key ``corrects``."""


def as_xes(logs: Iterable[LoadedLog]) -> bytes:
    """The sessions as one XES document, in UTF-8."""
    root = Element("log", {
        "xes.version": "1849.2016", "xes.features": "", "xmlns": "http://www.xes-standard.org/",
    })  # fmt: skip
    for name, prefix, uri in _EXTENSIONS:
        SubElement(root, "extension", {"name": name, "prefix": prefix, "uri": uri})
    _add_global_attributes(root)
    SubElement(root, "classifier", {"name": "Activity", "keys": "concept:name"})
    SubElement(root, "classifier", {"name": "Activity-and-lifecycle", "keys": "concept:name lifecycle:transition"})
    _add_attribute(root, "string", "concept:name", "benchflow sessions")
    kept = _without_copies(logs)
    sessions = Counter(log.facts.session.session for log in kept)
    for log in kept:
        _add_trace(root, log, forked=sessions[log.facts.session.session] > 1)
    indent(root)
    from io import BytesIO

    out = BytesIO()
    ElementTree(root).write(out, encoding="utf-8", xml_declaration=True)
    return out.getvalue() + b"\n"


def _without_copies(logs: Iterable[LoadedLog]) -> list[LoadedLog]:
    """The logs without those that another one continues: copies, and earlier states of one log."""
    found = list(logs)
    hashes = [{line.hash for line in log.lines} for log in found]

    def is_copy(number: int, log: LoadedLog) -> bool:
        head = log.lines[-1].hash
        return any(
            head in known and (len(found[other].lines) > len(log.lines) or other < number)
            for other, known in enumerate(hashes)
            if other != number
        )

    return [log for number, log in enumerate(found) if not is_copy(number, log)]


def _add_global_attributes(root: Element) -> None:
    """The attributes of every trace and event, with default values, as the standard requires."""
    trace = SubElement(root, "global", {"scope": "trace"})
    _add_attribute(trace, "string", "concept:name", "UNKNOWN")
    event = SubElement(root, "global", {"scope": "event"})
    _add_attribute(event, "string", "concept:name", "UNKNOWN")
    _add_attribute(event, "string", "lifecycle:transition", "complete")
    _add_attribute(event, "string", "org:resource", "UNKNOWN")
    _add_attribute(event, "date", "time:timestamp", "1970-01-01T00:00:00.000+00:00")


def _add_trace(root: Element, log: LoadedLog, *, forked: bool) -> None:
    """Add one session. Of a ``forked`` session there are two logs, so its name has the end of the log too."""
    session, procedure = log.facts.session, log.procedure
    trace = SubElement(root, "trace")
    ident = f"{session.session[:16]}-{session.head[:8]}" if forked else session.session[:16]
    name = f"{session.unit} ({ident})" if session.unit else ident
    _add_attribute(trace, "string", "concept:name", name)
    _add_attribute(trace, "string", "session", session.session)
    _add_attribute(trace, "string", "unit", session.unit)
    _add_attribute(trace, "string", "procedure", procedure.id)
    _add_attribute(trace, "string", "revision", procedure.revision)
    _add_attribute(trace, "string", "procedure_sha256", session.procedure)
    _add_attribute(trace, "boolean", "simulated", session.simulated)
    _add_attribute(trace, "int", "format", log.format)
    for name, value in session.options.items():
        _add_attribute(trace, "string", f"option:{name}", value)
    start = "; ".join(f"{name}={'not known' if value is None else value}" for name, value in session.start.items())
    if start:  # names of places are not XML names, so they cannot be keys
        _add_attribute(trace, "string", "start", start)
    open_steps = [step for step in log.plan.steps if step not in log.finished]
    if open_steps:
        _add_attribute(trace, "string", "open_steps", "; ".join(open_steps))
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
        for key in COLUMNS:
            if key in row and key not in _OTHER_KEYS:
                _add_attribute(event, _type_of(row[key]), key, row[key])
        if "event" in row:
            _add_attribute(event, "int", "corrects", row["event"])


def _type_of(value: Any) -> str:
    """The XES type of a value. Figures stay text, so that none of their digits is lost."""
    return "boolean" if isinstance(value, bool) else "int" if isinstance(value, int) else "string"


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
