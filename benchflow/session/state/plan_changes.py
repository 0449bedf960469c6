"""Changes of the plan during a job: findings that decide what is done, and operations that a remedy called for."""

from collections.abc import Iterable, Mapping

from msgspec.structs import replace

from benchflow.procedure.deciding_findings import split_key
from benchflow.procedure.expand import with_findings
from benchflow.procedure.identity import ValueRef, name_at
from benchflow.procedure.plan import Findings, Step
from benchflow.session.state.state import State


def with_findings_made(state: State, answers: Mapping[str, tuple[str, ...]]) -> State:
    """Return the state with the plan after the findings ``answers`` of a finished operation."""
    return _with(state, {**state.plan.findings.answers, **answers}, state.plan.findings.called) if answers else state


def without_findings_of(state: State, step_id: str) -> State:
    """Return the state with the plan in which the findings of an operation are open again."""
    known, step = state.plan.findings.answers, state.plan.steps.get(step_id)
    gone = {} if step is None or not known else finding_keys(state, step)
    if known.keys().isdisjoint(gone):
        return state
    left = {key: found for key, found in known.items() if key not in gone}
    return _with(state, left, state.plan.findings.called)


def with_called(state: State, step_ids: Iterable[str], caller: str) -> State:
    """Return the state with the plan after a remedy of ``caller`` called for operations."""
    called = dict(state.plan.findings.called)
    for name in step_ids:
        called[name] = tuple(dict.fromkeys((*called.get(name, ()), caller)))
    return _with(state, state.plan.findings.answers, called)


def without_withdrawn_calls(state: State) -> State:
    """Return the state with the plan without the calls of operations that were undone since.

    What was called for is part of the build as long as it is done, or an operation whose remedy called for it is done
    or in progress.
    """
    called = state.plan.findings.called
    left = {
        name: callers if name in state.done else tuple(caller for caller in callers if _is_alive(state, caller))
        for name, callers in called.items()
    }
    left = {name: callers for name, callers in left.items() if callers}
    return state if left == called else _with(state, state.plan.findings.answers, left)


def _is_alive(state: State, step_id: str) -> bool:
    return step_id in state.done or step_id == state.in_progress or bool(state.work(step_id).people)


def finding_keys(state: State, step: Step) -> dict[str, ValueRef]:
    """The findings that a step makes and some `when` names, by key: each with its name, place and reading."""
    procedure, operation = state.plan.procedure, step.operation
    own = [
        name
        for name in procedure.deciding_names
        if any(owner.id == operation.id for owner in procedure.operations_of_finding(name))
    ]
    found = {name_at(name, step.place): ValueRef(name, step.place) for name in own}
    for key in state.plan.deciding_answers if own else ():
        ref = split_key(procedure, key)
        if ref.name in own and ref.place == step.place:
            found[key] = ref
    return found


def _with(state: State, answers: dict[str, tuple[str, ...]], called: dict[str, tuple[str, ...]]) -> State:
    return replace(state, plan=with_findings(state.plan, Findings(answers, called)))
