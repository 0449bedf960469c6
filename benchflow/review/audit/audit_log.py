"""Audits a log: every intent in it is decided again, from the log alone, and compared with the events that it has."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from hashlib import sha256
from itertools import zip_longest
from typing import Any

import msgspec
from msgspec.structs import replace

from benchflow import __version__
from benchflow.base.errors import BenchflowError
from benchflow.procedure.model import Procedure
from benchflow.review.audit.audit_report import (
    ALWAYS_WRONG,
    AuditFinding,
    AuditKind,
    AuditReport,
    kind_of_refusal,
    known_to_rules,
)
from benchflow.review.audit.intent_groups import IntentGroup, clock_findings, group_findings, intent_groups, own_data
from benchflow.review.audit.old_log_audit import old_log_findings
from benchflow.review.audit.people_audit import digest_findings, leading_findings, register_notes, shop_of_log
from benchflow.review.audit.recorded_tools import RecordedUses
from benchflow.session.context import Context, Decision, Entry
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.dispatch import decide, refused_pin_entries
from benchflow.session.intents.open_and_close import open_job
from benchflow.session.intents.parsing import read_intent
from benchflow.session.log.line_format import Line
from benchflow.session.log.log_folder import TEARDOWN_OPENED
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.refusal import Refusal
from benchflow.session.state import events as ev
from benchflow.session.state.event_basics import logged_fields, without_defaults
from benchflow.session.state.fold import begin, fold
from benchflow.session.state.state import State

CONTRADICTORY = (msgspec.ValidationError, BenchflowError, LookupError, TypeError, ValueError, ArithmeticError,
                 AttributeError, AssertionError, RecursionError)  # fmt: skip
"""What the rules raise about a state that the program cannot have made: only a changed log leads to it."""

_TEXTS = {"limit", "acceptance", "filled", "text"}
"""Fields of events that are printed text. Another version may word them differently."""

_FIRST_RULES = 1
"""The number of the rules of the first version that logged intents."""


def audit_log(lines: Sequence[Line], read_procedure: ProcedureReader) -> AuditReport:
    """Decide every intent of a log again. ``lines`` are the verified lines of a session, at least one.

    Raises:
        BenchflowError: the first line is not the start of a job, or a newer version wrote the log.
    """
    try:
        opened = msgspec.convert(lines[0].data, ev.JobOpened)
    except msgspec.ValidationError as error:
        if lines[0].kind == TEARDOWN_OPENED:
            raise BenchflowError(
                "The file is the log of a teardown. It has no procedure, so there is nothing to audit. Check that it "
                "is complete and unchanged with: benchflow verify"
            ) from error
        raise BenchflowError(f"The first line of the log is not the start of a job: {error}.") from error
    if opened.format > ev.FORMAT:
        raise BenchflowError(
            f"The log has format {opened.format}. This version audits formats up to {ev.FORMAT}. Use a newer version."
        )
    findings = list(_procedure_findings(opened))
    groups: Sequence[IntentGroup] = ()
    try:
        procedure = read_procedure(opened.procedure)
    except BenchflowError as error:
        findings.append(AuditFinding(1, 1, "procedure", f"Line 1: {error}", wrong=opened.version == __version__))
        return AuditReport(len(lines), 0, opened.format, opened.rules, tuple(findings))
    if opened.format < ev.FORMAT:
        findings += old_log_findings(lines, procedure, opened.format)
    else:
        groups = intent_groups(lines)
        findings += group_findings(groups)
        findings += clock_findings(groups, opened.simulated)
        findings += _IntentAudit(procedure, opened).findings(groups)
    findings.sort(key=lambda finding: finding.line)
    intents_decided = sum(group.sent is not None for group in groups)
    return AuditReport(len(lines), intents_decided, opened.format, opened.rules, tuple(findings))


def _procedure_findings(opened: ev.JobOpened) -> Iterator[AuditFinding]:
    digest = sha256(opened.procedure.encode("utf-8", "surrogatepass")).hexdigest()
    if digest != opened.procedure_sha256:
        text = (
            f"Line 1: the text of the procedure has the SHA-256 {digest[:16]}…, but the line states "
            f"{opened.procedure_sha256[:16]}…. The text was changed."
        )
        yield AuditFinding(1, 1, "procedure", text)


class _IntentAudit:
    """The audit of the intents of one log: the state so far, and the rules and version of the present start."""

    def __init__(self, procedure: Procedure, opened: ev.JobOpened) -> None:
        self._procedure, self._opened = procedure, opened
        self._rules, self._version = opened.rules, opened.version
        self._state: State | None = None

    def findings(self, groups: Sequence[IntentGroup]) -> Iterator[AuditFinding]:
        """What is wrong, group by group. It ends at a line that cannot be read as an event."""
        for group in groups:
            try:
                yield from self._group_findings(group)
            except CONTRADICTORY as error:
                seq = group.lines[0].seq
                text = f"Line {seq}: the lines of intent {group.number} cannot be read: {error}. The audit ends here."
                yield AuditFinding(seq, group.number, "group", text)
                return

    def _group_findings(self, group: IntentGroup) -> Iterator[AuditFinding]:
        for line in group.leading if self._state is not None else ():
            if line.kind == "resumed":
                self._rules, self._version = line.data["rules"], line.data["version"]
                yield from self._version_findings(line, group)
        if self._state is None:
            yield from self._version_findings(group.lines[0], group)
            yield from digest_findings(group.lines[0].seq, group.number, self._opened)
            yield from self._intent_findings(group)
            self._state = begin(group.lines[0], self._procedure)
            self._fold(group.lines[1:])
            return
        before = self._state
        self._fold(group.leading)
        yield from leading_findings(before, self._state, group)
        yield from register_notes(group)
        if group.own:
            yield from self._intent_findings(group)
            self._fold(group.own)

    def _fold(self, lines: Sequence[Line]) -> None:
        assert self._state is not None
        for line in lines:
            if line.kind not in ev.EVENT_TYPES:
                raise BenchflowError(f"line {line.seq} has an unknown kind of event ({line.kind[:40]})")
            self._state = fold(self._state, line)

    def _version_findings(self, line: Line, group: IntentGroup) -> Iterator[AuditFinding]:
        rules, log_format = line.data.get("rules"), line.data.get("format")
        if log_format != ev.FORMAT:
            text = f"Line {line.seq} states the format {log_format}, but the log has format {ev.FORMAT}."
            yield AuditFinding(line.seq, group.number, "procedure", text)
        if type(rules) is not int or rules < _FIRST_RULES:
            text = f"Line {line.seq} states the rules {rules}. No version with this format had them."
            yield AuditFinding(line.seq, group.number, "procedure", text)
            self._rules = ev.RULES
        elif rules != ev.RULES:
            age = "older" if rules < ev.RULES else "newer"
            text = (
                f"Line {line.seq}: from here on the {age} rules {rules} applied; these are rules {ev.RULES}. Only "
                "order, interference and missing evidence count as wrong."
            )
            yield AuditFinding(line.seq, group.number, "procedure", text, wrong=False)

    def _intent_findings(self, group: IntentGroup) -> Iterator[AuditFinding]:
        if group.sent is None:
            return  # already reported by `group_findings`
        intent = read_intent(group.sent)
        name = f"intent {group.number} ({str(group.sent.get('intent'))[:40]})"
        if isinstance(intent, Refusal):
            yield self._finding(group, "entry", f"{name} cannot be read: {_messages(intent)}")
            return
        try:
            decision = self._decide(group, intent)
        except CONTRADICTORY as error:
            yield self._finding(group, "entry", f"{name} cannot be decided: {type(error).__name__}: {error}")
            return
        if isinstance(decision, Refusal):
            codes = tuple(dict.fromkeys(reason.code for reason in decision.refused))
            starts = isinstance(intent, intents.StartOperation)
            kind = kind_of_refusal(known_to_rules(decision.refused, self._rules) if starts else decision.refused)
            yield self._finding(group, kind, f"{name} would be refused: {_messages(decision)}", codes)
            return
        for line, text in _differences(decision, group, same_version=self._version == __version__):
            yield self._finding(group, "entry", f"{name}: {text}", line=line)

    def _decide(self, group: IntentGroup, intent: intents.Intent) -> Decision:
        events = [event for event in map(ev.event_of, group.own) if event is not None]
        proven = any(getattr(event, "proven", "") == "pin" for event in events)
        refused = len(events) == 1 and isinstance(events[0], ev.PinRefused)
        if hasattr(intent, "pin") and (proven or refused):
            intent = replace(intent, pin="as logged")
        if self._state is None:
            shop = shop_of_log(self._opened.register, self._opened.people, "" if intent.by else group.lines[0].by)
        else:
            shop = shop_of_log(self._state.register, self._state.people)
        day = _earliest_day(group.now.at)
        picture = next((event.facts for event in events if isinstance(event, ev.PictureAttached)), None)
        context = Context(group.now, shop, lambda person, pin: proven, RecordedUses(events, day), day, picture=picture)
        if self._state is None:
            if not isinstance(intent, intents.OpenJob):
                raise BenchflowError("the first intent must be open")
            return open_job(self._procedure, intent, context, replace(self._opened, options={}, start={}, unit=""))
        decision = decide(self._state, intent, context)
        if refused and isinstance(decision, Refusal):
            return refused_pin_entries(intent, decision) or decision
        return decision

    def _finding(
        self, group: IntentGroup, kind: AuditKind, text: str, codes: tuple[Any, ...] = (), line: int = 0
    ) -> AuditFinding:
        seq = line or (group.own or group.lines)[0].seq
        wrong = self._rules == ev.RULES or kind in ALWAYS_WRONG
        return AuditFinding(seq, group.number, kind, f"Line {seq}: {text}", codes, wrong)


def _earliest_day(at: str) -> date:
    """The local date in the time zone where it is earliest. The log does not have the zone of the bench."""
    return (parse_timestamp(at) - timedelta(hours=12)).date()


def _messages(refusal: Refusal) -> str:
    return " ".join(reason.message for reason in refusal.refused)


def _differences(decided: tuple[Entry, ...], group: IntentGroup, *, same_version: bool) -> Iterator[tuple[int, str]]:
    """Where the events decided again differ from those in the log: the line and what is different."""
    last = group.lines[-1].seq
    for entry, line in zip_longest(decided, group.own):
        if line is None:
            yield last, f"it also makes the event {_kind(entry.event)}, which the log does not have."
        elif entry is None:
            yield line.seq, f"it does not make the event {line.kind}."
        elif _kind(entry.event) != line.kind:
            yield line.seq, f"it makes the event {_kind(entry.event)}, but the log has {line.kind}."
        else:
            yield from ((line.seq, text) for text in _field_differences(entry, line, same_version=same_version))


def _field_differences(entry: Entry, line: Line, *, same_version: bool) -> Iterator[str]:
    if entry.by != line.by:
        yield f"it is by {entry.by}, but the log has {line.by}."
    wanted, found = logged_fields(entry.event), without_defaults(own_data(line), type(entry.event))
    for key in dict.fromkeys((*wanted, *found)):
        if wanted.get(key) == found.get(key) or (key in _TEXTS and not same_version):
            continue
        logged, decided = _shown(found, key), _shown(wanted, key)
        yield f"{key} of the event {line.kind} is {logged} in the log, but {decided} by the rules."


def _shown(data: dict[str, Any], key: str) -> str:
    value = data.get(key)
    if value is None:
        return "missing" if key not in data else "null"
    if isinstance(value, dict) and "entered" in value:
        return f"{value.get('value')} {value.get('unit')} ({value['entered']})"
    text = value if isinstance(value, str) else msgspec.json.encode(value).decode()
    return text if len(text) <= 80 else f"{text[:79]}…"


def _kind(event: ev.Event) -> str:
    return str(event.__struct_config__.tag)
