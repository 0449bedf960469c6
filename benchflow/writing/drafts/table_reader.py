"""Reads a table from a CSV file as spreadsheets write it: any delimiter, a byte order mark, text in an old encoding."""

import csv
import io
import re
from collections.abc import Iterator

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean, clean_line
from benchflow.writing.drafts.list_cells import Cell, Column, ListRow, ReadList, heading_columns

DELIMITERS = (",", ";", "\t", "|")
_DELIMITER_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_ROWS_BEFORE_HEADINGS = 15
MOST_BYTES = 5_000_000
MOST_ROWS = 5_000


def decoded(data: bytes, name: str) -> tuple[str, list[str]]:
    """The text of a file, and remarks about its encoding.

    Raises:
        BenchflowError: it is a spreadsheet or another binary file, or too large.
    """
    if data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise BenchflowError(f"{name} is a spreadsheet file. Save its table as CSV (UTF-8), and draft from that.")
    if len(data) > MOST_BYTES:
        raise BenchflowError(f"{name} has {len(data):,} bytes. A list has at most {MOST_BYTES:,}. Split it.")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), []
        except UnicodeDecodeError as error:
            raise BenchflowError(f"{name} begins as UTF-16, but is not UTF-16. Save it as CSV in UTF-8.") from error
    if b"\0" in data:
        raise BenchflowError(f"{name} is not a text file. Save the table as CSV (UTF-8).")
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        remark = f"line {line}: not UTF-8, so the file was read as Windows-1252. Check characters such as µ, °, ±"
        return data.decode("cp1252", errors="replace"), [remark]


def read_table(data: bytes, name: str) -> ReadList:
    """The rows of a CSV file; ``name`` is its name in messages.

    Raises:
        BenchflowError: it is not a table of steps.
    """
    text, remarks = decoded(data, name)
    delimiter, records = _best(text)
    if not any(any(cell.strip() for cell in cells) for _, cells in records):
        raise BenchflowError(f"{name} has no rows. Save the table as CSV with its heading row.")
    if line := _unclosed_quote(text, delimiter):
        raise BenchflowError(f"{name}: the quote that begins in line {line} is not closed. Close it, or remove it.")
    if len(records) > MOST_ROWS:
        raise BenchflowError(f"{name} has {len(records):,} rows. A list has at most {MOST_ROWS:,}. Split it.")
    if delimiter != ",":
        remarks.append(f"the columns are separated by {_DELIMITER_NAMES[delimiter]}s")
    rows, words = table_rows(records, remarks, "row")
    if rows is None:
        raise BenchflowError(
            f"{name}: none of the first {_ROWS_BEFORE_HEADINGS} rows is a row of headings. Write one above the first "
            "step, with words such as: step, torque, limit, unit, tool, note, part, quantity."
        )
    if not rows:
        raise BenchflowError(f"{name} has headings, but no row under them. Write the steps below the headings.")
    return ReadList(tuple(rows), words=tuple(words), remarks=tuple(remarks))


def _unclosed_quote(text: str, delimiter: str) -> int:
    """The line of a quote that is not closed, or closed in a later row, so that rows become one cell; 0 if none."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    try:
        for _ in reader:
            line = reader.line_num + 1
    except csv.Error as error:
        return line if "unexpected end of data" in str(error) or reader.line_num > line else 0
    return 0


def _best(text: str) -> tuple[str, list[tuple[int, list[str]]]]:
    """The delimiter with the most known headings, or else the most columns; and the rows with their numbers."""
    best: tuple[tuple[int, int], str, list[tuple[int, list[str]]]] | None = None
    for delimiter in DELIMITERS:
        records = list(_records(text, delimiter))
        found = [columns for _, cells in records[:40] if (columns := heading_columns(cells))]
        known = max((sum(bool(column.meaning) for column in columns) for columns in found), default=0)
        width = max((len(cells) for _, cells in records[:40]), default=0)
        if best is None or (known, width) > best[0]:
            best = (known, width), delimiter, records
    assert best is not None  # there are delimiters
    return best[1], best[2]


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Each record with the line that it begins on."""
    csv.field_size_limit(MOST_BYTES)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            cells = [f"line {line} cannot be read as CSV"]
        yield line, [clean(cell).strip() for cell in cells]
        line = reader.line_num + 1


def table_rows(
    records: list[tuple[int, list[str]]], remarks: list[str], row_word: str
) -> tuple[list[ListRow] | None, list[Cell]]:
    """The rows under a row of headings, and the words above it; ``None`` if no row is one.

    A second row of headings begins another table, with its own columns.
    """
    columns: list[Column] | None = None
    rows: list[ListRow] = []
    words: list[Cell] = []
    empty = 0
    for number, (line, cells) in enumerate(records, 1):
        place = f"{row_word} {line}"
        if not any(cells):
            empty += 1
            continue
        found = heading_columns(cells)
        if found is not None and (columns is None or _are_other_headings(found, cells, columns)):
            if columns is not None:
                remarks.append(f"{place}: another row of headings, so another table begins")
            columns = found
            unknown = [column.heading for column in found if not column.meaning and column.heading]
            if unknown:
                remarks.append(f"{place}: unknown columns, kept as notes: {', '.join(unknown)}")
            continue
        if columns is None:
            if number > _ROWS_BEFORE_HEADINGS:
                return None, words
            words += [Cell(cell, place) for cell in cells if cell]
            continue
        rows.append(_row(cells, columns, place))
    if empty:
        remarks.append(f"{empty} empty row{'s' if empty > 1 else ''} left out")
    return (None if columns is None else with_headings(rows)), words


def _are_other_headings(found: list[Column], cells: list[str], columns: list[Column]) -> bool:
    """True for the headings of a table, not for a step that has one of their words in its cells."""
    known = sum(bool(column.meaning) for column in found)
    return known >= 2 and known * 2 > sum(bool(cell) for cell in cells)


def _row(cells: list[str], columns: list[Column], place: str) -> ListRow:
    known: dict[str, Cell] = {}
    unknown: list[tuple[str, Cell]] = []
    for index, cell in enumerate(cells):
        if not cell:
            continue
        column = columns[index] if index < len(columns) else Column(f"column {index + 1}")
        at = Cell(cell, f"{place}, column {column.heading or index + 1}")
        if column.meaning == "step" and "step" in known and re.fullmatch(r"\d{1,4}[.)]?", known["step"].text):
            known["number"] = known.pop("step")  # a column Step with numbers beside one with the words
        if column.meaning in ("torque", "limit") and (both := _in_both_units(known, column, cell)):
            known[column.meaning] = Cell(both, known[column.meaning].place)
            del known[f"unit of {column.meaning}"]
        elif column.meaning and column.meaning not in known:
            known[column.meaning] = at
            if column.unit:
                known.setdefault(f"unit of {column.meaning}", Cell(column.unit, at.place))
        else:
            unknown.append((column.heading or f"column {index + 1}", at))
    return ListRow(place, known, tuple(unknown), of_steps=any(column.meaning == "step" for column in columns))


def _in_both_units(known: dict[str, Cell], column: Column, cell: str) -> str:
    """A figure of two columns with different units, as a page prints it: ``90 Nm (66 ft-lb)``; "" if it is not one."""
    first, unit = known.get(column.meaning), known.get(f"unit of {column.meaning}")
    if first is None or unit is None or not column.unit or unit.text == column.unit:
        return ""
    numbers = r"\d*\.?\d+(?:\s*(?:-|–|\.\.|to)\s*\d*\.?\d+)?"
    if not re.fullmatch(numbers, first.text) or not re.fullmatch(numbers, cell):
        return ""
    return f"{first.text} {unit.text} ({cell} {column.unit})"


def with_headings(rows: list[ListRow]) -> list[ListRow]:
    """The rows; a row whose single cell is a heading of the rows under it becomes the title of a section."""
    return [
        ListRow(row.place, heading=clean_line(next(iter(row.cells.values())).text).rstrip(": "))
        if _is_heading(row, rows[index + 1] if index + 1 < len(rows) else None)
        else row
        for index, row in enumerate(rows)
    ]


def _is_heading(row: ListRow, following: ListRow | None) -> bool:
    """True for a row that only names what follows. A row that begins as an instruction is a step."""
    if len(row.cells) != 1 or row.unknown or following is None:
        return False
    (meaning, cell), *_ = row.cells.items()
    if meaning not in ("section", "number", "step"):
        return False
    text = clean_line(cell.text)
    if meaning == "section" or text.endswith(":") or (text.isupper() and len(text) > 3):
        return True
    words = text.split()
    plain = len(words) <= 5 and not any(sign.isdigit() for sign in text)
    followed = len(following.cells) + len(following.unknown) > 1
    return plain and followed and words[0].lower() not in INSTRUCTIONS


_VERBS = """
add adjust align apply assemble attach bleed bolt bring check clean coat connect cut deburr degrease disconnect drain
dress drive dry fill fit flush grease hang heat hold insert inspect install join lay level lift line locate loosen lower
lubricate mark measure mount oil open paint place plug polish press prime pull push put read record refit release remove
replace ring rotate run seal seat secure set shim sign slide slip spin start support swing tap test thread tighten
torque touch turn undo unscrew use verify wash wipe
"""
INSTRUCTIONS = frozenset(_VERBS.split())
"""Words that an instruction begins with (common practice, no source)."""
