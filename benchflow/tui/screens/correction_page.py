"""Putting a wrong entry right: the wrong one stays in the log, and the right one names it."""

from collections.abc import Iterator, Sequence
from typing import ClassVar

from msgspec import Struct
from textual.binding import BindingType

from benchflow.session.rules.verdicts import of_stored
from benchflow.session.state.state import State
from benchflow.session.view.reading_text import shown
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import with_own_unit
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys


class LoggedEntry(Struct, frozen=True):
    """A reading or a lot that counts now. ``seq`` is its number in the log."""

    seq: int
    operation: str
    what: str
    shown: str
    unit: str


def entered(state: State) -> Iterator[LoggedEntry]:
    """Everything that can be put right, the latest first."""
    for seq, entry in sorted(state.correctable.items(), reverse=True):
        step_id, name, slot = entry.operation, entry.name, entry.reading
        step, work = state.plan.steps[step_id], state.work(step_id)
        title = f"{state.plan.number(step_id)} {step.title}"
        if entry.kind == "lot":
            lot = work.lots.get(name)
            if lot is not None:
                yield LoggedEntry(seq, title, f"lot of {name}", lot, "")
            continue
        attempts = work.readings.get(name, {}).get(slot, ())
        if attempts and attempts[-1].seq == seq:
            record = next(each for each in step.operation.record if each.name == name)
            which = f", {slot}" if len(record.slots) > 1 else ""
            quantity = of_stored(attempts[-1].quantity)
            yield LoggedEntry(seq, title, f"{record.ask or name}{which}", shown(quantity), record.unit)


class CorrectionListPage(ListPage[str], inherit_bindings=False):
    """Gives back what was put right."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("put it right"), *leaving_keys()]
    title_line = "Correct an entry"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client
        self.rows = list(entered(client.state))

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        words = "Nothing is ever rubbed out: the wrong entry stays in the log, and the right one names it."
        if not self.rows:
            words = "Nothing has been entered yet that could be put right."
        return [EMPTY, *(styled(part, "faint") for part in wrap(words, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        each = self.rows[index]
        return ((cut(each.what, width - 26).ljust(width - 25), "text"), (cut(each.shown, 24), "strong"))

    def about(self, width: int) -> list[Line]:
        return [styled(self.rows[self.at].operation, "label")] if self.rows else []

    def chosen(self) -> None:
        self.app.push_screen(CorrectionPage(self.client, self.rows[self.at]), self._put_right)

    def _put_right(self, message: str | None) -> None:
        if message:
            self.dismiss(message)


class CorrectionPage(FormPage, inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = form_keys("put it right")
    title_line = "Correct an entry"
    form = "correct"

    def __init__(self, client: SessionClient, entry: LoggedEntry) -> None:
        self.entry = entry
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        unit = f", in {self.entry.unit}" if self.entry.unit else ""
        return (
            FormField("value", f"What should it be{unit}?", keep=False),
            FormField("reason", "What was wrong with the entry?", keep=False),
        )

    def intro(self, width: int) -> list[Line]:
        each = self.entry
        return [
            EMPTY,
            styled(each.operation, "label"),
            *(styled(part, "title") for part in wrap(each.what, width)),
            (("It says ", "text"), (each.shown, "strong")),
            EMPTY,
        ]

    async def submit(self, values: dict[str, str]) -> None:
        value = with_own_unit(values["value"], self.entry.unit)
        message = f"Put right: {self.entry.what}"
        await self.send(message, "correct", event=self.entry.seq, value=value, reason=values["reason"])
