"""The instruments of a log that is decided again: each use is judged by what the log recorded about the instrument."""

from collections.abc import Sequence
from contextlib import suppress
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import lru_cache

from msgspec import Struct

from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Quantity, QuantityError
from benchflow.session.context import RecordedTool, ToolUse, refuse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.wrench_range import is_outside_range
from benchflow.session.rules.wrench_scale import range_of_used
from benchflow.session.shop.uncertainty_text import ShareOfScale, parse_uncertainty
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.instruments import (
    CalibrationOver,
    Instrument,
    NoCalibration,
    OutOfRange,
    TooUncertain,
    Uncertainty,
    fitness,
    standard_uncertainty,
)


class RecordedUses(Struct, frozen=True):
    """The instruments that the events of one intent name. ``day`` is the date of the intent.

    A call answers for the instrument of one reading or tick, as ``choose_tool`` asks for it.
    """

    events: Sequence[ev.AnyEvent]
    day: date

    def __call__(self, state: State, use: ToolUse) -> RecordedTool | Refusal:
        needs = state.plan.procedure.instruments_by_id
        logged_need, serial, stored = self._logged(use)
        possible = (use.need, use.given if use.given in needs else use.need)
        need = logged_need if logged_need in possible else use.need
        given = None if use.given == need else use.given
        described = self._description(state, need)
        if need is None or described is None:
            if state.register is not None and need is not None:
                text = f"The log does not describe the instrument that was used for {need}"
                return refuse("instrument-unfit", text, name=need)
            if state.register is None and serial != given:
                serial = given
            return RecordedTool(need, serial, None if stored is None or need is not None else from_stored(stored))
        if (described.serial or None) != serial or self._names_another(state, given, described):
            text = f"{given or serial or 'No instrument'} was used for {need}, but the log describes {described.serial}"
            return refuse("instrument-unfit", text, name=need)
        unfit = self._unfit(needs[need], described, use.required, together=use.index is not None)
        if unfit:
            return refuse("instrument-unfit", f"{described.title} ({described.serial}): {unfit}", name=need)
        used = next((event for event in self._descriptions(need)), None)
        quantity = None if use.required is None else _uncertainty(described, use.required, stored)
        return RecordedTool(need, serial, quantity, used)

    def _logged(self, use: ToolUse) -> tuple[str | None, str | None, ev.StoredQuantity | None]:
        """Need, serial number and uncertainty of the instrument, as the reading or tick of these events names them."""
        for event in self.events:
            if isinstance(event, ev.ReadingRecorded) and use.index is not None:
                share = event.tools[use.index] if use.index < len(event.tools) else ev.InstrumentShare(None)
                return share.instrument, share.serial, share.uncertainty
            if isinstance(event, ev.ReadingRecorded):
                return event.instrument, event.serial, event.uncertainty
            if isinstance(event, ev.FastenerTicked):
                if use.stretch:
                    return event.stretch_instrument, event.stretch_serial, None
                return event.instrument, event.serial, None
        return None, None, None

    def _descriptions(self, need: str) -> list[ev.InstrumentUsed]:
        return [event for event in self.events if isinstance(event, ev.InstrumentUsed) and event.need == need]

    def _description(self, state: State, need: str | None) -> ev.InstrumentUsed | None:
        """The data of the instrument for ``need``: from these events, or else as last logged."""
        if need is None:
            return None
        return next(iter(self._descriptions(need)), state.tools.get(need))

    def _names_another(self, state: State, given: str | None, described: ev.InstrumentUsed) -> bool:
        """True if the intent names the serial number of another instrument that the log describes."""
        if given is None or given in (described.serial, described.title):
            return False
        return any(tool.serial == given for tool in state.tools.values())

    def _unfit(
        self, need: InstrumentNeed, described: ev.InstrumentUsed, required: Quantity | None, *, together: bool
    ) -> str:
        """Why the instrument was not fit by its recorded data; "" if it was, or if the log has a warning about it."""
        instrument = _instrument(need, described)
        if described.warnings and need.unfit == "refuse":
            return ". ".join(described.warnings)
        if described.warnings:
            ticked = any(isinstance(event, ev.FastenerTicked) for event in self.events)
            outside = ticked and required is not None and is_outside_range(instrument, required)
            return f"The setting is outside its range, {described.range}" if outside else ""
        reasons = fitness(instrument, need, required, self.day, together=together)
        kinds: tuple[type, ...] = (CalibrationOver, NoCalibration, OutOfRange)
        if described.uncertainty and not _share_of_scale(described):
            kinds = (*kinds, TooUncertain)
        return ". ".join(reason.message for reason in reasons if isinstance(reason, kinds))


def _instrument(need: InstrumentNeed, described: ev.InstrumentUsed) -> Instrument:
    """The instrument as far as the log describes it. What it does not say is not known."""
    return Instrument(
        described.serial,
        need.kind,
        described.title,
        described.serial,
        range=range_of_used(described),
        uncertainty=_expanded_uncertainty(described.uncertainty),
        k=_factor(described.k),
        calibrated=_day(described.calibrated),
        due=_day(described.due),
    )


def _uncertainty(described: ev.InstrumentUsed, reading: Quantity, stored: ev.StoredQuantity | None) -> Quantity | None:
    """The standard uncertainty of a reading. A share of the scale is taken as logged: the log lacks the scale."""
    if not described.uncertainty:
        return None
    if _share_of_scale(described):
        ending = f"{described.uncertainty}, k = {described.k}"
        return from_stored(stored) if stored is not None and stored.entered == ending else None
    need = InstrumentNeed(described.need, described.title, "")
    return standard_uncertainty(_instrument(need, described), reading)


@lru_cache(256)
def _expanded_uncertainty(text: str) -> Uncertainty | None:
    with suppress(QuantityError):
        found = parse_uncertainty(text) if text else None
        return None if isinstance(found, ShareOfScale) else found
    return None


def _share_of_scale(described: ev.InstrumentUsed) -> bool:
    return described.uncertainty.rstrip().endswith("of scale")


def _factor(text: str) -> Decimal:
    with suppress(InvalidOperation):
        factor = Decimal(text)
        if factor.is_finite() and factor > 0:
            return factor
    return Decimal(2)


def _day(text: str | None) -> date | None:
    with suppress(ValueError):
        return None if text is None else date.fromisoformat(text)
    return None
