"""The progress of a joint: the stage and fastener that are next, calculated from the entries."""

from collections.abc import Iterable

from msgspec import Struct

from benchflow.procedure.model import Joint, Stage, Tighten
from benchflow.procedure.plan import Step
from benchflow.session.state.state import State, Tick, Turn


class DrawDownCount(Struct, frozen=True):
    """The turns of a draw-down: the part is pulled down level, turn by turn, before the first stage.

    ``turn`` is the instruction in the procedure, ``count`` the number of fasteners. The draw-down ends when all are
    confirmed as ``seated``, or with the first tick of a stage (``stage_ticked``).
    """

    turn: str
    turns: tuple[Turn, ...]
    count: int
    seated: bool
    stage_ticked: bool

    @property
    def open(self) -> bool:
        """True until the draw-down has ended."""
        return not (self.seated or self.stage_ticked)

    @property
    def round(self) -> int:
        """The current round, from 1."""
        return len(self.turns) // self.count + 1

    @property
    def done(self) -> int:
        """The number of fasteners turned in the current round."""
        return len(self.turns) % self.count

    @property
    def next(self) -> int | None:
        """The fastener to turn next; ``None`` after the end."""
        return self.done + 1 if self.open else None

    @property
    def last(self) -> int | None:
        """The fastener turned last; ``None`` before the first turn."""
        return self.turns[-1].fastener if self.turns else None

    @property
    def text(self) -> str:
        """The progress: ``draw down, round 3, 4 of 10: half a turn, middle first``. After the end, the turns made."""
        if self.open:
            return f"draw down, round {self.round}, {self.done} of {self.count}: {self.turn}"
        if self.turns:
            return f"drawn down in {self._rounds_and_turns}"
        return "seated; its turns were not counted" if self.seated else "draw-down not confirmed"

    @property
    def _rounds_and_turns(self) -> str:
        rounds, rest = divmod(len(self.turns), self.count)
        parts = [f"{rounds} round{'s' if rounds > 1 else ''}"] if rounds else []
        return " and ".join(parts + ([f"{rest} turn{'s' if rest > 1 else ''}"] if rest else []))


class JointProgress(Struct, frozen=True):
    """The progress of one joint.

    ``stage_number`` is the current stage, from 1; ``len(stages) + 1`` if all are done. ``order`` has the fasteners of
    the current stage in tightening order, and ``done`` of them are ticked. ``last`` is the last tick of any stage.

    ``draw_down`` is ``None`` if the procedure has no draw-down for the joint. Counting its turns is optional: without
    a turn, the first stage can be ticked at once. After the first turn, "all seated" must be confirmed first.
    """

    joint: Joint
    tighten: Tighten
    stage_number: int
    order: tuple[int, ...]
    done: int
    last: Tick | None
    draw_down: DrawDownCount | None = None

    @property
    def complete(self) -> bool:
        """True if all stages are done."""
        return self.stage_number > len(self.tighten.stages)

    @property
    def next(self) -> int | None:
        """The fastener to tick next; ``None`` if all stages are done."""
        return None if self.complete else self.order[self.done]

    @property
    def current_stage(self) -> Stage | None:
        """The stage to tick next; ``None`` if all are done."""
        return None if self.complete else self.tighten.stages[self.stage_number - 1]

    @property
    def seating_open(self) -> bool:
        """True if draw-down turns were entered, and "all seated" is not confirmed yet."""
        return self.draw_down is not None and self.draw_down.open and bool(self.draw_down.turns)


def joint_of(state: State, name: str) -> Joint:
    """The joint with this id in the procedure."""
    return state.plan.procedure.joints_by_id[name]


def stage_order(joint: Joint, stage: Stage) -> tuple[int, ...]:
    """The fasteners of a stage in tightening order, which is the order of their numbers."""
    if stage.only is None:
        return tuple(range(1, joint.count + 1))
    return tuple(sorted(joint.groups[stage.only]))


def last_ticks(ticks: Iterable[Tick]) -> dict[tuple[int, int], Tick]:
    """The last tick of each fastener in each stage, by (stage, fastener). Earlier readings of the same are replaced."""
    return {(tick.stage, tick.fastener): tick for tick in ticks}


def joint_progress(state: State, step: Step) -> JointProgress | None:
    """The progress of the joint that ``step`` tightens; ``None`` if it tightens none."""
    tighten = step.operation.tighten
    if tighten is None:
        return None
    joint, work = joint_of(state, tighten.joint), state.work(step.id)
    last = work.ticks[-1] if work.ticks else None
    draw_down = None
    if tighten.draw_down:
        draw_down = DrawDownCount(tighten.draw_down, work.turns, joint.count, work.seated, bool(work.ticks))
    ticked = last_ticks(work.ticks)
    for number, stage in enumerate(tighten.stages, 1):
        order = stage_order(joint, stage)
        done = sum((number, fastener) in ticked for fastener in order)
        if done < len(order):
            return JointProgress(joint, tighten, number, order, done, last, draw_down)
    return JointProgress(joint, tighten, len(tighten.stages) + 1, (), 0, last, draw_down)


def progress_text(progress: JointProgress) -> str:
    """The progress in a few words: ``7 of 10, stage 2 of 3: 60 N·m``."""
    if progress.seating_open and progress.draw_down is not None:
        return progress.draw_down.text
    stages = len(progress.tighten.stages)
    if progress.complete:
        return f"all {progress.joint.count} tightened, {stages} of {stages} stages"
    stage = progress.tighten.stages[progress.stage_number - 1]
    only = f" ({stage.only} only)" if stage.only else ""
    return f"{progress.done} of {len(progress.order)}, stage {progress.stage_number} of {stages}: {stage.text}{only}"
