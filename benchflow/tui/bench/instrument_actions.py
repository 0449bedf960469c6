"""The actions of the bench that choose an instrument of the shop: for an entry that waits for it, or beforehand."""

from typing import TYPE_CHECKING, Any

from benchflow.session.refusal import Refusal
from benchflow.tui.app.navigation import InstrumentRequest
from benchflow.tui.bench.bench_navigation import BenchNavigation
from benchflow.tui.bench.intent_fields import instruments_for
from benchflow.tui.model.bench_inputs import SlotInput, TickInput

if TYPE_CHECKING:
    from benchflow.session.rules.instrument_choice import ToolList


class InstrumentActions(BenchNavigation, inherit_bindings=False):
    """The part of the bench that chooses instruments. A chosen one is used until another one is chosen."""

    def enter_again(self, intent: str, fields: dict[str, Any]) -> None:
        """Send an entry again, after its instrument was chosen."""
        raise NotImplementedError

    def ask_instrument(self, refusal: Refusal, intent: str, fields: dict[str, Any]) -> bool:
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
            self.enter_again(intent, fields)

        self.bench_app.open(InstrumentRequest(tools, self._waiting_text(fields)), chosen)
        self.app.bell()
        return True

    def _waiting_text(self, fields: dict[str, Any]) -> str:
        """The entry that waits for its instrument: ``Head height, 2: 105 mm``, ``Head nuts, no. 3``."""
        item, value = self.cursor.item, str(fields.get("value") or "")
        match item:
            case SlotInput():
                place = f", {item.slot.slot}" if len(item.input.readings) > 1 else ""
                what = f"{item.input.ask}{place}"
            case TickInput():
                what = f"{item.input.title}, no. {item.fastener}"
            case _:
                what = self.client.title(self.cursor.operation)
        return f"{what}: {value}" if value else what

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
