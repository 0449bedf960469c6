"""The choice of another part than the preferred one at the bench. All data is invented."""

from pathlib import Path

from tests.driving.script import procedure_with
from tests.tui.app_driver import drive_app
from tests.tui.test_bench_regressions import at

SHIMS = """\
{id: fit, title: Fit, record: {gap: {ask: Gap, unit: mm, readings: valve}, stock: {ask: Shim, unit: mm, readings: 3}},
 work-out: {lash: {is: gap - shims, unit: mm}},
 match: {shims: {measured: stock, to: valve, so that: lash, limit: at least 0.20 mm, prefer: thickest}}}"""


async def test_another_part_is_chosen_with_its_reason(tmp_path: Path) -> None:
    driver = at(tmp_path, procedure_with(SHIMS, head="places: {valve: [1]}\n"), "fit")
    driver.do("record", name="gap", value="2.50 mm")
    for number, size in enumerate(("2.00 mm", "2.10 mm", "2.20 mm"), 1):
        driver.do("record", name="stock", reading=number, value=size)
    async with drive_app(driver.controller) as bench:
        assert "the thickest that fits" in bench.text
        await bench.type("2.1\n")
        assert "3 (2.20 mm) is the thickest that fits 1" in " ".join(bench.text.split())
        assert bench.last["kind"] == "recorded"
        await bench.type("the thick one is bent\n")
        assert (bench.last["kind"], bench.last["reason"]) == ("chosen", "the thick one is bent")


async def test_preferred_part_needs_no_reason(tmp_path: Path) -> None:
    driver = at(tmp_path, procedure_with(SHIMS, head="places: {valve: [1]}\n"), "fit")
    driver.do("record", name="gap", value="2.50 mm")
    for number, size in enumerate(("2.00 mm", "2.10 mm", "2.20 mm"), 1):
        driver.do("record", name="stock", reading=number, value=size)
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        assert bench.last_of("chosen")["take"] == "3"
