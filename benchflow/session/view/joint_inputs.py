"""The view of a joint: its layout, the status of each fastener and the next one to tighten."""

from collections import Counter

from benchflow.procedure.model import CheckStage, Stage
from benchflow.procedure.plan import Step
from benchflow.session.rules.check_readings import rereadable_fasteners
from benchflow.session.rules.check_stages import limit_unit, quantity_name
from benchflow.session.rules.instrument_fitness import need_for_stage
from benchflow.session.rules.joint_progress import (
    DrawDownCount,
    JointProgress,
    joint_progress,
    last_ticks,
    progress_text,
    stage_order,
)
from benchflow.session.rules.verdicts import from_stored
from benchflow.session.rules.wrench_correction import setting_lines, setting_on_scale
from benchflow.session.state.state import State, Tick
from benchflow.session.view import bench_view as vw
from benchflow.session.view.reading_text import reading_text
from benchflow.trade.verdict import OUT_OF_LIMIT


def tighten_input(state: State, step: Step) -> vw.TightenInput | None:
    """The joint that ``step`` tightens; ``None`` if it tightens none."""
    count = joint_progress(state, step)
    if count is None:
        return None
    joint, stages, work = count.joint, count.tighten.stages, state.work(step.id)
    ticks = last_ticks(work.ticks)
    out_of_limit = any(tick.verdict in OUT_OF_LIMIT for tick in ticks.values()) and joint.id not in work.deviations
    reread_stage, reread = rereadable_fasteners(state, step, count)
    return vw.TightenInput(
        joint=joint.id,
        title=joint.title or joint.id,
        fasteners=_fasteners(state, step, count),
        rows=len(joint.layout),
        columns=max((len(row) for row in joint.layout), default=0),
        stages=tuple(stage.text + (f" ({stage.only})" if stage.only else "") for stage in stages),
        stage=count.stage_number,
        next=count.next,
        done=count.done,
        of=len(stage_order(joint, stages[min(count.stage_number, len(stages)) - 1])),
        progress=progress_text(count),
        last=None if count.last is None else count.last.fastener,
        settings=(*setting_lines(state, count), *_instrument_line(state, step, count)),
        complete=count.complete and not out_of_limit,
        tick_values=_tick_values(
            count.tighten.stages[reread_stage - 1] if count.next is None and reread else count.current_stage
        ),
        wrench_setting=setting_on_scale(state, count),
        draw_down=None if count.draw_down is None else _draw_down(count.draw_down),
        reread=reread,
        reread_stage=reread_stage,
        last_entry=_last_entry(count),
    )


def _instrument_line(state: State, step: Step, count: JointProgress) -> tuple[str, ...]:
    """A line with the registered instrument for the next tick; empty if there is none."""
    stage = count.current_stage
    need = None if stage is None else need_for_stage(state, step, stage, count.tighten.instrument)
    used = None if need is None else state.tools.get(need)
    return () if used is None else (f"Instrument: {used.title or used.need}, serial {used.serial}",)


def _fasteners(state: State, step: Step, count: JointProgress) -> tuple[vw.FastenerStatus, ...]:
    joint, work = count.joint, state.work(step.id)
    in_stage = set(count.order) if not count.complete else set(range(1, joint.count + 1))
    turns = Counter(turn.fastener for turn in work.turns)
    last: dict[int, Tick] = {}
    last_read: dict[int, Tick] = {}
    for (stage, fastener), tick in last_ticks(work.ticks).items():
        if fastener not in last or last[fastener].stage <= stage:
            last[fastener] = tick
        if tick.quantity is not None and (fastener not in last_read or last_read[fastener].stage <= stage):
            last_read[fastener] = tick
    return tuple(
        vw.FastenerStatus(
            number,
            row,
            column,
            last[number].stage if number in last else 0,
            number in in_stage,
            turns[number],
            _readings(last_read.get(number)),
            _verdict(last_read.get(number)),
        )
        for row, cells in enumerate(joint.layout)
        for column, number in enumerate(cells)
        if number is not None
    )


def _readings(tick: Tick | None) -> str:
    read = [] if tick is None else [from_stored(each) for each in (tick.quantity, tick.stretch) if each is not None]
    return ", ".join(reading_text(each) for each in read)


def _verdict(tick: Tick | None) -> vw.ShownVerdict:
    return "" if tick is None else tick.verdict


def _tick_values(stage: Stage | None) -> tuple[vw.TickValue, ...]:
    """The readings that a tick of this stage requires; empty for a stage that is not a check."""
    if not isinstance(stage, CheckStage):
        return ()
    values = [vw.TickValue("value", quantity_name(stage.limit), limit_unit(stage.limit), stage.limit.text)]
    if stage.stretch is not None:
        values.append(vw.TickValue("stretch", "stretch", limit_unit(stage.stretch), stage.stretch.text))
    return tuple(values)


def _draw_down(drawing: DrawDownCount) -> vw.DrawDownProgress:
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


def _last_entry(count: JointProgress) -> str:
    """The entry that the intent `untick` clears if it names no fastener; "" for none."""
    if count.last is not None:
        return f"fastener {count.last.fastener}, stage {count.last.stage}"
    if count.draw_down is None or count.draw_down.stage_ticked:
        return ""
    if count.draw_down.seated:
        return "all seated"
    return "" if count.draw_down.last is None else f"turn of fastener {count.draw_down.last}"
