"""The people of the register over the time of a job, with wrong PINs and other registers, from the lines of its log."""

from collections.abc import Iterable

from msgspec import Struct

from benchflow.session.log.line_format import Line
from benchflow.session.state.event_basics import PersonRecord
from benchflow.session.state.events import JobOpened, JobResumed, PinRefused, RegisterChanged, event_of


class RegisterExchange(Struct, frozen=True):
    """The program was started again with another register or with none. ``reason`` is the one given."""

    seq: int
    reason: str


class PeopleHistory(Struct, frozen=True):
    """Who was in the register when.

    ``versions`` has the people from an event on, by increasing ``seq``. ``wrong_pins`` has the ``seq`` of each wrong
    PIN by person and operation: the one that was to be signed, or else that of the next signature; "" for none.
    """

    versions: tuple[tuple[int, tuple[PersonRecord, ...]], ...]
    wrong_pins: dict[tuple[str, str], tuple[int, ...]]
    other_registers: tuple[RegisterExchange, ...]

    def people_at(self, seq: int) -> tuple[PersonRecord, ...]:
        """The people when event ``seq`` was logged; empty if the job had no register then."""
        found: tuple[PersonRecord, ...] = ()
        for since, people in self.versions:
            if since <= seq:
                found = people
        return found


def people_history(lines: Iterable[Line]) -> PeopleHistory:
    """The history of the register in a log."""
    versions: list[tuple[int, tuple[PersonRecord, ...]]] = []
    wrong: dict[tuple[str, str], tuple[int, ...]] = {}
    unsigned: list[tuple[str, int]] = []  # wrong PINs of no operation, before the next signature
    others: list[RegisterExchange] = []
    for line in lines:
        if line.kind in _SIGNATURES:
            for person, seq in unsigned:
                key = person, str(line.data.get("operation") or "")
                wrong[key] = (*wrong.get(key, ()), seq)
            unsigned.clear()
        event = event_of(line) if line.kind in _KINDS else None
        match event:
            case JobOpened(people=people):
                versions.append((line.seq, people))
            case JobResumed(people=people, other_register=reason):
                versions.append((line.seq, people))
                if reason:
                    others.append(RegisterExchange(line.seq, reason))
            case RegisterChanged(person=name, record=record):
                known = {one.name: one for one in versions[-1][1]} if versions else {}
                known.pop(name, None)
                if record is not None:
                    known[name] = record
                versions.append((line.seq, tuple(known.values())))
            case PinRefused(person=name, operation=operation) if operation:
                wrong[name, operation] = (*wrong.get((name, operation), ()), line.seq)
            case PinRefused(person=name):
                unsigned.append((name, line.seq))
            case _:
                pass
    for person, seq in unsigned:
        wrong[person, ""] = (*wrong.get((person, ""), ()), seq)
    return PeopleHistory(tuple(versions), wrong, tuple(others))


_SIGNATURES = ("signed", "deviated")
_KINDS = ("opened", "resumed", "register-changed", "pin-refused")
