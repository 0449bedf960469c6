"""A few questions, one below the other: fields to type into and choices to pick from."""

from collections.abc import Sequence
from typing import ClassVar

from msgspec import Struct
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.session.refusal import Refusal
from benchflow.session.shop.register import Shop
from benchflow.tui.app.session_client import Seat
from benchflow.tui.draw.field_rows import Place
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, say, wrap
from benchflow.tui.widgets.entry_field import Entry
from benchflow.tui.widgets.page import APP_KEYS, BACK, Drawn, Page, letter, turned


class Ask(Struct, frozen=True):
    """``choices`` are (value, words) pairs; without any it is a field for words. ``value`` is what stands
    there to begin with. ``keep`` says whether half-typed words survive leaving."""

    name: str
    label: str
    choices: tuple[tuple[str, str], ...] = ()
    value: str = ""
    secret: bool = False
    keep: bool = True


def who(shop: Shop | None, label: str, value: str = "", role: str = "", keep: bool = True) -> Ask:
    """Somebody's name: to be picked where the shop has a register of its people, since nobody else may sign there."""
    names = [
        person.name
        for person in (() if shop is None else shop.people)
        if person.retired is None and (not role or role in person.roles)
    ]
    if not names or (value and value not in names):
        return Ask("by", label, value=value, keep=keep)
    return Ask("by", label, tuple((name, name) for name in names), value or (names[0] if len(names) == 1 else ""))


def form_keys(agree: str) -> list[BindingType]:
    """``agree`` is what Enter does on the last question, in the form's own words."""
    return [
        Binding("enter", "next", "next", id="form.next"),
        Binding("enter", "agree", agree, id="form.agree"),
        Binding("down,tab", "move(1)", "question", id="form.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="form.up", show=False),
        Binding("right,space", "pick(1)", "choose", id="form.pick", key_display="←→"),
        Binding("left", "pick(-1)", "", id="form.pick-back", show=False),
        Binding("pagedown", "turn(5)", "read on", id="form.read-on", show=False, key_display="PgUp PgDn"),
        Binding("pageup", "turn(-5)", "", id="form.read-back", show=False),
        Binding(letter("q"), "back", "back", id="form.back", show=False),
        BACK,
        *APP_KEYS,
    ]


class FormPage(Page[str], inherit_bindings=False):
    """Gives back what is to be said once it is on disk, ``None`` when nothing was agreed to."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("agree")
    form = ""
    """A name for what is kept of half-typed words."""

    def __init__(self, seat: Seat | None) -> None:
        super().__init__()
        self.seat = seat
        self.at = 0
        self.turned = 0
        self.asks: tuple[Ask, ...] = tuple(self.questions())
        self.picked: dict[str, str] = {ask.name: ask.value for ask in self.asks if ask.choices}
        self.fields: dict[str, Entry] = {}
        self._owners: dict[int, tuple[int, str]] = {}

    # --- for the form itself ----------------------------------------------------------------------

    def questions(self) -> Sequence[Ask]:
        raise NotImplementedError

    def intro(self, width: int) -> list[Line]:
        """What is to be read before the questions."""
        return []

    async def agreed(self, values: dict[str, str]) -> None:
        """Everything was answered and agreed to: send it, and close with :meth:`done`."""
        raise NotImplementedError

    async def send(self, said: str, intent: str, **fields: object) -> bool:
        """One intent; the form closes when it is on disk, and stays as it is when it is refused."""
        assert self.seat is not None  # a form that sends has a session
        answer = await self.seat.send(intent, **fields)
        if isinstance(answer, Refusal):
            self.refused(answer)
            return False
        self.done(said)
        return True

    def refused(self, refusal: Refusal) -> None:
        """The reasons stay, and the first question that one of them speaks of is in hand."""
        names = {name for reason in refusal.refused for name in (reason.name, reason.state) if name}
        for index, ask in enumerate(self.asks):
            if ask.name.rpartition(" ")[2] in names:
                self.at = index
                break
        self._stand()
        super().refused(refusal)

    def done(self, said: str) -> None:
        if self.seat is not None:
            for ask in self.asks:
                self.seat.drafts.keep(self._draft(ask), "")
            self.bench.save_soon()
        self.dismiss(said)

    # --- the rest ---------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        for ask in self.asks:
            if not ask.choices:
                text = ask.value or (self.seat.drafts.text(self._draft(ask)) if self.seat and ask.keep else "")
                self.fields[ask.name] = Entry(self.bench.look, "secret" if ask.secret else "words", text)
        self.entries = list(self.fields.values())
        yield from super().compose()

    def on_mount(self) -> None:
        super().on_mount()
        self._stand()

    def _draft(self, ask: Ask) -> str:
        return f"{self.form} {ask.name}"

    def typed(self, field: Input) -> None:
        for ask in self.asks:
            if self.seat is not None and self.fields.get(ask.name) is field and ask.keep and not ask.secret:
                self.seat.drafts.keep(self._draft(ask), field.value)
                self.bench.save_soon()

    def _stand(self) -> None:
        entry = self.fields.get(self.asks[self.at].name) if self.asks else None
        if entry is not None:
            entry.display = True
        self.focus_on(entry)
        self.redraw()

    def body(self, width: int, height: int) -> Drawn:
        lines: list[Line] = []
        places: list[Place] = []
        at = (0, 0)
        owners: list[tuple[int, str]] = []  # of each line: its question, and the choice that it shows
        for index, ask in enumerate(self.asks):
            start = len(lines)
            lines.extend(self._question(ask, index == self.at, width))
            shown = [value for value, _ in ask.choices]
            owners.extend([(index, "")] * (len(lines) - start - len(shown)) + [(index, value) for value in shown])
            if not ask.choices:
                places.append(Place(2, len(lines), width - 4))
                lines.append(EMPTY)
            lines.append(EMPTY)
            owners.extend([(index, "")] * (len(lines) - len(owners)))
            if index == self.at:
                at = (start, len(lines))
        intro = self.intro(width)
        room = max(height - len(intro) - 1, min(len(lines), max(height * 2 // 3, at[1] - at[0])))
        top = turned(intro, self.turned, max(height - room - 1, 0)) if intro else []
        first = max(0, min(at[0], at[1] - room)) if len(lines) > room else 0
        whole = [*top, EMPTY, *lines[first : first + room]]
        shift = len(top) + 1 - first
        self._owners = {y + shift + 1: owner for y, owner in enumerate(owners[: first + room]) if y >= first}
        seen = tuple(
            Place(place.x, place.y + shift, place.width) if first <= place.y < first + room else None
            for place in places
        )
        return Drawn(tuple(whole), seen)

    def _question(self, ask: Ask, here: bool, width: int) -> list[Line]:
        role: Role = "strong" if here else "text"
        mark = ("► " if here else "  ", "now")
        out: list[Line] = [
            ((mark[0] if index == 0 else "  ", "now"), (part, role))
            for index, part in enumerate(wrap(ask.label, width - 2))
        ]
        for value, words in ask.choices:
            taken = self.picked.get(ask.name) == value
            out.append(
                (("    ● " if taken else "    ○ ", "now" if taken else "text"), (words, "strong" if taken else "text"))
            )
        return out

    def touched(self, row: int) -> None:
        index, value = self._owners.get(row, (-1, ""))
        if index < 0:
            return
        self.at = index
        if value:
            self.picked[self.asks[index].name] = value
        self._stand()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        last = self.at >= len(self.asks) - 1
        match action:
            case "next":
                return not last
            case "agree":
                return last
            case "pick":
                return bool(self.asks and self.asks[self.at].choices)
            case "move":
                return len(self.asks) > 1
            case _:
                return True

    def action_next(self) -> None:
        self.action_move(1)

    def action_move(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), max(len(self.asks) - 1, 0))
        self._stand()

    def action_pick(self, by: int) -> None:
        ask = self.asks[self.at]
        values = [value for value, _ in ask.choices]
        now = self.picked[ask.name]
        self.picked[ask.name] = (
            values[(values.index(now) + by) % len(values)] if now in values else values[0 if by > 0 else -1]
        )
        self.redraw()

    def action_turn(self, by: int) -> None:
        self.turned = max(self.turned + by, 0)
        self.redraw()

    def action_agree(self) -> None:
        for index, ask in enumerate(self.asks):
            if ask.choices and not self.picked[ask.name]:
                self.at = index
                self._stand()
                self.say("Choose one with ← and →.", role="weak")
                return
        values = {ask.name: self.fields[ask.name].value.strip() for ask in self.asks if not ask.choices}
        self.go(self.agreed({**values, **self.picked}))


def told(texts: Sequence[str], width: int, role: Role = "text") -> list[Line]:
    return [say(part, role) for text in texts for part in wrap(text, width)]
