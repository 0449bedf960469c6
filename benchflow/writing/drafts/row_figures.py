"""Drafts the figures of a row: what is tightened to which stages, and which value is recorded with which limit."""

import re
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from benchflow.quantity import QuantityError, dimension_of, unit_symbol
from benchflow.session.teardown.fastener_text import read_fasteners
from benchflow.writing.drafts.cell_figures import (
    Refused,
    limit_in,
    limit_of_ends,
    point_of_thousands,
    stages_in,
    unit_behind,
)
from benchflow.writing.drafts.draft_book import ASK, DraftBook, plain_text, sentence_case
from benchflow.writing.drafts.figures_in_words import (
    StepFigures,
    fastened_words,
    fasteners_in_words,
    figures_in_step,
    formula_in,
    is_resistance,
    without_figures,
)
from benchflow.writing.drafts.list_cells import Cell, ListRow, text_of_row, unit_in_column

_MEASURES_LENGTH = re.compile(
    r"\b(?:feeler|micrometer|calipers?|dial|indicator|gauges?|gages?|rule|straight ?edge|thermometer|manometer)\b", re.I
)
"""Instruments that are not torque wrenches."""


class DraftedStep(Struct):
    """The operation that is drafted from a row, with its comments. The next rows may continue it."""

    operation: dict[str, Any]
    comments: list[str]
    title: str

    def keep(self, book: DraftBook, cell: Cell, why: str, *, refused: bool = False) -> None:
        """Keep the words of a cell as a comment, with the reason."""
        self.comments.append(f"{book.keep(cell.place, cell.text, why, refused=refused)} ({why})")


class RowFigures:
    """Writes the figures of one row after another into a draft."""

    def __init__(self, book: DraftBook, *, decimal_commas: bool) -> None:
        self.book, self.decimal_commas = book, decimal_commas
        self._thread_in_words = self._tightens = ""
        self._count_in_words = 0

    def in_words(self, at: DraftedStep, cells: dict[str, Cell], row: ListRow) -> StepFigures:
        """The figures in the text of a step and its details. Those that were not taken are named in a comment."""
        step = cells.get("step")
        self._thread_in_words, self._tightens, self._count_in_words = "", "", 0
        if step is None:
            return StepFigures()
        found = figures_in_step(text_of_row(row))
        count, thread = found.count, found.thread
        if {"torque", "angle"} & cells.keys():
            found = replace(found, stages=(), refused="")
            count, thread = fasteners_in_words(at.title)
        if found.stages:
            cells["torque"] = Cell(" + ".join(found.stages), step.place)
            count = count or fasteners_in_words(found.tightens)[0]
        self._count_in_words = count
        if found.refused:
            at.keep(self.book, step, found.refused, refused=True)
            at.operation["tighten"] = {"joint": self._joint(at, {}), "stages": [{"torque": ASK}]}
        if {"limit", "low", "high"} & cells.keys():
            found = replace(found, limits=())
        doubtful = [each for each in found.limits if self.decimal_commas and point_of_thousands(each.limit)]
        if doubtful:
            rest = tuple(each for each in found.limits if each not in doubtful)
            found = replace(found, limits=rest, left=(*found.left, *(each.limit for each in doubtful)))
        if found.left:
            at.comments.append(f"Figures in the words, not taken: {', '.join(found.left)}")
            self.book.left_in_words += len(found.left)
            self.book.left_figures.append(f"{step.place}: {', '.join(found.left)}")
        self._thread_in_words, self._tightens = thread, found.tightens
        return found

    def measured_torque(self, at: DraftedStep, cells: dict[str, Cell]) -> None:
        """Let the torque of a row be a limit, if its words name a torque that is measured, such as a turning torque."""
        words = cells["value"].text if "value" in cells else at.title
        if "torque" not in cells or not is_resistance(words):
            return
        if {"limit", "low", "high"} & cells.keys():
            at.keep(
                self.book, cells.pop("torque"), "a torque of something that is measured, beside a limit", refused=True
            )
            return
        unit = self._unit_of(cells, "torque")
        cells["limit"] = cells.pop("torque")
        if unit:
            cells["unit of limit"] = Cell(unit, cells["limit"].place)

    @staticmethod
    def _unit_of(cells: dict[str, Cell], name: str) -> str:
        own = cells.get(f"unit of {name}")
        return own.text if own is not None else unit_in_column(cells, name)

    def _doubt(self, cell: Cell, cells: dict[str, Cell], name: str) -> Refused | None:
        """Why the number in a cell could mean something else in this list; ``None`` if it could not."""
        if self.decimal_commas and point_of_thousands(cell.text):
            return Refused("other cells have decimal commas, so the point can mean thousands. Write it without doubt")
        own, column = cells.get(f"unit of {name}"), cells.get("unit")
        if own is None or column is None or re.search(r"[A-Za-z°µ]", cell.text):
            return None
        try:
            one, other = unit_symbol(own.text), unit_symbol(column.text)
        except QuantityError:
            return None
        if one != other and dimension_of(one) == dimension_of(other):
            return Refused(f"the heading says {own.text}, but the unit beside it is {column.text}")
        return None

    def tighten(self, at: DraftedStep, cells: dict[str, Cell]) -> None:
        unit = cells["unit of torque"].text if "unit of torque" in cells else unit_in_column(cells, "torque")
        stages: list[Any] = []
        for name, column_unit in (
            ("torque", unit),
            ("angle", cells["unit of angle"].text if "unit of angle" in cells else ""),
        ):
            cell = cells.pop(name, None)
            if cell is None:
                continue
            doubt = self._doubt(cell, cells, name)
            found = doubt or (stages_in(cell.text, column_unit) if cell.text else Refused("there is none"))
            if isinstance(found, Refused):
                if cell.text:
                    at.keep(self.book, cell, found.why, refused=True)
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
        tool = cells.get("tool")
        if tool is not None and not _MEASURES_LENGTH.search(tool.text):
            at.operation["tighten"]["with"] = self._instrument(cells.pop("tool").text, "torque")

    def _joint(self, at: DraftedStep, cells: dict[str, Cell]) -> str:
        title = sentence_case(without_figures(plain_text(self._tightens or at.title)))
        noun = fastened_words(title) or fastened_words(plain_text(at.title))
        if not fastened_words(title) and noun:
            title = sentence_case(noun)
        title = re.sub(r"\W*\bstage\s+\d\W*$", "", title, flags=re.IGNORECASE) or title
        joint: dict[str, Any] = {"title": title, "thread": self._thread_in_words or ASK}
        count = 0
        fasteners = cells.pop("fasteners", None)
        if fasteners is not None:
            read = read_fasteners(fasteners.text)
            if read.group is None or read.problems:
                read = read_fasteners(f"1x {fasteners.text}")
                if read.group is None or read.problems or not read.group.thread:
                    at.keep(self.book, fasteners, "no count and thread such as 8x M8x1.25")
                else:
                    joint["thread"] = read.group.thread
            else:
                count = read.group.count
                joint["thread"] = read.group.thread or ASK
                at.comments.append(f"Fasteners: {fasteners.text}")
        quantity = cells.get("quantity")
        if not count and quantity is not None and re.fullmatch(r"\d{1,3}", quantity.text.strip()):
            count = int(quantity.text)
        count = count or self._count_in_words
        lubricant = cells.pop("lubricant", None)
        joint["lubricant"] = ASK if lubricant is None else plain_text(lubricant.text)
        if count in (1, 2):
            joint["layout"] = " ".join(str(number) for number in range(1, count + 1))
        else:
            joint["layout"] = ASK
            if count:
                joint["count"] = min(count, 200)
        name = self.book.name(noun or title, "joint", default="joint")
        self.book.joints[name] = joint
        return name

    def record(self, at: DraftedStep, cells: dict[str, Cell]) -> None:
        value, limit = cells.pop("value", None), cells.pop("limit", None)
        low, high = cells.pop("low", None), cells.pop("high", None)
        unit = next((cells[key].text for key in ("unit of limit", "unit of low", "unit of high", "unit of value")
                     if key in cells), "") or unit_in_column(cells, "")  # fmt: skip
        name = plain_text(value.text) if value is not None else without_figures(at.title)
        first = limit or low or high
        if formula := formula_in(value.text if value is not None else at.title)[1]:
            given = Cell(" .. ".join(cell.text for cell in (limit, low, high) if cell is not None), (first or value or
                         Cell("", at.title)).place)  # fmt: skip
            at.keep(self.book, given, f"the limit of the formula “{formula}”. Write `work-out`", refused=True)
            return
        found: tuple[str, str] | Refused | None = None
        doubts = [
            self._doubt(cell, cells, kind) for kind, cell in (("limit", limit), ("low", low), ("high", high)) if cell
        ]
        if doubt := next(filter(None, doubts), None):
            found = doubt
        elif limit is not None and limit.text:
            found = limit_in(limit.text, unit)
        elif low is not None or high is not None:
            found = limit_of_ends(low.text if low else "", high.text if high else "", unit)
        record: dict[str, Any] = {"ask": name}
        if isinstance(found, tuple):
            record |= {"unit": found[1] or "count", "limit": found[0]}
        else:
            if isinstance(found, Refused) and first is not None:
                text = " .. ".join(cell.text for cell in (limit, low, high) if cell is not None)
                at.keep(self.book, Cell(text, first.place), found.why, refused=True)
            symbol = _symbol(unit) or (_symbol(unit_behind(first.text)) if first is not None else "")
            if not symbol and (value is None or unit) and not isinstance(found, Refused):
                place = (first or value or Cell("", at.title)).place
                at.keep(self.book, Cell(unit or name, place), "the unit is missing or not known", refused=True)
            if not symbol:
                checks, noted = at.operation.setdefault("check", []), f"Measure and note, with its unit: {name}"
                checks += [] if noted in checks else [noted]  # two equal checks are an error
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


def _symbol(unit: str) -> str:
    """The canonical symbol of a unit; "" if it is not one."""
    try:
        return unit_symbol(unit) if unit else ""
    except QuantityError:
        return ""
