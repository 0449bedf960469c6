"""The register of the shop during one job: is it the one that the job began with, and does a PIN have to wait?"""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.session.context import Context, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.dispatch import refused_too_soon
from benchflow.session.refusal import Refusal
from benchflow.session.shop.live_register import Register
from benchflow.session.shop.pin_tries import note_wrong_pin, wrong_pin_waits
from benchflow.session.state.clock import Now
from benchflow.session.state.state import State

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop

SIGNING = (
    intents.SignHold, intents.SignDeviation, intents.CorrectEntry, intents.SetState, intents.TakeOver,
    intents.RecordFinding, intents.WithdrawFinding,
)  # fmt: skip
"""The intents that may need a signature."""


class OtherRegister(BenchflowError):
    """The log was written with another register of the shop. ``found`` says which one this machine has."""

    def __init__(self, path: Path, wanted: str, shop: "Shop | None", register: Register | None) -> None:
        where = "" if register is None else f" ({register.path})"
        self.found = f"no register{where}" if shop is None else f"the register {shop.id}{where}"
        self.wanted = wanted
        super().__init__(
            f"{path} was written with the register {wanted}, and this machine has {self.found}. Use the register of "
            "the job, or give a reason: --other-register REASON. The reason is logged and printed on the build sheet."
        )


class JobRegister:
    """The register of one job. ``reason`` is why the job goes on with another register; "" if it does not."""

    def __init__(self, file: Register | None) -> None:
        self.file = file
        self.reason = ""
        self._agreed: str | None = None  # the register that ``reason`` is about
        self._last: Shop | None = None

    def shop(self, state: State | None, *, unlogged_start: bool) -> "Shop | None":
        """The register now. If its file is gone, or is another register now, the register as last read: instruments are
        still judged by it, and nobody can sign.

        ``unlogged_start`` is true until the log names the register of this run.

        Raises:
            BenchflowError: the register cannot be read, or has errors.
        """
        found = None if self.file is None else self.file.identified()
        if found is not None and not self._is_other(state, found, unlogged_start=unlogged_start):
            self._last = found
        return self._last

    def make_id(self) -> None:
        """Give the register a permanent id, if it has none.

        Raises:
            BenchflowError: the register cannot be read, or has errors.
        """
        if self.file is not None:
            self.file.make_id()

    def context(self, now: Now, state: State | None, *, unlogged_start: bool) -> Context:
        """The context of a decision. ``unlogged_start`` is as in :meth:`shop`.

        Raises:
            BenchflowError: the register cannot be read, or has errors.
        """
        shop = self.shop(state, unlogged_start=unlogged_start)
        context = Context(now, shop, started_again=unlogged_start)
        return context if self.file is None else replace(context, pin_fits=self.file.pin_fits)

    def resume(self, state: State, path: Path, reason: str) -> None:
        """Check that the register is the one that the log at ``path`` was written with. ``reason`` allows another one.

        Raises:
            OtherRegister: it is another one, and there is no reason.
            BenchflowError: the register cannot be read, or has errors.
        """
        self._last = shop = None if self.file is None else self.file.identified()
        if state.register is None or not self._is_other(state, shop, unlogged_start=True):
            return
        if not reason:
            raise OtherRegister(path, state.register, shop, self.file)
        self.reason, self._agreed = reason, None if shop is None else shop.id

    def why_not_sign(self, state: State, intent: intents.Intent, *, unlogged_start: bool) -> Refusal | None:
        """A refusal of a signature if the file of the register is gone, or is another register now.

        ``unlogged_start`` is as in :meth:`shop`.

        Raises:
            BenchflowError: the register cannot be read, or has errors.
        """
        if not isinstance(intent, SIGNING):
            return None
        if not self._is_other(
            state, None if self.file is None else self.file.identified(), unlogged_start=unlogged_start
        ):
            return None
        where = "" if self.file is None else f" at {self.file.path}"
        return refuse("not-allowed", f"The register of this job{where} is not there. Put it back to sign")

    def pin_wait(self, intent: intents.Intent, now: Now) -> Refusal | None:
        """A refusal of a PIN after a wrong one in another job, or in the command that changes PINs."""
        if self.file is None or not getattr(intent, "pin", None):
            return None
        return refused_too_soon() if wrong_pin_waits(self.file.path, now) else None

    def note_wrong_pin(self, now: Now) -> None:
        """Note a wrong PIN, so that other jobs wait too."""
        if self.file is not None:
            note_wrong_pin(self.file.path, now)

    def _is_other(self, state: State | None, shop: "Shop | None", *, unlogged_start: bool) -> bool:
        """True if the job has a register, and ``shop`` is another one or ``None``."""
        if state is None or state.closed:
            return False
        wanted = self._agreed if unlogged_start and self.reason else state.register
        return wanted is not None and (self.file is None or not self.file.is_known_as(wanted, shop))


def register_fields(shop: "Shop | None") -> dict[str, Any]:
    """The fields of `opened` and `resumed` that name the register and its people."""
    if shop is None:
        return {}
    from benchflow.session.shop.people_record import people_digest, people_of

    people = people_of(shop)
    return {"register": shop.id, "people": people, "shop": people_digest(shop.id, people)}
