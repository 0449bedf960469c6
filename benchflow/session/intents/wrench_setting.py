"""Handlers of the intents `wrench` and `lubricant`."""

from decimal import Decimal, InvalidOperation

from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.quantity import Quantity, QuantityError, parse_quantity
from benchflow.quantity.types import printable
from benchflow.session.context import Context, Decision, Entry, refuse, unknown_name, unreadable_quantity
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Refusal
from benchflow.session.rules.instrument_fitness import need_for_stage
from benchflow.session.rules.joint_progress import joint_progress
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.rules.wrench_correction import NO_EXTENSION
from benchflow.session.rules.wrench_range import torques_of_stage, wrench_range_refusal
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.calculations.result import CalculationError
from benchflow.trade.calculations.torque_wrench import with_extension

LOWEST_NUT_FACTOR, HIGHEST_NUT_FACTOR = Decimal("0.03"), Decimal("0.6")


def set_wrench_adapter(state: State, intent: intents.SetWrenchAdapter, context: Context, by: str) -> Decision:
    if intent.extension.strip().lower() in NO_EXTENSION:
        return (Entry(by, ev.WrenchAdapterChanged()),)
    stored: dict[str, ev.StoredQuantity] = {}
    for field, text, dimension in (
        ("extension", intent.extension, "length"),
        ("lever", intent.lever or "", "length"),
        ("angle", intent.angle or "", "angle"),
    ):
        if not text:
            continue
        try:
            stored[field] = to_stored(parse_quantity(text, dimension=dimension))
        except QuantityError as error:
            return unreadable_quantity(error, field)
    if "extension" not in stored:
        message = "Enter the length of the extension, from the square drive to the middle of the fastener, or “none”"
        return refuse("value-missing", message, name="extension")
    if "lever" not in stored:
        message = "Enter the length of the wrench (lever), from the square drive to the middle of the grip"
        return refuse("value-missing", message, name="lever")
    angle = stored.get("angle")
    try:  # with any torque, to find a length or an angle that cannot be right
        with_extension(
            Quantity(Decimal(100), "N·m", "100 N·m"),
            from_stored(stored["lever"]),
            from_stored(stored["extension"]),
            None if angle is None else from_stored(angle),
        )
    except CalculationError as error:
        return refuse("bad-quantity", str(error), name="extension")
    event = ev.WrenchAdapterChanged(stored["extension"], stored["lever"], angle)
    return _outside_range(state, event, context, intent.instrument) or (Entry(by, event),)


def _outside_range(
    state: State, event: ev.WrenchAdapterChanged, context: Context, instrument: str | None
) -> Refusal | None:
    """A refusal if the adapter takes the setting of the current stage out of the range of the wrench."""
    step = None if state.in_progress is None else state.plan.steps[state.in_progress]
    progress = None if step is None else joint_progress(state, step)
    if step is None or progress is None or progress.current_stage is None:
        return None
    stage, fitted = progress.current_stage, replace(state, wrench=event)
    need = need_for_stage(state, step, stage, progress.tighten.instrument)
    return wrench_range_refusal(fitted, context, need, instrument, torques_of_stage(stage))


def set_lubricant(state: State, intent: intents.SetLubricant, context: Context, by: str) -> Decision:
    joints = state.plan.procedure.joints_by_id
    if intent.joint not in joints:
        return unknown_name("joint", intent.joint, joints)
    lubricant = clean(intent.lubricant).strip()
    if not lubricant:
        return refuse("value-missing", "Enter the lubricant on the threads", name="lubricant")
    nut_factor = (intent.nut_factor or "").strip()
    if nut_factor:
        try:
            number = Decimal(nut_factor)
        except InvalidOperation:
            message = f"“{printable(nut_factor)}” is not a nut factor. Write a number such as 0.15"
            return refuse("bad-quantity", message, name="nut-factor")
        if not number.is_finite() or not LOWEST_NUT_FACTOR <= number <= HIGHEST_NUT_FACTOR:
            message = f"The nut factor {number} is not possible. Write {LOWEST_NUT_FACTOR} to {HIGHEST_NUT_FACTOR}"
            return refuse("bad-quantity", message, name="nut-factor")
    return (Entry(by, ev.LubricantChanged(intent.joint, lubricant, nut_factor)),)
