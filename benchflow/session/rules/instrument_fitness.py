"""The instrument for a reading or a tick: chosen, checked for fitness, and described for the log.

Without a register, only the serial number in the intent is known. With a register, an instrument that is not fit is
refused with the names of fit ones. The procedure can allow it with a warning instead.
"""

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import AngleStage, CheckStage, HandStage, InstrumentNeed, Stage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import Context, Entry, ToolUse, refuse, unknown_name
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_stages import quantity_name
from benchflow.session.shop.register import Shop, find_instrument, fit_instruments
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.instruments import Instrument, due_date, fitness, same_kind, standard_uncertainty


class Tool(Struct, frozen=True):
    """The instrument that was used.

    ``need`` is the id of the need in the procedure, ``instrument`` the entry in the register. ``used`` is the event
    that describes it in the log before its first use. ``recorded`` is the standard uncertainty in a log that is decided
    again.
    """

    need: str | None
    serial: str | None
    instrument: Instrument | None = None
    used: ev.InstrumentUsed | None = None
    recorded: Quantity | None = None

    def uncertainty(self, reading: Quantity) -> Quantity | None:
        """The standard uncertainty of ``reading``; ``None`` if it is not known."""
        return self.recorded if self.instrument is None else standard_uncertainty(self.instrument, reading)

    def entries(self, by: str) -> tuple[Entry, ...]:
        """The entry that describes the instrument; none if it is in the log already."""
        return () if self.used is None else (Entry(by, self.used),)


def need_for_stage(state: State, step: Step, stage: Stage, stated: str | None) -> str | None:
    """The id of the instrument for a stage, by the quantity that the stage measures.

    ``stated`` is the instrument that the procedure names for the joint. It is used if it measures this quantity.
    ``None`` for a stage by hand.
    """
    if isinstance(stage, HandStage):
        return None
    if isinstance(stage, CheckStage):
        kind = quantity_name(stage.limit)
    else:
        kind = "angle" if isinstance(stage, AngleStage) else "torque"
    return need_for_kind(state, step, kind, stated)


def need_for_kind(state: State, step: Step, kind: str, stated: str | None = None) -> str | None:
    """The id of the instrument that measures quantities of this kind; ``None`` if there is none.

    It is ``stated`` if that is of the right kind, otherwise an instrument that the operation uses. An instrument for
    lengths can measure stretch, too.
    """
    needs = state.plan.procedure.instruments_by_id
    named = [*([stated] if stated else []), *(ref.name for ref in step.operation.uses)]
    for suitable in (kind, "length") if kind == "stretch" else (kind,):
        for name in named:
            if name in needs and same_kind(needs[name].kind, suitable):
                return name
    return None


def choose_tool(
    state: State,
    context: Context,
    need: str | None,
    given: str | None,
    required: Quantity | None,
    *,
    stretch: bool = False,
    index: int | None = None,
) -> Tool | Refusal:
    """The instrument for ``need``; a refusal if it is not fit or not known.

    ``given`` is the instrument in the intent: a serial number or an id in the register, or else the id of a need. An
    instrument in the register may have the id of a need. ``required`` is the setting or reading. ``stretch`` is true
    for the gauge that reads the stretch beside the torque. ``index`` is the number of the instrument, from 0, if
    several are used together for one reading.
    """
    together = index is not None
    if context.recorded_tool is not None:
        found = context.recorded_tool(state, ToolUse(need, given, required, stretch, index))
        if isinstance(found, Refusal):
            return found
        return Tool(found.need, found.serial, None, found.used, found.uncertainty)
    needs = state.plan.procedure.instruments_by_id
    known = None if context.shop is None or given is None else find_instrument(context.shop, given)
    if given in needs and (known is None or not same_kind(known.kind, needs[given].kind)):
        need, given = given, None
    elif given in needs and need is None:
        need = given
    if context.shop is None:
        return Tool(need, given or (state.tools[need].serial if need in state.tools else None))
    stated_need = None if need is None else needs[need]
    if given is None:
        return (
            Tool(None, None)
            if stated_need is None
            else _default_tool(state, context, context.shop, stated_need, required, together=together)
        )
    if known is None:
        return _unknown_instrument(context.shop, given, stated_need, required, context, together=together)
    if stated_need is None:
        return Tool(None, known.serial or known.id, known)
    return _checked_tool(state, context, context.shop, stated_need, known, required, together=together)


def _unknown_instrument(
    shop: Shop,
    given: str,
    need: InstrumentNeed | None,
    required: Quantity | None,
    context: Context,
    *,
    together: bool,
) -> Refusal:
    """A refusal of an instrument that is not in the register. It says which ones are."""
    refusal = unknown_name("instrument", given, [one.serial or one.id for one in shop.instruments])
    if need is None:
        return refusal
    advice = fit_instruments(shop, need, required, context.today, together=together).message
    (reason,) = refusal.refused
    return Refusal((replace(reason, message=f"{reason.message} {advice}"),))


def _default_tool(
    state: State, context: Context, shop: Shop, need: InstrumentNeed, required: Quantity | None, *, together: bool
) -> Tool | Refusal:
    """The instrument used last for this need, or the only one that is fit; a refusal if the builder must choose."""
    before = find_instrument(shop, state.tools[need.id].serial) if need.id in state.tools else None
    if before is not None:
        return _checked_tool(state, context, shop, need, before, required, together=together)
    found = fit_instruments(shop, need, required, context.today, together=together)
    if len(found.fit) == 1:
        return _checked_tool(state, context, shop, need, found.fit[0], required, together=together)
    if found.fit:
        message = f"{need.title or need.id}: several instruments are fit. Enter the one that was used. {found.message}"
        return refuse("value-missing", message, name="instrument")
    if need.unfit == "warn" and not found.unfit:
        return _tool_outside_the_register(state, need)
    not_retired = [unfit.instrument for unfit in found.unfit if unfit.instrument.retired is None]
    if need.unfit == "warn" and len(not_retired) == 1:
        return _checked_tool(state, context, shop, need, not_retired[0], required, together=together)
    return refuse("instrument-unfit", found.message, name=need.id)


def _tool_outside_the_register(state: State, need: InstrumentNeed) -> Tool:
    """The instrument for a need that the procedure only warns about, if the register has none of its kind."""
    warning = f"The register has no instrument of the kind {need.kind}"
    before = state.tools.get(need.id)
    known = before is not None and (before.serial, before.warnings) == ("", (warning,))
    used = ev.InstrumentUsed(need.id, "", need.title or need.id, warnings=(warning,))
    return Tool(need.id, None, None, None if known else used)


def _checked_tool(
    state: State,
    context: Context,
    shop: Shop,
    need: InstrumentNeed,
    instrument: Instrument,
    required: Quantity | None,
    *,
    together: bool,
) -> Tool | Refusal:
    """``instrument`` as a tool. If it is not fit, the tool has warnings or is refused, as ``need`` requires."""
    unfit = fitness(instrument, need, required, context.today, together=together)
    reasons = tuple(reason.message for reason in unfit)
    if reasons and need.unfit == "refuse":
        found = fit_instruments(shop, need, required, context.today, together=together)
        told = f"{instrument.name}: {'. '.join(reasons)}. " if found.fit or not found.unfit else ""  # told by `found`
        return refuse("instrument-unfit", f"{told}{found.message}", name=need.id)
    serial = instrument.serial or instrument.id
    used = instrument_used(need.id, instrument, reasons)
    before = state.tools.get(need.id)
    known = before is not None and replace(before, uses=used.uses) == used
    return Tool(need.id, serial, instrument, None if known else used)


def instrument_used(need: str, instrument: Instrument, warnings: tuple[str, ...]) -> ev.InstrumentUsed:
    """The event that describes an instrument in the log, with the ``warnings`` about it."""
    due = due_date(instrument)
    return ev.InstrumentUsed(
        need=need,
        serial=instrument.serial or instrument.id,
        title=instrument.title or instrument.id,
        range="" if instrument.range is None else instrument.range.text,
        uncertainty="" if instrument.uncertainty is None else instrument.uncertainty.text,
        k=str(instrument.k),
        calibrated=None if instrument.calibrated is None else instrument.calibrated.isoformat(),
        due=None if due is None else due.isoformat(),
        uses=instrument.uses,
        warnings=warnings,
    )
