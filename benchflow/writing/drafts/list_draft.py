"""Drafts a procedure from the rows of a table or a list. Words that are not understood are kept."""

import re
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from benchflow.quantity import QuantityError, dimension_of, unit_symbol
from benchflow.session.teardown.fastener_text import read_fasteners
from benchflow.session.teardown.renewed_parts import is_seal, is_used_once
from benchflow.writing.drafts.cell_figures import (
    Refused,
    is_formula,
    limit_in,
    limit_of_ends,
    stages_in,
    time_in,
)
from benchflow.writing.drafts.draft_book import ASK, DraftBook, DraftSection, plain_text, sentence_case
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.figures_in_words import StepFigures, figures_in_step, formula_in, without_figures
from benchflow.writing.drafts.list_cells import Cell, ListRow, ReadList, first_clause, text_of_row, unit_in_column
from benchflow.writing.drafts.list_sentences import (
    NO_ORDER,
    fill_joints,
    split_measuring,
    write_limits,
    write_sentences,
)

_LONGEST_TITLE = 90
_SIGNALS = re.compile(r"(danger|warning|caution|notice)\b\s*[:!-]*\s*", re.IGNORECASE)
_YES = frozenset({"x", "yes", "y", "✓", "required", "true", "1"})
_WORK = ("step", "value", "part", "check", "fasteners")


class _Previous(Struct):
    """The last operation, for a row that continues it."""

    operation: dict[str, Any]
    comments: list[str]
    title: str


def draft_from_list(found: ReadList, source: str, title: str) -> DraftBook:
    """The draft of the procedure in a list. ``title`` is used if the list has none; ``source`` is the file's name."""
    return _ListDraft(found, source, title).book


class _ListDraft:
    """Makes the draft of one list."""

    def __init__(self, found: ReadList, source: str, title: str) -> None:
        words = list(found.words)
        if not found.title and words and words[0].place in ("row 1", "row 2") and len(words[0].text) <= _LONGEST_TITLE:
            title = plain_text(words.pop(0).text)
        title = plain_text(found.title) or title
        self.book = DraftBook("", title)
        self.book.ident = self.book.name(title, "procedure", default="procedure")
        self.book.head += [
            f"Draft from the list {source}: {len(found.rows)} rows.",
            "",
            "What to do next:",
            "1. Write each figure that says `ask`, with its source. List them: benchflow check --to-fill FILE",
            "   The bench asks for each one that you leave, with its source, before the work that needs it.",
            "2. Look at each NOT UNDERSTOOD: the words of the list are kept beside their step.",
            "3. Draw the `layout` of each joint as the part lies, numbered in tightening order.",
            "4. Answer the questions about collisions, below. The order is proven only against the rules you write.",
            "5. Write `undo` where a step can be taken back. Loosen `after` where steps do not depend on each other.",
            "6. Prove it: benchflow check FILE.",
        ]
        self.book.top["notice"] = (
            "A draft from a list. It is not proven. Compare every figure with the source before it is used."
        )
        self.book.top["documents"] = {"list": {"title": f"The list {plain_text(source)}"}}
        self.book.top["source"] = "list"
        self.book.tail += [f"Words of the list, {each.place}: {each.text}" for each in words]
        self._thread_in_words = self._tightens = ""
        self.prohibitions: list[tuple[str, str]] = []
        self.section: DraftSection | None = None
        self.section_title = ""
        self.previous: _Previous | None = None
        self.written: list[tuple[DraftSection, int, _Previous]] = []
        for row in found.rows:
            self._row(row)
        for section, index, one in self.written:
            section.operations[index] = Noted(_in_order(one.operation), tuple(one.comments))
        split_measuring(self.book)
        fill_joints(self.book, words)
        self.book.questions += [
            f"- {place} says: “{text}” Write it as a rule under `interference`, with `needs` on the operation."
            for place, text in self.prohibitions
        ]
        if self.section is not None and not self.section.operations:
            self.book.tail.append(f"Heading without steps: {self.section.title}")
            self.book.tail += self.section.comments
        if not self.book.operations:
            section = self.book.section("Work")
            section.operations.append({"id": self.book.name("first step"), "title": "First step"})

    def _row(self, row: ListRow) -> None:
        if row.heading:
            self._open_section(row.heading)
            return
        cells = dict(row.cells)
        own_section = cells.pop("section", None)
        if own_section is not None and own_section.text != self.section_title:
            self._open_section(own_section.text)
        if not any(name in cells for name in _WORK) and self.previous is not None:
            self.previous.comments.append(
                f"{row.place} has no step of its own (a merged cell?). It was taken as part of this step"
            )
            self.book.keep(row.place, " | ".join(cell.text for cell in cells.values()) or "-",
                           "no step of its own; taken as part of the step above")  # fmt: skip
            self._fill(self.previous, cells, row)
            return
        title, more = self._title(cells)
        operation: dict[str, Any] = {"id": self.book.name(without_figures(title)), "title": title}
        if self.previous is not None:
            operation["after"] = [self.previous.operation["id"]]
        comments: list[str] = []
        if more:
            operation["do"] = more
        self.previous = _Previous(operation, comments, title)
        self._fill(self.previous, cells, row)
        if self.section is None:
            self._open_section("Work")
        assert self.section is not None  # it was opened
        self.written.append((self.section, len(self.section.operations), self.previous))
        self.section.operations.append(operation)

    def _open_section(self, title: str) -> None:
        empty = self.section if self.section is not None and not self.section.operations else None
        self.section_title = title
        self.section = self.book.section(plain_text(title)[:120] or "Work")
        if empty is not None:  # its title is kept above the next section
            self.section.comments += [*empty.comments, f"Heading without steps: {empty.title}"]
            self.book.sections.remove(empty)

    def _title(self, cells: dict[str, Cell]) -> tuple[str, str]:
        """The title of the operation, and the rest of its text."""
        step = cells.get("step")
        if step is None:
            for name, form in (
                ("value", "Measure: {}"),
                ("part", "Fit: {}"),
                ("check", "Check: {}"),
                ("fasteners", "Tighten: {}"),
            ):
                if name in cells:
                    return form.format(plain_text(cells[name].text))[:_LONGEST_TITLE], ""
        text = step.text if step is not None else "Step"
        first, _, rest = text.partition("\n")
        first = re.sub(r"^\s*(?:step\s*)?\d{1,3}\s*[.):]\s+", "", first, flags=re.IGNORECASE)
        title = plain_text(first) or "Step"
        if len(title) <= _LONGEST_TITLE:
            return sentence_case(title.removesuffix(".")), plain_lines(rest)
        short = first_clause(title, _LONGEST_TITLE)
        return sentence_case(short), plain_lines(text)

    # --- one row --------------------------------------------------------------------------------------

    def _fill(self, at: _Previous, cells: dict[str, Cell], row: ListRow) -> None:
        for name in [name for name, cell in cells.items() if is_formula(cell.text)]:
            at.comments.append(
                self._keep(cells.pop(name), "a formula or an error of the spreadsheet. Save the values", refused=True)
            )
            if name in ("torque", "limit"):
                cells[name] = Cell("", row.place)
        words = self._figures_in_words(at, cells, row)
        if "torque" in cells or "angle" in cells:
            self._tighten(at, cells)
        if {"limit", "low", "high", "value"} & cells.keys():
            if "tighten" in at.operation:
                at.comments.append(NO_ORDER)
            self._record(at, cells)
        write_limits(self.book, at.operation, at.comments, words, row.place)
        words_of_note = cells["note"].text if "note" in cells else ""
        text = f"{text_of_row(row)}\n{words_of_note}".strip()
        sentences = write_sentences(self.book, at.operation, at.comments, text)
        self.prohibitions += [(row.place, each) for each in sentences.rules]
        self._kit(at, cells)
        self._words(at, cells, row)

    def _figures_in_words(self, at: _Previous, cells: dict[str, Cell], row: ListRow) -> StepFigures:
        """The figures in the text of a step and its details. Those that were not taken are named in a comment."""
        step = cells.get("step")
        if step is None:
            return StepFigures()
        found = figures_in_step(text_of_row(row))
        if {"torque", "angle"} & cells.keys():
            found = replace(found, stages=(), refused="")
        if found.stages:
            cells["torque"] = Cell(" + ".join(found.stages), step.place)
            if found.count and "fasteners" not in cells and "quantity" not in cells:
                cells["quantity"] = Cell(str(found.count), step.place)
        if found.refused:
            at.comments.append(self._keep(step, found.refused, refused=True))
            at.operation["tighten"] = {"joint": self._joint(at, {}), "stages": [{"torque": ASK}]}
        if {"limit", "low", "high"} & cells.keys():
            found = replace(found, limits=())
        if found.left:
            at.comments.append(f"Figures in the words, not taken: {', '.join(found.left)}")
            self.book.left_in_words += len(found.left)
        self._thread_in_words, self._tightens = found.thread, found.tightens
        return found

    def _keep(self, cell: Cell, why: str, *, refused: bool = False) -> str:
        return f"{self.book.keep(cell.place, cell.text, why, refused=refused)} ({why})"

    def _tighten(self, at: _Previous, cells: dict[str, Cell]) -> None:
        unit = cells["unit of torque"].text if "unit of torque" in cells else unit_in_column(cells, "torque")
        stages: list[Any] = []
        for name, column_unit in (
            ("torque", unit),
            ("angle", cells["unit of angle"].text if "unit of angle" in cells else ""),
        ):
            cell = cells.pop(name, None)
            if cell is None:
                continue
            found = stages_in(cell.text, column_unit) if cell.text else Refused("there is none")
            if isinstance(found, Refused):
                if cell.text:
                    at.comments.append(self._keep(cell, found.why, refused=True))
                stages.append({name: ASK})
            else:
                stages += [f"+{each}" if name == "angle" and not each.startswith("+") else each for each in found]
        tighten = at.operation.get("tighten")
        if tighten is not None:
            tighten["stages"] += stages
            return
        if (isinstance(stages[0], str) and stages[0].startswith("+")) or stages[0] == {"angle": ASK}:
            stages.insert(0, {"torque": ASK})  # an angle needs a torque that seats the fastener
        at.operation["tighten"] = {"joint": self._joint(at, cells), "stages": stages}
        tool = cells.pop("tool", None)
        if tool is not None:
            at.operation["tighten"]["with"] = self._instrument(tool.text, "torque")

    def _joint(self, at: _Previous, cells: dict[str, Cell]) -> str:
        title = without_figures(plain_text(self._tightens or at.title))
        joint: dict[str, Any] = {"title": title, "thread": self._thread_in_words or ASK}
        count = 0
        fasteners = cells.pop("fasteners", None)
        if fasteners is not None:
            read = read_fasteners(fasteners.text)
            if read.group is None or read.problems:
                read = read_fasteners(f"1x {fasteners.text}")
                if read.group is None or read.problems or not read.group.thread:
                    at.comments.append(self._keep(fasteners, "no count and thread such as 8x M8x1.25"))
                else:
                    joint["thread"] = read.group.thread
            else:
                count = read.group.count
                joint["thread"] = read.group.thread or ASK
                at.comments.append(f"Fasteners: {fasteners.text}")
        quantity = cells.get("quantity")
        if not count and quantity is not None and re.fullmatch(r"\d{1,3}", quantity.text.strip()):
            count = int(quantity.text)
        lubricant = cells.pop("lubricant", None)
        joint["lubricant"] = ASK if lubricant is None else plain_text(lubricant.text)
        if count in (1, 2):
            joint["layout"] = " ".join(str(number) for number in range(1, count + 1))
        else:
            joint["layout"] = ASK
            if count:
                joint["count"] = min(count, 200)
        name = self.book.name(title, "joint", default="joint")
        self.book.joints[name] = joint
        return name

    def _record(self, at: _Previous, cells: dict[str, Cell]) -> None:
        value, limit = cells.pop("value", None), cells.pop("limit", None)
        low, high = cells.pop("low", None), cells.pop("high", None)
        unit = next((cells[key].text for key in ("unit of limit", "unit of low", "unit of high", "unit of value")
                     if key in cells), "") or unit_in_column(cells, "")  # fmt: skip
        name = plain_text(value.text) if value is not None else without_figures(at.title)
        first = limit or low or high
        if formula := formula_in(value.text if value is not None else at.title)[1]:
            given = Cell(" .. ".join(cell.text for cell in (limit, low, high) if cell is not None), (first or value or
                         Cell("", at.title)).place)  # fmt: skip
            at.comments.append(
                self._keep(given, f"the limit of the formula “{formula}”. Write `work-out`", refused=True)
            )
            return
        found: tuple[str, str] | Refused | None = None
        if limit is not None and limit.text:
            found = limit_in(limit.text, unit)
        elif low is not None or high is not None:
            found = limit_of_ends(low.text if low else "", high.text if high else "", unit)
        record: dict[str, Any] = {"ask": name}
        if isinstance(found, tuple):
            record |= {"unit": found[1] or "count", "limit": found[0]}
        else:
            if isinstance(found, Refused) and first is not None:
                text = " .. ".join(cell.text for cell in (limit, low, high) if cell is not None)
                at.comments.append(self._keep(Cell(text, first.place), found.why, refused=True))
            try:
                symbol = unit_symbol(unit) if unit else ""
            except QuantityError:
                symbol = ""
            if not symbol and (value is None or unit) and not isinstance(found, Refused):
                at.comments.append(self._keep(Cell(unit or name, (first or value or Cell("", at.title)).place),
                                              "the unit is missing or not known", refused=True))  # fmt: skip
            if not symbol:
                at.operation.setdefault("check", []).append(f"Measure and note, with its unit: {name}")
                return
            record |= {"unit": symbol, "limit": ASK}
        tool = cells.pop("tool", None)
        kind = dimension_of(record["unit"]) if record["unit"] != "count" else ""
        if tool is not None and kind:
            record["with"] = self._instrument(tool.text, kind)
        elif tool is not None:
            cells["tool"] = tool
        at.operation.setdefault("record", {})[self.book.name(name, "value", default="value")] = record

    def _instrument(self, text: str, kind: str) -> str:
        title = plain_text(text)
        for name, known in self.book.instruments.items():
            if known == {"kind": kind, "title": title}:
                return name
        name = self.book.name(title, "instrument", default="tool")
        self.book.instruments[name] = {"kind": kind, "title": title}
        return name

    def _kit(self, at: _Previous, cells: dict[str, Cell]) -> None:
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

    def _source(self, at: _Previous, text: str) -> None:
        """Write a source to the figures of the operation; a step without figures keeps it as a comment."""
        records = [each for each in at.operation.get("record", {}).values() if each["limit"] != ASK]
        for record in records:
            record["source"] = text
        tighten = at.operation.get("tighten")
        if tighten is not None:
            self.book.joints[tighten["joint"]]["source"] = text
        if not records and tighten is None:
            at.comments.append(f"Source: {text}")

    def _words(self, at: _Previous, cells: dict[str, Cell], row: ListRow) -> None:
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
                        at.comments.append(self._keep(cell, found.why, refused=True))
                    else:
                        operation["takes"] = found
                case "source":
                    self._source(at, text)
                case "places":
                    at.comments.append(
                        self._keep(cell, "places. Write them under `places`, and `each` on the operation")
                    )
                case "lubricant" | "fasteners":
                    do.append(f"{sentence_case(name)}: {text}")
                case "unit":
                    if "tighten" not in operation and "record" not in operation:
                        at.comments.append(self._keep(cell, "a unit without a figure"))
                case _:
                    pass  # the step, its number, and units of headings
        for heading, cell in row.unknown:
            at.comments.append(f"{heading}: {cell.text}")
            self.book.keep(cell.place, cell.text, "unknown column")
        text = "\n".join(filter(None, do))
        if text:
            operation["do"] = text


_ORDER = ("id", "title", "cautions", "do", "after", "takes", "uses", "record", "work-out", "tighten", "check", "hold")


def _in_order(operation: dict[str, Any]) -> dict[str, Any]:
    """The keys of an operation in the order in which a person would write them."""
    return {key: operation[key] for key in (*_ORDER, *operation) if key in operation}


def plain_lines(text: str) -> str:
    """The lines of a text, without braces and empty lines."""
    return "\n".join(line for line in map(plain_text, text.split("\n")) if line)
