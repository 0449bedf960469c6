"""A teardown as a Markdown document."""

from collections.abc import Iterator

from benchflow.base.plaintext import clean_line
from benchflow.session.teardown.part_lists import PartLists, entry_text_of, part_lists, titled_lists
from benchflow.session.teardown.part_text import fasteners_text, reading_text_of
from benchflow.session.teardown.prompt_text import line_rows
from benchflow.session.teardown.teardown_record import TeardownRecord, valid_readings


def record_as_markdown(record: TeardownRecord) -> str:
    """The record as a Markdown document: what was measured together, a table of the lines, and the lists."""
    out = [f"# Teardown: {_cell(record.what)}, {_cell(record.unit)}", "", "## While it was together", ""]
    readings = valid_readings(record.together)
    out += [f"- {_cell(reading_text_of(each))}" for each in readings]
    out += [f"- {_cell(item.name)}: skipped, {_cell(item.skipped)}" for item in record.checklist if item.skipped]
    out += [
        "",
        "## What came off, in order",
        "",
        "| line | thing | fasteners | kept in | details |",
        "|---|---|---|---|---|",
    ]  # the head of a table
    for line in record.lines:
        each = line.description
        fasteners = "; ".join(fasteners_text(group) for group in each.fasteners)
        hidden = ("Thing", "Fasteners", "Kept in", "Line")
        details = "; ".join(f"{row.label.lower()}: {row.text}" for row in line_rows(line) if row.label not in hidden)
        count = f"{each.count} × " if each.count > 1 else ""
        cells = (line.id, count + each.what, fasteners, each.container, details)
        out.append(f"| {' | '.join(_cell(cell) for cell in cells)} |")
    out += ["", *(f"Note: {_cell(note.text)}" for note in record.notes), *([""] if record.notes else [])]
    out += _lists(part_lists(record))
    return "\n".join(out)


def _lists(lists: PartLists) -> Iterator[str]:
    """The lists, each with its heading. Empty ones are left out."""
    for title, parts in titled_lists(lists):
        if parts:
            yield f"## {title}"
            yield ""
            yield from (f"- {f'line {part.line}: ' if part.line else ''}{_cell(entry_text_of(part))}" for part in parts)
            yield ""


def _cell(text: str) -> str:
    return clean_line(text).replace("\\", "\\\\").replace("|", "\\|").replace("<", "&lt;")
