"""What the drawings of the inputs have in common: the field, the verdict, cells in columns, the row below a field."""

from collections.abc import Callable, Sequence
from typing import Literal

from msgspec import Struct

from benchflow.procedure.figure_sources import OWN_CHOICE
from benchflow.session.view.bench_view import AskedFigure, Reading, ReadingInput
from benchflow.trade.verdict import NOT_ACCEPTED, VERDICT_TEXT
from benchflow.tui.draw.styled_lines import Line, Role, Span, counted, hanging, styled, width_of, wrap
from benchflow.tui.model.typed_text import TypedText

FIELD_WIDTH = 16
LOT_FIELD_WIDTH = 24
INDENT = "  "


class FieldPlace(Struct, frozen=True):
    """The position and the width of a field, in cells from the top left corner of the lines that contain it."""

    x: int
    y: int
    width: int

    def moved(self, right: int, down: int) -> "FieldPlace":
        """Return the place of the same field after its lines were moved."""
        return FieldPlace(self.x + right, self.y + down, self.width)


class InputBlock(Struct, frozen=True):
    """The lines of one input. ``place`` is the position of its field, if the input is the current one.

    ``left_out`` says what is left out because there are too few rows: settings of a joint and the names of its sides
    (``details``), or its map, some of the readings or some of the parts (``picture``).
    """

    lines: tuple[Line, ...]
    place: FieldPlace | None = None
    left_out: Literal["", "details", "picture"] = ""


BlockFor = Callable[[int], InputBlock]
"""Draws the current input as large as fits into the given number of rows. It may need more rows than that."""


VERDICT_SPANS: dict[str, tuple[str, Role]] = {
    "ok": (VERDICT_TEXT["ok"], "ok"),
    "low": (VERDICT_TEXT["low"], "out-of-limit"),
    "high": (VERDICT_TEXT["high"], "out-of-limit"),
    "not-proven": (VERDICT_TEXT["not-proven"], "attention"),
}


def verdict_span(reading: Reading, *, short: bool = False) -> Span:
    """Return ``ok``, ``HIGH by 0.02 mm``, ``LOW by 0.02 mm`` or ``not proven`` with its role.

    A waived limit adds ``deviation signed``, or ``signed`` if it has to be ``short``. A reading that is judged with
    others has only its distance.
    """
    word, role = VERDICT_SPANS.get(reading.verdict, ("", "attention"))
    word = " ".join(filter(None, (word, reading.distance)))
    if reading.waived and reading.verdict in NOT_ACCEPTED:
        return f"{word}, {'signed' if short else 'deviation signed'}", "paused"
    return word, role


def stated_part(given: ReadingInput, reading: Reading) -> str:
    """Return ``used part, limit at most 0.40 mm`` if the builder has said so of an entered reading, else ""."""
    if not reading.shown or reading.other_part is None or reading.other_part.used:
        return ""
    return f"used part, limit {reading.limit or given.limit}"


def joined(head: Line, tail: Line, width: int) -> list[Line]:
    """Return both on one line if they fit, else ``tail`` on the next line."""
    both = (*head, ("  ", "text"), *tail)
    if width_of(both) <= width:
        return [both]
    mark, (text, role) = head[0], head[1]
    return [*hanging(mark[0], text, width, role, mark[1]), ((INDENT, "text"), *tail)]


def packed_in_lines(cells: Sequence[Line], usual: int, width: int) -> list[Line]:
    """Put the cells next to each other in columns of ``usual`` cells. A wider cell takes several columns."""
    column = usual + 2
    per_line = max(1, (width + 2) // column)
    out: list[Line] = []
    line: list[Span] = []
    taken = 0
    for cell in cells:
        needs = min(-(-(width_of(cell) + 2) // column), per_line)
        if line and taken + needs > per_line:
            out.append((*((INDENT, "text"),), *line))
            line, taken = [], 0
        line.extend([*cell, (" " * max(needs * column - width_of(cell), 0), "text")])
        taken += needs
    return [*out, (*((INDENT, "text"),), *line)] if line else out


def source_line(source: str, width: int) -> list[Line]:
    """Return the rows with the source of a limit; nothing without a source. An own choice stands out."""
    role: Role = "attention" if source.casefold().startswith(OWN_CHOICE) else "faint"
    return [styled(INDENT + part, role) for part in wrap(f"source: {source}", width - 2)] if source else []


def asked_lines(asked: AskedFigure | None, width: int) -> list[Line]:
    """Return the lines that name the figure that Enter gives; nothing if none is asked for."""
    return [] if asked is None else hanging("  → ", f"To be filled in (Enter): {asked.title}", width, "attention")


def around(lines: list[Line], at: int, available: int, what: str) -> list[Line]:
    """Return ``available`` lines around index ``at``. If lines are hidden, the last row shows how many of ``what``."""
    if len(lines) <= available:
        return lines
    start = max(0, min(at - (available - 1) // 2, len(lines) - available + 1))
    return [
        *lines[start : start + available - 1],
        styled(f"{INDENT} … {counted(len(lines) - available + 1, 'more line')} of {what} (↑↓)", "faint"),
    ]


def note_below(typed: TypedText, place: FieldPlace, width: int) -> list[Line]:
    """Draw the row below the field: the converted value, or an arrow at the wrong character."""
    if typed.error:
        at = place.x + min(typed.at if typed.at is not None else len(typed.text), place.width - 1)
        return hanging(" " * at + "↑ ", typed.error, max(width, at + 24), "alarm")
    return [styled(" " * place.x + (f"= {typed.converted}" if typed.converted else ""), "strong")]
