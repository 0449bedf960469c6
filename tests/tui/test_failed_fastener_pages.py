"""The pages for a fastener that strips, breaks or turns, and for its repair."""

from pathlib import Path

from benchflow.tui.app.navigation import DeviationRequest, FastenerFailedRequest, RepairRequest
from tests.driving.small_head import SmallHead, start_session
from tests.tui.app_driver import AppDriver, drive_app


def tightening(folder: Path) -> SmallHead:
    """A job in the first stage of the studs; no. 1 is tightened."""
    driver = start_session(folder)
    driver.lower_head()
    driver.do("start", operation="tighten")
    driver.do("tick", joint="studs", fastener=1)
    return driver


async def report(bench: AppDriver, *keys: str, value: str = "") -> None:
    bench.app.open(FastenerFailedRequest("studs", "Studs", 2))
    await bench.press(*keys)
    await bench.type(f"{value}\n")


async def test_next_fastener_is_logged_as_failed_with_what_it_reached(tmp_path: Path) -> None:
    async with drive_app(tightening(tmp_path).controller) as bench:
        await report(bench, "right", "enter", value="18")
        assert bench.last["kind"] == "fastener-failed"
        assert (bench.last["fastener"], bench.last["what"]) == (2, "stripped")
        assert bench.last["quantity"]["entered"] == "18 N·m"
        assert "The joint is stopped" in bench.text


async def test_another_fastener_can_be_named_and_the_value_left_out(tmp_path: Path) -> None:
    async with drive_app(tightening(tmp_path).controller) as bench:
        bench.app.open(FastenerFailedRequest("studs", "Studs", 2))
        await bench.press("up", "up")
        await bench.press("4")
        await bench.press("enter", "left", "enter", "enter")
        assert (bench.last["fastener"], bench.last["what"]) == (4, "turning")
        assert bench.last.get("quantity") is None


async def test_nothing_is_logged_until_the_kind_of_failure_is_chosen(tmp_path: Path) -> None:
    async with drive_app(tightening(tmp_path).controller) as bench:
        bench.app.open(FastenerFailedRequest("studs", "Studs", 2))
        await bench.press("enter", "enter")
        assert "Choose an answer" in bench.text
        await bench.press("escape")
        assert "fastener-failed" not in bench.kinds
        assert bench.screen.title_line == "Bench"


async def test_repair_is_logged_and_the_joint_is_begun_again(tmp_path: Path) -> None:
    async with drive_app(tightening(tmp_path).controller) as bench:
        await report(bench, "right", "enter")
        bench.app.open(RepairRequest("studs", "Studs", 2))
        await bench.press("right")
        assert "all ticks of the joint are void" in " ".join(bench.text.split())
        await bench.press("enter")
        await bench.type("M10\n")
        assert (bench.last["kind"], bench.last["fastener"]) == ("repaired", 2)
        assert bench.last["repair"] == "Thread insert fitted: M10"
        assert "0 of 4, stage 1" in bench.text


async def test_other_repair_needs_a_text(tmp_path: Path) -> None:
    async with drive_app(tightening(tmp_path).controller) as bench:
        await report(bench, "right", "enter")
        bench.app.open(RepairRequest("studs", "Studs", 2))
        await bench.press("left", "enter", "enter")
        assert "Enter what was done" in bench.text
        await bench.type("hole welded and drilled again\n")
        assert bench.last["repair"] == "hole welded and drilled again"


async def test_deviation_about_the_failed_fastener_is_selected(tmp_path: Path) -> None:
    async with drive_app(tightening(tmp_path).controller) as bench:
        await report(bench, "right", "enter")
        bench.app.open(DeviationRequest("tighten"))
        await bench.press()
        assert "● Studs, no. 2: stripped" in bench.text
        await bench.type("the other three hold it\n")
        assert (bench.last["kind"], bench.last["about"]) == ("deviated", "studs[2]")
