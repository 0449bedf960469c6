"""Exports keep every time, person and quantity."""

import csv
import io
import json
import re
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import fromstring

import pytest
from msgspec import inspect
from msgspec.structs import replace

from benchflow.review.interchange.calendar import as_calendar
from benchflow.review.interchange.event_rows import COLUMNS, LEFT_OUT, as_csv, as_json_lines
from benchflow.review.interchange.xes import as_xes
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.session.log.line_format import Line
from benchflow.session.procedure_loading import procedure_reader_with_cache
from benchflow.session.state.events import EVENT_TYPES
from tests.driving.log_builder import LogBuilder
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import loaded_build, played, read

XES = "{http://www.xes-standard.org/}"
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


# --- every field ------------------------------------------------------------------------------------


def sample(kind: Any, name: str) -> Any:
    """A value of the type ``kind`` with a text or number that no other field has."""
    match kind:
        case inspect.StrType():
            return f"text of {name}"
        case inspect.IntType():
            return 1000 + sum(name.encode())
        case inspect.BoolType():
            return True
        case inspect.NoneType():
            return None
        case inspect.LiteralType(values):
            return next(value for value in reversed(values) if value)
        case inspect.UnionType(types):
            return sample(next(each for each in types if not isinstance(each, inspect.NoneType)), name)
        case inspect.VarTupleType(item):
            return [sample(item, name)]
        case inspect.TupleType(items):
            return [sample(item, f"{name} {number}") for number, item in enumerate(items)]
        case inspect.DictType(key, value):
            return {sample(key, f"key of {name}"): sample(value, name)}
        case inspect.StructType(_, fields):
            return {each.encode_name: sample(each.type, f"{each.encode_name} in {name}") for each in fields}
    raise AssertionError(f"no sample of {kind}")


def leaves(value: Any) -> Iterator[str]:
    """The texts and numbers in a value, and the keys of a mapping, which are samples too."""
    if isinstance(value, dict):
        for key, each in value.items():
            yield from (*([key] if key.startswith("text of key of") else []), *leaves(each))
    elif isinstance(value, list | tuple):
        for each in value:
            yield from leaves(each)
    elif value is not None:
        yield str(value).lower() if isinstance(value, bool) else str(value)


@pytest.mark.parametrize("kind", sorted(EVENT_TYPES))
def test_csv_and_xes_have_every_field_of_every_event(kind: str) -> None:
    """Each field with a value of its own is found again, or is listed as left out with a reason."""
    log = loaded_build(3)
    info = inspect.type_info(EVENT_TYPES[kind])
    assert isinstance(info, inspect.StructType)
    data = {field.encode_name: sample(field.type, field.encode_name) for field in info.fields}
    data |= {"clock": {"boot": "boot 7", "ms": 777}, "intent": 71, "of": 72, "sent": {"intent": "x"}}
    line = Line(5, "2026-03-02T18:00:00.000Z", "ann", kind, data, "0" * 64, "1" * 64)
    row = next(csv.DictReader(io.StringIO("".join(as_csv([replace(log, lines=(line,))])), newline="")))
    cells = " ".join(row.values()).replace('\\"', '"')
    for name, value in data.items():
        if name in LEFT_OUT:
            assert LEFT_OUT[name]
            continue
        for leaf in leaves(value):
            assert leaf in cells, (name, leaf)
    (event,) = fromstring(as_xes([replace(log, lines=(line,))])).iter(f"{XES}event")
    values = {node.get("key"): node.get("value") for node in event}
    for column, cell in row.items():
        if cell and column not in ("session", "unit", "at", "by", "format", "event", "open_steps"):
            assert values[column] == cell.removeprefix("'"), column
    (exported,) = (json.loads(text) for text in as_json_lines([replace(log, lines=(line,))]))
    assert exported["data"] == {name: value for name, value in data.items() if name != "procedure"}


def test_csv_has_lubricant_calibration_options_and_open_steps() -> None:
    build = loaded_build(3, with_tools=True)
    begun = replace(build, lines=build.lines[:1])
    opened = rows("".join(as_csv([build])))[0]
    assert opened["options"] == "; ".join(f"{name}={value}" for name, value in build.facts.session.options.items())
    used = next(row for row in rows("".join(as_csv([build]))) if row["kind"] == "instrument-used" and row["due"])
    fact = next(fact for fact in build.facts.instruments if fact.seq == int(used["seq"]))
    assert (used["serial"], used["calibrated"], used["due"], used["stated_uncertainty"]) == (
        fact.serial, fact.calibrated, fact.due, fact.uncertainty
    )  # fmt: skip
    assert begun.lines[0].kind == "opened"


@pytest.fixture
def left_open(tmp_path: Path) -> LoadedLog:
    """A job with an option and three steps, of which the first is done, the second begun and the third not."""
    log_builder = LogBuilder(unit="lid 7", procedure=THREE_STEPS, options={"kind": "racing"})
    log_builder.start("clean").add("checked", operation="clean", check=1, text="Clean").finish("clean")
    log_builder.start("oil").add("lubricated", joint="studs", lubricant="engine oil", nut_factor="0.15")
    return load_log(log_builder.save(tmp_path), procedure_reader_with_cache(None))


THREE_STEPS = """\
benchflow: 1
id: lid
title: An invented lid
revision: "A"
notice: All numbers are invented.
options: {kind: {ask: Which kind, choices: [plain, racing]}}
joints: {studs: {title: Studs, layout: "1 2"}}
sections:
  - title: The work
    operations:
      - {id: clean, title: Clean the face, check: [Clean]}
      - {id: oil, title: Oil the studs, check: [Oiled]}
      - {id: studs, title: Tighten the studs, tighten: {joint: studs, stages: [40 N·m]}}
follow-up: [{title: Check the torque, due: 14 d}]
"""


def test_steps_left_open_are_in_every_export(left_open: LoadedLog) -> None:
    last = rows("".join(as_csv([left_open])))[-1]
    assert (last["lubricant"], last["nut_factor"], last["open_steps"]) == ("engine oil", "0.15", "oil; studs")
    assert rows("".join(as_csv([left_open])))[0]["options"] == "kind=racing"
    (trace,) = fromstring(as_xes([left_open])).iter(f"{XES}trace")
    attributes = {node.get("key"): node.get("value") for node in trace if node.get("key")}
    assert (attributes["open_steps"], attributes["option:kind"]) == ("oil; studs", "racing")


def test_steps_left_open_are_to_dos(left_open: LoadedLog) -> None:
    from icalendar import Calendar

    todos = Calendar.from_ical(as_calendar([left_open])).walk("VTODO")
    assert [(str(todo["SUMMARY"]), str(todo["STATUS"])) for todo in todos] == [
        ("lid 7: Check the torque", "NEEDS-ACTION"),
        ("lid 7: not done: Oil the studs", "IN-PROCESS"),
        ("lid 7: not done: Tighten the studs", "NEEDS-ACTION"),
    ]
    assert len({str(todo["UID"]) for todo in todos}) == 3
    for todo in todos:  # RFC 5545 3.8.7.2: DTSTAMP is in UTC
        assert todo.decoded("DTSTAMP").utcoffset() == timedelta(0)
    assert b"\r\nDTSTAMP:20260302T" in as_calendar([left_open])


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


def test_two_sessions_of_one_unit_are_two_cases(tmp_path: Path) -> None:
    """Each case has a name of its own; the unit is an attribute. A copy of a log is not a case."""
    logs = []
    for place, by in enumerate(("ann", "bob")):
        log_builder = LogBuilder(unit="lid 7", by=by, procedure=THREE_STEPS, options={"kind": "plain"}).start("clean")
        log_builder.add("noted", text="one")
        logs.append(load_log(log_builder.save(tmp_path, f"{place}.jsonl"), procedure_reader_with_cache(None)))
    earlier = replace(logs[0], lines=logs[0].lines[:2])
    traces = list(fromstring(as_xes([earlier, *logs, logs[1]])).iter(f"{XES}trace"))
    names = [{node.get("key"): node.get("value") for node in trace if node.get("key")} for trace in traces]
    assert len({each["concept:name"] for each in names}) == len(names) == 2
    assert [each["unit"] for each in names] == ["lid 7", "lid 7"]


def test_xes_keeps_the_rules_of_its_schema() -> None:
    """The rules are those of the XML schema of IEEE 1849-2016, read in a public transcription: the version is a
    decimal number, names of classifiers are NCNames, keys are XML names and occur once in a component, and the elements
    of a log are in a fixed order."""
    root = fromstring(as_xes([loaded_build(3, FAULTS)]))
    name = re.compile(r"[A-Za-z_][\w.-]*(:[A-Za-z_][\w.-]*)?")
    assert re.fullmatch(r"[0-9]+(\.[0-9]+)?", root.get("xes.version") or "")
    order = ["extension", "global", "classifier", "string", "trace"]
    tags = [order.index(node.tag.removeprefix(XES)) for node in root]
    assert tags == sorted(tags)
    declared = {node.get("key") for scope in root.iter(f"{XES}global") for node in scope}
    for classifier in root.iter(f"{XES}classifier"):
        assert re.fullmatch(r"[A-Za-z_][\w.-]*", classifier.get("name") or "")
        assert set((classifier.get("keys") or "").split()) <= declared
    for component in (*root.iter(f"{XES}trace"), *root.iter(f"{XES}event")):
        keys = [node.get("key") or "" for node in component if node.tag != f"{XES}event"]
        assert len(keys) == len(set(keys))
        assert all(name.fullmatch(key) for key in keys)


def test_characters_that_xml_forbids_are_removed(tmp_path: Path) -> None:
    from tests.review.played_builds import head_install

    text = head_install().text
    log_builder = LogBuilder(by='a<b>&"\x1b[31m', procedure=text, options={"cams": "standard", "gasket": "composite"})
    log_builder.add("noted", text="]]> \x00\x08 \u202e")
    document = fromstring(as_xes([load_log(log_builder.save(tmp_path), read())]))
    names = {node.get("value") for node in document.iter(f"{XES}string")}
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
