"""Draws the trend of a reading as terminal text. Points differ by shape, not by colour."""

from benchflow.base.plaintext import clean_line
from benchflow.review.many.trend_series import Series

_MARKS = {"ok": "●", "none": "●", "not-proven": "?", "low": "×", "high": "×"}


def scale_ends(series: Series) -> tuple[float, float]:
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
    low, high = scale_ends(series)
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
