"""Draws the map of a joint, with each fastener in its place, as text and as an SVG. Readable without colour."""

from collections.abc import Sequence
from itertools import zip_longest
from textwrap import wrap
from typing import Literal

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.base.svg import Svg

FastenerStatus = Literal["open", "next", "done", "out-of-limit"]


class FastenerCell(Struct, frozen=True):
    """A fastener in the picture. ``row`` and ``column`` count from 0; ``text`` is its result, such as ``61 N·m``."""

    number: int
    row: int
    column: int
    text: str = ""
    status: FastenerStatus = "done"


_STATUS = {"open": "( )", "next": "(>)", "done": "(●)", "out-of-limit": "(×)"}


def joint_lines(fasteners: Sequence[FastenerCell], width: int = 80) -> tuple[str, ...]:
    """Return the joint as lines of text: each fastener's number and status in its place, with its text below.

    The texts are wrapped. If a column is too narrow for a word, the result is a list of the fasteners by number.
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
    lines: list[str] = []
    for row in range(max(one.row for one in fasteners) + 1):
        here = {one.column: one for one in fasteners if one.row == row}
        heads = [f"{here[c].number}{_STATUS[here[c].status]}" if c in here else "" for c in range(columns)]
        parts = [wrap(texts[here[c].number], cell - 2) if c in here else [] for c in range(columns)]
        lines.append("".join(head.center(cell) for head in heads).rstrip())
        for below in zip_longest(*parts, fillvalue=""):
            lines.append("".join(part.center(cell) for part in below).rstrip())
    return tuple(lines)


_CELL_HEIGHT, _RADIUS = 62.0, 17.0


def joint_svg(fasteners: Sequence[FastenerCell], title: str) -> str:
    """Return the joint as an SVG, with the text of each fastener below it.

    A ring means done, a dashed ring open, a heavy ring next. A square with a cross beside it means out of its limit.
    """
    if not fasteners:
        svg = Svg(120, 40, title)
        _text(svg, 60, 24, "no fasteners")
        return str(svg)
    longest = max(len(clean_line(one.text)) for one in fasteners)
    cell_width = max(56.0, longest * 7.0 + 10)
    width = cell_width * (max(one.column for one in fasteners) + 1) + 16
    height = _CELL_HEIGHT * (max(one.row for one in fasteners) + 1) + 10
    svg = Svg(width, height, title)
    for one in sorted(fasteners, key=lambda fastener: fastener.number):
        x, y = 8 + cell_width * (one.column + 0.5), 8 + _RADIUS + _CELL_HEIGHT * one.row
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


def _text(svg: Svg, x: float, y: float, text: str, *, bold: bool = False) -> None:
    weight = "bold" if bold else "normal"
    svg.text(x, y, text, text_anchor="middle", font_weight=weight, font_size=12, fill="#000")
