"""Draws the evidence of an operation and its weak points."""

from collections.abc import Sequence

from benchflow.review.evidence.assessment import ReviewedStep
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.review_text import number_text
from benchflow.review.evidence.weights import SUSPECT as SUSPECT_GRADE
from benchflow.review.sheets.joint_on_sheet import SheetJoint
from benchflow.review.sheets.sheet_content import BuildSheetOperation, SheetValue
from benchflow.trade.verdict import OUT_OF_LIMIT
from benchflow.tui.draw.block_parts import VERDICT_SPANS
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.operation_panel import draw_cautions, paragraph_lines
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, cut, hanging, justified, rule, styled, wrap
from benchflow.tui.review.review_case import OperationText

SUSPECT, NOTED, SOUND = "▲", "○", "●"
LEGEND = f"{SUSPECT} weak evidence   {NOTED} note only   {SOUND} looks sound"
GAUGE = 44


def mark_of_step(guard: ReviewedStep) -> Span:
    """Return the mark in front of a step: suspect, has weak points, or looks sound."""
    if guard.suspect:
        return f"{SUSPECT} ", "attention"
    return (f"{NOTED} ", "text") if guard.reasons else (f"{SOUND} ", "done")


def draw_head(guard: ReviewedStep, width: int) -> Line:
    """Draw ``▲ 38  Mark the nuts`` and, at the right edge, the grade or ``looks sound``."""
    role: Role = "strong" if guard.suspect else "text" if guard.reasons else "faint"
    if guard.suspect:
        right: Line = ((f"  grade {guard.grade:>3}", "attention"),)
    else:
        right = (("  note only" if guard.reasons else "  looks sound", "faint"),)
    return justified((mark_of_step(guard), (f"{number_text(guard)}  {guard.title}", role)), right, width)


def draw_reason(reason: WeakPoint, width: int, *, whole: bool) -> list[Line]:
    """Draw a weak point as one sentence. If ``whole`` is true, add its grade and its event."""
    where = f" (log line {reason.seq})" if whole and reason.seq is not None else ""
    mark = f"{reason.grade:>3}  " if whole else ""
    head = f"{reason.title}: "
    parts = wrap(f"{head}{reason.words}{where}", width - len(mark))
    drawn = len(head) if parts[0].startswith(head) else 0
    first: Line = ((mark, "attention"), (parts[0][:drawn], "label"), (parts[0][drawn:], "text"))
    return [first, *indented([styled(part) for part in parts[1:]], len(mark))]


def indented(lines: Sequence[Line], by: int) -> list[Line]:
    """Return the lines, indented by ``by`` columns."""
    return [((" " * by, "text"), *line) for line in lines]


def draw_known(guard: ReviewedStep, width: int) -> list[Line]:
    """Draw the recorded evidence of the operation, one line for each entry."""
    return [line for known in guard.known for line in hanging("· ", known.words, width, "faint")]


def draw_adjustments(guard: ReviewedStep, width: int) -> list[Line]:
    """Draw what moves the operation in the order besides its weak points."""
    return [
        line for each in guard.adjustments for line in hanging(f"{each.by:>+3}  ", each.words, width, "text", "label")
    ]


def draw_guard(guard: ReviewedStep, width: int) -> list[Line]:
    """Draw the weak points of one operation, and its recorded evidence."""
    lines = [styled(part, "title") for part in wrap(f"{number_text(guard).strip()}  {guard.title}".strip(), width)]
    lines.extend([styled(cut(guard.section, width), "faint"), EMPTY])
    if not guard.reasons:
        lines.append(styled(f"{SOUND} The evidence looks sound.", "ok"))
    for reason in guard.reasons:
        lines.extend(draw_reason(reason, width, whole=True))
    lines.extend(draw_adjustments(guard, width))
    if guard.known:
        lines.extend([EMPTY, rule(width, "FROM THE LOG"), *draw_known(guard, width)])
    elif not guard.done:
        lines.extend([EMPTY, styled("The log has no entry for this operation.", "faint")])
    return lines


# --- readings, joints, names --------------------------------------------------------------------------


def draw_operation(operation: BuildSheetOperation, reasons: Sequence[WeakPoint], width: int) -> list[Line]:
    """Draw all evidence of one operation: weak points, readings with limits, joint, checks, parts and signatures."""
    lines = [styled(part, "title") for part in wrap(f"{operation.number}  {operation.title}", width)]
    done = (
        f"Finished {operation.at} by {operation.by}, in progress for {operation.took}"
        if operation.done
        else "Not finished"
    )
    lines.append(styled(done, "label"))
    for reason in reasons:
        mark: Span = (f"{SUSPECT} ", "attention") if reason.grade >= SUSPECT_GRADE else (f"{NOTED} ", "text")
        drawn = draw_reason(reason, width - 2, whole=True)
        lines.extend([(mark, *drawn[0]), *indented(drawn[1:], 2)])
    if not any(reason.kind == "deviation" for reason in reasons):
        lines.extend(_texts("× ", "out-of-limit", operation.deviations, "deviation ", width))
    lines.extend(_texts("→ ", "attention", operation.remedies, "remedy: ", width))
    lines.extend(_texts("→ ", "attention", operation.failed_fasteners, "fastener failed: ", width))
    lines.extend(_texts("↺ ", "attention", operation.redone, "reworked: ", width))
    lines.extend(_texts("↺ ", "text", (operation.trial,) if operation.trial else (), "", width))
    for value in operation.values:
        lines.extend([EMPTY, *draw_value(value, width)])
    if operation.joint is not None:
        lines.extend([EMPTY, *draw_joint(operation.joint, width)])
    rest = _other_evidence(operation, width)
    if rest:
        lines.extend([EMPTY, *rest])
    if not (operation.values or operation.joint or rest or operation.deviations):
        lines.extend([EMPTY, styled("Nothing was measured, tightened, checked or signed.", "attention")])
    return lines


def _texts(mark: str, role: Role, texts: Sequence[str], before: str, width: int) -> list[Line]:
    return [line for text in texts for line in hanging(mark, before + text, width, "text", role)]


def draw_value(value: SheetValue, width: int) -> list[Line]:
    """Draw one value: its readings, the gauge, the verdict with its limit, and replaced readings."""
    word, role = VERDICT_SPANS.get(value.verdict, ("not judged", "faint"))
    mark: Span = ("○ ", "text")
    if value.verdict in OUT_OF_LIMIT:
        mark = ("× ", "out-of-limit")
    elif value.verdict == "ok":
        mark = ("● ", "ok")
    lines = hanging(mark[0], value.ask or value.name, width, "strong", mark[1])
    inner = width - 2
    figures = " · ".join(f"{slot}: {figure}" if slot else figure for slot, figure in value.figures) or value.judged
    body = [styled(part, "strong") for part in wrap(figures, inner)]
    if value.filled:
        body.extend(styled(part, "faint") for part in wrap(value.filled, inner))
    if value.gauge is not None:
        body.append(draw_gauge(value.gauge, min(inner, GAUGE), role))
    judged = f"{word}, limit {value.limit}" if value.limit else "no limit"
    if len(value.figures) > 1 and value.limit and value.judged:
        judged += f"; judged: {value.judged}"
    tools = f"; with {', '.join(value.tools)}" if value.tools else ""
    body.extend(styled(part, role if value.verdict != "ok" else "text") for part in wrap(judged + tools, inner))
    if value.waived:
        body.extend(hanging("deviation signed by ", value.waived, inner, "text", "paused"))
    for earlier in value.earlier:
        body.extend(hanging("before: ", earlier, inner, "text", "label"))
    return [*lines, *indented(body, 2)]


def draw_joint(joint: SheetJoint, width: int) -> list[Line]:
    """Draw the layout of a joint with the state of each fastener, then each stage with its tool and time."""
    from benchflow.trade.joint_picture import joint_lines

    lines = [styled(part, "strong") for part in wrap(joint.title, width)]
    if joint.about:
        lines.extend(styled(part, "faint") for part in wrap(joint.about, width))
    lines.append(EMPTY)
    lines.extend(styled(line) for line in joint_lines(joint.fasteners, width, joint.sides))
    lines.extend([styled("(●) every stage   ( ) not every stage   (×) out of its limit", "faint"), EMPTY])
    for tool in joint.tools or ("Not tightened.",):
        lines.extend(hanging("· ", tool, width))
    return lines


def _other_evidence(operation: BuildSheetOperation, width: int) -> list[Line]:
    lines: list[Line] = []
    for text, seen in operation.checks:
        lines.extend(
            hanging("[x] " if seen else "[ ] ", text if seen else f"{text}: NOT ticked", width, "text", "strong")
        )
    for part in operation.parts:
        lines.extend(hanging("· ", part, width))
    if operation.hold:
        own = ", who did the work" if operation.self_signed else ""
        signed = f"signed by {operation.signed}{own}" if operation.signed else "NOT signed"
        lines.extend(
            hanging(
                f"{SUSPECT} " if operation.self_signed or not operation.signed else "● ",
                f"Hold point, {operation.hold}: {signed}",
                width,
            )
        )
    lines.extend(_texts("“ ", "label", operation.notes, "", width))
    return lines


# --- text of the procedure -----------------------------------------------------------------------------


def draw_operation_text(pages: OperationText, width: int) -> list[Line]:
    """Draw the instruction as on the bench, then the lines of the procedure file."""
    now = pages.now
    lines = [styled(part, "title") for part in wrap(f"{now.number}  {now.title}", width)]
    lines.extend(draw_cautions(now.cautions, width))
    lines.append(EMPTY)
    lines.extend(line for text in now.do for line in paragraph_lines(text, width))
    if now.because:
        lines.extend([EMPTY, *hanging("Why here: ", now.because, width, "text", "label")])
    if now.uses:
        lines.extend(hanging("With: ", ", ".join(now.uses), width, "text", "label"))
    lines.extend([EMPTY, rule(width, f"AS WRITTEN, FROM LINE {pages.line}")])
    for text in pages.written.splitlines():
        indent = len(text) - len(text.lstrip())
        lines.extend(hanging(" " * min(indent, width // 2), text.strip(), width, "text") if text.strip() else [EMPTY])
    return lines
