"""Draws a map of a joint: each fastener at its place on the part, with its number and a stroke for every stage done.

The strokes are like paint marks on a bolt head. The next fastener is between arrows.
"""

from collections.abc import Callable
from functools import cached_property, partial

from benchflow.procedure.model import NO_SIDES, JointSides
from benchflow.session.view.bench_view import FastenerStatus, TightenInput
from benchflow.trade.joint_picture import side_line
from benchflow.trade.verdict import OUT_OF_LIMIT
from benchflow.tui.draw.large_letters import ROWS, large_lines, large_width
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, fit, styled, width_of

STROKES = 5
"""Maximum number of stages drawn as strokes. With more stages, the number of stages done is shown instead."""

LARGE_CELL = 13
"""Cells for a fastener with its number in large letters."""

FAILED = "!!"
"""The mark of a fastener that is stripped, broken or turns without getting tighter."""


class JointPicture:
    """A map of a joint in one size. It is drawn only if it is used.

    ``height`` is the number of its rows. ``named`` is false if the sides of the joint have names and it lacks them.
    """

    def __init__(self, height: int, draw: Callable[[], list[Line]], *, named: bool = True) -> None:
        self.height, self.draw, self.named = height, draw, named

    @cached_property
    def lines(self) -> list[Line]:
        return self.draw()


def joint_pictures(joint: TightenInput, width: int) -> list[JointPicture]:
    """Return the map in several sizes, the largest first. Empty if the part is too wide for the screen.

    The sides of the joint are named around it, except in the smallest size.
    """
    sides = joint.sides
    tall, flat = max(4, tally_width(joint)), 4 + tally_width(joint)
    beside = sum(len(side) + bool(side) for side in (sides.left, sides.right)) + 2
    above, below = bool(sides.left or sides.top or sides.right), bool(sides.bottom)
    frame = 2 + bool(sides.top) + below
    out: list[JointPicture] = []

    def offer(cells: int, height: int, draw: Callable[[], list[Line]], *, named: bool = True) -> None:
        if cells <= width:
            out.append(JointPicture(height, draw, named=named))

    if joint.rows > 1:
        across = LARGE_CELL * joint.columns
        height = (ROWS + 2) * joint.rows - 1 + frame
        offer(across + beside, height, partial(_framed, joint, _large_rows, across))
        spaced = (tall + 6) * joint.columns
        offer(spaced + beside, 3 * joint.rows - 1 + frame, partial(_framed, joint, _spaced_rows, spaced))
    gap = min((width - tall * joint.columns) // max(joint.columns, 1), 4)
    if gap >= 1:
        across = (tall + gap) * joint.columns
        height = 2 * joint.rows + above + below
        offer(across, height, lambda: _with_sides(_rows(joint, tall, gap, False), sides, across, width))
    narrow = min((width - flat * joint.columns) // max(joint.columns, 1), 2)
    if narrow >= 0:
        cell = flat + narrow
        named = sides != NO_SIDES
        if named:
            height = joint.rows + above + below
            draw = partial(_flat_rows, joint, cell)
            offer(cell * joint.columns, height, lambda: _with_sides(draw(), sides, cell * joint.columns, width))
        offer(cell * joint.columns, joint.rows, partial(_flat_rows, joint, cell), named=not named)
    return out


def _with_sides(rows: list[Line], sides: JointSides, across: int, width: int) -> list[Line]:
    """Put the names of the sides above and below the rows: ``◄ front  ▲ exhaust side  rear ►``."""
    above = side_line(sides, min(across, width))
    below = f"▼ {sides.bottom}".center(across).rstrip() if sides.bottom else ""
    return [*([styled(above, "label")] if above else []), *rows, *([styled(below, "label")] if below else [])]


def _places(joint: TightenInput) -> list[list[FastenerStatus | None]]:
    """Return the fasteners by row and column; ``None`` for an empty cell."""
    grid = {(fastener.row, fastener.column): fastener for fastener in joint.fasteners}
    return [[grid.get((row, column)) for column in range(joint.columns)] for row in range(joint.rows)]


def _flat_rows(joint: TightenInput, cell: int) -> list[Line]:
    """Draw each row of fasteners in one line, the strokes beside the numbers."""
    tally = tally_width(joint)
    return [
        _row([(*_number(joint, each, 4), *_tally(joint, each, tally, tally)) for each in row], cell)
        for row in _places(joint)
    ]


def _spaced_rows(joint: TightenInput) -> list[Line]:
    return _rows(joint, max(4, tally_width(joint)), 6, True)


def _rows(joint: TightenInput, cell: int, gap: int, spaced: bool) -> list[Line]:
    """Draw each row of fasteners in two lines, numbers and strokes. ``spaced`` rows have a blank line between them."""
    drawn: list[Line] = []
    for row in _places(joint):
        drawn.append(_row([_number(joint, each, cell) for each in row], cell + gap, spaced))
        drawn.append(_row([_tally(joint, each, tally_width(joint), cell) for each in row], cell + gap, spaced))
        drawn.extend([EMPTY] if spaced else [])
    return drawn[:-1] if spaced else drawn


def _large_rows(joint: TightenInput) -> list[Line]:
    """Draw each row of fasteners with its numbers in large letters, and the strokes below them."""
    drawn: list[Line] = []
    for row in _places(joint):
        numbers = [_large_number(joint, each) for each in row]
        drawn.extend(
            tuple(span for number in numbers for span in fit((("  ", "text"), *number[y]), LARGE_CELL))
            for y in range(ROWS)
        )
        drawn.append(_row([_tally(joint, each, tally_width(joint), LARGE_CELL) for each in row], LARGE_CELL))
        drawn.append(EMPTY)
    return drawn[:-1]


def _large_number(joint: TightenInput, fastener: FastenerStatus | None) -> list[Line]:
    if fastener is None:
        return [EMPTY] * ROWS
    is_next = fastener.number == next_fastener(joint)
    role: Role = "now" if is_next else number_role(joint, fastener)
    text = f"►{fastener.number}" if is_next else str(fastener.number)
    across = (LARGE_CELL - 2 - large_width(text)) // 2
    return [((" " * across, "text"), *line) for line in large_lines(text, role)]


def _framed(joint: TightenInput, draw: Callable[[TightenInput], list[Line]], across: int) -> list[Line]:
    """Draw the outline of the part around its rows, and the names of the sides outside of it."""
    rows, sides = draw(joint), joint.sides
    before = len(sides.left) + bool(sides.left)
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


def _row(cells: list[Line], width: int, centred: bool = False) -> Line:
    """Put cells next to each other, each in ``width`` cells."""
    before = (width - max(map(width_of, cells))) // 2 if centred else 0
    margin: Line = ((" " * before, "text"),) if before else ()
    return tuple(span for cell in cells for span in fit((*margin, *cell), width))


def _number(joint: TightenInput, fastener: FastenerStatus | None, width: int) -> Line:
    if fastener is None:
        return EMPTY
    text = str(fastener.number)
    if fastener.number == next_fastener(joint):
        return ((f"►{text}◄".center(width), "next"),)
    return ((text.center(width), number_role(joint, fastener)),)


def number_role(joint: TightenInput, fastener: FastenerStatus) -> Role:
    """Return the role of a number that is not next: it is not in this stage, done in it, or still to do."""
    if fastener.failed:
        return "attention"
    return "faint" if not fastener.in_stage else "done" if fastener.stage >= joint.stage else "strong"


def _tally(joint: TightenInput, fastener: FastenerStatus | None, tally: int, width: int) -> Line:
    if fastener is None:
        return EMPTY
    if is_drawing_down(joint):
        return ((f"{fastener.turns}×".center(width) if fastener.turns else "·".center(width), "text"),)
    if fastener.failed:
        return ((FAILED.center(width), "attention"),)
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


def list_height(joint: TightenInput, width: int) -> int:
    """Return the number of rows of :func:`joint_list`."""
    per_line = max(width // (5 + tally_width(joint)), 1)
    return -(-len(joint.fasteners) // per_line)


def joint_list(joint: TightenInput, width: int) -> list[Line]:
    """Draw the fasteners in the order of their numbers, for a part that is too wide or too high for the screen."""
    tally = tally_width(joint)
    pieces: list[Line] = [
        (*_number(joint, each, 4), *_tally(joint, each, tally, tally), (" ", "text"))
        for each in sorted(joint.fasteners, key=lambda each: each.number)
    ]
    per_line = max(width // (5 + tally), 1)
    return [
        tuple(span for piece in pieces[start : start + per_line] for span in piece)
        for start in range(0, len(pieces), per_line)
    ]
