"""The key bindings of the bench, and which of them are active, greyed or hidden."""

from textual.binding import Binding, BindingType

from benchflow.session.view.bench_view import CalculatedInput, CheckInput, ChoiceInput, HoldInput, LotInput
from benchflow.tui.bench.cursor import BenchCursor
from benchflow.tui.draw.joint_map import is_drawing_down
from benchflow.tui.model.bench_inputs import BenchInput, FinishInput, SlotInput, TickInput, WholeInput
from benchflow.tui.model.current_task import MoveTask, NothingToDo, ReworkTask
from benchflow.tui.widgets.page import letter

ENTER = "enter,space"

BENCH_KEYS: list[BindingType] = [
    Binding(ENTER, "start", "start", id="bench.start"),
    Binding(ENTER, "continue", "continue", id="bench.continue"),
    Binding(ENTER, "blocked", "why blocked", id="bench.blocked"),
    Binding(ENTER, "move_now", "done, next", id="bench.move"),
    Binding(ENTER, "rework_step", "done, next", id="bench.rework-step"),
    Binding(ENTER, "record", "record", id="bench.record"),
    Binding(ENTER, "tick", "tightened, next", id="bench.tick"),
    Binding(ENTER, "tick_reading", "record, next", id="bench.tick-reading"),
    Binding(ENTER, "tick_loosened", "loosened, tightened again", id="bench.tick-loosened"),
    Binding(letter("h"), "answer('held')", "held", id="bench.held"),
    Binding(letter("v"), "answer('moved')", "moved", id="bench.moved"),
    Binding(ENTER, "next_value", "next reading", id="bench.next-value"),
    Binding(ENTER, "draw_down", "drawn down, next", id="bench.draw-down"),
    Binding(letter("t"), "seated", "all seated", id="bench.seated"),
    Binding(ENTER, "figure", "give the figure", id="bench.figure"),
    Binding(ENTER, "repair", "enter the repair", id="bench.repair"),
    Binding(ENTER, "check", "tick", id="bench.check"),
    Binding(ENTER, "uncheck", "clear tick", id="bench.uncheck"),
    Binding(letter("b"), "check_no", "answer no", id="bench.check-no"),
    Binding(ENTER, "choose(0)", "choose", id="bench.choose"),
    Binding(ENTER, "sign", "sign", id="bench.sign"),
    Binding(ENTER, "remedy_here", "remedy", id="bench.remedy-here"),
    Binding(ENTER, "finish", "finish", id="bench.finish"),
    Binding(ENTER, "end", "end the job", id="bench.end"),
    Binding(ENTER, "back_from_done", "back to what is next", id="bench.back-from-done"),
    *(Binding(str(n), f"choose({n})", f"choose no. {n}", id=f"bench.choose-{n}", show=False) for n in range(1, 10)),
    Binding("backspace", "untick", "clear last tick", id="bench.untick"),
    Binding("escape", "step_out", "leave field", id="bench.step-out"),
    Binding("escape", "back_to_next", "what is next", id="bench.back-to-next"),
    Binding("escape", "stay", "", id="bench.stay", show=False),
    Binding("up,shift+tab", "line(-1)", "", id="bench.up", show=False),
    Binding("down,tab", "line(1)", "select", id="bench.down", key_display="↑↓"),
    Binding(letter("r"), "remedy", "remedy", id="bench.remedy"),
    Binding(letter("y"), "read_again", "read again", id="bench.read-again"),
    Binding(letter("z"), "fastener_failed", "fastener failed", id="bench.fastener-failed"),
    Binding(letter("p"), "tick_rest", "tick the rest", id="bench.tick-rest"),
    Binding(letter("p"), "part_used", "part is used", id="bench.part-used"),
    Binding(letter("p"), "part_new", "part is new", id="bench.part-new"),
    Binding(letter("b"), "stage_again", "begin the stage again", id="bench.stage-again"),
    Binding(letter("f"), "folder", "another folder", id="bench.folder"),
    Binding(letter("w"), "why", "why", id="bench.why"),
    Binding(letter("g"), "guide", "guide me there", id="bench.guide"),
    Binding(letter("g"), "stop_guiding", "stop guiding", id="bench.stop-guiding"),
    Binding(letter("o"), "operations", "list", id="bench.operations"),
    Binding("slash," + letter("j"), "find", "find", id="bench.find"),
    Binding(letter("m"), "moves", "moves", id="bench.moves"),
    Binding(letter("a"), "pause", "pause", id="bench.pause"),
    Binding(letter("n"), "note", "note", id="bench.note"),
    Binding(letter("u"), "rework_here", "begin the rework", id="bench.rework-here"),
    Binding(letter("u"), "rework", "rework", id="bench.rework"),
    Binding(letter("d"), "deviate", "deviate", id="bench.deviate"),
    Binding(letter("c"), "correct", "correct", id="bench.correct"),
    Binding(letter("s"), "state", "state", id="bench.state"),
    Binding("equals_sign", "calculation", "calculation", id="bench.calculation", show=False),
    Binding(letter("x"), "wrench", "extension", id="bench.wrench", show=False),
    Binding(letter("i"), "instrument", "instrument", id="bench.instrument", show=False),
    Binding(letter("l"), "lubricant", "lubricant", id="bench.lubricant", show=False),
    Binding("f7", "attach_offered", "attach the new picture", id="bench.attach", show=False),
    Binding("f8", "pictures", "pictures", id="bench.pictures", show=False),
    Binding(letter("t"), "continue_here", "continue here", id="bench.continue-here"),
    Binding(letter("k"), "take_over", "take over", id="bench.take-over"),
    Binding(letter("e"), "end_early", "end the job", id="bench.end-early", show=False),
    Binding(letter("e"), "end_page", "end page, build sheet", id="bench.end-page"),
    Binding("pagedown", "scroll(3)", "scroll", id="bench.scroll-down", show=False, key_display="PgUp PgDn"),
    Binding("pageup", "scroll(-3)", "", id="bench.scroll-up", show=False),
    Binding(letter("q") + ",f10,ctrl+c,ctrl+q", "back", "leave", id="bench.leave"),
]
"""The bindings of the bench. Several share a key: one is active, and the others are hidden."""

KeyState = bool | None
"""As in Textual's ``check_action``: true is active, ``None`` is greyed, false is hidden."""


def _is_input(item: BenchInput | None, kind: type) -> bool:
    return isinstance(item, WholeInput) and isinstance(item.input, kind)


def _needs_reading(item: TickInput) -> bool:
    """True if the tick is entered with a reading."""
    return item.value is not None and not item.value.optional


def _entry_states(cursor: BenchCursor) -> dict[str, KeyState]:
    """Return the states of the actions that change the current item."""
    item = cursor.item
    check = item.input if isinstance(item, WholeInput) and isinstance(item.input, CheckInput) else None
    choice = item.input if isinstance(item, WholeInput) and isinstance(item.input, ChoiceInput) else None
    hold = item.input if isinstance(item, WholeInput) and isinstance(item.input, HoldInput) else None
    calculated = item.input if isinstance(item, WholeInput) and isinstance(item.input, CalculatedInput) else None
    joint = cursor.joint
    missing = cursor.operation_task.view.missing if cursor.operation_task else ()
    other_part = None if cursor.part_item is None else cursor.part_item.slot.other_part
    remedy_here = bool((calculated is not None and calculated.remedy) or (check is not None and check.remedy))
    return {
        "record": (isinstance(item, SlotInput) and item.slot.asked is None) or _is_input(item, LotInput),
        "tick": isinstance(item, TickInput) and item.last and not item.input.loosen_first and not _needs_reading(item),
        "tick_reading": isinstance(item, TickInput) and item.last and _needs_reading(item),
        "tick_loosened": isinstance(item, TickInput) and item.last and item.input.loosen_first,
        "answer": isinstance(item, TickInput) and item.value is not None and item.value.answers,
        "next_value": isinstance(item, TickInput) and not item.last,
        "figure": cursor.asked_figure is not None and not (joint is not None and joint.stopped),
        "repair": cursor.failed_fastener is not None,
        "fastener_failed": joint is not None and not joint.complete and cursor.in_progress,
        "draw_down": joint is not None and is_drawing_down(joint) and not joint.stopped and cursor.asked_figure is None,
        "seated": joint is not None and is_drawing_down(joint) and not (joint.stopped or cursor.client.view.read_only),
        "continue_here": cursor.client.holder_left,
        "untick": joint is not None and bool(joint.last_entry),
        "tick_rest": joint is not None and len(joint.rest) > 1,
        "stage_again": joint is not None and joint.stage_again and bool(joint.resume_text),
        "part_used": other_part is not None and other_part.used,
        "part_new": other_part is not None and not other_part.used,
        "instrument": (isinstance(item, SlotInput | TickInput) and cursor.client.has_register) or None,
        "wrench": joint is not None or None,
        "lubricant": joint is not None or None,
        "check": check is not None and not check.complete and not check.remedy and check.asked is None,
        "uncheck": check is not None and check.complete,
        "check_no": check is not None and not check.failed and check.asked is None,
        "choose": choice is not None,
        "sign": hold is not None and not hold.complete,
        "remedy_here": remedy_here,
        "remedy": cursor.remedy_item is not None and not remedy_here,
        "read_again": cursor.entry_to_read_again is not None,
        "finish": isinstance(item, FinishInput) and (None if missing else True),
        "line": len(cursor.items) > 1,
        "pause": cursor.in_progress
        and (True if cursor.operation_task and cursor.operation_task.view.pause_allowed else None),
        "deviate": cursor.operation_task is not None,
    }


def _task_states(cursor: BenchCursor) -> dict[str, KeyState]:
    """Return the states of the actions that start a task or open a screen."""
    view = cursor.client.view
    startable = cursor.operation_task is not None and not (
        cursor.in_progress or cursor.only_looking or cursor.blocked or cursor.entry_starts
    )
    now_in_progress = view.now is not None and view.now.in_progress
    idle = not now_in_progress and view.rework is None
    ended = isinstance(cursor.task, NothingToDo) and view.finished and not view.closed
    return {
        "start": startable and not cursor.paused,
        "continue": startable and cursor.paused,
        "back_from_done": cursor.only_looking and cursor.asked_figure is None,
        "back_to_next": cursor.looking,
        "blocked": cursor.blocked and cursor.asked_figure is None,
        "why": cursor.operation_task is not None,
        "move_now": isinstance(cursor.task, MoveTask) and (None if cursor.task.move.refused else True),
        "rework_step": isinstance(cursor.task, ReworkTask),
        "guide": cursor.blocked and cursor.route is None,
        "stop_guiding": cursor.route is not None,
        "moves": (idle or None) if view.moves else False,
        "rework_here": bool(cursor.operation_task and cursor.operation_task.view.rework) and view.rework is None,
        "rework": (idle and bool(view.done or _any_paused(cursor))) or None,
        "take_over": bool(cursor.client.to_take_over) and (idle or None),
        "end": ended,
        "end_early": not view.closed,
        "end_page": bool(view.closed),
    }


def _any_paused(cursor: BenchCursor) -> bool:
    return any(row.status == "paused" for row in cursor.client.view.operations)


VIEW_ONLY = frozenset({
    "why", "line", "operations", "find", "back_to_next", "back_from_done", "stay", "scroll", "back", "help", "step_out",
    "blocked", "calculation", "continue_here", "end_page",
})  # fmt: skip
"""Actions that are active in a view-only job."""


AFTER_CLOSE = frozenset({"attach_offered", "pictures"})
"""Actions that are active after the end of the job."""


def key_states(cursor: BenchCursor, typing: bool, unsaved: bool) -> dict[str, KeyState]:
    """Return the states of the actions of the bench. An action that is not listed is active.

    ``typing`` is true if the field has the focus, ``unsaved`` if the last entry could not be written to disk.
    """
    states = {**_entry_states(cursor), **_task_states(cursor), "step_out": typing, "folder": unsaved}
    if typing:
        states["untick"] = False
    return states


def key_state(
    cursor: BenchCursor, states: dict[str, KeyState], action: str, parameters: tuple[object, ...]
) -> KeyState:
    """Return the state of one action. ``states`` come from :func:`key_states`."""
    state = states.get(action, True)
    if action == "choose" and state:
        state = _choice(cursor, parameters)
    view = cursor.client.view
    if view.closed and not view.read_only and action in AFTER_CLOSE:
        return state
    if (view.read_only or view.closed) and action not in VIEW_ONLY and state is not False:
        return None
    return state


def _choice(cursor: BenchCursor, parameters: tuple[object, ...]) -> KeyState:
    item = cursor.item
    assert isinstance(item, WholeInput)
    assert isinstance(item.input, ChoiceInput)
    number = parameters[0] if parameters else 0
    if number == 0:
        return True if len(item.input.proposed) == 1 or item.input.other_unit else None
    if item.input.other_unit:
        return False  # a digit is typed into the field for another size
    return isinstance(number, int) and number <= len(item.input.choices)


def blocked_messages(cursor: BenchCursor, action: str) -> tuple[str, ...]:
    """Return why an action is blocked now. The messages are shown when its greyed key is pressed."""
    view, task = cursor.client.view, cursor.operation_task
    if view.closed:
        return ("The job has ended. No more entries are possible.",)
    if view.read_only:
        return (f"View only: {view.read_only}.",)
    match action:
        case "finish" if task is not None:
            return tuple(reason.message for reason in task.view.missing)
        case "move_now" if isinstance(cursor.task, MoveTask):
            return tuple(reason.message for reason in cursor.task.move.refused)
        case "moves" | "rework" | "take_over" if view.rework is not None:
            return ("A rework is in progress. Do its steps first.",)
        case "moves" | "rework" | "take_over" if cursor.in_progress:
            return ("This is possible only between operations. Finish the operation in progress, or pause it (a).",)
        case "rework":
            return ("No operation is done yet, so there is nothing to rework.",)
        case "instrument" if not cursor.client.has_register:
            return ("There is no shop register, so there is no instrument to choose.",)
        case "instrument":
            return ("An instrument is chosen at a reading. Select a reading first.",)
        case "wrench" | "lubricant":
            return ("This is entered while a joint is tightened. Start that operation first.",)
        case _:
            return ("This is not possible now.",)
