"""The text of each event of a log, without its time and person."""

from collections.abc import Callable
from datetime import tzinfo
from typing import Any

from benchflow.base.plaintext import sentence
from benchflow.ordering.wording import all_of, in_a_sentence, move_title, state_text, variable_title
from benchflow.session.history.come_back_text import COME_BACK_TEXTS
from benchflow.session.history.joint_event_text import JOINT_EVENT_TEXTS
from benchflow.session.history.log_titles import (
    LogTitles,
    instrument_text,
    number_list,
    quantity_text,
    readable,
    verdict_and_limit,
)
from benchflow.session.history.picture_text import PICTURE_TEXTS
from benchflow.session.log.timestamps import BadTimestamp, local_time_of
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.state import events as ev
from benchflow.session.state.continued_job import ContinuedLog, OperationTakenOver
from benchflow.trade.decision_rules import acceptance_words


def event_text(event: ev.Event, titles: LogTitles) -> str:
    """The text of an event; "" for a type that is not in :data:`EVENT_TEXTS`. It may contain control characters."""
    text = EVENT_TEXTS.get(type(event))
    return text(event, titles) if text else ""


def local_time(at: str, zone: tzinfo | None) -> str:
    """A timestamp of the log in local time, with the zone: ``2026-03-01 19:00:00 CET``."""
    try:
        return f"{local_time_of(at, zone):%Y-%m-%d %H:%M:%S %Z}"
    except BadTimestamp:
        return at


def _opened(event: ev.JobOpened, titles: LogTitles) -> str:
    parts = [f"Job started: {event.unit}" if event.unit else "Job started"]
    parts += [f"{readable(name)}: {choice}" for name, choice in event.options.items()]
    parts += [in_a_sentence(state_text(titles.procedure, name, value)) for name, value in event.start.items()]
    if event.continues is not None:
        parts.append(continued_text(event.continues))
    if event.earlier:
        parts.append(f"earlier logs of this unit: {', '.join(each.file for each in event.earlier)}")
    return "; ".join(parts)


def continued_text(continues: ContinuedLog) -> str:
    """``CONTINUES a.jsonl, damaged at line 100 (has been changed ...), up to event 99, SHA-256 0123456789abcdef…``."""
    damage = f"damaged at line {continues.line} ({continues.damage})" if continues.damage else "which is whole"
    reason = f"; reason: {continues.reason}" if continues.reason else ""
    digest = f"SHA-256 {continues.sha256[:16]}…"
    return f"CONTINUES {continues.file}, {damage}, up to event {continues.events}, {digest}{reason}"


def _taken_over(event: OperationTakenOver, titles: LogTitles) -> str:
    role = f" as {event.role}" if event.role else ""
    reason = f"; reason: {event.reason}" if event.reason else ""
    return f"TAKEN OVER{role} {takeover_basis(event)}{_proof(event)}{_unknown(event.unknown, titles)}{reason}"


def takeover_basis(event: OperationTakenOver) -> str:
    """What the earlier log says about an operation that was taken over."""
    match event.basis:
        case "trusted":
            return f"from the earlier log{_numbers(event.evidence)}"
        case "untrusted":
            return "from lines of the earlier log that are NOT TRUSTED"
        case "none":
            return "WITHOUT EVIDENCE in the earlier log"


def _numbers(evidence: tuple[int, ...]) -> str:
    """`` (events 4, 5, 7)``; `` (12 events, 4 .. 31)`` if there are more than five; "" if there are none."""
    if len(evidence) > 5:
        return f" ({len(evidence)} events, {evidence[0]} .. {evidence[-1]})"
    return f" (events {', '.join(map(str, evidence))})" if evidence else ""


def _earlier(seq: int | None) -> str:
    return "" if seq is None else f" (from the earlier log, event {seq})"


def _resumed(event: ev.JobResumed, titles: LogTitles) -> str:
    text = f"Program started again (version {event.version})"
    return f"{text} with ANOTHER REGISTER; reason: {event.other_register}" if event.other_register else text


def _register_changed(event: ev.RegisterChanged, titles: LogTitles) -> str:
    match event.change:
        case "added":
            return f"Register: {event.person} was added ({event.after})"
        case "removed":
            return f"Register: {event.person} was REMOVED ({event.before})"
        case "retired":
            after, before = event.after or "no day of leaving", event.before or "no day of leaving"
            return f"Register: {event.person} CHANGED from {before} to {after} (first day without work here)"
        case "roles" | "pin":
            what = "PIN" if event.change == "pin" else "roles"
            return f"Register: {what} of {event.person} CHANGED from {event.before} to {event.after}"


def _pin_refused(event: ev.PinRefused, titles: LogTitles) -> str:
    role = f" as {event.role}" if event.role else ""
    return f"A WRONG PIN was entered for {event.person}{role}"


def _recorded(event: ev.ReadingRecorded, titles: LogTitles) -> str:
    record = titles.record(event.operation, event.name)
    which = ""
    if record is None or len(record.slots) > 1:
        which = f" at {event.reading}" if record and record.by_place else f", reading {event.reading}"
    rule = guarded_text(event)
    part = " (used part)" if event.used else ""
    if event.claims is not None:
        part = f" (entry {event.claims}, not read again: {'used' if event.used else 'new'} part)"
    return (
        f"{readable(event.name)}{which}: {quantity_text(event.quantity)}"
        f"{verdict_and_limit(event.verdict, event.limit)}{rule}{part}{instrument_text(event, titles)}"
        f"{_earlier(event.earlier)}"
    )


def _calculated(event: ev.ValueCalculated, titles: LogTitles) -> str:
    shown = quantity_text(event.quantity)
    # `filled` may end with the result already; "≈" marks a rounded one.
    has_result = "≈" in event.filled or event.filled.endswith(shown)
    formula = event.filled if has_result else f"{event.filled} = {shown}".removeprefix(" = ")
    slot = f", reading {event.reading}" if event.reading else ""
    judged = f"{verdict_and_limit(event.verdict, event.limit)}{guarded_text(event)}"
    return f"{titles.calculated(event.operation, event.name)}{slot} calculated: {formula}{judged}"


def guarded_text(event: ev.ReadingRecorded | ev.ValueCalculated) -> str:
    """The words after a verdict by guarded acceptance, with the values that would be ok; otherwise ""."""
    if event.decision != "guarded" or event.verdict == "none":
        return ""
    return f", guarded ({acceptance_words(event.acceptance)})" if event.acceptance else ", guarded"


def _remedied(event: ev.RemedyCarriedOut, titles: LogTitles) -> str:
    others = [step for step in event.redo if step not in (event.operation, *event.called)]
    if event.check:
        point = titles.check(event.operation, event.check)
        about = f"Check {event.check}{f' ({point})' if point else ''} answered NO"
    else:
        about = f"{readable(event.name)}{_remedied_entries(event, titles)} too {event.verdict}"
    parts = [
        f"{about}. Remedy done: {sentence(event.do)}",
        f"To do again: {all_of(titles.step(step) for step in others)}." if others else "",
        f"To do now: {all_of(titles.step(step) for step in event.called)}." if event.called else "",
        "The operation is cleared." if event.operation in event.redo else "",
        f"Undone after a move: {all_of(titles.step(step) for step in event.undo_later)}." if event.undo_later else "",
        f"To discard: {all_of(titles.kit(item) for item in event.discard)}." if event.discard else "",
        f"Fitted: {all_of(titles.kit(item) for item in event.uses)}." if event.uses else "",
        f"The clock of {all_of(titles.step(step) for step in event.restarts)} starts again." if event.restarts else "",
        f"Wait {quantity_text(event.wait)}, then measure or check again." if event.wait is not None else "",
    ]
    return " ".join(filter(None, parts)).removesuffix(".")


def _remedied_entries(event: ev.RemedyCarriedOut, titles: LogTitles) -> str:
    """The readings or fasteners that a remedy was carried out for, between commas; empty for a single value."""
    if event.stage:
        return f", stage {event.stage}, fastener {number_list(list(event.fasteners))},"
    return f", reading {', '.join(event.readings)}," if event.readings and _has_readings(event, titles) else ""


def _has_readings(event: ev.RemedyCarriedOut, titles: LogTitles) -> bool:
    record = titles.record(event.operation, event.name)
    return record is None or len(record.slots) > 1


def _instrument_used(event: ev.InstrumentUsed, titles: LogTitles) -> str:
    known = [
        event.range,
        f"uncertainty {event.uncertainty}{f' (k = {event.k})' if event.k else ''}" if event.uncertainty else "",
        f"calibrated {event.calibrated}" if event.calibrated else "",
        f"due {event.due}" if event.due else "",
        "" if event.uses is None else f"{event.uses} uses since calibration",
    ]
    details = ", ".join(each for each in known if each)
    serial = f" (serial {event.serial})" if event.serial else ""
    text = f"Instrument used: {event.title or titles.instrument(event.need)}{serial}: {details}"
    return text.removesuffix(": ") + "".join(f"; NOT FIT: {warning}" for warning in event.warnings)


def _wrench_fitted(event: ev.WrenchAdapterChanged, titles: LogTitles) -> str:
    if event.extension is None:
        return "Torque wrench: no extension from now on"
    angle = f" at {quantity_text(event.angle)}" if event.angle else ""
    lever = f", wrench length {quantity_text(event.lever)}" if event.lever else ""
    return f"Torque wrench: extension of {quantity_text(event.extension)}{angle}{lever} from now on"


def _lubricated(event: ev.LubricantChanged, titles: LogTitles) -> str:
    factor = f", nut factor {event.nut_factor}" if event.nut_factor else ""
    return f"{titles.joint(event.joint)}: lubricant on the threads is {event.lubricant}{factor}"


def _signed(event: ev.HoldSigned, titles: LogTitles) -> str:
    own = " by a person who worked on this operation" if event.self_signed else ""
    return f"Hold signed as {event.role}{own}{_proof(event)}"


def _proof(event: ev.HoldSigned | ev.DeviationSigned | ev.EntryCorrected | ev.StateSet | OperationTakenOver) -> str:
    """A remark on a signature with a PIN; empty if only the name was given."""
    return " (with PIN)" if event.proven == "pin" else ""


def _deviated(event: ev.DeviationSigned, titles: LogTitles) -> str:
    subject = subject_text(event.about, titles.step)
    name = readable(subject) if subject == event.about else subject
    own = " by a person who worked on this operation" if event.self_signed else ""
    return f"DEVIATION signed for {name}{own}{_proof(event)}{_change_mark(event)}: {event.reason}"


def _change_mark(event: ev.NoteAdded | ev.DeviationSigned | ev.EntryCorrected) -> str:
    """A remark on an entry that is marked "change the procedure"; empty without the mark."""
    return f" ({ev.CHANGE_MARK})" if event.change else ""


def _found(event: ev.OperationFinished, titles: LogTitles) -> str:
    """What was found, and what was thrown away, in a finished operation; empty if neither is the case."""
    found = [f"{name} {' and '.join(answers)}" for name, answers in event.findings.items() if answers]
    kit = titles.procedure.kit_by_id
    parts = [kit[name].title if name in kit else name for name in event.discard]
    thrown = f". Thrown away: {', '.join(parts)}" if parts else ""
    return f"{f'. Found: {all_of(found)}' if found else ''}{thrown}"


def _unknown(variables: tuple[str, ...], titles: LogTitles) -> str:
    """A clause on state variables that are not known, because their proof was waived; empty if there are none."""
    named = all_of(in_a_sentence(variable_title(titles.procedure, name)) for name in variables)
    return f". The state of {named} is not known, because its proof was waived or is out" if variables else ""


def _rework_started(event: ev.ReworkStarted, titles: LogTitles) -> str:
    order = ", then ".join(
        titles.step(each["operation"]) if "operation" in each else move_title(titles.procedure, each.get("move", ""))
        for each in event.steps
    )
    discarded = all_of(titles.kit(item) for item in event.discard)
    reopened = all_of(titles.step(step) for step in event.reopened)
    return (
        f"REWORK started: {event.reason}"
        + (f"; order: {order}" if order else "")
        + (f"; to discard: {discarded}" if discarded else "")
        + (f"; to do again with a new part: {reopened}" if reopened else "")
    )


def _corrected(event: ev.EntryCorrected, titles: LogTitles) -> str:
    value = quantity_text(event.quantity) if event.quantity else event.answer or f"lot {event.lot}"
    value = event.figure or value
    if event.source:
        value = f"{value}, source: {event.source}" if event.figure else f"source: {event.source}"
    signed = ""
    if event.proven:
        signed = f", signed{f' as {event.role}' if event.role else ''}{_proof(event)}"
    judged = verdict_and_limit(event.verdict, "")
    return f"Entry {event.event} CORRECTED to {value}{judged}{signed}{_change_mark(event)}; reason: {event.reason}"


def _state_set(event: ev.StateSet, titles: LogTitles) -> str:
    reason = f" ({event.reason})" if event.reason else ""
    signed = f", signed as {event.role}{_proof(event)}" if event.proven else ""
    found = in_a_sentence(state_text(titles.procedure, event.variable, event.value))
    return f"State found: {found}{reason}{signed}"


def _clock_went_back(event: ev.ClockWentBack, titles: LogTitles) -> str:
    before, now = local_time(event.before, titles.zone), local_time(event.now, titles.zone)
    return f"The computer clock WENT BACK from {before} to {now}"


def _closed(event: ev.JobClosed, titles: LogTitles) -> str:
    unfinished = all_of(titles.step(step) for step in event.open_operations)
    reason = f"; reason: {event.reason}" if event.reason else ""
    return "Job closed" + (f" with unfinished operations: {unfinished}" if unfinished else "") + reason


EVENT_TEXTS: dict[type[ev.Event], Callable[[Any, LogTitles], str]] = {
    ev.JobOpened: _opened,
    ev.JobResumed: _resumed,
    ev.RegisterChanged: _register_changed,
    ev.PinRefused: _pin_refused,
    ev.OperationStarted: lambda event, titles: "Started",
    ev.OperationPaused: lambda event, titles: "Paused",
    OperationTakenOver: _taken_over,
    ev.OperationFinished: lambda event, titles: f"Finished{_unknown(event.unknown, titles)}{_found(event, titles)}",
    ev.MoveMade: lambda event, titles: f"Move made: {move_title(titles.procedure, event.move)}",
    ev.ReadingRecorded: _recorded,
    ev.ValueCalculated: _calculated,
    ev.RemedyCarriedOut: _remedied,
    ev.CheckTicked: lambda event, titles: (
        f"Check answered NO: {event.text}" if event.answer == "no" else f"Check done: {event.text}"
    ),
    ev.CheckUnticked: lambda event, titles: f"Check cleared: {event.text}",
    ev.InstrumentUsed: _instrument_used,
    ev.WrenchAdapterChanged: _wrench_fitted,
    ev.LubricantChanged: _lubricated,
    ev.PartChosen: lambda event, titles: (
        f"{readable(event.name)} chosen: {event.take}{f' ({event.reason})' if event.reason else ''}"
        f"{_earlier(event.earlier)}"
    ),
    ev.LotEntered: lambda event, titles: (
        f"{titles.kit(event.consumable)}{f' for {event.subject}' if event.subject else ''}: lot {event.lot}"
        f"{_earlier(event.earlier)}"
    ),
    **JOINT_EVENT_TEXTS,
    **COME_BACK_TEXTS,
    **PICTURE_TEXTS,
    ev.HoldSigned: _signed,
    ev.DeviationSigned: _deviated,
    ev.ReworkStarted: _rework_started,
    ev.OperationUndone: lambda event, titles: "Undone for rework",
    ev.NoteAdded: lambda event, titles: f"Note{_change_mark(event)}: {event.text}",
    ev.EntryCorrected: _corrected,
    ev.EvidenceChanged: lambda event, titles: f"Proof changed by a correction{_unknown(event.unknown, titles)}",
    ev.StateSet: _state_set,
    ev.ClockWentBack: _clock_went_back,
    ev.JobClosed: _closed,
}
"""The function that makes the text, for every type of event. A test checks that no type is missing."""
