"""Drafts a procedure from the rows of a table or a list. Words that are not understood are kept."""

import re
from typing import Any

from benchflow.writing.drafts.cell_figures import Refused, is_formula, stages_in
from benchflow.writing.drafts.draft_book import ASK, DraftBook, DraftSection, plain_text, sentence_case
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.figures_in_words import next_stage_in, step_name
from benchflow.writing.drafts.list_cells import Cell, ListRow, ReadList, first_clause, text_of_row
from benchflow.writing.drafts.list_sentences import (
    NO_ORDER,
    fill_from_step_before,
    fill_joints,
    split_measuring,
    write_limits,
    write_sentences,
)
from benchflow.writing.drafts.row_figures import DraftedStep, RowFigures
from benchflow.writing.drafts.row_words import RowWords

_LONGEST_TITLE = 90
_ONLY_PARTS = frozenset({"part", "fasteners", "quantity", "pn", "consumable", "note", "unit", "number"})
_FIGURES = frozenset({"step", "value", "check", "torque", "angle", "limit", "low", "high"})
_WORK = ("step", "value", "part", "check", "fasteners")


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
        self.warnings = {line: each for each in words if _SIGNAL.match(each.text) and (line := line_of(each.place))}
        at_head = [each for each in words if _DOCUMENT.search(each.text) and 0 < line_of(each.place) < 10]
        self.book.head += [f"{each.place} says: “{each.text}” If this is the source, write it under `documents`."
                           for each in at_head]  # fmt: skip
        self.figures, self.row_words = (
            RowFigures(self.book, decimal_commas=_has_decimal_commas(found)),
            RowWords(self.book),
        )
        self.prohibitions: list[tuple[str, str]] = []
        self.texts: dict[int, str] = {}
        self.section: DraftSection | None = None
        self.section_title = ""
        self.previous: DraftedStep | None = None
        self.written: list[tuple[DraftSection, int, DraftedStep]] = []
        self.has_steps = any("step" in row.cells for row in found.rows)
        for row in found.rows:
            self._row(row)
        left = [each for each in words if self.warnings.get(line_of(each.place)) is each or not _SIGNAL.match(each.text)
                or not line_of(each.place)]  # fmt: skip
        self.book.tail[:0] = [f"Words of the list, {each.place}: {each.text}" for each in left]
        fill_from_step_before(
            self.book, [(one.operation, one.comments, self.texts[id(one)]) for *_, one in self.written]
        )
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
        if not row.of_steps and self.has_steps and not _FIGURES & cells.keys() and "part" in cells:
            self.row_words.kit(DraftedStep({}, [], ""), cells)  # a list of the parts, beside the steps
            return
        begins = any(name in cells for name in _WORK) and not (row.of_steps and cells.keys() <= _ONLY_PARTS)
        if not begins and self.previous is not None:
            self.previous.comments.append(
                f"{row.place} has no step of its own (a merged cell?). It was taken as part of this step"
            )
            self.book.keep(row.place, " | ".join(cell.text for cell in cells.values()) or "-",
                           "no step of its own; taken as part of the step above")  # fmt: skip
            self._fill(self.previous, cells, row)
            return
        if self._is_next_stage(cells, row):
            return
        title, more = self._title(cells)
        operation: dict[str, Any] = {"id": self.book.name(step_name(title)), "title": title}
        if self.previous is not None:
            operation["after"] = [self.previous.operation["id"]]
        self._warn(operation, row.place)
        comments: list[str] = []
        if more:
            operation["do"] = more
        self.previous = DraftedStep(operation, comments, title)
        self.texts[id(self.previous)] = text_of_row(row)
        self._fill(self.previous, cells, row)
        if self.section is None:
            self._open_section("Work")
        assert self.section is not None  # it was opened
        self.written.append((self.section, len(self.section.operations), self.previous))
        self.section.operations.append(operation)

    def _warn(self, operation: dict[str, Any], place: str) -> None:
        """Write the warnings that stand above a step as its cautions."""
        for line in [line for line in self.warnings if line < line_of(place)]:
            text = plain_text(self.warnings.pop(line).text)
            signal = _SIGNAL.match(text)
            if signal is not None:
                operation.setdefault("cautions", []).append({signal[1].lower(): text[signal.end() :]})

    def _is_next_stage(self, cells: dict[str, Cell], row: ListRow) -> bool:
        """True for a step that is only the next stage of the one above. Its torque or angle is written there."""
        above = None if self.previous is None else self.previous.operation.get("tighten")
        stage = next_stage_in(text_of_row(row)) if set(cells) <= {"step", "number"} else ""
        if above is None or not stage or self.previous is None:
            return False
        comment = f"{row.place} is the next stage: {plain_text(cells['step'].text)}"
        self.previous.comments.append(comment)
        figure = stage.lstrip("+ ")
        known = [each for each in above["stages"] if isinstance(each, str)]
        read = stages_in(" + ".join([*known, figure]), "")
        if isinstance(read, Refused):
            self.previous.keep(self.book, Cell(stage, row.place), read.why, refused=True)
            above["stages"].append({"torque": ASK})
            return True
        name = "angle" if re.search(r"(?:°|deg\w*)\s*$", figure, re.I) else "torque"
        self.figures.tighten(self.previous, {name: Cell(figure, row.place)})
        return True

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
                    if name == "check" and {"limit", "low", "high"} & cells.keys():
                        cells["value"] = cells.pop("check")  # what is checked has a limit, so it is a value
                        name, form = "value", "Check: {}"
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

    def _fill(self, at: DraftedStep, cells: dict[str, Cell], row: ListRow) -> None:
        for name in [name for name, cell in cells.items() if is_formula(cell.text)]:
            at.keep(
                self.book, cells.pop(name), "a formula or an error of the spreadsheet. Save the values", refused=True
            )
            if name in ("torque", "limit"):
                cells[name] = Cell("", row.place)
        self.figures.measured_torque(at, cells)
        words = self.figures.in_words(at, cells, row)
        if "torque" in cells or "angle" in cells:
            self.figures.tighten(at, cells)
        if {"limit", "low", "high", "value"} & cells.keys():
            if "tighten" in at.operation:
                at.comments.append(NO_ORDER)
            self.figures.record(at, cells)
        write_limits(self.book, at.operation, at.comments, words, row.place)
        words_of_note = cells["note"].text if "note" in cells else ""
        text = f"{text_of_row(row)}\n{words_of_note}".strip()
        sentences = write_sentences(self.book, at.operation, at.comments, text)
        self.prohibitions += [(row.place, each) for each in sentences.rules]
        self.row_words.kit(at, cells)
        self.row_words.words(at, cells, row)


_ORDER = ("id", "title", "cautions", "do", "after", "takes", "uses", "record", "work-out", "tighten", "check", "hold")


_SIGNAL = re.compile(r"(danger|warning|caution|notice)\s*[:!-]\s*(?=\S)", re.IGNORECASE)
_DOCUMENT = re.compile(r"\b(?:manual|edition|bulletin)\b", re.IGNORECASE)


def line_of(place: str) -> int:
    """The number of the line in a place of a Markdown list; 0 for another place."""
    found = re.fullmatch(r"line (\d+)", place)
    return 0 if found is None else int(found[1])


def _has_decimal_commas(found: ReadList) -> bool:
    """True if a figure of the list has a decimal comma, in a cell or in the words of a step."""
    names = ("torque", "angle", "limit", "low", "high")
    cells = (row.cells[name].text for row in found.rows for name in names if name in row.cells)
    words = map(text_of_row, found.rows)
    return any(re.search(r"\d,\d", text) for text in cells) or any(
        re.search(r"\d,\d+\s?(?:N·?m|mm|µm|bar|°|in\b|ft)", text) for text in words
    )


def _in_order(operation: dict[str, Any]) -> dict[str, Any]:
    """The keys of an operation in the order in which a person would write them."""
    return {key: operation[key] for key in (*_ORDER, *operation) if key in operation}


def plain_lines(text: str) -> str:
    """The lines of a text, without braces and empty lines."""
    return "\n".join(line for line in map(plain_text, text.split("\n")) if line)
