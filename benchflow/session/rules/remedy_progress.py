"""The remedy that is next for a value out of its limit, and the operations to redo."""

from msgspec import Struct

from benchflow.ordering.rework import with_dependents
from benchflow.procedure import model
from benchflow.procedure.plan import Step
from benchflow.session.rules.calculated_values import calculate
from benchflow.session.rules.rework_plans import done_work
from benchflow.session.rules.verdicts import ValueVerdict, judge_value
from benchflow.session.state.state import State
from benchflow.trade.verdict import OutOfLimit


class RemedyProgress(Struct, frozen=True):
    """The remedy whose turn it is; ``remedy`` is ``None`` when all have been gone through or none is given.

    ``attempt`` counts from 1 up to ``remedy.tries``.
    """

    name: str
    verdict: OutOfLimit
    remedy: model.Remedy | None
    attempt: int
    exhausted: bool


def value_verdict(
    state: State, step: Step, name: str
) -> tuple[ValueVerdict, model.RecordedValue | model.CalculatedValue] | None:
    for record in step.operation.record:
        if record.name == name:
            return judge_value(state, step.id, record), record
    for work in step.operation.work_out:
        if work.name == name:
            worked = calculate(state, step, work)
            return None if worked is None else (worked.verdict, work)
    return None


def remedy_progress(state: State, step: Step, name: str) -> RemedyProgress | None:
    """Where a value stands with its remedies; ``None`` when it is not out of its limit."""
    found = value_verdict(state, step, name)
    if found is None or (found[0].verdict != "low" and found[0].verdict != "high"):
        return None
    verdict, value = found[0].verdict, found[1]
    remedies = value.below if verdict == "low" else value.above
    gone = state.work(step.id).remedies.get(name)
    count = gone.done if gone is not None and gone.verdict == verdict else 0
    for remedy in remedies:
        if count < remedy.tries or remedy.stop:
            return RemedyProgress(name, verdict, remedy, min(count, remedy.tries - 1) + 1, exhausted=False)
        count -= remedy.tries
    return RemedyProgress(name, verdict, None, 0, exhausted=bool(remedies))


def steps_to_redo(state: State, step: Step, remedy: model.Remedy) -> tuple[str, ...]:
    """The steps that a remedy's ``redo`` names (of the same place under ``each``, all of them from elsewhere), and
    with them everything done that rests on one of them: a cap torqued again has its hold signed again."""
    wanted = {ref.name for ref in remedy.redo}
    found = []
    for name, other in state.plan.steps.items():
        same = other.place is None or step.place is None or other.place == step.place
        if name in wanted or (other.operation.id in wanted and same):
            found.append(name)
    resting = with_dependents(state.plan, done_work(state), [one for one in found if one in state.done])
    return tuple(one for one in state.plan.steps if one != step.id and (one in found or one in resting))
