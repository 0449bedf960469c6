"""Faults of a bolted joint: ticks taken back, breaks, changed tools, wrong lubricant, torques out of the band."""

from typing import Any

from benchflow.procedure.model import TorqueStage
from benchflow.procedure.plan import Plan, Step
from benchflow.quantity import convert
from benchflow.session.rules.joint_progress import joint_of, stage_order
from tests.driving.fault import Fault
from tests.driving.session_driver import Intent
from tests.driving.working_builder import WorkingBuilder

HOUR = 3600.0


class OfOneJoint(Fault):
    """A fault of the joint that the operation tightens. ``least`` fasteners are needed."""

    least = 4
    least_stages = 1

    @classmethod
    def fits(cls, step: Step) -> bool:
        return True

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        found: list[str] = []
        for step in plan.steps.values():
            tighten = step.operation.tighten
            if tighten is None or len(tighten.stages) < cls.least_stages or not cls.fits(step):
                continue
            if plan.procedure.joints_by_id[tighten.joint].count >= cls.least:
                found.append(step.id)
        return found

    def is_its(self, step: Step, entry: Intent) -> bool:
        return step.id == self.operation and entry["intent"] == "tick"

    def place(self, builder: WorkingBuilder, entry: Intent) -> tuple[int, int]:
        """Which tick of its stage an entry is, from 1, and how many there are."""
        tighten = builder.state.plan.steps[self.operation].operation.tighten
        assert tighten is not None
        order = stage_order(joint_of(builder.state, entry["joint"]), tighten.stages[entry["stage"] - 1])
        return order.index(entry["fastener"]) + 1, len(order)


def no_upper_window(step: Step) -> bool:
    return all(window.high is None for window in step.time)


class TicksCleared(OfOneJoint):
    kind = "ticks taken back"
    said = r"clear"

    def choose_size(self) -> None:
        self.most = self.chance.randint(3, 12)

    def after_entry(self, builder: WorkingBuilder, step: Step, entry: Intent) -> None:
        if not self.is_its(step, entry) or self.shown:
            return
        at, count = self.place(builder, entry)
        number = min(self.most, count)
        if at < number:
            return
        self.shown, self.size = True, f"{number} of {count}"
        for _ in range(number):
            builder.wait(self.chance.uniform(1, 4))
            builder.send({"intent": "untick", "joint": entry["joint"]})
        for tick in list(builder.tick_entries(step, (entry["stage"],)))[at - number : at]:
            builder.wait(self.chance.uniform(6, 14))
            builder.send(tick)


class BreakInStage(OfOneJoint):
    kind = "a break within a stage"
    said = r"between|break|interrupt|pause"

    @classmethod
    def fits(cls, step: Step) -> bool:
        return no_upper_window(step)

    def choose_size(self) -> None:
        self.seconds = HOUR * 2 ** self.chance.uniform(-0.58, 3.58)
        self.size = f"{self.seconds / HOUR:.1f} h"

    def after_entry(self, builder: WorkingBuilder, step: Step, entry: Intent) -> None:
        if self.is_its(step, entry) and not self.shown:
            at, count = self.place(builder, entry)
            if at == count // 2:
                self.shown = True
                builder.wait(self.seconds)


class NightBetweenStages(OfOneJoint):
    kind = "a night between two stages"
    said = r"between|break|interrupt|pause"
    least_stages = 2

    @classmethod
    def fits(cls, step: Step) -> bool:
        return no_upper_window(step)

    def choose_size(self) -> None:
        self.seconds = self.chance.uniform(8, 16) * HOUR
        self.size = f"{self.seconds / HOUR:.0f} h"

    def after_entry(self, builder: WorkingBuilder, step: Step, entry: Intent) -> None:
        if self.is_its(step, entry) and not self.shown:
            at, count = self.place(builder, entry)
            if at == count:
                self.shown = True
                builder.wait(self.seconds)


class OtherWrench(OfOneJoint):
    kind = "another wrench in the middle of a joint"
    said = r"wrench|instrument|changed|another|two"

    def choose_size(self) -> None:
        self.size = "from the middle of a stage on"

    def shop(self, shop: dict[str, Any]) -> None:
        for name, one in list(shop["instruments"].items()):
            shop["instruments"][f"{name}-2"] = {**one, "serial": f"{one['serial']}-2"}

    def tool(self, step: Step, need: str, entry: Intent) -> str:
        if step.id != self.operation or not need.endswith("wrench"):
            return ""
        self.ticks = getattr(self, "ticks", 0) + 1
        if self.ticks <= 2:
            return ""
        self.shown = True
        return f"S-{need}-2"


class AdapterChanged(OfOneJoint):
    kind = "adapter changed in the middle of a joint"
    said = r"adapter|extension|setting|changed"

    @classmethod
    def fits(cls, step: Step) -> bool:
        return step.operation.tighten is not None and isinstance(step.operation.tighten.stages[0], TorqueStage)

    def choose_size(self) -> None:
        self.length = self.chance.randint(30, 150)
        self.size = f"{self.length} mm"

    def after_entry(self, builder: WorkingBuilder, step: Step, entry: Intent) -> None:
        if self.is_its(step, entry) and not self.shown and self.place(builder, entry)[0] == 2:
            builder.send({"intent": "wrench", "extension": f"{self.length} mm", "lever": "600 mm"})
            self.shown = True


class TickedTooFast(OfOneJoint):
    kind = "ticked faster than hands"
    said = r"ticked in| s each|fast|apart"

    def choose_size(self) -> None:
        self.seconds = self.chance.uniform(0.15, 0.6)
        self.size = f"{self.seconds:.1f} s apart"

    def seconds_before(self, step: Step, entry: Intent) -> float | None:
        if self.is_its(step, entry) and entry["stage"] == 1:
            self.shown = True
            return self.seconds
        return None


class EnteredTogether(OfOneJoint):
    """It is said, and the operation is not accused."""

    kind = "entered together"
    said = r"together"

    @classmethod
    def fits(cls, step: Step) -> bool:
        return step.operation.tighten is not None and isinstance(step.operation.tighten.stages[0], TorqueStage)

    def choose_size(self) -> None:
        self.size = "a whole stage"

    def sends(self, builder: WorkingBuilder, step: Step, entry: Intent) -> bool:
        if not self.is_its(step, entry) or entry["stage"] != 1:
            return False
        if not self.shown:
            self.shown = True
            builder.wait(60)
            joint = {"intent": "tick-rest", "joint": entry["joint"]}
            builder.send(joint | ({"instrument": entry["instrument"]} if "instrument" in entry else {}))
        return True


class OtherLubricant(OfOneJoint):
    kind = "another lubricant than stated"
    said = r"thread|lubric|dry|oil"
    least = 1

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        """Only joints that one operation tightens: what is on the threads holds for the whole joint."""
        joints = [step.operation.tighten.joint for step in plan.steps.values() if step.operation.tighten]
        return [
            name for name in super().places(plan)
            if (tighten := plan.steps[name].operation.tighten) and joints.count(tighten.joint) == 1
        ]  # fmt: skip

    def choose_size(self) -> None:
        self.pair = self.chance.choice(
            (("nothing, dry threads", "0.20"), ("moly paste", "0.11"), ("engine oil", "0.15"))
        )

    def after_start(self, builder: WorkingBuilder, step: Step) -> None:
        tighten = step.operation.tighten
        if step.id != self.operation or tighten is None:
            return
        stated = builder.state.plan.procedure.joints_by_id[tighten.joint]
        if stated.nut_factor is not None and abs(float(stated.nut_factor) - float(self.pair[1])) < 0.02:
            self.pair = ("moly paste", "0.11")
        lubricant, factor = self.pair
        self.shown, self.size = True, f"{lubricant} ({factor}) for {stated.lubricant} ({stated.nut_factor})"
        builder.send({"intent": "lubricant", "joint": tighten.joint, "lubricant": lubricant, "nut-factor": factor})


class HighTick(OfOneJoint):
    kind = "a tick above the band"
    said = r"above|HIGH|too far|over"
    least = 1

    @classmethod
    def fits(cls, step: Step) -> bool:
        return step.operation.tighten is not None and isinstance(step.operation.tighten.stages[-1], TorqueStage)

    def choose_size(self) -> None:
        self.over, self.loosens = self.chance.uniform(0.08, 0.6), self.chance.random() < 0.5
        self.size = f"{self.over:.0%} over, then {'loosened' if self.loosens else 'cleared'}"

    def sends(self, builder: WorkingBuilder, step: Step, entry: Intent) -> bool:
        tighten = step.operation.tighten
        if not self.is_its(step, entry) or self.shown or tighten is None or entry["stage"] != len(tighten.stages):
            return False
        stage = tighten.stages[-1]
        assert isinstance(stage, TorqueStage)
        high = stage.torque if stage.band is None or stage.band.high is None else stage.band.high
        value = float(convert(high, "N·m").value)
        self.shown = True
        builder.send(entry | {"value": f"{value * (1 + self.over):.1f} N·m"})
        builder.wait(self.chance.uniform(10, 60))
        right = {"value": f"{float(convert(stage.torque, 'N·m').value):.1f} N·m"}
        if not self.loosens:
            builder.send({"intent": "untick", "joint": entry["joint"]})
            builder.wait(10)
        builder.send(entry | right | {"loosened": True})
        return True


JOINT_FAULTS = (
    TicksCleared, BreakInStage, NightBetweenStages, OtherWrench, AdapterChanged, TickedTooFast, EnteredTogether,
    OtherLubricant, HighTick,
)  # fmt: skip
