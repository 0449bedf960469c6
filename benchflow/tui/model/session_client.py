"""Client of the session controller: sends intents and keeps the view and the drafts of the open job."""

import asyncio
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.session.context import Context
from benchflow.session.controller import SessionController
from benchflow.session.log.line_format import Line
from benchflow.session.log.sidecars import moved_to
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.log_writer import Accepted, Answer
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.action_reasons import close_reasons
from benchflow.session.rules.signatures import deviation_subject
from benchflow.session.rules.takeover_list import operations_to_take_over
from benchflow.session.rules.waivers import roles_to_waive
from benchflow.session.state.continued_job import EarlierOperation
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import BenchView, OperationView
from benchflow.session.view.build import ENTRY_KINDS, operation_view, view_after_entries
from benchflow.session.view.clock_rows import clock_rows
from benchflow.tui.model.drafts import Drafts
from benchflow.tui.model.preferences import Preferences

if TYPE_CHECKING:
    from benchflow.session.pictures.incoming_folder import IncomingPicture, IncomingWatch
    from benchflow.session.shop.register import Shop


SIGNED_KINDS = frozenset({"signed", "deviated", "corrected", "state-set", "taken-over"})
"""The kinds of events that a person can sign for a role."""


class SessionClient:
    """Sends intents and queries to the controller and keeps ``view`` up to date.

    ``by`` is the person at the bench, empty for the person who started the job. ``selected`` is an operation that the
    bench shows instead of the next one. ``tools`` are the serial numbers of the instruments in use, by the instrument
    that the procedure asks for. ``busy`` is true while an intent is carried out. ``holder_left`` is true if the
    window that had the log open when this one was opened has left it. ``preferences`` remember who signed last.
    ``arrived`` are the new pictures in the folder that ``incoming`` looks into; ``offered`` those of them that are not
    attached to this job or another one.
    """

    def __init__(self, controller: SessionController, by: str = "") -> None:
        self.controller = controller
        self.by = by
        self.drafts = Drafts(controller.journal.path, writable=not controller.read_only)
        self.view: BenchView = self._with_builder(controller.view())
        self.selected = ""
        self.tools: dict[str, str] = {}
        self.busy = False
        self.holder_left = False
        self.preferences = Preferences(None)
        self.on_change: Callable[[], None] = lambda: None
        self.incoming: IncomingWatch | None = None
        self.arrived: tuple[IncomingPicture, ...] = ()
        self.offered: tuple[IncomingPicture, ...] = ()

    @property
    def state(self) -> State:
        """The state of the job."""
        assert self.controller.state is not None  # the client exists only for an open job
        return self.controller.state

    @property
    def log(self) -> Path:
        """The path of the log."""
        return self.controller.journal.path

    @property
    def follows_log(self) -> bool:
        """True if the state is that after the last event on disk. Otherwise nothing more may be decided with it."""
        return self.controller.state is None or self.controller.state.last.seq == self.controller.saved

    @property
    def has_register(self) -> bool:
        """True if there is a shop register. People then sign with a PIN."""
        return self.controller.register is not None and self.controller.register.path.exists()

    def shop(self) -> "Shop | None":
        """Return the shop, or ``None`` if its file has errors. The controller reports the errors at the next intent."""
        try:
            return self.context().shop
        except BenchflowError:
            return None

    def context(self) -> Context:
        """Return the current time and the shop.

        Raises:
            BenchflowError: the shop register cannot be read.
        """
        register = self.controller.register
        return Context(self.controller.now(), None if register is None else register.shop())

    @property
    def now(self) -> datetime:
        """The current time in the local time zone."""
        return local_time_of(self.controller.now().at)

    async def send(self, intent: str, **fields: Any) -> Answer:
        """Carry out an intent, then update the view. It runs in a worker thread, because a disk may be slow."""
        if fields.get("by") is None:
            fields["by"] = self.by or None
        message = {"intent": intent, **fields}
        self.busy = True
        try:
            answer = await asyncio.to_thread(self.controller.send, message)
        finally:
            self.busy = False
        if isinstance(answer, Accepted) and answer.lines:
            self._remember_signers(answer.lines)
            self._refresh_after(answer.lines)
        return answer

    def _refresh_after(self, lines: Sequence[Line]) -> None:
        """Update the view. Entries change only the operation in progress, so only that part is built again."""
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
        """Build the whole view again."""
        self.view = self._with_builder(self.controller.view())
        self.on_change()

    def update_clocks(self) -> bool:
        """Update the clocks. Return true if a time window changed its phase, which changes the whole view."""
        if self.busy:
            return False
        before = [(row.operation, row.phase, row.known) for row in self.view.clocks]
        rows = tuple(clock_rows(self.state, self.controller.context()))
        if before == [(row.operation, row.phase, row.known) for row in rows]:
            self.view = msgspec.structs.replace(self.view, clocks=rows)
            return False
        self.view = self._with_builder(self.controller.view())
        return True

    def update_operation(self) -> bool:
        """Update the operation to show next, whose texts depend on the time. Return true if it has changed."""
        now = self.view.now
        if self.busy or now is None:
            return False
        again = self.operation(now.operation)
        if again == now:
            return False
        self.view = msgspec.structs.replace(self.view, now=again)
        return True

    async def read_new_lines(self) -> str:
        """Read what another window has added to the log. Return an error message, or an empty string."""
        try:
            if await asyncio.to_thread(self.controller.reread):
                self.refresh()
        except BenchflowError as error:
            self.holder_left = False
            return str(error)
        self.holder_left = await asyncio.to_thread(self.controller.journal.holder_left)
        moved = await asyncio.to_thread(moved_to, self.log)
        if moved is not None:
            return f"This job continues in {shown_path(moved)}. Leave this window and open that log."
        damage = self.controller.journal.damage
        return "" if damage is None else f"Of the log, line {damage.line} {damage.what}. The lines before it are shown."

    async def move_to(self, folder: Path) -> str:
        """Continue the log in another folder. Return an error message, or an empty string."""
        try:
            await asyncio.to_thread(self.controller.move_to, folder)
        except BenchflowError as error:
            return str(error)
        self.drafts.follow_log(self.log)
        self.refresh()
        return ""

    def offer(self, arrived: "tuple[IncomingPicture, ...]") -> bool:
        """Offer those of the new pictures that no job has yet. Return true if they are others now."""
        attached = {picture.sha256 for picture in self.state.pictures.values()}
        left_out = set() if self.incoming is None else {*self.incoming.skipped, *self.incoming.elsewhere}
        offered = tuple(one for one in arrived if one.facts.sha256 not in attached | left_out)
        self.arrived, changed = arrived, offered != self.offered
        if changed:
            self.offered = offered
        return changed

    @property
    def elsewhere(self) -> "tuple[tuple[IncomingPicture, str], ...]":
        """The new pictures that only another job has, each with that job."""
        if self.incoming is None:
            return ()
        attached, jobs = {picture.sha256 for picture in self.state.pictures.values()}, self.incoming.elsewhere
        left = (one for one in self.arrived if one.facts.sha256 not in attached)
        return tuple((one, jobs[one.facts.sha256]) for one in left if one.facts.sha256 in jobs)

    @property
    def to_take_over(self) -> tuple[EarlierOperation, ...]:
        """The operations that can be taken over from the log that this job continues."""
        return operations_to_take_over(self.state)

    def title(self, operation: str) -> str:
        """Number and title of an operation."""
        plan = self.state.plan
        return f"{plan.number(operation)}  {plan.steps[operation].title}"

    def hold_role(self, operation: str) -> str:
        """The role that signs the hold of an operation; empty without a hold."""
        hold = self.state.plan.steps[operation].operation.hold
        return "" if hold is None else hold.by

    def roles_to_waive(self, operation: str, about: str) -> tuple[str, ...]:
        """The roles that the signer of a deviation must have; empty if anyone may sign it."""
        step = self.state.plan.steps[operation]
        subject = deviation_subject(self.state, step, about)
        return () if isinstance(subject, Refusal) else roles_to_waive(self.state, step, subject)

    def usual_signer(self, role: str) -> str:
        """Return the name that is offered as the signer for a role; empty if there is none.

        The first of these that exists: the last signer for this role in this job; the only one in the register; the
        last one in a job of this procedure on this computer.
        """
        for line in reversed(self.controller.journal.lines):
            if line.kind in SIGNED_KINDS and line.data.get("role") == role:
                return line.by
        shop = self.shop()
        people = [] if shop is None else [person.name for person in shop.people if role in person.roles]
        return people[0] if len(people) == 1 else self.preferences.signer(self.state.plan.procedure.id, role)

    def _remember_signers(self, lines: Sequence[Line]) -> None:
        for line in lines:
            role = line.data.get("role") if line.kind in SIGNED_KINDS else None
            if isinstance(role, str) and role:
                self.preferences.remember_signer(self.state.plan.procedure.id, role, line.by)

    def earlier_entries(self, operation: str) -> tuple[str, ...]:
        """What can be taken over of an operation, one text for each reading, part and lot."""
        continues = self.state.opened.continues
        found = () if continues is None else continues.entries_of(operation)
        texts = [
            f"{each.name}, {f'reading {each.reading}' if each.kind == 'reading' else each.kind}: {each.entered}"
            for each in found
        ]
        earlier = None if continues is None else continues.operation(operation)
        if earlier is not None and earlier.evidence:
            texts.append(f"Events in the earlier log: {', '.join(map(str, earlier.evidence))}")
        return tuple(texts)

    def operation(self, name: str) -> OperationView:
        """Return the view of an operation."""
        return operation_view(self.state, self.controller.context(), name)

    def reasons_against_ending(self) -> tuple[Reason, ...]:
        """Return every reason that prevents the job from ending early."""
        return close_reasons(self.state, unfinished=True)

    def query(self, intent: str, operation: str) -> Any:
        """Return the answer to a query as plain JSON, or the refusal."""
        answer = self.controller.send({"intent": intent, "operation": operation})
        return answer if isinstance(answer, Refusal) else answer.answer[intent]
