"""The replay of a job: the state after any event."""

from typing import Any, ClassVar

from textual.binding import Binding, BindingType

from benchflow.base.plaintext import clean_line
from benchflow.review.formatting import local_day, local_time, local_time_with_zone
from benchflow.review.log.replay import StepSize
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.view.bench_view import BenchView, TightenInput, rows_by_variable
from benchflow.tui.draw.bench_layout import BenchContent, StatusMessage, draw_bench
from benchflow.tui.draw.key_bar import key_labels
from benchflow.tui.draw.side_column import draw_clocks, draw_clocks_short, draw_state
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, cut, rule, side_by_side, styled, wrap
from benchflow.tui.model.bench_inputs import BenchInput, WholeInput
from benchflow.tui.model.current_task import CurrentTask, NothingToDo, OperationTask, ReworkTask
from benchflow.tui.review.review_case import EventSummary, ReplayPoint, ReviewCase
from benchflow.tui.review.review_navigation import ABOUT, READINGS, TEXT, ReviewNavigation
from benchflow.tui.review.review_requests import AllStateRequest
from benchflow.tui.widgets.list_page import leaving_keys
from benchflow.tui.widgets.page import DrawnPage, Page, letter

NARROW = 70
DONE_SHOWN = 4


class ReplayPage(ReviewNavigation, Page[Any], inherit_bindings=False):
    """The job after one of its events. ``point`` is the event shown first. Keys step by event, operation or day."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down,space", "forward('event')", "event", id="replay.on", key_display="↑↓"),
        Binding("up", "back_by('event')", "", id="replay.back", show=False),
        Binding("right", "forward('operation')", "operation", id="replay.operation-on", key_display="←→"),
        Binding("left", "back_by('operation')", "", id="replay.operation-back", show=False),
        Binding("pagedown", "forward('day')", "day", id="replay.day-on", key_display="PgUp PgDn"),
        Binding("pageup", "back_by('day')", "", id="replay.day-back", show=False),
        Binding("home", "to(1)", "", id="replay.first", show=False),
        Binding("end", "to(-1)", "first, last", id="replay.last", show=False, key_display="Home End"),
        Binding(letter("b"), "past_bench", "bench", id="replay.bench"),
        Binding(letter("o"), "all_state", "whole state", id="replay.whole-state"),
        TEXT,
        READINGS,
        ABOUT,
        *leaving_keys(),
    ]

    def __init__(self, case: ReviewCase, point: ReplayPoint) -> None:
        super().__init__()
        self.case = case
        self.point = point
        self.title_line = clean_line(f"Replay: {case.unit}")

    @property
    def operation(self) -> str:
        """The operation in progress, or the one that the event refers to."""
        return self.point.frame.operation or self.point.story[self.point.frame.seq - 1].operation

    @property
    def seq(self) -> int | None:
        return self.point.frame.seq

    # --- drawing -----------------------------------------------------------------------------

    def body(self, width: int, height: int) -> DrawnPage:
        frame = self.point.frame
        when = local_time_with_zone(frame.at, seconds=True)
        head: list[Line] = [styled(f"Event {frame.seq} of {frame.of} · {when} · {frame.by}", "label")]
        head.extend(styled(part, "title") for part in wrap(frame.text or "(no text)", width))
        about = self.point.story[frame.seq - 1].operation
        head = [*head[: height // 3], styled(cut(self.case.title(about), width), "faint") if about else EMPTY, EMPTY]
        available = height - len(head)
        if width < NARROW:
            side = self._side(width, available * 2 // 3)
            return DrawnPage((*head, *side, EMPTY, *self._events(width, max(available - len(side) - 1, 3))))
        right = min(max(width * 2 // 5, 30), 56)
        left = width - right - 3
        rows = side_by_side(self._events(left, available), self._side(right, available), left, 3, width, available)
        return DrawnPage((*head, *rows))

    def _events(self, width: int, height: int) -> list[Line]:
        """Draw the events before and after, one line each, grouped by local day and operation."""
        at, story = self.point.frame.seq - 1, self.point.story
        lines: list[Line] = []
        here = 0
        for index in range(max(at - height, 0), min(at + height, len(story))):
            event, before = story[index], story[index - 1] if index else None
            day = local_day(event.at)
            new_day = before is None or local_day(before.at) != day or not lines
            if new_day:
                lines.append(rule(width, day))
            if event.operation and (new_day or before is None or before.operation != event.operation):
                lines.append(styled(cut(self.case.title(event.operation), width), "faint"))
            if index == at:
                here = len(lines)
            lines.append(_event(event, width, index == at))
        first = max(0, min(here - height // 2, len(lines) - height))
        return lines[first : first + height]

    def _side(self, width: int, height: int) -> list[Line]:
        """Draw the state, the clocks, and the operations in progress, paused and done."""
        frame = self.point.frame
        title = self.case.title(frame.operation) if frame.operation else "nothing"
        work: list[Line] = [rule(width, "IN PROGRESS"), styled(cut(title, width), "strong")]
        if frame.open:
            work.append(rule(width, "PAUSED"))
            work.extend(styled(f"◊ {cut(self.case.title(each), width - 2)}") for each in frame.open[-2:])
        work.append(rule(width, f"DONE {len(frame.done)} OF {len(frame.done) + frame.left}"))
        clocks = draw_clocks(frame.clocks, width, 7)
        state_count = len(rows_by_variable(frame.state_rows))
        if state_count + len(clocks) + len(work) + 2 > height:
            clocks = draw_clocks_short(frame.clocks, width, 4)
        available = max(height - len(clocks) - len(work) - 1, 3)
        state_lines = draw_state(frame.state_rows, width, max(available, state_count + 1))
        if len(state_lines) > available:
            state_lines = [
                *state_lines[: available - 1],
                styled(f"and {len(state_lines) - available + 1} more (o)", "faint"),
            ]
        lines = [*state_lines, *clocks, *work]
        spare = max(height - len(lines), 1)
        done = [styled(f"● {cut(self.case.title(each), width - 2)}", "done") for each in reversed(frame.done[-spare:])]
        return [*lines, *done][:height]

    # --- keys -------------------------------------------------------------------------

    def action_forward(self, by: StepSize) -> None:
        async def work() -> None:
            await self._go_to(await self.case.forward(self.point.frame.seq, by), "This is the last event.")

        self.run_holding_keys(work())

    def action_back_by(self, by: StepSize) -> None:
        async def work() -> None:
            await self._go_to(await self.case.back(self.point.frame.seq, by), "This is the first event.")

        self.run_holding_keys(work())

    def action_to(self, seq: int) -> None:
        self.run_holding_keys(self._go_to(seq if seq > 0 else self.case.last, ""))

    async def _go_to(self, seq: int, at_end_message: str) -> None:
        here = self.point.frame.seq
        if seq != here:
            self.point = await self.case.point_at(seq)
        self.show_message(*([at_end_message] if seq == here and at_end_message else []), role="attention")

    def action_past_bench(self) -> None:
        seq = self.point.frame.seq

        async def work() -> None:
            self.app.push_screen(BenchAtEventPage(await self.case.bench(seq), self.point))

        self.run_holding_keys(work())

    def action_all_state(self) -> None:
        seq = self.point.frame.seq

        async def work() -> None:
            self.bench_app.open(AllStateRequest(await self.case.bench(seq), seq))

        self.run_holding_keys(work())


class BenchAtEventPage(Page[Any], inherit_bindings=False):
    """The bench after an event, view only."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("pagedown", "scroll(3)", "scroll", id="then.read-on", show=False),
        Binding("pageup", "scroll(-3)", "scroll back", id="then.read-back", show=False),
        Binding(letter("o") + "," + letter("s"), "all_state", "whole state", id="then.whole-state"),
        *leaving_keys("back"),
    ]
    title_line = "Bench after an event"

    def __init__(self, view: BenchView, point: ReplayPoint) -> None:
        super().__init__()
        self.view = view
        self.point = point
        self.scrolled = 0

    def draw(self, width: int, height: int) -> DrawnPage:
        frame = self.point.frame
        content = BenchContent(
            now=local_time_of(frame.at),
            task=_task(self.view),
            item=_joint(self.view),
            message=StatusMessage(
                (f"After event {frame.seq} of {frame.of}. View only.",),
                "attention",
            ),
            keys=key_labels(self, self.focused),
            scrolled=self.scrolled,
        )
        return DrawnPage(draw_bench(self.view, content, width, height).lines)

    def action_scroll(self, by: int) -> None:
        self.scrolled = max(self.scrolled + by, 0)
        self.redraw()

    def action_all_state(self) -> None:
        self.bench_app.open(AllStateRequest(self.view, self.point.frame.seq))


def _task(view: BenchView) -> CurrentTask:
    if view.rework is not None:
        return ReworkTask(view.rework)
    return OperationTask(view.now) if view.now is not None else NothingToDo()


def _joint(view: BenchView) -> BenchInput | None:
    """Return the joint in progress, so that it is drawn."""
    inputs = view.now.inputs if view.now is not None and view.now.in_progress else ()
    return next((WholeInput(given) for given in inputs if isinstance(given, TightenInput)), None)


def _event(event: EventSummary, width: int, selected: bool) -> Line:
    role: Role = "strong" if selected else "text"
    return (
        ("► " if selected else "  ", "now"),
        (f"{event.seq:>4} ", "now" if selected else "faint"),
        (f"{local_time(event.at)[11:]}  ", "faint"),
        (cut(event.short_text.replace("\n", " "), width - 14), role),
    )
