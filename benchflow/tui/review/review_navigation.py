"""The keys that open the replay, the procedure text and the readings of an operation."""

from typing import Any

from textual.binding import Binding, BindingType

from benchflow.review.evidence.ranking import WeakPoint
from benchflow.tui.review.review_case import ReviewCase
from benchflow.tui.review.review_requests import BuildRequest, EvidenceRequest, OperationTextRequest, ReplayRequest
from benchflow.tui.widgets.page import Page, letter

REPLAY = Binding(letter("m"), "replay", "replay", id="review.replay")
TEXT = Binding(letter("t"), "text", "procedure", id="review.text")
READINGS = Binding(letter("r"), "readings", "readings", id="review.readings")
ABOUT = Binding("f2," + letter("i"), "about_build", "this build", id="review.about")
QUESTIONS = Binding("f3", "questions", "first questions", id="review.questions")
HIDDEN_READINGS = Binding(letter("r"), "readings", "readings", id="review.readings", show=False)
"""The same key, not shown in the key bar. It is for screens on which Enter also opens the readings."""
NAVIGATION: tuple[BindingType, ...] = (REPLAY, TEXT, HIDDEN_READINGS)


class ReviewNavigation(Page[Any], inherit_bindings=False):
    """Opens other screens of the review for the selected operation and event.

    ``operation`` is empty if there is none. ``seq`` is the number of the event, ``None`` if there is none.
    """

    case: ReviewCase

    @property
    def operation(self) -> str:
        raise NotImplementedError

    @property
    def seq(self) -> int | None:
        raise NotImplementedError

    @property
    def reasons(self) -> tuple[WeakPoint, ...]:
        """The weak points of the operation, if they are known."""
        return ()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        match action:
            case "replay":
                return True if self.seq is not None else None
            case "text" | "readings":
                return True if self.operation else None
            case _:
                return True

    def action_replay(self) -> None:
        seq = self.seq
        assert seq is not None  # without an event, the key is greyed

        async def work() -> None:
            self.bench_app.open(ReplayRequest(self.case, await self.case.point_at(seq)))

        self.run_holding_keys(work())

    def action_text(self) -> None:
        operation = self.operation

        async def work() -> None:
            self.bench_app.open(OperationTextRequest(self.case, await self.case.operation_text(operation)))

        self.run_holding_keys(work())

    def action_readings(self) -> None:
        operation, seq, reasons = self.operation, self.seq, self.reasons

        async def work() -> None:
            self.bench_app.open(EvidenceRequest(self.case, await self.case.evidence(operation), reasons, seq))

        self.run_holding_keys(work())

    def action_about_build(self) -> None:
        self.bench_app.open(BuildRequest(self.case))
