"""The wrench setting with an extension, and the lines on the setting that the bench shows."""

from decimal import Decimal

import msgspec

from benchflow.procedure.figure_sources import parse_source
from benchflow.procedure.model import CheckStage, Joint, TorqueStage
from benchflow.quantity import Quantity, base, show, show_converted
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import magnitude, round_half_up, with_unit
from benchflow.session.rules.check_stages import band_in_force, quantity_name
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.measurements import from_stored
from benchflow.session.state.state import State
from benchflow.trade.calculations.bolt_torque import lubricant_change
from benchflow.trade.calculations.torque_wrench import setting
from benchflow.trade.joint_estimates import joint_preload_text, proof_share, stretch_text

NO_EXTENSION = ("none", "off", "-", "0")
"""The words for a wrench without an extension."""
LEFT_HAND = "Left-hand thread: tighten counter-clockwise"
"""The line on a joint with a left-hand thread."""


def setting_lines(state: State, progress: JointProgress, unit: str | None) -> tuple[str, ...]:
    """The lines on the current stage: wrench setting, lubricant, draw-down. ``unit`` is that of the wrench."""
    joint, stage = progress.joint, progress.current_stage
    lines: list[str] = []
    if joint.left_hand:
        lines.append(LEFT_HAND)
    if isinstance(stage, TorqueStage):
        torque = stage.torque
        lines += [
            *_setting_line(state, torque, unit),
            *_lubricant_note(state, joint, torque),
        ]
    if isinstance(stage, CheckStage):
        lines += _check_reading_line(state, stage, unit)
    if joint.lubricant and joint.id not in state.lubricants:
        source = joint.given.get("lubricant", "")
        given = f" (source: {parse_source(source, state.plan.procedure).shown})" if source else ""
        lines.append(f"Lubricant: {joint.lubricant}{given}")
    if progress.draw_down is not None:
        lines.append(progress.draw_down.text)
    return tuple(lines)


def extension_is_fitted(state: State) -> bool:
    """True if an extension on the torque wrench changes its setting."""
    fitted = state.wrench
    return fitted is not None and fitted.extension is not None and fitted.lever is not None


def wrench_setting(state: State, torque: Quantity) -> Quantity:
    """The wrench setting for ``torque`` at the fastener, with the fitted extension."""
    fitted = state.wrench
    if fitted is None or fitted.extension is None or fitted.lever is None:
        return torque
    angle = None if fitted.angle is None else from_stored(fitted.angle)
    return setting(torque, from_stored(fitted.lever), from_stored(fitted.extension), angle)


def setting_on_scale(state: State, progress: JointProgress, unit: str | None) -> str:
    """The wrench setting for the current stage (``22.2 ft-lb``) in the ``unit`` of the wrench; "" without an extension.

    Without a unit it is in that of the stage.
    """
    stage = progress.current_stage
    if not extension_is_fitted(state) or not isinstance(stage, TorqueStage):
        return ""
    return setting_text(state, stage.torque, unit)


def _setting_line(state: State, torque: Quantity, unit: str | None) -> list[str]:
    """The wrench setting, if an extension or the unit of the wrench changes it; otherwise nothing."""
    fitted = state.wrench
    if fitted is None or fitted.extension is None or fitted.lever is None:
        return [f"SET THE WRENCH TO {setting_text(state, torque, unit)}"] if unit not in (None, torque.unit) else []
    angle = f" at {fitted.angle.entered}" if fitted.angle is not None else ""
    parts = f"extension {fitted.extension.entered}{angle}, lever {fitted.lever.entered}"
    return [f"SET THE WRENCH TO {setting_text(state, torque, unit)} ({parts})"]


def _check_reading_line(state: State, stage: CheckStage, unit: str | None) -> list[str]:
    """The wrench readings at the ends of a torque limit, with the fitted extension."""
    fitted, ends = state.wrench, (stage.limit.low, stage.limit.high)
    if fitted is None or fitted.extension is None or quantity_name(stage.limit) != "torque":
        return []
    shown = [f"{setting_text(state, end, unit)} for {show(end)}" for end in ends if end is not None]
    return [
        f"With the extension of {fitted.extension.entered}, the wrench reads {' and '.join(shown)}. "
        "Enter the torque at the fastener"
    ]


def extension_lines(state: State, progress: JointProgress, unit: str | None) -> tuple[str, ...]:
    """With an extension: the readings of the wrench at the ends of the band of a torque stage."""
    fitted, stage = state.wrench, progress.current_stage
    if fitted is None or fitted.extension is None or not isinstance(stage, TorqueStage):
        return ()
    band = band_in_force(progress.joint, progress.tighten, stage)
    if band is None:
        return ()
    ends = [
        setting_text(state, Quantity(decimal(from_base(end, stage.torque.unit)), stage.torque.unit, ""), unit)
        for end in (band.exact.low, band.exact.high)
        if end is not None
    ]
    return (f"Enter the torque at the fastener. There the wrench shows {' to '.join(ends)}",)


def setting_text(state: State, torque: Quantity, unit: str | None = None) -> str:
    """The setting for ``torque`` in ``unit``; without a unit, in that of the torque.

    It has at least three digits. In the unit of the torque, it has at least one decimal more than the torque.
    """
    shown_in = unit or torque.unit
    exact = from_base(base(wrench_setting(state, torque)), shown_in)
    exponent = torque.value.as_tuple().exponent
    least = 1 - exponent if isinstance(exponent, int) and shown_in == torque.unit else 0
    value = round_half_up(exact, max(least, 2 - magnitude(exact) if exact else 0, 0))
    return with_unit(f"{value.normalize() if value == value.to_integral_value() else value:f}", shown_in)


def _lubricant_note(state: State, joint: Joint, torque: Quantity) -> list[str]:
    """A note if another lubricant is on the threads, with an estimate of the torque for the same preload.

    The torque to use stays that of the procedure.
    """
    used = state.lubricants.get(joint.id)
    if used is None:
        return []
    note = f"{used.lubricant} on the threads, but the torque is for {joint.lubricant or 'another lubricant'}"
    if used.nut_factor and joint.nut_factor is not None:
        other = lubricant_change(torque, joint.nut_factor, Decimal(used.nut_factor)).lines[0].value
        same = show_converted(Quantity(other.value, other.unit, torque.entered), other.unit)
        return [f"{note}. The same preload needs about {same}. Ask before you change the torque"]
    return [f"{note}. The preload may be wrong"]


def background_lines(state: State, progress: JointProgress) -> tuple[str, ...]:
    """The estimated preload and stretch with the lubricant on the threads; empty if they cannot be estimated.

    A preload above the proof load is a warning (:func:`stage_warnings`), unless the joint is tightened to yield.
    """
    joint, stage = progress.joint, progress.current_stage
    if not isinstance(stage, TorqueStage) or stage_warnings(state, progress):
        return ()
    used = _with_lubricant(state, joint)
    text, stretch = joint_preload_text(used, stage.torque), stretch_text(used, stage.torque)
    if not text:
        return ()
    return (text + (", to yield on purpose" if joint.to_yield else ""), *([stretch] if stretch else []))


def stage_warnings(state: State, progress: JointProgress) -> tuple[str, ...]:
    """The warning that the current stage loads the fasteners above their proof load; empty if it does not, or is to."""
    stage = progress.current_stage
    if not isinstance(stage, TorqueStage) or progress.joint.to_yield:
        return ()
    used = _with_lubricant(state, progress.joint)
    share = proof_share(used, stage.torque)
    if share is None or share <= 1:
        return ()
    return (f"{joint_preload_text(used, stage.torque)}: above the proof load. Check torque, thread and lubricant",)


def _with_lubricant(state: State, joint: Joint) -> Joint:
    """The joint with the nut factor of the lubricant on the threads."""
    used = state.lubricants.get(joint.id)
    factor = Decimal(used.nut_factor) if used is not None and used.nut_factor else joint.nut_factor
    return msgspec.structs.replace(joint, nut_factor=factor)
