"""Reads what a draft is made from: the log of a teardown, a table or a list."""

from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.writing.drafts.draft_book import DraftBook, sentence_case
from benchflow.writing.drafts.list_draft import draft_from_list
from benchflow.writing.drafts.part_words import moving_words
from benchflow.writing.drafts.table_reader import MOST_BYTES, read_table
from benchflow.writing.drafts.teardown_draft import draft_from_teardown

_MARKDOWN = (".md", ".markdown", ".mdown")
_SPREADSHEETS = (".xlsx", ".xls", ".xlsm", ".ods", ".numbers")


class DraftSource(Struct, frozen=True):
    """A draft as read: its content, the parts or steps to ask about collisions, and remarks about the file."""

    book: DraftBook
    titles: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def read_draft_source(path: Path) -> DraftSource:
    """The draft of the file at ``path``.

    Raises:
        BenchflowError: it cannot be read, or is neither a teardown log nor a list of steps.
    """
    if path.suffix.lower() in _SPREADSHEETS:
        raise BenchflowError(f"{path} is a spreadsheet file. Save its table as CSV (UTF-8), and draft from that.")
    try:
        data = read_regular_file(path, MOST_BYTES + 1)
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror or error}.") from error
    if not data.strip():
        raise BenchflowError(f"{path} is empty. Draft from a teardown log, a CSV table or a Markdown list.")
    if path.suffix.lower() == ".jsonl" or data.startswith(b'{"at":'):
        from benchflow.session.log.log_check import verify
        from benchflow.session.teardown.fold_teardown import load_teardown

        record = load_teardown(path)
        damage = verify(path).damage
        if not any(line.is_off for line in record.lines):
            raise BenchflowError(f"Nothing came off in {path} yet. Continue it: benchflow teardown {path}")
        titles = tuple(line.description.what for line in reversed(record.lines) if line.is_off)
        book = draft_from_teardown(record, path.name)
        if damage is not None:  # nothing else would show that the draft is cut off
            why = "the log is damaged from there on, so the draft has only what was logged before"
            book.head[1:1] = [book.keep(f"line {damage.line} of the log", damage.what, why, refused=True), f"({why})"]
        return DraftSource(book, titles)
    if path.suffix.lower() in _MARKDOWN:
        from benchflow.writing.drafts.markdown_reader import read_markdown  # late: only a Markdown list needs it

        found = read_markdown(data, path.name)
    else:
        try:
            found = read_table(data, path.name)
        except BenchflowError:
            if path.suffix.lower() != ".txt":
                raise
            from benchflow.writing.drafts.markdown_reader import read_markdown  # late: only a list of lines needs it

            found = read_markdown(data, path.name)
    book = draft_from_list(found, path.name, sentence_case(path.stem.replace("-", " ").replace("_", " ")))
    parts = [row.cells["part"].text for row in found.rows if "part" in row.cells]
    steps = [row.cells["step"].text for row in found.rows if "step" in row.cells]
    # Pairs of single words out of sentences are asked only where no sentence says itself what must never happen.
    words = [] if book.questions else [word for step in steps for word in moving_words(step)]
    titles = tuple(parts or words)
    return DraftSource(book, titles, found.remarks)
