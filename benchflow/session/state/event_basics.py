"""What several kinds of events share: the base class, quantities, people, and how a signature was proven."""

from functools import cache
from typing import Any, Literal

from msgspec import NODEFAULT, Struct, json
from msgspec.structs import fields

SignatureProof = Literal["", "pin", "name"]
"""How a signature was proven: by a PIN, or only by the name as typed. Empty in logs of older formats."""


class StoredQuantity(Struct, frozen=True):
    """A quantity in the log.

    ``value`` is the exact decimal number in ``unit``, the unit that the procedure gives. ``entered`` is the text as
    it was typed.
    """

    value: str
    unit: str
    entered: str


class InstrumentShare(Struct, frozen=True, omit_defaults=True):
    """One of several instruments that a reading was taken with, and its share of the standard uncertainty."""

    instrument: str | None  # id in the procedure
    serial: str | None = None
    uncertainty: StoredQuantity | None = None


class Event(Struct, frozen=True, tag_field="kind", omit_defaults=True):
    """The base class of all events. Its tag is the ``kind`` of the log line."""


def logged_fields(event: Event) -> dict[str, Any]:
    """The fields of an event as a log line has them, without the kind and without fields that have their default."""
    data: dict[str, Any] = json.decode(json.encode(event))
    data.pop("kind", None)
    return without_defaults(data, type(event))


def without_defaults(data: dict[str, Any], kind: type[Event]) -> dict[str, Any]:
    """``data`` without the fields that have the default of the event type.

    msgspec omits a default only if the value is the same object. A text from the compiled cache is another object.
    """
    defaults = _plain_defaults(kind)
    return {key: value for key, value in data.items() if key not in defaults or not _is_same(value, defaults[key])}


def _is_same(value: object, default: object) -> bool:
    return type(value) is type(default) and value == default


@cache
def _plain_defaults(kind: type[Event]) -> dict[str, Any]:
    return {one.encode_name: one.default for one in fields(kind) if one.default is not NODEFAULT}


class PersonRecord(Struct, frozen=True, omit_defaults=True):
    """A person in the register: what a signature depends on. The hash of the PIN is never logged."""

    name: str
    roles: tuple[str, ...] = ()
    pin: bool = False  # true if a PIN is set
    pin_changed: str = ""  # when the PIN was set or removed, as written in the register
    retired: str = ""  # the first day without work here, such as 2026-03-01


class BlockRecord(Struct, frozen=True, omit_defaults=True):
    """A building block that the procedure was written out with, and the SHA-256 of its file."""

    id: str
    sha256: str
    file: str = ""  # its name, for display only
