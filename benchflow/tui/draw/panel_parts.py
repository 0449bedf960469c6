"""Puts the parts of an operation into the rows of the screen: cautions, instruction, inputs, background."""

from itertools import product
from typing import Literal

from msgspec import Struct

from benchflow.tui.draw.block_parts import BlockFor, FieldPlace, InputBlock
from benchflow.tui.draw.styled_lines import EMPTY, Line, counted, styled

Turn = Literal["", "text", "picture"]


class Panel(Struct, frozen=True):
    """Drawn lines, and the position of the field in them.

    ``hidden`` is the number of instruction lines hidden below. ``turn`` says what is shown, if there is no
    space for the instruction and the picture of the current input together; "" if there is.
    """

    lines: tuple[Line, ...]
    place: FieldPlace | None = None
    hidden: int = 0
    turn: Turn = ""


class PanelParts(Struct, frozen=True):
    """The lines of an operation. ``before`` and ``after`` are the inputs before and after the current one, in short."""

    top: list[Line]
    instruction: list[Line]
    background: list[Line]
    before: list[Line]
    after: list[Line]


def composed(parts: PanelParts, block_for: BlockFor | None, height: int, scrolled: int, text_first: bool) -> Panel:
    """Join the parts, with blank lines between them if there are enough rows.

    If there are too few rows, the background is left out first, then the blank lines, then other inputs. If
    instruction and current input still do not fit, one of them is shown in full: with ``text_first`` the instruction
    with a small input, otherwise the input as large as possible. A line says what is hidden.
    """
    rows = height - len(parts.top)
    others = len(parts.before) + len(parts.after)
    needed = len(parts.instruction) + others
    gaps = bool(parts.instruction) + bool(others or block_for)
    extra = len(parts.background) + 1 if parts.background else 0
    few = min(others, 1)
    spaced = ((extra, gaps, others), (0, gaps, others), (0, 0, others), (0, 0, few))
    for allowed, (background, gap, other_rows) in (*product(("",), spaced), *product(("details",), spaced[2:])):
        left = rows - needed - background - gap + others - other_rows
        block = InputBlock(()) if block_for is None else block_for(left)
        if len(block.lines) <= left and block.left_out in ("", allowed):
            shown = parts.background if background else []
            return _stacked(parts, parts.instruction, block, other_rows, bool(gap), shown, height)
    if block_for is None:
        text, hidden = scrolled_text(parts.instruction, max(rows - few, 2), scrolled)
        return _stacked(parts, text, InputBlock(()), few, False, [], height, hidden)
    if text_first:
        return _text_turn(parts, block_for, height, scrolled, few)
    block = block_for(max(rows - few - 1, 3))
    left = rows - len(block.lines) - few
    hidden = len(parts.instruction) - max(left - 1, 0)
    text = [
        *parts.instruction[: max(left - 1, 0)],
        styled(f"▲ {counted(hidden, 'line')} of instruction (PgUp)", "attention"),
    ]
    return _stacked(parts, text, block, few, False, [], height, 0, "picture")


def _text_turn(parts: PanelParts, block_for: BlockFor, height: int, scrolled: int, few: int) -> Panel:
    """Show the whole instruction, or as much as fits, and the current input as small as needed."""
    rows = height - len(parts.top)
    block = block_for(max(rows - len(parts.instruction) - few - 1, 0))
    more: list[Line] = [styled("▼ larger picture (PgDn)", "attention")] if block.left_out == "picture" else []
    left = rows - len(block.lines) - few - len(more)
    text, hidden = scrolled_text(parts.instruction, max(left, 2), scrolled)
    shown = InputBlock((*block.lines, *more), block.place)
    return _stacked(parts, text, shown, few, False, [], height, hidden, "text" if more or hidden else "")


def _stacked(
    parts: PanelParts,
    text: list[Line],
    block: InputBlock,
    other_rows: int,
    spaced: bool,
    background: list[Line],
    height: int,
    hidden: int = 0,
    turn: Turn = "",
) -> Panel:
    """Put the lines one below the other. ``other_rows`` are for the inputs beside the current one."""
    before, after = _nearest(parts.before, parts.after, other_rows)
    gap = [EMPTY] if spaced else []
    above = [*parts.top, *(gap if text else []), *text, *(gap if before or after or block.lines else []), *before]
    place = block.place and block.place.moved(0, len(above))
    lines = [*above, *block.lines, *after, *([EMPTY, *background] if background else [])]
    seen = place is not None and place.y < height
    return Panel(tuple(lines[:height]), place if seen else None, hidden, turn)


def _nearest(before: list[Line], after: list[Line], rows: int) -> tuple[list[Line], list[Line]]:
    """Return the lines nearest to the current input, at most ``rows``. The last one says how many are hidden."""
    hidden = len(before) + len(after) - rows
    if hidden <= 0:
        return before, after
    left = max(rows - 1, 0)
    following = after[:left]
    preceding = before[len(before) - (left - len(following)) :] if left > len(following) else []
    hidden = len(before) + len(after) - len(following) - len(preceding)
    return preceding, [*following, styled(f"  … {counted(hidden, 'more line')} to enter (↑↓)", "faint")]


def scrolled_text(lines: list[Line], available: int, scrolled: int) -> tuple[list[Line], int]:
    """Return ``available`` lines of a text, scrolled by ``scrolled``, and the number of lines hidden below."""
    if len(lines) <= available:
        return lines, 0
    start = max(min(scrolled, len(lines) - available + 1), 0)
    shown = lines[start : start + available - 1]
    left = len(lines) - start - len(shown)
    if left:
        return [*shown, styled(f"    ▼ {counted(left, 'more line')} (PgDn)", "attention")], left
    return [*lines[-available + 1 :], styled("    ▲ end of the text (PgUp scrolls back)", "attention")], 0
