"""Every reason why an operation in progress cannot be finished, in the order of its inputs."""

from collections.abc import Iterator

from benchflow.procedure.model import OpenStage
from benchflow.procedure.plan import Step
from benchflow.session.context import quoted_title
from benchflow.session.refusal import Reason
from benchflow.session.rules.blocking import finish_interlock_reasons
from benchflow.session.rules.check_remedies import answer_is_waived, remedy_of_check
from benchflow.session.rules.check_stages import out_of_band_text
from benchflow.session.rules.choice_tables import choice_reasons
from benchflow.session.rules.deviation_subjects import fastener_subject, titled_value
from benchflow.session.rules.failed_fasteners import stopped_reason
from benchflow.session.rules.findings import answer_no_decides, findings_changed_again
from benchflow.session.rules.joint_progress import (
    JointProgress,
    joint_progress,
    open_out_ticks,
    progress_text,
)
from benchflow.session.rules.missing_figures import used_range_missing
from benchflow.session.rules.open_values import open_value_reasons
from benchflow.session.rules.part_matching import match_reasons
from benchflow.session.rules.part_preference import preference_reasons
from benchflow.session.rules.proofs import unproven_variables
from benchflow.session.rules.put_right_advice import rework_asked
from benchflow.session.rules.remedy_waits import value_wait_reasons
from benchflow.session.rules.running_clocks import RunningClock, running_clocks
from benchflow.session.rules.stage_remedies import fastener_remedies
from benchflow.session.rules.stage_torques import stage_figure_missing
from benchflow.session.rules.stop_advice import check_held_reason
from benchflow.session.rules.tick_advice import out_of_band_advice, remedy_first_text
from benchflow.session.rules.waivers import deviation_advice, window_is_waived
from benchflow.session.rules.window_advice import too_early_reason, too_late_reason
from benchflow.session.state.clock import Now
from benchflow.session.state.state import HOLD, State, Tick, check_key, lot_item, lot_subject


def required_lots(state: State, step: Step) -> tuple[str, ...]:
    """The parts of this operation whose lot must be entered, in the order they are used (:func:`lot_key`).

    The parts that remedies have fitted come last.
    """
    kit = state.plan.procedure.kit_by_id
    own = (ref.name for ref in step.operation.uses if ref.name in kit and kit[ref.name].lot_required)
    return tuple(dict.fromkeys((*own, *state.work(step.id).fitted)))


def lot_title(state: State, key: str) -> str:
    """The title of a part whose lot is entered, and what a remedy has fitted it for."""
    item, subject = lot_item(key), lot_subject(key)
    title = state.plan.procedure.kit_by_id[item].title or item
    return f"{title} (for {titled_value(state.plan, subject)})" if subject else title


def finish_reasons(state: State, step: Step, now: Now) -> tuple[Reason, ...]:
    """Every reason why ``step`` cannot be finished now."""
    range_missing = used_range_missing(state, step)
    entries = (
        *(() if range_missing is None else (range_missing,)),
        *open_value_reasons(state, step),
        *choice_reasons(state, step),
        *match_reasons(state, step),
        *preference_reasons(state, step),
        *_lot_reasons(state, step),
        *_joint_reasons(state, step),
        *_check_reasons(state, step),
        *too_late_reasons(state, step, now),
        *value_wait_reasons(state, step, now),
    )
    unproven = () if entries else unproven_variables(state, step)
    changed = () if entries else findings_changed_again(state, step)
    return (*entries, *changed, *finish_interlock_reasons(state, step, unproven), *hold_reasons(state, step))


def limit_reasons(state: State, step: Step) -> tuple[Reason, ...]:
    """Everything in ``step`` that is out of its limit or not proven, and not waived.

    In an operation that is done, only the correction of a reading can cause this.
    """
    found = (
        *open_value_reasons(state, step),
        *choice_reasons(state, step),
        *match_reasons(state, step),
        *_joint_reasons(state, step),
    )
    return tuple(reason for reason in found if reason.code in ("out-of-limit", "not-proven"))


def _lot_reasons(state: State, step: Step) -> Iterator[Reason]:
    entered = state.work(step.id).lots
    for name in required_lots(state, step):
        if name not in entered:
            message = f"The lot of {lot_title(state, name)} is not entered yet"
            yield Reason("value-missing", message, operation=step.id, name=lot_item(name))


def _joint_reasons(state: State, step: Step) -> Iterator[Reason]:
    progress = joint_progress(state, step)
    if progress is None:
        return
    title = progress.joint.title or progress.joint.id
    if progress.failed:
        yield stopped_reason(state, step, progress)
        return
    if not progress.complete and not _all_ticked(state, step, progress):
        draw_down = progress.draw_down if progress.seating_open else None
        stage = progress.current_stage
        if isinstance(stage, OpenStage) and not stage.formula:
            yield stage_figure_missing(state, step, progress.stage_number, stage)
        fastener = progress.next if draw_down is None else draw_down.next
        message = f"{title}: {progress_text(progress)}. Next is fastener {fastener}"
        yield Reason("stage-not-finished", message, operation=step.id, name=progress.joint.id)
    for tick in open_out_ticks(state.work(step.id)):
        message = (
            f"Fastener {tick.fastener} of {title}, stage {tick.stage}: "
            f"{out_of_band_text(progress.joint, progress.tighten, tick)}"
            f"{_other_tick_waived(state, step, progress.joint.id, tick)}. "
            f"{out_of_band_advice(state, step, progress, tick)}"
        )
        rework = rework_asked(state, step)
        yield Reason("out-of-limit", message, operation=step.id, name=progress.joint.id, rework=rework)
    for held in () if step.id in state.done else fastener_remedies(state, step):
        if not held.final:
            message = remedy_first_text(progress, held)
            yield Reason("remedy-first", message, operation=step.id, name=progress.joint.id)


def _all_ticked(state: State, step: Step, progress: JointProgress) -> bool:
    """True if every fastener has a tick in each of its stages."""
    ticked = state.work(step.id).ticks_in_force
    return all(
        (number, fastener) in ticked
        for number, stage in enumerate(progress.tighten.stages, 1)
        for fastener in progress.order_of(stage)
    )


def _other_tick_waived(state: State, step: Step, joint: str, tick: Tick) -> str:
    """A sentence on a deviation for this joint or fastener that was signed before the tick; empty if there is none."""
    work, subjects = state.work(step.id), (fastener_subject(joint, tick.fastener), joint)
    found = (all_of[about] for about in subjects for all_of in (work.lapsed, work.deviations) if about in all_of)
    signed = next(found, None)
    return "" if signed is None else f". The deviation signed by {signed.by} was for an earlier entry"


def _check_reasons(state: State, step: Step) -> Iterator[Reason]:
    work = state.work(step.id)
    for number, point in enumerate(step.operation.check, 1):
        if number in work.failed:
            if not answer_is_waived(state, step, number):
                yield from _failed_check_reasons(state, step, number, point.text)
        elif number not in work.checks:
            message = f"Check {number} is not ticked yet: {point.text}"
            yield Reason("check-open", message, operation=step.id, name=str(number))


def _failed_check_reasons(state: State, step: Step, number: int, text: str) -> Iterator[Reason]:
    """The reason that a check was answered no and, before its remedy, that the remedy comes first."""
    held, sign = remedy_of_check(state, step, number), deviation_advice(state, step, check_key(number))
    if (held is None or held.remedy is None) and answer_no_decides(state, step, number):
        return
    if held is not None and held.final:
        yield check_held_reason(state, step, held)
        return
    remedy = "Carry out the remedy" if held is not None else "Put it right and answer yes"
    message = f"Check {number} was answered no: {text}. {remedy}{f', or {sign}' if sign else ''}"
    yield Reason("check-failed", message, operation=step.id, name=str(number))
    if held is not None:
        yield check_held_reason(state, step, held)


def hold_reasons(state: State, step: Step) -> Iterator[Reason]:
    """The reason that the hold of ``step`` is not signed. After the end, a correction can open it again."""
    hold = step.operation.hold
    work = state.work(step.id)
    if hold is None or work.signed is not None or HOLD in work.deviations:
        return
    message = (
        f"Hold of {quoted_title(state, step.id)}: {hold.signer} must sign{f' for {hold.for_}' if hold.for_ else ''}"
    )
    before = f"signature of {work.void.by}" if work.void is not None else ""
    if not before and HOLD in work.lapsed:
        before = f"waiver by {work.lapsed[HOLD].by}"
    if before:
        message += f". The {before} no longer counts, because something was entered after it"
    yield Reason("hold-unsigned", message, operation=step.id)


def unwaived_clocks(state: State, step: Step, now: Now) -> Iterator[RunningClock]:
    """The running time windows of ``step`` that no deviation waives."""
    for clock in running_clocks(state, step, now):
        if not window_is_waived(state, step, clock.window):
            yield clock


def too_late_reasons(state: State, step: Step, now: Now) -> Iterator[Reason]:
    """A reason for each time window of ``step`` that has closed."""
    for clock in unwaived_clocks(state, step, now):
        if clock.missed:
            yield too_late_reason(state, step, clock)


def late_entry_reasons(state: State, step: Step, name: str, now: Now) -> Iterator[Reason]:
    """A reason for each closed window whose upper end is judged when ``name`` (a value or a check's id) is entered."""
    for clock in unwaived_clocks(state, step, now):
        high = clock.window.high
        if name and clock.window.until == name and high is not None and (clock.since > high or not clock.known):
            yield too_late_reason(state, step, clock)


def too_early_reasons(state: State, step: Step, now: Now) -> Iterator[Reason]:
    """A reason for each time window of ``step`` that is not open yet."""
    for clock in unwaived_clocks(state, step, now):
        if clock.wait_left > 0:
            yield too_early_reason(state, step, clock, now)
