"""The shop's instruments for what is read or tightened now: which are fit, which are not and why."""

from collections.abc import Mapping
from typing import Literal

from msgspec import Struct

from benchflow.procedure.model import CheckStage, InstrumentNeed, TorqueStage
from benchflow.quantity import Quantity, show_short
from benchflow.session.context import Context
from benchflow.session.log.timestamps import parse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_readings import tick_readings
from benchflow.session.rules.instrument_fitness import need_for_kind, need_for_stage
from benchflow.session.rules.joint_progress import joint_progress
from benchflow.session.rules.typed_values import read_quantity
from benchflow.session.rules.wrench_correction import wrench_setting
from benchflow.session.shop.register import fit_instruments
from benchflow.session.state.state import State
from benchflow.trade.instruments import Instrument

Field = Literal["instrument", "stretch-instrument"]


class ToolRow(Struct, frozen=True):
    """``reasons`` say why it is not fit; ``allowed`` whether it may be used all the same."""

    serial: str
    title: str
    reasons: tuple[str, ...]
    allowed: bool
    in_use: bool


class ToolList(Struct, frozen=True):
    """For one need of the procedure: what the shop has of its kind, the fit ones first. ``field`` is where the intent
    says which it is, ``wanted`` what it is to be fit for, in words."""

    need: str
    title: str
    required: str
    field: Field
    rows: tuple[ToolRow, ...]

    @property
    def must_choose(self) -> bool:
        """Whether the builder has to say which it is: nothing of it is in use that may be used."""
        return not any(row.in_use and row.allowed for row in self.rows)


def tools_for_reading(state: State, context: Context, name: str, typed: str = "") -> tuple[ToolList, ...]:
    """For a value being entered. ``typed`` is the reading, where it is there already: an instrument has to
    reach it. Empty where the procedure asks for none or there is no register."""
    step = state.plan.steps[state.in_progress] if state.in_progress is not None else None
    record = None if step is None else step.record(name)
    if record is None:
        return ()
    read = read_quantity(typed, record.unit, record.dimension, name) if typed.strip() else None
    wanted = None if isinstance(read, Refusal) else read
    return _lists(state, context, ("instrument", record.instrument, wanted))


def tools_for_joint(
    state: State, context: Context, stage_number: int, typed: Mapping[str, str] | None = None
) -> tuple[ToolList, ...]:
    """For a tick: the wrench (or what the stage needs), and the gauge that a stretch is read
    with. ``typed`` as the intent's fields ``value`` and ``stretch``."""
    step = state.plan.steps[state.in_progress] if state.in_progress is not None else None
    count = None if step is None else joint_progress(state, step)
    if step is None or count is None or not 1 <= stage_number <= len(count.tighten.stages):
        return ()
    stage, typed = count.tighten.stages[stage_number - 1], typed or {}
    read = tick_readings(stage, 1, typed.get("value") or None, typed.get("stretch") or None)
    value, stretch = (None, None) if isinstance(read, Refusal) else read
    wanted = wrench_setting(state, stage.torque) if isinstance(stage, TorqueStage) else value
    main = need_for_stage(state, step, stage, count.tighten.instrument)
    if not isinstance(stage, CheckStage) or stage.stretch is None:
        return _lists(state, context, ("instrument", main, wanted))
    gauge = need_for_kind(state, step, "stretch")
    return _lists(state, context, ("instrument", main, wanted), ("stretch-instrument", gauge, stretch))


def _lists(state: State, context: Context, *asked: tuple[Field, str | None, Quantity | None]) -> tuple[ToolList, ...]:
    needs = state.plan.procedure.instruments_by_id
    found = [_listed(state, context, needs[name], field, wanted) for field, name, wanted in asked if name in needs]
    return tuple(each for each in found if each is not None)


def _listed(
    state: State, context: Context, need: InstrumentNeed, field: Field, wanted: Quantity | None
) -> ToolList | None:
    if context.shop is None:
        return None
    fitting = fit_instruments(context.shop, need, wanted, parse(context.now.at).date())
    used = state.tools[need.id].serial if need.id in state.tools else None

    def row(one: Instrument, reasons: tuple[str, ...]) -> ToolRow:
        serial = one.serial or one.id
        allowed = not reasons or (need.unfit == "warn" and one.retired is None)
        return ToolRow(serial, one.title or one.id, reasons, allowed, serial == used)

    rows = [row(one, ()) for one in fitting.fit]
    rows += [row(one.instrument, tuple(why.words for why in one.reasons)) for one in fitting.unfit]
    words = "" if wanted is None else show_short(wanted)
    return ToolList(need.id, need.title or need.id, words, field, tuple(rows))
