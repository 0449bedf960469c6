"""The entries of one build that a comparison pairs with those of the other build."""

from collections import Counter
from collections.abc import Iterator
from typing import Final

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Step
from benchflow.review.formatting import count, shown_reading
from benchflow.review.log.clock_remarks import window_runs
from benchflow.review.log.facts import ReadingFact, StageFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.history.event_text import event_text
from benchflow.session.history.history import known_event
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.state import events as ev
from benchflow.session.state.clock import elapsed_between
from benchflow.session.state.continued_job import OperationTakenOver
from benchflow.trade.verdict import VERDICT_TEXT


class EntryText(Struct, frozen=True):
    """An entry as text, with its event. Two entries differ if ``compared`` differs, or the text where it is ""."""

    text: str
    seq: int | None = None
    compared: str = ""

    @property
    def judged(self) -> str:
        """The text that decides whether two entries differ."""
        return self.compared or self.text


NO_ENTRY = EntryText("")
Entries = dict[tuple[str, str], EntryText]
"""Entries by kind and name."""


def valid_readings(log: LoadedLog, operation: str) -> dict[tuple[str, str], ReadingFact]:
    """The readings in force of an operation, by name and slot."""
    return {(r.name, r.slot): r for r in log.facts.readings if r.in_force and r.operation == operation}


def entries_of_operation(log: LoadedLog, operation: str, *, limits: bool) -> Entries:
    """The entries of an operation. ``limits`` compares the limits of values too: for two procedures."""
    facts, found = log.facts, Entries()
    for (name, slot), reading in valid_readings(log, operation).items():
        key = f"{name} {slot}".strip()
        words = f"{shown_reading(reading)} ({VERDICT_TEXT[reading.verdict] or 'no limit'})"
        found["reading", key] = EntryText(words, reading.seq, reading.verdict)
        if limits and reading.limit:
            found["limit", key] = EntryText(reading.limit, reading.seq)
    found.update(_attempts(log, operation))
    for need, serials in _used_serials(log, operation).items():
        found["instrument", need] = EntryText(", ".join(sorted(serials)))
        calibrations = [_calibration(log, serial) for serial in sorted(serials)]
        if any(calibrations):
            found["calibration", need] = EntryText("; ".join(each or "not stated" for each in calibrations))
    for choice in facts.choices:
        if choice.operation == operation and choice.in_force:
            found["choice", choice.name] = EntryText(choice.take, choice.seq)
    for lot in facts.lots:
        if lot.operation == operation and lot.in_force:
            found["lot", lot.consumable] = EntryText(lot.lot, lot.seq)
    for deviation in facts.deviations:
        if deviation.operation == operation and deviation.in_force:
            found["deviation", deviation.about] = EntryText(f"{deviation.by}: {deviation.reason}", deviation.seq)
    for signature in facts.signatures:
        if signature.operation == operation and signature.in_force:
            own = ", who did the work" if signature.self_signed else ""
            found["signature", signature.role] = EntryText(f"{signature.by}{own}", signature.seq)
    for failed in facts.failed_fasteners:
        if failed.operation == operation:
            found["fastener", f"{failed.joint}[{failed.fastener}]"] = EntryText(failed.words, failed.seq)
    for number, remedy in enumerate(each for each in facts.remedies if each.operation == operation):
        found["remedy", f"{remedy.name} {number + 1}"] = EntryText(remedy.words, remedy.seq)
    found.update(_joint_entries(log, operation))
    step = log.plan.steps.get(operation)
    if step is not None:
        found.update(_window_entries(log, step))
    return found


def _attempts(log: LoadedLog, operation: str) -> Iterator[tuple[tuple[str, str], EntryText]]:
    """Readings that were taken more than once, with all their values."""
    taken: dict[str, list[ReadingFact]] = {}
    for reading in log.facts.readings:
        if reading.operation == operation and not reading.calculated and not reading.corrected:
            taken.setdefault(f"{reading.name} {reading.slot}".strip(), []).append(reading)
    for key, readings in taken.items():
        if len(readings) > 1:
            values = ", ".join(f"{shown_reading(each)} {VERDICT_TEXT[each.verdict]}".strip() for each in readings)
            words = f"{count(len(readings), 'reading')}: {values}"
            yield ("attempts", key), EntryText(words, readings[-1].seq, str(len(readings)))


def _used_serials(log: LoadedLog, operation: str) -> dict[str, set[str]]:
    """The serials that were used, by the procedure's name for the instrument."""
    found: dict[str, set[str]] = {}
    for reading in log.facts.readings:
        for serial, name in reading.tools if reading.operation == operation and reading.in_force else ():
            if serial:
                found.setdefault(name, set()).add(serial)
    for stage in log.facts.stages:
        if stage.operation == operation and stage.in_force and stage.serial:
            found.setdefault(stage.instrument, set()).add(stage.serial)
    return found


def _calibration(log: LoadedLog, serial: str) -> str:
    """``calibrated 2025-11-03, due 2026-11-03``, as the register described the instrument last in this job."""
    described = [one for one in log.facts.instruments if one.serial == serial]
    if not described:
        return ""
    last = described[-1]
    dates = [f"{name} {day}" for name, day in (("calibrated", last.calibrated), ("due", last.due)) if day]
    return ", ".join([*dates, *(f"not fit: {warning}" for warning in last.warnings)])


def _joint_entries(log: LoadedLog, operation: str) -> Iterator[tuple[tuple[str, str], EntryText]]:
    """What was out of the ordinary in each stage of a joint."""
    stages: dict[tuple[str, int], list[StageFact]] = {}
    for fact in log.facts.stages:
        if fact.operation == operation:
            stages.setdefault((fact.joint, fact.stage), []).append(fact)
    for (joint, stage), facts in stages.items():
        counted = (
            (sum(fact.low for fact in facts), "tick LOW", "ticks LOW"),
            (sum(fact.high for fact in facts), "tick HIGH", "ticks HIGH"),
            (sum(fact.unticked for fact in facts), "tick cleared", "ticks cleared"),
            (sum(fact.loosened for fact in facts), "fastener loosened and tightened again", ""),
            (sum(fact.fasteners for fact in facts if fact.together and fact.in_force), "tick entered together",
             "ticks entered together"),
        )  # fmt: skip
        words = [count(number, one, many) for number, one, many in counted if number]
        if words:
            yield ("joint", f"{joint} {stage}"), EntryText(", ".join(words), facts[-1].seq)


def _window_entries(log: LoadedLog, step: Step) -> Iterator[tuple[tuple[str, str], EntryText]]:
    """The time that passed in each time window. Two differ if one of them was missed or is not known."""
    for run in window_runs(log.state, step):
        if run.end is None:
            continue
        taken = elapsed_between(log.state.spans, run.since, run.end)
        if not taken.known:
            verdict, words = "not known", "not known"
        else:
            late = run.window.high is not None and taken.high > run.window.high
            early = run.window.low is not None and taken.low < run.window.low and run.window.high is None
            verdict = "missed" if late or early else "kept"
            words = rounded_duration(taken.high)
        entry = EntryText(f"{words} (window {run.window.text}, {verdict})", run.end.seq, verdict)
        yield ("window", run.window.operation), entry


# --- entries of the whole job -------------------------------------------------------------------------

_Event = type[ev.Event]
_KINDS: Final[dict[_Event, str]] = {
    ev.FigureGiven: "figure",
    ev.TicksJudgedAgain: "joint",
    ev.ReadingsJudgedAgain: "reading",
    ev.StageBegunAgain: "joint",
    ev.FastenerRepaired: "repair",
    ev.FastenerFailureCleared: "repair",
    ev.NoteAdded: "note",
    ev.ComplaintReported: "complaint",
    ev.FindingRecorded: "cause",
    ev.FindingWithdrawn: "cause",
    ev.EntryCorrected: "correction",
    ev.ReworkStarted: "redone",
    ev.WrenchAdapterChanged: "adapter",
    ev.CheckUnticked: "check",
    ev.StateSet: "state",
    ev.EvidenceChanged: "state",
    ev.RegisterChanged: "record",
    ev.PinRefused: "record",
    ev.ClockWentBack: "record",
    OperationTakenOver: "record",
}
"""The events that are entries of their own, with the kind of the difference. Other events are in the facts."""


class LogRemark(Struct, frozen=True):
    """What one event says: its operation ("" for none), kind, text and number."""

    operation: str
    kind: str
    text: str
    seq: int


def logged_entries(log: LoadedLog) -> Iterator[LogRemark]:
    """The events of a build that a comparison shows word for word, with the operation in progress."""
    titles, in_progress = LogTitles(log.plan), ""
    for line in log.lines:
        event = known_event(line)
        match event:
            case ev.OperationStarted():
                in_progress = event.operation
            case ev.OperationFinished() | ev.OperationPaused():
                in_progress = ""
            case ev.CheckTicked() if event.answer == "no":
                yield LogRemark(event.operation, "check", f"{event.text}: answered no", line.seq)
            case ev.JobResumed() if event.other_register:
                yield LogRemark("", "record", f"other register: {event.other_register}", line.seq)
            case _:
                pass
        discarded = getattr(event, "discard", ())
        if event is not None and discarded:
            parts = ", ".join(titles.kit(name) for name in discarded)
            yield LogRemark(str(getattr(event, "operation", "")), "discard", f"thrown away: {parts}", line.seq)
        kind = None if event is None else _KINDS.get(type(event))
        if event is not None and kind is not None:
            yield LogRemark(_operation_of(event, in_progress), kind, _text(event, titles), line.seq)


def _operation_of(event: ev.Event, in_progress: str) -> str:
    named = getattr(event, "operation", None)
    return str(named) if named else in_progress if isinstance(event, ev.WrenchAdapterChanged) else ""


def _text(event: ev.Event, titles: LogTitles) -> str:
    match event:
        case ev.NoteAdded():
            return event.text
        case ev.EntryCorrected():  # the number of the wrong entry differs in every build
            return event_text(event, titles).replace(f"Entry {event.event} CORRECTED", "corrected")
        case _:
            return event_text(event, titles)


def only_here(entries: list[LogRemark], others: list[LogRemark]) -> list[LogRemark]:
    """The ``entries`` that the other build does not have. Each entry there answers for one here."""
    left = Counter((each.operation, each.kind, each.text) for each in others)
    found: list[LogRemark] = []
    for each in entries:
        key = (each.operation, each.kind, each.text)
        if left[key]:
            left[key] -= 1
        else:
            found.append(each)
    return found


def lubricants(log: LoadedLog) -> dict[str, EntryText]:
    """The lubricant on the threads of each joint of the build, as entered, or as the procedure states it."""
    found: dict[str, EntryText] = {}
    entered: dict[str, int] = {}
    for line in log.lines:
        event = known_event(line)
        if isinstance(event, ev.LubricantChanged):
            entered[event.joint] = line.seq
    for step in log.plan.steps.values():
        joint_id = step.operation.tighten.joint if step.operation.tighten is not None else ""
        joint = log.procedure.joints_by_id.get(joint_id)
        if joint is None or joint_id in found:
            continue
        used = log.state.lubricants.get(joint_id)
        name, factor = (joint.lubricant, joint.nut_factor) if used is None else (used.lubricant, used.nut_factor)
        words = name or "not stated"
        words += f", nut factor {factor}" if factor else ""
        words += "" if used is None else " (entered)"
        found[joint_id] = EntryText(words, entered.get(joint_id))
    return found
