"""Exports keep every time, person and quantity."""

import csv
import io
import json
from datetime import date, datetime
from pathlib import Path

import pytest

from benchflow.review.interchange.calendar import as_calendar
from benchflow.review.interchange.event_rows import COLUMNS, as_csv, as_json_lines
from benchflow.review.interchange.xes import as_xes
from benchflow.review.log.loaded_log import load_log
from benchflow.session.procedure_loading import procedure_reader_with_cache
from tests.driving.log_builder import LogBuilder
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import loaded_build, played, read

FAULTS = Faults(reworked="fit-pulley", self_signed="mark-nuts")


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_csv_has_every_event_with_person_time_and_quantity() -> None:
    log = load_log(played(3, FAULTS), read())
    found = rows("".join(as_csv([log])))
    assert [int(row["seq"]) for row in found] == [line.seq for line in log.lines]
    for row, line in zip(found, log.lines, strict=True):
        assert (row["at"], row["by"], row["kind"]) == (line.at, line.by, line.kind)
        quantity = line.data.get("quantity")
        if quantity:
            assert (row["value"], row["measured_in"], row["entered"]) == tuple(
                quantity[k] for k in ("value", "unit", "entered")
            )
    assert list(found[0]) == list(COLUMNS)


def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(tmp_path: Path) -> None:
    log_builder = LogBuilder(by="=cmd|' /C calc'!A0").start("x").read("x", "-0.05", "at least -1 mm")
    log_builder.add("noted", text='+1 "quoted", and\na second line')
    first, _, reading, note = rows(
        "".join(as_csv([load_log(log_builder.save(tmp_path), procedure_reader_with_cache(None), any_procedure=True)]))
    )
    assert first["by"].startswith("'=")
    assert reading["value"] == "-0.05"  # a number stays a number
    assert note["text"] == '\'+1 "quoted", and\na second line'


def test_json_lines_name_the_session_of_each_event() -> None:
    logs = [load_log(played(3), read()), load_log(played(3, FAULTS), read())]
    events = [json.loads(line) for line in as_json_lines(logs)]
    assert len(events) == sum(len(log.lines) for log in logs)
    assert {event["session"] for event in events} == {log.facts.session.session for log in logs}
    assert "procedure" not in events[0]["data"]
    assert events[0]["data"]["procedure_sha256"] == logs[0].facts.session.procedure


# --- XES --------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def mined(tmp_path_factory: pytest.TempPathFactory) -> object:
    """The exported sessions, read by an independent XES reader."""
    pm4py = pytest.importorskip("pm4py", reason="pm4py reads XES for this check: pip install pm4py")
    path = tmp_path_factory.mktemp("xes") / "sessions.xes"
    path.write_bytes(as_xes([loaded_build(3, FAULTS), loaded_build(3)]))
    return pm4py.read_xes(str(path), return_legacy_log_object=True)


def test_independent_xes_reader_finds_every_event_with_time_person_and_quantity(
    mined: list[list[dict[str, object]]],
) -> None:
    log = load_log(played(3, FAULTS), read())
    assert len(mined) == 2
    trace = mined[0]
    assert len(trace) == len(log.lines)
    for event, line in zip(trace, log.lines, strict=True):
        timestamp = event["time:timestamp"]
        assert isinstance(timestamp, datetime)
        assert timestamp == datetime.fromisoformat(line.at)
        assert event["org:resource"] == line.by
        quantity = line.data.get("quantity")
        if quantity:
            assert (event["value"], event["measured_in"]) == (quantity["value"], quantity["unit"])


def test_independent_xes_reader_sees_an_operation_again_after_rework(
    mined: list[list[dict[str, object]]],
) -> None:
    pulley = loaded_build(3, FAULTS).plan.steps["fit-pulley"].title
    steps = [event["lifecycle:transition"] for event in mined[0] if event["concept:name"] == pulley]
    assert steps == ["start", "complete", "start", "complete"]


def test_characters_that_xml_forbids_are_removed(tmp_path: Path) -> None:
    from xml.etree.ElementTree import fromstring

    from tests.review.played_builds import head_install

    text = head_install().text
    log_builder = LogBuilder(by='a<b>&"\x1b[31m', procedure=text, options={"cams": "standard", "gasket": "composite"})
    log_builder.add("noted", text="]]> \x00\x08 \u202e")
    document = fromstring(as_xes([load_log(log_builder.save(tmp_path), read())]))
    names = {node.get("value") for node in document.iter("{http://www.xes-standard.org/}string")}
    assert 'a<b>&"[31m' in names


# --- iCalendar --------------------------------------------------------------------------------------


def test_every_follow_up_is_a_to_do_with_its_due_date() -> None:
    from icalendar import Calendar

    build = loaded_build(3, FAULTS)
    calendar = Calendar.from_ical(as_calendar([build]))
    todos = calendar.walk("VTODO")
    assert len(todos) == len(build.procedure.follow_up)
    for todo, item in zip(todos, build.procedure.follow_up, strict=True):
        assert todo["SUMMARY"] == f"job 3: {item.title}"
        assert todo["STATUS"] == "NEEDS-ACTION"
        assert isinstance(todo.decoded("DTSTAMP"), datetime)
        if item.due is not None:
            assert isinstance(todo.decoded("DUE"), date)
    assert len({todo["UID"] for todo in todos}) == len(todos)
    text = as_calendar([build]).decode()
    assert "DUE;VALUE=DATE:2026" in text
    assert "\r\n" in text


def test_exporting_again_gives_the_same_to_dos() -> None:
    build = loaded_build(3, FAULTS)
    assert as_calendar([build]) == as_calendar([build])
