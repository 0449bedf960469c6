"""Finished operations that are reopened: a correction has put a value in them out of its limit, or made it not proven.

The log has no event for it. It follows from the entries, so another correction or a deviation ends it.
"""

from collections.abc import Iterator

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, CalculatedValue, RecordedValue, bounds_of, values_of
from benchflow.procedure.plan import Plan, Step
from benchflow.session.refusal import Reason
from benchflow.session.rules.open_items import limit_reasons
from benchflow.session.state.state import State


def reopened_operations(state: State) -> dict[str, tuple[Reason, ...]]:
    """The finished operations that are reopened, by step id, each with every reason."""
    if not state.changed_later:
        return {}
    found, changed = {}, _names_changed(state)
    for name, step in state.plan.steps.items():
        if name in state.done and (
            name in state.changed_later or not changed.isdisjoint(_names_used(state.plan, step))
        ):
            reasons = limit_reasons(state, step)
            if reasons:
                found[name] = reasons
    return found


def done_operations(state: State) -> tuple[str, ...]:
    """The operations that are done and not reopened, in the order of finishing."""
    reopened = reopened_operations(state)
    return tuple(name for name in state.done if name not in reopened)


def _names_changed(state: State) -> set[str]:
    """The values, without places, of the operations with later changes, and all that is calculated from them."""
    steps = state.plan.steps
    changed = {
        ValueRef.parse(value.name).name
        for name in state.changed_later
        if name in steps
        for value in values_of(steps[name].operation)
    }
    works = [(ValueRef.parse(work.name).name, work) for step in steps.values() for work in step.operation.work_out]
    while True:
        wider = changed | {name for name, work in works if not changed.isdisjoint(_names_in_formula(state.plan, work))}
        if wider == changed:
            return changed
        changed = wider


def _names_used(plan: Plan, step: Step) -> Iterator[str]:
    """The values, without places, that can decide on a verdict of ``step`` besides its own readings."""
    operation = step.operation
    for work in operation.work_out:
        yield from _names_in_formula(plan, work)
    limited: list[RecordedValue | CalculatedValue] = [*operation.work_out]
    limited += (one for record in operation.record for one in record.by_limit)
    for bound in (bound for value in limited for bound in bounds_of(value)):
        if isinstance(bound, AboveReading):
            yield plan.ref(bound.name).name
    yield from (plan.ref(choose.by).name for choose in operation.choose)
    yield from (ValueRef.parse(match.measured).name for match in operation.match)


def _names_in_formula(plan: Plan, work: CalculatedValue) -> set[str]:
    from benchflow.procedure.formula import names  # late import: most jobs need no formula

    return {ref.name for ref in names(plan.formula(work))}
