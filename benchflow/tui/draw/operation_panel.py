"""Draws the current operation, rework step or move: cautions, then the instruction, then the inputs."""

from collections.abc import Sequence

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.session.view.bench_view import CalculatedInput, Input, MoveRow, OperationView, ReadingInput, ReworkView
from benchflow.tui.draw.input_blocks import FieldPlace, InputBlock, blocks_of
from benchflow.tui.draw.styled_lines import EMPTY, Line, cell_count, counted, cut, hanging, styled, wrap
from benchflow.tui.model.bench_inputs import BenchInput, takes_text
from benchflow.tui.model.typed_text import TypedText

MAX_REASONS = 4
"""Number of reasons shown on the bench for a blocked operation. Key w shows all of them."""


class Panel(Struct, frozen=True):
    """Drawn lines, the position of the field in them, and the number of hidden instruction lines."""

    lines: tuple[Line, ...]
    place: FieldPlace | None = None
    hidden: int = 0


def draw_operation(
    now: OperationView,
    status: str,
    item: BenchInput | None,
    typed: TypedText,
    width: int,
    height: int,
    scrolled: int = 0,
) -> Panel:
    """Draw an operation. ``status`` is the line above the title; the instruction is scrolled by ``scrolled`` lines."""
    top: list[Line] = [styled(cut(status, width), "label")]
    top.extend(styled(part, "title") for part in wrap(f"{now.number}  {now.title}", width))
    if now.missing and not now.in_progress:
        top.extend(
            line for reason in now.missing[:MAX_REASONS] for line in hanging("× ", reason.message, width, "blocked")
        )
    top.extend(draw_cautions(now.cautions, width))
    instruction = [line for text in now.do for line in paragraph_lines(text, width)]
    background = _background(now, width)
    blocks = (
        blocks_of(now, item, typed, width, max(height - len(top) - min(len(instruction), 2), 6))
        if now.in_progress
        else []
    )
    if not now.in_progress and now.inputs:
        background = [
            *hanging("To enter: ", "; ".join(_input_text(each) for each in now.inputs), width, "faint"),
            *background,
        ]
    return _composed(top, instruction, background, blocks, item, height, scrolled, width)


def draw_cautions(cautions: Sequence[Caution], width: int) -> list[Line]:
    """Draw a blank line, then each caution after a panel with its signal word (ANSI Z535.4)."""
    out: list[Line] = [EMPTY] if cautions else []
    for caution in cautions:
        badge = f" {caution.signal.upper()} "
        indent = cell_count(badge) + 1
        for index, part in enumerate(wrap(caution.text, width - indent)):
            lead: Line = ((badge, caution.signal), (" ", "text")) if index == 0 else ((" " * indent, "text"),)
            out.append((*lead, (part, "strong")))
    return out


def paragraph_lines(text: str, width: int) -> list[Line]:
    """Draw a paragraph. If it starts with a number, its other lines are indented."""
    head, _, rest = text.strip().partition(" ")
    if rest and head.rstrip(".)").isdigit() and len(head) <= 3:
        return hanging(f"{head.rstrip('.)'):>2}  ", rest.strip(), width, "text", "label")
    return [styled(part) for part in wrap(text, width)]


def draw_rework_step(step: ReworkView, width: int) -> Panel:
    """Draw the current step of a rework plan."""
    lines: list[Line] = [styled(f"Rework: step {step.step} of {step.of}", "label")]
    title = step.title if step.is_move else f"Undo: {step.title}"
    lines.extend(styled(part, "title") for part in wrap(title, width))
    lines.extend(draw_cautions(step.cautions, width))
    lines.append(EMPTY)
    lines.extend(line for text in step.do.splitlines() if text.strip() for line in paragraph_lines(text, width))
    if step.discard:
        lines.extend([EMPTY, *hanging("Discard: ", ", ".join(step.discard), width, "strong", "attention")])
    lines.extend([EMPTY, (("► ", "now"), ("Done", "strong"))])
    return Panel(tuple(lines))


def draw_move(move: MoveRow, width: int) -> Panel:
    """Draw a move that is the next step of a route."""
    lines: list[Line] = [styled("Do now", "label"), *(styled(part, "title") for part in wrap(move.title, width))]
    lines.extend(draw_cautions(move.cautions, width))
    lines.append(EMPTY)
    lines.extend(line for text in move.do.splitlines() if text.strip() for line in paragraph_lines(text, width))
    lines.append(EMPTY)
    if move.refused:
        lines.extend(line for reason in move.refused for line in hanging("× ", reason.message, width, "blocked"))
    else:
        lines.append((("► ", "now"), ("Done", "strong")))
    return Panel(tuple(lines))


def _background(now: OperationView, width: int) -> list[Line]:
    out: list[Line] = []
    if now.uses:
        out.extend(hanging("With: ", "; ".join(now.uses), width, "faint"))
    if now.because:
        out.extend(hanging("Why here: ", now.because, width, "faint"))
    return out


def _input_text(given: Input) -> str:
    match given:
        case ReadingInput() | CalculatedInput():
            name = given.ask if isinstance(given, ReadingInput) else given.title
            return f"{name} ({given.limit})" if given.limit else name
        case _:
            text = getattr(given, "text", "") or getattr(given, "title", "")
            return f"{given.role} signs" if hasattr(given, "role") else str(text)


def _composed(
    top: list[Line],
    instruction: list[Line],
    background: list[Line],
    blocks: list[InputBlock],
    item: BenchInput | None,
    height: int,
    scrolled: int,
    width: int,
) -> Panel:
    """Join the parts, with blank lines between them if there are enough rows.

    If there are too few rows, the background is left out first, then the blank lines. Then the instruction and the
    other inputs are shortened. Cautions and the current input are always complete.
    """
    inputs, place_at, current = _stacked(blocks, item)
    gaps = (1 if instruction else 0) + (1 if inputs else 0)
    available = height - len(top)
    if background and len(instruction) + len(inputs) + gaps + len(background) + 1 > available:
        background = []
    extra = len(background) + (1 if background else 0)
    if len(instruction) + len(inputs) + gaps + extra > available:
        gaps = 0
    available -= gaps + extra
    least = min(len(instruction), 2)
    for_inputs = min(
        len(inputs), max(available - len(instruction), len(range(*current)), available - len(instruction) // 2, 0)
    )
    for_inputs = min(for_inputs, max(available - least, 0))
    shown_instruction, hidden = _scrolled_text(instruction, available - for_inputs, scrolled)
    shown_inputs, cut_above = _window(inputs, current, for_inputs)
    lines = [*top]
    if shown_instruction:
        lines.extend([EMPTY] * bool(gaps) + shown_instruction)
    if shown_inputs:
        lines.extend([EMPTY] * bool(gaps))
        if place_at is not None:
            row = place_at.y - cut_above
            seen = 0 <= row < len(shown_inputs) and row + len(lines) < height
            place_at = FieldPlace(place_at.x, row + len(lines), place_at.width) if seen else None
        lines.extend(shown_inputs)
    if background:
        lines.extend([EMPTY, *background])
    return Panel(tuple(lines[:height]), place_at if takes_text(item) else None, hidden)


def _stacked(
    blocks: list[InputBlock], item: BenchInput | None
) -> tuple[list[Line], FieldPlace | None, tuple[int, int]]:
    """Return the lines of all blocks, the position of the field, and the range of lines of the current block."""
    lines: list[Line] = []
    place: FieldPlace | None = None
    current = (0, 0)
    for block in blocks:
        start = len(lines)
        lines.extend(block.lines)
        if any(role == "now" for line in block.lines[:1] for _, role in line[:1]):
            current = (start, len(lines))
        if block.place is not None:
            place = FieldPlace(block.place.x, block.place.y + start, block.place.width)
            current = (start, len(lines))
    return lines, place, current


def _scrolled_text(lines: list[Line], available: int, scrolled: int) -> tuple[list[Line], int]:
    if len(lines) <= available:
        return lines, 0
    available = max(available, 1)
    start = min(scrolled, len(lines) - available + 1)
    start = max(start, 0)
    shown = lines[start : start + available - 1]
    left = len(lines) - start - len(shown)
    if left:
        return [*shown, styled(f"    ▼ {counted(left, 'more line')} (PgDn)", "attention")], left
    return [*lines[-available + 1 :], styled("    ▲ end of the text (PgUp scrolls back)", "attention")], 0


def _window(lines: list[Line], current: tuple[int, int], available: int) -> tuple[list[Line], int]:
    """Return ``available`` of the lines, including the current block, and the number of lines cut off above."""
    if len(lines) <= available:
        return lines, 0
    start = max(min(current[0] - 1, len(lines) - available), 0)
    if current[1] - start > available:
        start = max(min(current[0], len(lines) - available), 0)
    return lines[start : start + available], start
