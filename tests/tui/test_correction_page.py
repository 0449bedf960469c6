"""The correcting page: it converts, judges and draws the value while it is typed, before anything is logged."""

from pathlib import Path

from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session
from tests.tui.app_driver import AppDriver, drive_app

GAUGE = "[━"


def measured(folder: Path) -> SessionDriver:
    """A job with a lash of 0.52 mm, far above its limit of 0.20 .. 0.30 mm."""
    driver = start_session(folder)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.do("record", name="lash", value="0.52 mm")
    return driver


def shown(bench: AppDriver) -> str:
    return " ".join(bench.text.split())


async def test_typed_value_is_judged_and_drawn_before_enter(tmp_path: Path) -> None:
    async with drive_app(measured(tmp_path).controller) as bench:
        before = bench.events
        await bench.press("c", "enter")
        assert "Entered: 0.52 mm HIGH by 0.22 mm" in shown(bench)
        assert GAUGE in bench.text
        assert "●" not in bench.text
        await bench.type("0.35")
        assert "Corrected: 0.35 mm HIGH by 0.05 mm" in shown(bench)
        assert "●" in bench.text
        await bench.press("ctrl+u")
        await bench.type("0.25")
        assert "Corrected: 0.25 mm ok" in shown(bench)
        assert bench.events == before


async def test_value_in_another_unit_is_converted_while_typed(tmp_path: Path) -> None:
    async with drive_app(measured(tmp_path).controller) as bench:
        await bench.press("c", "enter")
        await bench.type("0.01 in")
        assert "Corrected: 0.254 mm (0.01 in) ok" in shown(bench)
        await bench.type("\nread on the other scale\n")
        assert bench.last["quantity"]["entered"] == "0.01 in"


async def test_typing_error_is_shown_and_nothing_is_cleared(tmp_path: Path) -> None:
    async with drive_app(measured(tmp_path).controller) as bench:
        await bench.press("c", "enter")
        await bench.type("0.2x5")
        assert "×" in bench.text
        assert "Corrected:" not in bench.text
        assert bench.field == "0.2x5"
        await bench.type("\nwrong\n")
        assert "corrected" not in bench.kinds
        assert bench.screen.title_line == "Correct an entry"


async def test_typed_torque_is_judged_by_the_band_of_its_stage(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    async with drive_app(driver.controller) as bench:
        await bench.press("c", "enter")
        assert "no. 4 of Studs, stage 3" in bench.text
        assert "Entered: 35 N·m ok" in shown(bench)
        await bench.type("25")
        assert "Corrected: 25 N·m LOW by 5 N·m" in shown(bench)
        assert GAUGE in bench.text


async def test_page_at_120_columns_has_the_form_beside_the_verdict(tmp_path: Path) -> None:
    async with drive_app(measured(tmp_path).controller, (120, 40)) as bench:
        await bench.press("c", "enter")
        await bench.type("0.25")
        row = next(line for line in bench.text.splitlines() if "Correct value" in line)
        assert "5 Measure no. 1" in row
        assert "…" not in bench.text


async def test_page_says_which_operation_the_correction_reopens(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    async with drive_app(driver.controller) as bench:
        await bench.press("c", "enter")
        await bench.type("34")
        assert "reopens" not in bench.text
        await bench.press("ctrl+u")
        await bench.type("25")
        assert "This reopens 3 Tighten the studs." in shown(bench)
        await bench.type("\nread again\n")
        assert bench.kinds[-1] == "corrected"
        await bench.press("c", "enter")
        await bench.type("35")
        assert "Done again: 3 Tighten the studs." in shown(bench)
