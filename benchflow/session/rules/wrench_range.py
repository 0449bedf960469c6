"""Refuses a setting outside the range of the torque wrench, whatever `unfit` is in the procedure."""

from collections.abc import Iterable

from benchflow.procedure.model import CheckStage, InstrumentNeed, Stage, TorqueStage
from benchflow.quantity import Limit, Quantity, base, dimension_of, interval
from benchflow.session.context import Context, refuse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_stages import limit_unit, quantity_name
from benchflow.session.rules.wrench_correction import extension_is_fitted, setting_text, wrench_setting
from benchflow.session.rules.wrench_scale import WrenchScale, scale_in_use
from benchflow.session.shop.register import Shop, find_instrument, fit_instruments
from benchflow.session.state.state import State
from benchflow.trade.instruments import Instrument, is_torque, same_kind


def torques_of_stage(stage: Stage | None) -> tuple[Quantity, ...]:
    """The torques at the fastener for which the wrench is set or read: of a check, both ends of its limit."""
    if isinstance(stage, TorqueStage):
        return (stage.torque,)
    if isinstance(stage, CheckStage) and quantity_name(stage.limit) == "torque":
        return tuple(end for end in (stage.limit.low, stage.limit.high) if end is not None)
    return ()


def wrench_range_refusal(
    state: State, context: Context, need: str | None, given: str | None, torques: Iterable[Quantity]
) -> Refusal | None:
    """A refusal if the setting for one of ``torques`` at the fastener is outside the range of the wrench.

    ``need`` and ``given`` are as in :func:`benchflow.session.rules.instrument_fitness.choose_tool`. Without a register,
    the range is that of the procedure (`covers`). An audit judges by what the log recorded about the instrument.
    """
    if context.recorded_tool is not None:
        return None
    needs = state.plan.procedure.instruments_by_id
    named = None if context.shop is None or given is None else find_instrument(context.shop, given)
    if given in needs and (named is None or not same_kind(named.kind, needs[given].kind)):
        need, given, named = given, None, None
    stated = None if need is None else needs.get(need)
    for torque in torques:
        if context.shop is None:
            text = range_text(state, torque, scale_in_use(state, need))
        else:
            text = _text_by_register(state, context, context.shop, stated, given, named, torque)
        if text:
            return refuse("instrument-unfit", text, name=need or given)
    return None


def range_text(state: State, torque: Quantity, scale: WrenchScale | None, others: Iterable[Instrument] = ()) -> str:
    """Why the setting for ``torque`` cannot be used on a wrench with ``scale``, and what to do; "" if it can.

    The range in the procedure is a requirement, not the range of a wrench. So it counts only against the setting with
    an extension, if ``torque`` itself is within it. ``others`` are the wrenches that are fit for it.
    """
    side = "within" if scale is None else _side(scale.range, wrench_setting(state, torque))
    if scale is None or side == "within":
        return ""
    extended = extension_is_fitted(state)
    setting = setting_text(state, torque, limit_unit(scale.range))
    outside = f"Setting {setting} is {'below' if side == 'low' else 'above'} the range {scale.range.text}"
    if not scale.measured:
        if not extended or _side(scale.range, torque) != "within":
            return ""
        instead = "Use a shorter extension or none, or enter the wrench with its range in the register"
        return f"{outside} that the procedure needs of {scale.name}. {instead}"
    names = ", ".join(each.serial or each.id for each in others)
    advice = f"Use a {'smaller' if side == 'low' else 'larger'} wrench{f' ({names})' if names else ''}"
    return f"{outside} of {scale.name}. {advice}{' or no extension' if extended else ''}"


def _side(range_: Limit, setting: Quantity) -> str:
    return interval(range_).position(base(setting))


def _text_by_register(
    state: State,
    context: Context,
    shop: Shop,
    need: InstrumentNeed | None,
    given: str | None,
    named: Instrument | None,
    torque: Quantity,
) -> str:
    """As :func:`range_text`, for the wrench that is named, that is in use, or that is the only one of its kind.

    If no wrench of this kind has the setting in its range, it is the first one.
    """
    kind = named.kind if named is not None else "" if need is None else need.kind
    if not is_torque(kind):
        return ""
    setting = wrench_setting(state, torque)
    alike = [one for one in shop.instruments if same_kind(one.kind, kind) and one.retired is None]
    wrench = named
    if wrench is None and given is None and need is not None:
        used = state.tools.get(need.id)
        wrench = None if used is None else find_instrument(shop, used.serial)
        if wrench is None and (len(alike) == 1 or all(is_outside_range(one, setting) for one in alike)):
            wrench = next(iter(alike), None)
    if wrench is None:
        return ""
    fit = () if need is None else fit_instruments(shop, need, setting, context.today).fit
    return range_text(state, torque, registered_scale(wrench), fit)


def scale_of_wrench(
    state: State, context: Context, need: str | None, torques: tuple[Quantity, ...]
) -> WrenchScale | None:
    """The scale of the wrench for ``need``: the one in use, or before the first use the only one in the register.

    Of several, it is the only one that is fit for the first of ``torques`` at the fastener. Without one, it is the
    scale that the procedure states.
    """
    stated = None if need is None else state.plan.procedure.instruments_by_id.get(need)
    if stated is None or context.shop is None or need in state.tools or not is_torque(stated.kind):
        return scale_in_use(state, need)
    setting = wrench_setting(state, torques[0]) if torques else None
    possible = fit_instruments(context.shop, stated, setting, context.today).fit
    if len(possible) != 1:
        possible = tuple(
            one for one in context.shop.instruments if same_kind(one.kind, stated.kind) and one.retired is None
        )
    found = registered_scale(possible[0]) if len(possible) == 1 else None
    return found or scale_in_use(state, need)


def registered_scale(wrench: Instrument) -> WrenchScale | None:
    """The scale of a wrench in the register; ``None`` if its range is not on record, or not one of torque."""
    if wrench.range is None or dimension_of(limit_unit(wrench.range)) != "torque":
        return None
    return WrenchScale(f"wrench {wrench.serial or wrench.id}", wrench.range)


def is_outside_range(wrench: Instrument, setting: Quantity) -> bool:
    """True if the range of a registered wrench is known, and a setting is not in it."""
    scale = registered_scale(wrench)
    return scale is not None and dimension_of(setting.unit) == "torque" and _side(scale.range, setting) != "within"
