"""A new log that continues a damaged one: what was done is taken over, signed, and the state is asked again."""

import io
import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.review.audit.audit_file import audit_file
from benchflow.session.continuation import log_to_continue
from benchflow.session.json_lines import drive, open_controller
from benchflow.session.shop.live_register import Register
from tests.driving.log_files import events_in
from tests.driving.script import Json, Script, intent, load_text, open_intent, read_procedure

PROCEDURE = """\
benchflow: 1
id: half-built
title: A half-built assembly
revision: "1"
notice: All numbers are invented.
state:
  cover: {values: ["off", "on", tight], start: "off"}
  bolts: {values: [loose, tight], start: loose}
kit:
  consumables:
    sealant: {title: Sealant, lot: required}
sections:
- title: All
  operations:
  - {id: measure, title: Measure, record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm}}, undo: {do: Again}}
  - {id: seal, title: Seal, after: measure, uses: [sealant], sets: {cover: "on"}, needs: {cover: "off"},
     undo: {do: Take it off}}
  - {id: inspect, title: Inspect, after: seal, needs: {cover: "on"}, check: [It is clean],
     hold: {by: inspector, for: look at it}}
  - {id: tighten, title: Tighten, after: inspect, sets: {cover: tight}, needs: {cover: "on"}, undo: {do: Let go}}
  - {id: judge, title: Judge, after: tighten, needs: {cover: tight},
     work-out: {left: {is: gap - 0.05 mm, unit: mm, limit: at most 0.20 mm}}}
"""

SHOP = """\
shop: 1
people:
  Robin: {roles: [builder]}
  Ines: {roles: [inspector]}
"""


class Continued:
    """A job that continues the log ``old``. Each call is a run of the program."""

    def __init__(self, script: Script, name: str = "new.jsonl", procedure: bool = False) -> None:
        self.script, self.old = script, script.path
        self.path = script.path.parent / name
        self.given = (load_text(script.text), "p.yaml") if procedure else None

    def send(self, *intents: Json) -> list[Json]:
        old = log_to_continue(self.old, self.given, read_procedure)
        controller = open_controller(
            old.source, old.procedure_file, self.path, read_procedure, simulated=False,
            register=Register(self.script.shop), continue_from=old,
        )  # fmt: skip
        out = io.BytesIO()
        try:
            drive(controller, io.BytesIO(b"".join(json.dumps(each).encode() + b"\n" for each in intents)), out)
        finally:
            controller.close()
        return [json.loads(line) for line in out.getvalue().splitlines()]

    def do(self, kind: str, **fields: Any) -> list[Json]:
        (reply,) = self.send(intent(kind, **fields))
        assert reply["ok"], reply
        events: list[Json] = reply["events"]
        return events

    def refused(self, kind: str, **fields: Any) -> list[str]:
        (reply,) = self.send(intent(kind, **fields))
        assert not reply["ok"], reply
        return [reason["code"] for reason in reply["refused"]]


@pytest.fixture
def script(tmp_path: Path) -> Script:
    """Everything up to ``tighten`` is done: 14 events."""
    script = Script(tmp_path, PROCEDURE, shop=SHOP)
    script.do_all(
        open_intent(unit="2417"),
        intent("start", operation="measure"), intent("record", name="gap", value="0.0055 in"), intent("finish"),
        intent("start", operation="seal"), intent("lot", consumable="sealant", lot="A-7"), intent("finish"),
        intent("start", operation="inspect"), intent("tick-check", check=1),
        intent("sign", operation="inspect", by="Ines"), intent("finish"),
        intent("start", operation="tighten"), intent("finish"),
        intent("start", operation="judge"),
    )  # fmt: skip
    return script


def damage(log: Path, number: int) -> bytes:
    """Change one byte of line ``number``. Returns the bytes of the file."""
    lines = log.read_bytes().splitlines(keepends=True)
    lines[number - 1] = lines[number - 1].replace(b'"at":"2', b'"at":"3', 1)
    log.write_bytes(b"".join(lines))
    return log.read_bytes()


def test_new_log_names_the_damaged_one_its_digest_and_its_last_good_head(script: Script) -> None:
    head = events_in(script.path)[10]["hash"]
    data = damage(script.path, 12)
    (opened,) = Continued(script).do("open", by="Robin", start={"cover": "tight"})
    continues = opened["data"]["continues"]
    assert continues["file"] == "log.jsonl"
    assert continues["sha256"] == sha256(data).hexdigest()
    assert (continues["head"], continues["events"], continues["line"]) == (head, 11, 12)
    assert opened["data"]["unit"] == "2417"
    assert opened["data"]["start"] == {"cover": "tight", "bolts": None}
    assert script.path.read_bytes() == data


def test_operation_taken_over_is_done_and_keeps_its_reading_as_typed(script: Script) -> None:
    damage(script.path, 12)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "tight"})
    events = job.do("take-over", operation="measure", by="Robin")
    assert [event["kind"] for event in events] == ["recorded", "taken-over"]
    reading = events[0]["data"]
    assert (reading["quantity"]["entered"], reading["verdict"], reading["earlier"]) == ("0.0055 in", "ok", 3)
    assert events[1]["data"]["evidence"] == [3]
    assert job.refused("take-over", operation="measure", by="Robin") == ["already-done"]
    (reply,) = job.send(intent("status"))
    assert reply["status"]["done"] == ["measure"]
    assert reply["status"]["to_take_over"] == ["seal", "inspect", "tighten"]


def test_rest_of_the_engine_is_built_on_what_was_taken_over(script: Script) -> None:
    damage(script.path, 13)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "tight"})
    for operation, by in (("measure", "Robin"), ("seal", "Robin"), ("inspect", "Ines")):
        job.do("take-over", operation=operation, by=by)
    assert "after-missing" in job.refused("start", operation="judge")
    assert job.refused("take-over", operation="tighten", by="Robin") == ["value-missing"]
    (event,) = job.do("take-over", operation="tighten", by="Robin", reason="torque paint is on all bolts")
    assert event["data"]["basis"] == "none"
    calculated = job.do("start", operation="judge")[-1]
    assert (calculated["kind"], calculated["data"]["verdict"]) == ("calculated", "ok")
    job.do("finish")
    job.do("close")


def test_line_after_the_damage_is_a_hint_and_needs_a_reason(script: Script) -> None:
    damage(script.path, 4)  # `finished` of the first operation
    job = Continued(script)
    (opened,) = job.do("open", by="Robin", start={"cover": "tight"})
    hints = {each["operation"]: each["trusted"] for each in opened["data"]["continues"]["done"]}
    assert hints == {"seal": False, "inspect": False, "tighten": False}
    assert job.refused("take-over", operation="measure", by="Robin") == ["value-missing"]
    job.do("take-over", operation="measure", by="Robin", reason="measured again by hand")
    assert job.refused("take-over", operation="seal", by="Robin") == ["value-missing"]
    (event,) = job.do("take-over", operation="seal", by="Robin", reason="the bead is there")
    assert event["data"]["basis"] == "untrusted"


def test_damaged_first_line_needs_the_procedure_and_reasons(script: Script) -> None:
    damage(script.path, 1)
    with pytest.raises(BenchflowError, match="Name the procedure"):
        log_to_continue(script.path, None, read_procedure)
    job = Continued(script, procedure=True)
    (opened,) = job.do("open", by="Robin", unit="2417", start={"cover": "tight"})
    continues = opened["data"]["continues"]
    assert (continues["head"], continues["events"], len(continues["done"])) == ("", 0, 4)
    assert job.refused("take-over", operation="measure", by="Robin") == ["value-missing"]
    job.do("take-over", operation="measure", by="Robin", reason="the gauge sheet is on the bench")


def test_order_applies_to_taking_over(script: Script) -> None:
    damage(script.path, 12)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "on"})
    assert job.refused("take-over", operation="seal", by="Robin") == ["after-missing"]


def test_hold_is_taken_over_by_its_role_only(script: Script) -> None:
    damage(script.path, 12)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "on"})
    job.do("take-over", operation="measure", by="Robin")
    job.do("take-over", operation="seal", by="Robin")
    assert job.refused("take-over", operation="inspect", by="Robin") == ["not-allowed"]
    (event,) = job.do("take-over", operation="inspect", by="Ines")
    assert (event["data"]["role"], event["data"]["proven"]) == ("inspector", "name")


def test_whole_log_is_continued_from_with_a_reason_only(script: Script) -> None:
    job = Continued(script)
    assert job.refused("open", by="Robin") == ["value-missing"]
    (opened,) = job.do("open", by="Robin", start={"cover": "tight"}, reason="the stick goes to the customer")
    assert opened["data"]["continues"]["reason"] == "the stick goes to the customer"
    assert job.refused("take-over", operation="judge", by="Robin", reason="it looks done") == [
        "not-allowed", "after-missing",
    ]  # fmt: skip


def test_closed_log_is_not_continued_from(script: Script) -> None:
    script.do_all(intent("finish"), intent("close"))
    with pytest.raises(BenchflowError, match="was closed"):
        log_to_continue(script.path, None, read_procedure)


def test_nothing_is_taken_over_in_a_job_that_continues_no_log(script: Script) -> None:
    assert script.refused("take-over", operation="measure", by="Robin") == ["not-allowed"]


def test_state_asked_again_wins_and_undoing_gives_the_state_before(script: Script) -> None:
    damage(script.path, 14)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "on"})  # the old log says: tight
    for operation, by in (("measure", "Robin"), ("seal", "Robin"), ("inspect", "Ines"), ("tighten", "Robin")):
        job.do("take-over", operation=operation, by=by)
    (reply,) = job.send(intent("status"))
    assert reply["status"]["state"]["cover"] == "on"
    again = Continued(script, "second.jsonl")
    again.do("open", by="Robin", start={"cover": "tight"})
    for operation, by in (("measure", "Robin"), ("seal", "Robin"), ("inspect", "Ines"), ("tighten", "Robin")):
        again.do("take-over", operation=operation, by=by)
    again.do("rework", operation="tighten", reason="a bolt is too long")
    (reply,) = again.send(intent("status"))
    assert reply["status"]["state"]["cover"] == "on"


def test_taking_over_goes_on_after_the_program_was_killed(script: Script) -> None:
    damage(script.path, 12)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "tight"})
    job.do("take-over", operation="measure", by="Robin")
    whole = job.path.read_bytes()
    job.path.write_bytes(whole[:-40])  # the last line is cut: the group is put aside whole
    assert [event["kind"] for event in job.do("take-over", operation="measure", by="Robin")] == [
        "recorded", "taken-over",
    ]  # fmt: skip


def test_new_log_that_continues_another_file_is_not_used(script: Script) -> None:
    damage(script.path, 12)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "tight"})
    damage(script.path, 3)
    with pytest.raises(BenchflowError, match="does not continue"):
        job.send(intent("status"))


def test_second_job_of_a_unit_names_the_earlier_logs(script: Script, tmp_path: Path) -> None:
    (tmp_path / "log.jsonl").rename(tmp_path / "first.jsonl")
    (opened,) = script.do("open", by="Robin", unit="2417")
    (earlier,) = opened["data"]["earlier"]
    assert (earlier["file"], earlier["done"], earlier["of"]) == ("first.jsonl", 4, 5)
    assert earlier["session"] == events_in(tmp_path / "first.jsonl")[0]["hash"]
    script.path.rename(tmp_path / "second.jsonl")
    (opened,) = script.do("open", by="Robin", unit="2418")
    assert "earlier" not in opened["data"]


def test_operation_that_was_reopened_is_reopened_in_the_new_log_too(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE, shop=SHOP)
    script.do_all(
        open_intent(unit="2417"),
        intent("start", operation="measure"), intent("record", name="gap", value="0.15 mm"), intent("finish"),
        intent("correct", event=3, value="0.25 mm", reason="misread"), intent("note", text="damaged below"),
    )  # fmt: skip
    damage(script.path, 6)
    job = Continued(script)
    job.do("open", by="Robin", start={"cover": "off"})
    job.do("take-over", operation="measure", by="Robin")
    (reply,) = job.send(intent("status"))
    assert list(reply["status"]["reopened"]) == ["measure"]
    assert job.refused("start", operation="seal") == ["out-of-limit"]
    job.do("start", operation="measure")
    job.do("record", name="gap", value="0.15 mm")
    job.do("finish")
    job.do("start", operation="seal")


ASKING = """\
benchflow: 1
id: asking
title: A cover whose figures are asked for
revision: "1"
notice: All numbers are invented.
joints:
  cover: {layout: "1 2", lubricant: ask}
instruments: {dial: {kind: length, covers: ask}}
sections:
- title: All
  operations:
  - {id: measure, title: Measure, record: {gap: {ask: Gap, unit: mm, limit: ask, with: dial}},
     work-out: {twice: {is: gap * 2, unit: mm, limit: ask}}}
  - {id: close, title: Close, after: measure, tighten: {joint: cover, stages: [{torque: ask}]}}
  - {id: again, title: Again, after: close, record: {end: {ask: End, unit: mm, limit: ask}}}
"""


def test_figures_given_under_the_old_log_are_taken_over_with_their_source(tmp_path: Path) -> None:
    script = Script(tmp_path, ASKING)

    def given(**fields: Any) -> Json:
        return {"intent": "figure", "from": "manual p. 3", **fields}

    script.do_all(
        open_intent(), intent("start", operation="measure"),
        given(name="gap", value="0.10 .. 0.30 mm"), given(instrument="dial", value="0 .. 10 mm"),
        given(name="twice", value="at most 0.5 mm"), intent("record", name="gap", value="0.16 mm"),
    )  # fmt: skip
    first = next(line["seq"] for line in script.log() if line["kind"] == "figure-given")
    script.do_all(
        intent("correct", event=first, value="0.10 .. 0.20 mm", reason="misread"), intent("finish"),
        intent("start", operation="close"), given(joint="cover", lubricant="oil"),
        given(joint="cover", stage=1, value="20 .. 30 N·m"), intent("tick-rest", joint="cover"), intent("finish"),
    )  # fmt: skip
    new = Continued(script)
    new.do("open", by="Robin", reason="tried")
    events = new.do("take-over", operation="measure", by="Robin")
    figures = [event["data"] for event in events if event["kind"] == "figure-given"]
    assert sorted(each["figure"] for each in figures) == ["0 .. 10 mm", "0.10 .. 0.20 mm", "at most 0.5 mm"]
    assert {each["source"] for each in figures} == {"manual p. 3"}
    (reading,) = (event["data"] for event in events if event["kind"] == "recorded")
    assert (reading["verdict"], reading["limit"]) == ("ok", "0.10 .. 0.20 mm")
    (result,) = (event["data"] for event in events if event["kind"] == "calculated")
    assert (result["verdict"], result["limit"]) == ("ok", "at most 0.5 mm")
    events = new.do("take-over", operation="close", by="Robin")
    assert [event["data"]["figure"] for event in events if event["kind"] == "figure-given"] == ["oil", "20 .. 30 N·m"]
    new.do("start", operation="again")
    assert new.refused("record", name="end", value="1 mm") == ["value-missing"]
    report, _ = audit_file(new.path, read_procedure)
    assert report.wrong == ()
