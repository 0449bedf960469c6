"""When state variables got their values, and when a clock was started again. Time windows count from it."""

from msgspec.structs import replace

from benchflow.procedure.model import Values
from benchflow.procedure.plan import Plan
from benchflow.session.state import events as ev
from benchflow.session.state.clock import EventTime
from benchflow.session.state.state import State, ValueSince


def first_values(plan: Plan, valuation: dict[str, str | None], time: EventTime) -> dict[str, tuple[ValueSince, ...]]:
    """The start value of each variable that a `while` names."""
    return {name: (ValueSince(valuation.get(name), time),) for name in plan.while_variables}


def with_state_times(before: State, after: State, event: ev.AnyEvent) -> State:
    """``after`` with the time of each value that ``event`` has changed, of the variables that a `while` names.

    While an operation is in progress its `during` values count. A move passes through its own.
    """
    if not after.value_times:
        return after
    then, now = _values(before), _values(after)
    passed: dict[str, str] = {}
    if isinstance(event, ev.MoveMade):
        move = after.plan.procedure.moves_by_id.get(event.move)
        passed = {} if move is None else move.during
    found = dict(after.value_times)
    for name, past in found.items():
        new = [*([passed[name]] if name in passed and passed[name] != then.get(name) else []), now.get(name)]
        for value in new:
            if value != past[-1].value:
                past = (*past, ValueSince(value, after.last))
        found[name] = past
    return after if found == after.value_times else _with_times(after, found)


def _with_times(state: State, found: dict[str, tuple[ValueSince, ...]]) -> State:
    return replace(state, value_times=found)


def _values(state: State) -> dict[str, str | None]:
    step = None if state.in_progress is None else state.plan.steps.get(state.in_progress)
    return dict(state.valuation) if step is None or not step.during else {**state.valuation, **step.during}


def entered_at(state: State, wanted: Values, until: EventTime | None = None) -> EventTime | None:
    """When the state ``wanted`` was last entered; ``None`` if it is not so. With ``until``, as after that event."""
    found: list[EventTime] = []
    for name, values in wanted.items():
        since: EventTime | None = None
        for each in state.value_times.get(name, ()):
            if until is not None and each.since.seq > until.seq:
                break
            if each.value not in values:
                since = None
            elif since is None:
                since = each.since
        if since is None:
            return None
        found.append(since)
    return max(found, key=lambda time: time.seq, default=None)
