"""Draws the trend of a reading as terminal text and as SVG. Points differ by shape, not by colour."""

from collections.abc import Iterator, Sequence

from benchflow.base.plaintext import clean_line
from benchflow.base.svg import Svg
from benchflow.review.formatting import local_day
from benchflow.review.many.trends import Series
from benchflow.trade.verdict import OUT_OF_LIMIT

_MARKS = {"ok": "●", "none": "●", "not-proven": "?", "low": "×", "high": "×"}


def _scale_ends(series: Series) -> tuple[float, float]:
    """The lower and upper end of the scale: all points and limits, with a small margin."""
    ends = [point.value for point in series.points]
    newest = series.points[-1]
    ends += [end for end in (newest.low, newest.high) if end is not None]
    if series.chart is not None:
        ends += [series.chart.limits.lower, series.chart.limits.upper]
    low, high = min(ends), max(ends)
    margin = (high - low) * 0.06 or abs(high) * 0.05 or 1.0
    return low - margin, high + margin


def chart_lines(series: Series, width: int = 72, height: int = 13) -> tuple[str, ...]:
    """The series as a plot in text: ``=`` is the procedure's limit, ``-`` a control limit, ``.`` the mean.

    A point is ``●``, an outlier ``◆``, a point out of its limit ``×``, a point that is not proven ``?``. If not all
    points fit, the latest are shown.
    """
    if not series.points:
        return ()
    low, high = _scale_ends(series)
    newest = series.points[-1]
    lines = [(newest.low, "=", newest.low_shown), (newest.high, "=", newest.high_shown)]
    if series.chart is not None:
        limits = series.chart.limits
        marked = ((limits.centre, "."), (limits.lower, "-"), (limits.upper, "-"))
        lines = [*((value, mark, series.rounded(value)) for value, mark in marked), *lines]
    label_width = max(10, *(len(name) + 2 for _, _, name in lines))
    points = series.points[-(width - label_width) :]
    dropped = len(series.points) - len(points)
    rows = [[" "] * (width - label_width) for _ in range(height)]
    labels = [""] * height

    def row(value: float) -> int:
        return min(height - 1, max(0, round((high - value) / (high - low) * (height - 1))))

    def draw_line(value: float | None, mark: str, name: str) -> None:
        if value is not None:
            rows[row(value)] = [mark] * (width - label_width)
            labels[row(value)] = name

    for line in lines:
        draw_line(*line)
    step = max(1, min(4, (width - label_width - 1) // max(1, len(points) - 1))) if len(points) > 1 else 1
    outliers = set(series.chart.outliers) if series.chart is not None else set()
    for place, point in enumerate(points):
        mark = _MARKS.get(point.verdict, "●")
        rows[row(point.value)][place * step] = "◆" if place + dropped in outliers and mark == "●" else mark
    drawn = [
        f"{label:>{label_width - 2}}  {''.join(cells)}".rstrip() for label, cells in zip(labels, rows, strict=True)
    ]
    foot = f"{'':>{label_width}}{clean_line(points[0].unit)} .. {clean_line(points[-1].unit)}, in {series.measured_in}"
    return (*drawn, foot)


def chart_svg(series: Series, width: int = 720, height: int = 260) -> str:
    """The series as a self-contained SVG. The limit is a white band on grey, control limits dashed, the mean dotted.

    Outliers and points out of their limit differ in shape from other points. Each point has a tooltip.
    """
    drawing = Svg(width, height, f"{series.name} over {len(series.points)} builds")
    low, high = _scale_ends(series)
    left, right, top, bottom = 64.0, 12.0, 16.0, 34.0
    inner, tall = width - left - right, height - top - bottom
    steps = max(1, len(series.points) - 1)

    def x(place: int) -> float:
        return round(left + inner * (place / steps if len(series.points) > 1 else 0.5), 1)

    def y(value: float) -> float:
        return round(top + tall * (high - value) / (high - low), 1)

    newest = series.points[-1]
    band_top = y(newest.high) if newest.high is not None else top
    band_bottom = y(newest.low) if newest.low is not None else top + tall
    drawing.add("rect", x=left, y=top, width=inner, height=tall, fill="#e4e4e4")
    drawing.add("rect", x=left, y=band_top, width=inner, height=band_bottom - band_top, fill="#fff")
    labelled: list[float] = []
    for value, label, stroke in _horizontal_lines(series):
        at = y(value)
        drawing.add("line", x1=left, x2=width - right, y1=at, y2=at, stroke="#000", **stroke)
        if all(abs(at - other) >= 12 for other in labelled):  # labels must not overlap
            labelled.append(at)
            drawing.text(left - 6, at + 4, label, text_anchor="end", font_size=12)
    at_points = [(x(place), y(point.value)) for place, point in enumerate(series.points)]
    drawing.polyline(at_points, stroke="#555")
    _draw_points(drawing, series, at_points)
    span = f"{series.points[0].unit}  →  {newest.unit}"
    drawing.text(left, height - 8, span, text_anchor="start", font_size=12)
    foot = f"{len(series.points)} builds, in {series.measured_in}"
    drawing.text(width - right, height - 8, foot, text_anchor="end", font_size=12)
    return str(drawing)


def _horizontal_lines(series: Series) -> Iterator[tuple[float, str, dict[str, float | str]]]:
    """The horizontal lines with their labels and strokes: the ends of the limit, the control limits and the mean."""
    newest = series.points[-1]
    for end, label in ((newest.low, newest.low_shown), (newest.high, newest.high_shown)):
        if end is not None:
            yield end, label, {"stroke_width": 2}
    if series.chart is not None:
        limits = series.chart.limits
        yield limits.lower, series.rounded(limits.lower), {"stroke_dasharray": "6 4"}
        yield limits.upper, series.rounded(limits.upper), {"stroke_dasharray": "6 4"}
        yield limits.centre, series.rounded(limits.centre), {"stroke_dasharray": "1 4"}


def _draw_points(drawing: Svg, series: Series, at: Sequence[tuple[float, float]]) -> None:
    outliers = set(series.chart.outliers) if series.chart is not None else set()
    for place, (point, (x, y)) in enumerate(zip(series.points, at, strict=True)):
        tooltip = f"{point.unit}: {point.shown} {series.measured_in}, {local_day(point.at)}"
        group = drawing.group(tooltip)
        if point.verdict in OUT_OF_LIMIT:
            cross = f"M{x - 5:g} {y - 5:g}l10 10m0 -10l-10 10"
            drawing.add("path", group, d=cross, stroke="#000", stroke_width=3)
        elif place in outliers:
            drawing.add("path", group, d=f"M{x:g} {y - 8:g}l8 8l-8 8l-8 -8z", fill="#000")
        else:
            fill = "#fff" if point.verdict == "not-proven" else "#000"
            drawing.add("circle", group, cx=x, cy=y, r=3.5, fill=fill, stroke="#000")
