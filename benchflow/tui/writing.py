"""The small forms of the bench: a note, a signature, a deviation, a remedy carried out."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType

from benchflow.session.view import HoldInput, ReadingInput, TightenInput, WorkedInput
from benchflow.tui.draw_now import draw_cautions
from benchflow.tui.form import Ask, FormPage, form_keys
from benchflow.tui.lines import EMPTY, Line, hang, say, wrap
from benchflow.tui.seat import Seat
from benchflow.tui.wants import Want, input_of


class NotePage(FormPage, inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = form_keys("write it down")
    title_line = "A note"
    form = "note"

    def __init__(self, seat: Seat, operation: str) -> None:
        self.operation = operation
        super().__init__(seat)

    def questions(self) -> Sequence[Ask]:
        return (Ask("text", "What should be remembered of this moment?"),)

    async def agreed(self, values: dict[str, str]) -> None:
        if not values["text"]:
            self.say("Nothing is written yet. Esc goes back.", role="weak")
            return
        await self.send("Noted.", "note", text=values["text"], operation=self.operation or None)


class SignPage(FormPage, inherit_bindings=False):
    """A hold point: a second pair of eyes."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("sign")
    title_line = "Hold point"
    form = "sign"

    def __init__(self, seat: Seat, operation: str) -> None:
        self.now = seat.operation(operation)
        self.pins = seat.has_register
        super().__init__(seat)

    def questions(self) -> Sequence[Ask]:
        who = Ask("by", f"Name of the {self._hold().role} who signs", keep=False)
        pin = Ask("pin", "PIN (empty if there is none)", secret=True, keep=False)
        return (who, pin) if self.pins else (who,)

    def _hold(self) -> HoldInput:
        return next(each for each in self.now.inputs if isinstance(each, HoldInput))

    def intro(self, width: int) -> list[Line]:
        hold = self._hold()
        lines = [EMPTY, say(f"{self.now.number}  {self.now.title}", "title"), EMPTY]
        lines.extend(hang("Look at: ", hold.text, width, "strong", "label"))
        lines.append(EMPTY)
        lines.extend(say(part) for part in wrap("Nothing that comes after it may start before it is signed.", width))
        return lines

    async def agreed(self, values: dict[str, str]) -> None:
        if not values["by"]:
            self.say("A signature has a name.", role="weak")
            return
        await self.send(
            f"Signed by {values['by']}.",
            "sign",
            operation=self.now.operation,
            by=values["by"],
            pin=values.get("pin") or None,
        )


class DeviatePage(FormPage, inherit_bindings=False):
    """A limit, a hold or a time window waived, with a reason and a name. Never an interference rule."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("sign the deviation")
    title_line = "Deviation"
    form = "deviate"

    def __init__(self, seat: Seat, operation: str) -> None:
        self.now = seat.operation(operation)
        self.pins = seat.has_register
        self.who = seat.view.by
        super().__init__(seat)

    def questions(self) -> Sequence[Ask]:
        asks = [
            Ask("about", "What is waived?", tuple(self._about())),
            Ask("reason", "Why does it stay as it is?"),
            Ask("by", "Who answers for it?", value=self.who, keep=False),
        ]
        return (*asks, Ask("pin", "PIN (empty if there is none)", secret=True, keep=False)) if self.pins else asks

    def _about(self) -> list[tuple[str, str]]:
        out: list[tuple[str, str]] = []
        for given in self.now.inputs:
            match given:
                case ReadingInput():
                    out.append((given.name, f"{given.ask} ({given.limit})" if given.limit else given.ask))
                case WorkedInput():
                    out.append((given.name, f"{given.title} ({given.limit})" if given.limit else given.title))
                case TightenInput():
                    out.append((given.joint, given.title))
                case HoldInput():
                    out.append(("hold", f"the hold: {given.role} signs"))
                case _:
                    pass
        return [*out, ("time", "the time window")]

    def intro(self, width: int) -> list[Line]:
        words = (
            "A deviation waives a limit, a hold or a time window, with a reason and a name, and stands in the "
            "log and on the build sheet. The order and the interference rules cannot be waived."
        )
        return [
            EMPTY,
            say(f"{self.now.number}  {self.now.title}", "title"),
            *(say(part) for part in wrap(words, width)),
        ]

    async def agreed(self, values: dict[str, str]) -> None:
        await self.send(
            "The deviation stands in the log.",
            "deviate",
            operation=self.now.operation,
            about=values["about"],
            reason=values["reason"],
            by=values["by"] or None,
            pin=values.get("pin") or None,
        )


class RemedyPage(FormPage, inherit_bindings=False):
    """What the author says to do about a value out of its limit; agreed to once it has been done."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("it has been done")
    title_line = "Out of its limit"
    form = "remedy"

    def __init__(self, seat: Seat, want: Want) -> None:
        given = input_of(want)
        assert isinstance(given, ReadingInput | WorkedInput)  # only these have remedies
        self.given = given
        super().__init__(seat)

    def questions(self) -> Sequence[Ask]:
        return ()

    def intro(self, width: int) -> list[Line]:
        given = self.given
        name = given.ask if isinstance(given, ReadingInput) else given.title
        lines: list[Line] = [EMPTY, say(name, "title"), say(f"Limit: {given.limit}"), EMPTY]
        lines.extend(hang("→ ", given.remedy, width, "strong", "weak"))
        lines.append(EMPTY)
        words = "Enter says that this has been done; measure again then. d on the bench signs a deviation instead."
        lines.extend(say(part) for part in wrap(words, width))
        return [*lines, *draw_cautions((), width)]

    async def agreed(self, values: dict[str, str]) -> None:
        await self.send("The remedy was carried out. Measure again.", "remedy", name=self.given.name)
