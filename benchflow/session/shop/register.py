"""The people and instruments of a shop, who of them may sign, and which instrument is fit for a need.

The shop's register is one YAML file (:mod:`benchflow.session.shop.register_reader` reads it,
:mod:`benchflow.session.shop.register_writer` changes it). Everything here is a pure function of it.
"""

import hashlib
import hmac
import unicodedata
from datetime import date
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Quantity, base, show
from benchflow.trade.instruments import Instrument, Unfit, fitness, full_scale, same_kind


class ShopError(BenchflowError):
    """An error in the register that a person can correct."""


class Person(Struct, frozen=True, omit_defaults=True):
    """Somebody who works here. ``pin`` is the salted hash (:func:`hash_pin`); "" means that none is set."""

    name: str
    roles: tuple[str, ...] = ()
    pin: str = ""
    retired: date | None = None


class Defaults(Struct, frozen=True, omit_defaults=True):
    """Defaults of a new session: ``by`` is the builder where nobody is named."""

    by: str = ""


class Shop(Struct, frozen=True):
    """The register. ``sha256`` is the digest of the file, for the log."""

    name: str = ""
    people: tuple[Person, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    defaults: Defaults = Defaults()
    sha256: str = ""


# --- people -----------------------------------------------------------------------------------------


class SignatureRefusal(Struct, frozen=True):
    """The reason why somebody may not sign; ``words`` is the message."""

    because: Literal["unknown-person", "retired", "no-role", "pin-missing", "pin-wrong"]
    words: str


def person_may(
    shop: Shop | None,
    name: str,
    role: str | None,
    pin: str | None,
    *,
    ask_pin: bool | None = None,
    on: date | None = None,
) -> str | None:
    """``None`` where ``name`` may sign, else the reason in words. See :func:`why_not`."""
    found = why_not(shop, name, role, pin, ask_pin=ask_pin, on=on)
    return None if found is None else found.words


def why_not(
    shop: Shop | None,
    name: str,
    role: str | None,
    pin: str | None,
    *,
    ask_pin: bool | None = None,
    on: date | None = None,
) -> SignatureRefusal | None:
    """The reason why ``name`` may not sign for ``role``; ``None`` if they may.

    Without a register any name may sign for any role. ``role`` ``None`` stands for anybody who works here. With
    ``ask_pin`` somebody who has a PIN must give it; the default is to ask where there is a role. A PIN that is given
    is always checked. ``on`` is the day, for somebody who has retired since; without it nobody retired may sign.
    """
    if shop is None:
        return None
    person = find_person(shop, name)
    if person is None:
        return SignatureRefusal("unknown-person", f"{name} is not in the shop's register. {_who(shop, role)}")
    if person.retired is not None and (on is None or person.retired <= on):
        return SignatureRefusal(
            "retired", f"{person.name} has not worked here since {person.retired}. {_who(shop, role)}"
        )
    if role is not None and role not in person.roles:
        return SignatureRefusal("no-role", f"{person.name} is not {_role(role)} here. {_who(shop, role)}")
    asked = role is not None if ask_pin is None else ask_pin
    if not person.pin or (not pin and not asked):
        return None
    if not pin:
        return SignatureRefusal("pin-missing", f"{person.name} signs with a PIN.")
    return (
        None if pin_fits(pin, person.pin) else SignatureRefusal("pin-wrong", f"That is not the PIN of {person.name}.")
    )


def find_person(shop: Shop, name: str) -> Person | None:
    """The person of that name; capitals and spacing do not matter where only one person fits."""
    exact = [person for person in shop.people if person.name == name]
    if exact:
        return exact[0]
    alike = [person for person in shop.people if _folded(person.name) == _folded(name)]
    return alike[0] if len(alike) == 1 else None


def _folded(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def _role(role: str) -> str:
    return f"{'an' if role[:1].lower() in 'aeiou' else 'a'} {role}"


def _who(shop: Shop, role: str | None) -> str:
    able = [one.name for one in shop.people if (role is None or role in one.roles) and one.retired is None]
    if role is None:
        return f"People here: {', '.join(able)}." if able else "It has no people; add them with `benchflow shop`."
    if not able:
        return f"Nobody here is {_role(role)}; add one with `benchflow shop`."
    return f"{_role(role).capitalize()} here: {', '.join(able)}."


# --- PINs -------------------------------------------------------------------------------------------

_COST, _BLOCK, _LANES, _LENGTH = 2**15, 8, 1, 32
"""Parameters of scrypt (RFC 7914): 32 MiB and about 100 ms per try. They are part of each hash, so that they can be
raised later. A PIN is short: its real protection is that only the shop can read the file."""

MOST_COST = 2**17


def hash_pin(pin: str, salt: bytes) -> str:
    """The salted hash of a PIN: ``scrypt$N$r$p$salt$hash``, hexadecimal. ``salt`` is 16 random bytes.

    Raises:
        ShopError: the PIN has fewer than four or more than 64 characters.
    """
    plain = _pin(pin)
    if not 4 <= len(plain) <= 64:
        raise ShopError("A PIN must have 4 to 64 characters.")
    digest = _scrypt(plain, salt, _COST, _BLOCK, _LANES)
    return f"scrypt${_COST}${_BLOCK}${_LANES}${salt.hex()}${digest.hex()}"


def pin_fits(pin: str, kept: str) -> bool:
    """Whether ``pin`` has the hash ``kept``; ``False`` for a hash that cannot be read."""
    parts = hash_parts(kept)
    if parts is None:
        return False
    cost, block, lanes, salt, digest = parts
    return hmac.compare_digest(_scrypt(_pin(pin), salt, cost, block, lanes), digest)


def hash_parts(kept: str) -> tuple[int, int, int, bytes, bytes] | None:
    """The parts of a hash, ``None`` for anything else. Costs are limited, so that no file can block the program."""
    name, _, rest = kept.partition("$")
    fields = rest.split("$")
    if name != "scrypt" or len(fields) != 5 or not all(field.isascii() and field.isdigit() for field in fields[:3]):
        return None
    if any(len(field) > 8 for field in fields[:3]):
        return None
    cost, block, lanes = (int(field) for field in fields[:3])
    if not 2 <= cost <= MOST_COST or cost & (cost - 1) or not 1 <= block <= 16 or not 1 <= lanes <= 4:
        return None
    try:
        salt, digest = bytes.fromhex(fields[3]), bytes.fromhex(fields[4])
    except ValueError:
        return None
    return (cost, block, lanes, salt, digest) if len(salt) >= 8 and len(digest) == _LENGTH else None


def _pin(pin: str) -> str:
    return unicodedata.normalize("NFKC", pin).strip()


def _scrypt(pin: str, salt: bytes, cost: int, block: int, lanes: int) -> bytes:
    memory = 128 * cost * block * 2 + 1024 * 1024
    return hashlib.scrypt(pin.encode(), salt=salt, n=cost, r=block, p=lanes, maxmem=memory, dklen=_LENGTH)


# --- instruments ------------------------------------------------------------------------------------


class Unsuited(Struct, frozen=True):
    """An instrument of the kind needed that is not fit, with every reason."""

    instrument: Instrument
    reasons: tuple[Unfit, ...]

    @property
    def words(self) -> str:
        return f"{self.instrument.name}: {'; '.join(reason.words for reason in self.reasons)}"


class Fitting(Struct, frozen=True):
    """The instruments of the kind needed: ``fit`` with the best first, ``unfit`` with their reasons."""

    wanted: str
    fit: tuple[Instrument, ...]
    unfit: tuple[Unsuited, ...]

    @property
    def words(self) -> str:
        """Which to take, or why there is none: one or two sentences."""
        if self.fit:
            return f"Fit for {self.wanted}: {', '.join(one.name for one in self.fit)}."
        if not self.unfit:
            return f"The shop has nothing of this kind for {self.wanted}."
        return f"Nothing here is fit for {self.wanted}. {' '.join(one.words + '.' for one in self.unfit)}"


def fit_instruments(shop: Shop, need: InstrumentNeed, wanted: Quantity | None, on: date) -> Fitting:
    """The instruments fit for ``need`` (and for the setting or reading ``wanted``) on the day ``on``.

    The best is first: the smallest scale that is large enough, then by name.
    """
    fit: list[Instrument] = []
    unfit: list[Unsuited] = []
    for instrument in shop.instruments:
        if not same_kind(instrument.kind, need.kind):
            continue
        reasons = fitness(instrument, need, wanted, on)
        if reasons:
            unfit.append(Unsuited(instrument, reasons))
        else:
            fit.append(instrument)
    what = need.title or need.id if wanted is None else show(wanted)
    return Fitting(what, tuple(sorted(fit, key=_order)), tuple(unfit))


def _order(instrument: Instrument) -> tuple[float, str]:
    scale = full_scale(instrument)
    return (float("inf") if scale is None else float(base(scale)), instrument.name)


def find_instrument(shop: Shop, name: str) -> Instrument | None:
    """An instrument by its id or its serial number."""
    for instrument in shop.instruments:
        if name and name in (instrument.id, instrument.serial):
            return instrument
    return None


def with_uses(shop: Shop, session: str, counts: dict[str, int]) -> Shop:
    """The register with the uses of a session. ``counts`` is the *whole* count of that session by serial number or
    id, so that counting twice changes nothing."""

    def counted(one: Instrument) -> Instrument:
        count = sum(counts.get(name, 0) for name in {one.serial, one.id} if name)
        return replace(one, uses_in={**one.uses_in, session: count}) if count else one

    return replace(shop, instruments=tuple(counted(one) for one in shop.instruments))
