"""Counting a joint: which stage is in hand, which fastener is next. The count is a function of the ticks."""

from msgspec import Struct

from benchflow.procedure.model import CheckStage, Joint, Stage, Tighten
from benchflow.procedure.plan import Step
from benchflow.session.state import State, Tick


class Tally(Struct, frozen=True):
    """``stage`` counts from 1 and is ``len(stages) + 1`` when all are done. ``order`` is the fasteners of
    the stage in hand, in tightening order; ``done`` how many of them are ticked."""

    joint: Joint
    tighten: Tighten
    stage: int
    order: tuple[int, ...]
    done: int
    last: Tick | None

    @property
    def complete(self) -> bool:
        return self.stage > len(self.tighten.stages)

    @property
    def next(self) -> int | None:
        return None if self.complete else self.order[self.done]

    @property
    def in_hand(self) -> Stage | None:
        return None if self.complete else self.tighten.stages[self.stage - 1]

    @property
    def wants_value(self) -> bool:
        return isinstance(self.in_hand, CheckStage)


def joint_of(state: State, name: str) -> Joint:
    return next(joint for joint in state.plan.procedure.joints if joint.id == name)


def stage_order(joint: Joint, stage: Stage) -> tuple[int, ...]:
    """The fasteners of a stage in tightening order: the numbers are the order."""
    if stage.only is None:
        return tuple(range(1, joint.count + 1))
    return tuple(sorted(joint.groups[stage.only]))


def tally(state: State, step: Step) -> Tally | None:
    """The count for an operation that tightens; ``None`` for one that does not."""
    tighten = step.operation.tighten
    if tighten is None:
        return None
    joint = joint_of(state, tighten.joint)
    ticks = state.work(step.id).ticks
    last = ticks[-1] if ticks else None
    ticked = {(tick.stage, tick.fastener) for tick in ticks}
    for number, stage in enumerate(tighten.stages, 1):
        order = stage_order(joint, stage)
        done = sum((number, fastener) in ticked for fastener in order)
        if done < len(order):
            return Tally(joint, tighten, number, order, done, last)
    return Tally(joint, tighten, len(tighten.stages) + 1, (), 0, last)


def words(count: Tally) -> str:
    """``11 of 14, stage 2 of 3: 60 N·m``."""
    stages = len(count.tighten.stages)
    if count.complete:
        return f"all {count.joint.count} tightened, {stages} of {stages} stages"
    stage = count.tighten.stages[count.stage - 1]
    only = f" ({stage.only} only)" if stage.only else ""
    return f"{count.done} of {len(count.order)}, stage {count.stage} of {stages}: {stage.text}{only}"
