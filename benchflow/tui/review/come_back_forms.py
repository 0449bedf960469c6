"""The forms of a come-back: the first questions, the complaint and the finding for the log."""

from collections.abc import Sequence
from typing import Any, ClassVar

from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.base.errors import BenchflowError
from benchflow.review.evidence.assessment import Review
from benchflow.session.history.come_back_text import OUTCOME_TEXT, answers_text
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled, wrap
from benchflow.tui.review.review_case import ReviewCase
from benchflow.tui.widgets.compact_form import CompactFormPage
from benchflow.tui.widgets.form_page import FormField, form_keys, person_field

OPEN = "open"
"""The value of a choice that is left open."""


class ComeBackForm(CompactFormPage, inherit_bindings=False):
    """A form of a come-back. Enter submits it from every field: only what is missing is asked for."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("go on")

    def __init__(self, case: ReviewCase) -> None:
        self.case = case
        super().__init__(None)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        match action:
            case "next":
                return False
            case "submit":
                return True
            case _:
                return super().check_action(action, parameters)

    def first_missing(self) -> int | None:
        """The first question that needs an answer and has none."""
        return next((index for index in range(len(self.form_fields)) if not self._is_answered(index)), None)

    def action_submit(self) -> None:
        missing = self.first_missing()
        if missing is None:
            super().action_submit()
            return
        self.at = missing
        self._focus_current()
        self.show_message(self.missing_text(self.form_fields[missing]), role="attention")

    async def record(self, message: dict[str, Any]) -> None:
        """Add an entry to the log and close the form; if that fails, say why and stay."""
        try:
            self.done(await self.case.record(message))
        except BenchflowError as error:
            self.show_message(*(part for text in str(error).splitlines() for part in wrap(text, 76)), role="alarm")
            self.app.bell()


class LongComeBackForm(ComeBackForm, inherit_bindings=False):
    """A form of several fields: Enter goes through all of them, and submits on the last one."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("go on")

    def _next_index(self, after: int) -> int | None:
        return after + 1 if after + 1 < len(self.form_fields) else None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("next", "submit"):
            last = self._next_index(self.at) is None
            return last if action == "submit" else not last
        return super().check_action(action, parameters)


class QuestionsPage(LongComeBackForm, inherit_bindings=False):
    """The first questions. All may be left open."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *form_keys("go on"),
        Binding("f3", "submit_all", "go on", id="questions.submit"),
    ]
    title_line = "First questions"

    def questions(self) -> Sequence[FormField]:
        answers = self.case.answers
        yes_no = ((OPEN, "not asked"), ("yes", "yes"), ("no", "no"))
        return (
            FormField("running", "Is it still run?", yes_no, answers.running or OPEN),
            FormField("since", "Hours or distance since", value=answers.since, optional=True),
            FormField(
                "when", "Noticed when", ((OPEN, "not asked"), ("hot", "hot"), ("cold", "cold")), answers.when or OPEN
            ),
            FormField("touched", "Who has worked on it since", value=answers.touched, optional=True),
            FormField("retorque", "Fasteners checked again?", yes_no, answers.retorque or OPEN),
            FormField("changed", "Changed fuel, tune or use", value=answers.changed, optional=True),
        )

    def intro(self, width: int) -> list[Line]:
        text = "Ask the customer. Each line may be left open. Hours as 40 h, a distance as 1200 km."
        return [EMPTY, *(styled(part) for part in wrap(text, width))]

    def action_submit_all(self) -> None:
        """Take the answers from any question."""
        self.action_submit()

    async def submit(self, values: dict[str, str]) -> None:
        refusal = self.case.answer({name: "" if text == OPEN else text for name, text in values.items()})
        if refusal is not None:
            self.refused(refusal)
        else:
            self.dismiss("")


class RecordComplaintPage(ComeBackForm, inherit_bindings=False):
    """The form that adds the complaint and the answers to the log."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("add to the log")
    title_line = "Add the complaint to the log"

    def __init__(self, case: ReviewCase, found: Review) -> None:
        self.found = found
        super().__init__(case)

    def questions(self) -> Sequence[FormField]:
        return (
            FormField("text", "In the customer's words", value=self.case.words or self.found.asked),
            person_field(self.case.shop, "Added by", self.case.usual_person()),
        )

    def intro(self, width: int) -> list[Line]:
        answers = answers_text(self.found.answers) or "none"
        return [EMPTY, *hanging("Answers to the first questions: ", answers, width, "text", "label")]

    async def submit(self, values: dict[str, str]) -> None:
        answers = {name: text for name, text in self.case.answers_of(self.found).items() if text}
        await self.record({"intent": "complaint", **answers, **values})


class FindingPage(LongComeBackForm, inherit_bindings=False):
    """The form that records what the come-back turned out to be."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("add to the log")
    title_line = "What the come-back turned out to be"

    def __init__(self, case: ReviewCase, found: Review, operation: str) -> None:
        self.found, self.operation = found, operation
        super().__init__(case)

    def questions(self) -> Sequence[FormField]:
        number = str(self.case.log.plan.number(self.operation)) if self.operation else ""
        return (
            FormField("complaint", "Complaint", value=self._complaint()),
            FormField("finding", "What was found"),
            FormField("operation", "Number of the step", value=number, optional=True),
            FormField("outcome", "Outcome", tuple(OUTCOME_TEXT.items())),
            FormField("hours", "Hours of work", optional=True),
            person_field(self.case.shop, "Signed by", self.case.usual_person()),
        )

    def intro(self, width: int) -> list[Line]:
        text = (
            "It is added to the log, and shown in later reviews with the same complaint. "
            "Leave the number of the step empty if no step could have prevented it."
        )
        return [EMPTY, *(styled(part) for line in (text, self._chosen()) if line for part in wrap(line, width))]

    def typed(self, field: Input) -> None:
        super().typed(field)
        self.redraw()  # the step with the typed number is named

    def _chosen(self) -> str:
        """The step whose number is in the field."""
        if "operation" not in self.fields:
            return ""
        number = self.fields["operation"].value.strip()
        step = self.case.step_with_number(number)
        return f"Step: {self.case.title(step)}" if step else ""

    def _complaint(self) -> str:
        """The complaint as logged last; without one, as it was typed or chosen."""
        logged = self.case.last_complaint()
        return logged or self.found.asked or (self.found.complaint if self.found.taken else "")

    async def submit(self, values: dict[str, str]) -> None:
        given = {name: text for name, text in values.items() if text}
        number = given.pop("operation", "")
        if number:
            step = self.case.step_with_number(number)
            if not step:
                self.at = next(at for at, field in enumerate(self.form_fields) if field.name == "operation")
                self._focus_current()
                text = f"There is no step {number}. Write the number of a step, as at the bench."
                self.show_message(text, role="attention")
                return
            given["operation"] = step
        await self.record({"intent": "found", **given})
