"""The cursor of the bench: the current task, its items, and the selected item."""

from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import AskedFigure, BenchView, CalculatedInput, CheckInput, TightenInput
from benchflow.tui.draw.panel_parts import Turn
from benchflow.tui.model.bench_inputs import (
    BenchInput,
    SlotInput,
    TickInput,
    asked_figure,
    bench_inputs,
    can_start_by_entry,
    draft_key,
    index_of,
    input_of,
    is_open,
    is_out_of_limit,
    next_input,
    takes_text,
    with_optional_field,
    with_other_part,
)
from benchflow.tui.model.current_task import CurrentTask, GuidedRoute, MoveTask, NothingToDo, OperationTask, ReworkTask
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import TypedText, far_text, typed_text


class BenchCursor:
    """The current task, its ``items``, and the index ``at`` of the selected item.

    ``typed`` is the text in the field; ``scrolled`` is the number of lines by which the instruction is scrolled.
    ``turn`` and ``hidden`` are those of the drawn bench. ``show_text`` is what the builder has chosen, if there is
    no space for instruction and picture together.
    ``reading_open`` is true while the field for the optional reading of a tick is open. ``asked`` is the draft and the
    text of a reading far from its limit, while the bench asks if it is right. ``visible`` is false if the screen is too
    small to show the selected item.
    """

    def __init__(self, client: SessionClient) -> None:
        self.client = client
        self.task: CurrentTask = NothingToDo()
        self.route: GuidedRoute | None = None
        self.items: tuple[BenchInput, ...] = ()
        self.at = 0
        self.scrolled = 0
        self.show_text: bool | None = None
        self.turn: Turn = ""
        self.hidden = 0
        self.typed = TypedText()
        self.reading_open = False
        self.asked = ""
        self.visible = True
        self.update()

    @property
    def item(self) -> BenchInput | None:
        """The selected item."""
        return self.items[self.at] if self.at < len(self.items) else None

    @property
    def operation_task(self) -> OperationTask | None:
        """The task, if it is an operation."""
        return self.task if isinstance(self.task, OperationTask) else None

    @property
    def operation(self) -> str:
        """The operation shown, or an empty string."""
        return self.operation_task.view.operation if self.operation_task else ""

    @property
    def in_progress(self) -> bool:
        """True if the operation shown is in progress."""
        return bool(self.operation_task and self.operation_task.view.in_progress)

    @property
    def done(self) -> bool:
        """True if the operation shown is done."""
        return self._status == "done"

    @property
    def paused(self) -> bool:
        """True if the operation shown is paused."""
        return self._status == "paused"

    @property
    def _status(self) -> str:
        rows = self.client.view.operations
        return next((row.status for row in rows if row.operation == self.operation), "")

    @property
    def looking(self) -> bool:
        """True if the builder has chosen another operation than the next one to be shown."""
        return bool(self.operation) and self.client.selected == self.operation

    @property
    def only_looking(self) -> bool:
        """True if nothing can be entered for the operation shown: it is done, or another one is in progress."""
        now = self.client.view.now
        other = now is not None and now.in_progress and now.operation != self.operation
        return bool(self.operation) and (self.done or other)

    @property
    def blocked(self) -> bool:
        """True if the operation shown is blocked."""
        task = self.operation_task
        return bool(task and not task.view.in_progress and task.view.missing and not self.only_looking)

    @property
    def has_field(self) -> bool:
        """True if the selected item has a field to type into. Never true in a view-only job."""
        view = self.client.view
        return takes_text(self.item) and not (view.read_only or view.closed)

    @property
    def joint(self) -> TightenInput | None:
        """The joint of the selected item, if it belongs to one."""
        given = None if self.item is None else input_of(self.item)
        return given if isinstance(given, TightenInput) else None

    @property
    def asked_figure(self) -> AskedFigure | None:
        """The figure that has to be given next: that of the selected item, or a time before the operation starts.

        The figures of an operation that is blocked, or only looked at, can be given ahead.
        """
        task = self.operation_task
        if task is not None and (self.blocked or self.only_looking) and task.view.asked_ahead:
            return task.view.asked_ahead[0]
        if task is not None and task.view.asked is not None and not self.only_looking:
            return task.view.asked
        return asked_figure(self.item)

    @property
    def failed_fastener(self) -> int | None:
        """The number of the fastener that stops the joint of the selected item, ``None`` if none does."""
        joint = self.joint
        if joint is None or not joint.stopped:
            return None
        return next(each.number for each in joint.fasteners if each.failed)

    @property
    def remedy_item(self) -> BenchInput | None:
        """The selected item if it has a remedy, otherwise the first input with one."""
        for item in (self.item, *self.items):
            given = None if item is None else input_of(item)
            if (isinstance(item, SlotInput) and item.slot.remedy) or (
                isinstance(given, CalculatedInput | CheckInput | TightenInput) and given.remedy
            ):
                return item
        return None

    @property
    def part_item(self) -> SlotInput | None:
        """The reading whose part can be stated as used, or new: the selected one, otherwise the first that is out.

        ``None`` if a joint or another reading is selected: the key would not mean what the builder looks at.
        """
        readings = [each for each in self.items if isinstance(each, SlotInput) and each.slot.other_part is not None]
        if isinstance(self.item, SlotInput):
            return self.item if self.item in readings else None
        if self.joint is not None:
            return None
        return next((each for each in readings if each.slot.shown and is_out_of_limit(each)), None)

    def scroll(self, by: int) -> None:
        """Scroll the instruction. At its end, show the picture; from the picture, go back to the instruction."""
        if by > 0 and self.turn == "text" and not self.hidden:
            self.scrolled, self.show_text = 0, False
        elif by < 0 and self.turn == "picture":
            self.scrolled, self.show_text = 0, True
        else:
            self.scrolled = max(self.scrolled + by, 0)

    @property
    def entry_to_read_again(self) -> int | None:
        """The number of the event whose reading, tick or answer is out, and can be read again; ``None`` if none is.

        While something waits for a remedy, every reading of the operation can be read again: a calculated value may be
        out because one of them was misread.
        """
        if not self.in_progress:
            return None
        here = self._event_to_read_again(self.item)
        return self._event_to_read_again(self.remedy_item) if here is None else here

    def _event_to_read_again(self, item: BenchInput | None) -> int | None:
        given = None if item is None else input_of(item)
        if isinstance(item, SlotInput) and item.slot.shown and (is_out_of_limit(item) or self.remedy_item is not None):
            return self._last_entry("reading", item.input.name, item.slot.slot)
        if isinstance(given, TightenInput) and given.remedied is not None:
            ticks = reversed(self.client.state.work(self.operation).ticks)
            return next((tick.seq for tick in ticks if tick.fastener == given.remedied), None)
        if isinstance(given, CheckInput) and given.failed:
            return self.client.state.work(self.operation).failed.get(given.number)
        return None

    def _last_entry(self, kind: str, name: str, reading: str) -> int | None:
        found = (
            seq
            for seq, each in self.client.state.correctable.items()
            if (each.operation, each.kind, each.name, each.reading) == (self.operation, kind, name, reading)
        )
        return max(found, default=None)

    def update(self) -> None:
        """Use the new view of the client. If the operation has changed, select its first open item."""
        before = (self.operation, self.in_progress)
        if self.client.selected == _in_progress(self.client.view):
            self.client.selected = ""
        self.route = route_of(self.client)
        self.task = task_of(self.client, self.route)
        task = self.operation_task
        self.items = bench_inputs(task.view) if task and not self.only_looking else ()
        self.items = tuple(map(self._as_stated, self.items))
        with_field = tuple(with_optional_field(item) for item in self.items)
        if with_field != self.items and (self.reading_open or self._has_draft(with_field)):
            self.items = with_field
        if (self.operation, self.in_progress) != before:
            self.scrolled, self.show_text = 0, None
            self.at = next_input(self.items)
        self.at = min(self.at, max(len(self.items) - 1, 0))

    def _as_stated(self, item: BenchInput) -> BenchInput:
        """Return a reading as the builder has stated its part before it was entered: used, or new."""
        stated = isinstance(item, SlotInput) and not item.slot.shown and self.client.drafts.text(self._part_draft(item))
        return with_other_part(item) if stated else item

    def _part_draft(self, item: BenchInput) -> str:
        return f"{self.draft_of(item)} part"

    def state_other_part(self) -> None:
        """State for the selected reading, before it is entered, that its part is the other one; or take it back."""
        item = self.item
        assert isinstance(item, SlotInput)
        self.client.drafts.set_text(self._part_draft(item), "" if item.used is not None else "other")
        self.update()

    def _has_draft(self, items: tuple[BenchInput, ...]) -> bool:
        """True if a reading of a tick was typed and not entered."""
        return any(isinstance(each, TickInput) and self.client.drafts.text(self.draft_of(each)) for each in items)

    @property
    def has_optional_field(self) -> bool:
        """True if a field for the optional reading of a tick can be opened (:meth:`open_reading`)."""
        view = self.client.view
        closed = self.item is not None and with_optional_field(self.item) != self.item
        return closed and not (view.read_only or view.closed)

    def open_reading(self) -> None:
        """Open the field for the optional reading of a tick, if the selected item has one."""
        if self.has_optional_field:
            self.reading_open = True
            self.update()

    def close_reading(self) -> None:
        """Close the field for the optional reading of a tick, and delete its text."""
        if isinstance(self.item, TickInput) and self.item.value is not None and self.item.value.optional:
            self.client.drafts.set_text(self.draft_of(self.item), "")
        if self.reading_open:
            self.reading_open = False
            self.update()

    def step(self, by: int) -> None:
        """Select an item above (negative) or below."""
        self.at = min(max(self.at + by, 0), max(len(self.items) - 1, 0))

    @property
    def entry_starts(self) -> bool:
        """True if an entry of the selected item starts the operation shown."""
        task = self.operation_task
        return task is not None and self.item is not None and can_start_by_entry(task.view)

    def select(self, item: BenchInput) -> None:
        """Select this item in the present view."""
        index = index_of(self.items, item)
        self.at = self.at if index is None else index

    def advance(self) -> None:
        """Select the next item to enter."""
        self.at = next_input(self.items, self.at)
        self.show_text = None

    def far_text(self, ask_again: bool) -> str:
        """Return the question about a reading far from its limit. It is asked once for a text, unless ``ask_again``."""
        question = far_text(self.item, self.typed.text)
        asked = f"{self.draft_of(self.item)} {self.typed.text}" if question and self.item is not None else ""
        answered, self.asked = asked == self.asked, asked
        return "" if answered and not ask_again else question

    def advance_if_done(self) -> None:
        """Select the next item, unless the current one is open or out of its limit."""
        if self.item is not None and not is_open(self.item) and not is_out_of_limit(self.item):
            self.advance()

    # --- drafts -----------------------------------------------------------------------

    def draft_of(self, item: BenchInput) -> str:
        """Return the name under which the draft of an item is kept."""
        return f"{self.operation} {draft_key(item)}"

    def drafts_of_item(self) -> tuple[str, ...]:
        """Return the names of the drafts to delete after the current item is entered. A tick may have two readings."""
        item = self.item
        if isinstance(item, TickInput):
            return tuple(self.draft_of(each) for each in self.items if isinstance(each, TickInput))
        return () if item is None else (self.draft_of(item), self._part_draft(item))

    def restore_draft(self) -> str:
        """Set the text to the draft of the selected item, and return it."""
        text = "" if self.item is None else self.client.drafts.text(self.draft_of(self.item))
        self.typed = typed_text(self.item, text)
        return text

    def set_text(self, text: str) -> None:
        """Set the text of the field, and keep it as a draft."""
        self.typed = typed_text(self.item, text)
        if self.item is not None:
            self.client.drafts.set_text(self.draft_of(self.item), text)

    def delete_drafts(self, drafts: tuple[str, ...]) -> None:
        """Delete the drafts of entries that were just recorded."""
        self.typed = TypedText()
        for name in drafts:
            self.client.drafts.set_text(name, "")
        self.close_reading()


def route_of(client: SessionClient) -> GuidedRoute | None:
    """Return the route to the goal from the present state. Clear the goal if it is reached or no route exists."""
    goal = client.drafts.goal
    if client.view.rework is not None:
        return None  # the goal is kept until the rework is done
    row = next((row for row in client.view.operations if row.operation == goal), None)
    if not goal or row is None or row.status in ("done", "in-progress") or client.view.closed:
        client.drafts.goal = ""
        return None
    steps = client.query("route", goal)
    if isinstance(steps, Refusal):
        client.drafts.goal = ""
        return None
    left = len(steps)
    more = f"{left} steps" if left > 1 else "last step"
    return GuidedRoute(goal, tuple(steps), f"Guiding to {row.number} {row.title}: {more}")


def task_of(client: SessionClient, route: GuidedRoute | None) -> CurrentTask:
    """Return the task to show.

    It is the rework step, else the operation that the builder has chosen, the one in progress, the next step of the
    route, or the next operation.
    """
    view = client.view
    if view.rework is not None:
        return ReworkTask(view.rework)
    if client.selected:
        return OperationTask(client.operation(client.selected))
    if view.now is not None and view.now.in_progress:
        return OperationTask(view.now)
    if route is not None:
        return _task_for_step(view, route.steps[0], client)
    return NothingToDo() if view.now is None else OperationTask(view.now)


def _task_for_step(view: BenchView, step: str, client: SessionClient) -> CurrentTask:
    for move in view.moves:
        if move.move == step:
            return MoveTask(move)
    return OperationTask(client.operation(step))


def _in_progress(view: BenchView) -> str:
    return view.now.operation if view.now is not None and view.now.in_progress else ""
