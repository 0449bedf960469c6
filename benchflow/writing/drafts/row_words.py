"""Drafts what a row says besides figures: its parts, cautions, checks, notes, signatures and unknown columns."""

import re
from typing import Any

from benchflow.session.teardown.renewed_parts import is_seal, is_used_once
from benchflow.writing.drafts.cell_figures import Refused, time_in
from benchflow.writing.drafts.draft_book import ASK, DraftBook, plain_text, sentence_case
from benchflow.writing.drafts.list_cells import Cell, ListRow, column_of
from benchflow.writing.drafts.row_figures import DraftedStep

_SIGNALS = re.compile(r"(danger|warning|caution|notice)\b\s*[:!-]*\s*", re.IGNORECASE)
_YES = frozenset({"x", "yes", "y", "✓", "required", "true", "1"})


class RowWords:
    """Writes the words of one row after another into a draft."""

    def __init__(self, book: DraftBook) -> None:
        self.book = book

    def kit(self, at: DraftedStep, cells: dict[str, Cell]) -> None:
        part, consumable = cells.pop("part", None), cells.pop("consumable", None)
        quantity, number = cells.pop("quantity", None), cells.pop("pn", None)
        uses: list[str] = at.operation.setdefault("uses", [])
        titles = [plain_text(each) for each in re.split(r"[;\n]", part.text)] if part is not None else []
        for title in filter(None, titles):
            item: dict[str, Any] = {"title": sentence_case(title)}
            if quantity is not None and len(titles) == 1:
                item["quantity"] = plain_text(quantity.text)
            if number is not None and len(titles) == 1:
                item["pn"] = plain_text(number.text)
            if is_seal(title) or is_used_once(title):
                item["discard"] = True
            uses.append(self._kit_item(title, item, self.book.parts))
        if part is None or len(titles) > 1:
            at.comments += [f"{name}: {cell.text}" for name, cell in (("Quantity", quantity), ("Part number", number))
                            if cell is not None]  # fmt: skip
        for title in filter(
            None, [plain_text(each) for each in re.split(r"[;\n]", consumable.text)] if consumable else []
        ):
            uses.append(self._kit_item(title, {"title": sentence_case(title)}, self.book.consumables))
        at.operation["uses"] = list(dict.fromkeys(uses))
        if not at.operation["uses"]:
            del at.operation["uses"]

    def _kit_item(self, title: str, item: dict[str, Any], items: dict[str, Any]) -> str:
        for name, known in items.items():
            if known == item:
                return name
        name = self.book.name(title, "kit", default="part")
        items[name] = item
        return name

    def _source(self, at: DraftedStep, text: str) -> None:
        """Write a source to the figures of the operation; a step without figures keeps it as a comment."""
        records = [each for each in at.operation.get("record", {}).values() if each["limit"] != ASK]
        for record in records:
            record["source"] = text
        tighten = at.operation.get("tighten")
        if tighten is not None:
            self.book.joints[tighten["joint"]]["source"] = text
        if not records and tighten is None:
            at.comments.append(f"Source: {text}")

    def words(self, at: DraftedStep, cells: dict[str, Cell], row: ListRow) -> None:
        """Everything that has no figure: cautions, checks, notes, signatures, tools, unknown columns."""
        operation, do = at.operation, [at.operation.get("do", "")]
        do += [plain_text(each.text) for each in row.details]
        for name, cell in cells.items():
            text = plain_text(cell.text)
            match name:
                case "caution":
                    signal = _SIGNALS.match(text)
                    word, rest = (signal[1].lower(), text[signal.end() :]) if signal else ("caution", text)
                    operation.setdefault("cautions", []).append({word: rest or text})
                case "check":
                    operation.setdefault("check", []).extend(filter(None, map(str.strip, text.split(";"))))
                case "note":
                    do.append(f"Note: {text}")
                case "tool":
                    do.append(f"Tool: {text}")
                case "sign":
                    who = "inspector" if text.lower() in _YES else text
                    operation["hold"] = {"by": who.lower(), "for": at.title}
                case "takes":
                    found = time_in(text)
                    if isinstance(found, Refused):
                        at.keep(self.book, cell, found.why, refused=True)
                    else:
                        operation["takes"] = found
                case "source":
                    self._source(at, text)
                case "places":
                    at.keep(self.book, cell, "places. Write them under `places`, and `each` on the operation")
                case "lubricant" | "fasteners":
                    do.append(f"{sentence_case(name)}: {text}")
                case "unit":
                    if "tighten" not in operation and "record" not in operation:
                        at.keep(self.book, cell, "a unit without a figure")
                case _:
                    pass  # the step, its number, and units of headings
        for heading, cell in row.unknown:
            at.comments.append(f"{heading}: {cell.text}")
            why = "another column of this kind" if column_of(heading).meaning else "unknown column"
            self.book.keep(cell.place, cell.text, why)
        text = "\n".join(filter(None, do))
        if text:
            operation["do"] = text
