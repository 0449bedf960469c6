"""Writes the build sheet as Markdown."""

import re
from collections.abc import Iterator

from benchflow.base.plaintext import clean_line
from benchflow.review.sheets.customer_copy import CustomerCopy, CustomerJoint
from benchflow.review.sheets.pictures_on_sheet import SheetPicture
from benchflow.review.sheets.sheet_content import BuildSheet, BuildSheetOperation, SheetValue
from benchflow.trade.joint_picture import joint_lines
from benchflow.trade.verdict import NOT_ACCEPTED, VERDICT_TEXT

_MARKUP = re.compile(r"([\\`*_{}\[\]<>#|~])")


def build_sheet_markdown(sheet: BuildSheet) -> str:
    """The sheet in CommonMark with tables. Text from the log is escaped."""
    return "\n".join(_sheet_lines(sheet)).rstrip() + "\n"


def customer_copy_markdown(copy: CustomerCopy) -> str:
    """The customer's copy in CommonMark with tables. Text from the log and the register is escaped."""
    return "\n".join(_customer_lines(copy)).rstrip() + "\n"


def plain(text: str) -> str:
    """``text`` on one line. Characters that Markdown reads as markup are escaped."""
    return _MARKUP.sub(r"\\\1", clean_line(text))


def _noted(text: str) -> str:
    """A note as the text of a list item. Its lines stay apart."""
    return "  \n  ".join(plain(line) for line in text.splitlines())


def _sheet_lines(sheet: BuildSheet) -> Iterator[str]:
    yield f"# Build sheet: {plain(sheet.title)}, {plain(sheet.unit)}"
    yield ""
    if sheet.subject:
        yield from (plain(sheet.subject), "")
    if sheet.notice:
        yield from (f"> **Notice** {plain(sheet.notice)}", "")
    yield from _table_lines(("", ""), sheet.facts)
    chain = "The log is intact" if sheet.sound else "**THE LOG IS DAMAGED**"
    yield f"{chain}: {sheet.events} events, fingerprint `{sheet.head}`."
    yield ""
    yield "## Out of the ordinary"
    yield ""
    for line in (*sheet.warnings, *sheet.exceptions) or ("None.",):
        yield f"- {plain(line)}"
    yield ""
    for caution in sheet.cautions:
        yield from (f"**{caution.signal.upper()}** {plain(caution.text)}", "")
    for section in sheet.sections:
        yield f"## {plain(section.title)}"
        yield ""
        for operation in section.operations:
            yield from _operation_lines(operation, sheet.pictures_of(operation.operation), known=sheet.sound)
    if sheet.untrusted:
        yield from ("## NOT TRUSTED: what the damaged log says from the damage on", "")
        yield from (*(f"- {plain(line)}" for line in sheet.untrusted), "")
    if sheet.parts:
        yield from ("## Parts and lots", "")
        yield from _table_lines(("What", "Which", "Where"), sheet.parts)
    if sheet.removed_parts:
        yield from ("## Parts thrown away or replaced", "")
        yield from _table_lines(("What", "Which", "Where"), sheet.removed_parts)
    yield from _list_lines("Work done elsewhere", sheet.elsewhere)
    if sheet.hours:
        yield from ("## Hours", "", *_table_lines(sheet.hours[0], sheet.hours[1:]))
        yield from (*(f"- {plain(line)}" for line in sheet.hours_remarks), "")
    if sheet.instruments:
        yield from ("## Instruments on the day of use", "")
        yield from _table_lines(("What", "Serial", "Calibrated", "Due", "Uncertainty", "Remarks"), sheet.instruments)
    shown = sheet.pictures_of("")
    if shown:
        yield from ("## Pictures of the job", "", *(f"- {_pictured(picture)}" for picture in shown), "")
    if sheet.notes:
        yield from ("## Notes", "", *(f"- {_noted(note)}" for note in sheet.notes), "")
    yield from _list_lines("Advice for the customer", tuple(f"{title}: {text}" for title, text in sheet.handover))
    if sheet.follow_up:
        yield from ("## Follow-up", "")
        for item in sheet.follow_up:
            yield f"- [ ] {plain(item.title)}: {' or '.join(plain(part) for part in (item.due, item.or_) if part)}"
        yield ""
    yield plain(sheet.disclaimer)


def _customer_lines(copy: CustomerCopy) -> Iterator[str]:
    head = copy.letterhead
    lines = [line for line in (head.name, ", ".join(head.address), head.telephone, head.email) if line]
    if lines:
        yield from (*(f"{plain(line)}  " for line in lines), "")
    yield from (f"# Build sheet: {plain(copy.title)}, {plain(copy.unit)}", "")
    if copy.simulated:
        yield from ("**SIMULATED.** The times in this job were entered. No work was done.", "")
    if copy.unfinished:
        first, *rest = (plain(line) for line in copy.unfinished)
        yield from (f"**{first}** {' '.join(rest)}", "")
    for line in (f"**{copy.damage}**" if copy.damage else "", plain(copy.subject), plain(copy.notice)):
        if line:
            yield from (line, "")
    yield from _table_lines(("", ""), copy.facts)
    yield from _list_lines("Not done", copy.not_done)
    yield from _list_lines("Done", copy.done)
    yield from _list_lines("Deviations from the procedure", copy.deviations)
    yield from _list_lines("Repairs and adjustments", copy.repairs)
    if not (copy.unusual or copy.unfinished or copy.deviations or copy.repairs or copy.not_done):
        yield from ("## Deviations from the procedure", "", "None.", "")
    for title, parts in (("Fitted", copy.fitted), ("Parts that you supplied", copy.supplied)):
        rows = tuple((part.title, part.quantity, part.which, part.supplier) for part in parts)
        if rows:
            yield from (f"## {title}", "", *_table_lines(("What", "Quantity", "Which", "From"), rows))
    yield from _list_lines("Work done elsewhere", copy.elsewhere)
    if copy.readings:
        yield from ("## Key readings", "")
        readings = tuple(
            (
                row.name,
                f"{', '.join(f'{place} {figure}'.strip() for place, figure in row.figures)} {row.unit}",
                row.limit,
                f"{row.other}, limit {row.other_limit}" if row.other_limit else row.other,
                f"{row.verdict}: {row.remark}" if row.remark else row.verdict,
            )
            for row in copy.readings
        )
        yield from _table_lines(("Reading", "Measured", "Limit", "In the other units", ""), readings)
    yield from _list_lines("Tightened joints", tuple(_customer_joint(joint) for joint in copy.joints))
    yield from _list_lines("Pictures", tuple(f"{one.title}: {one.text or one.facts.name}" for one in copy.pictures))
    yield from _list_lines("First start and running in", tuple(f"{heading}: {text}" for heading, text in copy.handover))
    yield from _list_lines(
        "Follow-up",
        tuple(f"{item.title}: {' or '.join(part for part in (item.due, item.or_) if part)}" for item in copy.follow_up),
    )
    for caution in copy.cautions:
        yield from (f"**{caution.signal.upper()}** {plain(caution.text)}", "")
    yield from (f"Fingerprint of the record: {copy.events} entries, `{copy.head}`.", "", plain(copy.disclaimer))


def _customer_joint(joint: CustomerJoint) -> str:
    in_picture = (f"Fastener {cell.number}: {cell.text}" for cell in joint.picture.fasteners if cell.text)
    own = "".join(f". {result}" for result in (*joint.own, *in_picture))
    where = f" ({joint.where})" if joint.where else ""
    return f"{joint.title}{where}: {'; '.join(joint.stages)}{own}. {joint.about}"


def _list_lines(title: str, lines: tuple[str, ...]) -> Iterator[str]:
    if lines:
        yield from (f"## {title}", "", *(f"- {plain(line)}" for line in lines), "")


def _operation_lines(
    operation: BuildSheetOperation, pictures: tuple[SheetPicture, ...], *, known: bool
) -> Iterator[str]:
    yield f"### {operation.number}  {plain(operation.title)}"
    yield ""
    if operation.taken_over:
        yield f"Done, {plain(operation.taken_over)}."
    elif operation.done:
        yield f"Done by {plain(operation.by)}, {operation.at}, in {operation.took}."
    else:
        yield "**Not done.**" if known else "**Not known: the log is damaged.**"
    yield ""
    for value in operation.values:
        yield from _value_lines(value)
    if operation.joint is not None:
        joint = operation.joint
        yield f"- {plain(joint.title)}, {plain(joint.about)}: {plain(', '.join(joint.stages))}"
        yield from (f"  - {plain(line)}" for line in joint.tools)
        yield from (
            "",
            "  ```",
            *(f"  {line}" for line in joint_lines(joint.fasteners, sides=joint.sides)),
            "  ```",
            "",
        )
    for text, seen in operation.checks:
        yield f"- [{'x' if seen else ' '}] {plain(text)}"
    yield from (f"- {plain(part)}" for part in operation.parts)
    if operation.hold:
        own = ", **who did the work**" if operation.self_signed else ""
        signed = f"signed by {plain(operation.signed)}{own}" if operation.signed else "**not signed**"
        yield f"- Hold: {plain(operation.hold)}: {signed}"
    yield from (f"- **Deviation** {plain(line)}" for line in operation.deviations)
    yield from (f"- **Remedy** {plain(line)}" for line in operation.remedies)
    yield from (f"- **Fastener failed** {plain(line)}" for line in operation.failed_fasteners)
    yield from (f"- **Reworked** {plain(line)}" for line in operation.redone)
    if operation.trial:
        yield f"- **Trial** {plain(operation.trial)}"
    yield from (f"- Note by {_noted(line)}" for line in operation.notes)
    yield from (f"- Picture of {_pictured(picture)}" for picture in pictures)
    yield ""


def _pictured(picture: SheetPicture) -> str:
    caption = f": {picture.text}" if picture.text else ""
    return plain(f"{picture.title}{caption} ({picture.about}, SHA-256 {picture.facts.sha256})")


def _value_lines(value: SheetValue) -> Iterator[str]:
    word = VERDICT_TEXT[value.verdict]
    verdict = f" **{word}**" if value.verdict in NOT_ACCEPTED else f", {word}" if word else ""
    figures = value.filled or " · ".join(f"{slot} {figure}".strip() for slot, figure in value.figures) or value.judged
    source = f" (source: {plain(value.source)})" if value.source else ""
    limit = f", limit {plain(value.limit)}{source}" if value.limit else ""
    tools = f", with {plain(', '.join(value.tools))}" if value.tools else ""
    yield f"- {plain(value.ask)}: **{plain(figures)}**{limit}{verdict}{tools}"
    if value.waived:
        yield f"  - waived by {plain(value.waived)}"
    yield from (f"  - before that: {plain(line)}" for line in value.earlier)


def _table_lines(head: tuple[str, ...], rows: tuple[tuple[str, ...], ...]) -> Iterator[str]:
    yield f"| {' | '.join(head)} |"
    yield f"|{'---|' * len(head)}"
    for row in rows:
        yield f"| {' | '.join(plain(cell) for cell in row)} |"
    yield ""
