"""The lines of a log by the intent that wrote them, and what is wrong with the numbers and the times of the lines."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, TypeGuard

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.review.audit.audit_report import AuditFinding, AuditKind
from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.state.clock import Now

UNASKED = ("clock-went-back", "resumed", "register-changed")
"""Kinds of events that come before those of an intent."""

_ADDED = ("clock", "intent", "of", "sent")
"""Keys of a line that are not of its event."""


class IntentGroup(Struct, frozen=True):
    """The lines of one intent. ``leading`` happened without it: a start of the program, a change of the register.

    ``sent`` is the intent as logged; ``None`` for the start of the program, which no intent asked for.
    """

    number: int
    leading: tuple[Line, ...]
    own: tuple[Line, ...]
    sent: dict[str, Any] | None

    @property
    def lines(self) -> tuple[Line, ...]:
        """All lines of the group."""
        return (*self.leading, *self.own)

    @property
    def now(self) -> Now:
        """The time of the intent, by the clocks of its first line."""
        first = self.lines[0]
        clock = first.data.get("clock")
        return Now(first.at, clock["boot"], clock["ms"]) if _is_clock(clock) else Now(first.at)

    @property
    def is_start(self) -> bool:
        """True if the program was started again."""
        return not self.own and any(line.kind == "resumed" for line in self.leading)


def intent_groups(lines: Sequence[Line]) -> list[IntentGroup]:
    """The groups in the order of the log. Lines without the number of an intent have number 0, each its own group."""
    found: list[IntentGroup] = []
    for _, each in groupby(lines, key=lambda line: _number(line) or -line.seq):
        members = tuple(each)
        cut = next((place for place, line in enumerate(members) if line.kind not in UNASKED), len(members))
        sent = next((line.data["sent"] for line in members if "sent" in line.data), None)
        found.append(IntentGroup(_number(members[0]), members[:cut], members[cut:], sent))
    return found


def own_data(line: Line) -> dict[str, Any]:
    """The fields of the event of a line."""
    return {key: value for key, value in line.data.items() if key not in _ADDED}


def group_findings(groups: Sequence[IntentGroup]) -> Iterator[AuditFinding]:
    """What is wrong with the numbers of intents, and lines that no intent made."""
    expected = 0
    for group in groups:
        first = group.lines[0]
        if not group.number:
            yield _finding(group, "belongs to no intent. The program writes no such line")
            continue
        expected += 1
        if group.number != expected:
            missing = group.number - expected
            what = "an entry is" if missing == 1 else f"{missing} entries are"
            gone = f"follows a gap: {what} missing before it (their numbers go from {expected - 1} to {group.number})"
            back = f"has the entry number {group.number}, but the number {expected} is next"
            yield _finding(group, gone if missing > 0 else back)
            expected = group.number
        if any(line.data.get("of") != len(group.lines) for line in group.lines):
            text = f"states that intent {group.number} wrote {first.data.get('of')} lines, but the log has "
            yield _finding(group, f"{text}{len(group.lines)}")
        if group.sent is None and not group.is_start:
            yield _finding(group, f"belongs to intent {group.number}, but the log does not have the intent")
        places = [place for place, line in enumerate(group.lines) if "sent" in line.data]
        if places and places not in ([0], [len(group.leading)]):
            yield _finding(group, "has the intent at another line than its first")
        if not group.own and not group.is_start:
            yield _finding(group, f"is all that intent {group.number} wrote, but no intent writes only that")
        if group.is_start and group.sent is not None:
            yield _finding(group, "is a start of the program, but has an intent")


def clock_findings(groups: Sequence[IntentGroup], simulated: bool) -> Iterator[AuditFinding]:
    """What is wrong with the times of the lines."""
    boot, before = "", None
    for group in groups:
        for line in group.lines:
            problem = _clock_problem(line, group, simulated)
            if problem:
                yield AuditFinding(line.seq, group.number, "time", f"Line {line.seq} {problem}.")
            if line.kind in ("opened", "resumed"):
                boot = str(line.data.get("boot", ""))
        now = group.now
        if now.boot and not boot.startswith(now.boot):
            text = f"was written on another start of the machine ({now.boot}) than the program ({boot[:8] or 'none'})"
            yield _finding(group, text, "time")
        elif boot and not simulated and not now.boot:
            yield _finding(group, "has no boot clock", "time")
        if before is not None and before.boot and before.boot == now.boot and now.ms < before.ms:
            text = f"has boot clock {now.ms} ms, before {before.ms} ms of the line before. A boot clock never goes back"
            yield _finding(group, text, "time")
        before = now


def _clock_problem(line: Line, group: IntentGroup, simulated: bool) -> str:
    """What is wrong with the time of a line, as a clause; "" if nothing is."""
    try:
        parse_timestamp(line.at)
    except BenchflowError:
        return "has no valid time"
    clock, first = line.data.get("clock"), group.lines[0]
    if line.at != first.at or clock != first.data.get("clock"):
        return f"has another time than the other lines of intent {group.number}"
    if clock is None:
        return ""
    if simulated:
        return "has a boot clock, but the job is simulated"
    return "" if _is_clock(clock) else "has no valid boot clock"


def _is_clock(clock: Any) -> TypeGuard[dict[str, Any]]:
    if not isinstance(clock, dict) or set(clock) != {"boot", "ms"}:
        return False
    return isinstance(clock["boot"], str) and type(clock["ms"]) is int


def _finding(group: IntentGroup, clause: str, kind: AuditKind = "group") -> AuditFinding:
    seq = group.lines[0].seq
    return AuditFinding(seq, group.number, kind, f"Line {seq} {clause}.")


def _number(line: Line) -> int:
    number = line.data.get("intent")
    return number if type(number) is int and number > 0 else 0
