"""A screen with a form: questions that are answered in a field or by a choice."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import ClassVar

from msgspec import Struct
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.session.refusal import Refusal
from benchflow.session.shop.register import Shop, works_here
from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, counted, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.entry_field import EntryField
from benchflow.tui.widgets.page import APP_KEYS, BACK, DrawnPage, Page, letter, scrolled_lines


class FormField(Struct, frozen=True):
    """One question of a form.

    ``choices`` are pairs of value and label; a question without choices has a text field. ``value`` is the initial
    value. If it is ``offered``, Enter accepts it, and a letter typed into its field replaces it. If
    ``keep`` is true, the draft is kept when the form is left. An ``optional`` question needs no answer.
    """

    name: str
    label: str
    choices: tuple[tuple[str, str], ...] = ()
    value: str = ""
    secret: bool = False
    keep: bool = True
    offered: bool = False
    optional: bool = False


def person_field(shop: Shop | None, label: str, value: str = "", role: str = "", keep: bool = True) -> FormField:
    """Return the question for a person. With a shop register it is a choice: only registered people may sign."""
    today = datetime.now(UTC).date()  # the day by which a signature is judged
    names = [
        person.name
        for person in (() if shop is None else shop.people)
        if works_here(person, today) and (not role or role in person.roles)
    ]
    if role and names and value not in names:
        value = ""
    if not names or (value and value not in names):
        return FormField("by", label, value=value, keep=keep, offered=bool(value))
    value = value or (names[0] if len(names) == 1 else "")
    return FormField("by", label, tuple((name, name) for name in names), value, offered=bool(value))


def signature_fields(client: SessionClient, label: str, role: str = "", name: str = "") -> tuple[FormField, ...]:
    """Return the questions for a signature: the person, and the PIN if there is a register.

    A signature for a ``role`` offers the last signer; any other offers ``name``.
    """
    person = person_field(client.shop(), label, client.usual_signer(role) if role else name, role, keep=False)
    if not client.has_register:
        return (person,)
    return person, FormField("pin", "PIN (leave empty if you have none)", secret=True, keep=False, optional=True)


def form_keys(submit: str, scrolls: bool = False) -> list[BindingType]:
    """Return the keys of a form. ``submit`` is the label of Enter on the last question.

    ``scrolls`` shows the scroll keys in the key bar.
    """
    return [
        Binding("enter", "next", "next", id="form.next"),
        Binding("enter", "submit", submit, id="form.submit"),
        Binding("down,tab", "move(1)", "field", id="form.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="form.up", show=False),
        Binding("right,space", "pick(1)", "choose", id="form.pick", key_display="←→"),
        Binding("left", "pick(-1)", "", id="form.pick-back", show=False),
        Binding("pagedown", "scroll(5)", "read on", id="form.scroll-down", show=scrolls, key_display="PgUp PgDn"),
        Binding("pageup", "scroll(-5)", "", id="form.scroll-up", show=False),
        Binding(letter("q"), "back", "back", id="form.back", show=False),
        BACK,
        *APP_KEYS,
    ]


class FormPage(Page[str], inherit_bindings=False):
    """A form. Its result is a message if the answers were saved, ``None`` if the form was left."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("submit")
    form = ""
    """Name of the form. The names of its drafts begin with it."""

    def __init__(self, client: SessionClient | None) -> None:
        super().__init__()
        self.client = client
        self.at = 0
        self.scrolled = 0
        self.form_fields: tuple[FormField, ...] = tuple(self.questions())
        self.picked: dict[str, str] = {
            question.name: question.value for question in self.form_fields if question.choices
        }
        self.fields: dict[str, EntryField] = {}
        self._opened_with: dict[str, str] = {}
        self._owners: dict[int, tuple[int, str]] = {}

    # --- implemented by each form ----------------------------------------------------------------------

    def questions(self) -> Sequence[FormField]:
        """Return the questions of the form."""
        raise NotImplementedError

    def intro(self, width: int) -> list[Line]:
        """Return the lines above the questions."""
        return []

    async def submit(self, values: dict[str, str]) -> None:
        """Send the answers and close the form, by :meth:`send` or :meth:`done`."""
        raise NotImplementedError

    async def send(self, message: str, intent: str, **fields: object) -> bool:
        """Send one intent. If it is accepted, the form closes with ``message``; if it is refused, it stays open."""
        assert self.client is not None  # only the forms of an open job send intents
        answer = await self.client.send(intent, **fields)
        if isinstance(answer, Refusal):
            self.refused(answer)
            return False
        self.done(message)
        return True

    def refused(self, refusal: Refusal) -> None:
        """Show the reasons, and select the first question that one of them refers to. A PIN is typed again."""
        for question in self.form_fields:
            if question.secret:
                self.fields[question.name].value = ""
        names = {name for reason in refusal.refused for name in (reason.name, reason.state) if name}
        for index, question in enumerate(self.form_fields):
            if question.name.rpartition(" ")[2] in names:
                self.at = index
                break
        self._focus_current()
        super().refused(refusal)

    def done(self, message: str) -> None:
        """Delete the drafts of the form and close it with a message."""
        if self.client is not None:
            for question in self.form_fields:
                self.client.drafts.set_text(self._draft(question), "")
            self.bench_app.save_soon()
        self.dismiss(message)

    # --- drawing and keys ---------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        for question in self.form_fields:
            if not question.choices:
                text = question.value or (
                    self.client.drafts.text(self._draft(question)) if self.client and question.keep else ""
                )
                self.fields[question.name] = EntryField(
                    self.bench_app.bench_theme, "secret" if question.secret else "text", text
                )
        self.entries = list(self.fields.values())
        yield from super().compose()

    def on_mount(self) -> None:
        super().on_mount()
        self._opened_with = self._answers()
        self.at = self._next_index(-1) or 0
        self._focus_current()

    def _draft(self, question: FormField) -> str:
        return f"{self.form} {question.name}"

    def typed(self, field: Input) -> None:
        for question in self.form_fields:
            if (
                self.client is not None
                and self.fields.get(question.name) is field
                and question.keep
                and not question.secret
            ):
                self.client.drafts.set_text(self._draft(question), field.value)
                self.bench_app.save_soon()

    def _focus_current(self) -> None:
        entry = self.fields.get(self.form_fields[self.at].name) if self.form_fields else None
        if entry is not None:
            entry.display = True
            if self.form_fields[self.at].offered and entry.value == self.form_fields[self.at].value:
                entry.action_select_all()
        self.focus_on(entry)
        self.redraw()

    def body(self, width: int, height: int) -> DrawnPage:
        lines: list[Line] = []
        places: list[FieldPlace] = []
        at = (0, 0)
        owners: list[tuple[int, str]] = []  # for each line: its question and its choice
        for index, question in enumerate(self.form_fields):
            start = len(lines)
            lines.extend(self._question_lines(question, index == self.at, width))
            shown = [value for value, _ in question.choices]
            owners.extend([(index, "")] * (len(lines) - start - len(shown)) + [(index, value) for value in shown])
            if not question.choices:
                places.append(FieldPlace(2, len(lines), width - 4))
                lines.append(EMPTY)
            lines.append(EMPTY)
            owners.extend([(index, "")] * (len(lines) - len(owners)))
            if index == self.at:
                at = (start, len(lines))
        intro = self.intro(width)
        available = max(height - len(intro) - 1, min(len(lines), max(height * 2 // 3, at[1] - at[0])))
        below: list[Line] = []
        if len(lines) > available:
            available = max(available - 1, 1)
        room = max(height - available - 1, 0)
        self.scrolled = min(self.scrolled, max(len(intro) - room + 1, 0))
        top = scrolled_lines(intro, self.scrolled, room) if intro else []
        first = max(0, min(at[0], at[1] - available)) if len(lines) > available else 0
        if first + available < len(lines):
            below = [styled(f"  ▼ {counted(len(lines) - first - available, 'more line')} (↓)", "attention")]
        whole = [*top, EMPTY, *lines[first : first + available], *below]
        shift = len(top) + 1 - first
        self._owners = {y + shift + 1: owner for y, owner in enumerate(owners[: first + available]) if y >= first}
        seen = tuple(
            FieldPlace(place.x, place.y + shift, place.width) if first <= place.y < first + available else None
            for place in places
        )
        return DrawnPage(tuple(whole), seen)

    def _question_lines(self, question: FormField, selected: bool, width: int) -> list[Line]:
        role: Role = "strong" if selected else "text"
        mark = ("► " if selected else "  ", "now")
        out: list[Line] = [
            ((mark[0] if index == 0 else "  ", "now"), (part, role))
            for index, part in enumerate(wrap(question.label, width - 2))
        ]
        for value, label in question.choices:
            taken = self.picked.get(question.name) == value
            out.append(
                (("    ● " if taken else "    ○ ", "now" if taken else "text"), (label, "strong" if taken else "text"))
            )
        return out

    def clicked(self, row: int) -> None:
        index, value = self._owners.get(row, (-1, ""))
        if index < 0:
            return
        self.at = index
        if value:
            self.picked[self.form_fields[index].name] = value
        self._focus_current()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        last = self._next_index(self.at) is None
        match action:
            case "next":
                return not last
            case "submit":
                return last
            case "pick":
                return bool(self.form_fields and self.form_fields[self.at].choices)
            case "move":
                return len(self.form_fields) > 1
            case _:
                return True

    def _next_index(self, after: int) -> int | None:
        """Return the index of the next question whose answer is not offered, ``None`` if there is none."""
        order = range(after + 1, len(self.form_fields))
        return next((index for index in order if not self.form_fields[index].offered), None)

    def action_next(self) -> None:
        found = self._next_index(self.at)
        assert found is not None  # otherwise Enter submits
        self.at = found
        self._focus_current()

    def action_move(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), max(len(self.form_fields) - 1, 0))
        self._focus_current()

    def action_pick(self, by: int) -> None:
        question = self.form_fields[self.at]
        values = [value for value, _ in question.choices]
        now = self.picked[question.name]
        self.picked[question.name] = (
            values[(values.index(now) + by) % len(values)] if now in values else values[0 if by > 0 else -1]
        )
        self.redraw()

    def action_scroll(self, by: int) -> None:
        self.scrolled = max(self.scrolled + by, 0)
        self.redraw()

    def _is_untouched(self) -> bool:
        """True if no answer was changed since the form was opened."""
        return self._opened_with == self._answers()

    def _answers(self) -> dict[str, str]:
        return {name: field.value for name, field in self.fields.items()} | self.picked

    def action_submit(self) -> None:
        if self._is_untouched() and self._refused_bounce():
            return  # a bounce of the Enter that opened the form
        for index, question in enumerate(self.form_fields):
            if question.choices and not self.picked[question.name]:
                self.at = index
                self._focus_current()
                self.show_message("Choose an answer with ← and →.", role="attention")
                return
        values = {
            question.name: self.fields[question.name].value.strip()
            for question in self.form_fields
            if not question.choices
        }
        self.run_holding_keys(self.submit({**values, **self.picked}))
