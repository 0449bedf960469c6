"""Draws the inputs of an operation: one line for each, and the current one in full with field, limit and picture."""

from msgspec import Struct

from benchflow.session.view.bench_view import (
    CalculatedInput,
    CheckInput,
    ChoiceInput,
    HoldInput,
    Input,
    LotInput,
    OperationView,
    Reading,
    ReadingInput,
    TightenInput,
)
from benchflow.trade.decision_rules import acceptance_words
from benchflow.trade.verdict import NOT_ACCEPTED, OUT_OF_LIMIT, VERDICT_TEXT
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.joint_map import joint_pictures
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, counted, hanging, styled, wrap
from benchflow.tui.model.bench_inputs import (
    BenchInput,
    FinishInput,
    SlotInput,
    TickInput,
    WholeInput,
    input_of,
    takes_text,
)
from benchflow.tui.model.typed_text import TypedText

FIELD_WIDTH = 16
LOT_FIELD_WIDTH = 24
INDENT = "  "


class FieldPlace(Struct, frozen=True):
    """The position and the width of a field, in cells from the top left corner of the lines that contain it."""

    x: int
    y: int
    width: int


class InputBlock(Struct, frozen=True):
    """The lines of one input. ``place`` is the position of its field, if the input is the current one."""

    lines: tuple[Line, ...]
    place: FieldPlace | None = None


VERDICT_SPANS: dict[str, tuple[str, Role]] = {
    "ok": (VERDICT_TEXT["ok"], "ok"),
    "low": (VERDICT_TEXT["low"], "out-of-limit"),
    "high": (VERDICT_TEXT["high"], "out-of-limit"),
    "not-proven": (VERDICT_TEXT["not-proven"], "attention"),
}


def verdict_span(reading: Reading) -> Span:
    """Return ``ok``, ``HIGH by 0.02 mm``, ``LOW by 0.02 mm`` or ``not proven`` with its role.

    A waived limit adds ``deviation signed``. A reading that is judged with others has only its distance.
    """
    word, role = VERDICT_SPANS.get(reading.verdict, ("", "attention"))
    word = " ".join(filter(None, (word, reading.distance)))
    if reading.waived and reading.verdict in NOT_ACCEPTED:
        return f"{word}, deviation signed", "paused"
    return word, role


def summary_line(given: ReadingInput) -> list[Line]:
    """Draw the statistic of the readings with its verdict, if they are judged together."""
    if not given.summary:
        return []
    _, role = VERDICT_SPANS.get(given.summary_verdict, ("", "strong"))
    figure, comma, verdict = given.summary.partition(", ")
    return [((INDENT + figure + comma, "strong"), (verdict, role))]


def blocks_of(
    now: OperationView, current: BenchInput | None, typed: TypedText, width: int, available: int
) -> list[InputBlock]:
    """Return one block for each input, in order. The last block is for finishing; it lists what is still missing.

    ``available`` is the number of rows for the current input.
    """
    chosen = None if current is None else input_of(current)
    out = []
    for given in now.inputs:
        if current is not None and given == chosen:
            out.append(_current(current, typed, width, available))
        else:
            out.append(InputBlock(tuple(((INDENT, "text"), *line) for line in _summary(given, width - 2))))
    if isinstance(current, FinishInput):
        missing = (line for reason in now.missing for line in hanging("  × ", reason.message, width, "blocked"))
        out.append(InputBlock((_finish(), *missing)))
    return out


def _finish() -> Line:
    return (("► ", "now"), ("Finish", "strong"))


def _mark(done: bool, wrong_ones: bool = False) -> Span:
    return ("× ", "out-of-limit") if wrong_ones else ("● ", "ok") if done else ("○ ", "text")


def _summary(given: Input, width: int) -> list[Line]:
    match given:
        case ReadingInput():
            return _summary_reading(given, width)
        case CalculatedInput():
            shown = given.shown or "not calculated yet"
            word, role = VERDICT_SPANS.get(given.verdict, ("", "text"))
            out = given.verdict in OUT_OF_LIMIT and not given.waived
            head: Line = (_mark(given.complete, out), (given.title, "text"))
            lines = _joined(head, ((shown, "strong"), (f"  {word}" if word else "", role)), width)
            if given.filled:
                lines.extend(styled(INDENT + part, "faint") for part in wrap(given.filled, width - 2))
            if given.remedy:
                lines.extend(hanging("  → ", given.remedy, width, "attention"))
            return lines
        case ChoiceInput():
            taken = given.chosen or "not chosen yet"
            return [(_mark(given.complete), (given.title, "text"), ("  ", "text"), (taken, "strong"))]
        case CheckInput():
            if given.failed:
                lines = hanging("[NO] ", given.text, width, "attention", "strong")
                return lines + (hanging("  → ", given.remedy, width, "attention") if given.remedy else [])
            return hanging("[x] " if given.complete else "[ ] ", given.text, width, "text", "strong")
        case LotInput():
            lot = given.lot or "not entered yet"
            return [(_mark(given.complete), (f"Lot of {given.title}", "text"), ("  ", "text"), (lot, "strong"))]
        case TightenInput():
            return [(_mark(given.complete), (given.title, "text"), ("  ", "text"), (given.progress, "strong"))]
        case HoldInput():
            mark, role = _mark(given.complete)
            text = f"Signed by {given.signed}" if given.signed else f"Hold point, {given.role} signs"
            return hanging(mark, f"{text}: {given.text}", width, "text", role)


def _summary_reading(given: ReadingInput, width: int) -> list[Line]:
    wrong_ones = any(slot.verdict in OUT_OF_LIMIT and not slot.waived for slot in given.readings)
    head: Line = (_mark(given.complete, wrong_ones), (given.ask, "text"))
    if len(given.readings) == 1:
        slot = given.readings[0]
        word, role = verdict_span(slot)
        shown = slot.shown or f"not measured yet, {given.limit or given.unit}"
        tail: Line = ((shown, "strong" if slot.shown else "faint"),)
        return [*_joined(head, (*tail, (f"  {word}" if word else "", role)), width), *_further_limits(given, width)]
    cells: list[Line] = []
    for slot in given.readings:
        word, role = verdict_span(slot)
        cells.append(((f"{slot.slot} ", "faint"), (slot.shown or "____", "strong"), (f" {word}" if word else "", role)))
    lines = [head, *_packed_in_lines(cells, width - 2)]
    return [*lines, *summary_line(given), *_further_limits(given, width)]


def _further_limits(given: ReadingInput, width: int) -> list[Line]:
    """Draw the judgement by each further limit: ``Taper: spread 0.003 mm  HIGH  at most 0.002 mm``."""
    lines: list[Line] = []
    for row in given.further:
        word, role = VERDICT_SPANS.get(row.verdict, ("", "text"))
        if row.waived and row.verdict in NOT_ACCEPTED:
            word, role = f"{word}, deviation signed", "paused"
        title = f"{row.title}: " if row.title else ""
        accepted = f" ({acceptance_words(row.acceptance)})" if row.acceptance else ""
        head: Line = ((INDENT, "text"), (title + (row.shown or "not known yet"), "strong" if row.shown else "faint"))
        lines.extend(_joined(head, ((word, role), (f"  {row.limit}{accepted}", "text")), width))
    return lines


def _joined(head: Line, tail: Line, width: int) -> list[Line]:
    """Return both on one line if they fit, else ``tail`` on the next line."""
    both = (*head, ("  ", "text"), *tail)
    if sum(len(text) for text, _ in both) <= width:
        return [both]
    mark, (text, role) = head[0], head[1]
    return [*hanging(mark[0], text, width, role, mark[1]), ((INDENT, "text"), *tail)]


def _packed_in_lines(cells: list[Line], width: int) -> list[Line]:
    """Put the cells next to each other, as many in each line as fit."""
    widest = max((sum(len(text) for text, _ in cell) for cell in cells), default=1)
    per_line = max(1, (width + 2) // (widest + 2))
    out: list[Line] = []
    for start in range(0, len(cells), per_line):
        line: list[Span] = [(INDENT, "text")]
        for place, cell in enumerate(cells[start : start + per_line]):
            used = sum(len(text) for text, _ in cell)
            line.extend([*cell, (" " * (widest - used + 2 if place < per_line - 1 else 0), "text")])
        out.append(tuple(line))
    return out


def _current(item: BenchInput, typed: TypedText, width: int, available: int) -> InputBlock:
    match item:
        case SlotInput():
            return _reading(item, typed, width, available)
        case WholeInput(input=LotInput() as lot):
            lines: list[Line] = hanging("► ", f"Lot of {lot.title}", width, "strong", "now")
            place = FieldPlace(3, len(lines), min(LOT_FIELD_WIDTH, width - 4))
            entered = f"  entered: {lot.lot}" if lot.lot else ""
            lines.append(((INDENT + "[", "strong"), (" " * place.width, "field"), ("]", "strong"), (entered, "faint")))
            return InputBlock((*lines, *_note_below(typed, place, width)), place)
        case TickInput(input=joint) | WholeInput(input=TightenInput() as joint):
            return _tighten(item, joint, typed, width, available)
        case WholeInput(input=ChoiceInput() as choice):
            return _choice(item, choice, typed, width, available)
        case WholeInput(input=CalculatedInput() as worked):
            return InputBlock(tuple(_calculated(worked, width)))
        case WholeInput(input=given):
            brief = _summary(given, width - 2)
            return InputBlock(
                tuple(((("► " if index == 0 else INDENT), "now"), *line) for index, line in enumerate(brief))
            )
        case FinishInput():
            return InputBlock((_finish(),))


def _reading(item: SlotInput, typed: TypedText, width: int, available: int) -> InputBlock:
    """Draw a reading. The field is always visible; of many readings only those near the current one are shown."""
    given, slot = item.input, item.slot
    head: list[Line] = hanging("► ", given.ask, width, "strong", "now")
    place = FieldPlace(3, 0, FIELD_WIDTH)
    below = _below_field(item, typed, place, width)
    tail: list[Span] = [(f" {given.unit}", "strong"), (f"   {slot.limit or given.limit}", "text")]
    field: Line = ((INDENT + "[", "strong"), (" " * FIELD_WIDTH, "field"), ("]", "strong"), *tail)
    slots: list[Line] = []
    if len(given.readings) > 1:
        slots = _around(*_slots(given, slot, width), max(available - len(head) - 1 - len(below), 3))
    above = [*head, *slots]
    return InputBlock((*above, field, *below), FieldPlace(place.x, len(above), place.width))


def _below_field(item: SlotInput, typed: TypedText, place: FieldPlace, width: int) -> list[Line]:
    """Draw the lines below the field: converted value, gauge, recorded value and remedy."""
    given, slot = item.input, item.slot
    word, role = verdict_span(slot)
    lines = _note_below(typed, place, width)
    gauge = typed.gauge or (None if slot.limit else given.gauge)  # that of the worst reading, which has another limit
    if gauge is not None:
        mark: Role = "strong" if typed.gauge is not None else role if word else "strong"
        lines.append(((INDENT, "text"), *draw_gauge(gauge, min(width - 2, 44), mark)))
    if slot.shown and not typed.text:
        again = f"  (reading {slot.attempts})" if slot.attempts > 1 else ""
        lines.append(((INDENT, "text"), (slot.shown, "strong"), ("  " + word, role), (again, "faint")))
    lines.extend(summary_line(given))
    lines.extend(_further_limits(given, width))
    if slot.remedy:
        lines.extend(hanging("  → ", slot.remedy, width, "attention"))
    instrument = given.instrument and f"with: {given.instrument}"
    rule = "must be inside the limit by at least the guard band" if given.decision == "guarded" else ""
    if given.acceptance:
        rule = f"guarded, {acceptance_words(given.acceptance)}"
    if instrument or rule:
        lines.extend(
            styled(INDENT + part, "faint") for part in wrap("; ".join(filter(None, (instrument, rule))), width - 2)
        )
    return lines


def _slots(given: ReadingInput, current: Reading, width: int) -> tuple[list[Line], int]:
    """Draw all readings. Return the lines, and the index of the line with the current reading."""
    cells: list[Line] = []
    for slot in given.readings:
        word, role = verdict_span(slot)
        here: Role = "now" if slot.slot == current.slot else "faint"
        mark = "►" if slot.slot == current.slot else " "
        shown = slot.shown.removesuffix(f" {given.unit}")  # the unit is shown next to the field
        cells.append(((f"{mark}{slot.slot} ", here), (shown or "____", "strong"), (f" {word}" if word else "", role)))
    lines = _packed_in_lines(cells, width - 2)
    return lines, next((y for y, line in enumerate(lines) if any(role == "now" for _, role in line)), 0)


def _around(lines: list[Line], at: int, available: int) -> list[Line]:
    """Return ``available`` lines around index ``at``. If lines are hidden, the last row shows how many."""
    if len(lines) <= available:
        return lines
    start = max(0, min(at - (available - 1) // 2, len(lines) - available + 1))
    return [
        *lines[start : start + available - 1],
        styled(f"{INDENT} … {counted(len(lines) - available + 1, 'more line')} of readings (↑↓)", "faint"),
    ]


def _note_below(typed: TypedText, place: FieldPlace, width: int) -> list[Line]:
    """Draw the row below the field: the converted value, or an arrow at the wrong character."""
    if typed.error:
        at = place.x + min(typed.at if typed.at is not None else len(typed.text), place.width - 1)
        return hanging(" " * at + "↑ ", typed.error, max(width, at + 24), "alarm")
    return [styled(" " * place.x + (f"= {typed.converted}" if typed.converted else ""), "strong")]


def _tighten(item: BenchInput, joint: TightenInput, typed: TypedText, width: int, available: int) -> InputBlock:
    """Draw a joint as large as fits. If rows are few, the title is left out first, then the settings."""
    drawing = joint.draw_down
    instruction = drawing.progress if drawing is not None and drawing.open else joint.progress
    instruction_lines = hanging("► ", instruction, width, "ok" if joint.complete else "now")
    title = styled(INDENT + joint.title, "strong")
    bad = [
        f"no. {each.number}: {each.shown} {VERDICT_TEXT[each.verdict]}" + (", deviation signed" if each.waived else "")
        for each in joint.fasteners
        if each.verdict in OUT_OF_LIMIT
    ]
    advice = [f"{joint.advice}."] if joint.advice else []
    notes = [*bad, *advice, *(each for each in joint.settings if each != instruction)]
    settings = [styled(INDENT + part, "attention") for each in joint.warnings for part in wrap(each, width - 2)]
    settings += [styled(INDENT + part) for each in notes for part in wrap(each, width - 2)]
    field, place = _reading_field(item, typed, width)
    pictures = [[((INDENT, "text"), *line) for line in each] for each in joint_pictures(joint, width - 2)]
    candidates: list[list[Line]] = [
        [*instruction_lines, title, EMPTY, *pictures[0], EMPTY, *settings],
        *([*instruction_lines, title, *picture, *settings] for picture in pictures[:-1]),
        *(
            [*instruction_lines, *picture, *settings[:few]]
            for few in (len(settings), 2, 1, 0)
            for picture in pictures[:-1]
        ),
        *([*instruction_lines, *pictures[-1], *settings[:few]] for few in (len(settings), 2, 1, 0)),
    ]
    above = next((lines for lines in candidates if len(lines) + len(field) <= available), candidates[-1])
    if place is not None:
        place = FieldPlace(place.x, place.y + len(above), place.width)
    return InputBlock((*above, *field), place)


def _reading_field(item: BenchInput, typed: TypedText, width: int) -> tuple[list[Line], FieldPlace | None]:
    """Draw the field for the reading that a tick needs."""
    if not isinstance(item, TickInput) or item.value is None:
        return [], None
    label = f"{INDENT}{item.value.title.capitalize()} at no. {item.fastener} "
    place = FieldPlace(len(label) + 1, 0, FIELD_WIDTH)
    unit = f"] {item.value.unit}" if item.value.unit else "]"
    line: Line = (
        (label + "[", "strong"),
        (" " * FIELD_WIDTH, "field"),
        (unit, "strong"),
        (f"  {item.value.limit}", "text"),
    )
    gauge: list[Line] = []
    if typed.gauge is not None:
        gauge = [((INDENT, "text"), *draw_gauge(typed.gauge, min(width - 2, 44)))]
    return [line, *_note_below(typed, place, width), *gauge], place


def _choice(item: BenchInput, choice: ChoiceInput, typed: TypedText, width: int, available: int) -> InputBlock:
    """Draw the parts to choose from. The field for another size is always visible."""
    lines: list[Line] = hanging("► ", choice.title, width, "strong", "now")
    note = [styled(INDENT + part, "faint") for part in wrap(choice.note, width - 2)] if choice.note else []
    parts: list[Line] = []
    for number, each in enumerate(choice.choices, start=1):
        taken = "●" if each == choice.chosen else "○"
        given = "by the table" if not choice.other_unit else "best fit"
        why = f"  {given}" if each in choice.proposed else ""
        mark = f"  {taken} " if choice.other_unit else f"  {number} {taken} "
        size = f"  {choice.sizes[number - 1]}" if choice.sizes else ""
        parts.append(((mark, "key"), (each + size, "strong" if why else "text"), (why, "faint")))
    if not takes_text(item):
        return InputBlock((*lines, *parts, *note))
    field: Line = (
        (INDENT + "[", "strong"), (" " * FIELD_WIDTH, "field"), (f"] {choice.other_unit}", "strong"),
        ("  another size", "faint"),
    )  # fmt: skip
    place = FieldPlace(3, 0, FIELD_WIDTH)
    below = [field, *_note_below(typed, place, width), *note]
    space = max(available - len(lines) - len(below), 2)
    if len(parts) > space:
        first = next((y for y, each in enumerate(choice.choices) if each in choice.proposed), 0)
        start = max(0, min(first - 1, len(parts) - space + 1))
        more = len(parts) - space + 1
        parts = [*parts[start : start + space - 1], styled(f"{INDENT} … {more} more in the list", "faint")]
    return InputBlock((*lines, *parts, *below), FieldPlace(place.x, len(lines) + len(parts), place.width))


def _calculated(worked: CalculatedInput, width: int) -> list[Line]:
    lines: list[Line] = hanging("► ", worked.title, width, "strong", "now")
    lines.extend(styled(INDENT + part, "text") for part in wrap(worked.filled or worked.formula, width - 2))
    word, role = VERDICT_SPANS.get(worked.verdict, ("", "text"))
    lines.append(
        (
            (INDENT, "text"),
            (worked.shown or "not calculated yet", "strong"),
            ("  " + word, role),
            ("  " + worked.limit, "text"),
        )
    )
    if worked.gauge is not None:
        lines.append(((INDENT, "text"), *draw_gauge(worked.gauge, min(width - 2, 44), role)))
    if worked.remedy:
        lines.extend(hanging("  → ", worked.remedy, width, "attention"))
    return lines
