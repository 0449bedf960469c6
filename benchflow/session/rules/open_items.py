"""Every reason why an operation in progress cannot be finished, in the order of its inputs."""

from collections.abc import Iterator

from benchflow.base.durations import clock_duration
from benchflow.procedure.identity import StepId
from benchflow.procedure.model import CheckStage, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import show
from benchflow.session.context import quoted_title
from benchflow.session.refusal import Reason
from benchflow.session.rules.blocking import finish_interlock_reasons
from benchflow.session.rules.calculated_values import calculate, last_remedy_seq, unmatched_calculations
from benchflow.session.rules.check_stages import check_text
from benchflow.session.rules.choice_tables import choice_reasons
from benchflow.session.rules.deviation_subjects import HOLD, TIME, window_subject
from benchflow.session.rules.joint_progress import joint_progress, last_ticks, progress_text
from benchflow.session.rules.part_matching import match_reasons
from benchflow.session.rules.running_clocks import RunningClock, running_clocks
from benchflow.session.rules.verdicts import ValueVerdict, judge_value, last_attempts
from benchflow.session.state.clock import Now
from benchflow.session.state.state import State
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT


def required_lots(state: State, step: Step) -> tuple[str, ...]:
    """The kit items of this operation whose lot must be entered, in the order they are used."""
    kit = state.plan.procedure.kit_by_id
    return tuple(ref.name for ref in step.operation.uses if ref.name in kit and kit[ref.name].lot_required)


def finish_reasons(state: State, step: Step, now: Now) -> tuple[Reason, ...]:
    """Every reason why ``step`` cannot be finished now."""
    return (
        *_value_reasons(state, step),
        *choice_reasons(state, step),
        *match_reasons(state, step),
        *_lot_reasons(state, step),
        *_joint_reasons(state, step),
        *_check_reasons(state, step),
        *too_late_reasons(state, step, now),
        *finish_interlock_reasons(state, step),
        *_hold_reasons(state, step),
    )


def limit_reasons(state: State, step: Step) -> tuple[Reason, ...]:
    """Everything in ``step`` that is out of its limit or not proven, and not waived.

    In an operation that is done, only the correction of a reading can cause this.
    """
    found = (
        *_value_reasons(state, step),
        *choice_reasons(state, step),
        *match_reasons(state, step),
        *_joint_reasons(state, step),
    )
    return tuple(reason for reason in found if reason.code in ("out-of-limit", "not-proven"))


def _value_reasons(state: State, step: Step) -> Iterator[Reason]:
    for record in step.operation.record:
        verdict = judge_value(state, step.id, record)
        yield from _reread_reasons(state, step, record)
        yield from value_reasons(state, step, record.name, record.slots, verdict)
    for work in unmatched_calculations(step):
        calculated = calculate(state, step, work)
        if calculated is None:
            message = f"{work.title or work.name} cannot be calculated yet. A reading is missing"
            yield Reason("value-missing", message, operation=step.id, name=work.name)
        else:
            yield from value_reasons(state, step, work.name, ("1",), calculated.verdict)


def _reread_reasons(state: State, step: Step, record: RecordedValue) -> Iterator[Reason]:
    """The reason to read a value again: some readings are older than the last remedy."""
    remedied = last_remedy_seq(state, step, record.name)
    old = [slot for slot, attempt in last_attempts(state, step.id, record.name).items() if attempt.seq < remedied]
    if old:
        which = "" if len(record.slots) == 1 else f" (reading {', '.join(old)} of {len(record.slots)})"
        message = f"{value_title(step, record.name)} was read before the remedy. Read it again{which}"
        yield Reason("value-missing", message, operation=step.id, name=record.name)


def value_reasons(
    state: State, step: Step, name: str, slots: tuple[str, ...], verdict: ValueVerdict
) -> tuple[Reason, ...]:
    """Every reason against one value: readings are missing, it is out of its limit, or it is not proven.

    ``slots`` names its readings. A deviation waives the limit, but not a missing reading.
    """
    title = value_title(step, name)
    reasons: tuple[Reason, ...] = ()
    if verdict.missing:
        which = "" if len(slots) == 1 else f" (reading {', '.join(verdict.missing)} of {len(slots)})"
        message = f"{title} is not entered yet{which}"
        reasons = (Reason("value-missing", message, operation=step.id, name=name),)
    if name in state.work(step.id).deviations:
        return reasons
    advice = f"{lapsed_deviation_text(state, step, name)}. Measure again, or sign a deviation"
    shown = "" if verdict.value is None else show(verdict.value)
    if verdict.verdict in OUT_OF_LIMIT:
        message = f"{title}: {shown} {VERDICT_TEXT[verdict.verdict]}, limit {verdict.limit}{advice}"
        return (*reasons, Reason("out-of-limit", message, operation=step.id, name=name))
    if verdict.verdict == "not-proven":
        message = f"{title}: {shown}, not proven to be within {verdict.limit}: {verdict.reason}{advice}"
        return (*reasons, Reason("not-proven", message, operation=step.id, name=name))
    return reasons


def value_title(step: Step, name: str) -> str:
    """The question for a recorded value, or the title of a calculated one; the name if it has neither."""
    record, work = step.record(name), step.work_out(name)
    return (record.ask if record else "") or (work.title if work else "") or name


def lapsed_deviation_text(state: State, step: Step, name: str) -> str:
    """A sentence on a deviation that no longer counts, because the value was entered again; empty if there is none."""
    lapsed = state.work(step.id).lapsed.get(name)
    return "" if lapsed is None else f". The deviation signed by {lapsed.by} was for an earlier entry"


def _lot_reasons(state: State, step: Step) -> Iterator[Reason]:
    entered = state.work(step.id).lots
    for name in required_lots(state, step):
        if name not in entered:
            title = state.plan.procedure.kit_by_id[name].title or name
            message = f"The lot of {title} is not entered yet"
            yield Reason("value-missing", message, operation=step.id, name=name)


def _joint_reasons(state: State, step: Step) -> Iterator[Reason]:
    progress = joint_progress(state, step)
    if progress is None:
        return
    title = progress.joint.title or progress.joint.id
    if not progress.complete:
        draw_down = progress.draw_down if progress.seating_open else None
        fastener = progress.next if draw_down is None else draw_down.next
        message = f"{title}: {progress_text(progress)}. Next is fastener {fastener}"
        yield Reason("stage-not-finished", message, operation=step.id, name=progress.joint.id)
    waived = state.work(step.id).deviations
    if progress.joint.id in waived:
        return
    for tick in last_ticks(state.work(step.id).ticks).values():
        stage = progress.tighten.stages[tick.stage - 1]
        if tick.verdict in OUT_OF_LIMIT and isinstance(stage, CheckStage) and tick.quantity is not None:
            message = (
                f"Fastener {tick.fastener} of {title}: {check_text(stage, tick.quantity, tick.stretch)}"
                f"{lapsed_deviation_text(state, step, progress.joint.id)}. Read it again, or sign a deviation"
            )
            yield Reason("out-of-limit", message, operation=step.id, name=progress.joint.id)


def _check_reasons(state: State, step: Step) -> Iterator[Reason]:
    ticked = state.work(step.id).checks
    for number, text in enumerate(step.operation.check, 1):
        if number not in ticked:
            yield Reason("check-open", f"Check {number} is not ticked yet: {text}", operation=step.id, name=str(number))


def _hold_reasons(state: State, step: Step) -> Iterator[Reason]:
    hold = step.operation.hold
    work = state.work(step.id)
    if hold is None or work.signed is not None or HOLD in work.deviations:
        return
    message = f"Hold: {hold.by} must sign for {hold.for_}"
    if work.void is not None:
        message += f". The signature of {work.void.by} no longer counts, because something was entered after it"
    yield Reason("hold-unsigned", message, operation=step.id)


def unwaived_clocks(state: State, step: Step, now: Now) -> Iterator[RunningClock]:
    """The running time windows of ``step`` that no deviation waives."""
    waived = state.work(step.id).deviations
    for clock in running_clocks(state, step, now):
        since = clock.window.operation
        subjects = (TIME, window_subject(since), window_subject(StepId.parse(since).operation))
        if not any(subject in waived for subject in subjects):
            yield clock


def too_late_reasons(state: State, step: Step, now: Now) -> Iterator[Reason]:
    """A reason for each time window of ``step`` that has closed."""
    for clock in unwaived_clocks(state, step, now):
        if clock.open_left is not None and clock.open_left < 0:
            since = clock.window.operation
            late = (
                f"{clock_duration(clock.open_left)} too late after {quoted_title(state, since)} ({clock.window.text})"
            )
            advice = f"Redo step {state.plan.number(since)}, or sign a deviation"
            yield Reason("too-late", f"{late}. {advice}", operation=since)


def too_early_reasons(state: State, step: Step, now: Now) -> Iterator[Reason]:
    """A reason for each time window of ``step`` that is not open yet."""
    for clock in unwaived_clocks(state, step, now):
        if clock.wait_left > 0:
            since = clock.window.operation
            early = f"Too early after {quoted_title(state, since)} ({clock.window.text})"
            advice = f"Wait {clock_duration(clock.wait_left)} more, or sign a deviation"
            yield Reason("too-early", f"{early}. {advice}", operation=since)
