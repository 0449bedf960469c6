"""What an operation in progress still needs before it can be finished: every reason, in the order of its inputs."""

from collections.abc import Iterator

from benchflow.base.durations import clock_duration
from benchflow.procedure.identity import StepId
from benchflow.procedure.model import CheckStage, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import show
from benchflow.session.refusal import Reason
from benchflow.session.rules.blocking import finish_interlock_reasons
from benchflow.session.rules.calculated_values import calculate, last_remedy, unmatched_calculations
from benchflow.session.rules.check_stages import check_text
from benchflow.session.rules.choice_tables import choice_reasons
from benchflow.session.rules.joint_progress import joint_progress, last_ticks, progress_text
from benchflow.session.rules.part_matching import match_reasons
from benchflow.session.rules.running_clocks import RunningClock, running_clocks
from benchflow.session.rules.verdicts import ValueVerdict, judge_value, last_attempts
from benchflow.session.state.clock import Now
from benchflow.session.state.state import State
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT

TIME = "time"
HOLD = "hold"


def required_lots(state: State, step: Step) -> tuple[str, ...]:
    """The kit items of this operation whose lot must be entered, in the order they are used."""
    items = {item.id: item for item in state.plan.procedure.kit}
    return tuple(ref.name for ref in step.operation.uses if ref.name in items and items[ref.name].lot_required)


def finish_reasons(state: State, step: Step, now: Now) -> tuple[Reason, ...]:
    """Everything that stops ``step`` being finished now; empty when it can be."""
    return (
        *(reason for item in _values(state, step) for reason in item),
        *choice_reasons(state, step),
        *match_reasons(state, step),
        *_lots(state, step),
        *_joint(state, step),
        *_checks(state, step),
        *too_late_reasons(state, step, now),
        *finish_interlock_reasons(state, step),
        *_hold(state, step),
    )


def limit_reasons(state: State, step: Step) -> tuple[Reason, ...]:
    """What of ``step`` is out of its limit or not proven, and not waived. When it is done, a correction has made it so:
    of a reading, or of one that a calculation or a choice depends on."""
    found = (
        *(reason for item in _values(state, step) for reason in item),
        *choice_reasons(state, step),
        *match_reasons(state, step),
        *_joint(state, step),
    )
    return tuple(reason for reason in found if reason.code in ("out-of-limit", "not-proven"))


def _values(state: State, step: Step) -> Iterator[tuple[Reason, ...]]:
    for record in step.operation.record:
        verdict = judge_value(state, step.id, record)
        yield (*_read_again(state, step, record), *value_reasons(state, step, record.name, record.slots, verdict))
    for work in unmatched_calculations(step):
        worked = calculate(state, step, work)
        if worked is None:
            message = f"{work.title or work.name} cannot be calculated yet. A reading is missing"
            yield (Reason("value-missing", message, operation=step.id, name=work.name),)
        else:
            yield value_reasons(state, step, work.name, ("1",), worked.verdict)


def _read_again(state: State, step: Step, record: RecordedValue) -> Iterator[Reason]:
    """What was read before a remedy says nothing of how it is after it."""
    remedied = last_remedy(state, step, record.name)
    old = [slot for slot, attempt in last_attempts(state, step.id, record.name).items() if attempt.seq < remedied]
    if old:
        which = "" if len(record.slots) == 1 else f" (reading {', '.join(old)} of {len(record.slots)})"
        message = f"{value_title(step, record.name)} was read before the remedy. Read it again{which}"
        yield Reason("value-missing", message, operation=step.id, name=record.name)


def value_reasons(
    state: State, step: Step, name: str, slots: tuple[str, ...], verdict: ValueVerdict
) -> tuple[Reason, ...]:
    """What is wrong with one value: readings missing, out of the limit, not proven. A deviation waives the
    limit, never a reading that is not there."""
    if verdict.missing:
        which = "" if len(slots) == 1 else f" (reading {', '.join(verdict.missing)} of {len(slots)})"
        reasons: tuple[Reason, ...] = (
            Reason(
                "value-missing", f"{value_title(step, name)} is not entered yet{which}", operation=step.id, name=name
            ),
        )
    else:
        reasons = ()
    if name in state.work(step.id).deviations:
        return reasons
    lapsed = lapsed_deviation_text(state, step, name)
    shown = "" if verdict.value is None else show(verdict.value)
    if verdict.verdict in OUT_OF_LIMIT:
        message = f"{value_title(step, name)}: {shown} {VERDICT_TEXT[verdict.verdict]}, limit {verdict.limit}{lapsed}"
        return (*reasons, Reason("out-of-limit", message, operation=step.id, name=name))
    if verdict.verdict == "not-proven":
        message = (
            f"{value_title(step, name)}: {shown}, not proven to be within {verdict.limit}: {verdict.reason}{lapsed}"
        )
        return (*reasons, Reason("not-proven", message, operation=step.id, name=name))
    return reasons


def value_title(step: Step, name: str) -> str:
    """A value as the builder knows it: by its question or its title, not by its name in the file."""
    asked = {one.name: one.ask for one in step.operation.record}
    worked = {one.name: one.title for one in step.operation.work_out}
    return asked.get(name) or worked.get(name) or name


def lapsed_deviation_text(state: State, step: Step, name: str) -> str:
    """That a deviation was signed about what has been replaced since, and so counts no more."""
    lapsed = state.work(step.id).lapsed.get(name)
    return "" if lapsed is None else f"; the deviation that {lapsed.by} signed was about what was read before"


def _lots(state: State, step: Step) -> Iterator[Reason]:
    entered = state.work(step.id).lots
    items = {item.id: item for item in state.plan.procedure.kit}
    for name in required_lots(state, step):
        if name not in entered:
            message = f"the lot of {items[name].title or name} is not entered yet"
            yield Reason("value-missing", message, operation=step.id, name=name)


def _joint(state: State, step: Step) -> Iterator[Reason]:
    count = joint_progress(state, step)
    if count is None:
        return
    title = count.joint.title or count.joint.id
    if not count.complete:
        upcoming = count.draw_down.next if count.seating_open and count.draw_down is not None else count.next
        message = f"{title}: {progress_text(count)}; next is {upcoming}"
        yield Reason("stage-not-finished", message, operation=step.id, name=count.joint.id)
    waived = state.work(step.id).deviations
    if count.joint.id in waived:
        return
    for tick in last_ticks(state.work(step.id).ticks).values():
        stage = count.tighten.stages[tick.stage - 1]
        if tick.verdict in OUT_OF_LIMIT and isinstance(stage, CheckStage) and tick.quantity is not None:
            message = f"fastener {tick.fastener} of {title} read {check_text(stage, tick.quantity, tick.stretch)}"
            message += lapsed_deviation_text(state, step, count.joint.id)
            yield Reason("out-of-limit", message, operation=step.id, name=count.joint.id)


def _checks(state: State, step: Step) -> Iterator[Reason]:
    ticked = state.work(step.id).checks
    for number, text in enumerate(step.operation.check, 1):
        if number not in ticked:
            yield Reason("check-open", f"not ticked yet: {text}", operation=step.id, name=str(number))


def _hold(state: State, step: Step) -> Iterator[Reason]:
    hold = step.operation.hold
    work = state.work(step.id)
    if hold is None or work.signed is not None or HOLD in work.deviations:
        return
    message = f"hold: {hold.by} signs for {hold.for_}"
    if work.void is not None:
        message += f"; {work.void.by} signed before something was entered, so it no longer counts"
    yield Reason("hold-unsigned", message, operation=step.id)


def unwaived_clocks(state: State, step: Step, now: Now) -> Iterator[RunningClock]:
    """The running windows of ``step`` that no deviation is about: all of them, or one by what it counts from."""
    about = state.work(step.id).deviations
    for run in running_clocks(state, step, now):
        since = run.window.operation
        if not any(
            each in about for each in (TIME, window_subject(since), window_subject(StepId.parse(since).operation))
        ):
            yield run


def window_subject(operation: str) -> str:
    """What a deviation calls the window that counts from ``operation``, apart from values of that name."""
    return f"{TIME} {operation}"


def too_late_reasons(state: State, step: Step, now: Now) -> Iterator[Reason]:
    """Windows that have closed before this operation was finished."""
    for run in unwaived_clocks(state, step, now):
        if run.open_left is not None and run.open_left < 0:
            title = state.plan.steps[run.window.operation].title
            message = (
                f"the time since {title} is over by {clock_duration(run.open_left)} ({run.window.text}): "
                f"take {title} back and do it again, or sign a deviation"
            )
            yield Reason("too-late", message, operation=run.window.operation)


def too_early_reasons(state: State, step: Step, now: Now) -> Iterator[Reason]:
    """Waits that are not over: they hold back taking up."""
    for run in unwaived_clocks(state, step, now):
        if run.wait_left > 0:
            title = state.plan.steps[run.window.operation].title
            message = f"wait {clock_duration(run.wait_left)} more after {title} ({run.window.text})"
            yield Reason("too-early", message, operation=run.window.operation)
