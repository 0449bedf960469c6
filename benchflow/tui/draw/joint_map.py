"""Draws a map of a joint: each fastener at its place on the part, with its number and a stroke for every stage done.

The strokes are like paint marks on a bolt head. The next fastener is between arrows.
"""

from benchflow.procedure.model import NO_SIDES, JointSides
from benchflow.session.view.bench_view import FastenerStatus, TightenInput
from benchflow.trade.joint_picture import side_line
from benchflow.trade.verdict import OUT_OF_LIMIT
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, fit, styled, width_of

STROKES = 5
"""Maximum number of stages drawn as strokes. With more stages, the number of stages done is shown instead."""


def joint_pictures(joint: TightenInput, width: int) -> list[list[Line]]:
    """Return the map in several sizes, the largest first. Empty if the part is too wide for the screen.

    The sides of the joint are named around it, in the smallest size only if they need no further row.
    """
    grid = {(fastener.row, fastener.column): fastener for fastener in joint.fasteners}
    rows = [[grid.get((row, column)) for column in range(joint.columns)] for row in range(joint.rows)]
    tally = tally_width(joint)
    tall, flat = max(4, tally), 4 + tally
    out: list[list[Line]] = []
    for gap, spaced in ((6, True), (min((width - tall * joint.columns) // max(joint.columns, 1), 4), False)):
        cell = tall + gap
        drawn = []
        for places in rows:
            drawn.append(_row([_number(joint, each, tall) for each in places], cell))
            drawn.append(_row([_tally(joint, each, tally, tall) for each in places], cell))
            drawn.extend([EMPTY] if spaced else [])
        if spaced and joint.rows > 1:
            framed = _framed(drawn[:-1], joint.sides, cell * joint.columns, width)
            out.extend([framed] if framed else [])
        elif gap >= 1:
            out.append(_with_sides(drawn, joint.sides, cell * joint.columns, width))
    gap = min((width - flat * joint.columns) // max(joint.columns, 1), 2)
    if gap >= 0:
        both = [[(*_number(joint, f, 4), *_tally(joint, f, tally, tally)) for f in places] for places in rows]
        flat_rows = [_row(cells, flat + gap) for cells in both]
        out.append(_with_sides(flat_rows, joint.sides, (flat + gap) * joint.columns, width))
        if joint.sides != NO_SIDES:
            out.append(flat_rows)
    return out


def _with_sides(rows: list[Line], sides: JointSides, across: int, width: int) -> list[Line]:
    """Put the names of the sides above and below the rows: ``◄ front  ▲ exhaust side  rear ►``."""
    above = side_line(sides, min(across, width))
    below = f"▼ {sides.bottom}".center(across).rstrip() if sides.bottom else ""
    return [*([styled(above, "label")] if above else []), *rows, *([styled(below, "label")] if below else [])]


def _framed(rows: list[Line], sides: JointSides, across: int, width: int) -> list[Line]:
    """Draw the outline of the part around the rows and the names of the sides outside of it.

    Empty if the screen is too narrow.
    """
    before, after = len(sides.left) + bool(sides.left), len(sides.right) + bool(sides.right)
    if before + across + 2 + after > width:
        return []
    middle = len(rows) // 2

    def beside(y: int, row: Line) -> Line:
        left, right = (sides.left, sides.right) if y == middle else ("", "")
        return ((left.ljust(before), "label"), ("│", "rule"), *fit(row, across), ("│ ", "rule"), (right, "label"))

    def centred(text: str) -> list[Line]:
        return [styled(" " * before + text.center(across + 2).rstrip(), "label")] if text else []

    edge, empty = "─" * across, " " * before
    return [
        *centred(sides.top),
        styled(f"{empty}┌{edge}┐", "rule"),
        *(beside(y, row) for y, row in enumerate(rows)),
        styled(f"{empty}└{edge}┘", "rule"),
        *centred(sides.bottom),
    ]


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


def joint_list(joint: TightenInput, width: int) -> list[Line]:
    """Draw the fasteners in the order of their numbers, for a part that is too wide or too high for the screen."""
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
