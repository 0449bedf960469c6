"""Draws the inputs of an operation: one line for each, and the current one in full with field, limit and picture."""

from benchflow.session.view.bench_view import (
    CalculatedInput,
    CheckInput,
    ChoiceInput,
    HoldInput,
    Input,
    LotInput,
    OperationView,
    ReadingInput,
    TightenInput,
)
from benchflow.trade.verdict import OUT_OF_LIMIT
from benchflow.tui.draw.block_parts import (
    FIELD_WIDTH,
    INDENT,
    LOT_FIELD_WIDTH,
    VERDICT_SPANS,
    BlockFor,
    FieldPlace,
    InputBlock,
    asked_lines,
    joined,
    note_below,
    source_line,
)
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.joint_block import joint_block
from benchflow.tui.draw.reading_block import any_out_of_limit, reading_block, reading_summary
from benchflow.tui.draw.styled_lines import Line, Span, hanging, styled, wrap
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


def other_inputs(now: OperationView, current: BenchInput | None, width: int) -> tuple[list[Line], list[Line]]:
    """Draw the inputs before the current one and those after it, each in short."""
    chosen = None if current is None else input_of(current)
    before: list[Line] = []
    after: list[Line] = []
    out = before
    for given in now.inputs:
        if current is not None and given == chosen:
            out = after
        else:
            out.extend(((INDENT, "text"), *line) for line in summary_of(given, width - 2))
    return before, after


def current_block(now: OperationView, item: BenchInput, typed: TypedText, width: int) -> BlockFor:
    """Draw the current input in full. The last one finishes, or says what is missing."""
    match item:
        case SlotInput():
            return reading_block(item, typed, width)
        case TickInput(input=joint) | WholeInput(input=TightenInput() as joint):
            return joint_block(item, joint, typed, width)
        case WholeInput(input=ChoiceInput() as choice):
            return lambda available: _choice(item, choice, typed, width, available)
        case WholeInput(input=LotInput() as lot):
            block = _lot(lot, typed, width)
        case WholeInput(input=CalculatedInput() as worked):
            block = InputBlock(tuple(_calculated(worked, width)))
        case WholeInput(input=given):
            brief = summary_of(given, width - 2)
            block = InputBlock(
                (
                    *(((("► " if index == 0 else INDENT), "now"), *line) for index, line in enumerate(brief)),
                    *asked_lines(given.asked if isinstance(given, CheckInput) else None, width),
                )
            )
        case FinishInput():
            missing = (line for reason in now.missing for line in hanging("  × ", reason.message, width, "blocked"))
            block = InputBlock(((("► ", "now"), ("Finish", "strong")), *missing))
    return lambda _: block


def _lot(lot: LotInput, typed: TypedText, width: int) -> InputBlock:
    lines: list[Line] = hanging("► ", f"Lot of {lot.title}", width, "strong", "now")
    place = FieldPlace(3, len(lines), min(LOT_FIELD_WIDTH, width - 4))
    entered = f"  entered: {lot.lot}" if lot.lot else ""
    lines.append(((INDENT + "[", "strong"), (" " * place.width, "field"), ("]", "strong"), (entered, "faint")))
    return InputBlock((*lines, *note_below(typed, place, width)), place)


def _mark(done: bool, wrong_ones: bool = False) -> Span:
    return ("× ", "out-of-limit") if wrong_ones else ("● ", "ok") if done else ("○ ", "text")


def summary_of(given: Input, width: int) -> list[Line]:
    """Draw an input in short: its mark, its title and what is entered."""
    match given:
        case ReadingInput():
            return reading_summary(given, _mark(given.complete, any_out_of_limit(given)), width)
        case CalculatedInput():
            out = given.verdict in OUT_OF_LIMIT and not given.waived
            head: Line = (_mark(given.complete, out), (given.title, "text"))
            if given.results:
                lines = [head, *_results(given)]
            else:
                word, role = VERDICT_SPANS.get(given.verdict, ("", "text"))
                shown = given.shown or "not calculated yet"
                lines = joined(head, ((shown + "  ", "strong"), (word, role)), width)
            if given.filled:
                lines.extend(styled(INDENT + part, "faint") for part in wrap(given.filled, width - 2))
            if given.remedy:
                lines.extend(hanging("  → ", given.remedy, width, "attention"))
            return lines
        case ChoiceInput():
            taken = given.chosen or "not chosen yet"
            return joined((_mark(given.complete), (given.title, "text")), ((taken, "strong"),), width)
        case CheckInput():
            if given.failed:
                lines = hanging("[NO] ", given.text, width, "attention", "strong")
                return lines + (hanging("  → ", given.remedy, width, "attention") if given.remedy else [])
            return hanging("[x] " if given.complete else "[ ] ", given.text, width, "text", "strong")
        case LotInput():
            lot = given.lot or "not entered yet"
            return joined((_mark(given.complete), (f"Lot of {given.title}", "text")), ((lot, "strong"),), width)
        case TightenInput():
            return joined((_mark(given.complete), (given.title, "text")), ((given.progress, "strong"),), width)
        case HoldInput():
            mark, role = _mark(given.complete)
            text = f"Signed by {given.signed}" if given.signed else f"Hold point, {given.role} signs"
            return hanging(mark, f"{text}: {given.text}", width, "text", role)


def _choice(item: BenchInput, choice: ChoiceInput, typed: TypedText, width: int, available: int) -> InputBlock:
    """Draw the parts to choose from. The field for another size is always visible."""
    lines: list[Line] = hanging("► ", choice.title, width, "strong", "now")
    note = [styled(INDENT + part, "faint") for part in wrap(choice.note, width - 2)] if choice.note else []
    note.extend(source_line(choice.source, width))
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
    below = [field, *note_below(typed, place, width), *note]
    space = max(available - len(lines) - len(below), 2)
    complete = len(parts) <= space
    if not complete:
        first = next((y for y, each in enumerate(choice.choices) if each in choice.proposed), 0)
        start = max(0, min(first - 1, len(parts) - space + 1))
        more = len(parts) - space + 1
        parts = [*parts[start : start + space - 1], styled(f"{INDENT} … {more} more in the list", "faint")]
    above = [*lines, *parts]
    return InputBlock((*above, *below), place.moved(0, len(above)), "" if complete else "picture")


def _results(worked: CalculatedInput) -> list[Line]:
    """The results of a value that is calculated reading by reading, each with its verdict."""
    return [
        ((INDENT, "text"), (f"{reading}: {shown}  ", "strong"), VERDICT_SPANS.get(verdict, ("", "text")))
        for reading, shown, verdict in worked.results
    ]


def _calculated(worked: CalculatedInput, width: int) -> list[Line]:
    lines: list[Line] = hanging("► ", worked.title, width, "strong", "now")
    lines.extend(styled(INDENT + part, "text") for part in wrap(worked.filled or worked.formula, width - 2))
    word, role = VERDICT_SPANS.get(worked.verdict, ("", "text"))
    limit: Span = ("  " + worked.limit, "text")
    if worked.results:
        lines.extend((*line, limit) for line in _results(worked))
    else:
        lines.append(((INDENT, "text"), ((worked.shown or "not calculated yet") + "  ", "strong"), (word, role), limit))
    if worked.gauge is not None:
        lines.append(((INDENT, "text"), *draw_gauge(worked.gauge, min(width - 2, 44), role)))
    lines.extend(source_line(worked.source, width))
    lines.extend(asked_lines(worked.asked, width))
    if worked.remedy:
        lines.extend(hanging("  → ", worked.remedy, width, "attention"))
    return lines
