"""The people and instruments of a shop: who may sign, and which instruments are fit for a need.

The register is one YAML file. :mod:`benchflow.session.shop.register_reader` reads it, and
:mod:`benchflow.session.shop.register_writer` changes it. The functions here are pure.
"""

import hashlib
import hmac
import shlex
import unicodedata
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import folded, with_article
from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Quantity, base, show_short
from benchflow.trade.instruments import Instrument, Unfit, fitness, full_scale, same_kind


class ShopError(BenchflowError):
    """An error in the register that a person can correct."""


class Person(Struct, frozen=True, omit_defaults=True):
    """A person who works here.

    ``pin`` is the salted hash of the PIN (:func:`hash_pin`), or :data:`PIN_SET`; "" if no PIN is set. ``pin_changed``
    is a timestamp.
    """

    name: str
    roles: tuple[str, ...] = ()
    pin: str = ""
    retired: date | None = None
    pin_changed: str = ""


PIN_SET = "set"
"""Stands for the hash of a PIN wherever the register is kept outside its file. No PIN matches it."""

PATH_ID = "path-"
"""Begins the id of a register that has none in its file and cannot be changed."""


class Defaults(Struct, frozen=True, omit_defaults=True):
    """Defaults of a new job. ``by`` is the builder if no other name is given."""

    by: str = ""


class Letterhead(Struct, frozen=True, omit_defaults=True):
    """The letterhead of the build sheets, below the name. ``logo`` is the name of a picture beside the register."""

    address: tuple[str, ...] = ()
    telephone: str = ""
    email: str = ""
    logo: str = ""


class Shop(Struct, frozen=True):
    """The register. ``id`` is permanent and random. ``sha256`` is the digest of its file."""

    name: str = ""
    people: tuple[Person, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    defaults: Defaults = Defaults()
    sha256: str = ""
    id: str = ""
    letterhead: Letterhead = Letterhead()


def path_id(path: Path) -> str:
    """The id of a register that has none in its file: it depends on where the file is."""
    return PATH_ID + hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:32]


def without_hashes(shop: Shop) -> Shop:
    """The register with :data:`PIN_SET` in place of every hash of a PIN."""
    people = tuple(replace(one, pin=PIN_SET) if one.pin else one for one in shop.people)
    return replace(shop, people=people)


# --- people -----------------------------------------------------------------------------------------


class SignatureRefusal(Struct, frozen=True):
    """The reason why a person is not allowed to sign: a code and a message."""

    code: Literal["unknown-person", "retired", "no-role", "pin-missing", "pin-wrong"]
    message: str


def signature_refusal(
    shop: Shop | None,
    name: str,
    role: str | None,
    pin: str | None,
    *,
    ask_pin: bool | None = None,
    on: date | None = None,
    pin_fits: Callable[[Person, str], bool] = lambda person, pin: pin_matches(pin, person.pin),
) -> SignatureRefusal | None:
    """The refusal if ``name`` is not allowed to sign for ``role``; otherwise ``None``.

    Without a register any name may sign for any role. If ``role`` is ``None``, any person in the register may sign.
    With ``ask_pin`` a person who has a PIN must enter it; by default only a signature for a role needs the PIN. A PIN
    that is entered is always checked. ``on`` is the day of the signature: a person may sign up to the day of
    retirement. Without ``on`` a retired person may not sign. ``pin_fits`` compares a PIN with that of a person.
    """
    if shop is None:
        return None
    person = find_person(shop, name)
    if person is None:
        return SignatureRefusal(
            "unknown-person", f"{name} is not in the shop's register. {_able_people(shop, role, on)}"
        )
    if not works_here(person, on):
        return SignatureRefusal(
            "retired", f"{person.name} has not worked here since {person.retired}. {_able_people(shop, role, on)}"
        )
    if role is not None and role not in person.roles:
        return SignatureRefusal(
            "no-role", f"{person.name} is not {with_article(role)} here. {_able_people(shop, role, on)}"
        )
    needs_pin = role is not None if ask_pin is None else ask_pin
    if not person.pin or (not pin and not needs_pin):
        return None
    if not pin:
        return SignatureRefusal("pin-missing", f"{person.name} signs with a PIN. Enter it.")
    return (
        None
        if pin_fits(person, pin)
        else SignatureRefusal("pin-wrong", f"This is not the PIN of {person.name}. Enter it again.")
    )


def find_person(shop: Shop, name: str) -> Person | None:
    """The person with this name. Capitals and spacing are ignored if only one person matches then."""
    exact = [person for person in shop.people if person.name == name]
    if exact:
        return exact[0]
    alike = [person for person in shop.people if folded(person.name) == folded(name)]
    return alike[0] if len(alike) == 1 else None


def works_here(person: Person, on: date | None) -> bool:
    """True if the person works here on the day ``on``. Without a day, one who has a last day does not."""
    return person.retired is None or (on is not None and on < person.retired)


def _able_people(shop: Shop, role: str | None, on: date | None) -> str:
    """A sentence with the people who may sign for ``role``."""
    able = [one.name for one in shop.people if (role is None or role in one.roles) and works_here(one, on)]
    if role is None:
        return (
            f"People here: {', '.join(able)}."
            if able
            else "The register has no people. Add them with `benchflow shop`."
        )
    if not able:
        return f"Nobody here is {with_article(role)}. Add one with `benchflow shop`."
    return f"{with_article(role).capitalize()} here: {', '.join(able)}."


# --- PINs -------------------------------------------------------------------------------------------

_COST, _BLOCK, _LANES, _LENGTH = 2**15, 8, 1, 32
"""Parameters of scrypt (RFC 7914): 32 MiB and about 100 ms per try. Each hash contains them, so that they can be raised
later. A PIN is short, so the hash protects it little: only the shop should be able to read the file."""

MAX_COST = 2**17
"""The highest cost that is accepted, so that a damaged file cannot block the program."""


def hash_pin(pin: str, salt: bytes) -> str:
    """The salted hash of a PIN: ``scrypt$N$r$p$salt$hash``, hexadecimal. ``salt`` is 16 random bytes.

    Raises:
        ShopError: the PIN has fewer than four or more than 64 characters.
    """
    plain = _normalized_pin(pin)
    if not 4 <= len(plain) <= 64:
        raise ShopError("A PIN must have 4 to 64 characters.")
    digest = _scrypt(plain, salt, _COST, _BLOCK, _LANES)
    return f"scrypt${_COST}${_BLOCK}${_LANES}${salt.hex()}${digest.hex()}"


_RANDOM, _MARK = 16, 8  # bytes of a salt


def salt_for(name: str, at: str, random: bytes) -> bytes:
    """The salt for the PIN that ``name`` gets at the time ``at``: ``random``, and a mark of name and time.

    The mark has no secret. It makes the hash of one person, copied to another one in an editor, an error.
    """
    return random + hashlib.sha256(random + f"{name}\0{at}".encode("utf-8", "surrogatepass")).digest()[:_MARK]


def salt_fits(stored: str, name: str, at: str) -> bool:
    """True unless the hash ``stored`` has the mark of another person or of another time. Older hashes have no mark."""
    parts = parse_pin_hash(stored)
    if parts is None or len(parts[3]) != _RANDOM + _MARK:
        return True
    return parts[3] == salt_for(name, at, parts[3][:_RANDOM])


def pin_matches(pin: str, stored: str) -> bool:
    """True if ``pin`` has the hash ``stored``. A hash that cannot be read matches no PIN."""
    parts = parse_pin_hash(stored)
    if parts is None:
        return False
    cost, block, lanes, salt, digest = parts
    return hmac.compare_digest(_scrypt(_normalized_pin(pin), salt, cost, block, lanes), digest)


def parse_pin_hash(stored: str) -> tuple[int, int, int, bytes, bytes] | None:
    """Cost, block size, lanes, salt and digest of a PIN hash; ``None`` for any other text or too high a cost."""
    name, _, rest = stored.partition("$")
    fields = rest.split("$")
    if name != "scrypt" or len(fields) != 5 or not all(field.isascii() and field.isdigit() for field in fields[:3]):
        return None
    if any(len(field) > 8 for field in fields[:3]):
        return None
    cost, block, lanes = (int(field) for field in fields[:3])
    if not 2 <= cost <= MAX_COST or cost & (cost - 1) or not 1 <= block <= 16 or not 1 <= lanes <= 4:
        return None
    try:
        salt, digest = bytes.fromhex(fields[3]), bytes.fromhex(fields[4])
    except ValueError:
        return None
    return (cost, block, lanes, salt, digest) if len(salt) >= 8 and len(digest) == _LENGTH else None


def _normalized_pin(pin: str) -> str:
    return unicodedata.normalize("NFKC", pin).strip()


def _scrypt(pin: str, salt: bytes, cost: int, block: int, lanes: int) -> bytes:
    memory = 128 * cost * block * 2 + 1024 * 1024
    return hashlib.scrypt(
        pin.encode("utf-8", "surrogatepass"), salt=salt, n=cost, r=block, p=lanes, maxmem=memory, dklen=_LENGTH
    )


# --- instruments ------------------------------------------------------------------------------------


class UnfitInstrument(Struct, frozen=True):
    """An instrument of the right kind that is not fit, with all reasons."""

    instrument: Instrument
    reasons: tuple[Unfit, ...]

    @property
    def message(self) -> str:
        """``Click wrench (T-0117): Its calibration ran out on ...``, without a full stop."""
        return f"{self.instrument.name}: {'. '.join(reason.message for reason in self.reasons)}"


class InstrumentSelection(Struct, frozen=True):
    """The instruments of the right kind: ``fit`` with the best first, ``unfit`` with their reasons.

    ``need`` is the setting or the need as text, for messages. ``kind`` is the kind that is needed, and ``other_kinds``
    are the kinds of all other instruments in the register.
    """

    need: str
    fit: tuple[Instrument, ...]
    unfit: tuple[UnfitInstrument, ...]
    kind: str = ""
    other_kinds: tuple[str, ...] = ()

    @property
    def message(self) -> str:
        """The fit instruments, or the reasons why none is fit and what to do, in one or more sentences."""
        if self.fit:
            return f"Fit for {self.need}: {', '.join(_name_to_enter(one) for one in self.fit)}."
        add = f"benchflow shop instrument ID kind={shlex.quote(self.kind)} serial=..."
        if not self.unfit:
            others = f" Its kinds are: {', '.join(self.other_kinds)}." if self.other_kinds else ""
            return (
                f"The register has no instrument of the kind {self.kind} for {self.need}.{others} Add one ({add}), "
                "or let the procedure only warn (unfit: warn)."
            )
        reasons = " ".join(one.message + "." for one in self.unfit)
        return (
            f"No instrument is fit for {self.need}. {reasons} "
            f"Record a calibration (benchflow shop calibrated ID), add another one ({add}), or let the procedure only "
            "warn (unfit: warn). To correct an entry: benchflow shop instrument ID KEY=VALUE."
        )


def fit_instruments(
    shop: Shop, need: InstrumentNeed, wanted: Quantity | None, on: date, *, together: bool = False
) -> InstrumentSelection:
    """The instruments that are fit for ``need`` on the day ``on``.

    ``wanted`` is the setting or reading that they must cover. The instrument with the smallest scale is first.
    ``together`` means that another instrument is used for the same reading.
    """
    fit: list[Instrument] = []
    unfit: list[UnfitInstrument] = []
    others: dict[str, None] = {}
    for instrument in shop.instruments:
        if not same_kind(instrument.kind, need.kind):
            if instrument.retired is None:
                others[instrument.kind] = None
            continue
        reasons = fitness(instrument, need, wanted, on, together=together)
        if reasons:
            unfit.append(UnfitInstrument(instrument, reasons))
        else:
            fit.append(instrument)
    text = need.title or need.id if wanted is None else show_short(wanted)
    return InstrumentSelection(text, tuple(sorted(fit, key=_by_scale)), tuple(unfit), need.kind, tuple(others))


def _name_to_enter(instrument: Instrument) -> str:
    """The name of an instrument for a message, with what the builder can enter: its serial number, or its id."""
    return instrument.name if instrument.serial else f"{instrument.name} ({instrument.id})"


def _by_scale(instrument: Instrument) -> tuple[float, str]:
    scale = full_scale(instrument)
    return (float("inf") if scale is None else float(base(scale)), instrument.name)


def find_instrument(shop: Shop, name: str) -> Instrument | None:
    """An instrument by its id or its serial number; also by its title, or the name in a message, if only one has it.

    Capitals and spacing do not count if only one instrument matches then.
    """
    for instrument in shop.instruments:
        if name and name in (instrument.id, instrument.serial):
            return instrument
    typed = folded(name)
    alike = [
        instrument
        for instrument in shop.instruments
        if typed and typed in _folded_names(instrument) and instrument.retired is None
    ]
    return alike[0] if len(alike) == 1 else None


def _folded_names(instrument: Instrument) -> set[str]:
    names = (instrument.id, instrument.serial, instrument.title, instrument.name, _name_to_enter(instrument))
    return {folded(name) for name in names if name}
