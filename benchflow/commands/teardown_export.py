"""``export`` of teardown logs: Markdown, CSV with one row per line, or JSON Lines."""

import csv
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from benchflow.base.errors import BenchflowError

if TYPE_CHECKING:
    from benchflow.review.sheets.pictures_on_sheet import SheetPicture
    from benchflow.session.teardown.teardown_record import TeardownLine, TeardownRecord

COLUMNS = (
    "unit", "assembly", "line", "off", "thing", "count", "places", "fasteners", "kept_in", "marks", "faces",
    "condition", "measured", "state", "fate", "goes_with", "found", "words", "at", "by",
)  # fmt: skip


def teardowns_as(form: str, paths: list[Path]) -> str:
    """The teardown logs at ``paths`` in one of the forms csv, jsonl and markdown.

    Raises:
        BenchflowError: a teardown has no such form, or a log cannot be read.
    """
    from benchflow.session.teardown.fold_teardown import load_teardown
    from benchflow.session.teardown.teardown_markdown import record_as_markdown

    if form not in ("csv", "jsonl", "markdown"):
        raise BenchflowError(f"A teardown cannot be exported as {form}. Use csv, jsonl or markdown.")
    records = [load_teardown(path) for path in paths]
    if form == "markdown":
        return "\n".join(map(record_as_markdown, records))
    if form == "jsonl":
        return "".join(msgspec.json.encode(record).decode() + "\n" for record in records)
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for record in records:
        writer.writerows(_row(record, line) for line in record.lines)
    return out.getvalue()


def pictures_of_teardown(path: Path) -> "list[SheetPicture]":
    """The pictures of the teardown log at ``path``, in the order of their events.

    Raises:
        BenchflowError: the log cannot be read.
    """
    from benchflow.review.sheets.pictures_on_sheet import sheet_picture
    from benchflow.session.pictures.picture_file import PictureFacts
    from benchflow.session.teardown.fold_teardown import load_teardown

    record = load_teardown(path)
    found = [(one, "", record.what) for one in record.pictures]
    found += [(one, line.id, line.description.what) for line in record.lines for one in line.pictures]
    return [
        sheet_picture(
            path, PictureFacts(one.name, one.sha256, one.size, one.type, one.width, one.height), event=one.event,
            operation=line, title=what, text=one.text,
        )
        for one, line, what in sorted(found, key=lambda each: each[0].event)
    ]  # fmt: skip


def _row(record: "TeardownRecord", line: "TeardownLine") -> list[str]:
    """The cells of one line of a teardown, in the order of :data:`COLUMNS`."""
    from benchflow.review.interchange.event_rows import csv_cell
    from benchflow.session.teardown.part_text import (
        fasteners_text,
        fate_text,
        finding_text,
        reading_text_of,
    )
    from benchflow.session.teardown.teardown_record import valid_readings

    def by_place(texts: list[tuple[str, str]]) -> str:
        return "; ".join(f"{place}: {text}" if place else text for place, text in texts if text)

    each = line.description
    cells = (
        record.unit, record.what, line.id, "yes" if line.is_off else "put back", each.what, str(each.count),
        ", ".join(each.places), "; ".join(map(fasteners_text, each.fasteners)), each.container, each.marks,
        each.orientation, each.condition, "; ".join(map(reading_text_of, valid_readings(line.values))), each.state,
        by_place([(part.place, fate_text(part.fate, part.fate_reason)) for part in line.parts]),
        by_place([(part.place, part.partner) for part in line.parts]),
        by_place([(part.place, finding_text(found)) for part in line.parts for found in part.found]),
        each.remark, line.at, line.by,
    )  # fmt: skip
    return [csv_cell(cell) for cell in cells]
