"""Writes the order sheet as plain text, for a terminal or a printer."""

import textwrap
from collections.abc import Iterator

from benchflow.review.sheets.order_sheet_blanks import Blank, JointBlank
from benchflow.review.sheets.order_sheet_page import OrderSheetPage, PrintedLine
from benchflow.trade.joint_picture import joint_lines


def order_sheet_text(page: OrderSheetPage, width: int = 100) -> tuple[str, ...]:
    """The sheet in lines of at most ``width`` characters. Longer words are broken."""
    return tuple(line.rstrip() for line in _TextSheet(max(width, 40)).page(page))


_NO_BREAK_SPACE = "\u00a0"


def _unbroken(words: str) -> str:
    """``words`` with no-break spaces, so that they stay on one line."""
    return words.replace(" ", _NO_BREAK_SPACE)


class _TextSheet:
    """Writes a page in lines of one width."""

    def __init__(self, width: int) -> None:
        self._width = width

    def page(self, page: OrderSheetPage) -> Iterator[str]:
        yield from self._wrapped(f"{page.title}: in one safe order")
        yield from self._wrapped(page.subject)
        yield ""
        yield from self._wrapped(page.notice, "NOTICE  ")
        yield from self._wrapped(page.not_the_manual, "NOTICE  ")
        for warning in (page.on_paper, *page.warnings):
            yield from self._wrapped(warning, "WARNING  ")
        yield ""
        for name, value in page.facts:
            yield from self._wrapped(value, f"{name}: ")
        if page.cautions:
            yield ""
        for caution in page.cautions:
            yield from self._wrapped(caution.text, f"{caution.signal.upper()}  ")
        if page.begin:
            yield from self._heading_lines("Before you start: check the state")
            for line in page.begin:
                yield from self._wrapped(line, "[ ] ")
            yield from self._wrapped("If anything differs, do not start: this order is not safe from there.")
        yield from self._parts_and_tools(page)
        for part in page.parts:
            yield from self._heading_lines(part.title)
            for entry in part.entries:
                yield from self._printed_line(entry)
        if page.follow_up:
            yield from self._heading_lines("Follow-up")
            for line in page.follow_up:
                yield from self._wrapped(line, "[ ] ")

    def _parts_and_tools(self, page: OrderSheetPage) -> Iterator[str]:
        if page.kit or page.instruments:
            yield from self._heading_lines("Parts and tools")
        for title, quantity, lot in page.kit:
            words = f"{title}{f': {quantity}' if quantity else ''}{_unbroken('  lot: ____________') if lot else ''}"
            yield from self._wrapped(words, "[ ] ")
        for title, good_for in page.instruments:
            words = f"{title}{f': {good_for}' if good_for else ''}{_unbroken('  serial: ____________')}"
            yield from self._wrapped(words, "[ ] ")

    def _printed_line(self, entry: PrintedLine) -> Iterator[str]:
        yield ""
        label = f" {entry.label}" if entry.label and not entry.is_move else ""
        move = f"{entry.label.upper()}: " if entry.is_move else ""
        yield from self._wrapped(f"{move}{entry.title}", f"[ ] {entry.turn}{label}  ")
        for line in entry.why:
            yield from self._wrapped(line, "      - ")
        for caution in entry.cautions:
            yield from self._wrapped(caution.text, f"      {caution.signal.upper()}  ")
        for line in entry.do.strip().splitlines():
            yield from self._wrapped(line, "      ")
        if entry.uses:
            yield from self._wrapped("; ".join(entry.uses), "      With: ")
        for blank in entry.blanks:
            yield from self._blank_lines(blank)
        for table in entry.tables:
            yield from self._wrapped(f"{table.title}{f': {table.words}' if table.words else ''}", "      ")
            for bound, take in table.rows:
                yield from self._wrapped(f"{bound}: {take}", "      [ ] ")
            if not table.rows:
                yield "      taken: ________________________"
        if entry.joint is not None:
            yield from self._joint_lines(entry.joint)
        for check in entry.checks:
            yield from self._wrapped(check, "      [ ] ")
        for what in entry.clock:
            yield f"      {what.upper()}: ____________"
        if entry.hold:
            yield from self._wrapped(f"{entry.hold}. Do not start a later line before this is signed.", "      HOLD  ")
            yield "            name: ____________________  date, time: ______________"

    def _blank_lines(self, blank: Blank) -> Iterator[str]:
        yield from self._wrapped(f"{blank.ask} {blank.how}", "      ")
        cells = "   ".join(_unbroken(f"{slot} ________ {blank.unit}".strip()) for slot in blank.slots)
        yield from self._wrapped(cells, "        ")
        about = [*blank.limits, *([f"with {blank.tool}"] if blank.tool else [])]
        yield from self._wrapped("; ".join(about), "        ")
        for remedy in blank.remedies:
            yield from self._wrapped(remedy, "        ")

    def _joint_lines(self, joint: JointBlank) -> Iterator[str]:
        yield from self._wrapped(f"{joint.title}{f', {joint.about}' if joint.about else ''}", "      ")
        for line in joint_lines(joint.fasteners, self._width - 8, joint.sides):
            yield f"        {line}"
        for number, stage in enumerate(joint.stages, 1):
            boxes = " ".join(_unbroken(f"{fastener}[ ]") for fastener in stage.fasteners)
            yield from self._wrapped(boxes, f"      {number}. {stage.text}: ")

    def _heading_lines(self, words: str) -> Iterator[str]:
        yield ""
        yield from self._wrapped(words.upper())

    def _wrapped(self, text: str, lead: str = "") -> Iterator[str]:
        """``text`` wrapped into lines. The first line starts with ``lead``. An empty text gives no line."""
        if not text.strip():
            return
        indent = " " * min(len(lead), 12)
        for line in textwrap.wrap(text, self._width, initial_indent=lead, subsequent_indent=indent):
            yield line.replace(_NO_BREAK_SPACE, " ")
