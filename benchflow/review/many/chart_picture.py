"""Draws the trend of a reading as SVG, one chart below the other. Points differ by shape, not by colour."""

from collections.abc import Iterator, Sequence
from math import ceil, floor, log10
from typing import Final
from xml.etree.ElementTree import Element

from msgspec import Struct

from benchflow.base.svg import Svg
from benchflow.review.formatting import local_day
from benchflow.review.many.chart_text import scale_ends
from benchflow.review.many.trend_series import Point, Series
from benchflow.trade.verdict import OUT_OF_LIMIT

_WIDTH: Final = 860.0
_LEFT: Final = 70.0
_RIGHT: Final = 118.0
_HEAD: Final = 40.0
_PLOT: Final = 200.0
_FOOT: Final = 92.0
_KEY: Final = 46.0
_LINE: Final = 14.0  # the least distance of two labels
_NAME_LENGTH: Final = 16
_Stroke = dict[str, float | str]


class _Panel(Struct, frozen=True):
    """The place of one chart: its upper edge, and the ends of its scale."""

    top: float
    low: float
    high: float
    points: int

    def x(self, place: int) -> float:
        inner = _WIDTH - _LEFT - _RIGHT
        return round(_LEFT + inner * ((place + 0.5) / self.points), 1)

    def y(self, value: float) -> float:
        return round(self.top + _HEAD + _PLOT * (self.high - value) / (self.high - self.low), 1)

    @property
    def bottom(self) -> float:
        return self.top + _HEAD + _PLOT


def chart_svg(*series: Series) -> str:
    """The series as a self-contained SVG, one chart below the other, with the meaning of the lines at the end.

    Each chart has the limit of the procedure as a white band on grey between thick lines, the limits of the chart
    dashed and the mean dotted. The unit under build is below each point, and its reading in a tooltip.
    """
    tall = _HEAD + _PLOT + _FOOT
    name = series[0].title if len(series) == 1 else f"{len(series)} series"
    drawing = Svg(_WIDTH, tall * len(series) + _KEY, f"Trend: {name}")
    for number, each in enumerate(series):
        low, high = scale_ends(each)
        _draw_chart(drawing, each, _Panel(number * tall, low, high, len(each.points)))
    _draw_key(drawing, tall * len(series))
    return str(drawing)


def _draw_chart(drawing: Svg, series: Series, panel: _Panel) -> None:
    right = _WIDTH - _RIGHT
    drawing.text(_LEFT, panel.top + 17, series.title, font_size=14, font_weight="bold")
    about = ", ".join(each for each in (series.procedure_title, f"in {series.measured_in}") if each)
    drawing.text(_LEFT, panel.top + 33, about, font_size=12)
    drawing.add("rect", x=_LEFT, y=panel.top + _HEAD, width=right - _LEFT, height=_PLOT, fill="#e4e4e4")
    for first, last in _runs_of_one_limit(series.points):
        _draw_limit(drawing, panel, series.points[first], panel.x(first), panel.x(last))
    for value, stroke in _lines_of_chart(series):
        drawing.add("line", x1=_LEFT, x2=right, y1=panel.y(value), y2=panel.y(value), stroke="#000", **stroke)
    for at, label in _spread_labels(series, panel):
        drawing.text(right + 6, at + 4, label, font_size=11)
    for value in _scale_marks(panel.low, panel.high):
        at = panel.y(value)
        drawing.add("line", x1=_LEFT - 4, x2=_LEFT, y1=at, y2=at, stroke="#000")
        drawing.text(_LEFT - 7, at + 4, f"{value:.6g}", text_anchor="end", font_size=11)
    at_points = [(panel.x(place), panel.y(point.value)) for place, point in enumerate(series.points)]
    drawing.polyline(at_points, stroke="#555")
    _draw_points(drawing, series, at_points)
    _draw_names(drawing, series, panel)


def _runs_of_one_limit(points: Sequence[Point]) -> Iterator[tuple[int, int]]:
    """The first and last place of each run of builds with the same limit."""
    first = 0
    for place in range(1, len(points) + 1):
        if place == len(points) or (points[place].low, points[place].high) != (points[first].low, points[first].high):
            yield first, place - 1
            first = place


def _draw_limit(drawing: Svg, panel: _Panel, point: Point, first: float, last: float) -> None:
    """Draw the limit of the builds from ``first`` to ``last``: white within its ends, which are thick lines."""
    half = (_WIDTH - _LEFT - _RIGHT) / panel.points / 2
    left, width = first - half, last - first + 2 * half
    top = panel.top + _HEAD if point.high is None else panel.y(point.high)
    bottom = panel.bottom if point.low is None else panel.y(point.low)
    drawing.add("rect", x=left, y=top, width=width, height=max(0.0, bottom - top), fill="#fff")
    for end in (point.low, point.high):
        if end is not None:
            at = panel.y(end)
            drawing.add("line", x1=left, x2=left + width, y1=at, y2=at, stroke="#000", stroke_width=2)


def _lines_of_chart(series: Series) -> Iterator[tuple[float, _Stroke]]:
    if series.chart is not None:
        limits = series.chart.limits
        yield limits.lower, {"stroke_dasharray": "6 4"}
        yield limits.upper, {"stroke_dasharray": "6 4"}
        yield limits.centre, {"stroke_dasharray": "1 4"}


def _spread_labels(series: Series, panel: _Panel) -> list[tuple[float, str]]:
    """The labels of the lines, with their heights. They are moved apart where lines are near each other."""
    newest = series.points[-1]
    labels = [
        (end, f"{shown} limit") for end, shown in ((newest.low, newest.low_shown), (newest.high, newest.high_shown))
    ]
    if series.chart is not None:
        limits = series.chart.limits
        labels += [(limits.lower, f"{series.rounded(limits.lower)} chart")]
        labels += [(limits.upper, f"{series.rounded(limits.upper)} chart")]
        labels += [(limits.centre, f"{series.rounded(limits.centre)} mean")]
    wanted = sorted((panel.y(value), label) for value, label in labels if value is not None)
    placed: list[tuple[float, str]] = []
    for at, label in wanted:
        placed.append((max(at, placed[-1][0] + _LINE) if placed else at, label))
    below = placed[-1][0] - panel.bottom if placed else 0.0
    for number in range(len(placed) - 1, -1, -1):  # move up what is below the plot
        if below <= 0:
            break
        at, label = placed[number]
        most = panel.bottom if number == len(placed) - 1 else placed[number + 1][0] - _LINE
        placed[number] = min(at, most), label
    return placed


def _scale_marks(low: float, high: float) -> list[float]:
    """About five round figures from ``low`` to ``high``."""
    rough = (high - low) / 5
    power = 10.0 ** floor(log10(rough))
    step = next(power * each for each in (1, 2, 5, 10) if power * each >= rough)
    first = ceil(low / step)
    return [number * step for number in range(first, floor(high / step) + 1)]


def _draw_names(drawing: Svg, series: Series, panel: _Panel) -> None:
    """Draw the unit under build below each point. With many builds, only every second, third or so is named."""
    each = ceil(len(series.points) * 12 / (_WIDTH - _LEFT - _RIGHT))
    for place, point in enumerate(series.points):
        x = panel.x(place)
        drawing.add("line", x1=x, x2=x, y1=panel.bottom, y2=panel.bottom + 4, stroke="#000")
        if place % each == 0:
            turned = f"rotate(-55 {x:g} {panel.bottom + 14:g})"
            name = point.unit if len(point.unit) <= _NAME_LENGTH else point.unit[: _NAME_LENGTH - 1] + "…"
            drawing.text(x + 3, panel.bottom + 14, name, text_anchor="end", font_size=11, transform=turned)


def _draw_points(drawing: Svg, series: Series, at: Sequence[tuple[float, float]]) -> None:
    outliers = set(series.chart.outliers) if series.chart is not None else set()
    for place, (point, (x, y)) in enumerate(zip(series.points, at, strict=True)):
        limit = f", limit {point.limit}" if point.limit else ""
        group = drawing.group(f"{point.unit}: {point.shown} {series.measured_in}, {local_day(point.at)}{limit}")
        if point.verdict in OUT_OF_LIMIT:
            _draw_cross(drawing, group, x, y)
        elif place in outliers:
            _draw_diamond(drawing, group, x, y)
        else:
            fill = "#fff" if point.verdict == "not-proven" else "#000"
            drawing.add("circle", group, cx=x, cy=y, r=3.5, fill=fill, stroke="#000")


def _draw_cross(drawing: Svg, parent: Element | None, x: float, y: float) -> None:
    drawing.add("path", parent, d=f"M{x - 5:g} {y - 5:g}l10 10m0 -10l-10 10", stroke="#000", stroke_width=3)


def _draw_diamond(drawing: Svg, parent: Element | None, x: float, y: float) -> None:
    drawing.add("path", parent, d=f"M{x:g} {y - 8:g}l8 8l-8 8l-8 -8z", fill="#000")


def _draw_key(drawing: Svg, top: float) -> None:
    """Draw the meaning of lines and points, in one row."""
    y, x = top + 24, _LEFT
    strokes: tuple[tuple[str, _Stroke], ...] = (
        ("limit of the procedure", {"stroke_width": 2}),
        ("limits of the chart", {"stroke_dasharray": "6 4"}),
        ("mean", {"stroke_dasharray": "1 4"}),
    )
    for words, stroke in strokes:
        drawing.add("line", x1=x, x2=x + 26, y1=y, y2=y, stroke="#000", **stroke)
        drawing.text(x + 32, y + 4, words, font_size=11)
        x += 46 + 6.2 * len(words)
    for words in ("outlier", "out of its limit", "not proven"):
        if words == "outlier":
            _draw_diamond(drawing, None, x + 6, y)
        elif words == "not proven":
            drawing.add("circle", cx=x + 6, cy=y, r=3.5, fill="#fff", stroke="#000")
        else:
            _draw_cross(drawing, None, x + 6, y)
        drawing.text(x + 18, y + 4, words, font_size=11)
        x += 32 + 6.2 * len(words)
