"""Draws the current joint: what is next, the number on the tool, the map, the settings and the field of a reading."""

from functools import partial
from itertools import product
from typing import Literal, NamedTuple

from benchflow.session.view.bench_view import TightenInput
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT
from benchflow.tui.draw.block_parts import FIELD_WIDTH, INDENT, BlockFor, FieldPlace, InputBlock, note_below
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.joint_map import JointPicture, is_drawing_down, joint_list, joint_pictures, list_height
from benchflow.tui.draw.large_letters import large_lines, large_width
from benchflow.tui.draw.styled_lines import EMPTY, Line, Span, hanging, styled, width_of, wrap
from benchflow.tui.model.bench_inputs import BenchInput, TickInput
from benchflow.tui.model.typed_text import TypedText


class JointSize(NamedTuple):
    """A joint drawn in one size: the lines above the map, the map, and those below it."""

    above: list[Line]
    picture: JointPicture
    below: list[Line]
    left_out: Literal["", "details", "picture"] = ""

    @property
    def height(self) -> int:
        return len(self.above) + self.picture.height + len(self.below)


def number_on_tool(joint: TightenInput) -> str:
    """Return what to set or turn at this stage: ``52.2 N·m`` with an extension, else ``60 N·m`` or ``+90°``.

    Empty while the part is drawn down, and after the last stage.
    """
    if is_drawing_down(joint) or joint.complete or joint.stage > len(joint.stages):
        return ""
    return joint.wrench_setting or printed_stage(joint)


def printed_stage(joint: TightenInput) -> str:
    """Return the current stage as the procedure has it, without the other unit and the group: ``60 N·m``."""
    return joint.stages[joint.stage - 1].partition(" (")[0]


def joint_block(item: BenchInput, joint: TightenInput, typed: TypedText, width: int) -> BlockFor:
    """Draw a joint as large as fits. If rows are few, the large number and the title are left out first.

    Then the settings are, then the names of the sides, and last the map: a list of the fasteners is left.
    """
    drawing = joint.draw_down
    instruction = drawing.progress if drawing is not None and drawing.open else joint.progress
    progress = hanging("► ", instruction, width, "ok" if joint.complete else "now")
    title = styled(INDENT + joint.title, "strong")
    urgent, each_setting = _notes(joint, instruction, width)
    settings = [line for lines in each_setting for line in lines]
    field, place = _reading_field(item, typed, width)
    number, large = _number(joint, width), _large_number(joint, width)
    if joint.turn_notice:  # above the number: the wrong way loosens or breaks the fastener
        notice = hanging("▲ ", joint.turn_notice, width, "attention")
        number, large = [*notice, *number], [*notice, *large] if large else []
    maps = joint_pictures(joint, width - 2)
    named, bare = [each for each in maps if each.named], [each for each in maps if not each.named]
    fewer = [[line for lines in each_setting[:n] for line in lines] for n in range(len(each_setting) - 1, -1, -1)]
    generous = [*progress, title, *_stages(joint, width), EMPTY, *large, EMPTY]
    listed = JointPicture(list_height(joint, width - 2), partial(joint_list, joint, width - 2))
    sizes = [
        *(JointSize(generous, each, [EMPTY, *urgent, *settings]) for each in named if large),
        *(JointSize([*progress, *large], each, [*urgent, *settings]) for each in named if large),
        *(JointSize([*progress, *number], each, [*urgent, *settings]) for each in named),
        *(
            JointSize([*progress, *number], each, [*urgent, *some], "details")
            for each, some in (*product(named[-1:], fewer), *product(bare, (settings, *fewer)))
        ),
    ]
    sizes += [
        JointSize([*progress, *number], listed, [*urgent, *some], "picture" if maps else "")
        for some in (settings, *fewer)
    ]

    def block(available: int) -> InputBlock:
        size = next((each for each in sizes if each.height + len(field) <= available), sizes[-1])
        above = [*size.above, *(((INDENT, "text"), *line) for line in size.picture.lines), *size.below]
        return InputBlock((*above, *field), place and place.moved(0, len(above)), size.left_out)

    return block


def _stages(joint: TightenInput, width: int) -> list[Line]:
    """Draw all stages in a row, with the mark of what is done: ``● 30 N·m   ► 55 N·m   ○ +60°``."""
    marks = ["●" if n < joint.stage else "►" if n == joint.stage else "○" for n in range(1, len(joint.stages) + 1)]
    text = "   ".join(f"{mark} {stage}" for mark, stage in zip(marks, joint.stages, strict=True))
    return [styled(INDENT + part) for part in wrap(text, width - 2)] if len(joint.stages) > 1 else []


def _notes(joint: TightenInput, instruction: str, width: int) -> tuple[list[Line], list[list[Line]]]:
    """Return the lines that are always shown, and those of each setting."""
    urgent: list[Line] = []
    for text in (joint.stopped, joint.resume_text):
        if text:
            urgent.extend(hanging("▲ ", text, width, "attention"))
    urgent += [styled(INDENT + part, "attention") for each in joint.warnings for part in wrap(each, width - 2)]
    for each in joint.fasteners:
        if each.verdict in OUT_OF_LIMIT:
            verdict = VERDICT_TEXT[each.verdict]
            span: Span = (f"{verdict}, deviation signed", "paused") if each.waived else (verdict, "out-of-limit")
            urgent.append(((f"{INDENT}no. {each.number}: {each.shown} ", "text"), span))
    urgent += [styled(INDENT + part, "attention") for part in wrap(f"{joint.advice}.", width - 2) if joint.advice]
    settings = (each for each in joint.settings if each not in (instruction, joint.turn_notice))
    return urgent, [[styled(INDENT + part) for part in wrap(each, width - 2)] for each in settings]


def _number(joint: TightenInput, width: int) -> list[Line]:
    """Draw the number on the tool on its own line, with the stage as printed beside it if it differs."""
    number = number_on_tool(joint)
    if not number:
        return []
    head: Line = ((INDENT, "text"), (f" {number} ", "next"))
    if not joint.wrench_setting:
        return [head]
    note = f"as set on the tool ({printed_stage(joint)} at the fastener)"
    if width_of(head) + len(note) + 1 <= width:
        return [(*head, (f" {note}", "text"))]
    return [head, *(styled(INDENT + part) for part in wrap(note, width - 2))]


def _large_number(joint: TightenInput, width: int) -> list[Line]:
    """Draw the number on the tool in large letters, with the stage as printed below if it differs."""
    text = number_on_tool(joint)
    if not text or large_width(text) > width - 2:
        return []
    lines: list[Line] = [((INDENT, "text"), *line) for line in large_lines(text, "now")]
    if joint.wrench_setting:
        lines.append(styled(f"{INDENT}as set on the tool; {printed_stage(joint)} at the fastener", "strong"))
    return lines


def _reading_field(item: BenchInput, typed: TypedText, width: int) -> tuple[list[Line], FieldPlace | None]:
    """Draw the field for the reading that a tick needs."""
    if not isinstance(item, TickInput) or item.value is None:
        return [], None
    label = f"{INDENT}{item.value.title.capitalize()} at no. {item.fastener} "
    place = FieldPlace(len(label) + 1, 0, FIELD_WIDTH)
    gauge: list[Line] = []
    if typed.gauge is not None:
        gauge = [((INDENT, "text"), *draw_gauge(typed.gauge, min(width - 2, 44)))]
    unit = f"] {item.value.unit}" if item.value.unit else "]"
    limit: Line = ((f"  {item.value.limit}", "text"),)
    line: Line = ((label + "[", "strong"), (" " * FIELD_WIDTH, "field"), (unit, "strong"))
    if width_of((*line, *limit)) <= width:
        return [(*line, *limit), *note_below(typed, place, width), *gauge], place
    below = note_below(typed, place, width) if typed.text else [styled(" " * place.x + item.value.limit)]
    return [line, *below, *gauge], place
