"""The progress of a joint: the stage and fastener that are next, calculated from the entries."""

from collections.abc import Iterable

from msgspec import Struct

from benchflow.procedure.model import CheckStage, Joint, Stage, Tighten
from benchflow.procedure.plan import Step
from benchflow.session.rules.deviation_subjects import fastener_subject
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.state import FailedFastener, State, Tick, Turn, Work
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT


class DrawDownCount(Struct, frozen=True):
    """The turns of a draw-down: the part is pulled down level, turn by turn, before the first stage.

    ``turn`` is the instruction in the procedure, ``fasteners`` are those to turn. The draw-down ends when all are
    confirmed as ``seated``, or with the first tick of a stage (``stage_ticked``).
    """

    turn: str
    turns: tuple[Turn, ...]
    fasteners: tuple[int, ...]
    seated: bool
    stage_ticked: bool

    @property
    def open(self) -> bool:
        """True until the draw-down has ended."""
        return not (self.seated or self.stage_ticked)

    @property
    def round(self) -> int:
        """The current round, from 1."""
        last = self.turns[-1].round if self.turns else 1
        return last if self._to_turn(last) else last + 1

    def _to_turn(self, round_: int) -> tuple[int, ...]:
        """The fasteners that are not turned yet in a round."""
        turned = {turn.fastener for turn in self.turns if turn.round == round_}
        return tuple(fastener for fastener in self.fasteners if fastener not in turned)

    @property
    def count(self) -> int:
        """The number of fasteners to turn in a round."""
        return len(self.fasteners)

    @property
    def done(self) -> int:
        """The number of fasteners turned in the current round."""
        return self.count - len(self._to_turn(self.round))

    @property
    def next(self) -> int | None:
        """The fastener to turn next; ``None`` after the end."""
        return next(iter(self._to_turn(self.round)), None) if self.open else None

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
        rounds, rest = self.round - 1, self.done
        parts = [f"{rounds} round{'s' if rounds > 1 else ''}"] if rounds else []
        return " and ".join(parts + ([f"{rest} turn{'s' if rest > 1 else ''}"] if rest else []))


class JointProgress(Struct, frozen=True):
    """The progress of one joint.

    ``stage_number`` is the current stage, from 1; ``len(stages) + 1`` if all are done. It is the first stage with a
    fastener that does not count as done: its last tick is out of its band and no deviation covers it, or it has none.

    ``order`` has the fasteners of the current stage in tightening order, ``accepted`` those that count as done, and
    ``out`` the last ticks of the others that have one. ``next`` is the fastener to tick next, ``None`` if all stages
    are done. ``last`` is the last tick of any stage. ``ticked_stages`` are the stages that have ticks. ``waived`` are
    ticks that are out of their band, that a deviation covers, and that no tick of a later stage follows: they can be
    done again. ``too_tight`` are the ticks after which a fastener has to be loosened, by (stage, fastener).

    ``failed`` are the fasteners that stop the joint: they failed, and are neither repaired nor covered by a deviation.
    ``left_out`` are those that a deviation covers: no stage includes them.

    ``read_again`` are the readings of a check stage within its limit, by (stage, fastener), that can be repeated:
    nothing is out, and no tick of a later stage follows.

    ``draw_down`` is ``None`` if the procedure has no draw-down for the joint. Counting its turns is optional: without
    a turn, the first stage can be ticked at once. After the first turn, "all seated" must be confirmed first.
    """

    joint: Joint
    tighten: Tighten
    stage_number: int
    order: tuple[int, ...]
    accepted: frozenset[int]
    out: tuple[Tick, ...]
    next: int | None
    last: Tick | None
    draw_down: DrawDownCount | None = None
    ticked_stages: frozenset[int] = frozenset()
    waived: tuple[Tick, ...] = ()
    too_tight: dict[tuple[int, int], Tick] = {}
    read_again: frozenset[tuple[int, int]] = frozenset()
    failed: tuple[FailedFastener, ...] = ()
    left_out: frozenset[int] = frozenset()

    def order_of(self, stage: Stage) -> tuple[int, ...]:
        """The fasteners of a stage in tightening order, without those that are left out."""
        return _without(stage_order(self.joint, stage), self.left_out)

    @property
    def complete(self) -> bool:
        """True if all stages are done."""
        return self.stage_number > len(self.tighten.stages)

    @property
    def done(self) -> int:
        """The number of fasteners of the current stage that count as done."""
        return len(self.accepted)

    @property
    def current_stage(self) -> Stage | None:
        """The stage to tick next; ``None`` if all are done."""
        return None if self.complete else self.tighten.stages[self.stage_number - 1]

    @property
    def later_stage(self) -> bool:
        """True if a stage after the current one has ticks. A tick of the current stage was then corrected."""
        return any(stage > self.stage_number for stage in self.ticked_stages)

    @property
    def read_through(self) -> bool:
        """True if every fastener of the current stage has a tick, but some are out of their band."""
        return bool(self.out) and len(self.accepted) + len(self.out) == len(self.order)

    @property
    def seating_open(self) -> bool:
        """True if draw-down turns were entered, and "all seated" is not confirmed yet."""
        return self.draw_down is not None and self.draw_down.open and bool(self.draw_down.turns)

    def out_tick(self, fastener: int) -> Tick | None:
        """The tick of ``fastener`` in the current stage that is out of its band; ``None`` if there is none."""
        return next((tick for tick in self.out if tick.fastener == fastener), None)

    def waived_tick(self, fastener: int, named_stage: int | None) -> Tick | None:
        """The waived tick that a tick of ``fastener`` repeats; ``None`` if it repeats none.

        A tick that names no stage is for the current stage, or for the last one if all are done.
        """
        stage = named_stage or min(self.stage_number, len(self.tighten.stages))
        return next((tick for tick in self.waived if (tick.stage, tick.fastener) == (stage, fastener)), None)

    @property
    def next_too_tight(self) -> Tick | None:
        """The tick after which the next fastener has to be loosened; ``None`` if it need not be."""
        return None if self.next is None else self.too_tight.get((self.stage_number, self.next))


def joint_of(state: State, name: str) -> Joint:
    """The joint with this id in the procedure."""
    return state.plan.procedure.joints_by_id[name]


def stage_order(joint: Joint, stage: Stage) -> tuple[int, ...]:
    """The fasteners of a stage in tightening order, which is the order of their numbers."""
    if stage.only is None:
        return tuple(range(1, joint.count + 1))
    return tuple(sorted(joint.groups[stage.only]))


def _without(fasteners: Iterable[int], left_out: frozenset[int]) -> tuple[int, ...]:
    return tuple(fastener for fastener in fasteners if fastener not in left_out)


def fasteners_named(state: State, step: Step, about: str) -> tuple[int, ...]:
    """The fasteners that the subject of a deviation names: all for the joint, one for ``studs[3]``, none otherwise."""
    tighten = step.operation.tighten
    if tighten is None:
        return ()
    numbers = tuple(range(1, joint_of(state, tighten.joint).count + 1))
    if about == tighten.joint:
        return numbers
    return tuple(number for number in numbers if fastener_subject(tighten.joint, number) == about)


def open_out_ticks(work: Work) -> tuple[Tick, ...]:
    """The ticks in force that are out of their band and that no deviation covers, in the order of the stages.

    A fastener that is left out has none.
    """
    last = work.ticks_in_force
    covered, left_out = work.covered, work.left_out
    return tuple(
        last[stage, fastener]
        for stage, fastener in sorted(last)
        if last[stage, fastener].verdict in OUT_OF_LIMIT
        and last[stage, fastener].entry not in covered
        and fastener not in left_out
    )


def joint_progress(state: State, step: Step) -> JointProgress | None:
    """The progress of the joint that ``step`` tightens; ``None`` if it tightens none."""
    tighten = tighten_in_force(state, step)
    if tighten is None:
        return None
    joint, work = joint_of(state, tighten.joint), state.work(step.id)
    last = work.ticks[-1] if work.ticks else None
    left_out = work.left_out
    failed = tuple(one for number, one in sorted(work.failed_fasteners.items()) if number not in left_out)
    draw_down = None
    if tighten.draw_down:
        turned = _without(range(1, joint.count + 1), left_out)
        draw_down = DrawDownCount(tighten.draw_down, work.turns, turned, work.seated, bool(work.ticks))
    out = {(tick.stage, tick.fastener): tick for tick in open_out_ticks(work)}
    accepted = work.ticks_in_force.keys() - out.keys()
    ticked, tight = frozenset(tick.stage for tick in work.ticks), work.too_tight
    waived = tuple(
        tick
        for key, tick in work.ticks_in_force.items()
        if tick.verdict in OUT_OF_LIMIT and key not in out and tick.stage == max(ticked)
    )
    again = frozenset(
        key
        for key in accepted
        if not out and key[0] == max(ticked) and isinstance(tighten.stages[key[0] - 1], CheckStage)
    )
    for number, stage in enumerate(tighten.stages, 1):
        order = _without(stage_order(joint, stage), left_out)
        done = frozenset(fastener for fastener in order if (number, fastener) in accepted)
        if len(done) < len(order):
            here = tuple(out[number, fastener] for fastener in order if (number, fastener) in out)
            following = _next_fastener(stage, order, done, here)
            return JointProgress(
                joint, tighten, number, order, done, here, following, last, draw_down, ticked, waived, tight, again,
                failed, left_out,
            )  # fmt: skip
    finished = len(tighten.stages) + 1
    return JointProgress(
        joint, tighten, finished, (), frozenset(), (), None, last, draw_down, ticked, waived, tight, again,
        failed, left_out,
    )  # fmt: skip


def _next_fastener(stage: Stage, order: tuple[int, ...], done: frozenset[int], out: tuple[Tick, ...]) -> int:
    """The fastener to tick next. A check stage is read to its end first; in another stage, one that is out is next."""
    if out and not isinstance(stage, CheckStage):
        return out[0].fastener
    ticked = done.union(tick.fastener for tick in out)
    return next((fastener for fastener in order if fastener not in ticked), out[0].fastener if out else order[0])


def progress_text(progress: JointProgress) -> str:
    """The progress in a few words: ``7 of 10, stage 2 of 3: 60 N·m``."""
    without = f", without no. {', '.join(map(str, sorted(progress.left_out)))}" if progress.left_out else ""
    if progress.seating_open and progress.draw_down is not None:
        return progress.draw_down.text
    stages = len(progress.tighten.stages)
    if progress.complete:
        count = progress.joint.count - len(progress.left_out)
        number = "tightened" if progress.joint.count == 1 else f"all {count} tightened" if count > 1 else "1 tightened"
        return f"{number}{without}, {f'all {stages} stages' if stages > 1 else '1 stage'} done"
    stage = progress.tighten.stages[progress.stage_number - 1]
    only = f" ({stage.only} only)" if stage.only else ""
    done = f"{progress.done} of {len(progress.order)}"
    text = f"{done}, stage {progress.stage_number} of {stages}: {stage.text}{only}{without}"
    if not progress.out:
        return text
    out = ", ".join(f"{tick.fastener} {VERDICT_TEXT[tick.verdict]}" for tick in progress.out)
    return f"{text}; no. {out}"
