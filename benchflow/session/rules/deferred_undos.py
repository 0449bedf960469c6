"""Operations that a remedy reopened, and whose undo waits for a move.

A remedy reopens operations at once. If the state that an ``undo`` needs is not there, or if undoing would break an
interference rule, the state that the operation set stays until a move makes the undo possible. It is then logged with
the move, and before that the operation cannot be started.
"""

from collections.abc import Iterable
from typing import NamedTuple

from msgspec.structs import replace

from benchflow.ordering import interlock, rework
from benchflow.procedure.plan import Plan, Step
from benchflow.procedure.waits_as_needs import with_waits_as_needs
from benchflow.session.context import Context, Entry
from benchflow.session.refusal import Reason
from benchflow.session.rules.blocking import as_refusal_reason
from benchflow.session.rules.done_work import done_work
from benchflow.session.rules.state_after import state_after
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.session.state.state_changes import operation_reopened, operation_undone


class _WaitingUndos(NamedTuple):
    """The state of the undos that wait: the work as if they were still done, and who depends on whom."""

    work: rework.DoneWork
    dependents: dict[str, tuple[str, ...]]


def _waiting(state: State) -> _WaitingUndos:
    work = done_work(state)
    waiting = [name for name in reversed(state.to_undo) if name not in work.finished]
    work = replace(work, finished=(*work.finished, *waiting))
    return _WaitingUndos(work, rework.dependents_of(state.plan, work))


def undos_possible_now(state: State) -> tuple[str, ...]:
    """The waiting undos that can be done now, in order."""
    found: list[str] = []
    while True:
        waiting = _waiting(state)
        possible = (
            name
            for name in state.to_undo
            if not any(other in state.to_undo for other in waiting.dependents[name])
            and not _obstacles(state.plan, waiting.work, name)
        )
        name = next(possible, None)
        if name is None:
            return tuple(found)
        found.append(name)
        state = operation_undone(state, name, state.seq)


def undos_that_wait(state: State, reopened: Iterable[str]) -> tuple[str, ...]:
    """Those of the ``reopened`` steps that cannot be undone in the present state."""
    for name in reopened:
        if name in state.done or state.work(name).touched:
            state = operation_reopened(state, name)
    possible = undos_possible_now(state)
    return tuple(name for name in state.to_undo if name not in possible)


def _obstacles(plan: Plan, work: rework.DoneWork, step_id: str) -> list[rework.UndoBlocked]:
    return [each for each in rework.undo_reasons(plan, work, step_id) if isinstance(each, rework.UndoBlocked)]


def waiting_undo_reasons(state: State, step_id: str) -> tuple[Reason, ...]:
    """Every reason why ``step_id`` cannot be started yet: it, or what depends on it, is not undone yet."""
    if step_id not in state.to_undo:
        return ()
    waiting = _waiting(state)
    reasons: list[Reason] = []
    todo = [step_id]
    for name in todo:
        todo += [other for other in waiting.dependents[name] if other in state.to_undo and other not in todo]
        for obstacle in _obstacles(state.plan, waiting.work, name):
            reason = as_refusal_reason(state, obstacle.reason)
            reasons.append(replace(reason, message=rework.obstacle_text(state.plan, obstacle), operation=name))
    return tuple(reasons)


def with_undos_due(state: State, entries: tuple[Entry, ...], context: Context) -> tuple[Entry, ...]:
    """``entries``, and an event for each waiting undo that they make possible."""
    if not state.to_undo or not entries:
        return entries
    due = undos_possible_now(state_after(state, entries, context))
    return (*entries, *(Entry(entries[-1].by, ev.OperationUndone(name)) for name in due))


def plan_for_routes(state: State) -> Plan:
    """The plan with the needs of waiting undos as needs of their steps, so that a route leads through the moves."""
    plan = with_waits_as_needs(state.plan)
    if not state.to_undo:
        return plan
    work = _waiting(state).work
    steps = {name: _with_undo_needs(state, work, step) for name, step in plan.steps.items()}
    return replace(plan, steps=steps)


def _with_undo_needs(state: State, work: rework.DoneWork, step: Step) -> Step:
    if step.id not in state.to_undo:
        return step
    needs = dict(step.needs)
    for name, values in step.undo_needs.items():
        both = tuple(value for value in needs.get(name, values) if value in values)
        needs[name] = both or values
    variables = state.plan.procedure.variables_by_name
    for obstacle in _obstacles(state.plan, work, step.id):
        if isinstance(obstacle.reason, interlock.Interference):
            rule = state.plan.procedure.interference[obstacle.reason.rule].never
            others = [name for name in rule if name not in step.undo_sets and name not in step.sets]
            for name in others if len(others) == 1 else ():
                needs[name] = tuple(value for value in variables[name].values if value not in rule[name])
    return replace(step, needs=needs)
