"""Audits what a log says about the people of the register, and answers for the register from the log."""

from collections.abc import Iterator
from datetime import date

import msgspec

from benchflow.review.audit.audit_report import AuditFinding
from benchflow.review.audit.intent_groups import IntentGroup, own_data
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.shop.people_record import people_changes, people_digest
from benchflow.session.shop.register import PATH_ID, PIN_SET, Defaults, Person, Shop
from benchflow.session.state import events as ev
from benchflow.session.state.clock import set_back_from
from benchflow.session.state.state import State

_WITHOUT_TITLES = LogTitles(None, None)


def shop_of_log(register: str | None, people: tuple[ev.PersonRecord, ...], builder: str = "") -> Shop | None:
    """The register as the log names it, without instruments; ``None`` if the job has none.

    ``builder`` is the default name of the builder.
    """
    if register is None and not people:
        return None
    return Shop(people=tuple(_person(one) for one in people), defaults=Defaults(builder), id=register or "")


def _person(record: ev.PersonRecord) -> Person:
    pin = PIN_SET if record.pin else ""
    return Person(record.name, record.roles, pin, _day_of_leaving(record), record.pin_changed)


def _day_of_leaving(record: ev.PersonRecord) -> date | None:
    """The first day on which the person no longer works here. A day that does not exist is long ago."""
    try:
        return date.fromisoformat(record.retired) if record.retired else None
    except ValueError:
        return date.min


def digest_findings(line: int, number: int, event: ev.JobOpened | ev.JobResumed) -> Iterator[AuditFinding]:
    """What is wrong with the register in an event of a start."""
    if event.register is None:
        if event.people or event.shop is not None:
            yield AuditFinding(line, number, "register", f"Line {line} names people, but no register.")
    elif event.shop != people_digest(event.register, event.people):
        text = f"Line {line}: the people listed do not have the digest that the line states."
        yield AuditFinding(line, number, "register", text)


def leading_findings(before: State, after: State, group: IntentGroup) -> Iterator[AuditFinding]:
    """What is wrong with the lines that lead a group. ``after`` is the state after them."""
    events = [ev.event_of(line) for line in group.leading]
    start = next((event for event in events if isinstance(event, ev.JobResumed)), None)
    expected: list[ev.Event] = []
    set_back = set_back_from(before.last, group.now)
    if set_back:
        expected.append(ev.ClockWentBack(set_back, group.now.at))
    if start is not None:
        expected.append(start)
        yield from _start_findings(before, start, group)
    if after.register is not None:
        expected += people_changes(after.register, before.people, after.people)
    logged = [(line.kind, own_data(line)) for line in group.leading]
    wanted = [_kind_and_data(event) for event in expected]
    for kind, data in wanted:
        if (kind, data) not in logged:
            what = f"the change “{data['change']}” of {data['person']}" if kind == "register-changed" else _NAMES[kind]
            yield _finding(group, f"{what} is missing before it")
    for line, found in zip(group.leading, logged, strict=True):
        if found not in wanted:
            text = f"Line {line.seq} ({line.kind}) does not follow from the lines before it."
            yield AuditFinding(line.seq, group.number, "register", text)
    if len(wanted) == len(logged) and wanted != logged and all(each in logged for each in wanted):
        yield _finding(group, "its leading lines are in another order than the program writes")


def register_notes(group: IntentGroup) -> Iterator[AuditFinding]:
    """A note for each change of the register, each other register, and each wrong PIN."""
    for line in group.lines:
        event = ev.event_of(line)
        other = isinstance(event, ev.JobResumed) and event.other_register
        if event is not None and (other or isinstance(event, ev.RegisterChanged | ev.PinRefused)):
            text = f"Line {line.seq}: {event_text(event, _WITHOUT_TITLES)}."
            yield AuditFinding(line.seq, group.number, "register", text, wrong=False)


def _start_findings(before: State, start: ev.JobResumed, group: IntentGroup) -> Iterator[AuditFinding]:
    line = next(line.seq for line in group.leading if line.kind == "resumed")
    yield from digest_findings(line, group.number, start)
    known, now = before.register, start.register
    if known is None or now == known or before.closed or start.other_register:
        return
    if known.startswith(PATH_ID) and now is not None:
        text = f"Line {line}: the register has the id {now} from here on. Before, its file had none."
        yield AuditFinding(line, group.number, "register", text, wrong=False)
        return
    text = f"Line {line}: the job goes on with {'no register' if now is None else f'the register {now}'}, and no reason"
    yield AuditFinding(line, group.number, "register", f"{text} is given. Before, it was {known}.")


_NAMES = {"clock-went-back": "the note that the clock was set back", "resumed": "the start of the program"}


def _kind_and_data(event: ev.Event) -> tuple[str, dict[str, object]]:
    data = msgspec.json.decode(msgspec.json.encode(event))
    return data.pop("kind"), data


def _finding(group: IntentGroup, clause: str) -> AuditFinding:
    seq = group.lines[0].seq
    return AuditFinding(seq, group.number, "register", f"Line {seq}: {clause}.")
