"""Faults of time: windows missed, clocks that were set or stopped, operations done too fast or left half done."""

from datetime import timedelta

from benchflow.procedure.plan import Plan, Step
from benchflow.session.log.timestamps import parse_timestamp
from tests.driving.fault import Fault
from tests.driving.session_driver import Intent
from tests.driving.working_builder import WorkingBuilder

HOUR = 3600.0


def shown_time(seconds: float) -> str:
    return (
        f"{seconds:.0f} s"
        if seconds < 120
        else f"{seconds / 60:.0f} min"
        if seconds < 2 * HOUR
        else f"{seconds / HOUR:.1f} h"
    )


class TooLate(Fault):
    kind = "time window missed, too late"
    said = r"after|late|window"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [s.id for s in plan.steps.values() if any(w.high is not None and not w.until for w in s.time)]

    def choose_size(self) -> None:
        self.late = 2 * 10800 ** self.chance.random()
        self.size = f"{shown_time(self.late)} late"

    def before_finish(self, builder: WorkingBuilder, step: Step) -> None:
        if step.id == self.operation and not self.shown:
            window = next(one for one in step.time if one.high is not None)
            assert window.high is not None
            since = parse_timestamp(builder.state.done[window.operation].at)
            left = since + timedelta(seconds=window.high + self.late) - builder.clock.wall_time
            self.shown = True
            builder.wait(max(left.total_seconds(), 0.0))


class TooEarly(Fault):
    kind = "time window missed, too early"
    said = r"after|early|wait"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [s.id for s in plan.steps.values() if any(w.low is not None for w in s.time)]

    def choose_size(self) -> None:
        self.share = 10 ** self.chance.uniform(-2.5, -0.05)
        self.size = f"{self.share:.1%} of the wait left"

    def before_wait(self, builder: WorkingBuilder, step: Step) -> bool:
        if step.id != self.operation:
            return False
        ends = []
        for window in step.time:
            since = builder.state.done.get(window.operation)
            if since is not None and window.low is not None:
                early = timedelta(seconds=window.low * (1 - self.share))
                ends.append((parse_timestamp(since.at) + early - builder.clock.wall_time).total_seconds())
        self.shown = max(ends, default=0) > 0  # else the time has passed already
        builder.wait(max(0.0, *ends))
        return True


class ClockSetBack(Fault):
    kind = "computer clock set back"
    said = r"clock"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [s.id for s in plan.steps.values() if s.time] or [""]

    def choose_size(self) -> None:
        self.seconds = 180 * 100 ** self.chance.random()
        self.size = f"by {shown_time(self.seconds)}"
        self.right.add("")

    def before_start(self, builder: WorkingBuilder, step: Step) -> None:
        if step.id == self.operation or (not self.operation and len(builder.state.done) == 3):
            if self.shown:
                return
            self.shown = True
            builder.clock.wall_time -= timedelta(seconds=self.seconds)
            builder.wait(5)
            self.right |= {one.id for one in builder.state.plan.steps.values() if one.time}


class ClockSetBackWhileOff(ClockSetBack):
    kind = "clock set back while the computer was off"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [s.id for s in plan.steps.values() if s.time]

    def before_start(self, builder: WorkingBuilder, step: Step) -> None:
        if step.id == self.operation and not self.shown:
            self.shown = True
            builder.restart(off=60.0, clock_set=-self.seconds)
            self.right |= {one.id for one in builder.state.plan.steps.values() if one.time}


class ClockStoodStill(Fault):
    kind = "computer clock stood still"
    said = r"clock"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [s.id for s in plan.steps.values() if s.time] or [""]

    def choose_size(self) -> None:
        self.seconds = 180 * 40 ** self.chance.random()
        self.size = f"for {shown_time(self.seconds)}"
        self.right.add("")

    def after_start(self, builder: WorkingBuilder, step: Step) -> None:
        if self.shown or not (step.id == self.operation or (not self.operation and len(builder.state.done) == 3)):
            return
        self.shown = True
        builder.clock.monotonic_time += self.seconds
        self.right |= {one.id for one in builder.state.plan.steps.values() if one.time}


class DoneTooFast(Fault):
    kind = "done implausibly fast"
    said = r"done in|fast|states"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [s.id for s in plan.steps.values() if s.takes]

    def choose_size(self) -> None:
        self.share = self.chance.uniform(0.02, 0.08)
        self.size = f"in {self.share:.0%} of the time"
        self.entries = 0

    def seconds_before(self, step: Step, entry: Intent) -> float | None:
        if step.id != self.operation:
            return None
        self.shown = True
        count = len(step.operation.check) + sum(len(r.slots) for r in step.operation.record) + 1
        if step.operation.tighten is not None:
            count += 12 * len(step.operation.tighten.stages)
        return step.takes * self.share / count


class HalfDone(Fault):
    kind = "left half done"
    said = r"not finished|not continued|half"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        """Operations that nothing else in the procedure waits for."""
        waited = {name for step in plan.steps.values() for name in step.after}
        return [
            s.id for s in plan.steps.values()
            if s.id not in waited and not s.sets and (len(s.operation.check) + len(s.operation.record)) > 1
        ]  # fmt: skip

    def choose_size(self) -> None:
        self.size = "after its first entry"

    def leaves(self, builder: WorkingBuilder, step: Step) -> bool:
        if step.id != self.operation:
            return False
        builder.wait(30)
        builder.send({"intent": "pause"})
        self.shown = True
        return True


TIME_FAULTS = (
    TooLate, TooEarly, ClockSetBack, ClockSetBackWhileOff, ClockStoodStill, DoneTooFast, HalfDone,
)  # fmt: skip
