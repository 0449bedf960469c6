"""The operation in hand, or the one that is offered: cautions first, the instruction, then what it wants."""

from collections.abc import Sequence

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.session.view.bench_view import Input, MoveRow, NowView, ReadingInput, ReworkView, WorkedInput
from benchflow.tui.draw.input_blocks import FieldPlace, InputBlock, blocks_of
from benchflow.tui.draw.styled_lines import EMPTY, Line, cell_count, cut, hanging, styled, wrap
from benchflow.tui.model.bench_inputs import BenchInput, takes_text
from benchflow.tui.model.typed_text import TypedText

MAX_REASONS = 4
"""Of a stopped operation, on the bench; `w` has them all, and the way there."""


class Panel(Struct, frozen=True):
    """Drawn lines, where the field lies in them, and how far the instruction can be turned on."""

    lines: tuple[Line, ...]
    place: FieldPlace | None = None
    hidden: int = 0  # lines of the instruction that are out of sight


def draw_now(
    now: NowView, about: str, item: BenchInput | None, typed: TypedText, width: int, height: int, scrolled: int = 0
) -> Panel:
    """``about`` is the line over the title; ``turned`` by how many lines the instruction is turned on."""
    top: list[Line] = [styled(cut(about, width), "label")]
    top.extend(styled(part, "title") for part in wrap(f"{now.number}  {now.title}", width))
    if now.missing and not now.in_progress:
        top.extend(
            line for reason in now.missing[:MAX_REASONS] for line in hanging("× ", reason.message, width, "blocked")
        )
    top.extend(draw_cautions(now.cautions, width))
    told = [line for text in now.do for line in numbered(text, width)]
    aside = _any_paused(now, width)
    blocks = (
        blocks_of(now, item, typed, width, max(height - len(top) - min(len(told), 2), 6)) if now.in_progress else []
    )
    if not now.in_progress and now.inputs:
        aside = [*hanging("Wants: ", "; ".join(_wanted(each) for each in now.inputs), width, "faint"), *aside]
    return _composed(top, told, aside, blocks, item, height, scrolled, width)


def draw_cautions(cautions: Sequence[Caution], width: int) -> list[Line]:
    """Each with its signal word as a panel in front (ANSI Z535.4), a blank line above the first."""
    out: list[Line] = [EMPTY] if cautions else []
    for caution in cautions:
        badge = f" {caution.signal.upper()} "
        indent = cell_count(badge) + 1
        for index, part in enumerate(wrap(caution.text, width - indent)):
            lead: Line = ((badge, caution.signal), (" ", "text")) if index == 0 else ((" " * indent, "text"),)
            out.append((*lead, (part, "strong")))
    return out


def numbered(text: str, width: int) -> list[Line]:
    """A paragraph; one that begins with a number and a blank hangs behind it."""
    head, _, rest = text.strip().partition(" ")
    if rest and head.rstrip(".)").isdigit() and len(head) <= 3:
        return hanging(f"{head.rstrip('.)'):>2}  ", rest.strip(), width, "text", "label")
    return [styled(part) for part in wrap(text, width)]


def draw_rework_step(step: ReworkView, width: int) -> Panel:
    """The step of the work coming apart that is to be done now."""
    lines: list[Line] = [styled(f"Taking back: step {step.step} of {step.of}", "label")]
    lines.extend(styled(part, "title") for part in wrap(step.title, width))
    lines.extend(draw_cautions(step.cautions, width))
    lines.append(EMPTY)
    lines.extend(line for text in step.do.splitlines() if text.strip() for line in numbered(text, width))
    if step.discard:
        lines.extend([EMPTY, *hanging("Throw away: ", ", ".join(step.discard), width, "strong", "weak")])
    lines.extend([EMPTY, (("► ", "now"), ("Done as it says", "strong"))])
    return Panel(tuple(lines))


def draw_move(move: MoveRow, width: int) -> Panel:
    """A move that is the next step of the way."""
    lines: list[Line] = [styled("Do now", "label"), *(styled(part, "title") for part in wrap(move.title, width))]
    lines.extend(draw_cautions(move.cautions, width))
    lines.append(EMPTY)
    lines.extend(line for text in move.do.splitlines() if text.strip() for line in numbered(text, width))
    lines.append(EMPTY)
    if move.refused:
        lines.extend(line for reason in move.refused for line in hanging("× ", reason.message, width, "blocked"))
    else:
        lines.append((("► ", "now"), ("Done", "strong")))
    return Panel(tuple(lines))


def _any_paused(now: NowView, width: int) -> list[Line]:
    out: list[Line] = []
    if now.uses:
        out.extend(hanging("With: ", ", ".join(now.uses), width, "faint"))
    if now.because:
        out.extend(hanging("Why here: ", now.because, width, "faint"))
    return out


def _wanted(given: Input) -> str:
    match given:
        case ReadingInput() | WorkedInput():
            name = given.ask if isinstance(given, ReadingInput) else given.title
            return f"{name} ({given.limit})" if given.limit else name
        case _:
            text = getattr(given, "text", "") or getattr(given, "title", "")
            return f"{given.role} signs" if hasattr(given, "role") else str(text)


def _composed(
    top: list[Line],
    told: list[Line],
    aside: list[Line],
    blocks: list[InputBlock],
    item: BenchInput | None,
    height: int,
    scrolled: int,
    width: int,
) -> Panel:
    """Everything with air where there is room; else the asides go, then the air, then the instruction and
    the inputs that are not in hand are shortened. The cautions and the input in hand are always whole."""
    wanted, place_at, current = _stacked(blocks, item)
    gaps = (1 if told else 0) + (1 if wanted else 0)
    available = height - len(top)
    if aside and len(told) + len(wanted) + gaps + len(aside) + 1 > available:
        aside = []
    extra = len(aside) + (1 if aside else 0)
    if len(told) + len(wanted) + gaps + extra > available:
        gaps = 0
    available -= gaps + extra
    least = min(len(told), 2)
    for_wanted = min(len(wanted), max(available - len(told), len(range(*current)), available - len(told) // 2, 0))
    for_wanted = min(for_wanted, max(available - least, 0))
    shown_told, hidden = _turned(told, available - for_wanted, scrolled)
    shown_wanted, cut_above = _around(wanted, current, for_wanted)
    lines = [*top]
    if shown_told:
        lines.extend([EMPTY] * bool(gaps) + shown_told)
    if shown_wanted:
        lines.extend([EMPTY] * bool(gaps))
        if place_at is not None:
            row = place_at.y - cut_above
            seen = 0 <= row < len(shown_wanted) and row + len(lines) < height
            place_at = FieldPlace(place_at.x, row + len(lines), place_at.width) if seen else None
        lines.extend(shown_wanted)
    if aside:
        lines.extend([EMPTY, *aside])
    return Panel(tuple(lines[:height]), place_at if takes_text(item) else None, hidden)


def _stacked(
    blocks: list[InputBlock], item: BenchInput | None
) -> tuple[list[Line], FieldPlace | None, tuple[int, int]]:
    """All blocks below one another; where the field is, and from which line to which the one in hand goes."""
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


def _turned(told: list[Line], available: int, scrolled: int) -> tuple[list[Line], int]:
    if len(told) <= available:
        return told, 0
    available = max(available, 1)
    start = min(scrolled, len(told) - available + 1)
    start = max(start, 0)
    shown = told[start : start + available - 1]
    left = len(told) - start - len(shown)
    if left:
        return [*shown, styled(f"    ▼ {left} more lines: Page down", "weak")], left
    return [*told[-available + 1 :], styled("    ▲ the end: Page up goes back", "weak")], 0


def _around(wanted: list[Line], current: tuple[int, int], available: int) -> tuple[list[Line], int]:
    """As many lines as there is room for, the ones in hand among them; and how many were cut above."""
    if len(wanted) <= available:
        return wanted, 0
    start = max(min(current[0] - 1, len(wanted) - available), 0)
    if current[1] - start > available:
        start = max(min(current[0], len(wanted) - available), 0)
    shown = wanted[start : start + available]
    return shown, start
