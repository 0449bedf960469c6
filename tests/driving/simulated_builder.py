"""Simulates a builder who works through a whole procedure by intents, in simulated time.

Readings scatter and work takes time as at a real bench; faults are planted where a test or the made history asks for
one. Everything is invented, and the same seed gives the same build.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

from msgspec import Struct

from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.model import AboveReading, CheckStage, EqualWithin, Fixed, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Limit, convert
from benchflow.session.controller import Answer, SessionController
from benchflow.session.log.timestamps import format as written
from benchflow.session.log.timestamps import parse
from benchflow.session.rules.instrument_fitness import need_for_stage
from benchflow.session.rules.joint_progress import joint_of, stage_order
from benchflow.session.rules.open_items import lots_wanted
from benchflow.session.rules.verdicts import limit_of
from benchflow.session.shop.live_register import Register
from tests.driving.entries import choices, reading
from tests.driving.session_driver import HeldClock, Intent, SessionDriver


class Faults(Struct, frozen=True):
    """What goes wrong in this build, each for the operation it names. Empty: a clean build."""

    near_limit: str = ""  # the readings of a value of it come out just inside its limit
    late: str = ""  # it is finished after its window has closed, by a signed deviation
    self_signed: str = ""  # its hold is signed by the builder
    stage_redone: str = ""  # a stage of its joint is unticked fastener by fastener and done again
    overdue: str = ""  # tightened with the wrench whose calibration had run out
    undone_steps: str = ""  # reworked after it was done
    paused: str = ""  # a long pause in the middle of a stage
    hurried: str = ""  # started and finished in seconds
    deviation: str = ""  # a reading out of its limit is waived


CLEAN = Faults()


class SimulatedBuilder(SessionDriver):
    """One build on one log. ``tools`` gives the serial to use for an instrument need of the procedure."""

    def __init__(
        self,
        source: Loaded,
        log: Path,
        *,
        seed: int,
        begin: datetime,
        read: Callable[[str], Any],
        builder: str = "R. Builder",
        inspector: str = "J. Second",
        register: Register | None = None,
        tools: dict[str, str] | None = None,
        overdue_tools: dict[str, str] | None = None,
        faults: Faults = CLEAN,
        lots: Callable[[str, Random], str] = lambda name, chance: f"L-{chance.randrange(100, 120)}",
        creep: dict[str, float] | None = None,
        steady: bool = False,
    ) -> None:
        self.chance = Random(seed)
        self.now = begin.astimezone(UTC)
        self.evening = self.now
        self.builder, self.inspector = builder, inspector
        self.tools, self.overdue_tools = tools or {}, overdue_tools or {}
        self.faults, self.lots = faults, lots
        self.creep = creep or {}  # by operation: how far its readings have moved up their band
        controller = SessionController.begin(
            log, source, file="head-install.yaml", read=read, register=register, simulated=True
        )
        super().__init__(controller, HeldClock())  # the time of a simulated session is in each intent
        self.steady = steady  # no scatter: readings for which all calculations are within their limits
        self.centres: dict[str, float] = {}  # where in its band a value is, in this build

    # --- intents ---

    def answer(self, intent: Intent) -> Answer:
        asked = intent["intent"] in ("why", "route", "status")
        by = {} if asked else {"by": self.builder}
        return self.controller.send({**by, **intent, "at": written(self.now)})

    def spend(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)

    # --- the build ---

    def build(self, unit: str, options: dict[str, str] | None = None, *, close: bool = True) -> None:
        """The whole build, from `open` to `close`, in the order of the procedure, by the routes that are offered."""
        procedure = self.controller.procedure
        answers = {option.name: self.chance.choice(option.choices) for option in procedure.options}
        start = {variable.name: variable.values[0] for variable in procedure.state if variable.start is None}
        self.send({"intent": "open", "unit": unit, "options": {**answers, **(options or {})}, "start": start})
        for goal in list(self.state.plan.steps):
            while goal not in self.state.done:
                self.toward(goal)
            self.may_take_back(goal)
        if close:
            self.send({"intent": "close"})
        self.controller.close()

    def toward(self, goal: str) -> None:
        name = self.send({"intent": "route", "operation": goal})["route"][0]
        if name in self.state.plan.steps:
            self.build_step(self.state.plan.steps[name])
        else:
            self.spend(self.chance.uniform(40, 120))
            self.send({"intent": "move", "move": name})

    def build_step(self, step: Step) -> None:
        self.come_in(step)
        self.send({"intent": "start", "operation": step.id})
        entries = [*self.lot_entries(step), *self.readings(step), *self.checks(step)]
        ticks = self.ticks(step)
        lasts = self.operation_durations(step)
        pause = lasts / (len(entries) + len(ticks) + 1)
        for entry in (*entries, *ticks):
            self.spend(pause)
            self.send(entry)
            self.may_tick_again(step, entry)
            self.may_pause(step, entry)
        for choice in choices(self.state, step):
            self.send(choice)
        self.spend(pause)
        self.may_be_late(step)
        self.deviate(step)
        self.sign(step)
        self.send({"intent": "finish", "operation": step.id})

    def come_in(self, step: Step) -> None:
        """Wait for a time window to open; come back another day when it is late and no window is running."""
        state = self.state
        open_windows = any(
            window.high is not None and window.operation in state.done
            for name, one in state.plan.steps.items()
            if name not in state.done
            for window in one.time
        )
        if not open_windows and self.now - self.evening > timedelta(hours=3):
            self.now = self.evening = self.evening + timedelta(days=self.chance.choice((1, 1, 2, 3)))
        for window in step.time:
            since = state.done.get(window.operation)
            if since is not None and window.low is not None:
                ready = parse(since.at) + timedelta(seconds=window.low + 60)
                if ready > self.now:
                    self.now = ready
                    self.evening = max(self.evening, ready - timedelta(hours=2))
        self.spend(self.chance.uniform(20, 90))

    def operation_durations(self, step: Step) -> float:
        """How long the operation takes, in seconds."""
        if self.faults.hurried == step.id:
            return 8.0
        if step.takes:
            return step.takes * self.chance.uniform(1.02, 1.12)
        return self.chance.uniform(60, 240)

    # --- entries ---

    def lot_entries(self, step: Step) -> list[Intent]:
        return [
            {"intent": "lot", "consumable": name, "lot": self.lots(name, self.chance)}
            for name in lots_wanted(self.state, step)
        ]

    def readings(self, step: Step) -> list[Intent]:
        entries: list[Intent] = []
        for record in step.operation.record:
            tool = self.tools.get(record.instrument or "")
            for slot in record.slots:
                key = "place" if record.by_place else "reading"
                entry = {"intent": "record", "name": record.name, key: slot, "value": self.value(step, record)}
                entries.append({**entry, "instrument": tool} if tool else entry)
        return entries

    def value(self, step: Step, record: RecordedValue) -> str:
        """A reading within its limit, near this build's other readings of that name."""
        if self.steady:
            return reading(self.state, record)
        match record.bound:
            case Fixed(limit):
                pass
            case AboveReading() as bound:
                found = limit_of(self.state, bound, record.unit)
                assert found is not None
                limit = found
            case EqualWithin(spread):
                return f"{convert(spread, record.unit).value:f} {record.unit}"
            case None:
                return f"1 {record.unit}".strip()
        low, high = _ends(limit, record.unit)
        name = record.name.partition("[")[0]
        centre = self.centres.setdefault(name, min(max(self.chance.gauss(0.5, 0.09), 0.25), 0.75))
        share = centre + self.chance.uniform(-0.03, 0.03) + self.creep.get(step.id, 0.0)
        if self.faults.near_limit == step.id:
            share = 0.975
        if self.faults.deviation == step.id:
            share = 1.1
        return _written(low + (high - low) * share, high - low, record.unit)

    def checks(self, step: Step) -> list[Intent]:
        return [{"intent": "tick-check", "check": n} for n in range(1, len(step.operation.check) + 1)]

    def ticks(self, step: Step) -> list[Intent]:
        tighten = step.operation.tighten
        if tighten is None:
            return []
        joint = joint_of(self.state, tighten.joint)
        tools = {**self.tools, **(self.overdue_tools if self.faults.overdue == step.id else {})}
        entries: list[Intent] = []
        for number, stage in enumerate(tighten.stages, 1):
            tool = tools.get(need_for_stage(self.state, step, stage, tighten.instrument) or "")
            for fastener in stage_order(joint, stage):
                entry = {"intent": "tick", "joint": joint.id, "fastener": fastener, "stage": number}
                if isinstance(stage, CheckStage):
                    low, high = _ends(stage.limit, "N·m")
                    entry["value"] = _written(low + (high - low) * self.chance.uniform(0.3, 0.7), high - low, "N·m")
                entries.append({**entry, "instrument": tool} if tool else entry)
        return entries

    def sign(self, step: Step) -> None:
        if step.operation.hold is not None:
            signer = self.builder if self.faults.self_signed == step.id else self.inspector
            self.send({"intent": "sign", "operation": step.id, "by": signer})

    # --- what goes wrong ---

    def may_be_late(self, step: Step) -> None:
        if self.faults.late != step.id:
            return
        for window in step.time:
            if window.high is not None:
                closes = parse(self.state.done[window.operation].at) + timedelta(seconds=window.high)
                self.now = max(self.now, closes + timedelta(seconds=0.08 * window.high))
        reason = "The phone rang. The sealant still looked wet."
        self.send({"intent": "deviate", "operation": step.id, "about": "time", "reason": reason})

    def deviate(self, step: Step) -> None:
        if self.faults.deviation == step.id:
            reason = "The customer knows and wants it built."
            for record in step.operation.record:
                about = {"operation": step.id, "about": record.name, "reason": reason}
                self.send({"intent": "deviate", **about})

    def may_tick_again(self, step: Step, entry: Intent) -> None:
        """The whole first stage is unticked and done again."""
        if self.faults.stage_redone != step.id or entry["intent"] != "tick":
            return
        joint = joint_of(self.state, entry["joint"])
        if (entry["stage"], entry["fastener"]) != (1, joint.count):
            return
        for fastener in reversed(range(1, joint.count + 1)):
            self.spend(2)
            self.send({"intent": "untick", "joint": joint.id, "fastener": fastener, "stage": 1})
        for again in self.ticks(step)[: joint.count]:
            self.spend(9)
            self.send(again)

    def may_pause(self, step: Step, entry: Intent) -> None:
        if self.faults.paused == step.id and entry["intent"] == "tick":
            joint = joint_of(self.state, entry["joint"])
            if (entry["stage"], entry["fastener"]) == (1, joint.count // 2):
                self.spend(55 * 60)

    def may_take_back(self, goal: str) -> None:
        if self.faults.undone_steps == goal and not self.state.work(goal).redone:
            self.spend(300)
            self.send({"intent": "rework", "operation": goal, "reason": "It did not look right the day after."})


def _ends(limit: Limit, unit: str) -> tuple[float, float]:
    """A low and a high end within the limit, also where the limit has only one."""
    low = None if limit.low is None else float(convert(limit.low, unit).value)
    high = None if limit.high is None else float(convert(limit.high, unit).value)
    if low is not None and high is not None:
        return low, high
    if high is not None:
        return (0.0, high) if high > 0 else (high * 2, high)
    assert low is not None
    return (low, low * 1.5) if low > 0 else (low, low + 1)


def _written(value: float, band: float, unit: str) -> str:
    """The value with the digits of a gauge that resolves a fiftieth of the band."""
    digits = 0
    while band / 50 < 10**-digits and digits < 6:
        digits += 1
    return f"{Decimal(value):.{digits}f} {unit}".strip()
