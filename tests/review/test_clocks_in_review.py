"""What the review, the history and the sheet say about the clocks: sleep, restarts, and a clock that was set."""

from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest

from benchflow.review.evidence.assessment import review_everything
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.session.history.history import history_text
from benchflow.session.log.line_format import Draft, Line, seal
from benchflow.session.log.timestamps import format_timestamp
from tests.driving.script import procedure_with
from tests.driving.session_driver import read_procedure

BEGIN = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
Clock = dict[str, str | int]


def procedure(window: str) -> str:
    return procedure_with(
        "{id: bead, title: Lay the bead}", f"{{id: head, title: Set the head, time: {{bead: {window}}}}}"
    )


def log_with(
    folder: Path, window: str, *times: tuple[float, str | int, float], log_format: int = 3, went_back: float = 0
) -> LoadedLog:
    """A log in which bead is done at minute 0, and head started and finished at two times.

    A time is the minute of the wall clock, the boot (or in older logs the number of the run), and the minute of its
    clock.
    """
    text = procedure(window)
    opened = {
        "procedure": text, "procedure_sha256": sha256(text.encode()).hexdigest(), "file": "p.yaml", "options": {},
        "start": {}, "unit": "job 7", "version": "0.2.0", "format": log_format,
    }  # fmt: skip
    events: list[tuple[str, dict[str, object], tuple[float, str | int, float]]] = [
        ("opened", opened, (-2, *times[0][1:2], 98)),
        ("started", {"operation": "bead"}, (-1, *times[0][1:2], 99)),
        ("finished", {"operation": "bead"}, times[0]),
    ]
    if went_back:
        before = format_timestamp(BEGIN + timedelta(minutes=times[1][0] + went_back))
        now = format_timestamp(BEGIN + timedelta(minutes=times[1][0]))
        events.append(("clock-went-back", {"before": before, "now": now}, times[1]))
    events += [("started", {"operation": "head"}, times[1]), ("finished", {"operation": "head"}, times[2])]
    lines: list[Line] = []
    raw = b""
    for kind, data, (wall, boot, minutes) in events:
        clock: Clock = {"boot" if isinstance(boot, str) else "run": boot, "ms": round(minutes * 60_000)}
        at = format_timestamp(BEGIN + timedelta(minutes=wall))
        sealed, added = seal([Draft(at, "ann", kind, {**data, "clock": clock})], lines[-1] if lines else None)
        lines += sealed
        raw += added
    path = folder / "log.jsonl"
    path.write_bytes(raw)
    return load_log(path, read_procedure)


def points(log: LoadedLog) -> dict[str, str]:
    """The weak points of the head: their words by kind."""
    (guard,) = (guard for guard in review_everything(log).guards if guard.operation == "head")
    return {reason.kind: reason.words for reason in guard.reasons}


def test_hour_asleep_is_found_in_a_log_whose_clock_stood_still(tmp_path: Path) -> None:
    log = log_with(tmp_path, "at most 10 min", (0, 1, 100), (61, 1, 101), (62, 1, 102), log_format=2)
    assert points(log)["window-missed"] == (
        "finished 62 min after “Lay the bead” (window at most 10 min), 52 min too late: 6.2 times the window. The "
        "other clock of the log shows only 2 min. It stood still while the computer slept, or the computer clock was "
        "set forward"
    )


def test_window_within_one_boot_has_no_remark_about_clocks(tmp_path: Path) -> None:
    log = log_with(tmp_path, "at most 60 min", (0, "a", 100), (5, "a", 105), (6, "a", 106))
    assert points(log).keys() == {"word-only"}
    assert "computer clock" not in "\n".join([*history_text(log.lines, log.plan), *log.warnings])


def test_window_judged_across_a_restart_is_a_small_weak_point(tmp_path: Path) -> None:
    log = log_with(tmp_path, "5 min .. 60 min", (0, "a", 100), (40, "b", 2), (41, "b", 3))
    found = points(log)
    assert found["window-across"] == (
        "only the computer clock shows the time after “Lay the bead” across a restart (window 5 min .. 60 min)"
    )
    assert found.keys() == {"window-across", "word-only"}
    assert "40:00 min later (computer clock, across a restart)" in "\n".join(history_text(log.lines, log.plan))


def test_window_missed_across_a_restart_says_which_clock_shows_it(tmp_path: Path) -> None:
    log = log_with(tmp_path, "at most 10 min", (0, "a", 100), (40, "b", 2), (41, "b", 3))
    assert points(log)["window-missed"] == (
        "finished 41 min after “Lay the bead” (window at most 10 min; computer clock, across a restart), 31 min "
        "too late: 4.1 times the window"
    )


@pytest.mark.parametrize("window", ["at most 10 min", "at least 30 min"])
def test_time_that_is_not_known_is_a_weak_point_with_the_figures_of_both_clocks(tmp_path: Path, window: str) -> None:
    log = log_with(tmp_path, window, (0, "a", 100), (-60, "b", 2), (-51, "b", 11), went_back=60)
    found = points(log)
    if "most" in window:
        assert found["window-unknown"] == (
            "the time after “Lay the bead” is not known (window at most 10 min): the computer clock shows 51 min less "
            "than at its start, and the running time of the computer proves at least 9 min"
        )
    assert "window-unknown" in found
    assert "window-tight" not in found
    assert found["clock-back"].endswith("More time can have passed than is shown")


def test_step_back_within_a_boot_names_the_windows_that_ran(tmp_path: Path) -> None:
    log = log_with(tmp_path, "at most 60 min", (0, "a", 100), (-25, "a", 105), (-24, "a", 106), went_back=30)
    assert points(log)["clock-back"] == (
        "the computer clock was set back 30 min after “Lay the bead” (window at most 60 min); the boot clock ran on"
    )
    assert [warning for warning in log.warnings if "set back" in warning] == [
        "The computer clock was set back 1 time (30 min at event 4). Durations are from the boot clock, which nobody "
        "can set. Time windows that ran then: “Set the head” after “Lay the bead” (at most 60 min)."
    ]


def test_sheet_and_history_say_that_work_was_timed_across_a_restart(tmp_path: Path) -> None:
    log = log_with(tmp_path, "at most 2 h", (0, "a", 100), (10, "a", 110), (50, "b", 3))
    assert "Finished, 40:00 min after the start (computer clock, across a restart)" in "\n".join(
        history_text(log.lines, log.plan)
    )
    sheet = build_sheet(log)
    took = {each.operation: each.took for section in sheet.sections for each in section.operations}
    assert took == {"bead": "60 s", "head": "40 min (computer clock, across a restart)"}
    assert ("Working time", "52 min (partly by the computer clock, across a restart)") in sheet.facts
