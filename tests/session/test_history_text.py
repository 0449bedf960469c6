"""The history of a job: every event has a text, times are local, and no text has control characters."""

import time
from collections.abc import Iterator, Sequence
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest

from benchflow.session.history.event_text import EVENT_TEXTS, event_text
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.history.log_titles import LogTitles, number_list, quantity_text
from benchflow.session.log.journal import Draft, Journal, Line
from benchflow.session.log.line_format import Damage, seal
from benchflow.session.state import events as ev
from tests.driving.log_files import AT
from tests.driving.session_driver import START, read_procedure
from tests.driving.small_head import SMALL_HEAD, SmallHead, start_session


def history_of(lines: Sequence[Line], damage: Damage | None = None) -> str:
    return "\n".join(history_text(lines, plan_from_log(lines, read_procedure), zone=UTC, damage=damage))


def unwrapped(text: str) -> str:
    """The text as one line, without line breaks and repeated spaces."""
    return " ".join(text.split())


@pytest.fixture
def driver(tmp_path: Path) -> Iterator[SmallHead]:
    driver = start_session(tmp_path)
    yield driver
    driver.controller.close()


def test_every_event_type_has_a_text() -> None:
    assert set(EVENT_TEXTS) == set(ev.EVENT_TYPES.values())


def test_history_shows_days_operations_readings_limits_and_people(driver: SmallHead) -> None:
    driver.lower_head()
    driver.do("start", operation="tighten")
    for fastener in (1, 2, 3, 4, 1, 2):
        driver.clock.advance(20)
        driver.do("tick", joint="studs", fastener=fastener)
    driver.do("tick", joint="studs", fastener=1, value="26 ft-lb")
    driver.clock.advance(86_400)
    driver.do("note", text="found it as I left it", by="Second Person")
    for fastener in (2, 3, 4):
        driver.do("tick", joint="studs", fastener=fastener, value="35 N·m")
    driver.do("finish")
    driver.do("start", operation="measure[1]")
    driver.do("record", name="lash[1]", value="0.010 in")
    driver.do("record", name="runout[1]", reading="2", value="0.06 mm")

    text = history_of(driver.controller.journal.lines)
    assert text.startswith("Small head, revision 1\nUnit: 2417. Builder: Robin.\n")
    assert "Invented for the tests." in text
    assert text.index("Sunday 1 March 2026") < text.index("Monday 2 March 2026")
    for words in (
        "1 18:00 Job started: 2417; cams: standard; pistons are at-deck",
        "Sealant: lot 0042",
        "3 Tighten the studs [tighten]",
        "Studs, stage 1 (20 N·m): fasteners 1 to 4 done",
        "stage 2 (40 N·m): fasteners 1, 2 done",
        "(typed 26 ft-lb), ok",
        "... 1 d 0 h later",
        "Note: found it as I left it (Second Person)",
        "Finished, 1 d 0 h after the start",
        "lash[1]: 0.254 mm (typed 0.010 in), ok, limit 0.20 .. 0.30 mm, guarded (ok: 0.2033 .. 0.2967 mm), with gauge",
        "runout[1], reading 2: 0.06 mm",
    ):
        assert words in unwrapped(text), words


def test_mean_is_shown_after_its_last_reading_and_after_a_correction(
    driver: SmallHead,
) -> None:
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    for reading, value in (("1", "0.05 mm"), ("2", "0.06 mm"), ("3", "0.06 mm")):
        last = driver.do("record", name="runout[1]", reading=reading, value=value).lines[0].seq
    assert "reading 3: 0.06 mm; mean 0.057 mm, HIGH, limit at most 0.05 mm" in unwrapped(
        history_of(driver.controller.journal.lines)
    )
    driver.do("correct", event=last, value="0.01 mm", reason="read the wrong pointer")
    text = unwrapped(history_of(driver.controller.journal.lines))
    assert "reason: read the wrong pointer; mean 0.04 mm, ok, limit at most 0.05 mm" in text
    assert "reading 2: 0.06 mm; mean" not in text


def test_calculated_value_without_a_finite_decimal_is_shown_rounded() -> None:
    long = ev.StoredQuantity("0.7190333333333333333333333333", "mm", "0.7190333333333333333333333333 mm")
    worked = ev.ValueCalculated("measure", "gap", long, "ok", limit="0.40 .. 1.20 mm", filled="2.157 mm / 3 ≈ 0.719 mm")
    assert event_text(worked, LogTitles(None)) == "gap calculated: 2.157 mm / 3 ≈ 0.719 mm, ok, limit 0.40 .. 1.20 mm"


def test_rework_deviations_and_corrections_are_in_capitals(driver: SmallHead) -> None:
    driver.lower_and_tighten()
    driver.do("start", operation="measure[2]")
    wrong = driver.do("record", name="lash[2]", value="0.52 mm").lines[0].seq
    driver.do("correct", event=wrong, value="0.25 mm", reason="digits swapped")
    for _ in range(3):
        driver.do("record", name="runout[2]", value="0.50 mm")
    driver.do("deviate", operation="measure[2]", about="runout[2]", reason="no gauge in the house", by="Inspector")
    driver.do("pause")
    driver.do("rework", operation="lower", reason="gasket upside down")
    text = unwrapped(history_of(driver.controller.journal.lines))
    for words in (
        f"Entry {wrong} CORRECTED to 0.25 mm",
        "reason: digits swapped",
        "DEVIATION signed for runout[2]: no gauge in the house (Inspector)",
        "REWORK started: gasket upside down",
        "Undone for rework",
    ):
        assert words in text, words


def test_durations_ignore_a_wall_clock_that_was_set_back(driver: SmallHead) -> None:
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="1")
    driver.clock.monotonic_time += 300
    driver.clock.wall_time = START.replace(hour=12)
    driver.do("finish")
    text = history_of(driver.controller.journal.lines)
    assert "The computer clock WENT BACK" in text
    assert "Finished, 5:00 min after the start" in text


@pytest.fixture
def central_european_time(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The time zone of the computer is CET, one hour ahead of UTC, with summer time from 29 March 2026."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the system cannot change its time zone")
@pytest.mark.usefixtures("central_european_time")
def test_times_are_printed_in_the_time_zone_of_the_computer(driver: SmallHead) -> None:
    driver.do("start", operation="seal")
    driver.clock.wall_time = START.replace(hour=12)
    driver.do("note", text="after the clock was corrected")
    text = unwrapped("\n".join(history_text(driver.controller.journal.lines, None)))
    assert "Times are local (CET)." in text
    assert "1 19:00 Job started" in text
    assert "WENT BACK from 2026-03-01 19:00:00 CET to 2026-03-01 13:00:00 CET" in text
    assert "13:00 Note: after the clock was corrected" in text
    assert "times from here on" not in text


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the system cannot change its time zone")
@pytest.mark.usefixtures("central_european_time")
def test_a_change_to_summer_time_is_printed_with_the_day(driver: SmallHead) -> None:
    driver.clock.wall_time = START.replace(day=30, hour=17)
    driver.do("note", text="one month later")
    text = unwrapped("\n".join(history_text(driver.controller.journal.lines, None)))
    assert "Monday 30 March 2026 (times from here on are in CEST)" in text
    assert "19:00 Note: one month later" in text


def test_history_reports_a_damaged_log() -> None:
    assert "THE LOG IS DAMAGED: line 2 was eaten" in history_of(opened(), Damage(2, "was eaten"))


def test_history_marks_a_simulated_job() -> None:
    assert "SIMULATED" in history_of(opened(simulated=True))
    assert "SIMULATED" not in history_of(opened())


def test_history_names_an_event_of_a_newer_version() -> None:
    assert "this version cannot read (polished)" in history_of(opened(("polished", {"operation": "seal"})))
    assert "this version cannot read (finished)" in history_of(opened(("finished", {"operation": 7})))


def test_control_characters_in_typed_text_are_removed() -> None:
    text = history_of(opened(("noted", {"text": "one\x1b]52;c;cm0=\x07\u202etwo\x9b2J\nthree"}), unit="7\x1b[2J"))
    assert not set(text) & set("\x1b\x07\x9b\u202e")
    assert "three" in text


def test_history_without_a_procedure_uses_ids() -> None:
    lines = opened(("started", {"operation": "seal"}))
    text = "\n".join(history_text(lines, None, zone=UTC))
    assert "\nseal\n" in text


@pytest.mark.parametrize("lines", [[], [Line(1, AT, "R.", "noted", {"text": ""}, "", "")]])
def test_history_reports_a_file_without_a_job(lines: list[Line]) -> None:
    assert "is not the start of a job" in "\n".join(history_text(lines, None))


@pytest.mark.parametrize(
    ("stored", "shown"),
    [
        (ev.StoredQuantity("0.045", "mm", "0.045 mm"), "0.045 mm"),
        (ev.StoredQuantity("0.04572", "mm", "0.0018 in"), "0.0457 mm (typed 0.0018 in)"),
        (ev.StoredQuantity("90", "°", "90 deg"), "90°"),
        (ev.StoredQuantity("14", "", "14"), "14"),
        (ev.StoredQuantity("1.5", "mm", "about that"), "1.5 mm (typed about that)"),
    ],
)
def test_reading_is_shown_with_the_precision_that_was_typed(stored: ev.StoredQuantity, shown: str) -> None:
    assert quantity_text(stored) == shown


@pytest.mark.parametrize(
    ("numbers", "words"),
    [([3], "3"), ([1, 2], "1, 2"), ([1, 2, 3, 4], "1 to 4"), ([4, 1, 2, 3, 7], "4, 1 to 3, 7"), ([2, 1], "2, 1")],
)
def test_fasteners_are_listed_in_the_order_they_were_done(numbers: list[int], words: str) -> None:
    assert number_list(numbers) == words


def test_event_type_without_a_text_gives_an_empty_text() -> None:
    assert event_text(ev.Event(), LogTitles(None)) == ""


def opened(*events: tuple[str, dict[str, Any]], **more: Any) -> list[Line]:
    data = {
        "procedure": SMALL_HEAD, "procedure_sha256": "0" * 64, "file": "small.yaml", "options": {"cams": "standard"},
        "start": {}, "unit": "7", "version": "0", **more,
    }  # fmt: skip
    lines, _ = seal([Draft(AT, "R.", kind, inner) for kind, inner in [("opened", data), *events]], None)
    return list(lines)


def test_job_list_and_fold_count_the_same_operations(driver: SmallHead) -> None:
    from benchflow.session.catalog import summarize_log

    path = driver.controller.journal.path
    driver.lower_and_tighten()
    assert driver.controller.state is not None
    assert summarize_log(path).done == len(driver.controller.state.done) == 3
    driver.do("rework", operation="lower", reason="gasket upside down")
    assert driver.controller.state is not None
    assert summarize_log(path).done == len(driver.controller.state.done)
    assert Journal.open(path, read_only=True).lines == driver.controller.journal.lines


def test_turns_of_a_draw_down_are_one_entry_per_round(tmp_path: Path) -> None:
    text = SMALL_HEAD.replace(
        "      joint: studs\n", "      joint: studs\n      draw-down: half a turn, middle first\n"
    )
    driver = start_session(tmp_path, text)
    driver.lower_head()
    driver.do("start", operation="tighten")
    for fastener in (1, 2, 3, 4, 1, 2):
        driver.do("draw-down", joint="studs", fastener=fastener)
    words = unwrapped(history_of(driver.controller.journal.lines))
    driver.controller.close()
    assert "draw-down round 1: fasteners 1 to 4 turned" in words
    assert "draw-down round 2: fasteners 1, 2 turned" in words
