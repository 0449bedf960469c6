"""Draws the map of a joint, with each fastener in its place, as text and as an SVG. Readable without colour."""

from collections.abc import Sequence
from itertools import zip_longest
from textwrap import wrap
from typing import Literal

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.base.svg import Svg
from benchflow.procedure.model import NO_SIDES, JointSides

FastenerStatus = Literal["open", "next", "done", "out-of-limit"]


class FastenerCell(Struct, frozen=True):
    """A fastener in the picture. ``row`` and ``column`` count from 0; ``text`` is its result, such as ``61 N·m``."""

    number: int
    row: int
    column: int
    text: str = ""
    status: FastenerStatus = "done"


_STATUS = {"open": "( )", "next": "(>)", "done": "(●)", "out-of-limit": "(×)"}


def side_line(sides: JointSides, width: int) -> str:
    """Return the left, upper and right side of a joint as a line over its map: ``◄ front  ▲ exhaust side  rear ►``.

    The line is longer than ``width`` if the texts need more, and empty if none of the three is named.
    """
    left = f"◄ {sides.left}" if sides.left else ""
    top = f"▲ {sides.top}" if sides.top else ""
    right = f"{sides.right} ►" if sides.right else ""
    spare = width - len(left) - len(top) - len(right)
    before = max(min((width - len(top)) // 2 - len(left), spare - 2), 2)
    after = max(spare - before, 2)
    return f"{left}{' ' * before}{top}{' ' * after}{right}".rstrip()


def joint_lines(fasteners: Sequence[FastenerCell], width: int = 80, sides: JointSides = NO_SIDES) -> tuple[str, ...]:
    """Return the joint as lines of text: each fastener's number and status in its place, with its text below.

    The texts are wrapped. If a column is too narrow for a word, the result is a list of the fasteners by number. The
    ``sides`` are named above and below the map.
    """
    if not fasteners:
        return ()
    columns = max(one.column for one in fasteners) + 1
    texts = {one.number: clean_line(one.text) for one in fasteners}
    longest_word = max((len(word) for text in texts.values() for word in text.split()), default=0)
    cell = min(max(*map(len, texts.values()), 6) + 2, width // columns)
    if max(longest_word, 6) + 2 > cell:
        ordered = sorted(fasteners, key=lambda one: one.number)
        return tuple(f"{one.number:>3} {_STATUS[one.status]} {texts[one.number]}".rstrip() for one in ordered)
    lines = [line for line in (side_line(sides, cell * columns),) if line]
    for row in range(max(one.row for one in fasteners) + 1):
        here = {one.column: one for one in fasteners if one.row == row}
        heads = [f"{here[c].number}{_STATUS[here[c].status]}" if c in here else "" for c in range(columns)]
        parts = [wrap(texts[here[c].number], cell - 2) if c in here else [] for c in range(columns)]
        lines.append("".join(head.center(cell) for head in heads).rstrip())
        for below in zip_longest(*parts, fillvalue=""):
            lines.append("".join(part.center(cell) for part in below).rstrip())
    if sides.bottom:
        lines.append(f"▼ {sides.bottom}".center(cell * columns).rstrip())
    return tuple(lines)


_CELL_HEIGHT, _CELL_HEIGHT_WITHOUT_TEXT, _RADIUS = 62.0, 44.0, 17.0
_EDGE = 18.0
"""The space for the name of a side along an edge."""


def joint_svg(fasteners: Sequence[FastenerCell], title: str, sides: JointSides = NO_SIDES) -> str:
    """Return the joint as an SVG, with the text of each fastener below it and the ``sides`` named along its edges.

    A ring means done, a dashed ring open, a heavy ring next. A square with a cross beside it means out of its limit.
    """
    if not fasteners:
        svg = Svg(120, 40, title)
        _text(svg, 60, 24, "no fasteners")
        return str(svg)
    longest = max(len(clean_line(one.text)) for one in fasteners)
    columns, rows = max(one.column for one in fasteners) + 1, max(one.row for one in fasteners) + 1
    across, down = max(len(sides.top), len(sides.bottom)) * 7.0, max(len(sides.left), len(sides.right)) * 7.0
    cell_width = max(56.0, longest * 7.0 + 10, across / columns)
    cell_height = max(_CELL_HEIGHT if longest else _CELL_HEIGHT_WITHOUT_TEXT, down / rows)
    x0, y0 = 8 + _EDGE * bool(sides.left), 8 + _EDGE * bool(sides.top)
    width = x0 + cell_width * columns + _EDGE * bool(sides.right) + 8
    height = y0 + cell_height * rows + _EDGE * bool(sides.bottom) + 2
    svg = Svg(width, height, title)
    middle, half = x0 + cell_width * columns / 2, y0 + cell_height * rows / 2
    for x, y, text in ((middle, 16, sides.top), (middle, height - 8, sides.bottom)):
        if text:
            _text(svg, x, y, text, italic=True)
    for x, text in ((16, sides.left), (width - 8, sides.right)):
        if text:
            _text(svg, x, half, text, italic=True, transform=f"rotate(-90 {x:g} {half:g})")
    for one in sorted(fasteners, key=lambda fastener: fastener.number):
        x, y = x0 + cell_width * (one.column + 0.5), y0 + _RADIUS + cell_height * one.row
        _fastener(svg, x, y, one.status)
        _text(svg, x, y + 4, str(one.number), bold=True)
        if one.text:
            _text(svg, x, y + _RADIUS + 15, one.text)
    return str(svg)


def _fastener(svg: Svg, x: float, y: float, status: str) -> None:
    if status == "out-of-limit":
        left, top, side = x - _RADIUS, y - _RADIUS, 2 * _RADIUS
        svg.add("rect", x=left, y=top, width=side, height=side, fill="#fff", stroke="#000", stroke_width=2)
        _text(svg, x + _RADIUS + 8, top + 8, "×", bold=True)
        return
    stroke: dict[str, float | str] = {"stroke_width": 4 if status == "next" else 2}
    if status == "open":
        stroke = {"stroke_width": 1, "stroke_dasharray": "3 3"}
    svg.add("circle", cx=x, cy=y, r=_RADIUS, fill="#fff", stroke="#000", **stroke)


def _text(
    svg: Svg, x: float, y: float, text: str, *, bold: bool = False, italic: bool = False, **attributes: str
) -> None:
    weight, slant = "bold" if bold else "normal", "italic" if italic else "normal"
    svg.text(
        x, y, text, text_anchor="middle", font_weight=weight, font_style=slant, font_size=12, fill="#000", **attributes
    )
