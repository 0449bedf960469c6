"""The page to choose a complaint: a failure from the procedure, words to search for, or everything."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import Failure
from benchflow.review.evidence.assessment import Review, ReviewedStep
from benchflow.review.evidence.complaint_matching import failures_meant
from benchflow.session.history.come_back_text import answers_text
from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, hanging, justified, styled, wrap
from benchflow.tui.review.evidence_lines import SOUND, SUSPECT
from benchflow.tui.review.review_case import Asked, CustomerWords, ReviewCase
from benchflow.tui.review.review_navigation import ABOUT, QUESTIONS
from benchflow.tui.review.review_requests import BuildRequest, QuestionsRequest, RankingRequest
from benchflow.tui.widgets.entry_field import EntryField
from benchflow.tui.widgets.list_page import ListPage, list_keys
from benchflow.tui.widgets.page import APP_KEYS, BACK, DrawnPage

LABEL = "What is wrong? "


class ComplaintPage(ListPage[None], inherit_bindings=False):
    """The first screen of a review. If ``asked`` is given, that result is opened at once."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("show the evidence"),
        QUESTIONS,
        ABOUT,
        Binding("escape", "clear", "clear the words", id="complaints.clear"),
        Binding(BACK.key, "back", "leave", id="page.back"),
        *APP_KEYS,
    ]

    def __init__(self, case: ReviewCase, asked: Review | None = None) -> None:
        super().__init__()
        self.case = case
        self._asked = asked
        self._guards: tuple[ReviewedStep, ...] = ()
        self.title_line = clean_line(f"Review: {case.unit}")

    def compose(self) -> ComposeResult:
        self.field = EntryField(self.bench_app.bench_theme, "text")
        self.entries = [self.field]
        yield from super().compose()

    def on_mount(self) -> None:
        super().on_mount()
        self.field.display = True
        self.focus_on(self.field)
        self.run_holding_keys(self._load_guards())

    async def _load_guards(self) -> None:
        """Count the weak evidence for each complaint."""
        self._guards = (await self.case.review(None)).guards
        self.redraw()
        if self._asked is not None:
            asked, self._asked = self._asked, None
            self._show(asked)

    # --- the list ---------------------------------------------------------------------------------

    def _rows(self) -> list[Asked]:
        failures = self.case.log.procedure.failures
        text = clean_line(self.field.value).strip()
        if not text:
            return [*failures, None]
        meant = [match.failure for match in failures_meant(failures, text)]
        together: list[Asked] = [CustomerWords(text)] if len(meant) > 1 else []
        return [*together, *meant, text]

    def count(self) -> int:
        return len(self._rows())

    def typed(self, field: Input) -> None:
        self.at = 0

    def intro(self, width: int) -> list[Line]:
        lines = [styled(cut(self.case.build(), width), "faint")]
        notes = [
            line for each in self.case.log.warnings for line in hanging("NOTE  ", each, width, "text", "attention")
        ]
        if len(notes) > 4:
            notes = [*notes[:3], styled(f"      and {len(notes) - 3} more lines (F2)", "attention")]
        return [*lines, *notes, EMPTY]

    def body(self, width: int, height: int) -> DrawnPage:
        intro = self.intro(width)
        place = FieldPlace(len(LABEL), len(intro), min(width - len(LABEL), 48))
        ask: Line = ((LABEL, "strong"), (" " * place.width, "field"))
        over: Line = justified(EMPTY, (("weak evidence", "faint"),), min(width, 78)) if self._guards else EMPTY
        lines = [*intro, ask, over]
        rows = self._rows()
        asked = self._question_lines(width)
        available = max(height - len(lines) - len(asked), 1)
        start = max(0, min(self.at - available // 2, len(rows) - available))
        for index in range(start, min(start + available, len(rows))):
            mark = "► " if index == self.at else "  "
            lines.append(((mark, "now"), *self._row(rows[index], width - 2, index == self.at)))
        lines += [EMPTY] * (height - len(lines) - len(asked))
        return DrawnPage((*lines, *asked), (place,))

    def _question_lines(self, width: int) -> list[Line]:
        """Draw the first questions: the answers so far, or the questions if none is answered."""
        answers = answers_text(self.case.answers)
        text = answers or "still run? since when? hot? touched? checked? changed?"
        return hanging("First questions (F3): ", text, width, "text" if answers else "strong", "label")[:2]

    def _row(self, asked: Asked, width: int, selected: bool) -> Line:
        match asked:
            case Failure():
                text = asked.text
                guards = [guard for guard in self._guards if asked.id in guard.guards_against]
            case CustomerWords():
                meant = {match.failure.id for match in failures_meant(self.case.log.procedure.failures, asked.text)}
                text = f"“{asked.text}”: all of these"
                guards = [guard for guard in self._guards if meant & set(guard.guards_against)]
            case str():
                return (("… ", "now"), (cut(f"Every operation that mentions “{asked}”", width - 2), "strong"))
            case None:
                text, guards = "All operations", list(self._guards)
        suspects = sum(guard.suspect for guard in guards)
        if not self._guards:
            right: Line = ()
        elif suspects:
            right = ((f"  {SUSPECT} {suspects} of {len(guards)}", "attention"),)
        else:
            right = ((f"  {SOUND} none of {len(guards)}", "faint"),)
        return justified(((text, "strong" if selected else "text"),), right, min(width, 76))

    # --- keys -------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(self.field.value) if action == "clear" else True

    def action_clear(self) -> None:
        self.field.value = ""

    def open_selected(self) -> None:
        asked = self._rows()[self.at]
        self.case.words = clean_line(self.field.value).strip()

        async def work() -> None:
            found = await self.case.review(asked)
            if isinstance(asked, str) and not found.guards:
                self.show_message(
                    *wrap(f"No operation of this build mentions “{asked}”. Try fewer words.", 76), role="attention"
                )
                return
            self.show_message()
            self._show(found)

        self.run_holding_keys(work())

    def _show(self, found: Review) -> None:
        answers = self.case.answers

        def left(result: object) -> None:
            if self.case.answers != answers:  # they were changed beside the evidence
                self.run_holding_keys(self._load_guards())

        self.bench_app.open(RankingRequest(self.case, found), left)

    def action_questions(self) -> None:
        """Ask the first questions. The numbers of weak steps are counted again with the answers."""

        def answered(result: str | None) -> None:
            if result is not None:
                self.run_holding_keys(self._load_guards())

        self.bench_app.open(QuestionsRequest(self.case), answered)

    def action_about_build(self) -> None:
        self.bench_app.open(BuildRequest(self.case))

    def action_back(self) -> None:
        self.bench_app.leave(0)
