"""What the bench shows, made from the state: the five questions, answered as plain data."""

from collections.abc import Iterator

import msgspec

from benchflow.base.durations import clock_duration
from benchflow.ordering.actions import MakeMove
from benchflow.ordering.interlock import moves_of
from benchflow.ordering.route import NoRoute, route
from benchflow.ordering.wording import value_words, variable_title
from benchflow.procedure.plan import Step
from benchflow.session.context import Around
from benchflow.session.intents.dispatch import move_reasons, start_reasons
from benchflow.session.intents.rework_intents import thrown_away
from benchflow.session.refusal import Reason
from benchflow.session.rules.open_items import missing, unwaived
from benchflow.session.rules.running_clocks import RunningClock
from benchflow.session.state.clock import elapsed
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import (
    BenchView,
    ClockRow,
    MoveRow,
    NextRow,
    NowView,
    ReworkView,
    StandRow,
)
from benchflow.session.view.operation_inputs import inputs

CLOSING = 0.25
"""The share of a window that is left when the clock begins to warn; at most five minutes."""


def bench_view(state: State, around: Around, *, saved: int, read_only: str) -> BenchView:
    rows = tuple(next_rows(state, around))
    return BenchView(
        title=state.plan.procedure.title,
        unit=state.opened.unit,
        by=state.by,
        saved=saved,
        simulated=state.opened.simulated,
        read_only=read_only,
        done=len(state.done),
        of=len(state.plan.steps),
        now=now_view(state, around, rows),
        rework=rework_view(state),
        standing=tuple(standing(state)),
        clocks=tuple(clocks(state, around)),
        next=rows,
        moves=tuple(move_rows(state)),
        closed=bool(state.closed),
        finished=state.finished,
    )


ENTRIES = frozenset({
    "recorded", "calculated", "ticked", "unticked", "drawn-down", "undrawn", "seated", "unseated", "checked",
    "unchecked", "chosen", "lot", "signed", "noted", "instrument-used", "wrench-fitted", "lubricated",
})  # fmt: skip
"""Kinds of event that say something of the operation in hand and change nothing for any other."""


def after_entry(view: BenchView, state: State, around: Around, *, saved: int) -> BenchView:
    """The view after events of the kinds in :data:`ENTRIES` alone: all but the operation in hand is as it was,
    the clocks as they were when last looked at."""
    if state.in_progress is None or view.now is None or view.now.operation != state.in_progress:
        return bench_view(state, around, saved=saved, read_only=view.read_only)
    now = operation_view(state, around, state.in_progress)
    return msgspec.structs.replace(view, saved=saved, now=now)


def standing(state: State) -> Iterator[StandRow]:
    """What is in hand holds its own values over what stands otherwise: a cam being drawn down has valves open."""
    procedure = state.plan.procedure
    valuation = state.valuation
    if state.in_progress is not None:
        valuation = {**valuation, **state.plan.steps[state.in_progress].during}
    for variable in procedure.state:
        value = valuation.get(variable.name)
        title = variable_title(procedure, variable.name)
        yield StandRow(variable.name, title, value_words(procedure, variable.name, value), value is not None)


def next_rows(state: State, around: Around) -> Iterator[NextRow]:
    sections = {section.id: section.title for section in state.plan.procedure.sections}
    aside = set(state.paused)
    for number, (name, step) in enumerate(state.plan.steps.items(), 1):
        section = sections.get(step.operation.section, "")
        if name in state.done:
            yield NextRow(name, number, step.title, "done", section=section)
        elif name == state.in_progress:
            yield NextRow(name, number, step.title, "in-progress", section=section)
        else:
            stopped = stopping(state, name, around)
            if stopped:
                yield NextRow(name, number, step.title, "blocked", stopped[0].message, section)
            else:
                yield NextRow(name, number, step.title, "paused" if name in aside else "ready", section=section)


def stopping(state: State, step_id: str, around: Around) -> tuple[Reason, ...]:
    """What stops an operation apart from another being in hand: that one passes by itself."""
    return tuple(r for r in start_reasons(state, step_id, around) if r.code != "operation-in-progress")


def offered(state: State, around: Around, rows: tuple[NextRow, ...]) -> str | None:
    """The operation that the screen speaks of: in hand; else the one that the clock presses for, or the first on
    the way to it; else set aside; else the first that may be taken up."""
    if state.in_progress is not None:
        return state.in_progress
    ready = {row.operation for row in rows if row.status in ("paused", "ready")}
    for name in pressing(state, around):
        if name in ready:
            return name
        way = route(state.plan, state.configuration(), name)
        first = None if isinstance(way, NoRoute) else next((go.id for go in way.steps if go.id in ready), None)
        if first is not None:
            return first
    for wanted in ("paused", "ready"):
        for row in rows:
            if row.status == wanted:
                return row.operation
    return next((row.operation for row in rows if row.status == "blocked"), None)


def pressing(state: State, around: Around) -> list[str]:
    """Operations whose window is running and not yet closed, the one that closes first before the others."""
    left: dict[str, float] = {}
    for name, step in state.plan.steps.items():
        if name not in state.done:
            for run in unwaived(state, step, around.now):
                if run.open_left is not None and run.open_left >= 0:
                    left[name] = min(run.open_left, left.get(name, run.open_left))
    return sorted(left, key=left.__getitem__)


def now_view(state: State, around: Around, rows: tuple[NextRow, ...]) -> NowView | None:
    name = None if state.closed else offered(state, around, rows)
    return None if name is None else operation_view(state, around, name)


def operation_view(state: State, around: Around, name: str) -> NowView:
    """One operation as the bench shows it, in hand or looked at."""
    step = state.plan.steps[name]
    operation = step.operation
    held = state.in_progress == name
    return NowView(
        operation=name,
        number=state.plan.number(name),
        title=operation.title,
        cautions=operation.cautions,
        do=tuple(line.strip() for line in operation.do.splitlines() if line.strip()),
        because=operation.because,
        uses=tuple(used(state, step)),
        inputs=inputs(state, step),
        in_progress=held,
        missing=missing(state, step, around.now) if held else stopping(state, name, around),
        pause_allowed=not step.during,
    )


def used(state: State, step: Step) -> Iterator[str]:
    """What the operation uses, by the titles of the kit and of the instruments, and how much."""
    kit = {item.id: item for item in state.plan.procedure.kit}
    tools = {need.id: need for need in state.plan.procedure.instruments}
    for ref in step.operation.uses:
        if ref.name in kit:
            item = kit[ref.name]
            yield f"{item.title or item.id}, {item.quantity}" if item.quantity else item.title or item.id
        elif ref.name in tools:
            need = tools[ref.name]
            reach = f" ({need.covers.text})" if need.covers else ""
            yield f"{need.title or need.id}{reach}"


def clocks(state: State, around: Around) -> Iterator[ClockRow]:
    """Every window that runs and is not waived: counted from something done, for something not done yet."""
    open_now = [
        (step, run)
        for name, step in state.plan.steps.items()
        if name not in state.done
        for run in unwaived(state, step, around.now)
    ]
    moments = latest_moments(state, around) if any(run.open_left is not None for _, run in open_now) else {}
    for step, run in open_now:
        row = clock_row(state, step, run, moments)
        if row is not None:
            yield row


def latest_moments(state: State, around: Around) -> dict[str, float]:
    """Seconds to the latest moment to begin each step that an open window waits for, so that none is missed. Empty
    once one is missed: then no moment keeps them all, and the window that has closed says what to do."""
    from benchflow.ordering.latest_start import latest_starts  # late: most sessions have no window open

    done = {name: -elapsed(finished, around.now) for name, finished in state.done.items()}
    found = latest_starts(state.plan, done, 0.0)
    return found if all(seconds >= 0 for seconds in found.values()) else {}


def _first_to_begin(state: State, step: Step, moments: dict[str, float]) -> tuple[str, float] | None:
    """Of ``step`` and what still has to come before it, the one to begin first, and how long that can wait."""
    coming, waiting = {step.id}, [step.id]
    while waiting:
        for earlier in state.plan.steps[waiting.pop()].after:
            if earlier not in state.done and earlier not in coming:
                coming.add(earlier)
                waiting.append(earlier)
    pressing = {name: moments[name] for name in coming if name in moments and name != state.in_progress}
    return min(pressing.items(), key=lambda item: item[1]) if pressing else None


def clock_row(state: State, step: Step, run: RunningClock, moments: dict[str, float]) -> ClockRow | None:
    since = state.plan.steps[run.window.operation].title
    if run.wait_left > 0:
        advice = f"wait {clock_duration(run.wait_left)} more before {step.title}"
        return ClockRow(step.id, step.title, since, "wait", run.wait_left, advice)
    left = run.open_left
    if left is None or run.window.high is None:
        return None
    if left < 0:
        advice = f"too late by {clock_duration(left)}: take back {since} and do it again, or sign a deviation"
        return ClockRow(step.id, step.title, since, "missed", left, advice)
    warn = min(run.window.high * CLOSING, 300.0)
    begin_by = left - step.takes
    advice = f"finish {step.title} within {clock_duration(left)}"
    if step.takes and state.in_progress != step.id:
        if begin_by > 0:
            advice = f"begin {step.title} within {clock_duration(begin_by)}"
        else:
            advice = f"{step.title} takes {clock_duration(step.takes)} and only {clock_duration(left)} are left"
    first = None if state.in_progress == step.id else _first_to_begin(state, step, moments)
    if first is not None:
        name, begin_by = first
        goal = "" if name == step.id else f", to finish {step.title} in time"
        advice = f"begin {state.plan.steps[name].title} within {clock_duration(begin_by)}{goal}"
    closing = left <= max(warn, step.takes)
    return ClockRow(step.id, step.title, since, "closing" if closing else "open", left, advice)


def move_rows(state: State) -> Iterator[MoveRow]:
    for move in moves_of(state.plan).values():
        yield MoveRow(move.id, move.title, move.do, move.cautions, move_reasons(state, move.id))


def rework_view(state: State) -> ReworkView | None:
    plan = state.rework
    if plan is None:
        return None
    step = plan.next
    number = len(plan.steps) - plan.left + 1
    common = (plan.operation, number, len(plan.steps))
    if isinstance(step, MakeMove):
        move = state.plan.procedure.moves_by_id[step.move]
        return ReworkView(*common, move.title, move.do, move.cautions, (), is_move=True)
    operation = state.plan.steps[step.operation].operation
    undo = operation.undo
    discard = tuple(_kit_title(state, name) for name in thrown_away(state, step.operation))
    do = "" if undo is None else undo.do
    return ReworkView(*common, operation.title, do, operation.cautions, discard, is_move=False)


def _kit_title(state: State, name: str) -> str:
    item = state.plan.procedure.kit_by_id.get(name)
    return name if item is None else item.title or name
