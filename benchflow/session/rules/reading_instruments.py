"""The instruments of one reading: chosen, checked, and their uncertainties combined.

Several instruments are used together for one reading, such as a straightedge and a feeler gauge. All of them must be
fit. Their errors are independent, so the variances add up (JCGM 100:2008, 5.1.2).
"""

from collections.abc import Sequence

from msgspec import Struct

from benchflow.procedure.model import RecordedValue
from benchflow.quantity import Quantity, dimension_of, show_short
from benchflow.session.context import Context, Entry, refuse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.instrument_fitness import Tool, choose_tool
from benchflow.session.rules.measurements import combined_share, from_stored
from benchflow.session.rules.verdicts import stated_uncertainty_of, to_stored
from benchflow.session.state.event_basics import InstrumentShare, StoredQuantity
from benchflow.session.state.state import Attempt, State
from benchflow.trade.instruments import RangeUnknown, has_range_for


class ReadingTools(Struct, frozen=True):
    """The instruments of one reading. ``u`` is the combined standard uncertainty; ``None`` if one is not known.

    ``shares`` has the instruments for the log, if there are several.
    """

    tools: tuple[Tool, ...]
    u: Quantity | None
    shares: tuple[InstrumentShare, ...] = ()

    def entries(self, by: str) -> tuple[Entry, ...]:
        """The entries that describe the instruments in the log."""
        return tuple(entry for tool in self.tools for entry in tool.entries(by))


def tools_for(
    state: State, context: Context, record: RecordedValue, given: str | tuple[str, ...] | None, reading: Quantity
) -> ReadingTools | Refusal:
    """The instruments for a reading; a refusal if one of them is not fit or not known.

    ``given`` are the instruments in the intent, in the order of `with`: serial numbers, or ids in the register. The id
    of a need means any instrument for it. An instrument that is not given is that of the last use, or the only fit one.
    """
    named = (given,) if isinstance(given, str) else given or ()
    most = max(len(record.instruments), 1)
    if len(named) > most:
        message = f"{len(named)} instruments are given, but {record.ask or record.name} is read with {most}"
        return refuse("not-allowed", message, name="instrument")
    needs: Sequence[str | None] = record.instruments or (None,)
    together = len(needs) > 1
    tools: list[Tool] = []
    for index, (need, one) in enumerate(zip(needs, _by_need(needs, named), strict=True)):
        tool = choose_tool(state, context, need, one, reading, index=index if together else None)
        if isinstance(tool, Refusal):
            return tool
        tools.append(tool)
    serials = [tool.serial for tool in tools if tool.serial]
    if len(set(serials)) < len(serials):
        message = f"{serials[0]} is named for two instruments of {record.ask or record.name}. Name another one"
        return refuse("not-allowed", message, name="instrument")
    unknown = _range_unknown(state, context, needs, tools, reading) if together else None
    if unknown is not None:
        return unknown
    us = [_uncertainty(state, tool, need, reading) for tool, need in zip(tools, needs, strict=True)]
    if not together:
        return ReadingTools(tuple(tools), us[0])
    shares = tuple(
        InstrumentShare(tool.need, tool.serial, None if u is None else to_stored(u))
        for tool, u in zip(tools, us, strict=True)
    )
    return ReadingTools(tuple(tools), combined_share(shares, record.unit), shares)


def _by_need(needs: Sequence[str | None], named: tuple[str, ...]) -> list[str | None]:
    """What is given for each need: the id of a need is for that one, everything else is in order."""
    if len(needs) < 2:
        return [named[0] if named else None]
    rest = iter([one for one in named if one not in needs])
    return [need if need in named else next(rest, None) for need in needs]


def _range_unknown(
    state: State, context: Context, needs: Sequence[str | None], tools: Sequence[Tool], reading: Quantity
) -> Refusal | None:
    """A refusal if none of the instruments has a range for the reading, and the procedure refuses unfit ones."""
    known = [tool.instrument for tool in tools]
    by_id = state.plan.procedure.instruments_by_id
    warned = any(need in by_id and by_id[need].unfit == "warn" for need in needs if need)
    if context.shop is None or warned or any(one is None or has_range_for(one, reading) for one in known):
        return None
    names = " and ".join(one.name for one in known if one is not None)
    message = f"{names}: {RangeUnknown(show_short(reading)).message}"
    return refuse("instrument-unfit", message, name=needs[-1] or "instrument")


def _uncertainty(state: State, tool: Tool, need: str | None, reading: Quantity) -> Quantity | None:
    u = tool.uncertainty(reading) or stated_uncertainty_of(state, need, reading)
    return u if u is None or dimension_of(u.unit) == dimension_of(reading.unit) else None


def shares_of_correction(state: State, wrong: Attempt, quantity: Quantity) -> tuple[InstrumentShare, ...]:
    """The instruments of a corrected reading, which are those of the wrong one, with their uncertainties."""
    found = []
    for share in wrong.tools:
        u = uncertainty_again(state, share.instrument, share.uncertainty, wrong, quantity)
        found.append(InstrumentShare(share.instrument, share.serial, None if u is None else to_stored(u)))
    return tuple(found)


def uncertainty_again(
    state: State, need: str | None, stored: StoredQuantity | None, wrong: Attempt, quantity: Quantity
) -> Quantity | None:
    """The standard uncertainty of a corrected reading. One that is a share of the reading is the same share again."""
    if stored is None:
        return stated_uncertainty_of(state, need, quantity)
    u, read = from_stored(stored), from_stored(wrong.quantity)
    if "%" not in u.entered or not read.value:
        return u
    return Quantity(u.value * abs(quantity.value / read.value), u.unit, u.entered)
