"""Draws a gauge for sheets: a reading and its limit, as an SVG that is readable without colour."""

from typing import Protocol

from msgspec import Struct

from benchflow.base.svg import Svg
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT, Verdict


class DrawnGauge(Protocol):
    """Positions on a gauge as fractions of the drawn width, 0 to 1. ``None`` means that there is no such value."""

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


class GaugeTexts(Struct, frozen=True):
    """The texts at the low end, the high end and the reading. ``verdict`` sets the shape of the mark."""

    low: str = ""
    high: str = ""
    value: str = ""
    verdict: Verdict = "none"


_SIDE, _HEIGHT, _TOP, _BOTTOM = 12.0, 58.0, 22.0, 38.0
_MIDDLE = (_TOP + _BOTTOM) / 2


def gauge_svg(gauge: DrawnGauge, texts: GaugeTexts, title: str = "", width: int = 320) -> str:
    """Return the gauge as an SVG of ``width`` pixels.

    The limit is a white box, and its guard bands are grey. The shape of the mark shows the verdict on the reading: a
    full disc is ok, a cross is out of the limit, an open disc is not proven.
    """
    span = width - 2 * _SIDE

    def x(at: float) -> float:
        return round(_SIDE + min(max(at, 0.0), 1.0) * span, 2)

    low, high = x(0.0 if gauge.low is None else gauge.low), x(1.0 if gauge.high is None else gauge.high)
    svg = Svg(width, _HEIGHT, title or texts.value)
    _path(svg, f"M{_SIDE:g} {_MIDDLE:g}H{width - _SIDE:g}", 1)
    _band(svg, low, high, "#fff")
    if gauge.guard_low is not None and gauge.low is not None:
        _band(svg, low, min(x(gauge.guard_low), high), "#bbb")
    if gauge.guard_high is not None and gauge.high is not None:
        _band(svg, max(x(gauge.guard_high), low), high, "#bbb")
    _path(svg, f"M{low:g} {_TOP:g}H{high:g}M{low:g} {_BOTTOM:g}H{high:g}", 1)
    for edge, at, text in ((gauge.low, low, texts.low), (gauge.high, high, texts.high)):
        if edge is not None:
            _path(svg, f"M{at:g} {_TOP - 3:g}V{_BOTTOM + 3:g}", 2)
            _text(svg, at, _HEIGHT - 4, text, width)
    if gauge.value is not None:
        at = x(gauge.value)
        _mark(svg, at, texts.verdict)
        text = " · ".join(part for part in (texts.value, VERDICT_TEXT[texts.verdict]) if part)
        _text(svg, at, 13, text, width, bold=True)
    return str(svg)


def _path(svg: Svg, path: str, stroke: float) -> None:
    svg.add("path", d=path, stroke="#000", stroke_width=stroke, fill="none")


def _band(svg: Svg, left: float, right: float, fill: str) -> None:
    svg.add("rect", x=left, y=_TOP, width=max(right - left, 0), height=_BOTTOM - _TOP, fill=fill)


def _text(svg: Svg, x: float, y: float, text: str, width: float, *, bold: bool = False) -> None:
    """Draw a text at ``x``, anchored so that it stays inside a drawing of ``width``."""
    anchor = "start" if x < width / 3 else "end" if x > 2 * width / 3 else "middle"
    weight = "bold" if bold else "normal"
    svg.text(x, y, text, text_anchor=anchor, font_weight=weight, font_size=12, fill="#000")


def _mark(svg: Svg, x: float, verdict: Verdict) -> None:
    if verdict in OUT_OF_LIMIT:
        _path(svg, f"M{x - 6:g} {_MIDDLE - 6:g}l12 12m0 -12l-12 12", 3)
        return
    fill = "#fff" if verdict == "not-proven" else "#000"
    svg.add("circle", cx=x, cy=_MIDDLE, r=6, fill=fill, stroke="#000", stroke_width=2)
