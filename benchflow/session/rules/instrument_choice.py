"""The instruments of the shop for the present reading or tick, with the reasons why some are not fit."""

from collections.abc import Mapping
from typing import Literal

from msgspec import Struct

from benchflow.procedure.model import CheckStage, InstrumentNeed, TorqueStage
from benchflow.quantity import Quantity, show_short
from benchflow.session.context import Context
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_readings import tick_readings
from benchflow.session.rules.instrument_fitness import need_for_kind, need_for_stage
from benchflow.session.rules.joint_progress import joint_progress
from benchflow.session.rules.measurements import next_open_slot
from benchflow.session.rules.stage_tools import shown_on_tool
from benchflow.session.rules.typed_values import read_quantity
from benchflow.session.rules.wrench_range import is_outside_range
from benchflow.session.shop.register import fit_instruments
from benchflow.session.state.state import State
from benchflow.trade.instruments import Instrument

Field = Literal["instrument", "stretch-instrument"]
"""A field of an intent that takes the serial number of an instrument."""


class ToolRow(Struct, frozen=True):
    """One instrument of the shop.

    ``reasons`` say why it is not fit. It is ``allowed`` if there are none, or if the procedure only warns. ``in_use``
    is true for the one that was used last for this need.
    """

    serial: str
    title: str
    reasons: tuple[str, ...]
    allowed: bool
    in_use: bool


class ToolList(Struct, frozen=True):
    """The instruments of the shop for one need of the procedure, the fit ones first.

    ``required`` is the setting or reading as text, empty if not known. ``field`` is the field of the intent for the
    serial number.
    """

    need: str
    title: str
    required: str
    field: Field
    rows: tuple[ToolRow, ...]
    optional: bool = False  # the register has none, and the procedure only warns

    @property
    def must_choose(self) -> bool:
        """True if the builder must choose one, because no allowed instrument is in use."""
        return not self.optional and not any(row.in_use and row.allowed for row in self.rows)


def tools_for_reading(state: State, context: Context, name: str, typed: str = "") -> tuple[ToolList, ...]:
    """The instruments for a reading of the value ``name`` in the operation in progress.

    ``typed`` is the reading if it is typed already: it must be in the range of the instrument. The result is empty if
    the procedure needs no instrument, or if there is no register.
    """
    step = state.plan.steps[state.in_progress] if state.in_progress is not None else None
    record = None if step is None else step.record(name)
    if step is None or record is None:
        return ()
    read = read_quantity(typed, record.unit, record.dimension, name) if typed.strip() else None
    required = None if isinstance(read, Refusal) else read
    slot = next_open_slot(state, step, record)
    needs = record.at(slot).instruments
    fields: list[tuple[Field, str | None, Quantity | None]] = [("instrument", need, required) for need in needs]
    return _tool_lists(state, context, *fields, together=len(needs) > 1)


def tools_for_joint(
    state: State, context: Context, stage_number: int, typed: Mapping[str, str] | None = None
) -> tuple[ToolList, ...]:
    """The instruments for a tick: the wrench or other tool of the stage, and the gauge for the stretch.

    ``typed`` has the typed fields ``value`` and ``stretch`` of the intent.
    """
    step = state.plan.steps[state.in_progress] if state.in_progress is not None else None
    progress = None if step is None else joint_progress(state, step)
    if step is None or progress is None or not 1 <= stage_number <= len(progress.tighten.stages):
        return ()
    stage, typed = progress.tighten.stages[stage_number - 1], typed or {}
    read = tick_readings(stage, 1, typed.get("value") or None, typed.get("stretch") or None)
    value, stretch = (None, None) if isinstance(read, Refusal) else (read.value, read.stretch)
    required = shown_on_tool(state, stage, value) if isinstance(stage, TorqueStage | CheckStage) else value
    main = need_for_stage(state, step, stage, progress.tighten.instrument)
    if not isinstance(stage, CheckStage) or stage.stretch is None:
        return _tool_lists(state, context, ("instrument", main, required), set_to=required)
    gauge = need_for_kind(state, step, "stretch")
    fields: tuple[tuple[Field, str | None, Quantity | None], ...]
    fields = (("instrument", main, required), ("stretch-instrument", gauge, stretch))
    return _tool_lists(state, context, *fields, set_to=required)


def _tool_lists(
    state: State,
    context: Context,
    *fields: tuple[Field, str | None, Quantity | None],
    together: bool = False,
    set_to: Quantity | None = None,
) -> tuple[ToolList, ...]:
    """A list for each field with its need and the setting or reading; unknown needs are left out.

    ``set_to`` is the setting of the wrench: one with another range is never allowed.
    """
    needs = state.plan.procedure.instruments_by_id
    found = [
        _tool_list(state, context, needs[name], field, required, together=together, set_to=set_to)
        for field, name, required in fields
        if name in needs
    ]
    return tuple(tools for tools in found if tools is not None)


def _tool_list(
    state: State,
    context: Context,
    need: InstrumentNeed,
    field: Field,
    required: Quantity | None,
    *,
    together: bool,
    set_to: Quantity | None,
) -> ToolList | None:
    if context.shop is None:
        return None
    fitting = fit_instruments(context.shop, need, required, context.today, together=together)
    used = state.tools[need.id].serial if need.id in state.tools else None

    def row(instrument: Instrument, reasons: tuple[str, ...]) -> ToolRow:
        serial = instrument.serial or instrument.id
        refused = set_to is not None and is_outside_range(instrument, set_to)
        allowed = not reasons or (need.unfit == "warn" and instrument.retired is None and not refused)
        return ToolRow(serial, instrument.title or instrument.id, reasons, allowed, serial == used)

    rows = [row(instrument, ()) for instrument in fitting.fit]
    rows += [row(unfit.instrument, tuple(reason.message for reason in unfit.reasons)) for unfit in fitting.unfit]
    shown = "" if required is None else show_short(required)
    return ToolList(need.id, need.title or need.id, shown, field, tuple(rows), not rows and need.unfit == "warn")
