"""Lists on wide terminals: whole titles, and the reasons of blocked operations beside them."""

from pathlib import Path

import pytest

from tests.driving.shipped import ShippedBuild
from tests.tui.app_driver import drive_app


def tightening(folder: Path) -> ShippedBuild:
    build = ShippedBuild(folder / "b.jsonl", "head-install")
    build.open(unit="job 2417", pistons="at-deck")
    build.work_to("tighten-head")
    return build


@pytest.mark.parametrize("width", [80, 120, 200])
async def test_operations_are_listed_with_whole_titles_and_reasons(tmp_path: Path, width: int) -> None:
    async with drive_app(tightening(tmp_path).controller, (width, 40)) as bench:
        await bench.press("o")
        assert "…" not in bench.text
        row = next(line for line in bench.text.splitlines() if "Fit the intake carrier" in line)
        assert ("Do “Fit the followers of no. 1” first." in row) is (width >= 120)


async def test_why_page_of_a_joint_shows_the_preload_and_its_share_of_the_proof_load(tmp_path: Path) -> None:
    async with drive_app(tightening(tmp_path).controller) as bench:
        await bench.press("w")
        assert "PRELOAD" in bench.text
        assert "% of proof load" in bench.text
