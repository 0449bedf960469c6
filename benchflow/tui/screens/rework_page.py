"""Rework: choice of the operation, then the plan with steps, parts to discard and operations to do again."""

from collections.abc import Sequence
from typing import Any, ClassVar

from textual.binding import BindingType

from benchflow.session.refusal import Refusal
from benchflow.tui.draw.operation_rows import operation_row, title_column
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys


class ReworkPage(ListPage[str], inherit_bindings=False):
    """The list of paused and done operations, the latest first."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("show the plan"), *leaving_keys()]
    title_line = "Rework"

    def __init__(self, client: SessionClient, operation: str = "") -> None:
        """``operation`` is selected, if it is in the list."""
        super().__init__()
        self.client = client
        rows = {row.operation: row for row in client.view.operations}
        order = [*client.state.paused, *reversed(tuple(client.state.done))]
        self.rows = [rows[name] for name in order]
        self.at = order.index(operation) if operation in order else 0

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        text = "Choose the operation to do again. The plan is shown first; nothing is changed yet."
        return [EMPTY, *(styled(part, "faint") for part in wrap(text, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        return operation_row(self.rows[index], title_column(self.rows, width), width)

    def open_selected(self) -> None:
        operation = self.rows[self.at].operation
        plan = self.client.query("rework-plan", operation)
        if isinstance(plan, Refusal):
            self.refused(plan)
        else:
            self.app.push_screen(ReworkPlanPage(self.client, operation, plan), self._planned)

    def _planned(self, message: str | None) -> None:
        if message:
            self.dismiss(message)


class ReworkPlanPage(FormPage, inherit_bindings=False):
    """The plan of the rework, and the question for its reason."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("start rework")
    title_line = "Rework plan"
    form = "rework"

    def __init__(self, client: SessionClient, operation: str, plan: dict[str, Any]) -> None:
        self.operation = operation
        self.plan = plan
        procedure = client.controller.procedure
        self.titles = {row.operation: f"{row.number} {row.title}" for row in client.view.operations}
        self.moves = {move.id: move.title for move in procedure.moves}
        self.kit = {item.id: item.title or item.id for item in procedure.kit}
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        return (FormField("reason", "Reason for the rework"),)

    def intro(self, width: int) -> list[Line]:
        lines: list[Line] = [EMPTY, styled(f"Do again: {self.titles[self.operation]}", "title"), EMPTY]
        lines.append(styled("Take apart in this order:", "label"))
        for number, step in enumerate(self.plan["steps"], start=1):
            if "move" in step:
                text = self.moves.get(step["move"], step["move"])
            else:
                text = f"Undo {self.titles.get(step['operation'], step['operation'])}"
            lines.extend(hanging(f"{number:>2}  ", text, width, "text", "label"))
        if self.plan["discard"]:
            discarded = ", ".join(self.kit.get(name, name) for name in self.plan["discard"])
            lines.extend([EMPTY, *hanging("Discard: ", discarded, width, "strong", "attention")])
        redo = [name for name in self.plan["redo"] if name != self.operation]
        if redo:
            again = "; ".join(self.titles.get(name, name) for name in redo)
            lines.extend([EMPTY, *hanging("Also do again: ", again, width, "text", "attention")])
        return lines

    async def submit(self, values: dict[str, str]) -> None:
        message = "Rework started. Do the step shown, then press Enter."
        await self.send(message, "rework", operation=self.operation, reason=values["reason"], walk=True)
