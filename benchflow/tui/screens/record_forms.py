"""The small forms of the bench: a note, a signature, a deviation, a remedy carried out."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType

from benchflow.session.view.bench_view import ChoiceInput, HoldInput, NowView, ReadingInput, TightenInput, WorkedInput
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled, wrap
from benchflow.tui.model.bench_inputs import BenchInput, input_of
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys, who


class NotePage(FormPage, inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = form_keys("write it down")
    title_line = "A note"
    form = "note"

    def __init__(self, client: SessionClient, operation: str) -> None:
        self.operation = operation
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        return (FormField("text", "What should be remembered of this moment?"),)

    async def submit(self, values: dict[str, str]) -> None:
        if not values["text"]:
            self.show_message("Nothing is written yet. Esc goes back.", role="weak")
            return
        await self.send("Noted.", "note", text=values["text"], operation=self.operation or None)


class SignPage(FormPage, inherit_bindings=False):
    """A hold point: a second pair of eyes."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("sign")
    title_line = "Hold point"
    form = "sign"

    def __init__(self, client: SessionClient, operation: str) -> None:
        self.now = client.operation(operation)
        self.pins, self.shop = client.has_register, client.shop()
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        role = self._hold().role
        name = who(self.shop, f"Name of the {role} who signs", role=role, keep=False)
        pin = FormField("pin", "PIN (empty if there is none)", secret=True, keep=False)
        return (name, pin) if self.pins else (name,)

    def _hold(self) -> HoldInput:
        return next(each for each in self.now.inputs if isinstance(each, HoldInput))

    def intro(self, width: int) -> list[Line]:
        hold = self._hold()
        lines = [EMPTY, styled(f"{self.now.number}  {self.now.title}", "title"), EMPTY]
        lines.extend(hanging("Look at: ", hold.text, width, "strong", "label"))
        lines.append(EMPTY)
        lines.extend(styled(part) for part in wrap("Nothing that comes after it may start before it is signed.", width))
        return lines

    async def submit(self, values: dict[str, str]) -> None:
        if not values["by"]:
            self.show_message("A signature has a name.", role="weak")
            return
        await self.send(
            f"Signed by {values['by']}.",
            "sign",
            operation=self.now.operation,
            by=values["by"],
            pin=values.get("pin") or None,
        )


class DeviationPage(FormPage, inherit_bindings=False):
    """A limit, a hold or a time window waived, with a reason and a name. Never an interference rule."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("sign the deviation")
    title_line = "Deviation"
    form = "deviate"

    def __init__(self, client: SessionClient, operation: str) -> None:
        self.now = client.operation(operation)
        self.clocks = client.view.clocks
        self.pins, self.shop = client.has_register, client.shop()
        self.who = client.view.by
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        about = tuple(self._about())
        form_fields = [
            FormField("about", "What is waived?", about, self._likely(about)),
            FormField("reason", "Why does it stay as it is?"),
            who(self.shop, "Who answers for it?", self.who, keep=False),
        ]
        return (
            (*form_fields, FormField("pin", "PIN (empty if there is none)", secret=True, keep=False))
            if self.pins
            else form_fields
        )

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
        timed = any(row.operation == self.now.operation for row in self.clocks)
        return [*out, ("time", "the time window")] if timed else out

    def _likely(self, about: tuple[tuple[str, str], ...]) -> str:
        """What is amiss now, if it is one thing; else the only thing that there is."""
        wrong_ones = [
            given.name
            for given in self.now.inputs
            if isinstance(given, ReadingInput) and not given.complete
            if any(slot.verdict in ("out", "not-proven") for slot in given.readings)
        ]
        wrong_ones += [
            given.name
            for given in self.now.inputs
            if isinstance(given, WorkedInput) and not given.complete and given.verdict in ("out", "not-proven")
        ]
        if any(reason.code in ("too-early", "too-late") for reason in self.now.missing):
            wrong_ones.append("time")
        named = wrong_ones or [name for name, _ in about]
        return named[0] if len(named) == 1 else ""

    def intro(self, width: int) -> list[Line]:
        words = (
            "A deviation waives a limit, a hold or a time window, with a reason and a name, and stands in the "
            "log and on the build sheet. The order and the interference rules cannot be waived."
        )
        return [
            EMPTY,
            styled(f"{self.now.number}  {self.now.title}", "title"),
            *(styled(part) for part in wrap(words, width)),
        ]

    async def submit(self, values: dict[str, str]) -> None:
        await self.send(
            "The deviation stands in the log.",
            "deviate",
            operation=self.now.operation,
            about=values["about"],
            reason=values["reason"],
            by=values["by"] or None,
            pin=values.get("pin") or None,
        )


def waived_title(now: NowView, about: str) -> str:
    """What a deviation speaks of, by its question or title and not by its name in the file."""
    for given in now.inputs:
        match given:
            case ReadingInput(name=name, ask=words) | WorkedInput(name=name, title=words) if name == about:
                return words
            case ChoiceInput(name=name, title=words) | TightenInput(joint=name, title=words) if name == about:
                return words
            case _:
                pass
    return {"hold": "the hold", "time": "the time window"}.get(about.partition(" ")[0], about)


class RemedyPage(FormPage, inherit_bindings=False):
    """What the author says to do about a value out of its limit; agreed to once it has been done."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("it has been done")
    title_line = "Out of its limit"
    form = "remedy"

    def __init__(self, client: SessionClient, item: BenchInput) -> None:
        given = input_of(item)
        assert isinstance(given, ReadingInput | WorkedInput)  # only these have remedies
        self.given = given
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        return ()

    def intro(self, width: int) -> list[Line]:
        given = self.given
        name = given.ask if isinstance(given, ReadingInput) else given.title
        lines: list[Line] = [EMPTY, styled(name, "title"), styled(f"Limit: {given.limit}"), EMPTY]
        lines.extend(hanging("→ ", given.remedy, width, "strong", "weak"))
        lines.append(EMPTY)
        if given.redo:
            lines.extend(
                [*hanging("After it, to be done again: ", "; ".join(given.redo), width, "strong", "label"), EMPTY]
            )
        words = "Enter says that this has been done; measure again then. d on the bench signs a deviation instead."
        if given.stops:
            words = (
                "This cannot be mended here. A value that was read wrongly is measured again on the bench; d there "
                "signs a deviation where the part stays as it is."
            )
        return [*lines, *(styled(part) for part in wrap(words, width))]

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "agree" and self.given.stops:
            return None
        return super().check_action(action, parameters)

    async def submit(self, values: dict[str, str]) -> None:
        again = (
            f"To be done again now, then measured: {'; '.join(self.given.redo)}."
            if self.given.redo
            else "Measure again."
        )
        await self.send(f"The remedy was carried out. {again}", "remedy", name=self.given.name)
