"""The scale of a torque wrench: its range and its unit, as the log or the procedure states them."""

from functools import lru_cache

from msgspec import Struct

from benchflow.ordering.wording import in_a_sentence
from benchflow.quantity import Limit, QuantityError, dimension_of, parse_limit
from benchflow.session.rules.check_stages import limit_unit
from benchflow.session.state.events import InstrumentUsed
from benchflow.session.state.state import State
from benchflow.trade.instruments import is_torque


class WrenchScale(Struct, frozen=True):
    """The range of a wrench, and its name inside a sentence: ``wrench T-1``.

    ``measured`` is false if the range is only the one that the procedure requires.
    """

    name: str
    range: Limit
    measured: bool = True


@lru_cache(256)
def _range(text: str) -> Limit | None:
    try:
        return parse_limit(text, nominal=False) if text else None
    except QuantityError:
        return None


def range_of_used(used: InstrumentUsed) -> Limit | None:
    """The range of an instrument as the log describes it; ``None`` if it does not."""
    return _range(used.range)


def scale_in_use(state: State, need: str | None) -> WrenchScale | None:
    """The scale of the wrench for ``need`` as the log knows it, else as the procedure states it.

    The procedure states the range that the wrench has to cover (`covers`). ``None`` if neither does.
    """
    stated = None if need is None else state.plan.procedure.instruments_by_id.get(need)
    if stated is None or need is None or not is_torque(stated.kind):
        return None
    used = state.tools.get(need)
    known = None if used is None else range_of_used(used)
    if used is not None and known is not None:
        scale = WrenchScale(f"wrench {used.serial or used.title}", known)
    elif stated.covers is not None:
        scale = WrenchScale(f"the {in_a_sentence(stated.title) or stated.id}", stated.covers, measured=False)
    else:
        return None
    return scale if dimension_of(limit_unit(scale.range)) == "torque" else None
