"""Pictures from plain data: a reading against its limit, a joint as it lies; as terminal text and as SVG.

Shapes and words carry everything, so both read without colour and print in black and white. An SVG is whole by
itself: no script, no style sheet, no font from outside, no identifiers that could collide in a page with many.
"""

from collections.abc import Sequence
from html import escape
from itertools import zip_longest
from textwrap import wrap
from typing import Literal, Protocol

from msgspec import Struct

from benchflow.base.plaintext import clean_line

Verdict = Literal["", "in", "out", "not-proven", "none"]


class Gauge(Protocol):
    """Where things lie, as fractions of the drawn span, 0 to 1; ``None`` where open or unread."""

    @property
    def low(self) -> float | None: ...
    @property
    def high(self) -> float | None: ...
    @property
    def guard_low(self) -> float | None: ...
    @property
    def guard_high(self) -> float | None: ...
    @property
    def value(self) -> float | None: ...


class Words(Struct, frozen=True):
    """What is written at a gauge: at its limits, and at the reading."""

    low: str = ""
    high: str = ""
    value: str = ""
    verdict: Verdict = ""


_MARKS: dict[Verdict, str] = {"": "o", "none": "o", "in": "●", "out": "×", "not-proven": "?"}
_SAID: dict[Verdict, str] = {"": "", "none": "", "in": "in", "out": "out", "not-proven": "not proven"}


def gauge_lines(gauge: Gauge, words: Words, width: int = 40) -> tuple[str, ...]:
    """Three lines of text: the reading over its place, the bar, the limits under theirs.

    Outside the limit ``·``, in the guard band ``~``, where a reading is proven in ``=``; a reading is ``●`` in,
    ``×`` out, ``?`` not proven, ``o`` not judged. ``width`` is at least 12.
    """
    width = max(width, 12)
    bar = [_stretch(gauge, index / (width - 1)) for index in range(width)]
    for edge, mark in ((gauge.low, "["), (gauge.high, "]")):
        if edge is not None:
            bar[_cell(edge, width)] = mark
    above = ""
    if gauge.value is not None:
        bar[_cell(gauge.value, width)] = _MARKS[words.verdict]
        said = " ".join(part for part in (clean_line(words.value), _SAID[words.verdict]) if part)
        above = _put(said, _cell(gauge.value, width), width)
    below = _two(gauge, clean_line(words.low), clean_line(words.high), width)
    return above, "".join(bar), below


def _stretch(gauge: Gauge, at: float) -> str:
    low = -1.0 if gauge.low is None else gauge.low
    high = 2.0 if gauge.high is None else gauge.high
    if not low <= at <= high:
        return "·"
    sure_low = low if gauge.guard_low is None else gauge.guard_low
    sure_high = high if gauge.guard_high is None else gauge.guard_high
    return "=" if sure_low <= at <= sure_high else "~"


def _cell(at: float, width: int) -> int:
    return min(max(round(at * (width - 1)), 0), width - 1)


def _put(text: str, at: int, width: int) -> str:
    """``text`` with its middle at ``at``, as far as it goes into ``width``."""
    start = max(0, min(at - len(text) // 2, width - len(text)))
    return " " * start + text


def _two(gauge: Gauge, low: str, high: str, width: int) -> str:
    """The limits' texts under their brackets; side by side where they would run into each other."""
    left = "" if gauge.low is None or not low else _put(low, _cell(gauge.low, width), width)
    if gauge.high is None or not high:
        return left
    start = len(_put(high, _cell(gauge.high, width), width)) - len(high)
    if left and start < len(left) + 2:
        return f"{low} .. {high}"
    return left.ljust(start) + high


# --- SVG --------------------------------------------------------------------------------------------

_TEXT = 'font-family="sans-serif" font-size="12" fill="#000"'


def _text(x: float, y: float, words: str, anchor: str = "middle", weight: str = "normal") -> str:
    shown = escape(clean_line(words))
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-weight="{weight}" {_TEXT}>{shown}</text>'


def _svg(width: float, height: float, title: str, parts: Sequence[str]) -> str:
    name = escape(clean_line(title))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{name}" width="{width:g}" height="{height:g}" '
        f'viewBox="0 0 {width:g} {height:g}"><title>{name}</title>'
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>{"".join(parts)}</svg>'
    )


def gauge_svg(gauge: Gauge, words: Words, title: str = "", width: int = 320) -> str:
    """The same as an SVG: the limit a box, the guard band within it grey, the reading a mark that says by its shape
    how it was judged: a full disc in, a cross out, an open disc not proven."""
    side, height, top, bottom = 12.0, 58.0, 22.0, 38.0
    span = width - 2 * side

    def x(at: float) -> float:
        return round(side + min(max(at, 0.0), 1.0) * span, 2)

    low, high = x(0.0 if gauge.low is None else gauge.low), x(1.0 if gauge.high is None else gauge.high)
    middle = (top + bottom) / 2
    parts = [f'<path d="M{side:g} {middle:g}H{width - side:g}" stroke="#000" stroke-width="1"/>']
    parts.append(_band(low, high, top, bottom, "#fff"))
    if gauge.guard_low is not None and gauge.low is not None:
        parts.append(_band(low, min(x(gauge.guard_low), high), top, bottom, "#bbb"))
    if gauge.guard_high is not None and gauge.high is not None:
        parts.append(_band(max(x(gauge.guard_high), low), high, top, bottom, "#bbb"))
    parts.append(f'<path d="M{low:g} {top:g}H{high:g}M{low:g} {bottom:g}H{high:g}" stroke="#000" stroke-width="1"/>')
    for edge, at, text in ((gauge.low, low, words.low), (gauge.high, high, words.high)):
        if edge is not None:
            parts.append(f'<path d="M{at:g} {top - 3:g}V{bottom + 3:g}" stroke="#000" stroke-width="2"/>')
            parts.append(_text(at, height - 4, text, _anchor(at, width)))
    if gauge.value is not None:
        at = x(gauge.value)
        parts.append(_mark(at, middle, words.verdict))
        said = " · ".join(part for part in (words.value, _SAID[words.verdict]) if part)
        parts.append(_text(at, 13, said, _anchor(at, width), "bold"))
    return _svg(width, height, title or words.value, parts)


def _band(left: float, right: float, top: float, bottom: float, fill: str) -> str:
    return f'<rect x="{left:g}" y="{top:g}" width="{max(right - left, 0):g}" height="{bottom - top:g}" fill="{fill}"/>'


def _anchor(at: float, width: float) -> str:
    return "start" if at < width / 3 else "end" if at > 2 * width / 3 else "middle"


def _mark(x: float, y: float, verdict: Verdict) -> str:
    if verdict == "out":
        return f'<path d="M{x - 6:g} {y - 6:g}l12 12m0 -12l-12 12" stroke="#000" stroke-width="3" fill="none"/>'
    fill = "#000" if verdict in ("in", "", "none") else "#fff"
    return f'<circle cx="{x:g}" cy="{y:g}" r="6" fill="{fill}" stroke="#000" stroke-width="2"/>'


# --- a joint as it lies -----------------------------------------------------------------------------


class Fastener(Struct, frozen=True):
    """One cell: its number and place (from 0), what it got in a word or two, and how it stands."""

    number: int
    row: int
    column: int
    text: str = ""
    status: Literal["open", "next", "done", "out"] = "done"


_STATUS = {"open": "( )", "next": "(>)", "done": "(●)", "out": "(×)"}


def joint_lines(fasteners: Sequence[Fastener], width: int = 80) -> tuple[str, ...]:
    """The joint as text: number and status of each fastener in its place, and below it what it got, wrapped.

    Where a fastener's cell is too narrow for a word, one line for each fastener, in tightening order."""
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


def joint_svg(fasteners: Sequence[Fastener], title: str) -> str:
    """The joint as an SVG: a full ring for one that is done, dashed for one that is not, heavy for the next,
    a square with a cross beside it for one that is out of its limit; what each got below it."""
    if not fasteners:
        return _svg(120, 40, title, [_text(60, 24, "no fasteners")])
    words = max(len(clean_line(one.text)) for one in fasteners)
    across, down, radius = max(56.0, words * 7.0 + 10), 62.0, 17.0
    width = across * (max(one.column for one in fasteners) + 1) + 16
    height = down * (max(one.row for one in fasteners) + 1) + 10
    parts: list[str] = []
    for one in sorted(fasteners, key=lambda each: each.number):
        x, y = 8 + across * (one.column + 0.5), 8 + radius + down * one.row
        stroke = {"open": 'stroke-width="1" stroke-dasharray="3 3"', "next": 'stroke-width="4"'}.get(
            one.status, 'stroke-width="2"'
        )
        if one.status == "out":
            parts.append(_square(x, y, radius, stroke))
        else:
            parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="#fff" stroke="#000" {stroke}/>')
        parts.append(_text(x, y + 4, str(one.number), weight="bold"))
        if one.text:
            parts.append(_text(x, y + radius + 15, one.text))
    return _svg(width, height, title, parts)


def _square(x: float, y: float, radius: float, stroke: str) -> str:
    left, top, side = x - radius, y - radius, 2 * radius
    box = f'<rect x="{left:g}" y="{top:g}" width="{side:g}" height="{side:g}" fill="#fff" stroke="#000" {stroke}/>'
    return box + _text(x + radius + 8, y - radius + 8, "×", weight="bold")
