"""Weak points of states that were entered by hand where a move or an operation would have set them."""

from collections.abc import Iterator

from benchflow.ordering.wording import in_a_sentence, state_text, step_title
from benchflow.procedure.identity import StepId
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.log.loaded_log import LoadedLog

HARMLESS, NEEDED, GUARDED = 0.0, 0.5, 1.0
"""The sizes: nothing depends on the state; an operation needs it; a rule of interference reads it."""


def state_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """The states entered by hand that ``step`` would have set, or that it was the first to need."""
    for owner, point in _by_hand(log):
        if owner == step.id:
            yield point


def job_state_points(log: LoadedLog) -> Iterator[WeakPoint]:
    """The states entered by hand that no step of the plan would have set or needed later."""
    for owner, point in _by_hand(log):
        if owner not in log.plan.steps:
            yield point


def _by_hand(log: LoadedLog) -> Iterator[tuple[str, WeakPoint]]:
    """Each state that was entered by hand instead of a move or an operation, with the step that it is about."""
    for line, event in log.states_by_hand:
        if event.value is None:
            continue
        setters = _setters(log, event.variable, event.value)
        before = _value_before(log, event.variable, line.seq)
        if not setters or before == event.value:
            continue
        words = (
            f"{line.by} entered by hand that {in_a_sentence(state_text(log.procedure, event.variable, event.value))}"
        )
        words += f" ({event.reason})" if event.reason else ""
        words += f"; “{setters[0]}” sets it"
        size, why = _weight(log, event.variable)
        if event.role or before is None:
            size, why = HARMLESS, "; signed as found" if event.role else "; it was not known before"
        owner = _owner(log, event.variable, event.value, line.seq)
        yield owner, WeakPoint("set-by-hand", words + why, line.seq, event.variable, size)


def _setters(log: LoadedLog, variable: str, value: str) -> tuple[str, ...]:
    """The titles of the moves and operations that bring ``variable`` to ``value``."""
    name = StepId.parse(variable).operation
    moves = (m.title for m in log.procedure.moves if m.sets.get(variable, m.sets.get(name)) == value)
    steps = (step_title(log.plan, s.id) for s in log.plan.steps.values() if s.sets.get(variable) == value)
    return (*moves, *steps)


def _value_before(log: LoadedLog, variable: str, seq: int) -> str | None:
    earlier = [write for write in log.state.writes.get(variable, ()) if write.seq < seq]
    return earlier[-1].value if earlier else log.state.opened.start.get(variable)


def _weight(log: LoadedLog, variable: str) -> tuple[float, str]:
    name = StepId.parse(variable).operation
    if any(variable in rule.never or name in rule.never for rule in log.procedure.interference):
        return GUARDED, "; a rule of interference reads it"
    if any(variable in step.needs or variable in step.during for step in log.plan.steps.values()):
        return NEEDED, "; an operation needs it"
    return HARMLESS, ""


def _owner(log: LoadedLog, variable: str, value: str, seq: int) -> str:
    """The operation that was done later, or not at all, and sets the state; else the first one that needed it; ""."""
    done = log.state.done
    for step in log.plan.steps.values():
        if step.sets.get(variable) == value and (step.id not in done or done[step.id].seq > seq):
            return step.id
    started = [
        (fact.started.seq, fact.operation)
        for fact in log.facts.operations
        if fact.started is not None and fact.started.seq > seq and fact.operation in log.plan.steps
    ]
    users = [
        (since, name)
        for since, name in started
        if variable in log.plan.steps[name].needs or variable in log.plan.steps[name].during
    ]
    return min(users, default=(0, ""))[1]
