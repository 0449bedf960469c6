"""Client of the session controller: the open job, its current view, and what is typed but not entered."""

import asyncio
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.session.context import Context
from benchflow.session.controller import Accepted, Answer, SessionController
from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import parse
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.action_reasons import close_reasons
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import BenchView, OperationView
from benchflow.session.view.build import ENTRY_KINDS, clock_rows, operation_view, view_after_entries
from benchflow.tui.model.drafts import Drafts

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class SessionClient:
    """Sends intents, answers queries, keeps the view up to date.

    ``view`` is what the bench shows. ``selected`` is an operation that is shown instead of the next one;
    ``drafts.goal`` is the operation that the builder is guided to.
    """

    def __init__(self, controller: SessionController, by: str = "") -> None:
        self.controller = controller
        self.by = by  # who builds now, if not the person who started the job
        self.drafts = Drafts(controller.journal.path, writable=not controller.read_only)
        self.view: BenchView = self._with_builder(controller.view())
        self.selected = ""
        self.tools: dict[str, str] = {}  # serial number of the instrument in use, by the instrument that is asked for
        self.busy = False
        self.on_change: Callable[[], None] = lambda: None

    @property
    def state(self) -> State:
        assert self.controller.state is not None  # the client exists only for an open job
        return self.controller.state

    @property
    def log(self) -> Path:
        return self.controller.journal.path

    @property
    def has_register(self) -> bool:
        """Whether there is a shop register; then people sign with a PIN."""
        return self.controller.register is not None and self.controller.register.path.exists()

    def shop(self) -> "Shop | None":
        """The shop, or ``None`` if its file has errors; the controller reports those with the next intent."""
        try:
            return self.context().shop
        except BenchflowError:
            return None

    def context(self) -> Context:
        """The current time and the shop.

        Raises:
            BenchflowError: the register cannot be read.
        """
        register = self.controller.register
        return Context(self.controller.now(), None if register is None else register.shop())

    @property
    def now(self) -> datetime:
        """The current time in the local time zone."""
        return parse(self.controller.now().at).astimezone()

    async def send(self, intent: str, **fields: Any) -> Answer:
        """Carry out an intent in a worker thread, since a disk may be slow; then update the view."""
        message = {"intent": intent, **({"by": self.by} if self.by else {}), **fields}
        self.busy = True
        try:
            answer = await asyncio.to_thread(self.controller.send, message)
        finally:
            self.busy = False
        if isinstance(answer, Accepted) and answer.lines:
            self._refresh_after(answer.lines)
        return answer

    def _refresh_after(self, lines: Sequence[Line]) -> None:
        """An entry changes only the operation in progress, so only that part of the view is built again."""
        if all(line.kind in ENTRY_KINDS for line in lines):
            self.view = view_after_entries(
                self.view, self.state, self.controller.context(), saved=self.controller.saved
            )
            self.on_change()
        else:
            self.refresh()

    def _with_builder(self, view: BenchView) -> BenchView:
        return msgspec.structs.replace(view, by=self.by) if self.by else view

    def refresh(self) -> None:
        self.view = self._with_builder(self.controller.view())
        self.on_change()

    def update_clocks(self) -> bool:
        """Update the clocks. True if a time window reached another phase, which changes more than the countdown."""
        if self.busy:
            return False
        before = [(row.operation, row.phase) for row in self.view.clocks]
        rows = tuple(clock_rows(self.state, self.controller.context()))
        if before == [(row.operation, row.phase) for row in rows]:
            self.view = msgspec.structs.replace(self.view, clocks=rows)
            return False
        self.view = self._with_builder(self.controller.view())
        return True

    async def read_new_lines(self) -> str:
        """View only: read what the other window has added. Returns an error message, empty if all went well."""
        try:
            if await asyncio.to_thread(self.controller.reread):
                self.refresh()
        except BenchflowError as error:
            return str(error)
        return ""

    async def move_to(self, folder: Path) -> str:
        """Continue the log in another folder. Returns an error message, empty if all went well."""
        try:
            await asyncio.to_thread(self.controller.move_to, folder)
        except BenchflowError as error:
            return str(error)
        self.drafts.follow_log(self.log)
        self.refresh()
        return ""

    def operation(self, name: str) -> OperationView:
        """The view of any operation."""
        return operation_view(self.state, self.controller.context(), name)

    def why(self, name: str) -> tuple[Reason, ...]:
        """Every reason why an operation is blocked or cannot be finished yet."""
        return self.operation(name).missing

    def reasons_against_ending(self) -> tuple[Reason, ...]:
        """Every reason why the job may not end now, even with a reason given for what is not done."""
        return close_reasons(self.state, unfinished=True)

    def query(self, intent: str, operation: str) -> Any:
        """The answer to a query, as plain JSON, or the refusal."""
        answer = self.controller.send({"intent": intent, "operation": operation})
        return answer if isinstance(answer, Refusal) else answer.answer[intent]
