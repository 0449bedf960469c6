"""The next remedy for a value that is out of its limit, and the operations to redo."""

from msgspec import Struct

from benchflow.ordering.rework import with_dependents
from benchflow.procedure import model
from benchflow.procedure.plan import Step
from benchflow.session.rules.rework_plans import done_work
from benchflow.session.rules.value_results import results_of
from benchflow.session.state.state import State
from benchflow.trade.verdict import OutOfLimit


class RemedyProgress(Struct, frozen=True):
    """The next remedy for a value that is out of its limit.

    ``attempt`` counts the tries of ``remedy``, from 1. ``remedy`` is ``None`` if the procedure gives none, or if all
    were tried (``exhausted``).
    """

    verdict: OutOfLimit
    remedy: model.Remedy | None
    attempt: int
    exhausted: bool


def remedy_progress(state: State, step: Step, name: str) -> RemedyProgress | None:
    """The next remedy for a value; ``None`` if the value is not out of its limit, or if a deviation covers it."""
    found = next((result for result in results_of(state, step, name) if result.out), None)
    value = step.record(name) or step.work_out(name)
    if found is None or value is None or (found.verdict.verdict != "low" and found.verdict.verdict != "high"):
        return None
    verdict = found.verdict.verdict
    remedies = value.below if verdict == "low" else value.above
    carried_out = state.work(step.id).remedies.get(name)
    tries = carried_out.done if carried_out is not None and carried_out.verdict == verdict else 0
    for remedy in remedies:
        if tries < remedy.tries or remedy.stop:
            return RemedyProgress(verdict, remedy, min(tries, remedy.tries - 1) + 1, exhausted=False)
        tries -= remedy.tries
    return RemedyProgress(verdict, None, 0, exhausted=bool(remedies))


def steps_to_redo(state: State, step: Step, remedy: model.Remedy) -> tuple[str, ...]:
    """The steps to redo after a remedy: those in its ``redo``, and every done step that depends on one of them.

    If ``step`` and an operation in ``redo`` are both repeated for places, only the same place is redone.
    """
    named = {ref.name for ref in remedy.redo}
    found = []
    for name, other in state.plan.steps.items():
        same_place = other.place is None or step.place is None or other.place == step.place
        if name in named or (other.operation.id in named and same_place):
            found.append(name)
    dependents = with_dependents(state.plan, done_work(state), [name for name in found if name in state.done])
    return tuple(name for name in state.plan.steps if name != step.id and (name in found or name in dependents))
