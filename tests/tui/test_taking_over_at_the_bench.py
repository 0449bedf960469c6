"""A job that continues a damaged log, by keys: what is known, the state asked again, the list to take over."""

from pathlib import Path

from benchflow.session.machine_folders import machine_folders
from benchflow.tui.launch import first_page_continued
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.screens.job_list_page import JobListPage
from benchflow.tui.widgets.page import Page
from tests.driving.script import Script, intent, open_intent
from tests.session.test_continue_from import PROCEDURE, damage
from tests.tui.app_driver import AppDriver, drive_app


def damaged_log(folder: Path, line: int) -> Path:
    """A log without a register, damaged at ``line``; ``measure``, ``seal`` and ``inspect`` were done."""
    logs = folder / "logs"
    logs.mkdir()
    script = Script(logs, PROCEDURE)
    script.do_all(
        open_intent(unit="2417"),
        intent("start", operation="measure"), intent("record", name="gap", value="0.0055 in"), intent("finish"),
        intent("start", operation="seal"), intent("lot", consumable="sealant", lot="A-7"), intent("finish"),
        intent("start", operation="inspect"), intent("tick-check", check=1),
        intent("sign", operation="inspect", by="Ines"), intent("finish"),
        intent("start", operation="tighten"),
    )  # fmt: skip
    damage(script.path, line)
    return script.path


async def answer_the_start(bench: AppDriver) -> None:
    """Builder, cover on, bolts loose; the folder stays as it is."""
    await bench.type("Robin\n")
    await bench.press("right", "right", "enter")  # cover: off, on
    await bench.press("right", "enter")  # bolts: loose


async def test_damaged_log_is_continued_from_the_job_list(tmp_path: Path) -> None:
    log = damaged_log(tmp_path, 12)
    before = log.read_bytes()
    page = JobListPage(JobCatalog(machine_folders(), log.parent), None, None)
    async with drive_app(page) as bench:
        assert "begins a new log" in " ".join(bench.text.split())
        await bench.press("c")
        assert "damaged: line 12" in " ".join(bench.text.split())
        await bench.press("enter")
        await answer_the_start(bench)
        assert "Take over from the earlier log" in bench.screen.title_line
        assert "0.0055 in" in bench.text
        await bench.press("enter")
        assert bench.kinds == ["opened", "recorded", "taken-over"]
        assert "Taken over: 1 Measure" in bench.text
        await bench.press("s", "q")  # `seal` is skipped
        assert bench.kinds == ["opened", "recorded", "taken-over"]
        await bench.press("k", "enter", "enter")  # from the bench again: `seal`, then the hold
        assert bench.last["operation"] == "seal"
        assert "Who takes it over as inspector?" in bench.text
        await bench.type("Ines\n")
        assert (bench.last["kind"], bench.last["by"], bench.last["role"]) == ("taken-over", "Ines", "inspector")
        assert "Tighten" in bench.text
    assert log.read_bytes() == before


async def test_operation_that_is_not_trusted_needs_a_reason(tmp_path: Path) -> None:
    log = damaged_log(tmp_path, 4)
    page = first_page_continued(JobCatalog(machine_folders(), log.parent), log, None, "Robin", None)
    assert isinstance(page, Page)
    async with drive_app(page, (100, 30)) as bench:
        await bench.press("enter")
        await bench.press("right", "right", "enter", "right", "enter")
        assert "no evidence" in bench.text  # `finished` of `measure` is the damaged line
        assert "not trusted" in bench.text
        await bench.press("down", "enter", "enter")  # `seal`, with the name at the bench
        await bench.type("the bead is there\n")
        assert bench.kinds == ["opened"]
        assert "Do “Measure” first" in bench.text
        await bench.press("escape", "up", "enter", "enter")
        await bench.press("enter")
        assert "give the reason" in bench.text
        await bench.type("measured again\n")
        assert (bench.last["kind"], bench.last["basis"]) == ("taken-over", "none")
        await bench.press("enter", "enter")
        await bench.type("the bead is there\n")
        assert (bench.last["operation"], bench.last["basis"]) == ("seal", "untrusted")


async def test_job_that_was_begun_goes_on_when_the_old_log_is_named_again(tmp_path: Path) -> None:
    log = damaged_log(tmp_path, 12)
    catalog = JobCatalog(machine_folders(), log.parent)
    page = first_page_continued(catalog, log, None, "Robin", None)
    assert isinstance(page, Page)
    async with drive_app(page) as bench:
        await bench.press("enter")
        await bench.press("right", "right", "enter", "right", "enter")
        await bench.press("enter")
    again = first_page_continued(catalog, log, None, "Robin", None)
    assert not isinstance(again, Page)
    async with drive_app(again) as bench:
        assert bench.kinds == ["opened", "recorded", "taken-over"]
        await bench.press("k", "enter")
        assert bench.last["operation"] == "seal"


async def test_start_page_names_the_earlier_logs_of_the_unit(tmp_path: Path) -> None:
    log = damaged_log(tmp_path, 12)
    catalog = JobCatalog(machine_folders(), log.parent)
    from benchflow.tui.screens.start_page import StartPage
    from tests.driving.script import load_text

    page = StartPage(catalog, load_text(PROCEDURE), "p.yaml", "Robin", None)
    async with drive_app(page) as bench:
        assert "earlier log" not in bench.text
        await bench.type("2417")
        assert "1 earlier log of this unit: log.jsonl" in bench.text
