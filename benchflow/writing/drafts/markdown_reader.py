"""Reads a Markdown list: tables, numbered and nested lists, headings as sections. Everything else is kept as words."""

import re

from markdown_it import MarkdownIt
from markdown_it.token import Token

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean
from benchflow.writing.drafts.list_cells import Cell, ListRow, ReadList, column_of
from benchflow.writing.drafts.table_reader import decoded, table_rows

_KEYED = re.compile(r"\s*\**([A-Za-z][\w ./-]{0,30}?)\**\s*:\**\s+(\S.*)", re.DOTALL)
_TASK = re.compile(r"\[[ xX]\]\s+")


def read_markdown(data: bytes, name: str) -> ReadList:
    """The rows of a Markdown file; ``name`` is its name in messages.

    Raises:
        BenchflowError: it has neither a list nor a table of steps.
    """
    text, remarks = decoded(data, name)
    text, page_lines = _uniform_lines(text)
    reader = _MarkdownReader(MarkdownIt("commonmark").enable("table").parse(text), remarks)
    reader.read()
    reader.words += page_lines
    if not any(row.cells for row in reader.rows):
        raise BenchflowError(
            f"{name} has no list and no table of steps. Write the steps as a numbered list (1. ...), or as a table "
            "with headings such as: step, torque, limit, unit, tool, note."
        )
    return ReadList(tuple(reader.rows), reader.title, tuple(reader.words), tuple(remarks))


class _MarkdownReader:
    """Goes through the tokens of a Markdown file."""

    def __init__(self, tokens: list[Token], remarks: list[str]) -> None:
        self.tokens, self.remarks = tokens, remarks
        self.rows: list[ListRow] = []
        self.words: list[Cell] = []
        self.title = ""

    def read(self) -> None:
        index = 0
        while index < len(self.tokens):
            token = self.tokens[index]
            end = self._end(index)
            inside = self.tokens[index : end + 1]
            place = _place(token)
            match token.type:
                case "heading_open":
                    self._heading(token, _inline(inside), place)
                case "ordered_list_open" | "bullet_list_open":
                    self._list(inside)
                case "table_open":
                    self._table(inside)
                case "hr":
                    pass
                case _:
                    words = (_inline(inside) or token.content).replace(_NOTHING, "")
                    self.words += [Cell(clean(words).strip(), place)] if words.strip() else []
            index = end + 1

    def _end(self, index: int) -> int:
        """The index of the token that closes the one at ``index``."""
        depth = 0
        for at in range(index, len(self.tokens)):
            depth += self.tokens[at].nesting
            if depth <= 0:
                return at
        return len(self.tokens) - 1

    def _heading(self, token: Token, text: str, place: str) -> None:
        if token.tag == "h1" and not self.title and not self.rows:
            self.title = text
        elif text:
            self.rows.append(ListRow(place, heading=text))

    def _list(self, tokens: list[Token]) -> None:
        for item in _items(tokens):
            own, nested = _split(item)
            place = _place(item[0])
            text = _TASK.sub("", _inline(own), count=1).strip()
            cells, details = {"step": Cell(text, place)}, []
            for detail in _flat(nested):
                keyed = _KEYED.fullmatch(detail.text)
                meaning = column_of(keyed[1]).meaning if keyed else ""
                if keyed and meaning and meaning not in ("step", "number", "section") and meaning not in cells:
                    cells[meaning] = Cell(keyed[2].strip(), detail.place)
                else:
                    details.append(detail)
            if text or details:
                self.rows.append(ListRow(place, cells, details=tuple(details)))

    def _table(self, tokens: list[Token]) -> None:
        records: list[tuple[int, list[str]]] = []
        for index, token in enumerate(tokens):
            if token.type == "tr_open":
                end = next(at for at in range(index, len(tokens)) if tokens[at].type == "tr_close")
                cells = [clean(_plain(each)).strip() for each in tokens[index:end] if each.type == "inline"]
                records.append(((token.map or [0])[0] + 1, cells))
        rows, words = table_rows(records, self.remarks, "line")
        if rows is None:
            self.words += words
            self.remarks.append(f"{_place(tokens[0])}: this table has no known headings. It is kept as words")
            return
        self.rows += rows
        self.words += words


_NUMBERED = re.compile(r"^(\s{0,8})(?:step\s*)?(\d{1,3})\s*(?:[.):]{2,}|[:)])\s*(?=[^\s\d])|"
                       r"^(\s{0,8})step\s+(\d{1,3})\s*[.):-]*\s+(?=\S)", re.IGNORECASE)  # fmt: skip
_LETTERED = re.compile(r"^(\s{0,8})[a-z]\)\s+(?=\S)")
_PAGE_LINE = re.compile(r"^\s*(?:page\s+)?\d{1,4}(?:\s?[-–/]\s?\d{1,4})?\s*$|^\s*-\s?\d{1,4}\s?-\s*$", re.IGNORECASE)


def _uniform_lines(text: str) -> tuple[str, list[Cell]]:
    """The text with numbered steps as Markdown writes them, and the lines with only a page number.

    ``5.) Fit``, ``Step 5: Fit`` and ``a) Fit`` are steps. A page number within a step is taken out of it: its line
    stays, as one of the step, without the number.
    """
    lines: list[str] = []
    pages: list[Cell] = []
    for number, line in enumerate(text.splitlines(), 1):
        if _PAGE_LINE.fullmatch(line):
            pages.append(Cell(line.strip(), f"line {number}"))
            lines.append(_NOTHING if lines and lines[-1].strip() else "")
            continue
        plain = _NUMBERED.sub(lambda found: f"{found[1] or found[3] or ''}{found[2] or found[4]}. ", line)
        lines.append(_LETTERED.sub(r"\1- ", plain))
    return "\n".join(lines), pages


_NOTHING = "\u200b"
"""A line that is not empty, so that it does not end a paragraph, and has no words: a zero-width space."""


def _place(token: Token) -> str:
    return f"line {token.map[0] + 1}" if token.map else "line 1"


def _inline(tokens: list[Token]) -> str:
    return clean(
        "\n".join(_plain(token) for token in tokens if token.type in ("inline", "fence", "code_block"))
    ).strip()


def _plain(token: Token) -> str:
    """The text of a paragraph or cell without emphasis. A line end is a blank; only a hard one is a line end."""
    if not token.children:
        return token.content
    out: list[str] = []
    for child in token.children:
        match child.type:
            case "softbreak":
                out.append(" ")
            case "hardbreak":
                out.append("\n")
            case "link_close" | "link_open":
                out.append(f" ({child.attrs['href']})" if child.attrs.get("href") else "")
            case _:
                out.append(child.content.replace(_NOTHING, ""))
    return re.sub(r" {2,}", " ", "".join(out))


def _items(tokens: list[Token]) -> list[list[Token]]:
    """The tokens of each item of a list, without those of the list itself."""
    found: list[list[Token]] = []
    depth = 0
    for token in tokens:
        if token.type == "list_item_open":
            depth += 1
            if depth == 1:
                found.append([])
        if depth:
            found[-1].append(token)
        if token.type == "list_item_close":
            depth -= 1
    return found


def _split(item: list[Token]) -> tuple[list[Token], list[Token]]:
    """The own paragraphs of an item, and its nested lists."""
    own: list[Token] = []
    nested: list[Token] = []
    depth = 0
    for token in item[1:-1]:
        if token.type in ("ordered_list_open", "bullet_list_open"):
            depth += 1
        (nested if depth else own).append(token)
        if token.type in ("ordered_list_close", "bullet_list_close"):
            depth -= 1
    return own, nested


def _flat(nested: list[Token]) -> list[Cell]:
    """The items of nested lists, at any depth, in their order."""
    found = []
    for index, token in enumerate(nested):
        if token.type == "inline":
            place = _place(token) if token.map else _place(nested[max(index - 1, 0)])
            found.append(Cell(_TASK.sub("", clean(_plain(token)), count=1).strip(), place))
    return found
