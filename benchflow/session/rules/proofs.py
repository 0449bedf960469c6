"""The proof of state variables (`proves`): what is not known, because its proof is out of its limit or was waived."""

from collections.abc import Iterator

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue, RecordedValue, values_of
from benchflow.procedure.plan import Step
from benchflow.session.rules.calculated_values import calculate
from benchflow.session.rules.evaluated_values import lacks_round_before
from benchflow.session.rules.verdicts import judge_value
from benchflow.session.rules.waivers import window_is_waived
from benchflow.session.state.state import State
from benchflow.trade.verdict import OUT_OF_LIMIT


def unproven_variables(state: State, step: Step) -> tuple[str, ...]:
    """The state variables whose proof in ``step`` is out or was waived. They are not known when the step is done."""
    names = [ref.name for value in failed_proofs(state, step) for ref in value.proves]
    work = state.work(step.id)
    for number, point in enumerate(step.operation.check, 1):
        if number not in work.checks:  # finished all the same, its answer no was waived
            names += [ref.name for ref in point.proves]
    for window in step.time:
        if window_is_waived(state, step, window):
            names += window.proves
    return tuple(dict.fromkeys(names))


def failed_proofs(state: State, step: Step) -> Iterator[RecordedValue | CalculatedValue]:
    """The values of ``step`` that should prove a state variable, but are missing, out of their limit or not proven."""
    matched = {match.so_that: match.name for match in step.operation.match}
    for value in values_of(step.operation):
        if not value.proves:
            continue
        if value.name in matched:  # judged place by place; finished without a deviation, it is within its limit
            if matched[value.name] in state.work(step.id).deviations:
                yield value
            continue
        if isinstance(value, RecordedValue):
            verdicts = [judge_value(state, step.id, one) for one in value.by_limit]
        else:
            calculated = calculate(state, step, value)
            if calculated is None:
                if not lacks_round_before(state, ValueRef.parse(value.name)):
                    yield value
                continue
            verdicts = [calculated.verdict]
        if any(verdict.missing or verdict.verdict in (*OUT_OF_LIMIT, "not-proven") for verdict in verdicts):
            yield value


def proved_by(step: Step) -> frozenset[str]:
    """The state variables that ``step`` proves."""
    names = {ref.name for value in values_of(step.operation) for ref in value.proves}
    names.update(ref.name for point in step.operation.check for ref in point.proves)
    return frozenset(names.union(*(window.proves for window in step.time)))


def judged_missing(state: State, step: Step, value: RecordedValue | CalculatedValue) -> bool:
    """True if the value has no result yet."""
    if isinstance(value, RecordedValue):
        return bool(judge_value(state, step.id, value).missing)
    return calculate(state, step, value) is None and not lacks_round_before(state, ValueRef.parse(value.name))
