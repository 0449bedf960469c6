"""Simulates a builder who works through a whole procedure by intents, in simulated time.

Readings vary and work takes time, as at a real bench. A test can request faults. All data is invented, and the
same seed gives the same build.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

from msgspec import Struct

from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, CheckStage, EqualWithin, Fixed, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Limit, convert
from benchflow.session.controller import SessionController
from benchflow.session.log.timestamps import format_timestamp, parse_timestamp
from benchflow.session.log_writer import Answer
from benchflow.session.rules.instrument_fitness import need_for_stage
from benchflow.session.rules.joint_progress import joint_of, stage_order
from benchflow.session.rules.open_items import required_lots
from benchflow.session.rules.verdicts import limit_of
from benchflow.session.shop.live_register import Register
from tests.driving.entries import choices, valid_reading
from tests.driving.session_driver import Intent, ManualClock, SessionDriver


class Faults(Struct, frozen=True):
    """The faults of one build. Each field names the operation with that fault; empty means no such fault."""

    near_limit: str = ""  # its readings are just inside their limits
    late: str = ""  # finished after the end of its time window, with a signed deviation
    self_signed: str = ""  # its hold is signed by the builder
    stage_redone: str = ""  # the first stage of its joint is unticked and done again
    overdue: str = ""  # tightened with a wrench whose calibration is overdue
    reworked: str = ""  # reworked after it was done
    paused: str = ""  # a long pause in the middle of a stage
    hurried: str = ""  # started and finished in seconds
    deviation: str = ""  # its readings are out of their limits, with a signed deviation


CLEAN = Faults()


class SimulatedBuilder(SessionDriver):
    """One build on one log.

    ``tools`` gives the serial number to use for each instrument need of the procedure. ``drift`` gives, for an
    operation, how far its readings have moved up their limit band, as a fraction of its width. With ``no_scatter``
    every reading is one for which the calculated values are within their limits.
    """

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
        drift: dict[str, float] | None = None,
        no_scatter: bool = False,
    ) -> None:
        self.chance = Random(seed)
        self.now = begin.astimezone(UTC)
        self.day_start = self.now
        self.builder, self.inspector = builder, inspector
        self.tools, self.overdue_tools = tools or {}, overdue_tools or {}
        self.faults, self.lots = faults, lots
        self.drift = drift or {}
        controller = SessionController.begin(
            log, source, file="head-install.yaml", read=read, register=register, simulated=True
        )
        super().__init__(controller, ManualClock())  # the time of a simulated session is in each intent
        self.no_scatter = no_scatter
        self.centres: dict[str, float] = {}  # the mean of each value in this build, as a fraction of its limit band

    # --- intents ---

    def answer(self, intent: Intent) -> Answer:
        is_query = intent["intent"] in ("why", "route", "status")
        by = {} if is_query else {"by": self.builder}
        return self.controller.send({**by, **intent, "at": format_timestamp(self.now)})

    def wait(self, seconds: float) -> None:
        """Let ``seconds`` of simulated time pass."""
        self.now += timedelta(seconds=seconds)

    # --- the build ---

    def build(self, unit: str, options: dict[str, str] | None = None, *, close: bool = True) -> None:
        """Do the whole build, from `open` to `close`, in the order of the procedure, by the shortest safe routes."""
        procedure = self.controller.procedure
        answers = {option.name: self.chance.choice(option.choices) for option in procedure.options}
        start = {variable.name: variable.values[0] for variable in procedure.state if variable.start is None}
        self.send({"intent": "open", "unit": unit, "options": {**answers, **(options or {})}, "start": start})
        for goal in list(self.state.plan.steps):
            while goal in self.state.plan.steps and goal not in self.state.done:
                self.do_next_on_route(goal)
            self.rework_if_planned(goal)
        if close:
            self.send({"intent": "close"})
        self.controller.close()

    def do_next_on_route(self, goal: str) -> None:
        """Do the next operation or move on the shortest safe route to ``goal``."""
        name = self.send({"intent": "route", "operation": goal})["route"][0]
        if name in self.state.plan.steps:
            self.build_step(self.state.plan.steps[name])
        else:
            self.wait(self.chance.uniform(40, 120))
            self.send({"intent": "move", "move": name})

    def build_step(self, step: Step) -> None:
        self.wait_for_windows(step)
        self.send({"intent": "start", "operation": step.id})
        entries = [*self.lot_entries(step), *self.reading_entries(step), *self.check_entries(step)]
        ticks = self.tick_entries(step)
        duration = self.operation_duration(step)
        pause = duration / (len(entries) + len(ticks) + 1)
        for entry in (*entries, *ticks):
            self.wait(pause)
            self.send(entry)
            self.redo_stage_if_planned(step, entry)
            self.pause_if_planned(step, entry)
        for choice in choices(self.state, step):
            self.send(choice)
        self.wait(pause)
        self.be_late_if_planned(step)
        self.deviate_if_planned(step)
        self.sign(step)
        self.send({"intent": "finish", "operation": step.id})

    def wait_for_windows(self, step: Step) -> None:
        """Wait for the earliest start of ``step``. After three hours, continue on another day if no window is open."""
        state = self.state
        open_windows = any(
            window.high is not None and window.operation in state.done
            for name, one in state.plan.steps.items()
            if name not in state.done
            for window in one.time
        )
        if not open_windows and self.now - self.day_start > timedelta(hours=3):
            self.now = self.day_start = self.day_start + timedelta(days=self.chance.choice((1, 1, 2, 3)))
        for window in step.time:
            since = state.done.get(window.operation)
            if since is not None and window.low is not None:
                ready = parse_timestamp(since.at) + timedelta(seconds=window.low + 60)
                if ready > self.now:
                    self.now = ready
                    self.day_start = max(self.day_start, ready - timedelta(hours=2))
        self.wait(self.chance.uniform(20, 90))

    def operation_duration(self, step: Step) -> float:
        """The duration of the operation in seconds."""
        if self.faults.hurried == step.id:
            return 8.0
        if step.takes:
            return step.takes * self.chance.uniform(1.02, 1.12)
        return self.chance.uniform(60, 240)

    # --- entries ---

    def lot_entries(self, step: Step) -> list[Intent]:
        return [
            {"intent": "lot", "consumable": name, "lot": self.lots(name, self.chance)}
            for name in required_lots(self.state, step)
        ]

    def reading_entries(self, step: Step) -> list[Intent]:
        entries: list[Intent] = []
        for record in step.operation.record:
            tool = self.tools.get(record.instrument or "")
            for slot in record.slots:
                key = "place" if record.by_place else "reading"
                entry = {"intent": "record", "name": record.name, key: slot, "value": self.reading_text(step, record)}
                entries.append({**entry, "instrument": tool} if tool else entry)
        return entries

    def reading_text(self, step: Step, record: RecordedValue) -> str:
        """A reading within its limit, near this build's other readings of that name."""
        if self.no_scatter:
            return valid_reading(self.state, record)
        match record.bound:
            case Fixed(limit):
                pass
            case AboveReading() as bound:
                raised = limit_of(self.state, bound, record.unit)
                assert raised is not None
                limit = raised
            case EqualWithin(spread):
                return f"{convert(spread, record.unit).value:f} {record.unit}"
            case None:
                return f"1 {record.unit}".strip()
        low, high = _ends_inside(limit, record.unit)
        name = ValueRef.parse(record.name).name
        centre = self.centres.setdefault(name, min(max(self.chance.gauss(0.5, 0.09), 0.25), 0.75))
        share = centre + self.chance.uniform(-0.03, 0.03) + self.drift.get(step.id, 0.0)
        if self.faults.near_limit == step.id:
            share = 0.975
        if self.faults.deviation == step.id:
            share = 1.1
        return _rounded_text(low + (high - low) * share, high - low, record.unit)

    def check_entries(self, step: Step) -> list[Intent]:
        return [{"intent": "tick-check", "check": n} for n in range(1, len(step.operation.check) + 1)]

    def tick_entries(self, step: Step) -> list[Intent]:
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
                    entry["answer"] = "held"
                entries.append({**entry, "instrument": tool} if tool else entry)
        return entries

    def sign(self, step: Step) -> None:
        if step.operation.hold is not None:
            signer = self.builder if self.faults.self_signed == step.id else self.inspector
            self.send({"intent": "sign", "operation": step.id, "by": signer})

    # --- faults ---

    def be_late_if_planned(self, step: Step) -> None:
        if self.faults.late != step.id:
            return
        for window in step.time:
            if window.high is not None:
                closes = parse_timestamp(self.state.done[window.operation].at) + timedelta(seconds=window.high)
                self.now = max(self.now, closes + timedelta(seconds=0.08 * window.high))
        reason = "The phone rang. The sealant still looked wet."
        self.send({"intent": "deviate", "operation": step.id, "about": "time", "reason": reason})

    def deviate_if_planned(self, step: Step) -> None:
        if self.faults.deviation == step.id:
            reason = "The customer has agreed in writing."
            for record in step.operation.record:
                about = {"operation": step.id, "about": record.name, "reason": reason}
                self.send({"intent": "deviate", **about})

    def redo_stage_if_planned(self, step: Step, entry: Intent) -> None:
        """Untick the whole first stage and do it again, after its last tick."""
        if self.faults.stage_redone != step.id or entry["intent"] != "tick":
            return
        joint = joint_of(self.state, entry["joint"])
        if (entry["stage"], entry["fastener"]) != (1, joint.count):
            return
        for fastener in reversed(range(1, joint.count + 1)):
            self.wait(2)
            self.send({"intent": "untick", "joint": joint.id, "fastener": fastener, "stage": 1})
        for tick in self.tick_entries(step)[: joint.count]:
            self.wait(9)
            self.send(tick)

    def pause_if_planned(self, step: Step, entry: Intent) -> None:
        if self.faults.paused == step.id and entry["intent"] == "tick":
            joint = joint_of(self.state, entry["joint"])
            if (entry["stage"], entry["fastener"]) == (1, joint.count // 2):
                self.wait(55 * 60)

    def rework_if_planned(self, goal: str) -> None:
        if self.faults.reworked == goal and not self.state.work(goal).redone:
            self.wait(300)
            self.send({"intent": "rework", "operation": goal, "reason": "It did not look right the day after."})


def _ends_inside(limit: Limit, unit: str) -> tuple[float, float]:
    """A low and a high value within the limit. For a limit with one end, the other value is invented."""
    low = None if limit.low is None else float(convert(limit.low, unit).value)
    high = None if limit.high is None else float(convert(limit.high, unit).value)
    if low is not None and high is not None:
        return low, high
    if high is not None:
        return (0.0, high) if high > 0 else (high * 2, high)
    assert low is not None
    return (low, low * 1.5) if low > 0 else (low, low + 1)


def _rounded_text(value: float, band: float, unit: str) -> str:
    """The value as text, rounded to about a fiftieth of ``band``."""
    digits = 0
    while band / 50 < 10**-digits and digits < 6:
        digits += 1
    return f"{Decimal(value):.{digits}f} {unit}".strip()
