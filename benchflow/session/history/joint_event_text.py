"""The text of each event of a joint: its torques, ticks, failed fasteners and draw-down."""

from collections.abc import Callable
from typing import Any

from benchflow.ordering.wording import all_of
from benchflow.quantity import dimension_of
from benchflow.session.history.log_titles import (
    LogTitles,
    figure_text,
    instrument_text,
    number_list,
    quantity_text,
    readable,
    verdict_and_limit,
)
from benchflow.session.rules.failed_fasteners import failure_clause
from benchflow.session.state import events as ev
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT


def ticks_text(event: ev.FastenerTicked, fasteners: list[int], titles: LogTitles) -> str:
    """One tick, or consecutive ticks of one stage."""
    stage = titles.stage(event.operation, event.stage)
    which = f"fastener {number_list(fasteners)}" if len(fasteners) == 1 else f"fasteners {number_list(fasteners)}"
    parts = [quantity_text(event.quantity)] if event.quantity else [event.answer] if event.answer else []
    parts += [f"stretch {quantity_text(event.stretch)}"] if event.stretch else []
    out = event.verdict in OUT_OF_LIMIT
    read = f": {', '.join(parts)}{verdict_and_limit(event.verdict, event.limit if out else '')}" if parts else ""
    read += f" ({readable(event.corner)})" if event.corner not in ("", "ok") else ""
    target = f" ({figure_text(event.torque) if event.torque else stage.text})" if stage else ""
    done = "not done" if out else "loosened and done again" if event.loosened else "done"
    done += ", entered together" if event.together else ""
    done += f"{read}{instrument_text(event, titles)}"
    return f"{titles.joint(event.joint)}, stage {event.stage}{target}: {which} {done}"


def _stage_again(event: ev.StageBegunAgain, titles: LogTitles) -> str:
    stage = titles.stage(event.operation, event.stage)
    target = f" ({stage.text})" if stage else ""
    cleared = f"{event.cleared} tick{'' if event.cleared == 1 else 's'} cleared"
    return f"{titles.joint(event.joint)}, stage {event.stage}{target}: begun again, {cleared}"


def _fastener_failed(event: ev.FastenerFailed, titles: LogTitles) -> str:
    stage = titles.stage(event.operation, event.stage)
    target = f", stage {event.stage} ({stage.text})" if stage else f", stage {event.stage}" if event.stage else ""
    reached = f" at {quantity_text(event.quantity)}" if event.quantity else ""
    what = failure_clause(event.what)
    return f"{titles.joint(event.joint)}{target}: FASTENER {event.fastener} {what}{reached}. The joint is stopped"


def _repaired(event: ev.FastenerRepaired, titles: LogTitles) -> str:
    renewed = all_of(titles.kit(item) for item in event.discard)
    return (
        f"{titles.joint(event.joint)}: fastener {event.fastener} repaired: {event.repair.removesuffix('.')}. "
        f"The joint is begun again{f'; to discard: {renewed}' if renewed else ''}"
    )


def _figure_given(event: ev.FigureGiven, titles: LogTitles) -> str:
    earlier = "" if event.earlier is None else f" (from the earlier log, event {event.earlier})"
    if not event.stage:
        return f"Filled in, {figure_title(event, titles)}: {event.figure}, source: {event.source}{earlier}"
    what = "torque" if event.quantity is None else dimension_of(event.quantity.unit)
    return f"{titles.joint(event.joint)}, stage {event.stage}: {what} {event.figure}, source: {event.source}{earlier}"


def figure_title(event: ev.FigureGiven, titles: LogTitles) -> str:
    """What was filled in, with titles for the ids: ``lubricant of Cover bolts``, ``Cover bolts, stage 1``."""
    if event.stage:
        return f"{titles.joint(event.joint)}, stage {event.stage}"
    what, _, rest = event.name.partition(" of ")
    name, choice = rest.partition(" (")[::2] if rest else (event.name, "")
    behind = f" ({choice}" if choice else ""
    match event.what:
        case "layout" | "lubricant" | "thread" | "class":
            return f"{what} of {titles.joint(name)}{behind}"
        case "covers":
            return f"{what} of {titles.instrument(name)}{behind}"
        case "time":
            step, _, since = name.partition(" since ")
            return f"{what} of “{titles.step(step)}” since “{titles.step(since)}”{behind}"
        case _:
            return event.name


def _judged_again(event: ev.TicksJudgedAgain, titles: LogTitles) -> str:
    out = sum(verdict in OUT_OF_LIMIT for verdict in event.verdicts.values())
    now = f"the {dimension_of(event.torque.unit)} is {figure_text(event.torque)} now"
    return (
        f"{titles.joint(event.joint)}, stage {event.stage}: {now}. "
        f"{len(event.verdicts)} ticks judged again, {out} out of the limit {event.limit}"
    )


def _readings_judged_again(event: ev.ReadingsJudgedAgain, titles: LogTitles) -> str:
    what = f"further limit {event.further}" if event.further else "limit"
    if event.together:
        words = f"log lines {', '.join(event.verdicts)} together {VERDICT_TEXT[next(iter(event.verdicts.values()))]}"
    else:
        words = ", ".join(f"log line {seq} {VERDICT_TEXT[verdict]}" for seq, verdict in event.verdicts.items())
    return f"{titles.step(event.operation)}, {event.name}: judged again by the {what} {event.limit}: {words}"


def turns_text(event: ev.FastenerDrawnDown, fasteners: list[int], titles: LogTitles) -> str:
    """One turn, or consecutive turns of one round of the draw-down."""
    which = f"fastener {number_list(fasteners)}" if len(fasteners) == 1 else f"fasteners {number_list(fasteners)}"
    return f"{titles.joint(event.joint)}, draw-down round {event.round}: {which} turned"


def _seated(event: ev.PartSeated, titles: LogTitles) -> str:
    turns = f"{event.turns} turns" if event.turns else "turns not counted"
    return f"{titles.joint(event.joint)}: all seated and level, {turns}"


JOINT_EVENT_TEXTS: dict[type[ev.Event], Callable[[Any, LogTitles], str]] = {
    ev.FigureGiven: _figure_given,
    ev.TicksJudgedAgain: _judged_again,
    ev.ReadingsJudgedAgain: _readings_judged_again,
    ev.FastenerTicked: lambda event, titles: ticks_text(event, [event.fastener], titles),
    ev.FastenerUnticked: lambda event, titles: (
        f"{titles.joint(event.joint)}, stage {event.stage}: tick of fastener {event.fastener} cleared"
    ),
    ev.StageBegunAgain: _stage_again,
    ev.FastenerFailed: _fastener_failed,
    ev.FastenerFailureCleared: lambda event, titles: (
        f"{titles.joint(event.joint)}: entry “fastener {event.fastener} {failure_clause(event.what)}” cleared"
    ),
    ev.FastenerRepaired: _repaired,
    ev.FastenerDrawnDown: lambda event, titles: turns_text(event, [event.fastener], titles),
    ev.DrawDownTurnCleared: lambda event, titles: (
        f"{titles.joint(event.joint)}, draw-down round {event.round}: turn of fastener {event.fastener} cleared"
    ),
    ev.PartSeated: _seated,
    ev.SeatingCleared: lambda event, titles: f"{titles.joint(event.joint)}: entry “all seated” cleared",
}
"""The function that returns the text of each type of event of a joint."""
