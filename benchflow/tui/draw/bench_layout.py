"""Draws the bench: header, current task, side column, messages and key bar."""

from collections.abc import Sequence
from datetime import datetime

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.session.view.bench_view import BenchView, ClockRow, OperationView, ReadingInput, TightenInput
from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.key_bar import KeyLabel, draw_keys
from benchflow.tui.draw.large_letters import QUARTERS
from benchflow.tui.draw.operation_panel import Scroll, draw_move, draw_operation, draw_operation_apart, draw_rework_step
from benchflow.tui.draw.panel_parts import Panel, Turn
from benchflow.tui.draw.section_progress import draw_section
from benchflow.tui.draw.side_column import clock_text, draw_side
from benchflow.tui.draw.styled_lines import (
    EMPTY,
    Line,
    Role,
    Span,
    counted,
    fit,
    hanging,
    justified,
    rule,
    styled,
    wrap,
)
from benchflow.tui.model.bench_inputs import BenchInput, input_of
from benchflow.tui.model.current_task import CurrentTask, MoveTask, NothingToDo, OperationTask, ReworkTask
from benchflow.tui.model.typed_text import TypedText

NARROW = 70
"""On a screen with fewer columns, the side column is below the operation."""

WIDE = 150
"""From this number of columns on, the current input has its own column."""


class StatusMessage(Struct, frozen=True):
    """A message at the foot of a screen. It stays until the next action."""

    texts: tuple[str, ...] = ()
    role: Role = "text"


class BenchContent(Struct, frozen=True):
    """The content of the bench besides the view. ``route`` is the line about the guided route.

    ``show_text`` selects what is shown, if there is no space for instruction and picture together: true for the
    instruction, ``None`` for the instruction until something is entered.
    """

    now: datetime
    task: CurrentTask = NothingToDo()
    item: BenchInput | None = None
    typed: TypedText = TypedText()
    message: StatusMessage = StatusMessage()
    keys: tuple[KeyLabel, ...] = ()
    route: str = ""  # "Guiding to 27 Time the cams: 5 steps"
    scrolled: int = 0
    show_text: bool | None = None
    offer: str = ""  # the line about new pictures

    @property
    def operation(self) -> str:
        """The operation shown, or an empty string."""
        return self.task.view.operation if isinstance(self.task, OperationTask) else ""


class BenchPicture(Struct, frozen=True):
    """The drawn bench. ``place`` is the position of the field; ``hidden`` is the number of hidden instruction lines.

    ``turn`` is what is shown, if there is no space for instruction and picture together.
    """

    lines: tuple[Line, ...]
    place: FieldPlace | None
    hidden: int = 0
    turn: Turn = ""


def draw_bench(view: BenchView, content: BenchContent, width: int, height: int) -> BenchPicture:
    """Draw the bench in letters of normal size (:mod:`benchflow.tui.draw.large_type` draws large ones)."""
    keys = draw_keys(content.keys, width - 2, 2)
    messages = [
        *draw_alarms(view, content.operation, width - 2),
        *draw_offer(content, width - 2),
        *draw_message(content.message, width - 2, max(height // 4, 2), "w"),
    ]
    body = height - 2 - len(keys) - len(messages)
    panel, rows = _body(view, content, width, body)
    lines = [
        draw_header(view, content.now, width),
        *rows,
        rule(width),
        *(_inset(line, width) for line in messages),
        *(_inset(line, width) for line in keys),
    ]
    place = panel.place and panel.place.moved(1, 1)
    return BenchPicture(tuple(lines[:height]), place, panel.hidden, panel.turn)


def _body(view: BenchView, content: BenchContent, width: int, height: int) -> tuple[Panel, list[Line]]:
    """Draw what is between the header and the messages, in one to three columns.

    The panel that is returned has the field, in cells from the left edge.
    """
    if width < NARROW:
        panel = _panel(view, content, width - 2, max(height - 6, min(height, 10), 1))
        side = draw_side(view, width - 2, max(height - len(panel.lines) - 1, 0))
        middle = [*panel.lines, EMPTY, *side]
        return panel, [_inset(line, width) for line in (middle + [EMPTY] * height)[:height]]
    right = min(max(width // 3, 28), 46)
    left = width - right - 5
    side = draw_side(view, right, height)
    if width < WIDE or not isinstance(content.task, OperationTask):
        panel = _panel(view, content, left, height)
        return panel, columns(((_with_section(view, content, panel.lines, left, height), left), (side, right)), height)
    now = content.task.view
    if not any(isinstance(given, TightenInput | ReadingInput) for given in now.inputs):  # nothing to draw
        text = (left - 3) * 5 // 8
        panel, section = _panel(view, content, text, height), _section(view, content, left - 3 - text, height)
        return panel, columns(((panel.lines, text), (section, left - 3 - text), (side, right)), height)
    text = (left - 3) * 3 // 8
    beside = left - 3 - text
    lead, scroll = _lead_lines(view, content, text), Scroll(content.scrolled, content.show_text)
    first, second = draw_operation_apart(
        now, status_line(view, now), content.item, content.typed, (text, beside), height - len(lead), scroll
    )
    texts = _with_section(view, content, (*lead, *first.lines), text, height)
    rows = columns(((texts, text), (second.lines, beside), (side, right)), height)
    return Panel(second.lines, second.place and second.place.moved(text + 3, 0), first.hidden), rows


def _section(view: BenchView, content: BenchContent, width: int, height: int) -> list[Line]:
    here = content.task.view.operation if isinstance(content.task, OperationTask) else ""
    return draw_section(view.operations, here, width, height)


def _with_section(view: BenchView, content: BenchContent, lines: Sequence[Line], width: int, height: int) -> list[Line]:
    """Draw the operations of the section at the foot of a column, if there are enough rows."""
    section = _section(view, content, width, height - len(lines) - 1)
    return [*lines, *([EMPTY] * (height - len(lines) - len(section))), *section]


def columns(parts: Sequence[tuple[Sequence[Line], int]], height: int) -> list[Line]:
    """Put columns next to each other, each with its width, with a line between them and a margin at both ends."""
    rows: list[Line] = []
    for y in range(height):
        row: Line = ((" ", "text"),)
        for index, (lines, width) in enumerate(parts):
            row += ((" │ ", "rule"),) if index else ()
            row += fit(lines[y] if y < len(lines) else EMPTY, width)
        rows.append((*row, (" ", "text")))
    return rows


def shows_item(lines: Sequence[Line], item: BenchInput) -> bool:
    """True if the mark of the current item is in these lines; for a joint, the number of its next fastener."""
    marked = [(text, role) for line in lines for text, role in line if role in ("now", "next")]
    if not isinstance(input_of(item), TightenInput):
        return any("►" in text for text, _ in marked)
    return any("►" in text if role == "next" else any(char in QUARTERS[1:] for char in text) for text, role in marked)


def draw_header(view: BenchView, now: datetime, width: int) -> Line:
    """Draw the top row: procedure, unit and builder on the left, the number of log lines and the time on the right.

    A narrow screen shows the unit and the time.
    """
    narrow = width < NARROW and bool(view.unit)
    left: list[Span] = [(f" {view.unit if narrow else view.title}", "header-strong")]
    left.extend((f" · {text}", "header") for text in (() if narrow else (view.unit, view.by)) if text)
    right: list[Span] = []
    if view.simulated:
        right.append((" SIMULATED TIME ", "notice"))
    if view.read_only:
        right.append((" VIEW ONLY ", "notice"))
    if not narrow:
        right.append((f"  {counted(view.saved, 'log line')}  ", "header"))
    right.append((f" {now:%H:%M} ", "header-strong"))
    return justified(tuple(left), tuple(right), width, "header")


def draw_alarms(view: BenchView, here: str, width: int) -> list[Line]:
    """Draw the advice for time windows that close soon or have closed, in at most three lines.

    ``here`` is the operation shown. The keys for a closed window work only at its operation. Elsewhere the alarm
    says how to show that operation.
    """
    out: list[Line] = []
    for row in view.clocks:
        if row.phase == "closing":
            out.extend(hanging("▲ ", row.advice, width, "attention"))
        elif row.phase == "missed" or not row.known:
            out.extend(
                hanging("× ", row.advice if row.operation == here else _alarm_elsewhere(view, row), width, "alarm")
            )
    return out[:3]


def _alarm_elsewhere(view: BenchView, row: ClockRow) -> str:
    number = next(each.number for each in view.operations if each.operation == row.operation)
    text = f"{number} {row.title}: {clock_text(row)[0].removeprefix('× ')}."
    return text if view.rework is not None else f"{text} To see what to do, press / and type {number}."


def draw_offer(content: BenchContent, width: int) -> list[Line]:
    """Draw the text about new pictures, if there are any, in at most two lines."""
    return [styled(part, "attention") for part in wrap(content.offer, width)[:2]] if content.offer else []


def draw_message(message: StatusMessage, width: int, max_rows: int, key: str = "") -> list[Line]:
    """Draw a message in at least one row, so that the screen does not jump when a message appears.

    ``key`` is the key that shows all of it; "" if the screen has none.
    """
    out: list[Line] = []
    several = len(message.texts) > 1
    for text in message.texts:
        if several:
            out.extend(hanging("· ", text, width, message.role))
        else:
            out.extend(styled(part, message.role) for part in wrap(text, width))
    if len(out) > max_rows:
        left = len(out) - max_rows + 1
        shows = f" ({key} shows all)" if key else ""
        out = [*out[: max_rows - 1], styled(f"· and {counted(left, 'more line')}{shows}", message.role)]
    return out or [EMPTY]


def _panel(view: BenchView, content: BenchContent, width: int, height: int) -> Panel:
    lead = _lead_lines(view, content, width)
    panel = _task_panel(view, content, width, height - len(lead))
    if not lead:
        return panel
    place = panel.place and panel.place.moved(0, len(lead))
    return Panel((*lead, *panel.lines), place, panel.hidden, panel.turn)


def _lead_lines(view: BenchView, content: BenchContent, width: int) -> list[Line]:
    """Draw the guided route, and the rework that the operation asks for."""
    out = hanging("→ ", content.route, width, "attention") if content.route else []
    asked = content.task.view.rework if isinstance(content.task, OperationTask) else ""
    row = next((row for row in view.operations if row.operation == asked), None)
    if row is not None:
        out = [*out, *hanging("→ ", f"Rework {row.number} {row.title} (u)", width, "attention")]
    return out


def _task_panel(view: BenchView, content: BenchContent, width: int, height: int) -> Panel:
    match content.task:
        case ReworkTask():
            return draw_rework_step(content.task.step, width)
        case MoveTask():
            return draw_move(content.task.move, width)
        case OperationTask():
            now, scroll = content.task.view, Scroll(content.scrolled, content.show_text)
            return draw_operation(now, status_line(view, now), content.item, content.typed, width, height, scroll)
        case NothingToDo():
            return Panel(tuple(_draw_no_task(view, width)))


def task_text(view: BenchView, content: BenchContent) -> tuple[str, tuple[Caution, ...], tuple[str, ...]]:
    """Return title, cautions and instruction of the current task."""
    match content.task:
        case ReworkTask(step=step):
            return step.title if step.is_move else f"Undo: {step.title}", step.cautions, tuple(step.do.splitlines())
        case MoveTask(move=move):
            return move.title, move.cautions, tuple(move.do.splitlines())
        case OperationTask(view=now):
            return f"{now.number} {now.title}", now.cautions, now.do
        case NothingToDo():
            return no_task_text(view), (), ()


def status_line(view: BenchView, now: OperationView) -> str:
    """Return the line above the title: ``In progress · 22 of 48 done · Cam carriers``."""
    row = next((row for row in view.operations if row.operation == now.operation), None)
    section = "" if row is None else row.section
    paused = row is not None and row.status == "paused"
    words = (
        (now.in_progress, "In progress"),
        (now.reopened, "Reopened"),
        (now.done, "Done"),
        (bool(now.missing), "Blocked"),
        (paused, "Paused"),
        (True, "Ready to start"),
    )
    status = next(word for applies, word in words if applies)
    return " · ".join(filter(None, (status, f"{view.done} of {view.of} done", section)))


def no_task_text(view: BenchView) -> str:
    """Return the text shown when there is no task."""
    if view.closed:
        return "This job has ended. No more entries are possible."
    if view.finished:
        return "Every operation is done. Press Enter to end the job."
    return "No operation can be started now. Press o to see what blocks each one."


def _draw_no_task(view: BenchView, width: int) -> list[Line]:
    text = no_task_text(view)
    return [styled(f"{view.done} of {view.of} done", "label"), *(styled(part, "title") for part in wrap(text, width))]


def _inset(line: Line, width: int) -> Line:
    return ((" ", "text"), *fit(line, width - 2), (" ", "text"))


def framed(title: str, body: Sequence[Line], foot: Sequence[Line], width: int, height: int) -> list[Line]:
    """Draw a page: the title as a header, the body, and the foot with message and keys."""
    available = height - 2 - len(foot)
    rows = [*body[:available], *([EMPTY] * max(available - len(body), 0))]
    return [
        fit(((f" {title}", "header-strong"),), width, "header"),
        *(_inset(line, width) for line in rows),
        rule(width),
        *(_inset(line, width) for line in foot),
    ]
