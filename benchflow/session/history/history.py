"""A session told from its log: by day, by operation, in the order in which it happened.

Lengths of time come from the monotonic clock while one program ran, and from the calendar otherwise.
"""

import textwrap
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, tzinfo
from itertools import islice, pairwise

import msgspec
from msgspec import Struct

from benchflow.base.durations import clock_duration
from benchflow.base.plaintext import clean, clean_line
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.session.history.event_text import Book, tell, ticked, turned
from benchflow.session.history.reading_summary import SummingUp
from benchflow.session.log.journal import Damage
from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import parse
from benchflow.session.state import events as ev
from benchflow.session.state.clock import Now, elapsed, event_time

PAUSE = 15 * 60
"""Seconds without an event that are worth a line of their own."""
WIDTH = 100
_INDENT = 20


class Told(Struct, frozen=True):
    """One entry of the story: one event, or several ticks in a row."""

    first: Line
    last: Line
    operation: str  # "" for what belongs to the session as a whole
    words: str


def story(
    lines: Sequence[Line], plan: Plan | None, *, zone: tzinfo | None = None, damage: Damage | None = None
) -> Iterator[str]:
    """The story, line by line, ready to be printed. ``plan`` gives titles; without it ids are told.

    ``zone`` is the zone that times are told in, the machine's own if ``None``. ``damage`` is said at the end.
    """
    yield from _head(lines, plan, zone)
    book = Book(plan)
    day = operation = None
    told_before: Told | None = None
    for told in entries(lines, book):
        moment = parse(told.first.at).astimezone(zone)
        if moment.date() != day:
            day, operation = moment.date(), None
            yield ""
            yield _day(moment)
        pause = elapsed(event_time(told_before.last), _now(told.first)) if told_before else 0
        if pause >= PAUSE:
            yield f"{'':>{_INDENT}}... {clock_duration(pause)} later"
        if told.operation != operation:
            operation = told.operation
            yield ""
            if operation:
                yield _heading(operation, book)
        yield from _entry(told, moment)
        told_before = told
    if damage:
        yield ""
        yield f"THE LOG IS DAMAGED: line {damage.line} {damage.what}. Nothing from there on is told."


def plan_of(lines: Sequence[Line], read: Callable[[str], Procedure]) -> Plan | None:
    """The plan of the session, from the procedure that its log carries; ``None`` where it carries none.

    ``read`` makes a procedure of its text, and raises what it raises.
    """
    opened = happening_or_none(lines[0]) if lines else None
    return expand(read(opened.procedure), opened.options) if isinstance(opened, ev.Opened) else None


def _head(lines: Sequence[Line], plan: Plan | None, zone: tzinfo | None) -> Iterator[str]:
    opened = happening_or_none(lines[0]) if lines else None
    if not isinstance(opened, ev.Opened):
        yield "This log does not begin with the opening of a session."
        return
    if plan:
        yield clean_line(f"{plan.procedure.title}, revision {plan.procedure.revision}")
    else:
        yield clean_line(f"Procedure {opened.file}")
    yield clean_line(f"Unit: {opened.unit or 'not named'}. Builder: {lines[0].by}.")
    yield f"Entries: {len(lines)}. Fingerprint: {lines[-1].hash}"
    yield f"Times are in {parse(lines[0].at).astimezone(zone):%Z}."
    if opened.simulated:
        yield "SIMULATED: this session was driven with invented times. It is no evidence of any work."
    if plan and plan.procedure.notice:
        yield from _wrapped(plan.procedure.notice, "")


def entries(lines: Sequence[Line], book: Book) -> Iterator[Told]:
    """What is told, one after the other. Ticks of one stage by one person become one entry."""
    number = 0
    started: dict[str, Line] = {}
    builder = lines[0].by if lines else ""
    readings = SummingUp(book.plan)
    while number < len(lines):
        line = lines[number]
        event = happening_or_none(line)
        number += 1
        readings.see(line)
        if event is None:
            yield Told(line, line, "", f"did something that this version does not know ({line.kind})")
            continue
        last, words = line, tell(event, book) + readings.words(event)
        if _alike(event) is not None:
            run = _run_of(lines, number - 1, event)
            number += len(run) - 1
            fasteners = [each.data["fastener"] for each in run]
            for each in run[1:]:
                readings.see(each)
            last = run[-1]
            words = turned(event, fasteners, book) if isinstance(event, ev.DrawnDown) else words
            words = ticked(event, fasteners, book) if isinstance(event, ev.Ticked) else words
        operation = getattr(event, "operation", None) or ""
        if isinstance(event, ev.Started):
            started[operation] = line
        elif isinstance(event, ev.Finished | ev.Paused) and operation in started:
            words += (
                f", {clock_duration(elapsed(event_time(started.pop(operation)), _now(line)))} after it was taken up"
            )
        who = f" ({line.by})" if line.by != builder or isinstance(event, ev.Opened | ev.Closed | ev.Signed) else ""
        yield Told(line, last, operation, words + who)


def happening_or_none(line: Line) -> ev.Event | None:
    """The typed event, or ``None`` where the line holds none that this version understands."""
    try:
        return ev.event_of(line)
    except msgspec.ValidationError:
        return None


def _alike(event: ev.Event | None) -> tuple[object, ...] | None:
    """What events have in common that are told as one: ticks of a stage without a reading, turns of a round."""
    if isinstance(event, ev.Ticked) and event.quantity is None:
        return "tick", event.operation, event.joint, event.stage, event.instrument, event.serial
    if isinstance(event, ev.DrawnDown):
        return "turn", event.operation, event.joint, event.round
    return None


def _run_of(lines: Sequence[Line], start: int, first: ev.Event) -> list[Line]:
    run = [lines[start]]
    for before, line in pairwise(islice(lines, start, None)):
        alike = _alike(happening_or_none(line)) if line.kind == run[0].kind and line.by == before.by else None
        if alike is None or alike != _alike(first):
            break
        if elapsed(event_time(before), _now(line)) >= PAUSE:
            break
        run.append(line)
    return run


def _now(line: Line) -> Now:
    moment = event_time(line)
    return Now(moment.at, moment.run, moment.ms)


def _day(moment: datetime) -> str:
    return f"{moment:%A} {moment.day} {moment:%B %Y}"


def _heading(operation: str, book: Book) -> str:
    number, title = book.number(operation), book.step(operation)
    named = f"  [{operation}]" if title != operation else ""
    return clean_line(f"{'' if number is None else number} {title}") + clean(named)


def _entry(told: Told, moment: datetime) -> Iterator[str]:
    numbers = str(told.first.seq) if told.first is told.last else f"{told.first.seq}-{told.last.seq}"
    yield from _wrapped(told.words, f"{numbers:>9}  {moment:%H:%M}  ")


def _wrapped(text: str, lead: str) -> Iterator[str]:
    """``text`` behind ``lead``, broken at :data:`WIDTH`, what follows set in by as much."""
    for line in clean(text).splitlines() or [""]:
        # Not at hyphens: `26 ft-lb` and an id belong together.
        wrapper = textwrap.TextWrapper(WIDTH, lead, " " * len(lead), break_on_hyphens=False)
        yield from wrapper.wrap(clean_line(line)) or [lead.rstrip()]
        lead = " " * len(lead)
