"""From a log's lines to its facts, in one pass: a small function a kind of event.

What stands follows :mod:`benchflow.session.state.fold`. The archive boils down every log of a shop, a thousand
events in a few milliseconds, so this works on the lines' plain dicts.
"""

from collections.abc import Callable, Iterable
from typing import Any

from benchflow.review.log.facts import Facts, InstrumentFact, Moment, NoteFact
from benchflow.review.log.gathering import Gathered, NotASession, Ticks, Work, seconds_between
from benchflow.review.log.margin import band, number, room
from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import format, parse
from benchflow.session.state.events import EVENT_TYPES

__all__ = ["NotASession", "digest", "seconds_between"]

_WRITTEN_LENGTH = len("2026-03-01T18:30:00.000Z")
"""Times in the log's own form compare as text; whatever another writer wrote is put into it first."""


def digest(lines: Iterable[Line]) -> Facts:
    """The facts of a log, whose lines are verified already.

    Raises:
        NotASession: it does not begin with ``opened``, or an event lacks what its kind has to have.
    """
    told = Gathered()
    for line in lines:
        try:
            _take(told, line)
        except (KeyError, TypeError, AttributeError) as wrong:
            raise NotASession(
                f"line {line.seq} ({line.kind}) is not as that kind of event has to be: {wrong!r}"
            ) from wrong
    return told.facts()


def _take(told: Gathered, line: Line) -> None:
    at = line.at
    if len(at) != _WRITTEN_LENGTH or at[-1] != "Z" or at[10] != "T":
        at = format(parse(at))
    if told.opened is None:
        if line.kind != "opened":
            raise NotASession(f"line 1 is {line.kind!r}: a session begins with 'opened'")
        told.opened, told.opened_at = line, at
    told.last, told.last_at = line, at
    clock = line.data.get("clock")
    handler = _HANDLERS.get(line.kind)
    if handler is not None:
        handler(told, line, line.data, Moment(at, clock["run"], clock["ms"]) if clock else Moment(at))
    elif line.kind not in _KNOWN_KINDS:
        told.unknown += 1


Data = dict[str, Any]

# --- the course of an operation ---------------------------------------------------------------------


def _started(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    work = told.of(data["operation"])
    told.in_progress, told.since = data["operation"], now
    work.by = line.by
    if line.by not in work.people:
        work.people.append(line.by)
    if work.begun is None:
        work.begun = work.last = now
    else:
        work.wait_until(now)


def _paused(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.lay_down(data["operation"], now).paused += 1


def _finished(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    work = told.lay_down(data["operation"], now)
    work.finished, work.by = now, line.by


def _rework_started(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.reopening = data["reason"]


def _undone(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.undo(line, now, data["operation"], "rework", told.reopening)


def _remedied(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    work = told.touch(data["operation"], now)
    for key in [key for key in work.readings if key[0] == data["name"]]:
        del work.readings[key]
    redo = data.get("redo", ())
    for operation in redo:
        if told.of(operation).finished is not None:
            told.undo(line, now, operation, "remedy", data["do"])
    if redo:
        told.lay_down(data["operation"], now)


# --- entries ----------------------------------------------------------------------------------------


def _recorded(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.touch(data["operation"], now)
    _reading(told, line, data, now, (data["operation"], data["name"], data["reading"]))


def _worked(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    _reading(told, line, data, now, (data["operation"], data["name"], ""))


def _corrected(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    of = told.of_line.get(data["event"])
    if of is None:
        _corrected_tick(told, data, now)
        return
    operation, name, slot = of
    if data.get("quantity") is not None:
        attempts = told.touch(operation, now).readings.get((name, slot))
        before = told.readings[attempts[-1]] if attempts else {}
        kept: Data = {key: before[key] for key in _KEPT if key in before}
        _reading(told, line, {**kept, **data}, now, of, corrected=True)
    elif data.get("lot") is not None:
        told.touch(operation, now)
        _put_lot(told, line, now, (operation, name), data["lot"])


def _corrected_tick(told: Gathered, data: Data, now: Moment) -> None:
    of = told.of_tick.get(data["event"])
    if of is not None:
        operation, stage, fastener = of
        for key, ticks in told.touch(operation, now).stages.items():
            if key[0] == stage and fastener in ticks.fasteners:
                _judged(ticks, fastener, data.get("verdict"))


_KEPT = ("limit", "decision", "instrument", "serial")
"""What a correction does not say, and so takes over from the reading that it puts right."""


def _reading(
    told: Gathered, line: Line, data: Data, now: Moment, of: tuple[str, str, str], corrected: bool = False
) -> None:
    operation, name, slot = of
    quantity = data["quantity"]
    value, unit = quantity["value"], quantity["unit"]
    limit = data.get("limit") or ""
    within = band(limit, unit)
    exact = number(value)
    attempts = told.of(operation).readings.setdefault((name, slot), [])
    attempts.append(len(told.readings))
    uncertainty = data.get("uncertainty")
    told.of_line[line.seq] = of
    told.readings.append({
        "seq": line.seq, "at": now.at, "by": line.by, "operation": operation, "name": name, "slot": slot,
        "value": value, "unit": unit, "entered": quantity["entered"], "verdict": data["verdict"],
        "side": data.get("side") or "", "limit": limit, "decision": data.get("decision") or "simple",
        "instrument": data.get("instrument") or "", "serial": data.get("serial") or "",
        "uncertainty": uncertainty["value"] if uncertainty else "",
        "conformity": data.get("conformity") or "", "attempt": len(attempts), "corrected": corrected,
        "filled": data.get("filled") or "",
        "share": None if exact is None else room(exact, within), "two_ended": within.two_ended,
    })  # fmt: skip


def _ticked(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    work = told.touch(data["operation"], now)
    stage = data["stage"]
    work.joint = data["joint"]
    before = work.last_tick.get(stage)
    work.last_tick[stage] = now
    gap = 0.0 if before is None else seconds_between(before, now)
    _count(work, line, data, now, gap, (data.get("instrument") or "", data.get("serial") or ""), stretch=False)
    if data.get("stretch") is not None:
        tool = (data.get("stretch_instrument") or "", data.get("stretch_serial") or "")
        _count(work, line, data, now, gap, tool, stretch=True)
    if data.get("quantity") is not None:
        told.of_tick[line.seq] = (data["operation"], stage, data["fastener"])


def _count(
    work: Work, line: Line, data: Data, now: Moment, gap: float, tool: tuple[str, str], *, stretch: bool
) -> None:
    key = (data["stage"], tool[1], line.by, now.at[:10], stretch)
    ticks = work.stages.get(key)
    if ticks is None:
        ticks = work.stages[key] = Ticks(line.seq, tool[0], now, now, set(), set())
    ticks.last = now
    if gap > ticks.gap:
        ticks.gap, ticks.gap_seq = gap, line.seq
    ticks.fasteners.add(data["fastener"])
    if data.get("quantity") is not None:
        ticks.measured += 1
    _judged(ticks, data["fastener"], data.get("verdict"))


def _judged(ticks: Ticks, fastener: int, verdict: str | None) -> None:
    if verdict in ("out", "not-proven"):
        ticks.bad.add(fastener)
    else:
        ticks.bad.discard(fastener)


def _unticked(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    for key, ticks in told.touch(data["operation"], now).stages.items():
        if key[0] == data["stage"] and data["fastener"] in ticks.fasteners:
            ticks.fasteners.discard(data["fastener"])
            ticks.bad.discard(data["fastener"])
            ticks.unticked += 1


def _drawn_down(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.touch(data["operation"], now).joint = data["joint"]


def _checked(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.touch(data["operation"], now).checks += 1


def _unchecked(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.touch(data["operation"], now).checks -= 1


def _chosen(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.touch(data["operation"], now).choices[data["name"]] = len(told.choices)
    told.choices.append(_said(line, now, operation=data["operation"], name=data["name"], take=data["take"]))


def _lot(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.touch(data["operation"], now)
    _put_lot(told, line, now, (data["operation"], data["consumable"]), data["lot"])


def _put_lot(told: Gathered, line: Line, now: Moment, of: tuple[str, str], lot: str) -> None:
    operation, consumable = of
    told.of(operation).lots[consumable] = len(told.lots)
    told.of_line[line.seq] = (operation, consumable, "")
    told.lots.append(_said(line, now, operation=operation, consumable=consumable, lot=lot))


def _said(line: Line, now: Moment, **fields: Any) -> Data:
    return {"seq": line.seq, "at": now.at, "by": line.by, **fields}


# --- people, and the session itself -------------------------------------------------------------------


def _signed(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    work = told.of(data["operation"])
    work.signature, work.last = len(told.signatures), now
    self_signed = data["self_signed"]
    told.signatures.append(_said(line, now, operation=data["operation"], role=data["role"], self_signed=self_signed))


def _deviated(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.of(data["operation"]).deviations[data["about"]] = len(told.deviations)
    told.deviations.append(_said(line, now, operation=data["operation"], about=data["about"], reason=data["reason"]))


def _instrument_used(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    fact = InstrumentFact(
        line.seq, now.at, line.by, data["need"], data["serial"], data.get("title", ""),
        data.get("range", ""), data.get("uncertainty", ""), data.get("k", ""),
        data.get("calibrated") or "", data.get("due") or "", data.get("uses"),
        tuple(data.get("warnings", ())),
    )  # fmt: skip
    told.instruments.append(fact)


def _noted(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.notes.append(NoteFact(line.seq, now.at, line.by, data.get("operation") or "", data["text"]))


def _clock_went_back(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.clock_back += 1


def _closed(told: Gathered, line: Line, data: Data, now: Moment) -> None:
    told.closed, told.closed_at = line, now.at


_HANDLERS: dict[str, Callable[[Gathered, Line, Data, Moment], None]] = {
    "started": _started, "paused": _paused, "finished": _finished, "rework-started": _rework_started,
    "undone": _undone, "remedied": _remedied, "recorded": _recorded, "calculated": _worked,
    "corrected": _corrected, "ticked": _ticked, "unticked": _unticked,
    "drawn-down": _drawn_down, "undrawn": _drawn_down, "seated": _drawn_down,
    "unseated": _drawn_down, "checked": _checked,
    "unchecked": _unchecked, "chosen": _chosen, "lot": _lot, "signed": _signed, "deviated": _deviated,
    "instrument-used": _instrument_used, "noted": _noted, "clock-went-back": _clock_went_back,
    "closed": _closed,
}  # fmt: skip
_KNOWN_KINDS = frozenset(EVENT_TYPES)
"""Some of them tell nothing here: how the assembly stood is for the replay."""
