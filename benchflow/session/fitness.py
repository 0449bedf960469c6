"""Which instrument a reading or a tick is taken with, and whether it is fit for it."""

from collections.abc import Callable

from msgspec import Struct

from benchflow.quantity import Quantity
from benchflow.session.deciding import Around
from benchflow.session.refusal import Refusal
from benchflow.session.state import State


class Tool(Struct, frozen=True):
    """``need`` is the procedure's name for what is asked for; ``serial`` which one it was. ``known``:
    it is in the shop's register, and ``uncertainty`` gives its standard uncertainty for a reading."""

    need: str | None
    serial: str | None
    known: bool
    uncertainty: Callable[[Quantity], Quantity | None]


def _unknown(reading: Quantity) -> Quantity | None:
    return None


def tool_for(
    state: State, around: Around, need: str | None, given: str | None, wanted: Quantity | None
) -> Tool | Refusal:
    """The tool meant by ``given`` (a need's id, a serial, a register's id), asked to do ``wanted``."""
    needs = {one.id for one in state.plan.procedure.instruments}
    serial = given if given is not None and given not in needs else None
    return Tool(given if given in needs else need, serial, known=False, uncertainty=_unknown)
