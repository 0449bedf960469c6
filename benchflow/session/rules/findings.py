"""The findings of an operation that decide what is done next, and whether they hold the operation open."""

from collections.abc import Iterator

from benchflow.procedure.identity import ValueRef, name_at
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Entry, quoted_title
from benchflow.session.refusal import Reason
from benchflow.session.rules.choice_tables import choice_reasons
from benchflow.session.rules.evaluated_values import lacks_round_before
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.value_results import results_of
from benchflow.session.state.plan_changes import finding_keys
from benchflow.session.state.state import State
from benchflow.trade.verdict import Verdict

_ANSWER_OF_VERDICT = {"ok": "ok", "none": "ok", "low": "below", "high": "above"}
"""The answer of a `when` for a verdict. A value without a limit is ok; one that is not proven is none of them."""


def findings_made(state: State, step: Step) -> dict[str, tuple[str, ...]]:
    """What was found in ``step``, for each of its findings that some `when` names."""
    return {key: _found(state, step, ref) for key, ref in finding_keys(state, step).items()}


def _found(state: State, step: Step, ref: ValueRef) -> tuple[str, ...]:
    work, placed = state.work(step.id), name_at(ref.name, step.place)
    for number, point in enumerate(step.operation.check, 1):
        if point.id == ref.name:
            return ("yes",) if number in work.checks else ("no",) if number in work.failed else ()
    if placed in work.chosen:
        return (work.chosen[placed],)
    results = [each for each in results_of(state, step, placed) if not each.limit]
    own = [each for each in results if each.slot == ref.reading]
    verdicts: list[Verdict] = [each.verdict.verdict for each in own or results]
    if not verdicts and lacks_round_before(state, ValueRef.parse(placed)):
        verdicts = ["none"]  # not judged in the first round
    return tuple(dict.fromkeys(_ANSWER_OF_VERDICT[one] for one in verdicts if one in _ANSWER_OF_VERDICT))


def decides(state: State, step: Step, name: str, answer: str) -> bool:
    """True if some `when` of this build names this answer of the finding ``name`` (with its place) of ``step``."""
    return answer in state.plan.deciding_answers.get(name, ())


def _choices_against_tables(state: State, step: Step) -> frozenset[str]:
    """The choices of ``step`` for which the table gives another part than the one that was chosen."""
    return frozenset(reason.name for reason in choice_reasons(state, step) if reason.name is not None)


def verdict_decides(state: State, step: Step, name: str, verdict: str) -> bool:
    """True if some `when` of this build says what is done after this verdict on a value or reading of ``step``."""
    return decides(state, step, name, _ANSWER_OF_VERDICT.get(verdict, ""))


def answer_no_decides(state: State, step: Step, number: int) -> bool:
    """True if some `when` of this build says what is done after a check was answered no."""
    point = step.operation.check[number - 1]
    return bool(point.id) and decides(state, step, name_at(point.id, step.place), "no")


def finding_change_reasons(state: State, entries: tuple[Entry, ...], context: Context) -> Iterator[Reason]:
    """A reason for each finished operation whose findings the entries would change: its work would be another."""
    if not state.plan.findings.answers:
        return
    after = state_after(state, entries, context)
    for name in state.done:
        finding = _changed_finding(
            after, after.plan.steps.get(name, state.plan.steps[name])
        )  # its limits can be others
        if finding:
            message = (
                f"This correction would change the finding {finding} of {quoted_title(state, name)}, which decides "
                f"what is done. Start a rework of {quoted_title(state, name)} instead, and do it again"
            )
            yield Reason("not-allowed", message, operation=name, name=finding)


def findings_changed_again(state: State, step: Step) -> Iterator[Reason]:
    """A reason for each finding that has changed since ``step``, which was done, was started again."""
    if not state.plan.findings.answers or not state.work(step.id).finished:
        return
    for name in (*state.done, step.id):
        finding = _changed_finding(state, state.plan.steps[name])
        if finding:
            title = quoted_title(state, name)
            message = (
                f"The finding {finding} of {title} has changed, and it decides what is done. Pause "
                f"{quoted_title(state, step.id)} and rework {title}, or enter the value again if it was misread"
            )
            yield Reason("not-allowed", message, operation=name, name=finding)


def _changed_finding(state: State, step: Step) -> str:
    """The first changed finding of ``step`` that decides what is done; empty if there is none."""
    known = {key: state.plan.findings.answers.get(key) for key in finding_keys(state, step)}
    changed = [key for key, found in findings_made(state, step).items() if known[key] not in (None, found)]
    changed += [key for key in known if key in _choices_against_tables(state, step)]
    return next(iter(changed), "")
