"""Draws the bench in large type, readable from the far side of the bench."""

from benchflow.session.view.bench_view import BenchView, TightenInput, rows_by_variable
from benchflow.tui.draw.bench_layout import (
    BenchContent,
    BenchPicture,
    draw_alarms,
    draw_header,
    draw_message,
    status_line,
    task_text,
)
from benchflow.tui.draw.block_parts import FIELD_WIDTH, LOT_FIELD_WIDTH, FieldPlace, verdict_span
from benchflow.tui.draw.joint_map import is_drawing_down, joint_list, joint_pictures
from benchflow.tui.draw.key_bar import draw_keys
from benchflow.tui.draw.large_letters import large_fits, large_lines, large_width, large_wrapped
from benchflow.tui.draw.operation_panel import draw_cautions, paragraph_lines
from benchflow.tui.draw.side_column import STATUS_MARKS, URGENCY, clock_text
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, cut, fit, justified, rule, styled, width_of, wrap
from benchflow.tui.model.bench_inputs import (
    BenchInput,
    FinishInput,
    SlotInput,
    TickInput,
    WholeInput,
    field_spec,
    input_of,
    takes_text,
)
from benchflow.tui.model.current_task import OperationTask


def draw_large(view: BenchView, content: BenchContent, width: int, height: int) -> BenchPicture:
    """Draw the bench. The main figure is in large letters, or the title if there is no figure."""
    inner = width - 2
    keys = draw_keys(content.keys, inner, 1)
    foot = [*draw_alarms(view, inner), *draw_message(content.message, inner, 2)]
    state = [*draw_state_short(view, inner), *_next(view, inner)]
    available = height - 3 - len(keys) - len(foot) - len(state)
    figure, place = _figure(view, content, inner)
    top = _top(view, content, inner, available - len(figure) - 1)
    figure = [*figure, *_joint_map(content.item, inner, available - len(top) - len(figure) - 2)]
    spare = max(available - len(top) - len(figure), 0)
    gap = 1 if spare else 0
    body = [*top, *([EMPTY] * gap), *figure]
    body = [*body[:available], *([EMPTY] * max(available - len(body), 0))]
    lines = [
        draw_header(view, content.now, width),
        *(_inset(line, width) for line in body),
        rule(width),
        *(_inset(line, width) for line in [*state, *foot]),
        rule(width),
        *(_inset(line, width) for line in keys),
    ]
    if place is not None:
        place = FieldPlace(place.x + 1, place.y + 1 + len(top) + gap, place.width)
    return BenchPicture(tuple(lines[:height]), place, 0)


def _inset(line: Line, width: int) -> Line:
    return ((" ", "text"), *fit(line, width - 2), (" ", "text"))


def _top(view: BenchView, content: BenchContent, width: int, available: int) -> list[Line]:
    """Draw the title, the cautions, and as much of the instruction as fits.

    The title is in large letters only if the current input has no figure.
    """
    title, cautions, instruction = task_text(view, content)
    warnings = draw_cautions(cautions, width)
    over = status_line(view, content.task.view) if isinstance(content.task, OperationTask) else content.route
    head = [styled(cut(over, width), "label")]
    lines = 2 if available - len(head) - len(warnings) >= 8 else 1
    with_figure = bool(large_figure(content.item, content.typed.text)[0])
    drawn = [] if with_figure else large_wrapped(title, width, lines)
    complete = not with_figure and large_fits(title, width, lines)
    whole = [] if complete else [styled(part, "strong") for part in wrap(title, width)]
    out = [*head, *drawn, *whole, *warnings]
    left = available - len(out) - 1
    rest = [line for text in instruction for line in paragraph_lines(text, width)]
    if left > 0 and rest:
        out.extend([EMPTY, *rest[:left]])
    return out


def _figure(view: BenchView, content: BenchContent, width: int) -> tuple[list[Line], FieldPlace | None]:
    """Draw the current input and the most urgent clock in large letters, and the field below."""
    item = content.item
    text, caption = large_figure(item, content.typed.text)
    running = (row for row in view.clocks if row.phase != "wait" or not row.known)
    clock = min(running, key=lambda row: (URGENCY.index(row.phase), row.seconds or 0.0), default=None)
    time, time_role = clock_text(clock) if clock is not None else ("", "text")
    short = time.removesuffix(" left").removeprefix("▲ ").removeprefix("× ")
    right = large_lines(short, time_role) if time and large_width(text + "  " + short) <= width else []
    left = large_wrapped(text, width - (large_width(short) + 2 if right else 0), 1, "now") if text else []
    rows = max(len(left), len(right))
    out: list[Line] = [
        justified(left[y] if y < len(left) else EMPTY, right[y] if y < len(right) else EMPTY, width)
        for y in range(rows)
    ]
    message: Line = (("► " if caption else "", "now"), (caption, "strong"))
    whole = f"{time} for {clock.title}" if clock is not None else ""
    side_by_side = next((each for each in (whole, time) if width_of(message) + len(each) + 2 <= width), "")
    out.append(justified(message, ((side_by_side, time_role),), width))
    if item is None or not takes_text(item):
        return out, None
    return _field(item, content, out, width)


def _joint_map(item: BenchInput | None, width: int, available: int) -> list[Line]:
    """Draw the map of the joint, if it fits under the figure."""
    joint = None if item is None else input_of(item)
    if not isinstance(joint, TightenInput):
        return []
    sizes = (*joint_pictures(joint, width), joint_list(joint, width))
    picture = next((each for each in sizes if len(each) <= available), [])
    return [EMPTY, *picture] if picture else []


def _field(item: BenchInput, content: BenchContent, above: list[Line], width: int) -> tuple[list[Line], FieldPlace]:
    field = field_spec(item)
    assert field is not None  # called only for an item with a field
    size = LOT_FIELD_WIDTH if field.is_text else FIELD_WIDTH
    unit = f"] {field.unit}" if field.unit else "]"
    typed = content.typed
    note = typed.error or (f"= {typed.converted}" if typed.converted else "")
    role: Role = "alarm" if typed.error else "strong"
    line: Line = (
        ("  [", "strong"),
        (" " * size, "field"),
        (unit, "strong"),
        (f"   {field.limit}", "text"),
        (f"   {note}", role),
    )
    return [*above, line], FieldPlace(3, len(above), size)


def large_figure(item: BenchInput | None, typed: str) -> tuple[str, str]:
    """Return two texts for an item: one for large letters, and one for normal type below it."""
    match item:
        case SlotInput():
            which = f", {item.slot.slot}" if len(item.input.readings) > 1 else ""
            shown = item.slot.shown or item.slot.limit or item.input.limit
            word, _ = verdict_span(item.slot)
            return (typed or shown, f"{item.input.ask}{which}" + (f": {word}" if word and not typed else ""))
        case TickInput(input=joint):
            stage = typed or joint.wrench_setting or joint.stages[item.stage - 1].partition(" (")[0]
            with_extension = "WRENCH SETTING WITH EXTENSION · " if joint.wrench_setting and not typed else ""
            return (f"►{item.fastener}  {stage}", with_extension + joint.progress)
        case WholeInput(input=TightenInput() as joint) if joint.draw_down is not None and is_drawing_down(joint):
            return (f"►{joint.draw_down.next}", joint.draw_down.progress)
        case WholeInput():
            given = item.input
            text = getattr(given, "text", "") or getattr(given, "title", "")
            return ("", str(text))
        case FinishInput():
            return ("Finish", "Everything is entered.")
        case None:
            return ("", "")


def draw_state_short(view: BenchView, width: int) -> list[Line]:
    """Draw the state in at most two rows: ``pistons down · valves shut``."""
    rows = rows_by_variable(view.state_rows)
    text = " · ".join(f"{row.title} {row.value if row.known else f'? {row.value}'}" for row in rows)
    lines = wrap(text, width)
    shown = lines if len(lines) <= 2 else [lines[0], cut(" ".join(lines[1:]), width)]
    return [styled(part) for part in shown if part]


def _next(view: BenchView, width: int) -> list[Line]:
    here = view.now.operation if view.now is not None else ""
    rows = [row for row in view.operations if row.status not in ("done", "in-progress") and row.operation != here]
    ready = next((row for row in rows if row.status != "blocked"), None)
    blocked = next((row for row in rows if row.status == "blocked"), None)
    out: list[Line] = []
    for head, row in (("Next ", ready), ("Blocked ", blocked)):
        if row is not None:
            shape, role, _ = STATUS_MARKS[row.status]
            text = f"{row.number} {row.title}" + (f": {row.reason}" if row.reason else "")
            out.append(((f"{shape} {head}", role), (cut(text, width - len(head) - 2), "text")))
    return out
