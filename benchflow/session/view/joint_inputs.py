"""The view of a joint: its layout, the status of each fastener and the next one to tighten."""

from collections import Counter

from benchflow.ordering.wording import step_title
from benchflow.procedure.expand import everything_possible
from benchflow.procedure.figure_sources import own_source, stage_source
from benchflow.procedure.model import AngleStage, CheckStage, OpenStage
from benchflow.procedure.plan import Step
from benchflow.procedure.procedure_figures import has_figure
from benchflow.quantity import dimension_of
from benchflow.session.context import Context
from benchflow.session.rules.break_in_stage import resume_text
from benchflow.session.rules.check_stages import band_in_force, limit_unit, quantity_name
from benchflow.session.rules.failed_fasteners import FAILURE_TEXT, stopped_reason
from benchflow.session.rules.given_figure_warnings import given_figure_warnings
from benchflow.session.rules.instrument_fitness import need_for_stage
from benchflow.session.rules.joint_progress import (
    DrawDownCount,
    JointProgress,
    joint_progress,
    progress_text,
)
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.missing_figures import joint_figure_missing
from benchflow.session.rules.remedy_progress import RemedyInTurn, steps_to_redo
from benchflow.session.rules.stage_remedies import FastenerRemedy, fastener_remedies
from benchflow.session.rules.stage_torques import figure_source, stage_figure_missing
from benchflow.session.rules.tick_advice import out_of_band_advice, too_tight_text
from benchflow.session.rules.whole_stage import rest_of_stage, rest_reasons, stage_again_reasons
from benchflow.session.rules.wrench_correction import (
    LEFT_HAND,
    background_lines,
    extension_lines,
    setting_lines,
    setting_on_scale,
    stage_warnings,
)
from benchflow.session.rules.wrench_range import range_text, scale_of_wrench, torques_of_stage
from benchflow.session.rules.wrench_scale import WrenchScale
from benchflow.session.state.state import State, Tick
from benchflow.session.view import bench_view as vw
from benchflow.session.view.asked_figures import asked_of_joint
from benchflow.session.view.reading_text import reading_text


def tighten_input(state: State, step: Step, context: Context) -> vw.TightenInput | None:
    """The joint that ``step`` tightens; ``None`` if it tightens none."""
    progress = joint_progress(state, step)
    if progress is None:
        return None
    joint, stages = progress.joint, progress.tighten.stages
    need = _need(state, step, progress)
    scale = scale_of_wrench(state, context, need, torques_of_stage(progress.current_stage))
    unit = None if scale is None else limit_unit(scale.range)
    held = _next_remedy(state, step, progress)
    repeatable = () if progress.later_stage else progress.out
    return vw.TightenInput(
        joint=joint.id,
        title=joint.title or joint.id,
        fasteners=_fastener_statuses(state, step, progress),
        rows=len(joint.layout),
        columns=max((len(row) for row in joint.layout), default=0),
        stages=tuple(stage.text + (f" ({stage.only})" if stage.only else "") for stage in stages),
        stage=progress.stage_number,
        next=progress.next,
        done=progress.done,
        of=len(progress.order_of(stages[min(progress.stage_number, len(stages)) - 1])),
        progress=progress_text(progress),
        last=None if progress.last is None else progress.last.fastener,
        turn_notice=LEFT_HAND if joint.left_hand and not progress.complete else "",
        settings=(
            *setting_lines(state, progress, unit),
            *_instrument_line(state, need),
            *_source_line(state, step, progress),
            *_band_line(progress),
            *extension_lines(state, progress, unit),
        ),
        background=background_lines(state, progress),
        warnings=(
            *given_figure_warnings(state, step, progress),
            *_range_warning(state, progress, scale),
            *stage_warnings(state, progress),
        ),
        complete=progress.complete,
        tick_values=_tick_values(progress),
        optional_value=_optional_value(progress),
        advice=_advice(state, step, progress),
        loosen_first=progress.next_too_tight is not None,
        wrench_setting=setting_on_scale(state, progress, unit),
        draw_down=None if progress.draw_down is None else _draw_down_progress(progress.draw_down),
        reread=tuple(tick.fastener for tick in repeatable),
        reread_stage=progress.stage_number if repeatable else 0,
        last_entry=_last_entry(progress),
        asked_stage=_asked_stage(progress),
        asked=asked_of_joint(state, step, progress),
        remedied=None if held is None else held.tick.fastener,
        remedy="" if held is None else held.instruction,
        must_stop=held is not None and held.final,
        redo=() if held is None else titles_to_redo(state, step, held),
        sides=joint.sides,
        resume_text=resume_text(state, step, progress, context.now, started_again=context.started_again),
        rest=() if rest_reasons(state, step, progress, context.now) else rest_of_stage(progress),
        stage_again=not stage_again_reasons(state, step, progress),
        stopped=stopped_reason(state, step, progress).message if progress.failed else "",
    )


def _asked_stage(progress: JointProgress) -> int:
    """The current stage if its torque has to be given before it can be ticked; otherwise 0."""
    stage = progress.current_stage
    waits = isinstance(stage, OpenStage) and stage.asked and not progress.seating_open
    return progress.stage_number if waits and not progress.out else 0


def _advice(state: State, step: Step, progress: JointProgress) -> str:
    """What to do about a stage without a torque, or a fastener that is out of its band; empty if there is neither."""
    missing = joint_figure_missing(state, step, progress.joint)
    if missing is not None:
        return missing.message.rstrip(".")
    if isinstance(progress.current_stage, OpenStage) and not progress.out:
        return stage_figure_missing(state, step, progress.stage_number, progress.current_stage).message.rstrip(".")
    if progress.out:
        return out_of_band_advice(state, step, progress, progress.out[0])
    tight = progress.next_too_tight
    return "" if tight is None else too_tight_text(progress, tight)


def _next_remedy(state: State, step: Step, progress: JointProgress) -> FastenerRemedy | None:
    """The remedy of the fastener to tick next, or else of the first one that waits for a remedy."""
    held = () if step.id in state.done else fastener_remedies(state, step)
    return next((each for each in held if each.tick.fastener == progress.next), held[0] if held else None)


def titles_to_redo(state: State, step: Step, held: RemedyInTurn) -> tuple[str, ...]:
    """Number and title of each operation that the next remedy redoes or calls for."""
    if held.remedy is None or not held.remedy.redo:
        return ()
    steps = steps_to_redo(state, step, held.remedy)
    return tuple(_numbered_title(state, name) for name in steps)


def _numbered_title(state: State, step_id: str) -> str:
    """The number and the title of a step, which the remedy may call for the first time."""
    plan = state.plan
    if step_id not in plan.steps:
        plan = everything_possible(plan.procedure, plan.options)
    return f"{plan.number(step_id)} {step_title(plan, step_id)}"


def _need(state: State, step: Step, progress: JointProgress) -> str | None:
    """The id of the instrument for the next tick; ``None`` if the procedure names none."""
    stage = progress.current_stage
    return None if stage is None else need_for_stage(state, step, stage, progress.tighten.instrument)


def _range_warning(state: State, progress: JointProgress, scale: WrenchScale | None) -> tuple[str, ...]:
    """The warning that the setting is outside the range of the wrench; empty if it is not."""
    if scale is not None and not scale.measured and state.register is not None:
        return ()  # it is not known which wrench of the register is used
    found = (range_text(state, torque, scale) for torque in torques_of_stage(progress.current_stage))
    return tuple(text for text in found if text)[:1]


def _instrument_line(state: State, need: str | None) -> tuple[str, ...]:
    """A line with the registered instrument for the next tick; empty if there is none."""
    used = None if need is None else state.tools.get(need)
    return () if used is None else (f"Instrument: {used.title or used.need}, serial {used.serial}",)


def _source_line(state: State, step: Step, progress: JointProgress) -> tuple[str, ...]:
    """A line with the source of the figure of the current stage: given at the bench, or written in the file."""
    source, stage = figure_source(state, step, progress.stage_number), progress.current_stage
    if source:
        return (f"{'Angle' if isinstance(stage, AngleStage) else 'Torque'} from: {source}",)
    if stage is None or not has_figure(stage):
        return ()
    found = own_source(stage_source(state.plan.procedure, stage, progress.tighten))
    return (f"Source: {found}",) if found else ()


def _band_line(progress: JointProgress) -> tuple[str, ...]:
    """A line with the band of a reading of the current stage. A check with a limit shows it beside its field."""
    stage = progress.current_stage
    if stage is None:
        return ()
    band = band_in_force(progress.joint, progress.tighten, stage)
    if band is None:
        return ()
    shown_already = isinstance(stage, CheckStage) and not band.tolerance
    return () if shown_already else (f"A reading is accepted within {band.printed_with_tolerance}",)


def _fastener_statuses(state: State, step: Step, progress: JointProgress) -> tuple[vw.FastenerStatus, ...]:
    joint, work = progress.joint, state.work(step.id)
    in_stage = set(range(1, joint.count + 1)) - progress.left_out if progress.complete else set(progress.order)
    turns = Counter(turn.fastener for turn in work.turns)
    covered = work.covered
    last: dict[int, Tick] = {}
    last_read: dict[int, Tick] = {}
    for (stage, fastener), tick in work.ticks_in_force.items():
        if fastener not in last or last[fastener].stage <= stage:
            last[fastener] = tick
        if tick.quantity is not None and (fastener not in last_read or last_read[fastener].stage <= stage):
            last_read[fastener] = tick
    return tuple(
        vw.FastenerStatus(
            number,
            row,
            column,
            _stages_done(progress, last.get(number)),
            number in in_stage,
            turns[number],
            _readings_text(last_read.get(number)),
            _shown_verdict(last_read.get(number)),
            (number in last_read and last_read[number].entry in covered) or number in progress.left_out,
            FAILURE_TEXT[work.failed_fasteners[number].what] if number in work.failed_fasteners else "",
        )
        for row, cells in enumerate(joint.layout)
        for column, number in enumerate(cells)
        if number is not None
    )


def _stages_done(progress: JointProgress, last: Tick | None) -> int:
    """The number of stages done on a fastener with this last tick. One out of its band does not count.

    A check is done when it was read, whatever the reading is.
    """
    if last is None:
        return 0
    check = isinstance(progress.tighten.stages[last.stage - 1], CheckStage)
    return last.stage if check or last not in progress.out else last.stage - 1


def _readings_text(tick: Tick | None) -> str:
    """Return the readings of a tick as text: ``110 N·m, 0.15 mm``; "" without a tick."""
    read = (
        []
        if tick is None
        else [from_stored(reading) for reading in (tick.quantity, tick.stretch) if reading is not None]
    )
    answer = [tick.answer] if tick is not None and tick.answer else []
    return ", ".join([*answer, *(reading_text(reading) for reading in read)])


def _shown_verdict(tick: Tick | None) -> vw.ShownVerdict:
    return "" if tick is None else tick.verdict


def _tick_values(progress: JointProgress) -> tuple[vw.TickValue, ...]:
    """The readings that a tick of this stage requires; empty for a stage that is not a check."""
    stage = progress.current_stage
    if not isinstance(stage, CheckStage):
        return ()
    band = band_in_force(progress.joint, progress.tighten, stage)
    kind = quantity_name(stage.limit)
    assert band is not None  # a check has a limit
    values = [vw.TickValue("value", kind, band.unit, band.printed, answers=kind == "torque" and stage.stretch is None)]
    if stage.stretch is not None:
        values.append(vw.TickValue("stretch", "stretch", limit_unit(stage.stretch), stage.stretch.text))
    return tuple(values)


def _optional_value(progress: JointProgress) -> vw.TickValue | None:
    """The reading that may be entered with a tick of this stage; ``None`` for a check, which requires it."""
    stage = progress.current_stage
    if stage is None or isinstance(stage, CheckStage):
        return None
    band = band_in_force(progress.joint, progress.tighten, stage)
    if band is None:
        return None
    return vw.TickValue("value", dimension_of(band.unit), band.unit, band.printed, optional=True)


def _draw_down_progress(drawing: DrawDownCount) -> vw.DrawDownProgress:
    return vw.DrawDownProgress(
        turn=drawing.turn,
        open=drawing.open,
        started=bool(drawing.turns),
        seated=drawing.seated,
        round=drawing.round,
        done=drawing.done,
        of=drawing.count,
        next=drawing.next,
        last=drawing.last,
        progress=drawing.text,
    )


def _last_entry(progress: JointProgress) -> str:
    """The entry that the intent `untick` clears if it names no fastener; "" for none."""
    if progress.failed:
        failed = max(progress.failed, key=lambda one: one.seq)
        return f"fastener {failed.fastener}, {FAILURE_TEXT[failed.what]}"
    if progress.last is not None:
        return f"fastener {progress.last.fastener}, stage {progress.last.stage}"
    if progress.draw_down is None or progress.draw_down.stage_ticked:
        return ""
    if progress.draw_down.seated:
        return "all seated"
    return "" if progress.draw_down.last is None else f"turn of fastener {progress.draw_down.last}"
