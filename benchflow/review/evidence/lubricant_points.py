"""Weak points of the lubricant on the threads of a joint: another than stated, with the effect on clamp load."""

from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from typing import Final

from msgspec import Struct

from benchflow.procedure.model import Joint
from benchflow.procedure.plan import Step
from benchflow.quantity import base
from benchflow.review.evidence.clamp_load import (
    clamp_load,
    final_torque,
    is_turned,
    joint_of_step,
    load_change_text,
    usual_nut_factor,
)
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import count
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.log.line_format import Line

NOT_KNOWN: Final = 0.3
"""The size of another lubricant whose nut factor is not known."""
PART_BY_TORQUE: Final = 0.5
"""The part of the change that is left where the fasteners are then turned by an angle (own rule): the angle sets the
load, and only the torque before it depends on friction."""
ABOVE_PROOF: Final = 0.33
"""The least size of a lubricant with which the estimated load is above the proof load."""


class _Threads(Struct, frozen=True):
    """What was on the threads: the lubricant, its nut factor as entered, and the event; ``None``: as stated."""

    lubricant: str
    factor: str
    seq: int


def lubricant_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """The weak point of another lubricant than the torque is stated for, at the fasteners that ``step`` tightened."""
    joint = joint_of_step(log, step)
    if joint is None or joint.id not in log.state.lubricants:
        return
    entries = [line for line in log.lines if line.kind == "lubricated" and line.data.get("joint") == joint.id]
    ticks = [tick.seq for tick in log.state.work(step.id).ticks_in_force.values()]
    by_tick = [_on_threads(joint, entries, seq) for seq in ticks]
    other = [each for each in by_tick if each is not None]
    used = max(other, key=lambda each: _point(log, step, joint, each, "").size) if other else None  # the worst
    if used is None:
        used = _entered_afterwards(log, joint, entries, ticks)
        if used is None:
            return
        when = "; it was entered after the fasteners were tightened"
    elif len({each and each.lubricant for each in by_tick}) > 1:
        with_it = sum(each is not None and each.lubricant == used.lubricant for each in by_tick)
        when = f"; only {with_it} of {count(len(by_tick), 'tick')} were made with it, so the joint is uneven"
    else:
        when = ""
    yield _point(log, step, joint, used, when)


def lubricants_on_threads(log: LoadedLog, step: Step, joint: Joint) -> tuple[str, ...]:
    """Each lubricant that was on the threads when ``step`` tightened them, in order; "" where none was entered.

    An entry after the last fastener of the joint says how it was done.
    """
    if joint.id not in log.state.lubricants:
        return ("",)
    entries = [line for line in log.lines if line.kind == "lubricated" and line.data.get("joint") == joint.id]
    ticks = sorted(tick.seq for tick in log.state.work(step.id).ticks_in_force.values())
    by_tick = [next((line for line in reversed(entries) if line.seq < seq), None) for seq in ticks]
    names = tuple(dict.fromkeys("" if line is None else str(line.data["lubricant"]) for line in by_tick))
    if names == ("",) and _after_last_tick(log, joint, entries, ticks):
        return (str(entries[-1].data["lubricant"]),)
    return names or ("",)


def _on_threads(joint: Joint, entries: list[Line], seq: int) -> _Threads | None:
    """The lubricant at event ``seq``; ``None`` for the one that is stated."""
    last = next((line for line in reversed(entries) if line.seq < seq), None)
    return None if last is None else _threads(joint, last)


def _threads(joint: Joint, line: Line) -> _Threads | None:
    lubricant, factor = str(line.data["lubricant"]), str(line.data.get("nut_factor", ""))
    same = lubricant.casefold() == joint.lubricant.casefold() or not joint.lubricant  # the joint may state none
    if same and (not factor or joint.nut_factor is None or _number(factor) == joint.nut_factor):
        return None
    return _Threads(lubricant, factor, line.seq)


def _entered_afterwards(log: LoadedLog, joint: Joint, entries: list[Line], ticks: list[int]) -> _Threads | None:
    """The last entry, if no fastener of the joint was tightened after it; it then says how it was done."""
    return _threads(joint, entries[-1]) if _after_last_tick(log, joint, entries, ticks) else None


def _after_last_tick(log: LoadedLog, joint: Joint, entries: list[Line], ticks: list[int]) -> bool:
    """True if the last of the ``entries`` follows the last fastener of the joint, which is one of the ``ticks``."""
    others = [
        tick.seq
        for other in log.plan.steps.values()
        if other.operation.tighten is not None and other.operation.tighten.joint == joint.id
        for tick in log.state.work(other.id).ticks
    ]
    return bool(ticks and entries) and max(ticks) >= max(others) and max(others) <= entries[-1].seq


def _point(log: LoadedLog, step: Step, joint: Joint, used: _Threads, when: str) -> WeakPoint:
    stated, factor = joint.nut_factor, _number(used.factor) or usual_nut_factor(used.lubricant)
    if stated is None:
        stated = usual_nut_factor(joint.lubricant)
    words = f"{used.lubricant} on the threads; the torque is stated for {joint.lubricant or 'another lubricant'}"
    if stated is None or factor is None:
        words = f"{words}. The nut factor is not known, and neither is the clamp load{when}"
        return WeakPoint("other-lubricant", words, used.seq, joint.id, NOT_KNOWN)
    change = float(stated / factor) - 1
    torque = final_torque(log, step)
    last = _highest_pass(log, step, joint)
    if last.id != step.id:
        return WeakPoint(
            "other-lubricant", f"{words}, as in “{last.title}”, which decides the load{when}", used.seq, joint.id, 0.0
        )
    load, before = clamp_load(joint, torque, factor), clamp_load(joint, torque, stated)
    size = abs(change)
    effect = load_change_text(change, load, before) if size >= 0.005 else "the clamp load is the same"
    if is_turned(step.operation.tighten):
        size *= PART_BY_TORQUE
        effect += " at the torque before the angle; the angle depends less on friction"
    elif load is not None and load.proof is not None and load.proof > 1 and not joint.to_yield:
        size = max(size, ABOVE_PROOF)
    guessed = "" if used.factor and joint.nut_factor is not None else " (usual nut factors)"
    return WeakPoint("other-lubricant", f"{words}: {effect}{guessed}{when}", used.seq, joint.id, size)


def _highest_pass(log: LoadedLog, step: Step, joint: Joint) -> Step:
    """The step that tightens these fasteners to the highest torque; of equal ones the last."""
    best, highest = step, final_torque(log, step)
    for other in log.plan.steps.values():
        same = other.operation.tighten is not None and other.operation.tighten.joint == joint.id
        torque = final_torque(log, other) if same and other.place == step.place else None
        done = bool(log.state.work(other.id).ticks)
        if done and torque is not None and highest is not None and base(torque) >= base(highest):
            best, highest = other, torque
    return best


def _number(text: str) -> Decimal | None:
    try:
        return Decimal(text) if text else None
    except InvalidOperation:
        return None
