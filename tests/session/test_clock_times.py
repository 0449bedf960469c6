"""Ends of waits and windows as local clock times: on the clock rows, and in the messages about them."""

import time
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from benchflow.session.log.timestamps import clock_time_after, local_time_of
from tests.driving.clocked_job import ClockedJob
from tests.driving.script import procedure_with

HOUR, DAY = 3600.0, 86400.0
LIMA = ZoneInfo("America/Lima")  # five hours behind UTC, without summer time


@pytest.fixture
def lima(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Set the time zone of this process to five hours behind UTC."""
    monkeypatch.setenv("TZ", "PET5")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        (HOUR, "14:00"),
        (11 * HOUR - 60, "23:59"),
        (11 * HOUR, "Mon 00:00"),
        (6 * DAY, "Sat 13:00"),
        (7 * DAY, "2026-03-08 13:00"),
        (-DAY, "2026-02-28 13:00"),
        (1e13, ""),
    ],
)
def test_clock_time_names_the_day_that_is_not_today(seconds: float, expected: str) -> None:
    assert clock_time_after("2026-03-01T18:00:00.000Z", seconds, LIMA) == expected  # a Sunday, 13:00 local time


def test_end_of_a_wait_is_rounded_up_and_a_deadline_down() -> None:
    now = "2026-03-01T18:00:00.000Z"
    assert clock_time_after(now, 90, LIMA) == "13:01"
    assert clock_time_after(now, 90, LIMA, round_up=True) == "13:02"
    assert clock_time_after(now, 120, LIMA, round_up=True) == "13:02"
    assert clock_time_after("2026-03-01T18:00:00.001Z", 0, LIMA, round_up=True) == "13:01"


def test_clock_change_of_the_zone_counts() -> None:
    # Summer time begins in Germany on 29 March 2026, 02:00.
    berlin = ZoneInfo("Europe/Berlin")
    now = "2026-03-28T20:00:00.000Z"
    assert local_time_of(now, berlin).hour == 21
    assert clock_time_after(now, 12 * HOUR, berlin) == "Sun 10:00"


@pytest.mark.usefixtures("lima")
def test_wait_and_deadline_say_until_when(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: seal, title: Seal the cover, undo: {do: Wipe it off}}",
        "{id: fit, title: Fit the cover, time: {seal: at most 10 min}}",
        "{id: fill, title: Fill the oil, time: {seal: at least 24 h}}",
    )
    job = ClockedJob(tmp_path, text)
    job.driver.work("seal")
    job.wait(0.5)
    fit, fill = job.driver.controller.view().clocks
    assert (fit.phase, fit.until) == ("open", "13:10")
    assert (fill.phase, fill.until) == ("wait", "Mon 13:00")
    assert fill.advice.startswith("Wait 23 h 59 min more, until Mon 13:00. Then start step 3")
    (why,) = job.driver.send({"intent": "why", "operation": "fill"})["why"]
    assert "Wait 23 h 59 min more, until Mon 13:00" in why["message"]
    assert job.status()["clocks"][1]["until"] == "Mon 13:00"
    job.wait(30)
    fit = job.driver.controller.view().clocks[0]
    assert (fit.phase, fit.until) == ("missed", "")


def test_end_is_empty_while_the_time_is_not_known(tmp_path: Path) -> None:
    text = procedure_with("{id: seal, title: Seal}", "{id: fill, title: Fill, time: {seal: at least 24 h}}")
    job = ClockedJob(tmp_path, text)
    job.driver.work("seal")
    job.wait(30)
    job.do("note", text="half an hour later")
    job.reboot(off=5, clock_set=-60)
    (fill,) = job.driver.controller.view().clocks
    assert (fill.known, fill.until) == (False, "")
