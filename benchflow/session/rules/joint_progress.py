"""Counting a joint: which stage is in progress, which fastener is next. The count is a function of what was entered."""

from collections.abc import Iterable

from msgspec import Struct

from benchflow.procedure.model import CheckStage, Joint, Stage, Tighten
from benchflow.procedure.plan import Step
from benchflow.session.state.state import State, Tick, Turn


class Drawing(Struct, frozen=True):
    """A part being brought down level before the first stage, a little at each fastener in turn.

    ``turn`` is the author's words for how. ``begun`` says that a stage has begun, which ends it like ``seated`` does.
    """

    turn: str
    turns: tuple[Turn, ...]
    count: int
    seated: bool
    begun: bool

    @property
    def open(self) -> bool:
        return not (self.seated or self.begun)

    @property
    def round(self) -> int:
        """The current round, from 1."""
        return len(self.turns) // self.count + 1

    @property
    def done(self) -> int:
        """Fasteners turned in the current round."""
        return len(self.turns) % self.count

    @property
    def next(self) -> int | None:
        return self.done + 1 if self.open else None

    @property
    def last(self) -> int | None:
        return self.turns[-1].fastener if self.turns else None

    @property
    def words(self) -> str:
        """``round 3, 4 of 10: half a turn, middle first``; when it is over, how it went."""
        if self.open:
            return f"draw down, round {self.round}, {self.done} of {self.count}: {self.turn}"
        if self.turns:
            return f"drawn down in {self._turns}"
        return "seated; its turns were not counted" if self.seated else "draw-down not confirmed"

    @property
    def _turns(self) -> str:
        rounds, rest = divmod(len(self.turns), self.count)
        said = [f"{rounds} round{'s' if rounds > 1 else ''}"] if rounds else []
        return " and ".join(said + ([f"{rest} turn{'s' if rest > 1 else ''}"] if rest else []))


class Tally(Struct, frozen=True):
    """``stage`` counts from 1 and is ``len(stages) + 1`` when all are done. ``order`` is the fasteners of
    the current stage, in tightening order; ``done`` how many of them are ticked.

    ``drawing`` is ``None`` for a part that need not come down level. Its turns need not be counted: a stage may begin
    without a word about them. What has been begun to be counted is to be said to be seated, though.
    """

    joint: Joint
    tighten: Tighten
    stage: int
    order: tuple[int, ...]
    done: int
    last: Tick | None
    drawing: Drawing | None = None

    @property
    def complete(self) -> bool:
        return self.stage > len(self.tighten.stages)

    @property
    def next(self) -> int | None:
        return None if self.complete else self.order[self.done]

    @property
    def in_progress(self) -> Stage | None:
        return None if self.complete else self.tighten.stages[self.stage - 1]

    @property
    def wants_value(self) -> bool:
        return isinstance(self.in_progress, CheckStage)

    @property
    def half_drawn(self) -> bool:
        """Whether turns have been counted and nobody has said yet that the part is down."""
        return self.drawing is not None and self.drawing.open and bool(self.drawing.turns)


def joint_of(state: State, name: str) -> Joint:
    return state.plan.procedure.joints_by_id[name]


def stage_order(joint: Joint, stage: Stage) -> tuple[int, ...]:
    """The fasteners of a stage in tightening order: the numbers are the order."""
    if stage.only is None:
        return tuple(range(1, joint.count + 1))
    return tuple(sorted(joint.groups[stage.only]))


def last_ticks(ticks: Iterable[Tick]) -> dict[tuple[int, int], Tick]:
    """Stage and fastener to the tick that counts: a fastener read again counts by its last reading."""
    return {(tick.stage, tick.fastener): tick for tick in ticks}


def tally(state: State, step: Step) -> Tally | None:
    """The count for an operation that tightens; ``None`` for one that does not."""
    tighten = step.operation.tighten
    if tighten is None:
        return None
    joint, work = joint_of(state, tighten.joint), state.work(step.id)
    last = work.ticks[-1] if work.ticks else None
    drawing = None
    if tighten.draw_down:
        drawing = Drawing(tighten.draw_down, work.turns, joint.count, work.seated, bool(work.ticks))
    ticked = last_ticks(work.ticks)
    for number, stage in enumerate(tighten.stages, 1):
        order = stage_order(joint, stage)
        done = sum((number, fastener) in ticked for fastener in order)
        if done < len(order):
            return Tally(joint, tighten, number, order, done, last, drawing)
    return Tally(joint, tighten, len(tighten.stages) + 1, (), 0, last, drawing)


def words(count: Tally) -> str:
    """``7 of 10, stage 2 of 3: 60 N·m``."""
    if count.half_drawn and count.drawing is not None:
        return count.drawing.words
    stages = len(count.tighten.stages)
    if count.complete:
        return f"all {count.joint.count} tightened, {stages} of {stages} stages"
    stage = count.tighten.stages[count.stage - 1]
    only = f" ({stage.only} only)" if stage.only else ""
    return f"{count.done} of {len(count.order)}, stage {count.stage} of {stages}: {stage.text}{only}"
