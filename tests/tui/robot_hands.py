"""Input, screen and readings of the robot for the app in this process, with a manual clock."""

import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from benchflow.procedure.model import CheckStage, RecordedValue
from benchflow.procedure.plan import Plan, Step
from benchflow.session.machine_folders import machine_folders
from benchflow.session.state.state import State
from benchflow.tui.bench.bench_screen import BenchScreen
from benchflow.tui.launch import first_page
from benchflow.tui.model.job_catalog import JobCatalog
from tests.driving.entries import valid_reading, value_inside
from tests.driving.session_driver import ManualClock
from tests.driving.shipped import EVENING
from tests.tui.app_driver import AppDriver, drive_app
from tests.tui.robot import Hands, Robot
from tests.tui.seen_screen import SeenScreen, squeezed

KEYS = {
    "Enter": "enter", "Esc": "escape", "Space": "space", "⌫": "backspace", "PgDn": "pagedown", "PgUp": "pageup",
    "F2": "f2", "↑↓": "down", "←→": "right", "?": "question_mark", "=": "equals_sign",
}  # fmt: skip
"""The Textual name of each key in the key bar. For a pair of arrows, the forward one."""

LOT = "A-0042"


class AppHands:
    """Sends keys to the app in this process and reads its screen. The clock is that of the job."""

    def __init__(self, bench: AppDriver, clock: ManualClock) -> None:
        self.bench, self.clock = bench, clock
        self._log = b""
        self._events = 0

    def see(self) -> SeenScreen:
        return SeenScreen(self.bench.painted)

    def new_events(self) -> list[dict[str, Any]]:
        client = self.bench.app.client
        if client is None:
            return []
        lines = client.log.read_bytes().splitlines()
        new, self._events = lines[self._events :], len(lines)
        return [json.loads(line) for line in new]

    def state(self) -> State | None:
        client = self.bench.app.client
        return None if client is None else client.controller.state

    async def press(self, name: str) -> None:
        await self.bench.press_and_paint(KEYS.get(name, name))

    async def type(self, text: str) -> None:
        await self.bench.press_and_paint(*text)

    def pause(self, seconds: float) -> None:
        self.clock.advance(seconds)

    async def wait(self, seconds: float) -> None:
        self.clock.advance(seconds)
        if isinstance(self.bench.app.screen, BenchScreen):
            await self.bench.timer_tick()


class Gauge:
    """The gauges and tubes on the bench: the reading or lot that title and question on the screen ask for."""

    def __init__(self, hands: Hands) -> None:
        self.hands = hands

    def __call__(self, screen: SeenScreen) -> str:
        state = self.hands.state()
        assert state is not None, screen.text
        if screen.current.startswith("Lot of "):
            return LOT
        step = next((each for each in state.plan.steps.values() if _is_titled(screen, state.plan, each)), None)
        assert step is not None, f"no operation has the title on the screen:\n{screen.text}"
        value = _value_asked(step, screen)
        if value is not None:
            return valid_reading(state, value, screen.slot)
        assert step.operation.tighten is not None, f"no value has the question on the screen:\n{screen.text}"
        assert screen.stage is not None, screen.text
        stage = step.operation.tighten.stages[screen.stage - 1]
        assert isinstance(stage, CheckStage), screen.text
        return value_inside(stage.limit, "N·m")


def _is_titled(screen: SeenScreen, plan: Plan, step: Step) -> bool:
    """True if the title on the screen is that of the step. A line of the instruction may follow it."""
    return screen.task == str(plan.number(step.id)) and squeezed(step.title) in squeezed(screen.title)


def _value_asked(step: Step, screen: SeenScreen) -> RecordedValue | None:
    """The value whose question the current item begins with; the longest one, if a question begins another."""
    fits = [
        each for each in step.operation.record if squeezed(screen.current).startswith(squeezed(each.ask or each.name))
    ]
    return max(fits, key=lambda each: len(each.ask or each.name), default=None)


@asynccontextmanager
async def robot_at(
    folder: Path, procedure: Path, size: tuple[int, int] = (80, 24), findings: list[str] | None = None
) -> AsyncIterator[Robot]:
    """A robot in front of the first page of a procedure. The log is in ``folder``."""
    clock = ManualClock(EVENING)
    folder.mkdir(parents=True, exist_ok=True)
    catalog = JobCatalog(machine_folders(), folder, clock)
    async with drive_app(first_page(catalog, procedure, None, None), size) as bench:
        hands = AppHands(bench, clock)
        yield Robot(hands, Gauge(hands), findings)
