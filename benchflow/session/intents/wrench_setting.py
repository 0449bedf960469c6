"""Handlers of the intents `wrench` and `lubricant`."""

from decimal import Decimal, InvalidOperation

from benchflow.base.plaintext import clean
from benchflow.quantity import Quantity, QuantityError, parse_quantity
from benchflow.session.context import Context, Decision, Entry, refuse, unknown, unreadable
from benchflow.session.intents import intent_types as it
from benchflow.session.rules.verdicts import of_stored, stored
from benchflow.session.rules.wrench_correction import NONE
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.calculations.result import CalculationError
from benchflow.trade.calculations.torque_wrench import with_extension


def wrench(state: State, intent: it.Wrench, context: Context, by: str) -> Decision:
    """What is on the torque wrench. ``extension: none`` takes it off."""
    if intent.extension.strip().lower() in NONE:
        return (Entry(by, ev.WrenchFitted()),)
    read: dict[str, ev.StoredQuantity] = {}
    for name, text, dimension in (
        ("extension", intent.extension, "length"),
        ("lever", intent.lever or "", "length"),
        ("angle", intent.angle or "", "angle"),
    ):
        if not text:
            continue
        try:
            read[name] = stored(parse_quantity(text, dimension=dimension))
        except QuantityError as error:
            return unreadable(error, name)
    if "lever" not in read:
        return refuse(
            "value-missing",
            "say how long the wrench is, from the square to the middle of the grip (lever)",
            name="lever",
        )
    angle = read.get("angle")
    try:
        one = Quantity(Decimal(100), "N·m", "100 N·m")
        degrees = None if angle is None else of_stored(angle)
        with_extension(one, of_stored(read["lever"]), of_stored(read["extension"]), degrees)
    except CalculationError as error:
        return refuse("bad-quantity", str(error), name="extension")
    return (Entry(by, ev.WrenchFitted(read["extension"], read["lever"], angle)),)


def lubricant(state: State, intent: it.Lubricant, context: Context, by: str) -> Decision:
    """What is really on the threads of a joint, where it is not what the torque is stated for."""
    joints = {joint.id: joint for joint in state.plan.procedure.joints}
    if intent.joint not in joints:
        return unknown("joint", intent.joint, joints)
    text = clean(intent.lubricant).strip()
    if not text:
        return refuse("value-missing", "Enter the lubricant on the threads", name="lubricant")
    factor = (intent.nut_factor or "").strip()
    if factor:
        try:
            value = Decimal(factor)
        except InvalidOperation:
            return refuse("bad-quantity", f"{factor!r} is not a nut factor; write it like 0.15", name="nut-factor")
        if not value.is_finite() or not Decimal("0.03") <= value <= Decimal("0.6"):
            return refuse("bad-quantity", f"A nut factor is between 0.03 and 0.6; {factor} is not", name="nut-factor")
    return (Entry(by, ev.Lubricated(intent.joint, text, factor)),)
