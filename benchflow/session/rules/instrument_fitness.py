"""Which instrument a reading or a tick is taken with, whether it is fit, and that the log says which it was.

Without a register nothing is known but what the intent says. With one, an instrument that is not fit is
refused (or warned about, by the procedure's choice) and what would be fit is named.
"""

from msgspec import Struct

from benchflow.procedure.model import AngleStage, CheckStage, InstrumentNeed, Stage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import Context, Entry, refuse, unknown_name
from benchflow.session.log.timestamps import parse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_stages import quantity_name
from benchflow.session.shop.register import Shop, find_instrument, fit_instruments
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.instruments import Instrument, due_date, fitness, same_kind, standard_uncertainty


class Tool(Struct, frozen=True):
    """``need`` is the procedure's name for what is asked for, ``serial`` which one it was. ``instrument``
    is its entry in the register; ``used`` what the log has to say of it before its first use."""

    need: str | None
    serial: str | None
    instrument: Instrument | None = None
    used: ev.InstrumentUsed | None = None

    def uncertainty(self, reading: Quantity) -> Quantity | None:
        return None if self.instrument is None else standard_uncertainty(self.instrument, reading)

    def entries(self, by: str) -> tuple[Entry, ...]:
        return () if self.used is None else (Entry(by, self.used),)


def need_for_stage(state: State, step: Step, stage: Stage, stated: str | None) -> str | None:
    """The instrument that a stage is done with, by what it measures: the one stated, else one that is used."""
    if isinstance(stage, CheckStage):
        kind = quantity_name(stage.limit)
    else:
        kind = "angle" if isinstance(stage, AngleStage) else "torque"
    return need_for_kind(state, step, kind, stated)


def need_for_kind(state: State, step: Step, kind: str, stated: str | None = None) -> str | None:
    """The instrument asked for that measures ``kind``; the one stated before those that are used. Stretch is measured
    with one whose kind says so, or else with one for lengths."""
    needs = state.plan.procedure.instruments_by_id
    named = [*([stated] if stated else []), *(ref.name for ref in step.operation.uses)]
    for wanted in (kind, "length") if kind == "stretch" else (kind,):
        for name in named:
            if name in needs and same_kind(needs[name].kind, wanted):
                return name
    return None


def choose_tool(
    state: State, context: Context, need: str | None, given: str | None, wanted: Quantity | None
) -> Tool | Refusal:
    """The tool meant by ``given`` (a need's id, a serial, an id in the register), asked to do ``wanted``."""
    needs = state.plan.procedure.instruments_by_id
    if given in needs:
        need, given = given, None
    if context.shop is None:
        return Tool(need, given or (state.tools[need].serial if need in state.tools else None))
    asked = None if need is None else needs[need]
    if given is None:
        return Tool(None, None) if asked is None else _the_one(state, context, context.shop, asked, wanted)
    instrument = find_instrument(context.shop, given)
    if instrument is None:
        return unknown_name(
            "instrument in the shop's register", given, [one.serial or one.id for one in context.shop.instruments]
        )
    if asked is None:
        return Tool(None, instrument.serial or instrument.id, instrument)
    return _held_against(state, context, context.shop, asked, instrument, wanted)


def _the_one(
    state: State, context: Context, shop: Shop, need: InstrumentNeed, wanted: Quantity | None
) -> Tool | Refusal:
    """The instrument used for this need before, or the only one that is fit. Of several the builder says which."""
    before = find_instrument(shop, state.tools[need.id].serial) if need.id in state.tools else None
    if before is not None:
        return _held_against(state, context, shop, need, before, wanted)
    found = fit_instruments(shop, need, wanted, parse(context.now.at).date())
    if len(found.fit) == 1:
        return _held_against(state, context, shop, need, found.fit[0], wanted)
    if found.fit:
        return refuse(
            "value-missing", f"Name the {need.title or need.id} that was used. {found.words}", name="instrument"
        )
    able = [one.instrument for one in found.unfit if one.instrument.retired is None]
    if need.unfit == "warn" and len(able) == 1:
        return _held_against(state, context, shop, need, able[0], wanted)
    return refuse("instrument-unfit", found.words, name=need.id)


def _held_against(
    state: State, context: Context, shop: Shop, need: InstrumentNeed, one: Instrument, wanted: Quantity | None
) -> Tool | Refusal:
    today = parse(context.now.at).date()
    reasons = tuple(reason.words for reason in fitness(one, need, wanted, today))
    if reasons and need.unfit == "refuse":
        better = fit_instruments(shop, need, wanted, today).words
        return refuse("instrument-unfit", f"{one.name}: {'; '.join(reasons)}. {better}", name=need.id)
    serial = one.serial or one.id
    used = instrument_used(need.id, one, reasons)
    before = state.tools.get(need.id)
    known = before is not None and (before.serial, before.warnings) == (serial, reasons)
    return Tool(need.id, serial, one, None if known else used)


def instrument_used(need: str, one: Instrument, warnings: tuple[str, ...]) -> ev.InstrumentUsed:
    due = due_date(one)
    return ev.InstrumentUsed(
        need=need,
        serial=one.serial or one.id,
        title=one.title or one.id,
        range="" if one.range is None else one.range.text,
        uncertainty="" if one.uncertainty is None else one.uncertainty.text,
        k=str(one.k),
        calibrated=None if one.calibrated is None else one.calibrated.isoformat(),
        due=None if due is None else due.isoformat(),
        uses=one.uses,
        warnings=warnings,
    )
