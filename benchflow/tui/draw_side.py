"""How the assembly stands, what the clock says, what comes next: the column that is always there."""

from collections.abc import Sequence

from benchflow.session.view import BenchView, ClockRow, NextRow, StandRow
from benchflow.tui.lines import EMPTY, Line, Role, cell_count, cut, hang, rule, say, wrap

STATUS: dict[str, tuple[str, Role, str]] = {
    "ready": ("○", "ready", "ready"),
    "stopped": ("×", "stopped", "stopped"),
    "set-aside": ("◊", "aside", "set aside"),
    "in-hand": ("►", "now", "in hand"),
    "done": ("●", "done", "done"),
}
"""Shape, role and word of a status."""


def draw_side(view: BenchView, width: int, height: int) -> list[Line]:
    clocks = draw_clocks(view.clocks, width, max(height // 3, 4))
    least_next = 5
    standing = draw_standing(view.standing, width, max(height - len(clocks) - least_next, 3))
    out = [*standing, *([EMPTY] if standing else [])]
    if clocks:
        out.extend([*clocks, EMPTY])
    out.extend(draw_next(view, width, height - len(out)))
    return out[:height]


def draw_standing(rows: Sequence[StandRow], width: int, height: int) -> list[Line]:
    if not rows:
        return []
    column = min(max(cell_count(row.title) for row in rows) + 2, width // 2)
    out: list[Line] = [rule(width, "HOW IT STANDS")]
    for row in rows:
        words = row.words if row.known else "? not known"
        role: Role = "strong" if row.known else "weak"
        out.append(((cut(row.title, column - 1).ljust(column), "text"), (cut(words, width - column), role)))
    if len(out) > height:
        left = len(out) - height + 1
        out = [*out[: height - 1], say(f"and {left} more: s", "faint")]
    return out


def clock_words(row: ClockRow) -> tuple[str, Role]:
    """``▲ 0:45 left``: counts down; past its end it says for how long."""
    if row.seconds is None:
        return (row.phase, "text")
    left = row.seconds
    match row.phase:
        case "wait" if left > 0:
            return (f"{duration(left)} to wait", "strong")
        case "wait":
            return ("the wait is over", "in")
        case "closing" if left > 0:
            return (f"▲ {duration(left)} left", "weak")
        case "open" if left > 0:
            return (f"{duration(left)} left", "strong")
        case _:
            return (f"× closed {duration(-left)} ago", "out")


def duration(seconds: float) -> str:
    """``0:45``, ``12:05``, ``3 h 07 min``, ``2 d 4 h``."""
    whole = int(max(seconds, 0))
    if whole < 3600:
        return f"{whole // 60}:{whole % 60:02}"
    if whole < 86400:
        return f"{whole // 3600} h {whole % 3600 // 60:02} min"
    return f"{whole // 86400} d {whole % 86400 // 3600} h"


def draw_clocks(rows: Sequence[ClockRow], width: int, height: int) -> list[Line]:
    if not rows:
        return []
    out: list[Line] = [rule(width, "CLOCK")]
    for index, row in enumerate(rows):
        lines: list[Line] = [(clock_words(row),), *_for_what(row, width)]
        if row.advice and row.phase in ("closing", "missed"):
            lines.extend(hang("→ ", row.advice, width, "weak"))
        rest = len(rows) - index
        if len(out) + len(lines) > height and index:
            out.append(say(f"and {rest} more", "faint"))
            break
        out.extend(lines)
    return out


def _for_what(row: ClockRow, width: int) -> list[Line]:
    words = f"before {row.title}" if row.phase == "wait" else f"for {row.title}"
    return [say("  " + part, "text") for part in wrap(words, width - 2)[:2]]


def draw_next(view: BenchView, width: int, height: int) -> list[Line]:
    """What is still to do, in the author's order, stopped ones with their first reason."""
    here = view.now.operation if view.now is not None else ""
    rows = [row for row in view.next if row.status != "done" and row.operation != here]
    out: list[Line] = [rule(width, "NEXT")]
    if not rows:
        words = "nothing more" if view.now is not None or view.finished else "nothing"
        return [*out, say(words, "faint")][:height]
    reasons = 0
    for row in rows:
        lines = [_next_line(row, width)]
        if row.status == "stopped" and row.reason and reasons < 2:
            reasons += 1
            lines.extend(say("  " + part, "stopped") for part in wrap(row.reason, width - 2)[:2])
        if len(out) + len(lines) > height:
            lines = lines[:1]
        if len(out) + len(lines) > height:
            break
        out.extend(lines)
    return out


def _next_line(row: NextRow, width: int) -> Line:
    shape, role, word = STATUS[row.status]
    tail = f"  {word}" if row.status in ("stopped", "set-aside") else ""
    room = width - 2 - len(tail)
    return ((f"{shape} ", role), (cut(f"{row.number:>2} {row.title}", room), "text"), (tail, role))
