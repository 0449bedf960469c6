"""From a log's lines to its facts, in one pass.

The archive boils down every log of a shop, a thousand events in a few milliseconds, so this one module
works on plain dicts and changes its own state as it goes; what comes out is frozen.
"""

from collections.abc import Callable, Iterable
from typing import Any

from msgspec import Struct

from benchflow.review.facts import (
    ChoiceFact,
    DeviationFact,
    Facts,
    InstrumentFact,
    LotFact,
    Moment,
    NoteFact,
    OperationFact,
    ReadingFact,
    SessionFact,
    SignatureFact,
    StageFact,
    TakenBackFact,
)
from benchflow.review.room import band, number, room
from benchflow.session.lines import Line
from benchflow.session.moment import format, parse


_WRITTEN_LENGTH = len("2026-03-01T18:30:00.000Z")
"""Times in the log's own form compare as text; whatever another writer wrote is put into it first."""


class NotASession(Exception):
    """The lines are whole, but no build: what is missing or not as its kind says, in words."""


def seconds_between(earlier: Moment, later: Moment) -> float:
    """By the monotonic clock where both come from one run of the program, else by the clock on the wall,
    which may have been set in between: never below zero."""
    if earlier.run and earlier.run == later.run:
        return max(0.0, (later.ms - earlier.ms) / 1000)
    return max(0.0, (parse(later.at) - parse(earlier.at)).total_seconds())


def digest(lines: Iterable[Line]) -> Facts:
    """The facts of a log, whose lines are verified already.

    Raises:
        NotASession: it does not begin with ``opened``, or an event lacks what its kind has to have.
    """
    work = _Digest()
    for line in lines:
        work.take(line)
    return work.facts()


class _Stage(Struct):
    """Ticks of one stage, instrument, person and day, while they are counted."""

    instrument: str
    first: Moment
    last: Moment
    fasteners: set[int]
    unticked: int = 0
    gap: float = 0.0
    bad: set[int] = set()
    measured: int = 0


_StageKey = tuple[int, str, str, str]  # stage, serial, by, day


class _Work(Struct):
    """One operation while it is followed. ``first_*`` index the lists of the whole session: what lies
    before them belongs to work that was taken back."""

    people: list[str] = []
    by: str = ""
    begun: Moment | None = None
    last: Moment | None = None
    finished: Moment | None = None
    active: float = 0.0
    pause: float = 0.0
    entries: int = 0
    checks: int = 0
    set_aside: int = 0
    redone: int = 0
    joint: str = ""
    stages: dict[_StageKey, _Stage] = {}
    last_tick: dict[int, Moment] = {}
    readings: dict[tuple[str, str], list[int]] = {}  # name, slot: places in the session's list
    lots: dict[str, int] = {}
    choices: dict[str, int] = {}
    signature: int | None = None
    deviations: dict[str, int] = {}


class _Digest:
    """The pass itself. Standing is kept as sets of places in the lists, written in at the end."""

    def __init__(self) -> None:
        self.opened: Line | None = None
        self.last: Line | None = None
        self.closed: Line | None = None
        self.opened_at = self.last_at = ""
        self.closed_at: str | None = None
        self.in_hand: str | None = None
        self.works: dict[str, _Work] = {}
        self.readings: list[dict[str, Any]] = []
        self.lots: list[dict[str, Any]] = []
        self.choices: list[dict[str, Any]] = []
        self.signatures: list[dict[str, Any]] = []
        self.deviations: list[dict[str, Any]] = []
        self.instruments: list[InstrumentFact] = []
        self.taken_back: list[TakenBackFact] = []
        self.notes: list[NoteFact] = []
        self.stages: list[StageFact] = []
        self.of_line: dict[int, tuple[str, str, str]] = {}  # seq: operation, name, slot ("" for a lot)
        self.clock_back = 0
        self.unknown = 0
        self.reopening = ""
        self.since = Moment("")  # when what is in hand was taken up

    def take(self, line: Line) -> None:
        data = line.data
        try:
            if self.opened is None:
                if line.kind != "opened":
                    raise NotASession(f"line 1 is {line.kind!r}: a session begins with 'opened'")
                self.opened = line
            clock = data.get("clock")
            at = line.at
            if len(at) != _WRITTEN_LENGTH or at[-1] != "Z" or at[10] != "T":
                at = format(parse(at))
            now = Moment(at, clock["run"], clock["ms"]) if clock else Moment(at)
            self.last, self.last_at = line, at
            self.opened_at = self.opened_at or at
            handler = _HANDLERS.get(line.kind)
            if handler is None:
                self.unknown += line.kind not in _SILENT
            else:
                handler(self, line, data, now)
        except (KeyError, TypeError, AttributeError) as wrong:
            raise NotASession(
                f"line {line.seq} ({line.kind}) is not as that kind of event has to be: {wrong!r}"
            ) from wrong

    # --- the course of an operation ---

    def _of(self, operation: str) -> _Work:
        work = self.works.get(operation)
        if work is None:
            work = self.works[operation] = _Work()
        return work

    def _touch(self, line: Line, operation: str, now: Moment) -> _Work:
        """An entry: the longest stretch without one is kept, and a signature given before is void."""
        work = self._of(operation)
        if work.last is not None:
            work.pause = max(work.pause, seconds_between(work.last, now))
        work.last = now
        work.signature = None
        work.entries += 1
        return work

    def taken_up(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        work = self._of(data["operation"])
        self.in_hand = data["operation"]
        work.by = line.by
        if line.by not in work.people:
            work.people.append(line.by)
        if work.begun is None:
            work.begun = now
        elif work.last is not None:
            work.pause = max(work.pause, seconds_between(work.last, now))
        work.last = now
        self.since = now

    def _laid_down(self, work: _Work, now: Moment) -> None:
        if work.last is not None:
            work.pause = max(work.pause, seconds_between(work.last, now))
        work.last = now
        if self.in_hand is not None and self._of(self.in_hand) is work:
            work.active += seconds_between(self.since, now)
            self.in_hand = None

    def set_aside(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        work = self._of(data["operation"])
        self._laid_down(work, now)
        work.set_aside += 1

    def finished(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        work = self._of(data["operation"])
        self._laid_down(work, now)
        work.finished, work.by = now, line.by

    def reopened(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self.reopening = data["reason"]

    def taken_apart(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self._undone(line, now, data["operation"], "reopened", self.reopening)

    def remedied(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        work = self._touch(line, data["operation"], now)
        for key in [key for key in work.readings if key[0] == data["name"]]:
            del work.readings[key]
        redo = data.get("redo", ())
        for operation in redo:
            if self._of(operation).finished is not None:
                self._undone(line, now, operation, "remedy", data["do"])
        if redo:
            self._laid_down(work, now)

    def _undone(self, line: Line, now: Moment, operation: str, cause: Any, reason: str) -> None:
        work = self._of(operation)
        self._close_stages(operation, work, standing=False)
        self.taken_back.append(TakenBackFact(line.seq, now.at, line.by, operation, cause, reason))
        self.works[operation] = _Work(
            redone=work.redone + 1, people=work.people, by=work.by, set_aside=work.set_aside
        )

    # --- entries ---

    def recorded(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self._touch(line, data["operation"], now)
        self._reading(line, now, data, data["operation"], data["name"], data["reading"])

    def worked(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self._reading(line, now, data, data["operation"], data["name"], "")

    def corrected(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        of = self.of_line.get(data["event"])
        if of is None:
            return
        operation, name, slot = of
        if data.get("quantity") is not None:
            self._touch(line, operation, now)
            places = self._of(operation).readings.get((name, slot))
            before = self.readings[places[-1]] if places else {}
            kept = {key: before[key] for key in ("limit", "decision", "instrument", "serial") if key in before}
            self._reading(line, now, {**kept, **data}, operation, name, slot, corrected=True)
        elif data.get("lot") is not None:
            self._touch(line, operation, now)
            self._lot(line, now, operation, name, data["lot"])

    def _reading(
        self, line: Line, now: Moment, data: dict[str, Any], operation: str, name: str, slot: str, *,
        corrected: bool = False,
    ) -> None:
        quantity = data["quantity"]
        value, unit = quantity["value"], quantity["unit"]
        limit = data.get("limit") or ""
        within = band(limit, unit)
        exact = number(value)
        places = self._of(operation).readings.setdefault((name, slot), [])
        places.append(len(self.readings))
        uncertainty = data.get("uncertainty")
        self.readings.append({
            "seq": line.seq, "at": now.at, "by": line.by, "operation": operation, "name": name, "slot": slot,
            "value": value, "unit": unit, "entered": quantity["entered"], "verdict": data["verdict"],
            "side": data.get("side") or "", "limit": limit, "decision": data.get("decision") or "simple",
            "instrument": data.get("instrument") or "", "serial": data.get("serial") or "",
            "uncertainty": uncertainty["value"] if uncertainty else "",
            "conformity": data.get("conformity") or "", "attempt": len(places), "corrected": corrected,
            "share": None if exact is None else room(exact, within), "two_ended": within.two_ended,
        })  # fmt: skip
        self.of_line[line.seq] = (operation, name, slot)

    def ticked(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        operation = data["operation"]
        work = self._touch(line, operation, now)
        stage, fastener = data["stage"], data["fastener"]
        work.joint = data["joint"]
        before = work.last_tick.get(stage)
        gap = seconds_between(before, now) if before is not None else 0.0
        work.last_tick[stage] = now
        key = (stage, data.get("serial") or "", line.by, now.at[:10])
        group = work.stages.get(key)
        if group is None:
            group = _Stage(data.get("instrument") or "", now, now, set(), bad=set())
            work.stages[key] = group
        group.last = now
        group.gap = max(group.gap, gap)
        group.fasteners.add(fastener)
        if data.get("quantity") is not None:
            group.measured += 1
        if data.get("verdict") in ("out", "not-proven"):
            group.bad.add(fastener)
        else:
            group.bad.discard(fastener)

    def unticked(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        work = self._touch(line, data["operation"], now)
        for key, group in work.stages.items():
            if key[0] == data["stage"] and data["fastener"] in group.fasteners:
                group.fasteners.discard(data["fastener"])
                group.bad.discard(data["fastener"])
                group.unticked += 1

    def checked(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self._touch(line, data["operation"], now).checks += 1

    def unchecked(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self._touch(line, data["operation"], now).checks -= 1

    def chosen(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        work = self._touch(line, data["operation"], now)
        work.choices[data["name"]] = len(self.choices)
        self.choices.append({
            "seq": line.seq, "at": now.at, "by": line.by, "operation": data["operation"],
            "name": data["name"], "take": data["take"],
        })  # fmt: skip

    def lot(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self._touch(line, data["operation"], now)
        self._lot(line, now, data["operation"], data["consumable"], data["lot"])

    def _lot(self, line: Line, now: Moment, operation: str, consumable: str, lot: str) -> None:
        self._of(operation).lots[consumable] = len(self.lots)
        self.of_line[line.seq] = (operation, consumable, "")
        self.lots.append({
            "seq": line.seq, "at": now.at, "by": line.by, "operation": operation,
            "consumable": consumable, "lot": lot,
        })  # fmt: skip

    # --- people ---

    def signed(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        work = self._of(data["operation"])
        work.signature, work.last = len(self.signatures), now
        self.signatures.append({
            "seq": line.seq, "at": now.at, "by": line.by, "operation": data["operation"],
            "role": data["role"], "self_signed": data["self_signed"],
        })  # fmt: skip

    def deviated(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self._of(data["operation"]).deviations[data["about"]] = len(self.deviations)
        self.deviations.append({
            "seq": line.seq, "at": now.at, "by": line.by, "operation": data["operation"],
            "about": data["about"], "reason": data["reason"],
        })  # fmt: skip

    def instrument(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self.instruments.append(
            InstrumentFact(
                line.seq, now.at, line.by, data["need"], data["serial"], data.get("title", ""),
                data.get("range", ""), data.get("uncertainty", ""), data.get("k", ""),
                data.get("calibrated") or "", data.get("due") or "", data.get("uses"),
                tuple(data.get("warnings", ())),
            )  # fmt: skip
        )

    def noted(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self.notes.append(NoteFact(line.seq, now.at, line.by, data.get("operation") or "", data["text"]))

    def went_back(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self.clock_back += 1

    def closing(self, line: Line, data: dict[str, Any], now: Moment) -> None:
        self.closed, self.closed_at = line, now.at

    # --- what comes out ---

    def _close_stages(self, operation: str, work: _Work, *, standing: bool) -> None:
        for (stage, serial, by, day), group in work.stages.items():
            self.stages.append(
                StageFact(
                    operation, work.joint, stage, work.redone, group.instrument, serial, by, day,
                    group.first.at, group.last.at, len(group.fasteners), group.unticked, group.gap,
                    seconds_between(group.first, group.last), len(group.bad), group.measured, standing,
                )  # fmt: skip
            )

    def facts(self) -> Facts:
        """Everything taken in so far, with what stands marked."""
        if self.opened is None or self.last is None:
            raise NotASession("it is empty: a session begins with 'opened'")
        readings: set[int] = set()
        lots: set[int] = set()
        choices: set[int] = set()
        signatures: set[int] = set()
        deviations: set[int] = set()
        for operation, work in self.works.items():
            self._close_stages(operation, work, standing=True)
            readings.update(places[-1] for places in work.readings.values())
            lots.update(work.lots.values())
            choices.update(work.choices.values())
            deviations.update(work.deviations.values())
            if work.signature is not None:
                signatures.add(work.signature)
        return Facts(
            session=self._session(self.opened, self.last),
            operations=tuple(_operation(name, work) for name, work in self.works.items()),
            readings=tuple(ReadingFact(**r, standing=i in readings) for i, r in enumerate(self.readings)),
            stages=tuple(self.stages),
            lots=tuple(LotFact(**lot, standing=i in lots) for i, lot in enumerate(self.lots)),
            choices=tuple(ChoiceFact(**c, standing=i in choices) for i, c in enumerate(self.choices)),
            signatures=tuple(
                SignatureFact(**s, standing=i in signatures) for i, s in enumerate(self.signatures)
            ),
            deviations=tuple(
                DeviationFact(**d, standing=i in deviations) for i, d in enumerate(self.deviations)
            ),
            instruments=tuple(self.instruments),
            taken_back=tuple(self.taken_back),
            notes=tuple(self.notes),
        )

    def _session(self, opened: Line, last: Line) -> SessionFact:
        data = opened.data
        closing = self.closed.data if self.closed is not None else {}
        try:
            return SessionFact(
                session=opened.hash, unit=data["unit"], by=opened.by, opened_at=self.opened_at,
                closed_at=self.closed_at, last_at=self.last_at,
                events=last.seq, head=last.hash, file=data["file"], procedure=data["procedure_sha256"],
                options=data["options"], start=data["start"], version=data["version"],
                simulated=data.get("simulated", False), shop=data.get("shop"),
                clock_back=self.clock_back, left_open=tuple(closing.get("open_operations", ())),
                why_open=closing.get("reason", ""), unknown=self.unknown,
            )  # fmt: skip
        except KeyError as missing:
            raise NotASession(f"line 1 (opened) lacks {missing}") from missing


def _operation(name: str, work: _Work) -> OperationFact:
    span = 0.0
    if work.begun is not None and work.finished is not None:
        span = seconds_between(work.begun, work.finished)
    return OperationFact(
        operation=name, by=work.by, people=tuple(work.people), begun=work.begun, finished=work.finished,
        active=work.active, span=span, pause=work.pause, entries=work.entries, checks=work.checks,
        set_aside=work.set_aside, redone=work.redone,
    )  # fmt: skip


_HANDLERS: dict[str, Callable[[_Digest, Line, dict[str, Any], Moment], None]] = {
    "ticked": _Digest.ticked, "recorded": _Digest.recorded, "worked": _Digest.worked,
    "taken-up": _Digest.taken_up, "finished": _Digest.finished, "set-aside": _Digest.set_aside,
    "checked": _Digest.checked, "unchecked": _Digest.unchecked, "unticked": _Digest.unticked,
    "lot": _Digest.lot, "chosen": _Digest.chosen, "signed": _Digest.signed, "deviated": _Digest.deviated,
    "corrected": _Digest.corrected, "remedied": _Digest.remedied, "reopened": _Digest.reopened,
    "taken-back": _Digest.taken_apart, "noted": _Digest.noted,
    "instrument-used": _Digest.instrument, "clock-went-back": _Digest.went_back,
    "closed": _Digest.closing,
}  # fmt: skip
_SILENT = frozenset({"opened", "moved", "stands"})
"""Kinds that tell nothing here: how the assembly stood is for the replay."""
