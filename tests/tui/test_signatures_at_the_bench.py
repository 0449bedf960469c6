"""Signatures for corrections and found states at the bench, with a register of the shop."""

from pathlib import Path

from benchflow.session.machine_folders import machine_folders
from benchflow.session.shop.register import hash_pin
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.screens.job_list_page import JobListPage
from tests.driving.script import procedure_with
from tests.driving.session_driver import ManualClock
from tests.tui.app_driver import AppDriver, drive_app
from tests.tui.test_bench_regressions import at

SHOP = f"""\
shop: 1
people:
  Robin: {{roles: [builder]}}
  Ida: {{roles: [inspector], pin: {hash_pin("2417", bytes(16))}}}
"""
COOL = """\
{id: cool, title: Cool, waive: inspector,
 record: {t: {ask: T, unit: °C, limit: at most 40 °C, above: [{do: Stop here, stop: true}]}}}"""
VALVE = """\
state:
  valve: {values: [open, shut], start: ask, found: inspector}
"""


async def test_correction_past_a_stop_asks_for_the_inspector_and_the_pin(tmp_path: Path) -> None:
    driver = at(tmp_path, procedure_with(COOL), "cool", shop=SHOP)
    driver.do("record", name="t", value="95 °C")
    async with drive_app(driver.controller) as bench:
        await bench.press("c", "enter")
        assert "Signed by (inspector)" in bench.text
        await bench.type("35\n")
        await bench.type("digits swapped\n")
        await bench.press("enter")  # no PIN; Ida is the only inspector
        assert "Ida signs with a PIN" in bench.text
        await bench.type("2417\n")
        assert "2417" not in bench.text
        assert (bench.last["kind"], bench.last["by"], bench.last["role"]) == ("corrected", "Ida", "inspector")
        assert bench.last["proven"] == "pin"


async def test_correction_that_needs_no_signature_asks_for_none(tmp_path: Path) -> None:
    driver = at(tmp_path, procedure_with(COOL), "cool", shop=SHOP)
    driver.do("record", name="t", value="39 °C")
    async with drive_app(driver.controller) as bench:
        await bench.press("c", "enter")
        assert "Signed by" not in bench.text
        await bench.type("35\n")
        await bench.type("digits swapped\n")
        assert (bench.last["kind"], bench.last["by"]) == ("corrected", "Robin")


async def test_state_found_has_the_name_of_the_person_at_the_bench(tmp_path: Path) -> None:
    text = procedure_with("{id: look, title: Look}", head=VALVE.replace(", found: inspector", ""))
    driver = at(tmp_path, text, "look")
    async with drive_app(driver.controller, by="Kim") as bench:
        await bench.press("s", "enter", "space", "enter")
        await bench.type("seen\n")
        assert (bench.last["kind"], bench.last["by"]) == ("state-set", "Kim")


async def test_state_that_an_inspector_finds_asks_for_name_and_pin(tmp_path: Path) -> None:
    driver = at(tmp_path, procedure_with("{id: look, title: Look}", head=VALVE), "look", shop=SHOP)
    async with drive_app(driver.controller) as bench:
        await bench.press("s", "enter")
        assert "Found by (inspector)" in bench.text
        await bench.press("space", "enter")
        await bench.type("seen\n")
        await bench.type("2417\n")
        assert (bench.last["kind"], bench.last["by"], bench.last["proven"]) == ("state-set", "Ida", "pin")


async def test_job_with_another_register_goes_on_only_with_a_reason(tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    driver = at(logs, procedure_with("{id: look, title: Look}"), "look", shop=SHOP)
    driver.controller.close()
    clock = ManualClock(driver.clock.wall_time, monotonic=5.0)
    page = JobListPage(JobCatalog(machine_folders(), logs, clock), None, None)
    async with drive_app(page, (100, 30)) as bench:
        await bench.press("enter")
        assert "Another register" in bench.screen.title_line
        assert "This computer has no register" in " ".join(bench.text.split())
        await bench.press("enter")
        assert "Give the reason" in bench.text
        await bench.type("the office burned down\n")
        await bench.press("enter")
        assert [event["data"].get("other_register") for event in bench.events if event["kind"] == "resumed"] == [
            "the office burned down"
        ]


HOLDS = procedure_with(
    "{id: one, title: One, hold: {by: inspector, for: the seat}}",
    "{id: two, title: Two, hold: {by: inspector, for: the bore}}",
)
TWO_INSPECTORS = (
    SHOP
    + f"""\
  Ines: {{roles: [inspector], pin: {hash_pin("1111", bytes(16))}}}
"""
)


async def sign_first_hold(bench: AppDriver, *keys: str) -> None:
    await bench.press("enter")
    await bench.press(*keys)
    await bench.type("1111\n")
    assert bench.last_of("signed")["by"] == "Ines"
    await bench.press("enter")


async def test_only_inspector_is_offered_and_types_the_pin_alone(tmp_path: Path) -> None:
    driver = at(tmp_path, HOLDS, "one", shop=SHOP)
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        assert "● Ida" in bench.text
        await bench.type("2417\n")
        assert (bench.last_of("signed")["by"], bench.last_of("signed")["proven"]) == ("Ida", "pin")


async def test_last_inspector_of_the_job_is_offered_at_the_next_hold(tmp_path: Path) -> None:
    driver = at(tmp_path, HOLDS, "one", shop=TWO_INSPECTORS)
    async with drive_app(driver.controller) as bench:
        await sign_first_hold(bench, "right", "right", "enter")
        assert bench.kinds[-1] == "started"
        await bench.press("enter")
        assert "● Ines" in bench.text
        await bench.type("1111\n")
        signed = bench.last_of("signed")
        assert (signed["operation"], signed["by"], signed["proven"]) == ("two", "Ines", "pin")


async def test_last_inspector_of_the_procedure_is_offered_in_the_next_job(tmp_path: Path) -> None:
    driver = at(tmp_path, HOLDS, "one", shop=TWO_INSPECTORS)
    Preferences(tmp_path / "config").remember_signer(driver.controller.procedure.id, "inspector", "Ines")
    async with drive_app(driver.controller) as bench:
        assert bench.app.client is not None
        bench.app.client.preferences = Preferences(tmp_path / "config")
        await bench.press("enter")
        assert "● Ines" in bench.text


async def test_offered_name_without_a_register_is_confirmed_or_replaced_by_typing(tmp_path: Path) -> None:
    driver = at(tmp_path, HOLDS, "one")
    async with drive_app(driver.controller) as bench:
        assert bench.app.client is not None
        bench.app.client.preferences.remember_signer(bench.app.client.state.plan.procedure.id, "inspector", "Ida")
        await bench.press("enter")
        assert bench.field == "Ida"
        await bench.type("Ines")
        assert bench.field == "Ines"
        await bench.press("escape", "enter", "f2")
        assert bench.last_of("signed")["by"] == "Ida"


async def test_repeated_pedal_signs_nothing_with_the_offered_name(tmp_path: Path) -> None:
    driver = at(tmp_path, HOLDS, "one")
    async with drive_app(driver.controller) as bench:
        assert bench.app.client is not None
        bench.app.client.preferences.remember_signer(bench.app.client.state.plan.procedure.id, "inspector", "Ida")
        await bench.press("enter", "enter", "enter")
        assert "signed" not in bench.kinds
        assert "To sign as Ida, press F2." in bench.text
        await bench.press("f2")
        assert bench.last_of("signed")["by"] == "Ida"


async def test_scanned_number_signs_nothing(tmp_path: Path) -> None:
    driver = at(tmp_path, HOLDS, "one")
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("4012345678901\n")
        assert "signed" not in bench.kinds
        assert "Enter the name of the person who signs." in bench.text


async def test_pin_of_a_badge_reader_signs_though_it_is_quick(tmp_path: Path) -> None:
    driver = at(tmp_path, HOLDS, "one", shop=SHOP)
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.press(*"2417", "enter", pause=0.01)
        assert bench.last_of("signed")["proven"] == "pin"


async def test_deviation_that_an_inspector_signs_offers_the_inspector(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: cool, title: Cool, waive: inspector, record: {t: {ask: T, unit: °C, limit: at most 40 °C}}}"
    )
    driver = at(tmp_path, text, "cool", shop=SHOP)
    driver.do("record", name="t", value="41 °C")
    async with drive_app(driver.controller) as bench:
        await bench.press("d")
        assert "Signed by (inspector)" in bench.text
        assert "● Ida" in bench.text
        await bench.type("the gauge stood in the sun\n")
        await bench.type("2417\n")
        assert (bench.last["kind"], bench.last["by"], bench.last["proven"]) == ("deviated", "Ida", "pin")
