"""Draws the bench in large type, readable from the far side of the bench."""

from benchflow.session.view.bench_view import BenchView, TightenInput, rows_by_variable
from benchflow.tui.draw.bench_layout import (
    BenchContent,
    BenchPicture,
    draw_alarms,
    draw_header,
    draw_message,
    draw_offer,
    status_line,
    task_text,
)
from benchflow.tui.draw.block_parts import FIELD_WIDTH, LOT_FIELD_WIDTH, FieldPlace, verdict_span
from benchflow.tui.draw.joint_block import number_on_tool, printed_stage
from benchflow.tui.draw.joint_map import is_drawing_down, joint_list, joint_pictures, list_height
from benchflow.tui.draw.key_bar import draw_keys
from benchflow.tui.draw.large_letters import ROWS, large_fits, large_lines, large_width, large_wrapped
from benchflow.tui.draw.operation_panel import draw_cautions, paragraph_lines
from benchflow.tui.draw.panel_parts import scrolled_text
from benchflow.tui.draw.side_column import URGENCY, clock_text
from benchflow.tui.draw.styled_lines import (
    EMPTY,
    STATUS_MARKS,
    Line,
    Role,
    cut,
    fit,
    justified,
    rule,
    styled,
    width_of,
    wrap,
)
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

LEAST_TEXT = 2
"""Rows for the instruction that the large letters leave free."""

MOST_LINES = 3
"""The most lines of large letters for what to do."""


def draw_large(view: BenchView, content: BenchContent, width: int, height: int) -> BenchPicture:
    """Draw the bench. In large letters is the number of the current input, or else what to do."""
    inner = width - 2
    keys = draw_keys(content.keys, inner, 1)
    foot = [*draw_alarms(view, content.operation, inner), *draw_offer(content, inner)]
    foot += draw_message(content.message, inner, 2, "w")
    state = [*draw_state_short(view, inner), *_next(view, inner)]
    available = height - 3 - len(keys) - len(foot) - len(state)
    title, cautions, instruction = task_text(view, content)
    over = status_line(view, content.task.view) if isinstance(content.task, OperationTask) else content.route
    head = [styled(cut(over, inner), "label"), *(styled(part, "strong") for part in wrap(title, inner))]
    head.extend(draw_cautions(cautions, inner))
    figure, place = _figure(view, content, instruction, inner, available - len(head) - LEAST_TEXT)
    left = available - len(head) - len(figure)
    if content.item is None:  # the first paragraph is in large letters
        text, hidden = _instruction(instruction[1:], inner, left, content.scrolled)
        above, below = head, text
    else:
        text, hidden = _instruction(instruction, inner, left, content.scrolled)
        above, below = [*head, *text], _joint_map(content.item, inner, left - len(text) - 2)
    gap = 1 if available > len(above) + len(figure) + len(below) else 0
    body = [*above, *([EMPTY] * gap), *figure, *below]
    body = [*body[:available], *([EMPTY] * max(available - len(body), 0))]
    lines = [
        draw_header(view, content.now, width),
        *(_inset(line, width) for line in body),
        rule(width),
        *(_inset(line, width) for line in [*state, *foot]),
        rule(width),
        *(_inset(line, width) for line in keys),
    ]
    return BenchPicture(tuple(lines[:height]), place and place.moved(1, 1 + len(above) + gap), hidden)


def _inset(line: Line, width: int) -> Line:
    return ((" ", "text"), *fit(line, width - 2), (" ", "text"))


def _instruction(texts: tuple[str, ...], width: int, available: int, scrolled: int) -> tuple[list[Line], int]:
    """Draw the instruction, scrolled if it does not fit. Also return the number of lines hidden below."""
    lines = [line for text in texts for line in paragraph_lines(text, width)]
    if not lines:
        return [], 0
    gap = [EMPTY] if len(lines) < available else []
    text, hidden = scrolled_text(lines, max(available - len(gap), 1), scrolled)
    return [*gap, *text], hidden


def _figure(
    view: BenchView, content: BenchContent, instruction: tuple[str, ...], width: int, available: int
) -> tuple[list[Line], FieldPlace | None]:
    """Draw the number of the current input, or what to do, in large letters beside the most urgent clock.

    Without rows for large letters, they are of normal size. The field is below.
    """
    item = content.item
    text, caption = large_figure(item, content.typed.text)
    words = "" if text else caption or next(iter(instruction), "")
    running = (row for row in view.clocks if row.phase != "wait" or not row.known)
    clock = min(running, key=lambda row: (URGENCY.index(row.phase), row.seconds or 0.0), default=None)
    time, time_role = clock_text(clock) if clock is not None else ("", "text")
    short = time.removesuffix(" left").removeprefix("▲ ").removeprefix("× ")
    fits = available >= ROWS and large_width(f"{text}  {short}") <= width - (width // 2 if words else 0)
    right = large_lines(short, time_role) if time and fits else []
    beside = width - (large_width(short) + 2 if right else 0)
    left = _words(words, beside, available) if words else large_wrapped(text, beside, 1, "now")
    if not words and available < len(left):
        left = [styled(text, "now")]
    out: list[Line] = [
        justified(left[y] if y < len(left) else EMPTY, right[y] if y < len(right) else EMPTY, width)
        for y in range(max(len(left), len(right)))
    ]
    message: Line = () if words else (("► ", "now"), (caption, "strong"))
    whole = f"{time} for {clock.title}" if clock is not None else ""
    side_by_side = next((each for each in (whole, time) if width_of(message) + len(each) + 2 <= width), "")
    if message or side_by_side:
        out.append(justified(message, ((side_by_side, time_role),), width))
    if item is None or not takes_text(item):
        return out, None
    return _field(item, content, out, width)


def _words(words: str, width: int, available: int) -> list[Line]:
    """Draw what to do in large letters, in as many lines as fit. If it is cut off, draw the whole text below."""
    most = min((available - 1) // ROWS, MOST_LINES)
    if most < 1:
        return [styled(part, "now") for part in wrap(words, width)]
    drawn = large_wrapped(words, width, most, "now")
    return (
        drawn if large_fits(words, width, most) else [*drawn, *(styled(part, "strong") for part in wrap(words, width))]
    )


def _joint_map(item: BenchInput | None, width: int, available: int) -> list[Line]:
    """Draw the map of the joint, if it fits under the figure."""
    joint = None if item is None else input_of(item)
    if not isinstance(joint, TightenInput):
        return []
    picture = next((each.lines for each in joint_pictures(joint, width) if each.height <= available), [])
    if not picture and list_height(joint, width) <= available:
        picture = joint_list(joint, width)
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
            number = typed or number_on_tool(joint) or printed_stage(joint)
            on_tool = "AS SET ON THE TOOL · " if joint.wrench_setting and not typed else ""
            return (f"►{item.fastener}  {number}", on_tool + joint.progress)
        case WholeInput(input=TightenInput() as joint) if joint.draw_down is not None and is_drawing_down(joint):
            return (f"►{joint.draw_down.next}", joint.draw_down.progress)
        case WholeInput():
            given = item.input
            text = getattr(given, "text", "") or getattr(given, "title", "")
            return ("", str(text))
        case FinishInput():
            return ("", "Finish")
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
