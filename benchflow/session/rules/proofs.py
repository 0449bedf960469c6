"""The proof of state variables (`proves`): what is not known because its proof was waived, or was corrected later."""

from collections.abc import Iterator

import msgspec

from benchflow.procedure.model import CalculatedValue, RecordedValue, values_of
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Entry, quoted_title, refuse
from benchflow.session.log.line_format import Line
from benchflow.session.refusal import Refusal
from benchflow.session.rules.calculated_values import calculate
from benchflow.session.rules.signatures import signature_refusal
from benchflow.session.rules.verdicts import judge_value
from benchflow.session.rules.waivers import NEVER, roles_to_waive, waive_rules, window_subjects
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.verdict import OUT_OF_LIMIT


def unproven_variables(state: State, step: Step) -> tuple[str, ...]:
    """The state variables whose proof in ``step`` is out or was waived. They are not known when the step is done."""
    names = [ref.name for value in _failed_proofs(state, step) for ref in value.proves]
    waived = state.work(step.id).deviations
    for window in step.time:
        if any(subject in waived for subject in window_subjects(window)):
            names += window.proves
    return tuple(dict.fromkeys(names))


def _failed_proofs(state: State, step: Step) -> Iterator[RecordedValue | CalculatedValue]:
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
            verdict = judge_value(state, step.id, value)
        else:
            calculated = calculate(state, step, value)
            if calculated is None:
                yield value
                continue
            verdict = calculated.verdict
        if verdict.missing or verdict.verdict in (*OUT_OF_LIMIT, "not-proven"):
            yield value


def evidence_entries(state: State, entries: tuple[Entry, ...], context: Context, by: str) -> tuple[Entry, ...]:
    """An entry for each finished operation whose proof of a state variable changes with ``entries``."""
    proving = [step for step in state.plan.steps.values() if step.id in state.done and proved_by(step)]
    if not proving:
        return ()
    after = _state_after(state, entries, context)
    found = []
    for step in proving:
        unknown = unproven_variables(after, step)
        if unknown != unproven_variables(state, step):
            found.append(Entry(by, ev.EvidenceChanged(step.id, unknown)))
    return tuple(found)


def proved_by(step: Step) -> frozenset[str]:
    """The state variables that ``step`` proves."""
    names = {ref.name for value in values_of(step.operation) for ref in value.proves}
    return frozenset(names.union(*(window.proves for window in step.time)))


def correction_refusal(
    state: State, entries: tuple[Entry, ...], context: Context, by: str, pin: str | None
) -> Refusal | None:
    """A refusal if ``entries`` make a failed proof good, and ``by`` cannot sign a deviation about it."""
    proving = [step for step in state.plan.steps.values() if proved_by(step) and state.work(step.id).touched]
    if not proving:
        return None
    after = _state_after(state, entries, context)
    for step in proving:
        still = {value.name for value in _failed_proofs(after, step)}
        for value in _failed_proofs(state, step):
            if value.name in still or judged_missing(state, step, value):
                continue
            if NEVER in waive_rules(state, step, value.name):
                message = (
                    f"{value.name} of {quoted_title(state, step.id)} proves a state and cannot be waived "
                    "(`waive: never`), so a correction cannot make it good. Measure again"
                )
                return refuse("not-allowed", message, operation=step.id, name=value.name)
            for role in roles_to_waive(state, step, value.name):
                refusal = signature_refusal(context.shop, by, role, pin, ask_pin=True)
                if refusal is not None:
                    return refusal
    return None


def judged_missing(state: State, step: Step, value: RecordedValue | CalculatedValue) -> bool:
    """True if the value has no result yet."""
    if isinstance(value, RecordedValue):
        return bool(judge_value(state, step.id, value).missing)
    return calculate(state, step, value) is None


def _state_after(state: State, entries: tuple[Entry, ...], context: Context) -> State:
    """The state after ``entries``."""
    from benchflow.session.state.fold import fold

    for entry in entries:
        data = msgspec.to_builtins(entry.event)
        kind = data.pop("kind")
        state = fold(state, Line(state.seq + 1, context.now.at, entry.by, kind, data, "", ""))
    return state
