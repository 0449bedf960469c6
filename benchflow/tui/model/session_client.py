"""The builder's seat at the desk: the session, what it looks like now, and what is typed but not entered."""

import asyncio
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.session.context import Around
from benchflow.session.controller import Accepted, Answer, Desk
from benchflow.session.intents.dispatch import close_reasons
from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import parse
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import BenchView, NowView
from benchflow.session.view.build import ENTRIES, after_entry, clocks, operation_view
from benchflow.tui.model.drafts import Drafts

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class SessionClient:
    """``view`` is what the bench shows. ``aim`` is the operation that the builder looks at instead of the
    one that is offered; ``drafts.goal`` the one that he is being led to."""

    def __init__(self, desk: Desk, by: str = "") -> None:
        self.desk = desk
        self.by = by  # who sits here now, where that is not the one who opened the session
        self.drafts = Drafts(desk.journal.path, writable=not desk.read_only)
        self.view: BenchView = self._with_name(desk.view())
        self.selected = ""
        self.tools: dict[str, str] = {}  # of each need, the instrument that the next entry is made with
        self.busy = False
        self.on_change: Callable[[], None] = lambda: None

    @property
    def state(self) -> State:
        assert self.desk.state is not None  # a seat is taken at an open session only
        return self.desk.state

    @property
    def log(self) -> Path:
        return self.desk.journal.path

    @property
    def has_register(self) -> bool:
        """Whether there is a shop file, by which people sign with a PIN."""
        return self.desk.register is not None and self.desk.register.path.exists()

    def shop(self) -> "Shop | None":
        """The register; none where its file has mistakes in it, which the desk tells in full when it is asked."""
        try:
            return self.around().shop
        except BenchflowError:
            return None

    def around(self) -> Around:
        """This moment, and who and what the shop has. Raises BenchflowError where the register cannot be read."""
        register = self.desk.register
        return Around(self.desk.now(), None if register is None else register.shop())

    @property
    def now(self) -> datetime:
        """This moment in the builder's own time zone."""
        return parse(self.desk.now().at).astimezone()

    async def send(self, intent: str, **fields: Any) -> Answer:
        """Carry out an intent in a worker thread, since a disk may be slow; then look again."""
        message = {"intent": intent, **({"by": self.by} if self.by else {}), **fields}
        self.busy = True
        try:
            answer = await asyncio.to_thread(self.desk.send, message)
        finally:
            self.busy = False
        if isinstance(answer, Accepted) and answer.lines:
            self._refresh_after(answer.lines)
        return answer

    def _refresh_after(self, lines: Sequence[Line]) -> None:
        """What was only entered leaves all but the operation in hand as it was, and is shown at once."""
        if all(line.kind in ENTRIES for line in lines):
            self.view = after_entry(self.view, self.state, self.desk.around(), saved=self.desk.saved)
            self.on_change()
        else:
            self.refresh()

    def _with_name(self, view: BenchView) -> BenchView:
        return msgspec.structs.replace(view, by=self.by) if self.by else view

    def refresh(self) -> None:
        self.view = self._with_name(self.desk.view())
        self.on_change()

    def tick(self) -> bool:
        """The clock moved on. Whether a window came to another phase, which changes more than a figure."""
        if self.busy:
            return False
        before = [(row.operation, row.phase) for row in self.view.clocks]
        rows = tuple(clocks(self.state, self.desk.around()))
        if before == [(row.operation, row.phase) for row in rows]:
            self.view = msgspec.structs.replace(self.view, clocks=rows)
            return False
        self.view = self._with_name(self.desk.view())
        return True

    async def watch(self) -> str:
        """Reading only: take in what the writer has added. Words when the log cannot be followed."""
        try:
            if await asyncio.to_thread(self.desk.reread):
                self.refresh()
        except BenchflowError as error:
            return str(error)
        return ""

    async def move_to(self, folder: Path) -> str:
        """Go on in another folder. Words when that one will not do either."""
        try:
            await asyncio.to_thread(self.desk.move_to, folder)
        except BenchflowError as error:
            return str(error)
        self.drafts.moved(self.log)
        self.refresh()
        return ""

    def operation(self, name: str) -> NowView:
        """Any operation, as the bench would show it."""
        return operation_view(self.state, self.desk.around(), name)

    def why(self, name: str) -> tuple[Reason, ...]:
        """Every reason why it is stopped, or why it cannot be finished yet."""
        return self.operation(name).missing

    def reasons_against_ending(self) -> tuple[Reason, ...]:
        """Every reason why the job may not end now, even with a reason given for what is not done."""
        return close_reasons(self.state, unfinished=True)

    def query(self, intent: str, operation: str) -> Any:
        """The answer to a question, as plain JSON; a refusal where there is none."""
        answer = self.desk.send({"intent": intent, "operation": operation})
        return answer if isinstance(answer, Refusal) else answer.answer[intent]
