"""Builds the bench view from the state."""

from collections.abc import Iterable, Iterator

import msgspec

from benchflow.ordering.actions import MakeMove
from benchflow.ordering.interlock import moves_of
from benchflow.ordering.wording import variable_title, variable_value_text
from benchflow.procedure.plan import Step
from benchflow.session.context import Context
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.action_reasons import Reopened, move_reasons, start_reasons
from benchflow.session.rules.done_work import discarded_items
from benchflow.session.rules.open_items import finish_reasons, unwaived_clocks
from benchflow.session.rules.reopened_operations import reopened_operations
from benchflow.session.rules.rework_plans import rework_plan
from benchflow.session.rules.safe_routes import safe_route
from benchflow.session.state.state import State
from benchflow.session.view.asked_figures import (
    asked_ahead,
    asked_before_window,
    asked_of_uses,
    asked_time,
    window_notices,
)
from benchflow.session.view.bench_view import (
    AskedFigure,
    BenchView,
    MoveRow,
    OperationRow,
    OperationView,
    ReworkView,
    StateRow,
)
from benchflow.session.view.clock_rows import clock_rows
from benchflow.session.view.figure_rows import figure_rows
from benchflow.session.view.operation_inputs import operation_inputs
from benchflow.session.view.unknown_states import unknown_states


def bench_view(state: State, context: Context, *, saved: int, read_only: str) -> BenchView:
    """The bench view of ``state``.

    ``saved`` is the number of events on disk. ``read_only`` is why the log cannot be written; "" if it can.
    """
    reopened = reopened_operations(state)
    rows = tuple(operation_rows(state, context, reopened))
    return BenchView(
        title=state.plan.procedure.title,
        unit=state.opened.unit,
        by=state.by,
        saved=saved,
        simulated=state.opened.simulated,
        read_only=read_only,
        done=len(state.done) - len(reopened),
        of=len(state.plan.steps),
        now=now_view(state, context, rows, reopened),
        rework=rework_view(state),
        state_rows=tuple(state_rows(state)),
        clocks=tuple(clock_rows(state, context)),
        operations=rows,
        moves=tuple(move_rows(state)),
        closed=bool(state.closed),
        finished=len(state.done) == len(state.plan.steps) and not reopened,
    )


ENTRY_KINDS = frozenset({
    "recorded", "calculated", "ticked", "unticked", "stage-again", "fastener-failed", "failure-cleared", "repaired",
    "drawn-down", "undrawn", "seated", "unseated", "checked", "unchecked", "chosen", "lot", "signed", "noted",
    "instrument-used", "wrench-fitted", "lubricated",
})  # fmt: skip
"""Kinds of event that change only the operation in progress, unless that was done before."""


def view_after_entries(view: BenchView, state: State, context: Context, *, saved: int) -> BenchView:
    """The view after events of :data:`ENTRY_KINDS`. Only the operation in progress is built again.

    The rest of ``view``, including the clocks, is not changed.
    """
    in_progress = state.in_progress
    if in_progress is None or view.now is None or view.now.operation != in_progress or state.work(in_progress).finished:
        return bench_view(state, context, saved=saved, read_only=view.read_only)
    now = operation_view(state, context, in_progress)
    return msgspec.structs.replace(view, saved=saved, now=now)


def state_rows(state: State) -> Iterator[StateRow]:
    """The value of each state variable.

    While an operation is in progress, its `during` values apply: for example, valves that a camshaft holds open.
    """
    procedure = state.plan.procedure
    valuation = state.valuation
    if state.in_progress is not None:
        valuation = {**valuation, **state.plan.steps[state.in_progress].during}
    for variable in procedure.state:
        value = valuation.get(variable.name)
        title = variable_title(procedure, variable.name)
        text, family = variable_value_text(procedure, variable.name, value), variable.family
        by_place = f" ({variable.each} {variable.place})"
        yield StateRow(
            variable.name,
            title,
            text,
            value is not None,
            title.removesuffix(by_place) if family else "",
            variable.place or "",
        )


def operation_rows(state: State, context: Context, reopened: Reopened) -> Iterator[OperationRow]:
    """All operations with their status, in the order of the procedure."""
    sections = {section.id: section.title for section in state.plan.procedure.sections}
    paused = set(state.paused)
    for name, step in state.plan.steps.items():
        number = state.plan.number(name)
        section = sections.get(step.operation.section, "")
        if name in reopened:
            yield OperationRow(name, number, step.title, "reopened", reopened[name][0].message, section)
        elif name in state.done:
            yield OperationRow(name, number, step.title, "done", section=section)
        elif name == state.in_progress:
            yield OperationRow(name, number, step.title, "in-progress", section=section)
        else:
            reasons = start_blocked(state, name, context, reopened)
            if reasons:
                yield OperationRow(name, number, step.title, "blocked", reasons[0].message, section)
            else:
                yield OperationRow(name, number, step.title, "paused" if name in paused else "ready", section=section)


def start_blocked(state: State, step_id: str, context: Context, reopened: Reopened) -> tuple[Reason, ...]:
    """The reasons why an operation cannot start. An operation in progress is not such a reason here."""
    return tuple(r for r in start_reasons(state, step_id, context, reopened) if r.code != "operation-in-progress")


def operation_to_show(state: State, context: Context, rows: tuple[OperationRow, ...]) -> str | None:
    """The operation that the bench screen shows; ``None`` if all are done.

    The first of these that exists: in progress; nearest deadline, or the first operation on the route to it; reopened;
    closed time window; paused; can start; blocked.
    """
    if state.in_progress is not None:
        return state.in_progress
    can_start = {row.operation for row in rows if row.status in ("reopened", "paused", "ready")}
    for name in operations_by_deadline(state, context):
        if name in can_start:
            return name
        route = safe_route(state, name)
        if not isinstance(route, Refusal):
            first = next((action for action in route if action in can_start), None)
            if first is not None:
                return first
    too_late = operations_too_late(state, context)
    kinds = {row.operation: "too-late" if row.operation in too_late else row.status for row in rows}
    in_turn = ("reopened", "too-late", "paused", "ready", "blocked")
    return next((name for kind in in_turn for name, found in kinds.items() if found == kind), None)


def operations_by_deadline(state: State, context: Context) -> list[str]:
    """The operations with an open time window, the one with the least time left first. Missed windows do not count."""
    seconds_left: dict[str, float] = {}
    for name, step in state.plan.steps.items():
        if name not in state.done:
            for clock in unwaived_clocks(state, step, context.now):
                if clock.open_left is not None and not clock.missed:
                    seconds_left[name] = min(clock.open_left, seconds_left.get(name, clock.open_left))
    return sorted(seconds_left, key=seconds_left.__getitem__)


def operations_too_late(state: State, context: Context) -> set[str]:
    """The operations that are not done and whose time window has closed."""
    return {
        name
        for name, step in state.plan.steps.items()
        if name not in state.done and any(clock.missed for clock in unwaived_clocks(state, step, context.now))
    }


def now_view(
    state: State, context: Context, rows: tuple[OperationRow, ...], reopened: Reopened
) -> OperationView | None:
    """The view of the operation to show; ``None`` if all are done or the job is closed."""
    name = None if state.closed else operation_to_show(state, context, rows)
    return None if name is None else operation_view(state, context, name, reopened)


def operation_view(state: State, context: Context, name: str, reopened: Reopened | None = None) -> OperationView:
    """The view of one operation, in progress or not. ``reopened`` are the reopened operations, if known.

    Otherwise they are computed, unless the operation is in progress.
    """
    step = state.plan.steps[name]
    operation = step.operation
    in_progress = state.in_progress == name
    if reopened is None:
        reopened = {} if in_progress else reopened_operations(state)
    missing = finish_reasons(state, step, context.now) if in_progress else start_blocked(state, name, context, reopened)
    return OperationView(
        operation=name,
        number=state.plan.number(name),
        title=operation.title,
        cautions=(*operation.cautions, *window_notices(state, step)),
        do=tuple(line.strip() for line in operation.do.splitlines() if line.strip()),
        because=operation.because,
        uses=tuple(used_items(state, step)),
        inputs=operation_inputs(state, step, context),
        in_progress=in_progress,
        missing=missing,
        pause_allowed=not step.during,
        starts_by_entry=not in_progress and starts_by_entry(step),
        finishes_by_entry=in_progress and (operation.hold is None or state.work(name).signed is not None),
        reopened=name in reopened,
        reopened_by=reopened.get(name, ()),
        done=name in state.done and name not in reopened,
        rework=_rework_asked(state, (*missing, *reopened.get(name, ()))),
        figures=tuple(figure_rows(state, step)),
        asked_ahead=() if in_progress or name in state.done else tuple(asked_ahead(state, step)),
        unknown_states=unknown_states(state, missing),
        asked=_asked_first(state, step) if in_progress else _asked_before_start(state, step, blocked=bool(missing)),
    )


def _asked_before_start(state: State, step: Step, *, blocked: bool) -> AskedFigure | None:
    asked = asked_time(state, step)
    return asked if asked is not None or blocked else asked_before_window(state, step)


def _asked_first(state: State, step: Step) -> AskedFigure | None:
    """The range that an operation in progress waits for, if it has no entry at which the bench could ask for it."""
    operation = step.operation
    entries = operation.record or operation.check or operation.tighten
    return None if entries else asked_of_uses(state, step)


def starts_by_entry(step: Step) -> bool:
    """True if the first entry may start the operation, without a start key.

    An operation with a danger or warning, a temporary setting or a time window needs a start key. So does an operation
    without a reading, choice, check or joint.
    """
    operation = step.operation
    hazard = any(caution.signal in ("danger", "warning") for caution in operation.cautions)
    entries = operation.record or operation.choose or operation.match or operation.check or operation.tighten
    return bool(entries) and not (hazard or step.during or step.time)


def _rework_asked(state: State, reasons: Iterable[Reason]) -> str:
    """The first operation that a reason says to rework, and whose rework is possible now."""
    asked = dict.fromkeys(reason.rework for reason in reasons if reason.rework is not None)
    return next((name for name in asked if not isinstance(rework_plan(state, name), Refusal)), "")


def used_items(state: State, step: Step) -> Iterator[str]:
    """The title of each kit item, with its quantity, and of each instrument that the operation uses."""
    kit = state.plan.procedure.kit_by_id
    tools = state.plan.procedure.instruments_by_id
    for ref in step.operation.uses:
        if ref.name in kit:
            item = kit[ref.name]
            yield f"{item.title or item.id}, {item.quantity}" if item.quantity else item.title or item.id
        elif ref.name in tools:
            need = tools[ref.name]
            measuring_range = f" ({need.covers.text})" if need.covers else ""
            yield f"{need.title or need.id}{measuring_range}"


def move_rows(state: State) -> Iterator[MoveRow]:
    """All moves, each with the reasons that block it."""
    for move in moves_of(state.plan).values():
        yield MoveRow(move.id, move.title, move.do, move.cautions, move_reasons(state, move.id))


def rework_view(state: State) -> ReworkView | None:
    """The current step of the rework; ``None`` if there is none."""
    plan = state.rework
    if plan is None:
        return None
    step = plan.next
    number = len(plan.steps) - plan.left + 1  # of the current step, from 1
    common = (plan.operation, number, len(plan.steps))
    if isinstance(step, MakeMove):
        move = state.plan.procedure.moves_by_id[step.move]
        return ReworkView(*common, move.title, move.do, move.cautions, (), is_move=True)
    operation = state.plan.steps[step.operation].operation
    undo = operation.undo
    discard = tuple(_kit_title(state, name) for name in discarded_items(state, step.operation))
    do = "" if undo is None else undo.do
    return ReworkView(*common, operation.title, do, operation.cautions, discard, is_move=False)


def _kit_title(state: State, name: str) -> str:
    item = state.plan.procedure.kit_by_id.get(name)
    return name if item is None else item.title or name
