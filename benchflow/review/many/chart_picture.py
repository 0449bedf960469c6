"""The chart of a reading over all builds, as terminal text and as SVG. Shapes and words, no colour."""

from collections.abc import Sequence
from html import escape

from benchflow.base.plaintext import clean_line
from benchflow.review.many.trends import Series
from benchflow.trade.verdict import OUT_OF_LIMIT

_MARKS = {"ok": "●", "none": "●", "not-proven": "?", "low": "×", "high": "×"}


def _span(series: Series) -> tuple[float, float]:
    """What is drawn: the points, the limit, the control limits, and a little room."""
    ends = [point.value for point in series.points]
    newest = series.points[-1]
    ends += [end for end in (newest.low, newest.high) if end is not None]
    if series.chart is not None:
        ends += [series.chart.limits.lower, series.chart.limits.upper]
    low, high = min(ends), max(ends)
    room = (high - low) * 0.06 or abs(high) * 0.05 or 1.0
    return low - room, high + room


def lines(series: Series, width: int = 72, height: int = 13) -> tuple[str, ...]:
    """The series as a plot in text: ``=`` the procedure's limit, ``-`` the control limits, ``.`` the mean; a point is
    ``●``, an outlier ``◆``, out of its limit ``×``, not proven ``?``. Of more points than fit, the latest."""
    if not series.points:
        return ()
    low, high = _span(series)
    margin = 10
    points = series.points[-(width - margin) :]
    dropped = len(series.points) - len(points)
    rows = [[" "] * (width - margin) for _ in range(height)]
    labels = [""] * height

    def row(value: float) -> int:
        return min(height - 1, max(0, round((high - value) / (high - low) * (height - 1))))

    def rule(value: float | None, mark: str, name: str) -> None:
        if value is not None:
            rows[row(value)] = [mark] * (width - margin)
            labels[row(value)] = name

    newest = series.points[-1]
    if series.chart is not None:
        limits = series.chart.limits
        rule(limits.centre, ".", f"{limits.centre:.4g}")
        rule(limits.lower, "-", f"{limits.lower:.4g}")
        rule(limits.upper, "-", f"{limits.upper:.4g}")
    rule(newest.low, "=", f"{newest.low:.4g}" if newest.low is not None else "")
    rule(newest.high, "=", f"{newest.high:.4g}" if newest.high is not None else "")
    step = max(1, min(4, (width - margin - 1) // max(1, len(points) - 1))) if len(points) > 1 else 1
    outliers = set(series.chart.outliers) if series.chart is not None else set()
    for place, point in enumerate(points):
        mark = _MARKS.get(point.verdict, "●")
        rows[row(point.value)][place * step] = "◆" if place + dropped in outliers and mark == "●" else mark
    drawn = [f"{label:>{margin - 2}}  {''.join(cells)}".rstrip() for label, cells in zip(labels, rows, strict=True)]
    foot = f"{'':>{margin}}{clean_line(points[0].unit)} .. {clean_line(points[-1].unit)}, in {series.measured_in}"
    return (*drawn, foot)


def svg(series: Series, width: int = 720, height: int = 260) -> str:
    """The series as an SVG that is whole by itself: the limit a white band in grey, control limits dashed, the mean
    dotted, the points joined; outliers and points out of their limit by shape, each named when pointed at."""
    low, high = _span(series)
    left, right, top, bottom = 64.0, 12.0, 16.0, 34.0
    inner, tall = width - left - right, height - top - bottom
    count = max(1, len(series.points) - 1)

    def x(place: int) -> float:
        return round(left + inner * (place / count if len(series.points) > 1 else 0.5), 1)

    def y(value: float) -> float:
        return round(top + tall * (high - value) / (high - low), 1)

    newest = series.points[-1]
    band_top = y(newest.high) if newest.high is not None else top
    band_bottom = y(newest.low) if newest.low is not None else top + tall
    parts = [
        f'<rect x="{left:g}" y="{top:g}" width="{inner:g}" height="{tall:g}" fill="#e4e4e4"/>',
        f'<rect x="{left:g}" y="{band_top:g}" width="{inner:g}" height="{band_bottom - band_top:g}" fill="#fff"/>',
    ]
    solid = 'stroke="#000" stroke-width="2"'
    rules: list[tuple[float | None, str]] = [(newest.low, solid), (newest.high, solid)]
    if series.chart is not None:
        limits = series.chart.limits
        rules += [(value, 'stroke="#000" stroke-dasharray="6 4"') for value in (limits.lower, limits.upper)]
        rules.append((limits.centre, 'stroke="#000" stroke-dasharray="1 4"'))
    labelled: list[float] = []
    for value, stroke in rules:
        if value is None:
            continue
        at = y(value)
        parts.append(f'<line x1="{left:g}" x2="{width - right:g}" y1="{at:g}" y2="{at:g}" {stroke}/>')
        if all(abs(at - other) >= 12 for other in labelled):  # a label on another could not be read
            labelled.append(at)
            parts.append(_text(left - 6, at + 4, f"{value:.4g}", "end"))
    path = " ".join(f"{x(place):g},{y(point.value):g}" for place, point in enumerate(series.points))
    parts.append(f'<polyline points="{path}" fill="none" stroke="#555"/>')
    parts += _points(series, [(x(place), y(point.value)) for place, point in enumerate(series.points)])
    foot = f"{len(series.points)} builds, in {series.measured_in}"
    parts.append(_text(left, height - 8, f"{series.points[0].unit}  →  {newest.unit}", "start"))
    parts.append(_text(width - right, height - 8, foot, "end"))
    name = escape(f"{clean_line(series.name)} over {len(series.points)} builds")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{name}" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}"><title>{name}</title><rect width="{width}" height="{height}" fill="#fff"/>'
        f"{''.join(parts)}</svg>"
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    shown = escape(clean_line(words))
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-family="sans-serif" font-size="12">{shown}</text>'


def _points(series: Series, at: Sequence[tuple[float, float]]) -> list[str]:
    outliers = set(series.chart.outliers) if series.chart is not None else set()
    drawn: list[str] = []
    for place, (point, (x, y)) in enumerate(zip(series.points, at, strict=True)):
        words = f"{point.unit}: {point.value:.4g} {series.measured_in}, {point.at[:10]}"
        title = f"<title>{escape(clean_line(words))}</title>"
        if point.verdict in OUT_OF_LIMIT:
            shape = f'<path d="M{x - 5:g} {y - 5:g}l10 10m0 -10l-10 10" stroke="#000" stroke-width="3"/>'
        elif place in outliers:
            shape = f'<path d="M{x:g} {y - 8:g}l8 8l-8 8l-8 -8z" fill="#000"/>'
        else:
            fill = "#fff" if point.verdict == "not-proven" else "#000"
            shape = f'<circle cx="{x:g}" cy="{y:g}" r="3.5" fill="{fill}" stroke="#000"/>'
        drawn.append(f"<g>{title}{shape}</g>")
    return drawn
