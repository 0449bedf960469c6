"""From anything that is shown of an operation, one key to the moment, the procedure's text, its readings."""

from typing import Any

from textual.binding import Binding, BindingType

from benchflow.review.evidence.ranking import Reason
from benchflow.tui.review.review_case import Case
from benchflow.tui.widgets.page import Page, letter

MOMENT = Binding(letter("m"), "moment", "the moment", id="review.moment")
TEXT = Binding(letter("t"), "text", "procedure", id="review.text")
READINGS = Binding(letter("r"), "readings", "readings", id="review.readings")
ABOUT = Binding("f2," + letter("i"), "about_build", "this build", id="review.about")
READINGS_TOO = Binding(letter("r"), "readings", "readings", id="review.readings", show=False)
"""Where Enter opens them as well."""
DOORS: tuple[BindingType, ...] = (MOMENT, TEXT, READINGS_TOO)


class Doors(Page[Any], inherit_bindings=False):
    """``operation`` and ``seq`` are what the keys lead to now: ``""`` and ``None`` where there is nothing."""

    case: Case

    @property
    def operation(self) -> str:
        raise NotImplementedError

    @property
    def seq(self) -> int | None:
        raise NotImplementedError

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """What is held against the operation, where that was asked."""
        return ()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        match action:
            case "moment":
                return True if self.seq is not None else None
            case "text" | "readings":
                return True if self.operation else None
            case _:
                return True

    def action_moment(self) -> None:
        from benchflow.tui.review.replay_page import ReplayPage

        seq = self.seq
        assert seq is not None  # the key is not live without

        async def work() -> None:
            self.app.push_screen(ReplayPage(self.case, await self.case.moment(seq)))

        self.go(work())

    def action_text(self) -> None:
        from benchflow.tui.review.text_pages import ProcedurePage

        operation = self.operation

        async def work() -> None:
            self.app.push_screen(ProcedurePage(self.case, await self.case.pages(operation)))

        self.go(work())

    def action_readings(self) -> None:
        from benchflow.tui.review.text_pages import ReadingsPage

        operation, seq, reasons = self.operation, self.seq, self.reasons

        async def work() -> None:
            self.app.push_screen(ReadingsPage(self.case, await self.case.evidence(operation), reasons, seq))

        self.go(work())

    def action_about_build(self) -> None:
        from benchflow.tui.review.text_pages import BuildPage

        self.app.push_screen(BuildPage(self.case))
