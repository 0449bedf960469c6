"""What can be taken over from the log that a job continues, in the order in which it is offered."""

from collections.abc import Iterable

from benchflow.procedure.plan import Plan
from benchflow.session.state.continued_job import ContinuedLog, EarlierOperation
from benchflow.session.state.state import State


def operations_to_take_over(state: State) -> tuple[EarlierOperation, ...]:
    """The operations that were done under the earlier log, as far as they are not done or begun in this job.

    First come those that it has as done, in its order, then the others in the order of the procedure: those that only
    lines after the damage have as done, and those that nothing has as done but that must have been done before them.
    If no line after the damage can be read, every other operation may have been done. The ``seq`` of an operation
    without evidence is 0.
    """
    continues = state.opened.continues
    if continues is None:
        return ()
    trusted = [each for each in continues.done if each.trusted]
    others = _doubtful(state.plan, continues) - {each.operation for each in trusted}
    rest = (
        continues.operation(name) or EarlierOperation(name, 0, trusted=False)
        for name in state.plan.steps
        if name in others
    )
    return tuple(each for each in (*trusted, *rest) if _is_left(state, each.operation))


def _is_left(state: State, name: str) -> bool:
    work = state.work(name)
    return name in state.plan.steps and name not in state.done and not work.touched and not work.redone


def _doubtful(plan: Plan, continues: ContinuedLog) -> set[str]:
    """The operations that were possibly done, although no trusted line says so."""
    if not continues.damage:
        return set()
    if not continues.untrusted:
        return set(plan.steps)
    hinted = {each.operation for each in continues.done}
    return {continues.in_progress} | hinted | _before(plan, hinted)


def _before(plan: Plan, names: Iterable[str]) -> set[str]:
    """The operations that have to be done before one of ``names``."""
    found: set[str] = set()
    waiting = [name for name in names if name in plan.steps]
    while waiting:
        for name in plan.steps[waiting.pop()].after:
            if name not in found:
                found.add(name)
                waiting.append(name)
    return found
