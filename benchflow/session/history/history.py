"""A log as readable text, in the order of the entries, with headings for days and operations.

Times are local. Durations within one boot come from the boot clock, others from the wall clock; they are marked.
"""

import textwrap
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, tzinfo
from itertools import islice, pairwise

import msgspec
from msgspec import Struct

from benchflow.base.durations import clock_duration
from benchflow.base.plaintext import clean, clean_line
from benchflow.procedure.expand import everything_possible
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.session.history.event_text import event_text, local_time
from benchflow.session.history.joint_event_text import figure_title, ticks_text, turns_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.history.reading_summary import ReadingSummary
from benchflow.session.log.journal import Damage
from benchflow.session.log.line_format import Line, UntrustedLine
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.state import events as ev
from benchflow.session.state.clock import BY_WALL_CLOCK, crosses_restart, event_time, shown_seconds

PAUSE = 15 * 60
"""A pause is printed if no event was logged for this many seconds."""
WIDTH = 100
_INDENT = 20


class HistoryEntry(Struct, frozen=True):
    """One entry of the history: one event, or several similar events in a row."""

    first: Line
    last: Line
    operation: str  # "" for an event of the whole job
    text: str


def history_text(
    lines: Sequence[Line],
    plan: Plan | None,
    *,
    zone: tzinfo | None = None,
    damage: Damage | None = None,
    untrusted: Sequence[UntrustedLine] = (),
    changed: Line | None = None,
) -> Iterator[str]:
    """The history as lines of text, ready to print.

    ``plan`` gives the titles; without it, ids are printed. ``zone`` is the time zone of the printed times; ``None`` is
    the zone of the computer. ``damage`` is printed last, with the lines that are readable after it, and with a
    damaged first line as it reads now (``changed``).
    """
    yield from _heading_lines(lines, plan, zone)
    titles = LogTitles(plan, zone)
    day = operation = None
    zone_name = _zone_name(lines, zone)
    before: HistoryEntry | None = None
    for entry in history_entries(lines, titles):
        time = local_time_of(entry.first.at, zone)
        if time.date() != day or f"{time:%Z}" != zone_name:
            other_zone = f"{time:%Z}" != zone_name
            day, operation, zone_name = time.date(), None, f"{time:%Z}"
            yield ""
            yield _day(time) + (f" (times from here on are in {zone_name})" if other_zone else "")
        if before is not None:
            pause = shown_seconds(event_time(before.last), event_time(entry.first))
            if pause >= PAUSE:
                which = _which_clock(before.last, entry.first)
                yield f"{'':>{_INDENT}}... {clock_duration(pause)} later{which}"
        if entry.operation != operation:
            operation = entry.operation
            yield ""
            if operation:
                yield _heading(operation, titles)
        yield from _entry_lines(entry, time)
        before = entry
    if damage:
        yield ""
        yield f"THE LOG IS DAMAGED: line {damage.line} {damage.what}."
        if changed is not None:
            yield from _wrapped(changed_entry(damage, changed, titles), "  ! ")
        if not untrusted:
            yield "Nothing after it can be read."
            return
        lines_read = "1 line" if len(untrusted) == 1 else f"{len(untrusted)} lines"
        yield f"NOT TRUSTED: {lines_read} from there on can be read. Lines may be missing or changed."
        for each in untrusted:
            yield from _wrapped(untrusted_entry(each, titles), "  ? ")


def changed_entry(damage: Damage, changed: Line, titles: LogTitles) -> str:
    """The damaged first line as it reads now."""
    return f"As it reads now, not as it was written: {untrusted_entry(UntrustedLine(damage.line, changed), titles)}"


def untrusted_entry(each: UntrustedLine, titles: LogTitles) -> str:
    """One line that is not trusted: its number, time, operation, text and person."""
    event = known_event(each.line)
    text = "Event that this version cannot read" if event is None else event_text(event, titles)
    operation = getattr(event, "operation", None)
    where = f" [{operation}]" if operation else ""
    return clean_line(f"line {each.number}, {local_time(each.line.at, titles.zone)}{where}: {text} ({each.line.by})")


def plan_from_log(lines: Sequence[Line], read: Callable[[str], Procedure]) -> Plan | None:
    """The plan of the job, from the procedure text in its log; ``None`` if the log has none.

    ``read`` parses the text of a procedure; its errors are passed on.
    """
    opened = known_event(lines[0]) if lines else None
    if not isinstance(opened, ev.JobOpened):
        return None
    return everything_possible(read(opened.procedure), opened.options)


def _zone_name(lines: Sequence[Line], zone: tzinfo | None) -> str:
    """The name of the time zone at the first event; "" for an empty log."""
    return f"{local_time_of(lines[0].at, zone):%Z}" if lines else ""


def _heading_lines(lines: Sequence[Line], plan: Plan | None, zone: tzinfo | None) -> Iterator[str]:
    opened = known_event(lines[0]) if lines else None
    if not isinstance(opened, ev.JobOpened):
        yield "The first line of this log, with its procedure, is not the start of a job or cannot be read."
        return
    if plan:
        yield clean_line(f"{plan.procedure.title}, revision {plan.procedure.revision}")
    else:
        yield clean_line(f"Procedure {opened.file}")
    yield clean_line(f"Unit: {opened.unit or 'no name'}. Builder: {lines[0].by}.")
    yield f"Entries: {len(lines)}. Fingerprint: {lines[-1].hash}"
    yield f"Times are local ({_zone_name(lines, zone)})."
    if opened.simulated:
        yield "SIMULATED: the times in this log are invented. It is not evidence of work."
    if plan and plan.procedure.notice:
        yield from _wrapped(plan.procedure.notice, "")


def history_entries(lines: Sequence[Line], titles: LogTitles) -> Iterator[HistoryEntry]:
    """The entries in order. Consecutive ticks of one stage by one person become one entry."""
    index = 0
    started: dict[str, Line] = {}
    figures: dict[tuple[str, str, int], int] = {}
    builder = lines[0].by if lines else ""
    summary = ReadingSummary(titles.plan)
    while index < len(lines):
        line = lines[index]
        event = known_event(line)
        index += 1
        summary.add(line)
        if event is None:
            yield HistoryEntry(line, line, "", f"Event that this version cannot read ({line.kind})")
            continue
        shown = (
            correction_text(event, lines, titles) if isinstance(event, ev.EntryCorrected) else event_text(event, titles)
        )
        last, text = line, shown + summary.text(event)
        if isinstance(event, ev.FigureGiven) and event.stage:
            stage = event.operation, event.joint, event.stage
            text += f", instead of the one in log line {figures[stage]}" if stage in figures else ""
            figures[stage] = line.seq
        if _group_key(event) is not None:
            group = _group_from(lines, index - 1, event)
            index += len(group) - 1
            fasteners = [tick.data["fastener"] for tick in group]
            for tick in group[1:]:
                summary.add(tick)
            last = group[-1]
            text = turns_text(event, fasteners, titles) if isinstance(event, ev.FastenerDrawnDown) else text
            text = ticks_text(event, fasteners, titles) if isinstance(event, ev.FastenerTicked) else text
        operation = getattr(event, "operation", None) or ""
        if isinstance(event, ev.OperationStarted):
            started[operation] = line
        elif isinstance(event, ev.OperationFinished | ev.OperationPaused) and operation in started:
            begun = started.pop(operation)
            taken = shown_seconds(event_time(begun), event_time(line))
            text += f", {clock_duration(taken)} after the start{_which_clock(begun, line)}"
        who = (
            f" ({line.by})"
            if line.by != builder or isinstance(event, ev.JobOpened | ev.JobClosed | ev.HoldSigned)
            else ""
        )
        yield HistoryEntry(line, last, operation, text + who)


def correction_text(event: ev.EntryCorrected, lines: Sequence[Line], titles: LogTitles) -> str:
    """The text of a correction. That of a figure names it: ``Entry 9 (Studs, stage 1) CORRECTED to ...``."""
    wrong: ev.Event | None = event
    seq = len(lines) + 1
    while isinstance(wrong, ev.EntryCorrected) and 0 < wrong.event < seq:  # a forged one may correct itself
        seq = wrong.event
        wrong = known_event(lines[seq - 1])
    title = f" ({figure_title(wrong, titles)})" if isinstance(wrong, ev.FigureGiven) else ""
    entry = f"Entry {event.event}"
    return event_text(event, titles).replace(entry, f"{entry}{title}", 1)


def _which_clock(since: Line, until: Line) -> str:
    """What follows a duration between two lines that only the wall clock shows; empty for any other."""
    return f" ({BY_WALL_CLOCK})" if crosses_restart(event_time(since), event_time(until)) else ""


def known_event(line: Line) -> ev.Event | None:
    """The typed event; ``None`` if this version cannot read it."""
    try:
        return ev.event_of(line)
    except msgspec.ValidationError:
        return None


def _group_key(event: ev.Event | None) -> tuple[object, ...] | None:
    """A key that is equal for events that become one entry; ``None`` for events that are always separate entries.

    Ticks of one stage without a reading become one entry, and so do the turns of one draw-down round.
    """
    if isinstance(event, ev.FastenerTicked) and event.quantity is None:
        return "tick", event.operation, event.joint, event.stage, event.instrument, event.serial, event.together
    if isinstance(event, ev.FastenerDrawnDown):
        return "turn", event.operation, event.joint, event.round
    return None


def _group_from(lines: Sequence[Line], start: int, first: ev.Event) -> list[Line]:
    """The lines from index ``start`` that become one entry with the event ``first``."""
    group = [lines[start]]
    for before, line in pairwise(islice(lines, start, None)):
        similar = line.kind == group[0].kind and line.by == before.by
        key = _group_key(known_event(line)) if similar else None
        if key is None or key != _group_key(first):
            break
        if shown_seconds(event_time(before), event_time(line)) >= PAUSE:
            break
        group.append(line)
    return group


def _day(time: datetime) -> str:
    """``Sunday 1 March 2026``."""
    return f"{time:%A} {time.day} {time:%B %Y}"


def _heading(operation: str, titles: LogTitles) -> str:
    """``3 Tighten the studs  [tighten]``."""
    number, title = titles.number(operation), titles.step(operation)
    step_id = f"  [{operation}]" if title != operation else ""
    return clean_line(f"{'' if number is None else number} {title}") + clean(step_id)


def _entry_lines(entry: HistoryEntry, time: datetime) -> Iterator[str]:
    numbers = str(entry.first.seq) if entry.first.seq == entry.last.seq else f"{entry.first.seq}-{entry.last.seq}"
    yield from _wrapped(entry.text, f"{numbers:>9}  {time:%H:%M}  ")


def _wrapped(text: str, lead: str) -> Iterator[str]:
    """``text`` after ``lead``, wrapped at :data:`WIDTH`; further lines are indented by the width of ``lead``."""
    for line in clean(text).splitlines() or [""]:
        # No breaks at hyphens, so that `26 ft-lb` and ids stay on one line.
        wrapper = textwrap.TextWrapper(WIDTH, lead, " " * len(lead), break_on_hyphens=False)
        yield from wrapper.wrap(clean_line(line)) or [lead.rstrip()]
        lead = " " * len(lead)
