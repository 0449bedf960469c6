"""The wrench setting with its extension, and the lines that the bench shows about it."""

from decimal import Decimal
from fractions import Fraction

import msgspec

from benchflow.procedure.model import CheckStage, Joint, TorqueStage
from benchflow.quantity import Quantity, show, show_converted
from benchflow.quantity.shown import magnitude, round_half_up, with_unit
from benchflow.session.rules.check_stages import quantity_name
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.verdicts import from_stored
from benchflow.session.state.state import State
from benchflow.trade.calculations.bolt_torque import joint_words, lubricant_change
from benchflow.trade.calculations.torque_wrench import setting

NO_EXTENSION = ("none", "off", "-", "0")


def setting_lines(state: State, count: JointProgress) -> tuple[str, ...]:
    """The setting with the extension that is on, the preload aimed at, the lubricant it is stated for."""
    joint, stage = count.joint, count.current_stage
    lines: list[str] = []
    if isinstance(stage, TorqueStage):
        torque, note = _for_lubricant(state, joint, stage.torque)
        lines += [*_wrench(state, torque), *note, *_preload(state, joint, torque)]
    if isinstance(stage, CheckStage):
        lines += _read_off(state, stage)
    if joint.lubricant and joint.id not in state.lubricants:
        lines.append(f"lubricant: {joint.lubricant}")
    if count.draw_down is not None:
        lines.append(count.draw_down.text)
    return tuple(lines)


def wrench_setting(state: State, torque: Quantity) -> Quantity:
    """What the wrench has to show for ``torque`` with what is on it."""
    on = state.wrench
    if on is None or on.extension is None or on.lever is None:
        return torque
    angle = None if on.angle is None else from_stored(on.angle)
    return setting(torque, from_stored(on.lever), from_stored(on.extension), angle)


def setting_on_scale(state: State, count: JointProgress) -> str:
    """``22.2 ft-lb``: the figure on the wrench's own scale for the current stage; "" where no extension is on."""
    on, stage = state.wrench, count.current_stage
    if on is None or on.extension is None or on.lever is None or not isinstance(stage, TorqueStage):
        return ""
    return _as_set(state, stage.torque)


def _wrench(state: State, torque: Quantity) -> list[str]:
    on = state.wrench
    if on is None or on.extension is None or on.lever is None:
        return []
    angle = f" at {on.angle.entered}" if on.angle is not None else ""
    fitted = f"extension {on.extension.entered}{angle}, lever {on.lever.entered}"
    return [f"SET THE WRENCH TO {_as_set(state, torque)} ({fitted})"]


def _read_off(state: State, stage: CheckStage) -> list[str]:
    """What the wrench shows at the ends of a check's limit while an extension is on. What is entered is the torque at
    the fastener."""
    on, ends = state.wrench, (stage.limit.low, stage.limit.high)
    if on is None or on.extension is None or quantity_name(stage.limit) != "torque":
        return []
    shown = [f"{show(end)} reads {_as_set(state, end)}" for end in ends if end is not None]
    return [f"with the extension of {on.extension.entered} on, {' and '.join(shown)}: enter the torque at the fastener"]


def _as_set(state: State, torque: Quantity) -> str:
    """To one digit more than the torque is stated to, three at least: a scale is not read closer than that."""
    exact = Fraction(wrench_setting(state, torque).value)
    exponent = torque.value.as_tuple().exponent
    stated = -exponent if isinstance(exponent, int) else 0
    places = max(stated + 1, 2 - magnitude(exact) if exact else 0, 0)
    value = round_half_up(exact, places)
    return with_unit(f"{value.normalize() if value == value.to_integral_value() else value:f}", torque.unit)


def _for_lubricant(state: State, joint: Joint, torque: Quantity) -> tuple[Quantity, list[str]]:
    """The torque for the lubricant that is really on the threads. The procedure's figure is what is shown and
    logged; the other is an estimate, and says so."""
    used = state.lubricants.get(joint.id)
    if used is None:
        return torque, []
    note = f"{used.lubricant} on the threads, {joint.lubricant or 'another'} is assumed"
    if used.nut_factor and joint.nut_factor is not None:
        other = lubricant_change(torque, joint.nut_factor, Decimal(used.nut_factor)).lines[0].value
        same = show_converted(Quantity(other.value, other.unit, torque.entered), other.unit)
        return torque, [f"{note}: the same preload would take about {same}; ask before you change it"]
    return torque, [f"{note}: the torque may not give the preload it is meant to"]


def _preload(state: State, joint: Joint, torque: Quantity) -> list[str]:
    used = state.lubricants.get(joint.id)
    factor = Decimal(used.nut_factor) if used is not None and used.nut_factor else joint.nut_factor
    said = joint_words(msgspec.structs.replace(joint, nut_factor=factor), torque)
    return [said] if said else []
