"""The actions of the bench that make entries. Each sends an intent for the current item and its text."""

import asyncio
from collections.abc import Callable
from typing import Any

from benchflow.session.log_writer import Accepted
from benchflow.session.refusal import Refusal
from benchflow.session.rules.measurements import last_attempts
from benchflow.session.view.bench_view import CheckInput, ChoiceInput, LotInput
from benchflow.trade.verdict import OUT_OF_LIMIT
from benchflow.tui.app.navigation import ChoiceReasonRequest
from benchflow.tui.bench.confirmations import reading_message, tick_message
from benchflow.tui.bench.instrument_actions import InstrumentActions
from benchflow.tui.bench.intent_fields import (
    asks_instrument,
    chosen_instruments,
    reading_fields,
    tick_fields,
)
from benchflow.tui.draw.styled_lines import Role
from benchflow.tui.model.bench_inputs import BenchInput, SlotInput, TickInput, WholeInput
from benchflow.tui.model.current_task import MoveTask
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import error_in, with_own_unit
from benchflow.tui.widgets.entry_field import EntryField

SLOW = 0.4
"""Seconds to wait for the disk before a message is shown."""

Message = Callable[[Accepted], tuple[tuple[str, ...], Role]]
"""Makes the message about an accepted entry from the answer and the new view."""

NOT_ENTERED = "Not entered. The arrow shows what is wrong."


def says(*texts: str) -> Message:
    """Return a message with these texts."""
    return lambda _: (texts, "text")


class EntryActions(InstrumentActions, inherit_bindings=False):
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
            if asks_instrument(answer) and self.ask_instrument(answer, intent, fields):
                return None
            if intent == "choose" and self._ask_reason(answer, fields):
                return None
            self.unsaved = answer.refused[0].code == "not-saved" and not self.client.view.read_only
            self.refused(answer)
            return None
        self.unsaved = False
        return answer

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

    def enter_again(self, intent: str, fields: dict[str, Any]) -> None:
        """Send an entry again, after its instrument was chosen."""
        if intent == "record":
            self.action_record()
        elif "answer" in fields:
            self.action_answer(fields["answer"])
        elif intent == "tick-rest":
            self._enter_rest()
        else:
            self._tick(**{name: True for name in ("loosened",) if fields.get(name)})

    def _delete_drafts(self, drafts: tuple[str, ...]) -> None:
        self.cursor.delete_drafts(drafts)
        self.bench_app.save_soon()

    # --- sending ----------------------------------------------------------------------------------

    def _send_and_show(self, message: str, intent: str, **fields: Any) -> None:
        """Send one intent other than an entry. After it is on disk, show the message."""

        async def work() -> None:
            if await self._send(intent, **fields) is not None:
                self.show_message(message)
                self.update_entry()

        self.run_holding_keys(work())

    def _enter(self, message: Message, intent: str, **fields: Any) -> None:
        """Make an entry for the selected item, and show the message after it is on disk.

        The first entry starts the operation, if nothing has to be read before. The last one finishes it, if nothing is
        open; a lot does not.
        """
        item = self.cursor.item
        assert item is not None
        if self.cursor.entry_starts and self._refused_bounce():
            return
        if not self.cursor.visible and not self.cursor.has_field:
            self.show_message(
                "The screen is too small for the current item. Nothing was entered. Make it larger.", role="alarm"
            )
            self.app.bell()
            return
        self.run_holding_keys(self._entry(item, message, intent, fields))

    async def _entry(self, item: BenchInput, message: Message, intent: str, fields: dict[str, Any]) -> None:
        if self.cursor.entry_starts:
            if await self._send("start", operation=self.cursor.operation) is None:
                return
            self.cursor.select(item)
        operation, drafts = self.cursor.operation, self.cursor.drafts_of_item()
        answer = await self._send(intent, **fields, **chosen_instruments(self.client, item, fields))
        if answer is not None:
            self._delete_drafts(drafts)
            if self.cursor.operation == operation:
                self.cursor.select(item)
                self.cursor.advance()
            texts, role = message(answer)
            finished = await self.finish_if_complete() if intent != "lot" else ""
            self.show_message(*texts, *filter(None, (finished,)), role=role)
        self.update_entry()

    async def finish_if_complete(self) -> str:
        """Finish the operation in progress if nothing is open in it. Return the message, empty if it was not."""
        task = self.cursor.operation_task
        if task is None or not task.view.finishes_by_entry or task.view.missing:
            return ""
        if await self._send("finish") is None:
            return ""
        return f"Finished: {task.view.number} {task.view.title}"

    def on_signed(self, message: str | None) -> None:
        self.on_return(message)
        if message:
            self.run_holding_keys(self._finish_signed(message))

    async def _finish_signed(self, message: str) -> None:
        finished = await self.finish_if_complete()
        if finished:
            self.show_message(message, finished)
            self.update_entry()

    def action_start(self) -> None:
        if not self._refused_bounce():
            self._send_and_show("", "start", operation=self.cursor.operation)

    action_continue = action_start

    def action_move_now(self) -> None:
        assert isinstance(self.cursor.task, MoveTask)
        move = self.cursor.task.move
        if not self._refused_bounce():
            self._send_and_show(f"Done: {move.title}", "move", move=move.move)

    def action_rework_step(self) -> None:
        step = self.client.view.rework
        if not self._refused_bounce():
            self._send_and_show(f"Undone: {step.title}" if step and not step.is_move else "Done.", "rework-step")

    # --- entries ----------------------------------------------------------------------------------

    def action_record(self) -> None:
        item = self.cursor.item
        if not self._check_entry():
            return
        if isinstance(item, WholeInput) and isinstance(item.input, LotInput):
            lot = self.entry.value.strip()
            self._enter(says(f"Lot recorded: {lot}"), "lot", consumable=item.input.consumable, lot=lot)
        elif isinstance(item, SlotInput):
            fields = reading_fields(item, self.entry.value)
            self._enter(lambda _: reading_message(self.cursor.items, item, self.cursor.part_item), "record", **fields)

    def action_part_used(self) -> None:
        """State that the part of a reading is used, or new. The reading is then judged by the other limit."""
        item = self.cursor.part_item
        assert item is not None  # otherwise the key is hidden
        other = item.slot.other_part
        assert other is not None
        self.cursor.select(item)
        if not item.slot.shown:
            self.cursor.state_other_part()
            self.show_message()  # a question about the typed reading was about the other limit
            self.bench_app.save_soon()
            self.update_entry()
        elif other.asked is not None:
            self.give_figure(other.asked, self._after_figure_of_part)
        else:
            fields = {**reading_fields(item, self._entered_text(item)), "used": other.used}
            self._enter(lambda _: reading_message(self.cursor.items, item, self.cursor.part_item), "record", **fields)

    action_part_new = action_part_used

    def _after_figure_of_part(self, message: str | None) -> None:
        """State the part after the limit for it was given."""
        self.cursor.update()
        if message:
            self.action_part_used()
        self.on_return(message)

    def _entered_text(self, item: SlotInput) -> str:
        """The last reading as it was typed, with its unit."""
        attempts = last_attempts(self.client.state, self.cursor.operation, item.input.name)
        return attempts[item.slot.slot].quantity.entered

    def action_next_value(self) -> None:
        """Go to the next reading of a tick. The first one is kept as a draft until the last one is typed."""
        if self._check_entry():
            self.cursor.step(1)
            self.update_entry()

    def action_tick(self) -> None:
        if not self._refused_bounce():
            self._tick()

    action_tick_reading = action_tick

    def action_tick_loosened(self) -> None:
        if not self._refused_bounce():
            self._tick(loosened=True)

    def action_answer(self, answer: str) -> None:
        """Enter the answer of a click wrench at a check stage: ``held`` or ``moved``."""
        item = self.cursor.item
        assert isinstance(item, TickInput)
        if self._refused_bounce():
            return
        self._send_tick(item, joint=item.input.joint, fastener=item.fastener, stage=item.stage, answer=answer)

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
        self._send_tick(item, **tick_fields(item, texts), **more)

    def _send_tick(self, item: TickInput, **fields: Any) -> None:
        def message(answer: Accepted) -> tuple[tuple[str, ...], Role]:
            ticked = answer.lines[-1].data
            out = ticked.get("verdict") in OUT_OF_LIMIT
            if out:
                self.app.bell()
            return tick_message(item, ticked), "out-of-limit" if out else "text"

        self._enter(message, "tick", **fields)

    def _refused_bounce(self) -> bool:
        if not super()._refused_bounce():
            return False
        question = self.cursor.far_text(ask_again=True)
        if question:
            self.show_message(question, role="alarm")
        return True

    def _check_entry(self) -> bool:
        """True if the text can be entered. If not, show the error and keep the text."""
        text = self.entry.value
        if not text.strip():
            self.focus_on(self.entry)
            self.show_message("Type a value, then press Enter.", role="attention")
            return False
        wrong = error_in(self.cursor.item, text)
        if wrong is not None:
            self.cursor.typed = wrong
            return self._not_entered(NOT_ENTERED)
        far = self.cursor.far_text(ask_again=self.bench_app.entry_timing.bounced)
        return self._not_entered(far) if far else True

    def refused(self, refusal: Refusal) -> None:
        """Show every reason, and how to get to the keys that the reasons name while a text is in the field."""
        super().refused(refusal)
        self.has_refused_text = self.focused is not None and bool(self.entry.value)
        if self.has_refused_text:
            self.show_message(*self.message.texts, "Press Esc to use the keys with letters.", role="alarm")

    def _not_entered(self, message: str) -> bool:
        self.has_refused_text = True
        self.show_message(message, role="alarm")
        self.app.bell()
        return False

    def action_untick(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        self._send_and_show(f"Cleared: {joint.last_entry}", "untick", joint=joint.joint)

    def action_tick_rest(self) -> None:
        if not self._refused_bounce():
            self._enter_rest()

    def _enter_rest(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        numbers = ", ".join(map(str, joint.rest))
        message = says(f"Entered together: no. {numbers}, {joint.stages[joint.stage - 1]}")
        self._enter(message, "tick-rest", joint=joint.joint, stage=joint.stage)

    def action_stage_again(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        if self._refused_bounce():
            return
        self._send_and_show(
            f"Stage {joint.stage} begins again at its first fastener.", "stage-again", joint=joint.joint
        )

    def action_draw_down(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        if not self._refused_bounce():
            self._enter(says(), "draw-down", joint=joint.joint)

    def action_seated(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        if self._refused_bounce():
            return
        self._enter(says("All seated. The first stage begins."), "draw-down", joint=joint.joint, seated=True)

    def action_check(self) -> None:
        if not self._refused_bounce():
            check = self._selected_check()
            self._enter(says(f"Ticked: {check.text}"), "tick-check", check=check.number)

    def action_uncheck(self) -> None:
        if not self._refused_bounce():
            self._send_and_show("Tick cleared", "tick-check", check=self._selected_check().number, undo=True)

    def action_check_no(self) -> None:
        check = self._selected_check()
        if self._refused_bounce():
            return
        self._enter(says(f"Answered no: {check.text}"), "tick-check", check=check.number, answer="no")

    def _selected_check(self) -> CheckInput:
        item = self.cursor.item
        assert isinstance(item, WholeInput)
        assert isinstance(item.input, CheckInput)
        return item.input

    def action_choose(self, number: int) -> None:
        item = self.cursor.item
        assert isinstance(item, WholeInput)
        assert isinstance(item.input, ChoiceInput)
        typed = self.entry.value.strip() if item.input.other_unit else ""
        if number:
            take = item.input.choices[number - 1]
        elif typed or not item.input.proposed:
            if not self._check_entry():
                return
            take = with_own_unit(self.entry.value, item.input.other_unit)
        elif self._refused_bounce():
            return
        else:
            take = item.input.proposed[0]
        self._enter(says(f"Chosen: {take}"), "choose", name=item.input.name, take=take)

    def action_finish(self) -> None:
        if self._refused_bounce():
            return
        task = self.cursor.operation_task
        self._send_and_show(f"Finished: {task.view.number} {task.view.title}" if task else "", "finish")

    def action_pause(self) -> None:
        self._send_and_show("Paused. All entries are kept.", "pause")
