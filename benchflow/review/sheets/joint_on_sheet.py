"""A joint on the build sheet: its layout, the result at each fastener, and the tool, person and time of each stage."""

from collections.abc import Iterator

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.procedure.figure_sources import parse_source
from benchflow.procedure.model import (
    NO_SIDES,
    CheckStage,
    HandStage,
    Joint,
    JointSides,
    LoosenStage,
    OpenStage,
    Tighten,
    TorqueStage,
)
from benchflow.procedure.plan import Step
from benchflow.procedure.stage_figures import is_limit
from benchflow.review.evidence.lubricant_points import lubricants_on_threads
from benchflow.review.formatting import local_time, shown
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.sources_on_sheet import common_source, stage_words
from benchflow.session.rules.failed_fasteners import FAILURE_TEXT
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.event_basics import StoredQuantity
from benchflow.session.state.state import Tick, Work
from benchflow.trade.joint_picture import FastenerCell, FastenerStatus
from benchflow.trade.verdict import NOT_ACCEPTED, VERDICT_TEXT


class SheetJoint(Struct, frozen=True):
    """A joint on the sheet, drawn in its layout.

    ``stages`` are the stages of the procedure as text. ``tools`` has a line for each stage: tool, person and time.
    """

    title: str
    about: str
    stages: tuple[str, ...]
    fasteners: tuple[FastenerCell, ...]
    tools: tuple[str, ...]
    sides: JointSides = NO_SIDES


def joint_of(log: LoadedLog, step: Step) -> SheetJoint | None:
    """The joint that a step tightens; ``None`` for a step without a joint."""
    tighten = tighten_in_force(log.state, step)
    if tighten is None:
        return None
    joint = log.procedure.joints_by_id[tighten.joint]
    work = log.state.work(step.id)
    about = [
        _with_given_source(log, joint, "thread", joint.thread),
        "left-hand thread" if joint.left_hand else "",
        _with_given_source(log, joint, "class", f"class {joint.grade}" if joint.grade else ""),
        _with_given_source(log, joint, "layout", "tightening order given at the bench"),
        _lubricant_text(log, joint, lubricants_on_threads(log, step, joint)),
        f"draw down: {tighten.draw_down}" if tighten.draw_down else "",
        f"source: {common}" if (common := common_source(log.procedure, tighten)) else "",
    ]
    return SheetJoint(
        joint.title or joint.id,
        ", ".join(part for part in about if part),
        tuple(_stage_text(log, step, tighten, number) for number in range(1, len(tighten.stages) + 1)),
        tuple(_fastener_cells(joint, tighten, work)),
        tuple(_tool_lines(log, step, tighten)),
        joint.sides,
    )


def _with_given_source(log: LoadedLog, joint: Joint, key: str, text: str) -> str:
    """The text of a key of a joint with the source that was given at the bench.

    A tightening order of the file is drawn, so its text is "".
    """
    source = joint.given.get(key, "")
    if not source:
        return "" if key == "layout" else text
    return f"{text} (source: {parse_source(source, log.procedure).shown})"


def _lubricant_text(log: LoadedLog, joint: Joint, used: tuple[str, ...]) -> str:
    """The lubricant that was entered, or else the one of the joint: by the procedure, or given at the bench."""
    entered = [name for name in used if name]
    given = "given at the bench" if "lubricant" in joint.given else "by the procedure"
    if not entered:
        text = f"lubricant {given}: {joint.lubricant}" if joint.lubricant else ""
        return _with_given_source(log, joint, "lubricant", text)
    names = ", then ".join(name or joint.lubricant or "not entered" for name in used)
    others = [name for name in used if name.casefold() not in ("", joint.lubricant.casefold())]
    stated = f" (torque stated for {joint.lubricant})" if joint.lubricant and others else ""
    return f"lubricant used: {names}{stated}"


def _stage_text(log: LoadedLog, step: Step, tighten: Tighten, number: int) -> str:
    """A stage with its group and its source, unless all stages of the joint have the same."""
    stage = tighten.stages[number - 1]
    only = f" ({stage.only} only)" if stage.only else ""
    written = step.operation.tighten.stages[number - 1] if step.operation.tighten is not None else stage
    formula = written.formula if isinstance(written, OpenStage) else ""
    source = f" (source: {formula})" if formula else stage_words(log.procedure, tighten, number)
    return f"{stage.text}{only}{source}"


def _fastener_cells(joint: Joint, tighten: Tighten, work: Work) -> Iterator[FastenerCell]:
    """Each fastener with its last torque and the angles after it, with the result of a check, or how it failed."""
    for row, cells in enumerate(joint.layout):
        for column, cell in enumerate(cells):
            if cell is None:
                continue
            its_ticks = {tick.stage: tick for tick in work.ticks if tick.fastener == cell}
            stages = [
                number
                for number, stage in enumerate(tighten.stages, 1)
                if stage.only is None or cell in joint.groups[stage.only]
            ]
            complete = bool(stages) and all(number in its_ticks for number in stages)
            bad = any(tick.verdict in NOT_ACCEPTED for tick in its_ticks.values())
            status: FastenerStatus = "out-of-limit" if bad else "done" if complete else "open"
            failed = work.failed_fasteners.get(cell)
            if failed is not None:
                yield FastenerCell(cell, row, column, FAILURE_TEXT[failed.what], "out-of-limit")
            else:
                yield FastenerCell(cell, row, column, _fastener_result(tighten, its_ticks), status)


def _fastener_result(tighten: Tighten, ticks: dict[int, Tick]) -> str:
    words = ""
    for number, stage in enumerate(tighten.stages, 1):
        tick = ticks.get(number)
        if tick is None:
            continue
        value = tick.quantity or (tick.torque if tick.verdict in NOT_ACCEPTED else None)
        read = [_read_text(one) for one in (value, tick.stretch) if one is not None]
        if isinstance(stage, CheckStage):
            words += f" {' '.join([tick.answer, *read]).strip() or '✓'}"
            continue
        text = stage.text.partition(" (")[0]
        if tick.verdict in NOT_ACCEPTED:
            text = f"{' '.join(read)} {VERDICT_TEXT[tick.verdict]}"
        words = text if isinstance(stage, (TorqueStage, LoosenStage, HandStage)) else f"{words} {text}"
    return words.strip()


def _read_text(read: StoredQuantity) -> str:
    """A reading, or the torque that a fastener was tightened to without one, which can be a limit."""
    return read.entered if is_limit(read.entered) else shown(read.value, read.unit, read.entered)


def _tool_lines(log: LoadedLog, step: Step, tighten: Tighten) -> Iterator[str]:
    for fact in log.facts.stages:
        if fact.operation == step.id and fact.in_force and fact.fasteners:
            text = tighten.stages[fact.stage - 1].text if fact.stage <= len(tighten.stages) else ""
            tool = tool_of(log, fact.serial, fact.instrument)
            tool += ", entered together" if fact.together else ""
            gap = f"; longest pause {rounded_duration(fact.gap)}" if fact.gap > 600 else ""
            at = local_time(fact.last_at)
            yield f"stage {fact.stage}, {text}: {fact.fasteners} with {tool}, {fact.by}, {at}{gap}"


def tool_of(log: LoadedLog, serial: str, need: str) -> str:
    """The serial of an instrument; where none was logged, the procedure's name for it."""
    titles = {one.id: one.title for one in log.procedure.instruments}
    return serial or titles.get(need) or need or "an instrument that was not named"
