"""Draws a reading and its limit as a gauge in one row of the screen, readable without colour."""

from benchflow.session.view.bench_view import GaugePositions
from benchflow.tui.draw.styled_lines import Line, Role, Span


def draw_gauge(gauge: GaugePositions, width: int, role: Role = "strong") -> Line:
    """Draw ``──────[━━━━━━●━━━]──────``. The line is thin outside the limit, heavy inside, dashed in the guard band.

    ``role`` is the role of the mark that shows the reading.
    """
    width = max(width, 2)
    last = width - 1
    cells = [_track(gauge, index / last) for index in range(width)]
    roles: list[Role] = ["faint"] * width

    def mark_at(at: float | None, mark: str, as_role: Role) -> None:
        if at is not None:
            index = min(max(round(at * last), 0), last)
            cells[index] = mark
            roles[index] = as_role

    mark_at(gauge.low, "[", "text")
    mark_at(gauge.high, "]", "text")
    if gauge.value is not None:
        mark_at(gauge.value, "◄" if gauge.value < 0 else "►" if gauge.value > 1 else "●", role)
    return _joined(cells, roles)


def _track(gauge: GaugePositions, at: float) -> str:
    low = -1.0 if gauge.low is None else gauge.low
    high = 2.0 if gauge.high is None else gauge.high
    if not low <= at <= high:
        return "─"
    guarded_low = low if gauge.guard_low is None else gauge.guard_low
    guarded_high = high if gauge.guard_high is None else gauge.guard_high
    return "━" if guarded_low <= at <= guarded_high else "╌"


def _joined(cells: list[str], roles: list[Role]) -> Line:
    out: list[Span] = []
    for cell, role in zip(cells, roles, strict=True):
        if out and out[-1][1] == role:
            out[-1] = (out[-1][0] + cell, role)
        else:
            out.append((cell, role))
    return tuple(out)
