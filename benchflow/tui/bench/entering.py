"""Entering at the bench: from the line in hand and what is typed there to an intent, and to the words that say it."""

import asyncio
from collections.abc import Coroutine
from typing import Any

from benchflow.session.controller import Accepted
from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import CheckInput, ChoiceInput, LotInput
from benchflow.tui.app.session_client import Seat
from benchflow.tui.bench.confirmations import told_reading
from benchflow.tui.bench.entry_actions import (
    asks_instrument,
    instruments_for,
    instruments_said,
    reading_fields,
    tick_fields,
    with_own_unit,
    wrong_with,
)
from benchflow.tui.bench.fields import WantOther, WantReading, WantTick
from benchflow.tui.bench.navigation import Doors
from benchflow.tui.bench.offer import OfferMove
from benchflow.tui.widgets.entry_field import Entry

SLOW = 0.4
"""Seconds of waiting for the disk before the screen says so."""

NOT_ENTERED = "Not entered: see the arrow."


class Entering(Doors, inherit_bindings=False):
    """One intent for each key that enters something. What is typed stays until it is on disk."""

    entry: Entry

    def __init__(self, seat: Seat) -> None:
        super().__init__(seat)
        self.unsaved = False

    async def _send(self, intent: str, **fields: Any) -> Accepted | None:
        """``None`` when it was refused: the reasons stay on the screen, and nothing is cleared."""
        slow = asyncio.get_running_loop().call_later(SLOW, self.say, "Writing to the disk …")
        try:
            answer = await self.seat.send(intent, **fields)
        finally:
            slow.cancel()
        if isinstance(answer, Refusal):
            if asks_instrument(answer) and self._ask_instrument(answer, intent, fields):
                return None
            self.unsaved = answer.refused[0].code == "not-saved" and not self.seat.view.read_only
            self.refused(answer)
            return None
        self.unsaved = False
        return answer

    def _ask_instrument(self, refusal: Refusal, intent: str, fields: dict[str, Any]) -> bool:
        """Several would do, or the one in use does not: which is it? The entry waits and is sent again."""
        lists = instruments_for(self.seat, self.stand.want, fields)
        unfit = {reason.name for reason in refusal.refused if reason.code == "instrument-unfit"}
        asked = [each for each in lists if (each.need in unfit if unfit else each.unsaid)]
        tools = next((each for each in asked if any(row.allowed for row in each.rows)), None)
        if tools is None:
            return False
        from benchflow.tui.screens.instrument_page import InstrumentPage

        def chosen(serial: str | None) -> None:
            if serial is None:
                self.came_back(None)
                self.say("Not entered: it is not said which instrument it is.", role="weak")
                return
            self.seat.tools[tools.need] = serial
            self.action_record() if intent == "record" else self.action_tick()

        waiting = str(fields.get("value") or "")
        self.app.push_screen(InstrumentPage(tools, waiting or f"No. {fields.get('fastener')}"), chosen)
        self.app.bell()
        return True

    def action_instrument(self) -> None:
        """Another instrument from the next entry on."""
        lists = instruments_for(self.seat, self.stand.want, {})
        want = self.stand.want
        stretch = isinstance(want, WantTick) and want.value is not None and want.value.field == "stretch"
        tools = next((each for each in lists if (each.field == "stretch-instrument") == stretch), None)
        if tools is None:
            self.say("The procedure asks for no instrument here, or the shop has no register of them.", role="weak")
            return
        from benchflow.tui.screens.instrument_page import InstrumentPage

        def chosen(serial: str | None) -> None:
            self.came_back(None)
            if serial is not None:
                self.seat.tools[tools.need] = serial
                self.say(f"{tools.title}: {serial}, from the next entry on.")

        self.app.push_screen(InstrumentPage(tools), chosen)

    def _entered(self, drafts: tuple[str, ...]) -> None:
        self.stand.entered(drafts)
        self.bench.save_soon()

    def _do(self, said: str, intent: str, **fields: Any) -> None:
        """One intent, and what the screen says when it is on disk."""

        async def work() -> None:
            here = (self.stand.operation, self.stand.in_progress)
            drafts = self.stand.drafts_of_line()
            if await self._send(intent, **fields) is not None:
                self._entered(drafts)
                if here == (self.stand.operation, self.stand.in_progress):
                    self.stand.advance()
                self.say(said)
                self.settle()

        self.go(work())

    def action_start(self) -> None:
        self.turn_to("")
        self._do("", "start", operation=self.stand.operation)

    def action_move_now(self) -> None:
        assert isinstance(self.stand.offer, OfferMove)
        move = self.stand.offer.move
        self._do(f"Done: {move.title}", "move", move=move.move)

    def action_rework_step(self) -> None:
        step = self.seat.view.rework
        self._do(f"Taken back: {step.title}" if step and not step.is_move else "Done.", "rework-step")

    def action_record(self) -> None:
        want = self.stand.want
        if not self._readable():
            return
        if isinstance(want, WantOther) and isinstance(want.of, LotInput):
            lot = self.entry.value.strip()
            self._do(f"Lot {lot}", "lot", consumable=want.of.consumable, lot=lot)
        elif isinstance(want, WantReading):
            self.go(self._record(want, self.entry.value))

    def _record(self, want: WantReading, text: str) -> Coroutine[Any, Any, None]:
        async def work() -> None:
            drafts = self.stand.drafts_of_line()
            fields = reading_fields(want, text)
            if await self._send("record", **fields, **instruments_said(self.seat, want, fields)) is None:
                return
            self._entered(drafts)
            self.say(*told_reading(self.stand.wants, want))
            self.stand.advance()
            self.settle()

        return work()

    def action_next_value(self) -> None:
        """The first of two readings of a tick: it is kept until the second is there."""
        if self._readable():
            self.stand.step(1)
            self.settle()

    def action_tick(self) -> None:
        want = self.stand.want
        assert isinstance(want, WantTick)
        if want.value is not None and not self._readable():
            return
        texts: dict[str, str] = {}
        for each in self.stand.wants:
            if isinstance(each, WantTick) and each.value is not None:
                texts[each.value.field] = self.seat.drafts.text(self.stand.draft_of(each))
        fields = tick_fields(want, texts)
        said = instruments_said(self.seat, want, fields)
        self._do(f"No. {want.fastener}: {want.of.stages[want.stage - 1]}", "tick", **fields, **said)

    def _readable(self) -> bool:
        """Whether what stands in the field can be entered; if not, it is pointed at and stays."""
        text = self.entry.value
        if not text.strip():
            self.focus_on(self.entry)
            self.say("Type it first, then Enter.", role="weak")
            return False
        wrong = wrong_with(self.stand.want, text)
        if wrong is None:
            return True
        self.stand.typed = wrong
        self.say(NOT_ENTERED, role="alarm")
        self.app.bell()
        return False

    def action_untick(self) -> None:
        joint = self.stand.joint
        assert joint is not None
        self._do(f"Taken back, it does not count: {joint.undo}", "untick", joint=joint.joint)

    def action_draw_down(self) -> None:
        joint = self.stand.joint
        assert joint is not None
        self._do("", "draw-down", joint=joint.joint)

    def action_seated(self) -> None:
        joint = self.stand.joint
        assert joint is not None
        self._do("All are seated: the stages begin.", "draw-down", joint=joint.joint, seated=True)

    def action_check(self) -> None:
        self._tick_check(False)

    def action_uncheck(self) -> None:
        self._tick_check(True)

    def _tick_check(self, undo: bool) -> None:
        want = self.stand.want
        assert isinstance(want, WantOther)
        assert isinstance(want.of, CheckInput)
        said = "Tick taken back" if undo else f"Ticked: {want.of.text}"
        self._do(said, "tick-check", check=want.of.number, undo=undo)

    def action_choose(self, number: int) -> None:
        want = self.stand.want
        assert isinstance(want, WantOther)
        assert isinstance(want.of, ChoiceInput)
        if number:
            take = want.of.choices[number - 1]
        elif want.of.other and (self.entry.value.strip() or not want.of.proposed):
            if not self._readable():
                return
            take = with_own_unit(self.entry.value, want.of.other)
        else:
            take = want.of.proposed[0]
        self._do(f"Taken: {take}", "choose", name=want.of.name, take=take)

    def action_finish(self) -> None:
        self._do(f"Finished: {self.stand.work.now.title}" if self.stand.work else "", "finish")

    def action_pause(self) -> None:
        self._do("Set aside, with everything that was entered.", "pause")
