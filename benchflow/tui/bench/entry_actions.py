"""The actions of the bench that make entries. Each sends an intent for the current item and its text."""

import asyncio
from collections.abc import Coroutine
from typing import TYPE_CHECKING, Any

from benchflow.session.controller import Accepted
from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import CheckInput, ChoiceInput, LotInput
from benchflow.trade.verdict import OUT_OF_LIMIT
from benchflow.tui.app.navigation import ChoiceReasonRequest, InstrumentRequest
from benchflow.tui.bench.bench_navigation import BenchNavigation
from benchflow.tui.bench.confirmations import reading_message, tick_message
from benchflow.tui.bench.intent_fields import (
    asks_instrument,
    chosen_instruments,
    instruments_for,
    reading_fields,
    tick_fields,
)
from benchflow.tui.model.bench_inputs import SlotInput, TickInput, WholeInput
from benchflow.tui.model.current_task import MoveTask
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import error_in, with_own_unit
from benchflow.tui.widgets.entry_field import EntryField

if TYPE_CHECKING:
    from benchflow.session.rules.instrument_choice import ToolList

SLOW = 0.4
"""Seconds to wait for the disk before a message is shown."""

NOT_ENTERED = "Not entered. The arrow shows what is wrong."


class EntryActions(BenchNavigation, inherit_bindings=False):
    """The part of the bench that makes entries. The typed text stays in the field until it is on disk."""

    entry: EntryField

    def __init__(self, client: SessionClient) -> None:
        super().__init__(client)
        self.unsaved = False

    async def _send(self, intent: str, **fields: Any) -> Accepted | None:
        """Send an intent. If it is refused, show the reasons, keep the typed text and return ``None``."""
        slow = asyncio.get_running_loop().call_later(SLOW, self.show_message, "Writing to disk …")
        try:
            answer = await self.client.send(intent, **fields)
        finally:
            slow.cancel()
        if isinstance(answer, Refusal):
            if asks_instrument(answer) and self._ask_instrument(answer, intent, fields):
                return None
            if intent == "choose" and self._ask_reason(answer, fields):
                return None
            self.unsaved = answer.refused[0].code == "not-saved" and not self.client.view.read_only
            self.refused(answer)
            return None
        self.unsaved = False
        return answer

    def _ask_instrument(self, refusal: Refusal, intent: str, fields: dict[str, Any]) -> bool:
        """Ask which instrument is used, then send the entry again. Return false if there is no instrument to choose.

        This is needed if several instruments fit, or if the one in use does not.
        """
        lists = instruments_for(self.client, self.cursor.item, fields)
        unfit = {reason.name for reason in refusal.refused if reason.code == "instrument-unfit"}
        asked = [each for each in lists if (each.need in unfit if unfit else each.must_choose)]
        tools = next((each for each in asked if any(row.allowed for row in each.rows)), None)
        if tools is None:
            return False

        def chosen(serial: str | None) -> None:
            if serial is None:
                self.on_return(None)
                self.show_message("The entry was not recorded, because no instrument was chosen.", role="attention")
                return
            self.client.tools[tools.need] = serial
            self._enter_again(intent, fields)

        waiting = str(fields.get("value") or "")
        self.bench_app.open(InstrumentRequest(tools, waiting or f"No. {fields.get('fastener')}"), chosen)
        self.app.bell()
        return True

    def _ask_reason(self, refusal: Refusal, fields: dict[str, Any]) -> bool:
        """Ask why another part than the preferred one is chosen. Return false if that is not why it was refused."""
        item = self.cursor.item
        given = item.input if isinstance(item, WholeInput) else None
        (reason, *more) = refusal.refused
        if more or reason.code != "not-allowed" or not isinstance(given, ChoiceInput) or not given.prefer:
            return False
        if reason.name != given.name or fields["take"] in given.proposed:
            return False
        self.bench_app.open(ChoiceReasonRequest(given.name, fields["take"], reason.message), self.on_return)
        return True

    def _enter_again(self, intent: str, fields: dict[str, Any]) -> None:
        """Send an entry again, after its instrument was chosen."""
        if intent == "record":
            self.action_record()
        elif "answer" in fields:
            self.action_answer(fields["answer"])
        else:
            self._tick(**{name: True for name in ("loosened",) if fields.get(name)})

    def action_instrument(self) -> None:
        """Choose the instrument for the next entries, one after the other if a reading needs several."""
        lists = instruments_for(self.client, self.cursor.item, {})
        item = self.cursor.item
        stretch = isinstance(item, TickInput) and item.value is not None and item.value.field == "stretch"
        asked = [each for each in lists if (each.field == "stretch-instrument") == stretch]
        if not asked:
            self.show_message("This entry needs no instrument, or there is no shop register.", role="attention")
            return
        self._choose_instruments(tuple(asked))

    def _choose_instruments(self, asked: "tuple[ToolList, ...]") -> None:
        tools, *others = asked

        def chosen(serial: str | None) -> None:
            self.on_return(None)
            if serial is not None:
                self.client.tools[tools.need] = serial
                self.show_message(f"{tools.title} {serial} is used from the next entry on.")
                if others:
                    self._choose_instruments(tuple(others))

        self.bench_app.open(InstrumentRequest(tools), chosen)

    def _delete_drafts(self, drafts: tuple[str, ...]) -> None:
        self.cursor.delete_drafts(drafts)
        self.bench_app.save_soon()

    def _send_and_show(self, message: str, intent: str, **fields: Any) -> None:
        """Send one intent. After it is on disk, show the message and select the next item."""

        async def work() -> None:
            here = (self.cursor.operation, self.cursor.in_progress)
            drafts = self.cursor.drafts_of_item()
            if await self._send(intent, **fields) is not None:
                self._delete_drafts(drafts)
                if here == (self.cursor.operation, self.cursor.in_progress):
                    self.cursor.advance()
                self.show_message(message)
                self.update_entry()

        self.run_holding_keys(work())

    def action_start(self) -> None:
        self.show_operation("")
        self._send_and_show("", "start", operation=self.cursor.operation)

    action_continue = action_start

    def action_move_now(self) -> None:
        assert isinstance(self.cursor.task, MoveTask)
        move = self.cursor.task.move
        self._send_and_show(f"Done: {move.title}", "move", move=move.move)

    def action_rework_step(self) -> None:
        step = self.client.view.rework
        self._send_and_show(f"Undone: {step.title}" if step and not step.is_move else "Done.", "rework-step")

    def action_record(self) -> None:
        item = self.cursor.item
        if not self._check_entry():
            return
        if isinstance(item, WholeInput) and isinstance(item.input, LotInput):
            lot = self.entry.value.strip()
            self._send_and_show(f"Lot recorded: {lot}", "lot", consumable=item.input.consumable, lot=lot)
        elif isinstance(item, SlotInput):
            self.run_holding_keys(self._record(item, self.entry.value))

    def _record(self, item: SlotInput, text: str) -> Coroutine[Any, Any, None]:
        async def work() -> None:
            drafts = self.cursor.drafts_of_item()
            fields = reading_fields(item, text)
            if await self._send("record", **fields, **chosen_instruments(self.client, item, fields)) is None:
                return
            self._delete_drafts(drafts)
            self.show_message(*reading_message(self.cursor.items, item))
            self.cursor.advance()
            self.update_entry()

        return work()

    def action_next_value(self) -> None:
        """Go to the next reading of a tick. The first one is kept as a draft until the last one is typed."""
        if self._check_entry():
            self.cursor.step(1)
            self.update_entry()

    def action_tick(self) -> None:
        self._tick()

    def action_tick_loosened(self) -> None:
        self._tick(loosened=True)

    def action_answer(self, answer: str) -> None:
        """Enter the answer of a click wrench at a check stage: ``held`` or ``moved``."""
        item = self.cursor.item
        assert isinstance(item, TickInput)
        fields = {"joint": item.input.joint, "fastener": item.fastener, "stage": item.stage, "answer": answer}
        self.run_holding_keys(self._send_tick(item, fields))

    def _tick(self, **more: bool) -> None:
        item = self.cursor.item
        assert isinstance(item, TickInput)
        optional = item.value is not None and item.value.optional and not self.entry.value.strip()
        if item.value is not None and not optional and not self._check_entry():
            return
        texts: dict[str, str] = {}
        for each in self.cursor.items:
            if isinstance(each, TickInput) and each.value is not None:
                texts[each.value.field] = self.client.drafts.text(self.cursor.draft_of(each))
        self.run_holding_keys(self._send_tick(item, {**tick_fields(item, texts), **more}))

    def _send_tick(self, item: TickInput, fields: dict[str, Any]) -> Coroutine[Any, Any, None]:
        async def work() -> None:
            here, drafts = (self.cursor.operation, self.cursor.in_progress), self.cursor.drafts_of_item()
            answer = await self._send("tick", **fields, **chosen_instruments(self.client, item, fields))
            if answer is None:
                return
            ticked = answer.lines[-1].data
            out = ticked.get("verdict") in OUT_OF_LIMIT
            self._delete_drafts(drafts)
            if here == (self.cursor.operation, self.cursor.in_progress):
                self.cursor.advance()
            self.show_message(*tick_message(item, ticked), role="alarm" if out else "text")
            if out:
                self.app.bell()
            self.update_entry()

        return work()

    def _check_entry(self) -> bool:
        """True if the text can be entered. If not, show the error and keep the text."""
        text = self.entry.value
        if not text.strip():
            self.focus_on(self.entry)
            self.show_message("Type a value, then press Enter.", role="attention")
            return False
        wrong = error_in(self.cursor.item, text)
        if wrong is None:
            return True
        self.cursor.typed = wrong
        self.show_message(NOT_ENTERED, role="alarm")
        self.app.bell()
        return False

    def action_untick(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        self._send_and_show(f"Tick cleared: {joint.last_entry}", "untick", joint=joint.joint)

    def action_draw_down(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        self._send_and_show("", "draw-down", joint=joint.joint)

    def action_seated(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        self._send_and_show("All seated. The first stage begins.", "draw-down", joint=joint.joint, seated=True)

    def action_check(self) -> None:
        self._tick_check(False)

    def action_uncheck(self) -> None:
        self._tick_check(True)

    def action_check_no(self) -> None:
        item = self.cursor.item
        assert isinstance(item, WholeInput)
        assert isinstance(item.input, CheckInput)
        message = f"Answered no: {item.input.text}"
        self._send_and_show(message, "tick-check", check=item.input.number, answer="no")

    def _tick_check(self, undo: bool) -> None:
        item = self.cursor.item
        assert isinstance(item, WholeInput)
        assert isinstance(item.input, CheckInput)
        message = "Tick cleared" if undo else f"Ticked: {item.input.text}"
        self._send_and_show(message, "tick-check", check=item.input.number, undo=undo)

    def action_choose(self, number: int) -> None:
        item = self.cursor.item
        assert isinstance(item, WholeInput)
        assert isinstance(item.input, ChoiceInput)
        if number:
            take = item.input.choices[number - 1]
        elif item.input.other_unit and (self.entry.value.strip() or not item.input.proposed):
            if not self._check_entry():
                return
            take = with_own_unit(self.entry.value, item.input.other_unit)
        else:
            take = item.input.proposed[0]
        self._send_and_show(f"Chosen: {take}", "choose", name=item.input.name, take=take)

    def action_finish(self) -> None:
        self._send_and_show(
            f"Finished: {self.cursor.operation_task.view.title}" if self.cursor.operation_task else "", "finish"
        )

    def action_pause(self) -> None:
        self._send_and_show("Paused. All entries are kept.", "pause")
