"""Draws a value with its readings: in short, or as the current input with a field, the limit and a table."""

from benchflow.procedure.figure_sources import OWN_CHOICE
from benchflow.session.view.bench_view import Reading, ReadingInput
from benchflow.trade.decision_rules import acceptance_words
from benchflow.trade.verdict import NOT_ACCEPTED, OUT_OF_LIMIT
from benchflow.tui.draw.block_parts import (
    FIELD_WIDTH,
    INDENT,
    VERDICT_SPANS,
    BlockFor,
    FieldPlace,
    InputBlock,
    around,
    asked_lines,
    joined,
    note_below,
    packed_in_lines,
    source_line,
    stated_part,
    verdict_span,
)
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.large_letters import ROWS, large_fits, large_wrapped
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, cell_count, fit, hanging, styled, width_of, wrap
from benchflow.tui.model.bench_inputs import SlotInput
from benchflow.tui.model.typed_text import TypedText

GAUGE_WIDTH = 44
LEAST_GAUGE_WIDTH = 16
"""In a table with less space for the drawn limit, the readings are packed in lines instead."""

LEAST_READINGS = 3
"""Number of lines with readings that are shown beside the whole entry. With fewer rows, the entry is shortened."""

NOT_READ = "____"


def summary_line(given: ReadingInput) -> list[Line]:
    """Draw the statistic of the readings with its verdict, if they are judged together."""
    if not given.summary:
        return []
    _, role = VERDICT_SPANS.get(given.summary_verdict, ("", "strong"))
    figure, comma, verdict = given.summary.partition(", ")
    return [((INDENT + figure + comma, "strong"), (verdict, role))]


def further_limits(given: ReadingInput, width: int) -> list[Line]:
    """Draw the judgement by each further limit: ``Taper: spread 0.003 mm  HIGH  at most 0.002 mm``."""
    lines: list[Line] = []
    for row in given.further:
        word, role = VERDICT_SPANS.get(row.verdict, ("", "text"))
        if row.waived and row.verdict in NOT_ACCEPTED:
            word, role = f"{word}, deviation signed", "paused"
        title = f"{row.title}: " if row.title else ""
        accepted = f" ({acceptance_words(row.acceptance)})" if row.acceptance else ""
        head: Line = ((INDENT, "text"), (title + (row.shown or "not known yet"), "strong" if row.shown else "faint"))
        lines.extend(joined(head, ((word, role), (f"  {row.limit}{accepted}", "text")), width))
    return lines


def reading_summary(given: ReadingInput, mark: Span, width: int) -> list[Line]:
    """Draw a value in short, after its mark."""
    head: Line = (mark, (given.ask, "text"))
    if len(given.readings) == 1:
        slot = given.readings[0]
        word, role = verdict_span(slot)
        shown = slot.shown or f"not measured yet, {given.limit or given.unit}"
        part = stated_part(given, slot)
        tail: Line = ((shown + "  ", "strong" if slot.shown else "faint"), (word, role), (part and f", {part}", "text"))
        return [*joined(head, tail, width), *further_limits(given, width)]
    return [head, *_packed(given, None, width), *summary_line(given), *further_limits(given, width)]


def any_out_of_limit(given: ReadingInput) -> bool:
    """True if a reading is out of its limit without a deviation, or the statistic of all of them is."""
    alone = any(slot.verdict in OUT_OF_LIMIT and not slot.waived for slot in given.readings)
    together = given.summary_verdict in OUT_OF_LIMIT and not any(slot.waived for slot in given.readings)
    return alone or together


def reading_block(item: SlotInput, typed: TypedText, width: int) -> BlockFor:
    """Draw the current reading. The field is always visible; of many readings only those near the current one are.

    If rows are few, the drawn limit and the lines below it are left out.
    """
    given, slot = item.input, item.slot
    head: list[Line] = hanging("► ", given.ask, width, "strong", "now")
    place = FieldPlace(3, 0, FIELD_WIDTH)
    note = note_below(typed, place, width)
    limit = slot.limit or given.limit
    field: Line = (
        (INDENT + "[", "strong"),
        (" " * FIELD_WIDTH, "field"),
        ("]", "strong"),
        (f" {given.unit}", "strong"),
    )
    beside: Line = (*field, (f"   {limit}", "text"))
    if width_of(beside) <= width:
        field = beside
    else:  # above the field, so that nothing moves while the reading is typed
        head += hanging(INDENT, limit, width)
    below = [*note, *_below_field(item, typed, width)]
    brief = note if typed.error or typed.converted else []
    several = len(given.readings) > 1
    figure = typed.text or slot.shown or (limit if slot.asked is None else "")
    table = readings_table(given, slot, width) if several else []
    packed = _packed(given, slot, width) if several else []

    def block(available: int) -> InputBlock:
        space = available - len(head) - 1 - len(below)
        every = table if table and len(table) <= space else packed
        if len(every) <= space:
            above = [*head, *every]
            foot: list[Line] = []
            if space >= len(every) + ROWS + 2 and figure and large_fits(figure, width - 2, 1):
                role: Role = "strong" if typed.text else "text"
                foot = [EMPTY, *(((INDENT, "text"), *line) for line in large_wrapped(figure, width - 2, 1, role))]
            return InputBlock((*above, field, *below, *foot), place.moved(0, len(above)))
        complete = space >= LEAST_READINGS
        space = space if complete else max(available - len(head) - 1 - len(brief), min(LEAST_READINGS, len(every)))
        at = next((y for y, line in enumerate(every) if any(role == "now" for _, role in line)), 0)
        above = [*head, *around(every, at, space, "readings")]
        return InputBlock((*above, field, *(below if complete else brief)), place.moved(0, len(above)), "picture")

    return block


def readings_table(given: ReadingInput, current: Reading | None, width: int) -> list[Line]:
    """Draw a row for each reading: place, reading, verdict with distance, and the limit drawn.

    Empty if the screen is too narrow for the drawn limit.
    """
    rows = [(slot, *verdict_span(slot, short=True)) for slot in given.readings]
    places = max(max(cell_count(slot.slot) for slot, *_ in rows), len("place"))
    figures = max(max(cell_count(slot.shown) for slot, *_ in rows), len("reading"))
    words = max(max(cell_count(word) for _, word, _ in rows), len(f"HIGH by {rows[0][0].shown}"), len("verdict"))
    limits = max(cell_count(slot.limit) for slot, *_ in rows)
    used = 2 + places + 2 + figures + 2 + words + 2 + (limits + 2 if limits else 0)
    gauge_width = min(width - used, GAUGE_WIDTH)
    if gauge_width < LEAST_GAUGE_WIDTH:
        return []
    drawn_limit = "" if limits else given.limit
    title = (
        f"  {'place'.ljust(places)}  {'reading'.ljust(figures)}  {'verdict'.ljust(words)}  "
        f"{'limit'.ljust(limits) + '  ' if limits else ''}{drawn_limit}"
    )
    out: list[Line] = [styled(title.rstrip(), "label")]
    for slot, word, role in rows:
        here = current is not None and slot.slot == current.slot
        mark: Line = (("► " if here else INDENT, "now" if here else "text"),)
        name = fit(((slot.slot, "now" if here else "text"),), places + 2)
        figure = fit(((slot.shown or NOT_READ, "strong" if slot.shown else "faint"),), figures + 2)
        verdict = fit(((word, role),), words + 2)
        own = fit(((slot.limit, "text"),), limits + 2) if limits else ()
        mark_role: Role = role if word else "strong"
        drawn = draw_gauge(slot.gauge, gauge_width, mark_role) if slot.gauge is not None else ()
        out.append((*mark, *name, *figure, *verdict, *own, *drawn))
    return out


def _packed(given: ReadingInput, current: Reading | None, width: int) -> list[Line]:
    """Draw all readings next to each other, in as few lines as possible."""
    cells: list[Line] = []
    usual = 1
    for slot in given.readings:
        word, role = verdict_span(slot, short=True)
        here = current is not None and slot.slot == current.slot
        mark = "" if current is None else "►" if here else " "
        shown = slot.shown if current is None else slot.shown.removesuffix(f" {given.unit}")  # the field shows the unit
        name: Role = "now" if here else "faint"
        cells.append(
            ((f"{mark}{slot.slot} ", name), (shown or NOT_READ, "strong"), (" " if word else "", "text"), (word, role))
        )
        if slot.verdict not in NOT_ACCEPTED:
            usual = max(usual, cell_count(f"{mark}{slot.slot} {shown or NOT_READ} {word}".rstrip()))
    if usual == 1:
        usual = max(cell_count(slot.slot) for slot in given.readings) + 10
    return packed_in_lines(cells, usual, width - 2)


def _below_field(item: SlotInput, typed: TypedText, width: int) -> list[Line]:
    """Draw the lines below the row under the field: drawn limit, recorded value, remedy and instrument."""
    given, slot = item.input, item.slot
    word, role = verdict_span(slot)
    lines: list[Line] = []
    gauge = typed.gauge or slot.gauge or (None if slot.limit else given.gauge)
    if gauge is not None:
        mark: Role = "strong" if typed.gauge is not None else role if word else "strong"
        lines.append(((INDENT, "text"), *draw_gauge(gauge, min(width - 2, GAUGE_WIDTH), mark)))
    if slot.shown and not typed.text:
        again = f"  (reading {slot.attempts})" if slot.attempts > 1 else ""
        part = stated_part(given, slot)
        said: Line = ((word, role), (part and f", {part}", "text"), (again, "faint"))
        lines.append(((INDENT, "text"), (slot.shown + "  ", "strong"), *said))
    lines.extend(summary_line(given))
    lines.extend(further_limits(given, width))
    if slot.remedy:
        lines.extend(hanging("  → ", slot.remedy, width, "attention"))
    lines.extend(asked_lines(slot.asked, width))
    if slot.other_part is not None:
        now, other = ("New", "used") if slot.other_part.used else ("Used", "new")
        lines.extend(hanging(INDENT, f"{now} part. If {other} (p): limit {slot.other_part.limit}", width))
    instrument = given.instrument and f"with: {given.instrument}"
    rule = "must be inside the limit by at least the guard band" if given.decision == "guarded" else ""
    if given.acceptance:
        rule = f"guarded, {acceptance_words(given.acceptance)}"
    source = given.source and f"source: {given.source}"
    if given.source.casefold().startswith(OWN_CHOICE):
        lines.extend(source_line(given.source, width))
        source = ""
    words = "; ".join(filter(None, (instrument, source, rule)))
    lines.extend(styled(INDENT + part, "faint") for part in wrap(words, width - 2) if words)
    return lines
