"""A reading out of its limit, and what the author says to do about it: one remedy after another, counted."""

from msgspec import Struct

from benchflow.ordering.interlock import forbidden
from benchflow.ordering.rework import with_dependents
from benchflow.procedure import model
from benchflow.procedure.plan import Step
from benchflow.session.context import Around, Decision, Entry, in_progress, refuse, said, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.intents.entries import resolve
from benchflow.session.intents.rework_intents import history
from benchflow.session.refusal import Refusal
from benchflow.session.rules.computed_values import judge_worked
from benchflow.session.rules.open_items import called
from benchflow.session.rules.verdicts import ValueVerdict, judge_value
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.session.state.state_changes import operation_undone
from benchflow.trade.verdict import OutOfLimit


class Remedying(Struct, frozen=True):
    """The remedy whose turn it is; ``remedy`` is ``None`` when all have been gone through or none is given.

    ``attempt`` counts from 1 up to ``remedy.tries``.
    """

    name: str
    verdict: OutOfLimit
    remedy: model.Remedy | None
    attempt: int
    exhausted: bool


def verdict_of(
    state: State, step: Step, name: str
) -> tuple[ValueVerdict, model.RecordedValue | model.CalculatedValue] | None:
    for record in step.operation.record:
        if record.name == name:
            return judge_value(state, step.id, record), record
    for work in step.operation.work_out:
        if work.name == name:
            worked = judge_worked(state, step, work)
            return None if worked is None else (worked.verdict, work)
    return None


def remedying(state: State, step: Step, name: str) -> Remedying | None:
    """Where a value stands with its remedies; ``None`` when it is not out of its limit."""
    found = verdict_of(state, step, name)
    if found is None or (found[0].verdict != "low" and found[0].verdict != "high"):
        return None
    verdict, value = found[0].verdict, found[1]
    remedies = value.below if verdict == "low" else value.above
    gone = state.work(step.id).remedies.get(name)
    count = gone.done if gone is not None and gone.verdict == verdict else 0
    for remedy in remedies:
        if count < remedy.tries or remedy.stop:
            return Remedying(name, verdict, remedy, min(count, remedy.tries - 1) + 1, exhausted=False)
        count -= remedy.tries
    return Remedying(name, verdict, None, 0, exhausted=bool(remedies))


def remedy(state: State, intent: it.RemedyDone, around: Around, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    names = [one.name for one in step.operation.record] + [one.name for one in step.operation.work_out]
    name = resolve(step, intent.name, names)
    if name is None:
        return unknown("value in this operation", intent.name, names)
    now = remedying(state, step, name)
    if now is None:
        return refuse(
            "not-allowed", f"{called(step, name)} is not out of its limit: there is nothing to remedy", name=name
        )
    if now.remedy is None:
        words = "its remedies have all been gone through" if now.exhausted else "the procedure gives no remedy"
        return refuse(
            "not-allowed", f"{called(step, name)} is out of its limit, and {words}: only a deviation is left", name=name
        )
    if now.remedy.stop:
        return refuse("not-allowed", f"{called(step, name)}: this is where it stops: {now.remedy.do}", name=name)
    redo = redo_steps(state, step, now.remedy)
    struck = _forbidden_after(state, redo)
    if struck is not None:
        message = (
            f"doing {', '.join(said(state, one) for one in redo)} again leaves it so: {struck}. Take it back instead"
        )
        return refuse("interference", message, name=name)
    return (Entry(by, ev.Remedied(step.id, name, now.verdict, now.remedy.do, redo)),)


def _forbidden_after(state: State, redo: tuple[str, ...]) -> str | None:
    """The rule that the assembly would break once what is to be done again counts as not done."""
    for one in redo:
        state = operation_undone(state, one, state.seq)
    broken = forbidden(state.plan, state.valuation) if redo else ()
    return state.plan.procedure.interference[broken[0]].because if broken else None


def redo_steps(state: State, step: Step, remedy: model.Remedy) -> tuple[str, ...]:
    """The steps that a remedy's ``redo`` names (of the same place under ``each``, all of them from elsewhere), and
    with them everything done that rests on one of them: a cap torqued again has its hold signed again."""
    wanted = {ref.name for ref in remedy.redo}
    found = []
    for name, other in state.plan.steps.items():
        same = other.place is None or step.place is None or other.place == step.place
        if name in wanted or (other.operation.id in wanted and same):
            found.append(name)
    resting = with_dependents(state.plan, history(state), [one for one in found if one in state.done])
    return tuple(one for one in state.plan.steps if one != step.id and (one in found or one in resting))
