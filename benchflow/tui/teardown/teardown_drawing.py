"""Draws the list of what came off, the checklist, and how an entry is understood."""

from collections.abc import Sequence

from msgspec import Struct

from benchflow.session.refusal import Reason
from benchflow.session.teardown.checklist import HAZARDS
from benchflow.session.teardown.part_text import UnderstoodRow, fate_text, reading_text_of, short_fasteners
from benchflow.session.teardown.teardown_record import ChecklistItem, TeardownLine, TeardownRecord, valid_readings
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, cell_count, cut, fit, hanging, styled, wrap

LABEL_WIDTH = 11
ID_WIDTH = 4

_SIGNALS: dict[str, Role] = {"danger": "danger", "warning": "warning", "caution": "caution", "notice": "notice"}


def hazard_lines(width: int) -> list[Line]:
    """The hazards of a teardown, by signal word."""
    out: list[Line] = []
    for signal, text in HAZARDS:
        lead = f" {signal.upper()} "
        indent = 11
        for index, part in enumerate(wrap(text, width - indent)):
            pad = " " * (indent - cell_count(lead))
            head: Line = ((lead, _SIGNALS[signal]), (pad, "text")) if index == 0 else ((" " * indent, "text"),)
            out.append((*head, (part, "strong" if signal != "notice" else "text")))
    return out


def hazard_message() -> str:
    """The hazards in one sentence, for the foot of the screen."""
    return "WARNING: springs under load, fluids under pressure, hot parts, heavy parts. The maker's manual comes first."


def line_row(line: TeardownLine, width: int) -> Line:
    """One line of the list: number, thing, fasteners, bag, fate and marks."""
    description = line.description
    count = f"{description.count}× " if description.count > 1 else ""
    fasteners = short_fasteners(description.fasteners)
    thing_width = max(min(44, width * 2 // 5), 12)
    fasteners_width = max((width - ID_WIDTH - 3 - thing_width) // 2 - 1, 8)
    mark: Span = ("● ", "done") if line.is_off else ("○ ", "attention")
    role: Role = "text" if line.is_off else "attention"
    rest = ", ".join(_tail(line))
    return fit(
        (
            (line.id.rjust(ID_WIDTH) + " ", "label"),
            mark,
            *fit(((cut(count + description.what, thing_width), role),), thing_width),
            (" ", "text"),
            *fit(((cut(fasteners, fasteners_width), "text"),), fasteners_width),
            (" ", "text"),
            (rest, "faint" if line.is_off else "attention"),
        ),
        width,
    )


def _tail(line: TeardownLine) -> list[str]:
    """What follows the fasteners: put back, bag, fate, and what was found."""
    out = [] if line.is_off else ["PUT BACK"]
    out += [line.description.container] if line.description.container else []
    fates = dict.fromkeys(fate_text(part.fate, part.fate_reason) for part in line.parts if part.fate)
    out += [" / ".join(fates)] if fates else []
    out += [reading_text_of(each) for each in valid_readings(line.values)[-1:]]
    out += ["found"] if any(part.found for part in line.parts) else []
    out += ["picture"] if line.pictures else []
    return out


class DrawnList(Struct, frozen=True):
    """The rows of the list, the index of the first line shown, and its row."""

    lines: list[Line]
    first: int
    row: int


def list_lines(record: TeardownRecord, selected: str, height: int, width: int) -> DrawnList:
    """The last lines of the list, the newest at the bottom.

    ``selected`` is the id of the selected line, "" for none; it is always shown.
    """
    lines = record.lines
    at = next((index for index, each in enumerate(lines) if each.id == selected), len(lines) - 1)
    above = 1 if len(lines) > height > 1 else 0
    available = max(height - above, 1)
    first = max(min(at - available // 2, len(lines) - available), 0)
    if not selected:
        first = max(len(lines) - available, 0)
    shown = lines[first : first + available]
    out: list[Line] = []
    if above:
        text = f"▲ {first} more above" if first else "▲ the first line"
        below = len(lines) - first - len(shown)
        out.append(styled(text + (f"   ▼ {below} more below" if below else ""), "faint"))
    for each in shown:
        mark: Span = ("►" if each.id == selected else " ", "now")
        out.append((mark, *line_row(each, width - 1)))
    padding = height - len(out)
    return DrawnList([*([EMPTY] * padding), *out], first, padding + above)


def checklist_lines(record: TeardownRecord, at: int, height: int, width: int) -> list[Line]:
    """The checklist of what is measured together, with the answers. Item ``at`` is selected."""
    out: list[Line] = []
    focus = 0
    for index, item in enumerate(record.checklist):
        if index == at:
            focus = len(out)
        selected: Span = ("► " if index == at else "  ", "now")
        out.extend((selected if number == 0 else ("  ", "text"), *line)
                   for number, line in enumerate(_check_lines(item, record, width - 2)))  # fmt: skip
    first = max(0, min(focus - height // 2, len(out) - height))
    return out[first : first + height]


def _check_lines(item: ChecklistItem, record: TeardownRecord, width: int) -> list[Line]:
    values = record.answers(item.name)
    name = item.name.ljust(16)
    if values:
        texts = [reading_text_of(each).removeprefix(f"{each.name} ") for each in values]
        count = f"{len(texts)} answers: " if len(texts) > 1 else ""
        return hanging(f"● {name} ", count + "; ".join(texts), width, "text", "done")
    if item.skipped:
        return hanging(f"× {name} ", f"skipped: {item.skipped}", width, "faint", "faint")
    return hanging(f"○ {name} ", item.ask, width, "text", "ready")


def row_lines(rows: Sequence[UnderstoodRow], width: int) -> list[Line]:
    """How an entry is understood. Words that were kept as they are have another role and are marked."""
    out: list[Line] = []
    for row in rows:
        text = f"“{row.text}” kept as words" if row.kept and row.label == "Words" else row.text
        role: Role = "attention" if row.kept else "text"
        out.extend(hanging(f"  {row.label.ljust(LABEL_WIDTH)} ", text, width, role, "label"))
    return out


def problem_lines(problems: Sequence[Reason], width: int) -> list[Line]:
    """What is wrong with an entry."""
    return [line for each in problems for line in hanging("  × ", each.message, width, "attention")]
