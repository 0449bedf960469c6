"""What was done under the log that the job continues: the list, and the form for the signature of one operation."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.refusal import Refusal
from benchflow.session.state.continued_job import EarlierOperation
from benchflow.tui.draw.styled_lines import EMPTY, Line, cell_count, cut, hanging, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys, signature_fields
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys
from benchflow.tui.widgets.page import letter

_NO_SIGNATURE_HELPS = ("after-missing", "operation-in-progress", "already-done", "not-saved")
"""Refusals that have nothing to do with who signs."""


class TakeOverListPage(ListPage[str], inherit_bindings=False):
    """The operations that can be taken over, in the order of the earlier log. Enter takes over, s skips."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("take over"),
        Binding(letter("s"), "move(1)", "skip", id="take-over.skip"),
        *leaving_keys("to the bench"),
    ]
    title_line = "Take over from the earlier log"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client
        self.rows: tuple[EarlierOperation, ...] = client.to_take_over
        self.taken = 0

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        text = "Look at the engine at each one. What you skip can be taken over later (k on the bench), or done again."
        return [EMPTY, *(styled(part, "faint") for part in wrap(text, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        each = self.rows[index]
        titles = [self.client.title(row.operation) for row in self.rows]
        available = min(width - 16, max(map(cell_count, titles)))
        title = cut(titles[index], available).ljust(available)
        word = ("done", "done") if each.trusted else ("not trusted" if each.seq else "no evidence", "attention")
        return (("○ ", "ready"), (title, "text"), (f" {word[0]}", word[1]))  # type: ignore[return-value]  # roles

    def details(self, width: int) -> list[Line]:
        if not self.rows:
            return []
        each = self.rows[self.at]
        lines: list[Line] = []
        if each.people:
            lines.extend(hanging("Done by ", ", ".join(each.people), width, "text", "label"))
        for text in self.client.earlier_entries(each.operation):
            lines.extend(hanging("· ", text, width))
        if not each.trusted:
            says = "Only lines after the damage say" if each.seq else "No line that can be read says"
            text = f"{says} that it was done. It needs a reason."
            lines.extend(hanging("× ", text, width, "attention"))
        return lines

    def open_selected(self) -> None:
        self.run_holding_keys(self._take_over(self.rows[self.at].operation))

    async def _take_over(self, operation: str) -> None:
        """Take over with the name of the person at the bench. What is missing, such as a PIN, is asked in a form."""
        each = self.rows[self.at]
        by = self.client.by or self.client.view.by
        if each.trusted and not self.client.hold_role(operation):
            answer = await self.client.send("take-over", operation=operation, by=by)
            if not isinstance(answer, Refusal):
                self._taken_over("taken over")
                return
            if any(
                reason.code in ("after-missing", "operation-in-progress", "already-done") for reason in answer.refused
            ):
                self.refused(answer)
                return
        self.app.push_screen(TakeOverPage(self.client, each), self._taken_over)

    def _taken_over(self, message: str | None) -> None:
        if message is None:
            self.redraw()
            return
        self.taken += 1
        title = self.client.title(self.rows[self.at].operation)
        self.rows = self.client.to_take_over
        self.at = min(self.at, max(len(self.rows) - 1, 0))
        if not self.rows:
            self.dismiss("Nothing is left to take over.")
            return
        self.show_message(f"Taken over: {title}")

    def action_back(self) -> None:
        self.dismiss(f"Taken over: {self.taken}. Left: {len(self.rows)} (k)." if self.rows else None)


class TakeOverPage(FormPage, inherit_bindings=False):
    """The form for the signature of one operation that is taken over, with a reason where one is needed."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("take over")
    title_line = "Take over"
    form = "take-over"

    def __init__(self, client: SessionClient, earlier: EarlierOperation) -> None:
        self.earlier, self.role = earlier, client.hold_role(earlier.operation)
        who = f"Who takes it over as {self.role}?" if self.role else "Who takes it over?"
        self.signer = signature_fields(client, who, self.role, client.view.by)
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        if self.earlier.trusted:
            return self.signer
        person, *pin = self.signer
        return (person, FormField("reason", "What shows that it was done?", keep=False), *pin)

    def intro(self, width: int) -> list[Line]:
        assert self.client is not None  # set by the caller
        return [
            EMPTY,
            *(styled(part, "title") for part in wrap(self.client.title(self.earlier.operation), width)),
            EMPTY,
        ]

    async def submit(self, values: dict[str, str]) -> None:
        await self.send(
            "taken over",
            "take-over",
            operation=self.earlier.operation,
            by=values["by"],
            reason=values.get("reason", ""),
            pin=values.get("pin") or None,
        )
