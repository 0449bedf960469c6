"""Shipped procedures are worked from start to end by what the screen shows, in few keys (:mod:`tests.tui.robot`).

``tests/benchmarks/bench_keys.py`` does it for all of them.
"""

from pathlib import Path

import pytest

from tests.driving.shipped import LIBRARY
from tests.tui.robot_hands import robot_at


@pytest.mark.parametrize(("procedure", "most_keys", "most_without"), [("wheel-hub", 230, 5), ("head-install", 650, 5)])
async def test_job_takes_few_keys_and_few_of_them_carry_no_information(
    tmp_path: Path, procedure: str, most_keys: int, most_without: float
) -> None:
    """``most_without`` is in a hundred keys."""
    async with robot_at(tmp_path / "logs", LIBRARY / f"{procedure}.yaml") as robot:
        count = await robot.work()
    assert count.keys <= most_keys
    assert count.per_hundred <= most_without
