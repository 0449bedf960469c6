"""Shipped procedures are worked from start to end by what the screen shows (:mod:`tests.tui.robot`).

``tests/benchmarks/bench_keys.py`` does it for all of them.
"""

from pathlib import Path

import pytest

from tests.driving.shipped import LIBRARY
from tests.tui.robot_hands import robot_at


@pytest.mark.parametrize("procedure", ["wheel-hub"])
async def test_shipped_procedure_can_be_worked_by_what_the_screen_shows(tmp_path: Path, procedure: str) -> None:
    async with robot_at(tmp_path / "logs", LIBRARY / f"{procedure}.yaml") as robot:
        count = await robot.work()
    assert count.operations >= 31
