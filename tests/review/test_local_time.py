"""Dates and times for people are those of the local time zone; exports stay in UTC."""

import json
import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from benchflow.review.evidence.assessment import review_everything
from benchflow.review.formatting import local_day, local_time, local_time_with_zone
from benchflow.review.interchange.event_rows import as_csv
from benchflow.review.interchange.xes import as_xes
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.review.log.replay import Replay
from benchflow.review.many.chart_picture import chart_svg
from benchflow.review.many.comparison import compare
from benchflow.review.many.comparison_text import comparison_lines
from benchflow.review.many.log_scan import LogFiles
from benchflow.review.many.session_question import InstrumentSubject, LotSubject, Question, timestamp_of
from benchflow.review.many.trace_search import TraceQuestion, trace
from benchflow.review.many.trace_text import trace_lines
from benchflow.review.many.trends import trend_over_builds
from benchflow.review.sheets.build_sheet import build_sheet, follow_up
from benchflow.session.procedure_loading import procedure_reader_with_cache
from benchflow.session.shop.register_reader import read_shop
from tests.driving.command_server import run_as_text
from tests.driving.log_builder import LogBuilder

EASTERN = "EST5EDT,M3.2.0,M11.1.0"
"""Five hours behind UTC; four from 2:00 on the second Sunday of March on (8 March in 2026)."""
LATE_EVENING = datetime(2026, 3, 4, 2, 30, tzinfo=UTC)  # 21:30 on 3 March, eastern time
PROCEDURE = """\
benchflow: 1
id: small-cover
title: Small cover
revision: "1"
notice: Invented for the tests.
kit: {consumables: {sealant: {title: Sealant, lot: required}}}
sections:
- id: all
  title: All
  operations:
  - {id: seal, title: Seal the face, uses: [sealant]}
  - {id: clean, title: Clean up, after: [seal]}
follow-up: [{title: Check the torque, due: 14 d}]
"""
REGISTER = """\
shop: 1
people: {}
instruments:
  wrench: {kind: torque, serial: TW-1, range: 20 .. 120 N·m, uncertainty: 4 %, calibration-due: 2026-03-03}
"""


@pytest.fixture
def eastern(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Set the time zone of this process to one that is behind UTC."""
    monkeypatch.setenv("TZ", EASTERN)
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def evening_build() -> LogBuilder:
    """A build of one evening and the next morning, eastern time. Both are the same day in UTC."""
    log_builder = LogBuilder(at=LATE_EVENING, procedure=PROCEDURE)
    log_builder.start("seal").add("lot", operation="seal", consumable="sealant", lot="L-9").finish("seal")
    log_builder.wait(hours=12)
    return log_builder.start("clean").finish("clean").close()


def evening_log(tmp_path: Path) -> LoadedLog:
    return load_log(evening_build().save(tmp_path), procedure_reader_with_cache(None))


# --- dates of a question ----------------------------------------------------------------------------


@pytest.mark.usefixtures("eastern")
def test_date_without_a_zone_is_the_whole_local_day() -> None:
    assert timestamp_of("2026-03-03") == "2026-03-03T05:00:00.000Z"
    assert timestamp_of("2026-03-03", end_of_day=True) == "2026-03-04T04:59:59.999Z"


@pytest.mark.usefixtures("eastern")
def test_local_day_has_23_hours_when_clocks_are_set_forward() -> None:
    assert timestamp_of("2026-03-08") == "2026-03-08T05:00:00.000Z"
    assert timestamp_of("2026-03-08", end_of_day=True) == "2026-03-09T03:59:59.999Z"


def test_given_zone_is_used_instead_of_the_zone_of_the_machine() -> None:
    assert timestamp_of("2026-03-03", timezone(timedelta(hours=1))) == "2026-03-02T23:00:00.000Z"


@pytest.mark.usefixtures("eastern")
def test_time_with_its_zone_is_kept() -> None:
    assert timestamp_of("2026-03-03T12:00:00+02:00", end_of_day=True) == "2026-03-03T10:00:00.000Z"


@pytest.mark.usefixtures("eastern")
def test_question_of_a_local_day_finds_work_of_that_evening(tmp_path: Path) -> None:
    source = LogFiles([evening_build().save(tmp_path)])
    for day, sessions in (("2026-03-03", 1), ("2026-03-04", 0)):
        span = timestamp_of(day), timestamp_of(day, end_of_day=True)
        assert len(source.ask(Question(LotSubject("L-9"), *span))) == sessions


def test_commands_take_dates_as_local_days(tmp_path: Path) -> None:
    path = evening_build().save(tmp_path)
    for zone, sessions in ((EASTERN, 0), ("UTC", 1)):
        environ = {**os.environ, "BENCHFLOW_HOME": str(tmp_path / "home"), "TZ": zone}
        call = ("trace", "--lot", "L-9", "--from", "2026-03-04", "--json", "--logs", path)
        done = run_as_text(tmp_path, *call, env=environ)
        assert done.returncode == 0, done.stderr
        assert len(json.loads(done.stdout)["touched"]) == sessions


# --- texts ------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("eastern")
def test_texts_name_the_local_time_and_its_zone() -> None:
    at = "2026-03-04T02:30:05.000Z"
    assert local_day(at) == "2026-03-03"
    assert local_time(at) == "2026-03-03 21:30"
    assert local_time_with_zone(at) == "2026-03-03 21:30 EST"
    assert local_time_with_zone(at, seconds=True) == "2026-03-03 21:30:05 EST"


@pytest.mark.usefixtures("eastern")
def test_trace_shows_its_time_span_and_sessions_in_local_time(tmp_path: Path) -> None:
    span = timestamp_of("2026-03-03"), timestamp_of("2026-03-08", end_of_day=True)
    found = trace(LogFiles([evening_build().save(tmp_path)]), TraceQuestion(Question(LotSubject("L-9"), *span)))
    assert found.asked == "lot L-9, from 2026-03-03 00:00 EST, to 2026-03-08 23:59 EDT"
    assert "job 1  2026-03-03 21:30 EST, ann, closed" in list(trace_lines(found))
    empty = trace(LogFiles([]), TraceQuestion(Question(InstrumentSubject("TW-1"))))
    assert empty.asked == "instrument TW-1"


@pytest.mark.usefixtures("eastern")
def test_replay_steps_by_local_days(tmp_path: Path) -> None:
    log = evening_log(tmp_path)
    assert {line.at[:10] for line in log.lines} == {"2026-03-04"}
    days = [local_day(log.lines[seq - 1].at) for seq in Replay(log).steps("day")]
    assert days == ["2026-03-03", "2026-03-04"]


@pytest.mark.usefixtures("eastern")
def test_sheet_and_comparison_have_local_times(tmp_path: Path) -> None:
    log = evening_log(tmp_path)
    made = build_sheet(log)
    assert dict(made.facts)["Started"] == "2026-03-03 21:30 EST"
    assert made.sections[0].operations[0].at == "2026-03-03 21:30"
    assert any("2026-03-03 21:30 EST" in line for line in comparison_lines(compare(log, log)))


@pytest.mark.usefixtures("eastern")
def test_follow_up_is_due_on_a_local_day(tmp_path: Path) -> None:
    log_builder = LogBuilder(at=LATE_EVENING, procedure=PROCEDURE).close()
    (item,) = follow_up(load_log(log_builder.save(tmp_path), procedure_reader_with_cache(None)))
    assert item.due == "2026-03-17"


@pytest.mark.usefixtures("eastern")
def test_points_of_a_trend_have_local_days(tmp_path: Path) -> None:
    paths = [
        LogBuilder(unit=f"job {number}", at=LATE_EVENING).start("measure").read("measure", "0.15").save(tmp_path)
        for number in range(2)
    ]
    (series,) = trend_over_builds(LogFiles(paths), "end-play").series
    assert "job 1: 0.15 mm, 2026-03-03" in chart_svg(series)


@pytest.mark.usefixtures("eastern")
def test_exports_stay_in_utc(tmp_path: Path) -> None:
    log = evening_log(tmp_path)
    assert "2026-03-04T02:30:00.000Z" in "".join(as_csv([log]))
    assert "2026-03-04T02:30:00.000+00:00" in as_xes([log]).decode()


# --- calibration ------------------------------------------------------------------------------------


@pytest.mark.usefixtures("eastern")
@pytest.mark.parametrize("with_reading", [True, False])
@pytest.mark.parametrize("in_log", [True, False])
@pytest.mark.parametrize(("hours", "overdue"), [(0, False), (3, True)])
def test_review_compares_the_calibration_due_date_with_the_local_day(
    tmp_path: Path, hours: int, overdue: bool, in_log: bool, with_reading: bool
) -> None:
    """The calibration is due on 3 March. The work is at 21:30 on that day, or at 0:30 on the next.

    The due date is in the log or in the register. The instrument is named with a reading or with a tick.
    """
    procedure = PROCEDURE.replace("uses: [sealant]", "record: {gap: {ask: Gap, unit: mm}}")
    log_builder = LogBuilder(at=LATE_EVENING + timedelta(hours=hours), procedure=procedure).start("seal")
    if in_log:
        log_builder.add("instrument-used", need="wrench", serial="TW-1", title="Wrench", due="2026-03-03")
    if with_reading:
        log_builder.read("seal", "0.15", "", name="gap", verdict="none", serial="TW-1")
    else:
        log_builder.tick("seal", 1, serial="TW-1")
    log = load_log(log_builder.finish("seal").save(tmp_path), procedure_reader_with_cache(None))
    shop = None if in_log else read_shop(REGISTER).shop
    reasons = [reason for guard in review_everything(log, shop).guards for reason in guard.reasons]
    found = [reason.words for reason in reasons if reason.kind == "instrument-overdue"]
    text = "TW-1: Its calibration had run out on 2026-03-03. It was used on 2026-03-04, 1 day later"
    assert found == ([text] if overdue else [])
