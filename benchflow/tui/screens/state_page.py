"""The state of the assembly, and the form for a state found."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType

from benchflow.procedure.evidence import ANYONE, NEVER
from benchflow.procedure.model import Variable
from benchflow.tui.draw.styled_lines import EMPTY, Line, cell_count, cut, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys, signature_fields
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys

UNKNOWN = "?"


class StatePage(ListPage[str], inherit_bindings=False):
    """The list of all state variables."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("change"), *leaving_keys()]
    title_line = "State"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client
        self.rows = client.view.state_rows
        self.at = next((index for index, row in enumerate(self.rows) if not row.known), 0)

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        text = (
            "This is the state according to the entries. If the real state differs, change it here. The state decides "
            "what is allowed."
        )
        return [EMPTY, *(styled(part, "faint") for part in wrap(text, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        each = self.rows[index]
        column = min(max(cell_count(row.title) for row in self.rows) + 3, width // 2)
        text = each.value if each.known else "? not known"
        return ((cut(each.title, column - 1).ljust(column), "text"), (text, "strong" if each.known else "attention"))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "choose":
            blocked = self.client.view.read_only or self.client.view.closed or not self.rows
            return None if blocked else True
        return True

    def open_selected(self) -> None:
        name = self.rows[self.at].variable
        variable = self.client.controller.procedure.variables_by_name[name]
        self.app.push_screen(StateFoundPage(self.client, variable), self._found)

    def _found(self, message: str | None) -> None:
        if message:
            self.dismiss(message)


class StateFoundPage(FormPage, inherit_bindings=False):
    """The form to enter the state in which a variable was found."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("save")
    title_line = "State found"
    form = "found"

    def __init__(self, client: SessionClient, variable: Variable) -> None:
        self.variable, role = variable, variable.found
        needs_role = role not in ("", ANYONE, NEVER)
        self.signer = signature_fields(client, f"Found by ({role})", role) if needs_role else ()
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        known = [(value, self.variable.words.get(value, value)) for value in self.variable.values]
        title = self.variable.title or self.variable.name
        return (
            FormField("value", self.variable.ask or f"State found: {title}", (*known, (UNKNOWN, "not known"))),
            FormField("reason", "How was it found?"),
            *self.signer,
        )

    async def submit(self, values: dict[str, str]) -> None:
        value = None if values["value"] == UNKNOWN else values["value"]
        await self.send(
            "State changed.",
            "set-state",
            variable=self.variable.name,
            value=value,
            reason=values["reason"],
            by=values.get("by") or None,
            pin=values.get("pin") or None,
        )
