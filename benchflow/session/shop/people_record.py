"""The people of the register, as a log names them: what a signature depends on, never the hash of a PIN."""

from collections.abc import Iterator
from hashlib import sha256
from typing import Literal

import msgspec

from benchflow.session.shop.register import Person, Shop
from benchflow.session.state.events import PersonRecord, RegisterChanged


def people_of(shop: Shop) -> tuple[PersonRecord, ...]:
    """The record of every person in the register."""
    return tuple(_record(person) for person in shop.people)


def people_digest(register: str, people: tuple[PersonRecord, ...]) -> str:
    """The SHA-256 of the canonical JSON of the register's id and its people. Counters of instruments do not count."""
    body = {"id": register, "people": msgspec.to_builtins(people)}
    return sha256(msgspec.json.encode(body, order="sorted")).hexdigest()


def people_changes(
    register: str, before: tuple[PersonRecord, ...], after: tuple[PersonRecord, ...]
) -> Iterator[RegisterChanged]:
    """An event for each change of a person."""
    old, new = {person.name: person for person in before}, {person.name: person for person in after}
    for name in dict.fromkeys((*old, *new)):
        was, now = old.get(name), new.get(name)
        for change, text_before, text_after in _changes(was, now):
            yield RegisterChanged(name, change, text_before, text_after, register, now)


_Change = Literal["added", "removed", "roles", "pin", "retired"]


def _changes(was: PersonRecord | None, now: PersonRecord | None) -> Iterator[tuple[_Change, str, str]]:
    """Each change from ``was`` to ``now``, with the texts before and after it."""
    if was is None or now is None:
        if now is not None:
            yield "added", "", _roles(now)
        elif was is not None:
            yield "removed", _roles(was), ""
        return
    if set(was.roles) != set(now.roles):
        yield "roles", _roles(was), _roles(now)
    if (was.pin, was.pin_changed) != (now.pin, now.pin_changed):
        yield "pin", _pin(was), _pin(now)
    if was.retired != now.retired:
        yield "retired", was.retired, now.retired


def _record(person: Person) -> PersonRecord:
    return PersonRecord(
        person.name,
        person.roles,
        bool(person.pin),
        person.pin_changed,
        "" if person.retired is None else person.retired.isoformat(),
    )


def _roles(person: PersonRecord) -> str:
    return ", ".join(person.roles) or "no role"


def _pin(person: PersonRecord) -> str:
    return f"set {person.pin_changed}".rstrip() if person.pin else "no PIN"
