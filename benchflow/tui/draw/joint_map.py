"""Draws a map of a joint: each fastener at its place on the part, with its number and a stroke for every stage done.

The strokes are like paint marks on a bolt head. The next fastener is between arrows.
"""

from benchflow.session.view.bench_view import FastenerStatus, TightenInput
from benchflow.trade.verdict import OUT_OF_LIMIT
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, fit, width_of

STROKES = 5
"""Maximum number of stages drawn as strokes. With more stages, the number of stages done is shown instead."""


def joint_pictures(joint: TightenInput, width: int) -> list[list[Line]]:
    """Return the map in several sizes, the largest first.

    The last one is a list in the order of the numbers, for a part that is too wide for the screen.
    """
    grid = {(fastener.row, fastener.column): fastener for fastener in joint.fasteners}
    rows = [[grid.get((row, column)) for column in range(joint.columns)] for row in range(joint.rows)]
    tally = tally_width(joint)
    out: list[list[Line]] = []
    tall = max(4, tally)
    gap = min((width - tall * joint.columns) // max(joint.columns, 1), 4)
    if gap >= 1:
        numbers = [_row([_number(joint, f, tall) for f in places], tall + gap) for places in rows]
        tallies = [_row([_tally(joint, f, tally, tall) for f in places], tall + gap) for places in rows]
        pairs = list(zip(numbers, tallies, strict=True))
        out.append([line for pair in pairs for line in (*pair, EMPTY)][:-1])
        out.append([line for pair in pairs for line in pair])
    flat = 4 + tally
    gap = min((width - flat * joint.columns) // max(joint.columns, 1), 2)
    if gap >= 0:
        both = [[(*_number(joint, f, 4), *_tally(joint, f, tally, tally)) for f in places] for places in rows]
        out.append([_row(cells, flat + gap) for cells in both])
    return [*out, _list(joint, width)]


def is_drawing_down(joint: TightenInput) -> bool:
    """True if the part is still being drawn down, before the first stage.

    Only the builder can confirm that the part is seated. No single key may lead from drawing down to full torque,
    because the part may not be level.
    """
    return joint.draw_down is not None and joint.draw_down.open


def next_fastener(joint: TightenInput) -> int | None:
    """Return the number of the fastener to tighten next, ``None`` if there is none."""
    if joint.draw_down is not None and is_drawing_down(joint):
        return joint.draw_down.next
    return joint.next


def tally_width(joint: TightenInput) -> int:
    """Return the width of the strokes of one fastener, in cells."""
    return max(min(len(joint.stages), STROKES), 2)


def _row(cells: list[Line], width: int) -> Line:
    return tuple(span for cell in cells for span in fit(cell, width))


def _number(joint: TightenInput, fastener: FastenerStatus | None, width: int) -> Line:
    if fastener is None:
        return EMPTY
    text = str(fastener.number)
    if fastener.number == next_fastener(joint):
        return ((f"►{text}◄".center(width), "next"),)
    role: Role = "faint" if not fastener.in_stage else "done" if fastener.stage >= joint.stage else "strong"
    return ((text.center(width), role),)


def _tally(joint: TightenInput, fastener: FastenerStatus | None, tally: int, width: int) -> Line:
    if fastener is None:
        return EMPTY
    if is_drawing_down(joint):
        return ((f"{fastener.turns}×".center(width) if fastener.turns else "·".center(width), "text"),)
    if fastener.verdict in OUT_OF_LIMIT and not fastener.waived:
        return (("×".center(width), "out-of-limit"),)
    role: Role = "ok" if fastener.stage >= joint.stage else "text"
    if not fastener.in_stage and not joint.complete:
        return (("—".center(width), "faint"),)
    if len(joint.stages) > STROKES:
        return ((str(fastener.stage).center(width), role),)
    left = (width - tally) // 2
    done: Span = ("|" * fastener.stage, role)
    return ((" " * left, "text"), done, ("·" * (len(joint.stages) - fastener.stage), "faint"))


def _list(joint: TightenInput, width: int) -> list[Line]:
    tally = tally_width(joint)
    out: list[Line] = []
    line: Line = ()
    for fastener in sorted(joint.fasteners, key=lambda each: each.number):
        piece = (*_number(joint, fastener, 4), *_tally(joint, fastener, tally, tally), (" ", "text"))
        if line and width_of(line) + width_of(piece) > width:
            out.append(line)
            line = ()
        line += piece
    return [*out, line]
