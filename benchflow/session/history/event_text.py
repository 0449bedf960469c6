"""Each event as a few plain words, for the story of a session. Pure; no grouping, no times."""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

from benchflow.ordering.wording import all_of, in_a_sentence, move_title, state_text, step_title
from benchflow.procedure.model import Procedure, RecordedValue, Stage
from benchflow.procedure.plan import Plan
from benchflow.quantity import QuantityError, parse_quantity, show_converted
from benchflow.quantity.shown import round_half_up, with_unit
from benchflow.session.state import events as ev

_NOTHING = Procedure(id="", title="", revision="")


class Book:
    """The procedure that a log was made by, asked for names. Without it the ids in the log have to do."""

    def __init__(self, plan: Plan | None) -> None:
        self.plan = plan or Plan(_NOTHING, {}, {})
        self.procedure = self.plan.procedure

    def step(self, step: str) -> str:
        return step_title(self.plan, step)

    def number(self, step: str) -> int | None:
        return self.plan.number(step) if step in self.plan.steps else None

    def record(self, step: str, name: str) -> RecordedValue | None:
        found = self.plan.steps.get(step)
        return found.record(name) if found else None

    def stage(self, step: str, number: int) -> Stage | None:
        found = self.plan.steps.get(step)
        tighten = found.operation.tighten if found else None
        return tighten.stages[number - 1] if tighten and 0 < number <= len(tighten.stages) else None

    def kit(self, item: str) -> str:
        found = self.procedure.kit_by_id.get(item)
        return item if found is None else found.title

    def instrument(self, need: str) -> str:
        found = self.procedure.instruments_by_id.get(need)
        return (in_a_sentence(found.title) if found is not None else "") or need

    def joint(self, joint: str) -> str:
        found = self.procedure.joints_by_id.get(joint)
        return joint if found is None else found.title or joint


def tell(event: ev.Event, book: Book) -> str:
    """What happened, in words. Texts from the log are not cleaned here."""
    words = WORDS.get(type(event))
    return words(event, book) if words else ""


def quantity(stored: ev.Stored) -> str:
    """``0.12 mm``; ``35.25 N·m (typed 26 ft-lb)``, to the digits that what was typed can bear."""
    try:
        typed = parse_quantity(stored.entered)
        if typed.unit == stored.unit:
            return with_unit(stored.value, stored.unit)
        decimals = re.search(r"\.(\d+)", show_converted(typed, stored.unit))
        value = round_half_up(Fraction(stored.value), len(decimals[1]) if decimals else 0)
    except (QuantityError, ValueError):
        same = stored.entered in ("", stored.value, with_unit(stored.value, stored.unit))
        return with_unit(stored.value, stored.unit) + ("" if same else f" (typed {stored.entered})")
    return f"{with_unit(f'{value:f}', stored.unit)} (typed {stored.entered})"


def judged(verdict: str, side: str | None, limit: str) -> str:
    """``, in its limit 0.05 .. 0.15 mm``; empty where there was nothing to judge by."""
    if verdict == "none":
        return ""
    where = {"low": "BELOW its limit", "high": "ABOVE its limit"}.get(side or "", "OUT of its limit")
    words = {"in": "in its limit", "out": where, "not-proven": "NOT PROVEN to be in its limit"}[verdict]
    return f", {words} {limit}".rstrip()


def _instrument(event: ev.Recorded | ev.Ticked, book: Book) -> str:
    if not event.instrument:
        return ""
    return f", with {book.instrument(event.instrument)}" + (f" (serial {event.serial})" if event.serial else "")


def _name(name: str) -> str:
    return name.replace("-", " ").replace("_", " ")


def _opened(event: ev.Opened, book: Book) -> str:
    words = [f"opened the session for {event.unit}" if event.unit else "opened the session"]
    words += [f"{_name(name)}: {choice}" for name, choice in event.options.items()]
    words += [in_a_sentence(state_text(book.procedure, name, value)) for name, value in event.start.items()]
    return "; ".join(words)


def _recorded(event: ev.Recorded, book: Book) -> str:
    record = book.record(event.operation, event.name)
    which = ""
    if record is None or len(record.slots) > 1:
        which = f" at {event.reading}" if record and record.by_place else f", reading {event.reading}"
    rule = ", guarded" if event.decision == "guarded" and event.verdict != "none" else ""
    part = " (a part used again)" if event.used else ""
    return (
        f"{_name(event.name)}{which}: {quantity(event.quantity)}"
        f"{judged(event.verdict, event.side, event.limit)}{rule}{part}{_instrument(event, book)}"
    )


def _worked(event: ev.Calculated, book: Book) -> str:
    shown = quantity(event.quantity)
    # The sum ends with its result, rounded (≈) where it has no end.
    whole = "≈" in event.filled or event.filled.endswith(shown)
    told = event.filled if whole else f"{event.filled} = {shown}".removeprefix(" = ")
    return f"{_name(event.name)} worked out: {told}{judged(event.verdict, event.side, event.limit)}"


def _remedied(event: ev.Remedied, book: Book) -> str:
    again = all_of(book.step(step) for step in event.redo)
    which = "too low" if event.side == "low" else "too high"
    return f"{_name(event.name)} {which}, remedy: {event.do}" + (f"; to be done again: {again}" if again else "")


def ticked(event: ev.Ticked, fasteners: list[int], book: Book) -> str:
    """One tick, or several of one stage that followed each other."""
    stage = book.stage(event.operation, event.stage)
    which = f"fastener {runs(fasteners)}" if len(fasteners) == 1 else f"fasteners {runs(fasteners)}"
    both = f" and stretched {quantity(event.stretch)}" if event.stretch else ""
    read = f": {quantity(event.quantity)}{both}{judged(event.verdict, event.side, '')}" if event.quantity else ""
    read += f" ({_name(event.corner)})" if event.corner not in ("", "in") else ""
    told = f" ({stage.text})" if stage else ""
    return f"{book.joint(event.joint)}, stage {event.stage}{told}: {which} done{read}{_instrument(event, book)}"


def turned(event: ev.DrawnDown, fasteners: list[int], book: Book) -> str:
    """One turn, or several of one round that followed each other."""
    which = f"fastener {runs(fasteners)}" if len(fasteners) == 1 else f"fasteners {runs(fasteners)}"
    return f"{book.joint(event.joint)}, drawn down, round {event.round}: {which} turned"


def runs(numbers: list[int]) -> str:
    """``1 to 4, 7``: numbers in the order they came, neighbours drawn together."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][-1] + 1:
            spans[-1] = [spans[-1][0], number]
        else:
            spans.append([number])
    return ", ".join((" to " if span[-1] - span[0] > 1 else ", ").join(map(str, span)) for span in spans)


def _seated(event: ev.Seated, book: Book) -> str:
    turns = f"{event.turns} turns" if event.turns else "turns not counted"
    return f"{book.joint(event.joint)}: all seated and level, {turns}"


def _instrument_used(event: ev.InstrumentUsed, book: Book) -> str:
    known = [
        event.range,
        f"uncertainty {event.uncertainty}{f' (k = {event.k})' if event.k else ''}" if event.uncertainty else "",
        f"calibrated {event.calibrated}" if event.calibrated else "",
        f"due {event.due}" if event.due else "",
        "" if event.uses is None else f"{event.uses} uses since",
    ]
    told = f"{event.title or book.instrument(event.need)} (serial {event.serial}): " + ", ".join(
        each for each in known if each
    )
    return told.removesuffix(": ") + "".join(f"; NOT FIT: {warning}" for warning in event.warnings)


def _wrench_fitted(event: ev.WrenchFitted, book: Book) -> str:
    if event.extension is None:
        return "nothing on the torque wrench from here on"
    lever = f", the wrench being {quantity(event.lever)} long" if event.lever else ""
    angle = f", at {quantity(event.angle)}" if event.angle else ""
    return f"on the torque wrench from here on: an extension of {quantity(event.extension)}{angle}{lever}"


def _lubricated(event: ev.Lubricated, book: Book) -> str:
    factor = f", nut factor {event.nut_factor}" if event.nut_factor else ""
    return f"{book.joint(event.joint)}: on the threads is {event.lubricant}{factor}"


def _signed(event: ev.Signed, book: Book) -> str:
    own = ", who did the work" if event.self_signed else ""
    return f"signed as {event.role}{own}"


def _deviated(event: ev.Deviated, book: Book) -> str:
    return f"DEVIATION about {_name(event.about)}: {event.reason}"


def _rework_started(event: ev.ReworkStarted, book: Book) -> str:
    way = ", then ".join(
        book.step(each["operation"]) if "operation" in each else move_title(book.procedure, each.get("move", ""))
        for each in event.steps
    )
    thrown = all_of(book.kit(item) for item in event.discard)
    return (
        f"REOPENED: {event.reason}"
        + (f"; taken back in this order: {way}" if way else "")
        + (f"; thrown away: {thrown}" if thrown else "")
    )


def _corrected(event: ev.Corrected, book: Book) -> str:
    right = quantity(event.quantity) if event.quantity else f"lot {event.lot}"
    return f"CORRECTED entry {event.event}: {right}{judged(event.verdict, event.side, '')}; reason: {event.reason}"


def _state_set(event: ev.StateSet, book: Book) -> str:
    reason = f" ({event.reason})" if event.reason else ""
    return f"found: {in_a_sentence(state_text(book.procedure, event.variable, event.value))}{reason}"


def _closed(event: ev.Closed, book: Book) -> str:
    left = all_of(book.step(step) for step in event.open_operations)
    reason = f"; reason: {event.reason}" if event.reason else ""
    return "closed the session" + (f" with work left open: {left}" if left else "") + reason


WORDS: dict[type[ev.Event], Callable[[Any, Book], str]] = {
    ev.Opened: _opened,
    ev.Started: lambda event, book: "taken up",
    ev.Paused: lambda event, book: "set aside",
    ev.Finished: lambda event, book: "FINISHED",
    ev.Moved: lambda event, book: f"moved: {move_title(book.procedure, event.move)}",
    ev.Recorded: _recorded,
    ev.Calculated: _worked,
    ev.Remedied: _remedied,
    ev.Ticked: lambda event, book: ticked(event, [event.fastener], book),
    ev.Unticked: lambda event, book: f"stage {event.stage}: tick of fastener {event.fastener} taken back",
    ev.DrawnDown: lambda event, book: turned(event, [event.fastener], book),
    ev.Undrawn: lambda event, book: (
        f"{book.joint(event.joint)}, round {event.round}: turn of fastener {event.fastener} taken back"
    ),
    ev.Seated: _seated,
    ev.Unseated: lambda event, book: f"{book.joint(event.joint)}: not seated after all",
    ev.Checked: lambda event, book: f"checked: {event.text}",
    ev.Unchecked: lambda event, book: f"check taken back: {event.text}",
    ev.InstrumentUsed: _instrument_used,
    ev.WrenchFitted: _wrench_fitted,
    ev.Lubricated: _lubricated,
    ev.Chosen: lambda event, book: f"{_name(event.name)} chosen: {event.take}",
    ev.Lot: lambda event, book: f"{book.kit(event.consumable)}: lot {event.lot}",
    ev.Signed: _signed,
    ev.Deviated: _deviated,
    ev.ReworkStarted: _rework_started,
    ev.Undone: lambda event, book: "TAKEN BACK",
    ev.Noted: lambda event, book: f"note: {event.text}",
    ev.Corrected: _corrected,
    ev.StateSet: _state_set,
    ev.ClockWentBack: lambda event, book: f"THE CLOCK WENT BACK from {event.before} to {event.now}",
    ev.Closed: _closed,
}
"""Every kind of event; a test sees to it that none is missing."""
