"""Draws the current operation, rework step or move: cautions, then the instruction, then the inputs."""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import Caution
from benchflow.session.view.bench_view import (
    CalculatedInput,
    Input,
    MoveRow,
    OperationView,
    ReadingInput,
    ReworkView,
    TightenInput,
)
from benchflow.tui.draw.block_parts import INDENT
from benchflow.tui.draw.input_blocks import current_block, other_inputs, summary_of
from benchflow.tui.draw.joint_map import joint_pictures
from benchflow.tui.draw.panel_parts import Panel, PanelParts, composed
from benchflow.tui.draw.reading_block import readings_table
from benchflow.tui.draw.styled_lines import EMPTY, Line, cell_count, counted, cut, hanging, rule, styled, wrap
from benchflow.tui.model.bench_inputs import BenchInput, input_of, takes_text
from benchflow.tui.model.typed_text import TypedText

MAX_REASONS = 4
"""Number of reasons shown on the bench for a blocked operation. Key w shows all of them."""


class Scroll(Struct, frozen=True):
    """The scroll position: lines scrolled in the instruction, and which of instruction and picture is shown.

    ``show_text`` is true for the instruction, false for the picture, and ``None`` for the instruction before the first
    entry and the picture after it.
    """

    lines: int = 0
    show_text: bool | None = None


def draw_operation(
    now: OperationView,
    status: str,
    item: BenchInput | None,
    typed: TypedText,
    width: int,
    height: int,
    scroll: Scroll,
) -> Panel:
    """Draw an operation. ``status`` is the line above the title."""
    top = _top(now, status, width)
    instruction = [line for text in now.do for line in paragraph_lines(text, width)]
    background = _background(now, width)
    if item is not None:
        parts = PanelParts(top, instruction, background, *other_inputs(now, item, width))
        block = current_block(now, item, typed, width)
        text_first = not _is_begun(item) if scroll.show_text is None else scroll.show_text
        panel = composed(parts, block, height, scroll.lines, text_first)
        return panel if takes_text(item) else replace(panel, place=None)
    entries: list[Line] = []
    if now.in_progress or now.done:
        entries = other_inputs(now, None, width)[0]
    elif now.inputs:
        listed = "; ".join(_input_text(each) for each in now.inputs)
        background = [*hanging("To enter: ", listed, width, "faint"), *background]
    return composed(PanelParts(top, instruction, background, entries, []), None, height, scroll.lines, True)


def draw_operation_apart(
    now: OperationView, status: str, item: BenchInput | None, typed: TypedText, widths: tuple[int, int], height: int,
    scroll: Scroll,
) -> tuple[Panel, Panel]:  # fmt: skip
    """Draw an operation in two columns: its text with all inputs in short, and the current input in full.

    Without a current input, the second column has the inputs of the operation, as they will be entered.
    """
    width, beside = widths
    chosen = None if item is None else input_of(item)
    entries = [
        (("► ", "now"), *line) if given == chosen and index == 0 else ((INDENT, "text"), *line)
        for given in now.inputs
        for index, line in enumerate(summary_of(given, width - 2))
    ]
    instruction = [line for text in now.do for line in paragraph_lines(text, width)]
    parts = PanelParts(_top(now, status, width), instruction, _background(now, width), entries, [])
    left = composed(parts, None, height, scroll.lines, True)
    if item is None:
        return left, Panel(tuple(draw_preview(now, beside, height)))
    block = current_block(now, item, typed, beside)(height)
    place = block.place if takes_text(item) else None
    lines = list(block.lines)
    if not isinstance(chosen, TightenInput | ReadingInput):
        lines.extend([EMPTY, *draw_preview(now, beside, max(height - len(lines) - 1, 0))])
    return left, Panel(tuple(lines[:height]), place)


def draw_preview(now: OperationView, width: int, height: int) -> list[Line]:
    """Draw the inputs: each joint as a map, each value with its readings and limits.

    While the operation is in progress, only these are drawn.
    """
    shown = [each for each in now.inputs if not now.in_progress or isinstance(each, TightenInput | ReadingInput)]
    out: list[Line] = [rule(width, "ENTERED" if now.in_progress or now.done else "TO ENTER")] if shown else []
    for given in shown:
        lines = summary_of(given, width)
        match given:
            case TightenInput() as joint:
                stages = " · ".join(joint.stages)
                sizes = joint_pictures(joint, width - 2)
                left = height - len(out) - len(lines) - 4
                picture = next((each.lines for each in sizes if each.height <= left), [])
                lines = [*lines, *hanging("  Stages: ", stages, width), *picture]
            case ReadingInput() if len(given.readings) > 1:
                table = readings_table(given, None, width)
                lines = [lines[0], *table] if table and len(out) + len(table) + 2 <= height else lines
        out.extend([*lines, EMPTY])
    return out[:height]


def _top(now: OperationView, status: str, width: int) -> list[Line]:
    """Draw the status, the title, the reasons that block the operation, and the cautions."""
    out: list[Line] = [styled(cut(status, width), "label")]
    out.extend(styled(part, "title") for part in wrap(f"{now.number}  {now.title}", width))
    if now.missing and not now.in_progress:
        for reason in now.missing[:MAX_REASONS]:
            out.extend(hanging("× ", reason.message, width, "blocked"))
        if len(now.missing) > MAX_REASONS:
            out.append(styled(f"  and {counted(len(now.missing) - MAX_REASONS, 'more reason')} (w)", "blocked"))
        out.extend(unknown_state_lines(now.unknown_states, width))
    out.extend(_asked_ahead(now, width))
    for reason in now.reopened_by:
        out.extend(hanging("× ", reason.message, width, "out-of-limit"))
    return [*out, *draw_cautions(now.cautions, width)]


def unknown_state_lines(titles: Sequence[str], width: int) -> list[Line]:
    """Draw what to do about states that are not known: the key of the state leads to the form for a state found."""
    return [
        line
        for title in titles
        for line in hanging("→ ", f"{title}: not known. Look at it and enter its state: s", width, "attention")
    ]


def _asked_ahead(now: OperationView, width: int) -> list[Line]:
    """Draw the figures that a blocked operation still needs, and that can be given now. A time is among the reasons."""
    titles = [one.title for one in now.asked_ahead if not one.is_time]
    if not (titles and now.missing):
        return []
    return hanging("→ ", f"To be filled in: {'; '.join(titles)}", width, "attention")


def _is_begun(item: BenchInput) -> bool:
    """True if something is entered in the current joint or value."""
    match input_of(item):
        case TightenInput() as joint:
            return bool(joint.last_entry)
        case ReadingInput() as given:
            return any(slot.shown for slot in given.readings)
        case _:
            return False


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
