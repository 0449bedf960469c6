"""The session log is checked field by field, without the log reader of the program.

The hashes are recomputed with the reference implementation of RFC 8785. All data is invented.
"""

import hashlib
import json
import re
from pathlib import Path
from typing import Any

import rfc8785

from tests.driving.script import Json, Script, intent, open_intent

PROCEDURE = """\
benchflow: 1
id: logged
title: Logged
revision: "1"
options: {size: {ask: Which size?, choices: [small, large]}}
state:
  lid: {values: [on, off], start: ask, ask: Is the lid on?}
  plug: {values: [in, out], start: in}
kit: {consumables: {oil: {title: Oil, lot: required}}}
instruments: {gauge: {title: Gauge, kind: length, uncertainty: at most 0.004 mm}}
joints: {ring: {title: Ring, layout: "1 2"}}
sections:
- title: All
  operations:
  - id: read
    title: Read
    uses: [oil]
    record:
      end-play: {ask: End play, unit: mm, limit: 0.10 .. 0.28 mm, with: gauge, decision: guarded}
      bore: {ask: Bore, unit: mm}
    work-out: {left: {is: bore - end-play, unit: mm, limit: at most 1 mm}}
    undo: {do: Read again}
  - id: pull
    title: Pull down
    tighten: {joint: ring, stages: [30 N·m, {check: at least 20 N·m}]}
    undo: {do: Let go}
    hold: {by: inspector, for: the ring}
    check: [it is flat]
  - {id: look, title: Look, time: {read: 1 min .. 10 min}}
"""
AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
FIELDS = {"seq", "at", "by", "kind", "data", "prev", "hash"}
QUANTITY = {"value", "unit", "entered"}


def log_with_all_kinds(folder: Path, *, simulated: bool = False) -> Script:
    """A job with almost every kind of event."""
    script = Script(folder, PROCEDURE, simulated=simulated)
    intents = [
        open_intent(options={"size": "small"}, start={"lid": "on"}),
        intent("start", operation="read"),
        intent("lot", consumable="oil", lot="0042"),
        intent("record", name="end-play", value="0.0081 in"),
        intent("record", name="bore", value=".9 mm", instrument="bore gauge 3"),
        intent("pause", operation="read"),
        intent("note", text="the phone rang"),
        intent("start", operation="read"),
        intent("record", name="end-play", value="0.20 mm"),
        intent("finish", operation="read"),
        intent("start", operation="pull"),
        intent("tick", joint="ring", fastener=1),
        intent("untick", joint="ring", fastener=1),
        intent("tick", joint="ring", fastener=1, value="22 ft-lb"),
        intent("tick", joint="ring", fastener=2),
        intent("tick", joint="ring", fastener=1, value="18 ft-lb"),
        intent("tick", joint="ring", fastener=2, value="12 ft-lb"),
        intent("deviate", operation="pull", about="ring", reason="soft gasket", by="Kim"),
        intent("tick-check", check=1),
        intent("sign", operation="pull", by="Kim"),
        intent("finish", operation="pull"),
        intent("correct", event=5, value="0.91 mm", reason="slip"),
        intent("rework", operation="pull", reason="it leaks"),
        intent("close", by="Robin", unfinished="sold as it is"),
    ]
    if simulated:
        intents = [{**each, "at": f"2026-03-01T08:{minute:02d}:00Z"} for minute, each in enumerate(intents)]
    script.do_all(*intents)
    return script


def quantities(value: Any) -> list[Json]:
    """Every object in a line that has the keys of a quantity."""
    if isinstance(value, dict):
        inner = [found for each in value.values() for found in quantities(each)]
        return [value, *inner] if set(value) == QUANTITY else inner
    return [found for each in value for found in quantities(each)] if isinstance(value, list) else []


def test_every_line_has_seven_fields_and_the_recomputed_hashes_agree(tmp_path: Path) -> None:
    script = log_with_all_kinds(tmp_path)
    raw = script.path.read_bytes()
    assert raw.endswith(b"\n")
    before = "0" * 64
    for number, text in enumerate(raw.decode("utf-8").splitlines(), 1):
        line = json.loads(text)
        assert set(line) == FIELDS
        assert line["seq"] == number
        assert AT.fullmatch(line["at"])
        assert isinstance(line["by"], str)
        assert line["by"]
        assert isinstance(line["data"], dict)
        assert line["prev"] == before
        body = {name: value for name, value in line.items() if name != "hash"}
        assert line["hash"] == hashlib.sha256(rfc8785.dumps(body)).hexdigest()
        before = line["hash"]


def test_first_line_contains_the_whole_procedure_and_the_answers(tmp_path: Path) -> None:
    first = log_with_all_kinds(tmp_path).log()[0]
    data = first["data"]
    assert first["kind"] == "opened"
    assert PROCEDURE in data.values()
    assert hashlib.sha256(PROCEDURE.encode()).hexdigest() in data.values()
    assert data["options"] == {"size": "small"}
    assert data["start"] == {"lid": "on", "plug": "in"}
    assert data["unit"] == "job 7"
    assert data["version"]


def test_quantity_is_logged_as_entered_and_in_the_unit_of_its_value(tmp_path: Path) -> None:
    lines = log_with_all_kinds(tmp_path).log()
    found = {each["entered"]: each for line in lines for each in quantities(line["data"])}
    assert found["0.0081 in"] == {"value": "0.20574", "unit": "mm", "entered": "0.0081 in"}
    assert found[".9 mm"]["value"] in ("0.9", ".9")
    assert found["0.20 mm"]["value"] == "0.20"
    for each in found.values():
        assert re.fullmatch(r"-?\d*\.?\d+", each["value"]), each
    ticked = next(line["data"] for line in lines if line["kind"] == "ticked" and line["data"].get("quantity"))
    assert ticked["quantity"]["entered"] == "22 ft-lb"


def test_no_line_contains_a_float(tmp_path: Path) -> None:
    def no_float(digits: str) -> Any:
        raise AssertionError(f"a float in the log: {digits}")

    for line in log_with_all_kinds(tmp_path).path.read_text(encoding="utf-8").splitlines():
        json.loads(line, parse_float=no_float)


def test_every_event_names_its_subject_and_the_person(tmp_path: Path) -> None:
    lines = log_with_all_kinds(tmp_path).log()
    kinds = [line["kind"] for line in lines]
    assert set(kinds) >= {
        "opened", "started", "paused", "finished", "recorded", "calculated", "ticked", "unticked", "checked",
        "lot", "signed", "deviated", "rework-started", "undone", "noted", "corrected", "closed",
    }  # fmt: skip
    assert {line["by"] for line in lines if line["kind"] in ("signed", "deviated")} == {"Kim"}
    assert {line["by"] for line in lines if line["kind"] not in ("signed", "deviated")} == {"Robin"}
    assert [line["data"]["event"] for line in lines if line["kind"] == "corrected"] == [5]
    assert next(line["data"] for line in lines if line["kind"] == "lot")["lot"] == "0042"
    assert [line["data"]["self_signed"] for line in lines if line["kind"] == "signed"] == [False]


def test_log_is_only_appended_to(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    before = b""
    for each in (
        open_intent(options={"size": "large"}),
        intent("start", operation="pull"),
        intent("tick", joint="ring", fastener=1),
        intent("tick", joint="ring", fastener=1),
        intent("untick", joint="ring", fastener=1),
        intent("pause"),
        intent("rework", operation="pull", reason="start again"),
    ):
        script.send(each)  # in a new run of the program
        after = script.path.read_bytes()
        assert after.startswith(before)
        before = after


def test_simulated_session_is_marked_and_uses_the_times_of_its_intents(tmp_path: Path) -> None:
    lines = log_with_all_kinds(tmp_path, simulated=True).log()
    assert lines[0]["data"]["simulated"] is True
    assert [line["at"] for line in lines[:2]] == ["2026-03-01T08:00:00.000Z", "2026-03-01T08:01:00.000Z"]
    assert all(line["at"].startswith("2026-03-01T08:") for line in lines)


def test_clock_set_back_is_logged(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE, simulated=True)
    script.do_all(
        open_intent(options={"size": "small"}, at="2026-03-01T08:00:00Z"),
        intent("note", text="one", at="2026-03-01T09:00:00+01:00"),  # the same time
        intent("note", text="two", at="2026-03-01T07:00:00Z"),
    )
    assert [line["kind"] for line in script.log()] == ["opened", "noted", "clock-went-back", "noted"]


def test_torn_last_line_is_moved_to_a_side_file_and_the_session_continues(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    script.do_all(open_intent(options={"size": "small"}), intent("start", operation="pull"))
    script.do_all(intent("tick", joint="ring", fastener=1), intent("tick", joint="ring", fastener=2))
    whole = script.path.read_bytes()
    torn = whole[: len(whole) - 25]
    script.path.write_bytes(torn)
    script.do("tick", joint="ring", fastener=2)
    assert [line["kind"] for line in script.log()] == ["opened", "started", "resumed", "ticked", "resumed", "ticked"]
    kept = [
        path for path in tmp_path.iterdir() if path != script.path and path.read_bytes() in torn and path.stat().st_size
    ]
    assert kept
    assert torn.endswith(kept[0].read_bytes())


def test_changed_byte_makes_the_log_read_only(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    script.do_all(
        open_intent(options={"size": "small"}), intent("start", operation="pull"), intent("note", text="hello")
    )
    damaged = script.path.read_bytes().replace(b"hello", b"hallo")
    script.path.write_bytes(damaged)
    (reply,) = script.send(intent("note", text="more"))
    assert reply["ok"] is False
    assert script.path.read_bytes() == damaged
