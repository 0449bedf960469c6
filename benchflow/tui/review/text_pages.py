"""The pages with text: evidence and procedure of an operation, ranking rule, build, and whole state."""

from typing import ClassVar

from textual.binding import BindingType

from benchflow.review.evidence.first_questions import ANSWER_RULES
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.ranking import rule as ranking_rule
from benchflow.review.evidence.shop_cases import CASE_RULES
from benchflow.review.sheets.sheet_content import BuildSheetOperation
from benchflow.session.view.bench_view import BenchView
from benchflow.tui.draw.side_column import draw_clocks, draw_state
from benchflow.tui.draw.styled_lines import EMPTY, STATUS_MARKS, Line, hanging, rule
from benchflow.tui.review.evidence_lines import draw_operation, draw_operation_text
from benchflow.tui.review.review_case import OperationText, ReviewCase
from benchflow.tui.review.review_navigation import ABOUT, REPLAY, TEXT, ReviewNavigation
from benchflow.tui.widgets.list_page import leaving_keys
from benchflow.tui.widgets.page import TextPage


class EvidencePage(ReviewNavigation, TextPage[None], inherit_bindings=False):
    """The evidence of one operation at the end of the log."""

    BINDINGS: ClassVar[list[BindingType]] = [REPLAY, TEXT, ABOUT, *TextPage.BINDINGS, *leaving_keys()]

    def __init__(
        self, case: ReviewCase, of: BuildSheetOperation, reasons: tuple[WeakPoint, ...], seq: int | None
    ) -> None:
        super().__init__()
        self.case = case
        self._operation, self._reasons, self._seq = of, reasons, seq
        self.title_line = f"{case.unit}: evidence"

    @property
    def operation(self) -> str:
        return self._operation.operation

    @property
    def seq(self) -> int | None:
        return self._seq

    def text(self, width: int) -> list[Line]:
        return draw_operation(self._operation, self._reasons, width)


class OperationTextPage(TextPage[None], inherit_bindings=False):
    """The text of one operation, from the procedure in the log."""

    BINDINGS: ClassVar[list[BindingType]] = [*TextPage.BINDINGS, *leaving_keys()]

    def __init__(self, case: ReviewCase, pages: OperationText) -> None:
        super().__init__()
        self._pages = pages
        self.title_line = f"{case.unit}: procedure as used, revision {case.log.procedure.revision}"

    def text(self, width: int) -> list[Line]:
        return draw_operation_text(self._pages, width)


class RankingRulePage(TextPage[None], inherit_bindings=False):
    """The page that explains how evidence is ranked."""

    BINDINGS: ClassVar[list[BindingType]] = [*TextPage.BINDINGS, *leaving_keys()]
    title_line = "Ranking rule"

    def text(self, width: int) -> list[Line]:
        lines: list[Line] = []
        for part in (*ranking_rule(), *ANSWER_RULES, *CASE_RULES):
            indent = " " * (len(part) - len(part.lstrip()))
            lines.extend(hanging(indent, part.lstrip(), width))
        return lines


class BuildPage(TextPage[None], inherit_bindings=False):
    """Facts about the whole job, and its warnings."""

    BINDINGS: ClassVar[list[BindingType]] = [*TextPage.BINDINGS, *leaving_keys()]

    def __init__(self, case: ReviewCase) -> None:
        super().__init__()
        self.case = case
        self.title_line = f"{case.unit}: this build"

    def text(self, width: int) -> list[Line]:
        lines: list[Line] = [EMPTY]
        for label, words in self.case.about():
            lines.extend(hanging(f"{label:<13}", words, width, "text", "label"))
        lines.append(EMPTY)
        for warning in self.case.log.warnings:
            lines.extend(hanging("NOTE  ", warning, width, "text", "attention"))
        notice = self.case.log.procedure.notice
        if notice:
            lines.extend([EMPTY, *hanging("", notice, width)])
        return lines


class AllStatePage(TextPage[None], inherit_bindings=False):
    """The whole state after an event: the assembly, the clocks, and every operation with its blocking reason."""

    BINDINGS: ClassVar[list[BindingType]] = [*TextPage.BINDINGS, *leaving_keys()]

    def __init__(self, view: BenchView, seq: int) -> None:
        super().__init__()
        self._view = view
        self.title_line = f"{view.unit}: state after event {seq}"

    def text(self, width: int) -> list[Line]:
        view = self._view
        lines = [*draw_state(view.state_rows, width, 1000), EMPTY]
        lines.extend([*draw_clocks(view.clocks, width, 1000), EMPTY] if view.clocks else [])
        lines.append(rule(width, f"OPERATIONS, {view.done} OF {view.of} DONE"))
        for each in view.operations:
            shape, role, word = STATUS_MARKS[each.status]
            words = f"{each.number:>3}  {each.title}" + ("" if each.status == "done" else f": {word}")
            lines.extend(hanging(f"{shape} ", words, width, "faint" if each.status == "done" else "text", role))
            if each.reason:
                lines.extend(hanging("       ", each.reason, width, "blocked"))
        return lines
