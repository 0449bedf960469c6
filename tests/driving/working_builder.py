"""Works through any shipped procedure as a builder at the bench does, in the time of a clock that the test moves.

Readings scatter about a centre, work takes time, and nights pass. A :class:`Fault` changes what the builder does at one
place. :mod:`tests.driving.honest_noise` adds what happens in any good build. All data is invented.
"""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, CheckStage, EqualWithin, Fixed, OpenStage, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Limit, convert
from benchflow.session.controller import SessionController
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.log_writer import Accepted, Answer
from benchflow.session.refusal import Refusal
from benchflow.session.rules.instrument_fitness import need_for_stage
from benchflow.session.rules.joint_progress import joint_of, stage_order
from benchflow.session.rules.open_items import required_lots
from benchflow.session.rules.verdicts import limit_of
from benchflow.session.shop.live_register import Register
from tests.driving.entries import PRESET_READINGS, PRESET_SLOTS, choices, valid_reading, value_inside
from tests.driving.fault import Fault
from tests.driving.session_driver import Intent, ManualClock, SessionDriver

BEGIN = datetime(2030, 3, 4, 17, 12, tzinfo=UTC)
CALIBRATED = BEGIN.date() - timedelta(days=100)
"""The day of the last calibration of every instrument that is fit."""

BUILDER, INSPECTOR, HELPER = "R. Builder", "J. Second", "K. Third"

PRESET_SCALES = {"touch-before": Decimal(4), "touch-after": Decimal(4), "on-hand": Decimal("0.1")}
"""For a reading that must agree with another one much better than its limit asks: a width instead of its band."""

GAPS = {"lash-now-one": "gap-one", "lash-now-four": "gap-four"}
"""For a lash that is measured after a shim was chosen: the value that was measured before."""

Reader = Callable[[str], Any]


class WorkingBuilder(SessionDriver):
    """One build on one log. ``tools`` has a serial number for each instrument need."""

    def __init__(
        self, source: Loaded, file: str, log: Path, *, chance: Random, read: Reader, clock: ManualClock,
        register: Register | None, tools: dict[str, str], fault: Fault, noise: Fault,
    ) -> None:  # fmt: skip
        self.chance, self.read, self.register, self.tools = chance, read, register, tools
        self.fault, self.noise, self.log, self.boots = fault, noise, log, 1
        begun = SessionController.begin(log, source, file=file, read=read, clock=clock, register=register)
        super().__init__(begun, clock)
        self.centres: dict[str, float] = {}
        self.calculated = set(re.findall(r"[a-z][a-z0-9-]*", " ".join(re.findall(r"\bis: (.*)", source.text))))
        self.measured: dict[tuple[str, str], Decimal] = {}  # by value and reading, as entered
        self.places: dict[int, tuple[str, str]] = {}  # value and reading of an event
        self.chosen: dict[str, str] = {}  # the part for each place
        self.left: set[str] = set()  # operations that are left unfinished
        self.evening = clock.wall_time

    # --- the build ---

    def build(self, unit: str, options: dict[str, str]) -> None:
        procedure = self.controller.procedure
        start = {variable.name: variable.values[0] for variable in procedure.state if variable.start is None}
        self.send({"intent": "open", "by": BUILDER, "unit": unit, "options": options, "start": start})
        while open_steps := [name for name in self.state.plan.steps if self._is_to_do(name)]:
            if not self._do_next_on_route(open_steps):
                break
        self.each("before_close")
        unfinished = {"unfinished": "The customer took it home as it is."} if self.left else {}
        self.send({"intent": "close", **unfinished})
        self.controller.close()
        self.fault.after_close(self.log)

    def _is_to_do(self, name: str) -> bool:
        return name not in self.state.done and name not in self.left

    def _do_next_on_route(self, goals: list[str]) -> bool:
        """Do the next action on the way to the first goal that can be reached. False if none can."""
        for goal in goals:
            reply = self.answer({"intent": "route", "operation": goal})
            if not isinstance(reply, Accepted):
                continue
            name = reply.answer["route"][0]
            if name in self.left:
                continue
            if name in self.state.plan.steps:
                self._build_step(self.state.plan.steps[name])
            elif not self.fault.moves(self, name):
                self.wait(self.chance.uniform(40, 120))
                self.send({"intent": "move", "move": name})
            return True
        return False

    def _build_step(self, step: Step) -> None:
        self._wait_for_windows(step)
        self.each("before_start", step)
        self.send_or_deviate({"intent": "start", "operation": step.id})
        began = self.clock.monotonic_time
        self.each("after_start", step)
        for entry in self._entries(step):
            pace = self.fault.seconds_before(step, entry)
            self.wait(self._pace(entry) if pace is None else pace)
            if not self.fault.sends(self, step, entry) and not self.noise.sends(self, step, entry):
                self.enter(step, entry)
            self.each("after_entry", step, entry)
            if self.state.in_progress != step.id:
                return
            if self.fault.leaves(self, step):
                self.left.add(step.id)
                return
        for choice in choices(self.state, step):
            self.wait(self._pace(choice))
            self.send(choice)
        self._choose_new_shims(step)
        pace = self.fault.seconds_before(step, {"intent": "finish"})
        least = step.takes * self.chance.uniform(1.02, 1.12) - (self.clock.monotonic_time - began)
        self.wait(max(least, self.chance.uniform(10, 40)) if pace is None else pace)
        self.each("before_finish", step)
        if step.operation.hold is not None and not self.fault.signs(self, step):
            pin = {"pin": self.fault.pin} if self.fault.pin else {}
            self.send({"intent": "sign", "operation": step.id, "by": INSPECTOR, **pin})
        self.send_or_deviate({"intent": "finish", "operation": step.id})
        self.each("after_finish", step)

    def _choose_new_shims(self, step: Step) -> None:
        """Choose a new shim of the right size for each place for which no shim at hand fits."""
        for match in step.operation.match:
            for place in self.controller.procedure.places[match.to]:
                name = str(ValueRef(match.name, place))
                if name in self.state.work(step.id).chosen:
                    continue
                gap = self.measured.get(("gap-one", place)) or self.measured["gap-four", place]
                size = f"{gap + self.measured['on-hand', place] - Decimal('0.25'):.2f} mm"
                self.send({"intent": "choose", "name": name, "take": size, "reason": "No shim at hand fits"})

    def each(self, hook: str, *arguments: Any) -> None:
        for one in (self.fault, self.noise):
            getattr(one, hook)(self, *arguments)

    # --- intents ---

    def answer(self, intent: Intent) -> Answer:
        reply = super().answer(intent)
        for line in reply.lines if isinstance(reply, Accepted) else ():
            if line.kind == "recorded":
                self.places[line.seq] = (plain(line.data["name"]), line.data["reading"])
            place = self.places.get(line.data["event"] if line.kind == "corrected" else line.seq)
            if place is not None:
                unit = line.data["quantity"]["unit"]
                number = Decimal(line.data["quantity"]["value"]) * (Decimal("25.4") if unit == "in" else 1)
                self.measured[place] = number
            elif line.kind == "chosen":
                self.chosen[ValueRef.parse(line.data["name"]).place or ""] = line.data["take"]
        return reply

    def wait(self, seconds: float) -> None:
        self.clock.advance(seconds)

    def enter(self, step: Step, entry: Intent) -> int:
        """Send an entry. Returns the number of its event."""
        reply = self.answer(entry)
        if isinstance(reply, Refusal) and {reason.code for reason in reply.refused} & {"too-late", "too-early"}:
            self._deviate_from_time(step.id)
            reply = self.answer(entry)
        assert isinstance(reply, Accepted), (step.id, entry, reply)
        return entry_seq(reply)

    def send_or_deviate(self, intent: Intent) -> None:
        """Send an intent. If it is refused because of the time, sign a deviation first."""
        reply = self.answer(intent)
        if isinstance(reply, Refusal) and {reason.code for reason in reply.refused} <= {"too-late", "too-early"}:
            self._deviate_from_time(intent["operation"])
            reply = self.answer(intent)
        assert isinstance(reply, Accepted), (intent, reply)

    def _deviate_from_time(self, operation: str) -> None:
        reason = self.chance.choice(("The phone rang.", "Customer agreed.", "Went on regardless, had to be away."))
        self.send({"intent": "deviate", "operation": operation, "about": "time", "reason": reason, "by": BUILDER})
        self.fault.right.add(operation)

    # --- time ---

    def restart(self, off: float = 0.0, clock_set: float = 0.0) -> None:
        """Start the computer again after ``off`` seconds, with its clock set by ``clock_set`` seconds."""
        self.controller.close()
        self.boots += 1
        wall = self.clock.wall_time + timedelta(seconds=off + clock_set)
        self.clock = ManualClock(wall, monotonic=5.0, boot=f"b{self.boots:04}105-0001")
        self.controller = SessionController.resume(self.log, read=self.read, clock=self.clock, register=self.register)

    def sleep_over_night(self) -> None:
        """Let a night pass. The computer sleeps, or is switched off."""
        self.wait(self.chance.uniform(20, 120))
        night = self.chance.uniform(12, 20) * 3600
        if self.chance.random() < 0.5:
            self.wait(night)
        else:
            self.restart(off=night)
        self.evening = self.clock.wall_time

    @property
    def window_is_open(self) -> bool:
        """True if the upper end of a time window is still to come."""
        state = self.state
        return any(
            window.high is not None and window.operation in state.done
            for name, step in state.plan.steps.items()
            if name not in state.done
            for window in step.time
        )

    @property
    def joint_is_begun(self) -> bool:
        """True if a joint has had a pass, and another one without a wait is to come: nobody goes home then."""
        state = self.state
        begun = {
            (step.operation.tighten.joint, step.place)
            for name, step in state.plan.steps.items()
            if step.operation.tighten and name in state.done
        }
        return any(
            (step.operation.tighten.joint, step.place) in begun and not step.time
            for name, step in state.plan.steps.items()
            if step.operation.tighten and name not in state.done
        )

    def _wait_for_windows(self, step: Step) -> None:
        if self.fault.before_wait(self, step):
            return
        free = not self.window_is_open and not self.joint_is_begun
        if free and self.clock.wall_time - self.evening > timedelta(hours=3):
            self.sleep_over_night()
        for window in step.time:
            since = self.state.done.get(window.operation)
            if since is not None and window.low is not None:
                left = parse_timestamp(since.at) + timedelta(seconds=window.low + 60) - self.clock.wall_time
                self.wait(max(0.0, left.total_seconds()))
        self.wait(self.chance.uniform(20, 60))
        for _ in range(500):
            reply = self.answer({"intent": "why", "operation": step.id})
            if not isinstance(reply, Accepted) or all(why["code"] != "too-early" for why in reply.answer["why"]):
                return
            self.wait(600)

    def _pace(self, entry: Intent) -> float:
        """The seconds before an entry."""
        low, high = {"tick": (6, 14), "record": (15, 40), "lot": (10, 30)}.get(entry["intent"], (8, 25))
        return self.chance.uniform(low, high)

    # --- entries ---

    def _entries(self, step: Step) -> Iterator[Intent]:
        operation = step.operation
        for name in required_lots(self.state, step):
            yield {"intent": "lot", "consumable": name, "lot": f"L-{self.chance.randrange(100, 999)}"}
        for record in operation.record:
            for slot in record.slots:
                key = "place" if record.by_place else "reading"
                entry = {"intent": "record", "name": record.name, key: slot, "value": self.reading(step, record, slot)}
                needs = record.at(slot).instruments
                tools = [self._tool(step, need, entry) for need in needs if need in self.tools]
                one: Intent = {"instrument": tools if len(tools) > 1 else tools[0]} if tools else {}
                yield entry | one
        yield from self.tick_entries(step)
        for number in range(1, len(operation.check) + 1):
            yield {"intent": "tick-check", "operation": step.id, "check": number}

    def tick_entries(self, step: Step, stages: tuple[int, ...] = ()) -> Iterator[Intent]:
        """The ticks of the joint of ``step``; of all stages, or of those named."""
        tighten = step.operation.tighten
        if tighten is None:
            return
        joint = joint_of(self.state, tighten.joint)
        for number, stage in enumerate(tighten.stages, 1):
            if stages and number not in stages:
                continue
            if isinstance(stage, OpenStage) and not stage.formula and not stages:
                yield {"intent": "figure", "joint": joint.id, "stage": number, "value": "60 N·m", "from": "bulletin 4"}
            need = need_for_stage(self.state, step, stage, tighten.instrument)
            for fastener in stage_order(joint, stage):
                tick: Intent = {"intent": "tick", "joint": joint.id, "fastener": fastener, "stage": number}
                if need in self.tools:
                    tick["instrument"] = self._tool(step, need, tick)
                yield tick | ({"value": _held_torque(stage.limit)} if isinstance(stage, CheckStage) else {})

    def _tool(self, step: Step, need: str, entry: Intent) -> str:
        return self.fault.tool(step, need, entry) or self.tools[need]

    def reading(self, step: Step, record: RecordedValue, slot: str) -> str:
        return self.fault.reading(self, step, record, slot) or self.honest_reading(record, slot)

    def expected_lash(self, name: str, slot: str) -> Decimal | None:
        """The lash that the shim chosen for a place gives, in mm; ``None`` if the value is none of these."""
        taken = self.chosen.get(slot)
        if name not in GAPS or taken is None:
            return None
        thickness = self.measured.get(("on-hand", taken)) or Decimal(taken.removesuffix(" mm"))
        return self.measured[GAPS[name], slot] + self.measured["on-hand", slot] - thickness

    def limit(self, record: RecordedValue) -> Limit | None:
        match record.bound:
            case Fixed(limit):
                return limit
            case AboveReading() as bound:
                return limit_of(self.state, bound, record.unit)
            case _:
                return None

    def honest_reading(self, record: RecordedValue, slot: str) -> str:
        """A reading within its limit, near the other readings of its name in this build."""
        record = record.at(slot)
        if not record.unit:
            return valid_reading(self.state, record, slot)
        middle = Decimal(valid_reading(self.state, record, slot).removesuffix(record.unit).removesuffix(" "))
        expected = self.expected_lash(record.name, slot)
        if expected is not None:
            return f"{expected + Decimal(self.chance.gauss(0, 0.0015)):.3f} {record.unit}"
        if not middle:
            return valid_reading(self.state, record, slot)
        name = ValueRef.parse(record.name).name
        limit = self.limit(record)
        if name in PRESET_SCALES:
            scale = PRESET_SCALES[name]
        elif isinstance(record.bound, EqualWithin):
            middle += 4  # the gap itself has no limit
            scale = convert(record.bound.spread, record.unit).value * Decimal("0.8")
        elif limit is not None and limit.low is not None and limit.high is not None:
            scale = convert(limit.high, record.unit).value - convert(limit.low, record.unit).value
        else:
            scale = abs(middle) or Decimal(1)
        calculated = plain(name) in self.calculated or slot in PRESET_SLOTS or name in PRESET_READINGS
        centre = self.centres.setdefault(name, min(max(self.chance.gauss(0, 0.06), -0.15), 0.15))
        share = min(max(self.chance.gauss(0, 0.03), -0.08), 0.08)
        if calculated:
            share, centre = share * 0.4, 0.0
        spreads = [
            one.bound.limit.high for one in record.also if one.judge == "spread" and isinstance(one.bound, Fixed)
        ]
        scatter = scale * Decimal(share)
        for most in filter(None, spreads):
            scatter = min(max(scatter, -convert(most, record.unit).value / 4), convert(most, record.unit).value / 4)
        digits = 0
        while scale / 50 < Decimal(10) ** -digits and digits < 6:
            digits += 1
        return f"{middle + scale * Decimal(centre) + scatter:.{digits}f} {record.unit}"


def plain(name: str) -> str:
    """The name of a value without its operation and its place."""
    return ValueRef.parse(name).name.rpartition(".")[2]


def _held_torque(limit: Limit) -> str:
    """A torque within the limit of a check: little above a limit with one end."""
    if limit.high is not None or limit.low is None:
        return value_inside(limit, "N·m")
    return f"{float(convert(limit.low, 'N·m').value) * 1.02:.1f} N·m"


def entry_seq(reply: Accepted) -> int:
    """The number of the event of an entry, without what was logged about its instrument."""
    return next(line.seq for line in reply.lines if line.kind not in ("instrument-used", "clock-went-back"))
