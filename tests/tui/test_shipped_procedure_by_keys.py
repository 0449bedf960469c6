"""A shipped procedure is worked from start to end by keys alone."""

from pathlib import Path

import pytest

from benchflow.quantity import parse_limit
from benchflow.session.view.bench_view import (
    CalculatedInput,
    CheckInput,
    ChoiceInput,
    HoldInput,
    LotInput,
    TightenInput,
)
from benchflow.tui.bench.bench_screen import BenchScreen
from benchflow.tui.draw.joint_map import is_drawing_down
from benchflow.tui.model.bench_inputs import BenchInput, FinishInput, SlotInput, TickInput, WholeInput
from benchflow.tui.model.current_task import MoveTask, NothingToDo, OperationTask
from tests.driving.entries import valid_reading, value_inside
from tests.driving.shipped import ShippedBuild
from tests.tui.app_driver import AppDriver, drive_app

MAX_ANSWERS = 3000
"""Maximum number of entries. A procedure that needs more is in a loop."""


async def answer(bench: AppDriver, screen: BenchScreen, driver: ShippedBuild) -> None:
    """Do the one thing that the screen asks for."""
    cursor = screen.cursor
    if any(row.phase == "wait" for row in screen.client.view.clocks) and cursor.blocked:
        driver.clock.advance(24 * 3600)
    item = cursor.item
    if isinstance(cursor.task, NothingToDo | MoveTask):
        await bench.press("enter")
    elif item is None and isinstance(cursor.task, OperationTask):
        await bench.press("g" if cursor.blocked else "enter")
    else:
        assert item is not None
        await enter_item(bench, screen, driver, item)


async def enter_item(bench: AppDriver, screen: BenchScreen, driver: ShippedBuild, item: BenchInput) -> None:
    match item:
        case SlotInput():
            record = next(
                each
                for each in driver.state.plan.steps[screen.cursor.operation].operation.record
                if each.name == item.input.name
            )
            await bench.type(valid_reading(driver.state, record) + "\n")
        case TickInput(value=value) if value is not None:
            await bench.type(value_inside(parse_limit(value.limit), value.unit) + "\n")
        case WholeInput(input=LotInput()):
            await bench.type("A-0042\n")
        case WholeInput(input=HoldInput()):
            await bench.press("enter")
            await bench.type("K. Lathe\n")
        case WholeInput(input=ChoiceInput() as choice):
            await bench.press("enter" if choice.proposed else "1")
        case TickInput() | WholeInput(input=CheckInput()) | FinishInput():
            await bench.press("enter")
        case WholeInput(input=CalculatedInput() as worked):
            raise AssertionError(f"{worked.title} is out: {worked.shown}")
        case WholeInput(input=TightenInput() as joint):
            assert is_drawing_down(joint)
            await bench.press("t")


@pytest.mark.parametrize("procedure", ["wheel-hub"])
async def test_shipped_procedure_can_be_built_by_keys_alone(tmp_path: Path, procedure: str) -> None:
    driver = ShippedBuild(tmp_path / "build.jsonl", procedure)
    driver.open()
    async with drive_app(driver.controller) as bench:
        assert isinstance(bench.screen, BenchScreen)
        for _ in range(MAX_ANSWERS):
            if bench.app.client is not None and bench.app.client.view.finished:
                break
            before = (bench.text, len(bench.events))
            await answer(bench, bench.screen, driver)
            assert (bench.text, len(bench.events)) != before, bench.text
        await bench.press("enter", "enter")
        assert bench.kinds[-1] == "closed"
