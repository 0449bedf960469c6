"""The rows of a table or a list of steps, and the headings that its columns may have."""

import re

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.quantity import QuantityError, dimension_of, unit_symbol
from benchflow.quantity.notation import with_uniform_characters
from benchflow.quantity.units import find


class Cell(Struct, frozen=True):
    """One cell: its text, and where it is, for messages."""

    text: str
    place: str


class ListRow(Struct, frozen=True):
    """One row: its cells by meaning, those of unknown columns by heading, and its place.

    If two columns have the same meaning, the first one with a text is taken; another is kept as an unknown column.
    ``heading`` is the title of a section, if the row is one. ``details`` are lines under it, such as a nested list.
    """

    place: str
    cells: dict[str, Cell] = {}
    unknown: tuple[tuple[str, Cell], ...] = ()
    heading: str = ""
    details: tuple[Cell, ...] = ()
    of_steps: bool = True  # its table has a column of steps


class ReadList(Struct, frozen=True):
    """What was read of a list: its rows, its title, words outside of them, and remarks about the file."""

    rows: tuple[ListRow, ...]
    title: str = ""
    words: tuple[Cell, ...] = ()
    remarks: tuple[str, ...] = ()


HEADINGS: dict[str, tuple[str, ...]] = {
    "step": (
        "step", "steps", "operation", "task", "work", "action", "description", "instruction", "what", "procedure",
        "what to do", "job step", "work step", "text", "job", "activity",
    ),
    "number": ("no", "nr", "number", "#", "item", "pos", "position", "step no", "step number", "id", "op", "op no"),
    "section": ("section", "chapter", "assembly", "system", "stage", "phase", "subassembly"),
    "torque": ("torque", "tightening torque", "tighten", "tightening", "torque value", "tq", "moment", "torque spec"),
    "angle": ("angle", "turn", "torque angle", "tightening angle"),
    "limit": (
        "limit", "limits", "spec", "specification", "tolerance", "range", "allowed", "permitted", "nominal", "target",
        "acceptance", "standard", "wear limit", "service limit", "clearance", "play", "gap", "end float", "end play",
        "backlash", "lash", "runout", "run-out", "protrusion", "pressure", "temperature",
    ),
    "low": ("min", "minimum", "low", "lower limit", "from"),
    "high": ("max", "maximum", "high", "upper limit", "up to"),
    "unit": ("unit", "units", "uom"),
    "value": ("value", "measure", "measurement", "reading", "record", "characteristic", "feature", "dimension", "name"),
    "tool": ("tool", "tools", "instrument", "gauge", "gage", "equipment", "measuring tool", "with"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments", "hint", "info", "information"),
    "caution": ("caution", "warning", "danger", "safety", "hazard"),
    "check": ("check", "checks", "inspect", "inspection", "visual check", "verify", "verification"),
    "part": ("part", "parts", "component", "part name", "kit", "material part"),
    "quantity": ("quantity", "qty", "amount", "count", "pcs", "pieces"),
    "fasteners": ("fasteners", "fastener", "bolt", "bolts", "screws", "screw", "nuts", "bolt size", "thread", "size"),
    "consumable": ("consumable", "sealant", "material", "fluid", "grease", "compound"),
    "lubricant": ("lubricant", "lube", "lubrication", "thread lubricant"),
    "pn": ("part no", "part number", "pn", "p/n", "part nr", "order number"),
    "sign": ("sign", "signature", "hold", "hold point", "inspector", "witness", "signed by"),
    "source": ("source", "page", "reference", "manual page", "document", "ref"),
    "places": ("place", "places", "location", "where", "each", "cylinder", "cylinders"),
    "takes": ("duration", "takes", "time needed"),
}  # fmt: skip
"""The usual words for each column (common practice, no source)."""

_BY_WORD = {word: meaning for meaning, words in HEADINGS.items() for word in words}
_UNIT_IN_HEADING = re.compile(r"[(\[]\s*([^)\]]{1,12})\s*[)\]]\s*$")


class Column(Struct, frozen=True):
    """A column: its heading as written, what it means ("" if that is not known), and the unit in its heading."""

    heading: str
    meaning: str = ""
    unit: str = ""


def column_of(heading: str) -> Column:
    """What a heading means: ``Torque (N·m)`` is a torque, with its unit."""
    written = clean_line(heading)
    unit = _UNIT_IN_HEADING.search(written)
    plain = re.sub(r"[\s_:.]+", " ", _UNIT_IN_HEADING.sub("", written)).strip(" *:.").lower()
    if unit is None and plain not in _BY_WORD:
        split = _unit_behind(written)
        if split is not None:
            return split
    plain = re.sub(r"^(.*?),.*$", r"\1", plain)
    return Column(written, _BY_WORD.get(plain, ""), unit[1] if unit else "")


_LONGEST_UNIT = 20
_OF_UNIT = {"torque": "torque", "angle": "angle", "length": "limit", "pressure": "limit"}


def _unit_behind(heading: str) -> Column | None:
    """The column of a heading with its unit behind it, such as ``Torque Nm`` or ``Play / mm``, or of a unit alone."""
    kind = _kind_of_unit(heading)
    if kind in _OF_UNIT:
        return Column(heading, _OF_UNIT[kind], heading)
    found = re.fullmatch(r"(.*?)(?:\s*[/,]\s*|\s+in\s+|\s+)(\S+(?:\s?[-·]\s?\S+)?)", heading, re.I)
    if found is None:
        return None
    meaning = _BY_WORD.get(re.sub(r"[\s_:.]+", " ", found[1]).strip(" *:.").lower(), "")
    kind = _kind_of_unit(found[2])
    fits = kind == meaning if meaning in ("torque", "angle") else meaning in ("limit", "low", "high") and kind != "time"
    return Column(heading, meaning, found[2]) if kind and fits else None


def _kind_of_unit(text: str) -> str:
    """The dimension of a unit; "" if it is not one. Every cell is asked, so no similar unit is looked for."""
    unit = find(with_uniform_characters(text).strip()) if len(text) <= _LONGEST_UNIT else None
    return "" if unit is None else unit.dimension


def heading_columns(cells: list[str]) -> list[Column] | None:
    """The columns, if these cells are a row of headings: at least two known ones, and the step, part or value."""
    columns = [column_of(cell) for cell in cells]
    meanings = [column.meaning for column in columns if column.meaning]
    names_work = {"step", "value", "part", "check", "fasteners"} & set(meanings)
    if (
        len(meanings) < 2
        or not names_work
        or any(re.search(r"\d", cell) for cell in cells if not column_of(cell).meaning)
    ):
        return None
    return columns


def text_of_row(row: ListRow) -> str:
    """The words of a step and of the lines under it."""
    step = row.cells.get("step")
    return "\n".join(filter(None, (step.text if step is not None else "", *(each.text for each in row.details))))


def unit_in_column(cells: dict[str, Cell], kind: str) -> str:
    """The unit in the column of units, if it is of this kind. With ``kind`` "" any unit is accepted."""
    cell = cells.get("unit")
    if cell is None:
        return ""
    try:
        symbol = unit_symbol(cell.text)
    except QuantityError:
        return cell.text if not kind else ""
    return symbol if not kind or dimension_of(symbol) == kind else ""


def first_clause(title: str, longest: int) -> str:
    """The first sentence or clause of a long title, never ending within brackets."""
    ends = [found.start() for found in re.finditer(r"[.;:](?=\s)|[.;:]$", title[: longest + 1])]
    for end in ends:
        if end >= 12 and title[:end].count("(") == title[:end].count(")"):
            return title[:end].strip()
    short = title[:longest].rpartition(" ")[0] or title[:longest]
    if short.count("(") > short.count(")"):
        short = short.rpartition("(")[0]
    return short.rstrip(" ,(") or title[:longest]
