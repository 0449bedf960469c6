"""The page with the operations that should have prevented the complaint, the weakest evidence first."""

from collections.abc import Sequence
from typing import Any, ClassVar

from textual.binding import Binding, BindingType

from benchflow.base.plaintext import clean_line
from benchflow.review.evidence.assessment import EVERYTHING, Review, ReviewedStep
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.review_text import cases_text, elsewhere_text, finding_text
from benchflow.review.formatting import count
from benchflow.session.history.come_back_text import answers_text
from benchflow.tui.draw.operation_panel import draw_cautions
from benchflow.tui.draw.styled_lines import EMPTY, Line, fit, hanging, side_by_side, styled, width_of, wrap
from benchflow.tui.review.evidence_lines import (
    LEGEND,
    draw_adjustments,
    draw_guard,
    draw_head,
    draw_known,
    draw_reason,
    indented,
)
from benchflow.tui.review.review_case import ReviewCase
from benchflow.tui.review.review_navigation import ABOUT, NAVIGATION, QUESTIONS, ReviewNavigation
from benchflow.tui.review.review_requests import (
    FindingRequest,
    QuestionsRequest,
    RankingRuleRequest,
    RecordComplaintRequest,
)
from benchflow.tui.widgets.list_page import leaving_keys, list_keys
from benchflow.tui.widgets.multi_line_list_page import MultiLineListPage, shortened
from benchflow.tui.widgets.page import DrawnPage, letter

WIDE = 100
"""Minimum width of a screen for the details of the selected operation next to the list."""


class RankingPage(ReviewNavigation, MultiLineListPage[Any], inherit_bindings=False):
    """The list of operations; on a wide screen with the details of the selected one."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("readings"),
        *NAVIGATION,
        Binding(letter("w"), "rule", "ranking rule", id="review.rule"),
        Binding(letter("c"), "record_complaint", "log the complaint", id="review.complaint"),
        Binding(letter("f"), "finding", "log the finding", id="review.finding"),
        QUESTIONS,
        ABOUT,
        *leaving_keys(),
    ]

    def __init__(self, case: ReviewCase, found: Review) -> None:
        super().__init__()
        self.case = case
        self.result = found
        self.wide = False
        self.title_line = clean_line(f"{case.unit}: {found.asked or found.complaint}")

    @property
    def guard(self) -> ReviewedStep | None:
        return self.result.guards[self.at] if self.result.guards else None

    @property
    def operation(self) -> str:
        return self.guard.operation if self.guard is not None else ""

    @property
    def seq(self) -> int | None:
        return self.guard.seq if self.guard is not None else None

    @property
    def reasons(self) -> tuple[WeakPoint, ...]:
        return self.guard.reasons if self.guard is not None else ()

    # --- drawing ----------------------------------------------------------------------------------

    def count(self) -> int:
        return len(self.result.guards)

    def intro(self, width: int) -> list[Line]:
        lines: list[Line] = []
        if self.case.log.damage is not None:
            lines.extend(hanging("NOTE  ", self.case.log.warnings[0], width, "text", "attention"))
        lines.extend(draw_cautions(self.result.cautions, width)[1:])
        lines.extend(styled(part, "strong") for part in wrap(summary(self.result), width))
        lines.extend(self._answer_lines(width))
        lines.append(styled(LEGEND, "faint"))
        if self.result.not_here:
            left_out = hanging("Not part of this build: ", ", ".join(self.result.not_here), width, "faint")
            lines.extend(shortened(left_out, 2))
        return [*lines, EMPTY]

    def _answer_lines(self, width: int) -> list[Line]:
        """Draw what is meant, the answers, the rest of the build and the earlier cases, in one line or two each."""
        result = self.result
        rows = 2 if width >= WIDE - 2 else 1
        meant = "; ".join(match.failure.text for match in result.taken) if result.asked else ""
        found = finding_text(result.findings[-1]) if result.findings else ""
        elsewhere = elsewhere_text(result) if result.complaint != EVERYTHING else ""
        cases = "" if result.cases is None else cases_text(result.cases)
        texts = (
            ("May mean: ", meant, rows), ("Answers: ", answers_text(result.answers), rows), ("", found, rows),
            ("", elsewhere, 2), ("", cases, rows),
        )  # fmt: skip
        return [
            line
            for label, text, most in texts
            if text
            for line in _at_most(hanging(label, text, width, "text", "label"), most, width)
        ]

    def block(self, index: int, width: int) -> Sequence[Line]:
        guard = self.result.guards[index]
        whole = index == self.at and not self.wide
        lines = [draw_head(guard, width)]
        reasons = guard.reasons if whole else guard.reasons[:1]
        for reason in reasons:
            lines.extend(indented(draw_reason(reason, width - 6, whole=whole), 6))
        if whole:
            lines.extend(indented(draw_adjustments(guard, width - 6), 6))
            lines.extend(indented(draw_known(guard, width - 6), 6))
        return [*lines, EMPTY] if guard.suspect or (whole and len(lines) > 1) else lines

    def body(self, width: int, height: int) -> DrawnPage:
        self.wide = width >= WIDE - 2
        if not self.wide or self.guard is None:
            return super().body(width, height)
        intro = self.intro(width)
        available = height - len(intro)
        left = width * 45 // 100
        detail = draw_guard(self.guard, width - left - 3)
        rows = side_by_side(
            self.list_lines(left, available), [*shortened(detail, available)], left, 3, width, available
        )
        return DrawnPage((*intro, *rows))

    # --- keys -------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "choose":
            return True if self.operation else None
        if action in ("record_complaint", "finding"):
            return self.case.can_record
        return super().check_action(action, parameters)

    def open_selected(self) -> None:
        self.action_readings()

    def action_questions(self) -> None:
        """Ask the first questions, and review again with the answers."""

        async def work() -> None:
            self.result = await self.case.review(self.case.subject_of(self.result))
            self.at = 0
            self.redraw()

        def answered(result: str | None) -> None:
            if result is not None:
                self.run_holding_keys(work())

        self.bench_app.open(QuestionsRequest(self.case), answered)

    def action_record_complaint(self) -> None:
        self.bench_app.open(RecordComplaintRequest(self.case, self.result), self._recorded)

    def action_finding(self) -> None:
        self.bench_app.open(FindingRequest(self.case, self.result, self.operation), self._recorded)

    def _recorded(self, message: str | None) -> None:
        if message:
            self.show_message(*wrap(message, 76), role="ok")

    def action_rule(self) -> None:
        self.bench_app.open(RankingRuleRequest())


def _at_most(lines: list[Line], rows: int, width: int) -> list[Line]:
    """The first ``rows`` lines. An ellipsis at the end of the last one shows that there are more."""
    if len(lines) <= rows:
        return lines
    *first, last = lines[:rows]
    return [*first, (*last, ("…", "faint")) if width_of(last) < width else fit(last, width - 1)]


def summary(found: Review) -> str:
    """Return ``2 of 19 operations have weak evidence. The weakest is first.``"""
    steps = [step for step in found.guards if step.operation]
    guards, suspects = len(steps), sum(step.suspect for step in steps)
    if not guards:
        return "No operation of this build should have prevented it."
    if not suspects:
        return f"The evidence of {count(guards, 'operation')} looks sound."
    return f"{suspects} of {count(guards, 'operation')} have weak evidence. The weakest is first."
