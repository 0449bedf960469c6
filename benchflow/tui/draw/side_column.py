"""Draws the side column of the bench: the state of the assembly, the clocks, and the next operations."""

from collections.abc import Sequence
from itertools import zip_longest

from benchflow.base.durations import countdown
from benchflow.session.state.clock import BY_WALL_CLOCK
from benchflow.session.view.bench_view import BenchView, ClockRow, OperationRow, StateRow, rows_by_variable
from benchflow.tui.draw.section_progress import draw_sections
from benchflow.tui.draw.styled_lines import (
    EMPTY,
    STATUS_MARKS,
    Line,
    Role,
    cell_count,
    cut,
    cut_inside,
    hanging,
    rule,
    styled,
    wrap,
)

URGENCY = ("closing", "missed", "open", "wait")
"""Phases of a clock, the most urgent first."""

USUAL_NEXT_ROWS = 5
"""Preferred number of rows for NEXT. The state and the clocks come first."""

MIN_NEXT_ROWS = 2
"""Minimum number of rows for NEXT. Key o lists all operations."""

ROWS_BESIDE_SECTIONS = 12
"""Rows that are left for NEXT and BLOCKED, if the sections are shown."""

LONG_WAIT = 3600
"""A wait of at least this many seconds is shown by the clock time of its end."""

REASONS = 3
"""Number of blocked operations shown with their reason. Keys w and o show the reasons of all."""


def draw_side(view: BenchView, width: int, height: int) -> list[Line]:
    """Draw state, clocks and next operations. If rows are few, each clock gets one row and blank lines are left out."""
    clocks = draw_clocks(view.clocks, width, height)
    if len(clocks) > max(height // 3, 3):
        clocks = draw_clocks_short(view.clocks, width, max(height // 3, 4))
    state_rows = rows_by_variable(view.state_rows)
    if len(state_rows) + 1 + len(clocks) + USUAL_NEXT_ROWS > height:
        clocks = draw_clocks_short(view.clocks, width, 4)
    below = height - len(clocks)
    whole = min(len(state_rows) + 1, below - MIN_NEXT_ROWS)
    state = draw_state(view.state_rows, width, max(below - USUAL_NEXT_ROWS, whole, 3))
    gap = [EMPTY] if len(state) + len(clocks) + USUAL_NEXT_ROWS + 2 <= height else []
    out = [*state, *(gap if state else [])]
    if clocks:
        out.extend([*clocks, *gap])
    here = view.now.operation if view.now is not None else ""
    sections = draw_sections(view.operations, here, width, height - len(out) - ROWS_BESIDE_SECTIONS)
    if sections:
        out.extend([*sections, *gap])
    if height - len(out) >= 2:  # no heading without content
        out.extend(draw_next(view, width, height - len(out)))
    return out[:height]


def draw_state(rows: Sequence[StateRow], width: int, height: int) -> list[Line]:
    """Draw the state of the assembly."""
    rows = rows_by_variable(rows)
    if not rows:
        return []
    texts = [row.value if row.known else f"? {row.value}" for row in rows]
    room = max(width // 2, width - max(map(cell_count, texts)))
    column = min(max(cell_count(row.title) for row in rows) + 2, room)
    out: list[Line] = [rule(width, "STATE")]
    spare = height - 1 - len(rows)
    for row, text in zip(rows, texts, strict=True):
        role: Role = "strong" if row.known else "attention"
        titles, parts = wrap(row.title, column - 1), wrap(text, width - column)
        count = max(len(titles), len(parts))
        if count - 1 > spare:
            titles, parts, count = [cut_inside(row.title, column - 1)], [cut(text, width - column)], 1
        spare -= count - 1
        for title, part in zip_longest(titles, parts, fillvalue=""):
            out.append(((title.ljust(column), "text"), (part, role)))
    if len(out) > height:
        left = len(out) - height + 1
        out = [*out[: height - 1], styled(f"and {left} more (s)", "faint")]
    return out


def clock_text(row: ClockRow) -> tuple[str, Role]:
    """Return the text of a clock: ``▲ 0:45 left``, ``wait until Sun 16:04``, ``× closed 0:10 ago``."""
    if row.seconds is None:
        return ("× time not known", "alarm")
    left = row.seconds
    match row.phase:
        case "wait" if left >= LONG_WAIT and row.until:
            return (f"wait until {row.until}", "strong")
        case "wait" if left > 0:
            return (f"{countdown(left)} to wait", "strong")
        case "wait":
            return ("wait is over", "ok")
        case "closing" if left > 0:
            return (f"▲ {countdown(left)} left", "attention")
        case "open" if left > 0:
            return (f"{countdown(left)} left", "strong")
        case _:
            return (f"× closed {countdown(-left)} ago", "alarm")


def draw_clocks(rows: Sequence[ClockRow], width: int, height: int) -> list[Line]:
    """Draw each clock with the operation that it belongs to, in two or three rows."""
    if not rows:
        return []
    out: list[Line] = [rule(width, "CLOCK")]
    for index, row in enumerate(rows):
        text = f"before {row.title}" if row.phase == "wait" else f"for {row.title}"
        text = f"after {row.since}" if row.remedy else text
        if row.until and row.phase in ("open", "closing"):
            text = f"{text}, until {row.until}"
        lines: list[Line] = [(clock_text(row),), *(styled("  " + part) for part in wrap(text, width - 2)[:2])]
        if row.by_wall:
            lines.extend(styled("  " + part, "faint") for part in wrap(BY_WALL_CLOCK, width - 2))
        rest = len(rows) - index
        if len(out) + len(lines) > height and index:
            out.append(styled(f"and {rest} more", "faint"))
            break
        out.extend(lines)
    return out


def draw_clocks_short(rows: Sequence[ClockRow], width: int, height: int) -> list[Line]:
    """Draw each clock in one row, the most urgent first: ``▲ 2:48 left  Set the head down``."""
    if not rows:
        return []
    urgent = sorted(rows, key=lambda row: (URGENCY.index(row.phase), row.seconds or 0.0))
    out: list[Line] = [rule(width, "CLOCK")]
    fits = len(urgent) if len(urgent) < height else height - 2
    for row in urgent[:fits]:
        text, role = clock_text(row)
        out.append(((text, role), (cut("  " + row.title, max(width - cell_count(text), 0)), "text")))
    if fits < len(urgent):
        out.append(styled(f"and {len(urgent) - fits} more", "faint"))
    return out


def draw_next(view: BenchView, width: int, height: int) -> list[Line]:
    """Draw the operations that can be started, then the blocked ones with reasons, each in the author's order."""
    here = view.now.operation if view.now is not None else ""
    rows = [row for row in view.operations if row.status not in ("done", "in-progress") and row.operation != here]
    ready = [row for row in rows if row.status != "blocked"]
    blocked = [row for row in rows if row.status == "blocked"]
    out: list[Line] = [rule(width, "NEXT")]
    for_ready = height - 1 - (min(len(blocked), 2) * 2 + 1 if blocked else 0)
    none = "nothing else is ready" if blocked else "nothing else is left" if here else "nothing is left to do"
    out.extend(_listed(ready, width, max(for_ready, 2)) or [styled(none, "faint")])
    if blocked and len(out) + 2 <= height:
        out.append(rule(width, "BLOCKED"))
        out.extend(_blocked_rows(blocked, width, height - len(out)))
    return out[:height]


def _listed(rows: Sequence[OperationRow], width: int, height: int) -> list[Line]:
    """Draw the titles, whole if there are enough rows, else each in one row."""
    if len(rows) <= height:
        whole = [line for row in rows for line in _next_lines(row, width, cut_off=False)]
        if len(whole) <= height:
            return whole
    lines = [line for row in rows[:height] for line in _next_lines(row, width, cut_off=True)]
    if len(rows) > height > 2:
        lines[-1] = styled(f"and {len(rows) - height + 1} more (o)", "faint")
    return lines


def _blocked_rows(rows: Sequence[OperationRow], width: int, height: int) -> list[Line]:
    """Draw the first blocked operations with their reasons, the others by title only."""
    out: list[Line] = []
    for index, row in enumerate(rows):
        left = len(rows) - index
        if len(out) + 1 >= height and left > 1:
            hidden = f"and {left} more (o)" if out else f"{left} operations (o)"
            return [*out, styled(hidden, "faint")][:height]
        first, *more = wrap(row.reason, width - 2)
        parts = [first, *([cut(" ".join(more), width - 2)] if more else [])]
        reason = [styled(f"  {part}", "blocked") for part in parts]
        title = _next_lines(row, width, cut_off=False)
        if index >= REASONS or len(out) + len(title) + len(reason) + (1 if left > 1 else 0) > height:
            title, reason = _next_lines(row, width, cut_off=True), []
        out.extend([*title, *reason])
    return out


def _next_lines(row: OperationRow, width: int, *, cut_off: bool) -> list[Line]:
    shape, role, word = STATUS_MARKS[row.status]
    tail = f"  {word}" if row.status in ("paused", "reopened") else ""
    mark, text = f"{shape} ", f"{row.number:>2} {row.title}"
    if cut_off or cell_count(mark + text + tail) <= width:
        return [((mark, role), (cut(text, width - 2 - len(tail)), "text"), (tail, role))]
    return hanging(f"{mark}{row.number:>2} ", row.title + tail, width, "text", role)
