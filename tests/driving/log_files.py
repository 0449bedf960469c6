"""Writes logs that contain only notes, with or without the journal, and reads the events of a log file."""

import json
import re
from collections.abc import Callable, Iterator, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

import rfc8785

from benchflow.session.log.journal import Draft, Journal

AT = "2026-03-01T18:30:00.000Z"


def note_draft(number: int = 0, **fields: Any) -> Draft:
    return Draft(AT, "R.", "noted", {"text": f"note {number}, 60 N·m", **fields})


def write_log(path: Path, events: int) -> bytes:
    """Write a valid log of ``events`` notes. Returns its bytes."""
    with Journal.create(path) as journal:
        for number in range(events):
            journal.append([note_draft(number)])
    return path.read_bytes()


def foreign_log(bodies: Sequence[dict[str, Any]], dump: Callable[[Any], str] = json.dumps) -> bytes:
    """A valid log written without the code under test. ``dump`` turns each line into JSON."""
    prev = "0" * 64
    pieces = []
    for seq, data in enumerate(bodies, start=1):
        line: dict[str, Any] = {"kind": "noted", "seq": seq, "prev": prev, "data": data, "by": "R.", "at": AT}
        prev = sha256(rfc8785.dumps(line)).hexdigest()
        pieces.append(dump({"hash": prev, **line}).encode() + b"\n")
    return b"".join(pieces)


def events_in(log: Path) -> list[dict[str, Any]]:
    """The events of a log file, each parsed from its line."""
    return [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]


def texts_in(log: Path) -> list[str]:
    """Every text in the data of a log's events, without the hashes: a hash can contain a short text by chance."""

    def texts(value: Any) -> Iterator[str]:
        if isinstance(value, dict):
            for inner in value.values():
                yield from texts(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from texts(inner)
        elif isinstance(value, str) and not re.fullmatch("[0-9a-f]{64}", value):
            yield value

    return [text for event in events_in(log) for text in texts(event["data"])]
