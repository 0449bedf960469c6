"""Which operations a remedy takes back: those that its `redo` names, and what depends on them."""

from collections.abc import Collection, Iterable

from benchflow.ordering.rework import DoneWork, with_dependents
from benchflow.procedure.expand import resolve
from benchflow.procedure.identity import StepId, parts
from benchflow.procedure.model import Remedy
from benchflow.procedure.plan import Plan, Step


def steps_named(plan: Plan, step: Step, remedy: Remedy, readings: Collection[str] | None = None) -> tuple[str, ...]:
    """The steps that the `redo` of a remedy of ``step`` names: at the same place, if both are repeated.

    ``readings`` are those that were out; ``None`` for any. Steps that are done only if needed and that no remedy called
    for yet are the last ones.
    """
    named = {ref.name for ref in remedy.redo}
    if readings is not None:
        named -= {name for name in remedy.at_reading if parts(StepId.parse(name).place)[-1] not in readings}
    present = tuple(
        name
        for name, other in plan.steps.items()
        if name in named
        or (other.operation.id in named and (other.place is None or step.place is None or other.place == step.place))
    )
    return (*present, *(ref.name for ref in remedy.redo if ref.name in named and _is_new_call(plan, ref.name)))


def _is_new_call(plan: Plan, step_id: str) -> bool:
    return step_id not in plan.steps and plan.is_callable(step_id)


def steps_called(plan: Plan, step: Step, remedy: Remedy, readings: Collection[str] | None = None) -> tuple[str, ...]:
    """The steps that a remedy of ``step`` calls for, which are done only if needed. The arguments are as above."""
    return tuple(name for name in steps_named(plan, step, remedy, readings) if plan.is_callable(name))


def taken_back(plan: Plan, history: DoneWork, done: tuple[str, ...], step_ids: Iterable[str]) -> set[str]:
    """``step_ids``, their dependents, and the temporary settings made after them that would then be left.

    ``done`` are the steps that are done, in the order of finishing; those in progress or paused are left out.
    """
    undone = with_dependents(plan, history, step_ids)
    while True:
        wider = undone | with_dependents(plan, history, _temporary_settings_passed(plan, done, undone))
        if wider == undone:
            return undone
        undone = wider


def _temporary_settings_passed(plan: Plan, done: tuple[str, ...], undone: set[str]) -> list[str]:
    """The done steps that made a temporary setting after one of ``undone``, and whose setting would then be left."""
    at = {name: number for number, name in enumerate(done)}
    first = min((at[name] for name in undone if name in at), default=len(done))
    found = []
    for name in done[first:]:
        step = plan.steps[name]
        restored = step.operation.restored_by
        if name in undone or restored is None:
            continue
        restoring = resolve(plan, restored.name, step)
        if any(other in undone or at.get(other, -1) < at[name] for other in restoring):
            found.append(name)
    return found
