"""Putting a wrong entry right: the wrong one stays in the log, and the right one names it."""

from collections.abc import Iterator, Sequence
from typing import ClassVar

from msgspec import Struct
from textual.binding import BindingType

from benchflow.session.rules.verdicts import of_stored
from benchflow.session.state.state import State
from benchflow.session.view.reading_text import shown
from benchflow.tui.app.session_client import Seat
from benchflow.tui.bench.entry_actions import with_own_unit
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, say, wrap
from benchflow.tui.widgets.form_page import Ask, FormPage, form_keys
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys


class Entered(Struct, frozen=True):
    """A reading or a lot that counts now. ``seq`` is its number in the log."""

    seq: int
    operation: str
    what: str
    shown: str
    unit: str


def entered(state: State) -> Iterator[Entered]:
    """Everything that can be put right, the latest first."""
    for seq, (step_id, name, slot) in sorted(state.recorded.items(), reverse=True):
        step, work = state.plan.steps[step_id], state.work(step_id)
        title = f"{state.plan.number(step_id)} {step.title}"
        if slot == "lot":
            lot = work.lots.get(name)
            if lot is not None:
                yield Entered(seq, title, f"lot of {name}", lot, "")
            continue
        attempts = work.readings.get(name, {}).get(slot, ())
        if attempts and attempts[-1].seq == seq:
            record = next(each for each in step.operation.record if each.name == name)
            which = f", {slot}" if len(record.slots) > 1 else ""
            quantity = of_stored(attempts[-1].quantity)
            yield Entered(seq, title, f"{record.ask or name}{which}", shown(quantity), record.unit)


class EntriesPage(ListPage[str], inherit_bindings=False):
    """Gives back what was put right."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("put it right"), *leaving_keys()]
    title_line = "Correct an entry"

    def __init__(self, seat: Seat) -> None:
        super().__init__()
        self.seat = seat
        self.rows = list(entered(seat.state))

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        words = "Nothing is ever rubbed out: the wrong entry stays in the log, and the right one names it."
        if not self.rows:
            words = "Nothing has been entered yet that could be put right."
        return [EMPTY, *(say(part, "faint") for part in wrap(words, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        each = self.rows[index]
        return ((cut(each.what, width - 26).ljust(width - 25), "text"), (cut(each.shown, 24), "strong"))

    def about(self, width: int) -> list[Line]:
        return [say(self.rows[self.at].operation, "label")] if self.rows else []

    def chosen(self) -> None:
        self.app.push_screen(CorrectPage(self.seat, self.rows[self.at]), self._put_right)

    def _put_right(self, said: str | None) -> None:
        if said:
            self.dismiss(said)


class CorrectPage(FormPage, inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = form_keys("put it right")
    title_line = "Correct an entry"
    form = "correct"

    def __init__(self, seat: Seat, entry: Entered) -> None:
        self.entry = entry
        super().__init__(seat)

    def questions(self) -> Sequence[Ask]:
        unit = f", in {self.entry.unit}" if self.entry.unit else ""
        return (
            Ask("value", f"What should it be{unit}?", keep=False),
            Ask("reason", "What was wrong with the entry?", keep=False),
        )

    def intro(self, width: int) -> list[Line]:
        each = self.entry
        return [
            EMPTY,
            say(each.operation, "label"),
            *(say(part, "title") for part in wrap(each.what, width)),
            (("It says ", "text"), (each.shown, "strong")),
            EMPTY,
        ]

    async def agreed(self, values: dict[str, str]) -> None:
        value = with_own_unit(values["value"], self.entry.unit)
        said = f"Put right: {self.entry.what}"
        await self.send(said, "correct", event=self.entry.seq, value=value, reason=values["reason"])
