"""A joint as the part lies: each fastener with its number and a stroke for every stage it has had, as one
marks a bolt head with paint. The next one stands between arrows."""

from benchflow.session.view import Fastener, TightenInput
from benchflow.tui.lines import EMPTY, Line, Role, Span, fit, width_of

STROKES = 5
"""As many stages are drawn as strokes; beyond that the stage is written as a figure."""


def draw_joint(joint: TightenInput, width: int, height: int) -> list[Line]:
    """In as many of ``height`` rows as it needs, with air where there is room. Where the part is wider than
    ``width`` the rows that do not fit are not drawn and a last line says so."""
    stages = len(joint.stages)
    tally = max(min(stages, STROKES), 2)
    tall = joint.rows * 2 <= height
    airy = joint.rows * 3 - 1 <= height
    cell = max(4, tally) if tall else 3 + 1 + tally
    gap = min(max((width - cell * joint.columns) // max(joint.columns, 1), 0), 4)
    if gap < 1:
        return _list(joint, width, height)
    grid = {(fastener.row, fastener.column): fastener for fastener in joint.fasteners}
    out: list[Line] = []
    for row in range(joint.rows):
        places = [grid.get((row, column)) for column in range(joint.columns)]
        if tall:
            if airy and out:
                out.append(EMPTY)
            out.append(_row([_number(joint, f, cell) for f in places], cell + gap))
            out.append(_row([_tally(joint, f, tally, cell) for f in places], cell + gap))
        else:
            both = [(*_number(joint, f, 4), *_tally(joint, f, tally, tally)) for f in places]
            out.append(_row(both, cell + gap))
    return out[:height]


def _row(cells: list[Line], width: int) -> Line:
    return tuple(span for cell in cells for span in fit(cell, width))


def _number(joint: TightenInput, fastener: Fastener | None, width: int) -> Line:
    if fastener is None:
        return EMPTY
    text = str(fastener.number)
    if fastener.number == joint.next:
        return ((f"►{text}◄".center(width), "next"),)
    role: Role = "faint" if not fastener.part else "done" if fastener.stage >= joint.stage else "strong"
    return ((text.center(width), role),)


def _tally(joint: TightenInput, fastener: Fastener | None, tally: int, width: int) -> Line:
    if fastener is None:
        return EMPTY
    role: Role = "in" if fastener.stage >= joint.stage else "text"
    if not fastener.part and not joint.complete:
        return (("—".center(width), "faint"),)
    if len(joint.stages) > STROKES:
        return ((str(fastener.stage).center(width), role),)
    left = (width - tally) // 2
    done: Span = ("|" * fastener.stage, role)
    return ((" " * left, "text"), done, ("·" * (len(joint.stages) - fastener.stage), "faint"))


def _list(joint: TightenInput, width: int, height: int) -> list[Line]:
    """The fasteners in tightening order, where the part as it lies is too wide for the screen."""
    out: list[Line] = []
    line: Line = ()
    for fastener in sorted(joint.fasteners, key=lambda each: each.number):
        piece = (*_number(joint, fastener, 4), *_tally(joint, fastener, STROKES, STROKES), (" ", "text"))
        if line and width_of(line) + width_of(piece) > width:
            out.append(line)
            line = ()
        line += piece
    out.append(line)
    if len(out) > height:
        out = [*out[: height - 1], (("The screen is too small to draw every fastener.", "weak"),)]
    return out
