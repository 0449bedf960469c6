"""Pictures in the log of a job, by intents: what they are bound to, when they are stored, and what the audit says.

Names and figures are invented.
"""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from benchflow.review.log.loaded_log import load_log
from benchflow.session.controller import SessionController
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.log.journal import Journal
from benchflow.session.pictures.picture_check import PictureCheck, check_pictures
from benchflow.session.pictures.stored_pictures import pictures_folder, stored_path, stored_picture_problem
from benchflow.session.state.events import PictureAttached, event_of
from tests.driving.audited import findings_of_audit
from tests.driving.forged_log import ForgedLog
from tests.driving.made_pictures import jpeg, jpeg_at
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

MEASURE = "{id: measure, title: Measure the bores, record: {bore: {limit: 80 .. 81 mm, readings: [top, bottom]}}}"
TIGHTEN = "{id: tighten, title: Tighten the studs, tighten: {joint: studs, stages: [20 N·m]}}"
SEAT = "{id: seat, title: 'Seat {cylinder}', each: cylinder, record: {gap: {limit: 1 .. 2 mm}}}"
HEAD = 'places: {cylinder: [1, 2]}\njoints:\n  studs: {title: Studs, layout: "3 1 2 4"}\n'


@pytest.fixture
def script(tmp_path: Path) -> Script:
    (tmp_path / "logs").mkdir()
    script = Script(tmp_path / "logs", procedure_with(MEASURE, TIGHTEN, SEAT, head=HEAD))
    script.do_all(open_intent(), intent("start", operation="measure"))
    return script


@pytest.fixture
def file(tmp_path: Path) -> str:
    return str(jpeg_at(tmp_path / "IMG_0012.jpg"))


def attached(script: Script, **fields: Any) -> dict[str, Any]:
    (event,) = script.do("attach", **fields)
    assert event["kind"] == "attached"
    data: dict[str, Any] = event["data"]
    return data


def test_a_picture_is_stored_and_logged_with_its_facts(script: Script, file: str) -> None:
    data = attached(script, file=file, text="The bore before honing")
    stored = Path(file).read_bytes()
    assert (data["name"], data["size"], data["type"]) == ("IMG_0012.jpg", len(stored), "image/jpeg")
    assert (data["width"], data["height"], data["operation"]) == (64, 48, "measure")
    assert data["text"] == "The bore before honing"
    assert stored_path(script.path, data["sha256"], "image/jpeg").read_bytes() == stored
    script.audited()


def test_the_log_has_the_name_of_the_file_and_not_its_folder(script: Script, file: str) -> None:
    data = attached(script, file=file)
    assert data["sent"]["file"] == "IMG_0012.jpg"
    assert str(Path(file).parent).encode() not in script.path.read_bytes().splitlines()[-1]


@pytest.mark.parametrize(
    ("fields", "operation", "target"),
    [
        ({}, "measure", {}),
        ({"operation": "tighten"}, "tighten", {}),
        ({"operation": ""}, None, {}),
        ({"operation": "seat[2]"}, "seat[2]", {}),
        ({"name": "bore"}, "measure", {"value": "bore"}),
        ({"name": "bore", "reading": "top"}, "measure", {"value": "bore", "reading": "top"}),
        ({"name": "bore[bottom]"}, "measure", {"value": "bore", "reading": "bottom"}),
        ({"name": "gap[2]"}, "seat[2]", {"value": "gap[2]"}),
        ({"name": "gap", "operation": "seat[1]"}, "seat[1]", {"value": "gap[1]"}),
        ({"joint": "studs"}, "tighten", {"joint": "studs"}),
        ({"joint": "studs", "fastener": 3}, "tighten", {"joint": "studs", "fastener": 3}),
        ({"joint": "studs", "fastener": "3"}, "tighten", {"joint": "studs", "fastener": 3}),
    ],
)
def test_a_picture_is_bound_to_what_the_intent_names(
    script: Script, file: str, fields: dict[str, Any], operation: str | None, target: dict[str, Any]
) -> None:
    data = attached(script, file=file, **fields)
    assert (data.get("operation"), data.get("target", {})) == (operation, target)
    script.audited()


def test_a_picture_of_a_note_has_the_operation_of_the_note(script: Script, file: str) -> None:
    note = script.do("note", text="A score at the top", operation="seat[1]")[-1]["seq"]
    data = attached(script, file=file, event=note)
    assert (data["operation"], data["target"]) == ("seat[1]", {"event": note})
    script.audited()


@pytest.mark.parametrize(
    ("fields", "code", "words"),
    [
        ({"operation": "seat"}, "unknown-name", "Did you mean seat["),
        ({"name": "bor"}, "unknown-name", "Did you mean bore?"),
        ({"name": "bore", "reading": "middle"}, "unknown-name", "top"),
        ({"name": "bore", "operation": "tighten"}, "unknown-name", "Tighten the studs"),
        ({"name": "gap"}, "value-missing", "seat[1], seat[2]"),
        ({"joint": "stud"}, "unknown-name", "Did you mean studs?"),
        ({"joint": "studs", "fastener": 5}, "unknown-name", "from 1 to 4"),
        ({"joint": "studs", "fastener": "²"}, "unknown-name", "from 1 to 4"),
        ({"joint": "studs", "operation": "measure"}, "unknown-name", "does not tighten studs"),
        ({"fastener": 1}, "value-missing", "joint"),
        ({"reading": 1}, "value-missing", "name"),
        ({"name": "bore", "joint": "studs"}, "bad-intent", "one thing"),
        ({"event": 1}, "unknown-name", "not a note"),
        ({"event": 10**30}, "unknown-name", "not a note"),
    ],
)
def test_a_wrong_target_is_refused_and_nothing_is_stored(
    script: Script, file: str, fields: dict[str, Any], code: str, words: str
) -> None:
    (reply,) = script.send(intent("attach", file=file, **fields))
    assert [reason["code"] for reason in reply["refused"]] == [code]
    assert words in reply["refused"][0]["message"]
    assert not pictures_folder(script.path).exists()


def test_a_wrong_file_and_a_wrong_target_are_reported_together(script: Script, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_text("text")
    codes = script.refused("attach", file=str(tmp_path / "a.jpg"), operation="nothing")
    assert codes == ["unknown-name", "not-allowed"]


def test_a_picture_is_accepted_after_the_end_of_the_job(script: Script, file: str) -> None:
    script.do_all(intent("pause"), intent("close", unfinished="the customer took it home"))
    assert "operation" not in attached(script, file=file)
    complaint = script.do("complaint", text="it drips")[-1]["seq"]
    attached(script, file=file, event=complaint)
    script.audited()


def test_attaching_the_original_again_restores_a_lost_copy(script: Script, file: str) -> None:
    attached(script, file=file)
    (copy,) = pictures_folder(script.path).iterdir()
    whole = copy.read_bytes()
    copy.unlink()
    (reply,) = script.send(intent("attach", file=file))
    assert reply["refused"][0]["code"] == "already-done"
    assert "(log line 4). Its stored copy was missing. It is restored from this file" in reply["refused"][0]["message"]
    assert copy.read_bytes() == whole
    (reply,) = script.send(intent("attach", file=file))
    assert "restored" not in reply["refused"][0]["message"]


def test_the_same_picture_of_the_same_thing_is_refused_and_of_another_stored_once(script: Script, file: str) -> None:
    first = attached(script, file=file)
    assert script.refused("attach", file=file) == ["already-done"]
    again = attached(script, file=file, name="bore")
    assert again["sha256"] == first["sha256"]
    assert len(list(pictures_folder(script.path).iterdir())) == 1


def test_two_pictures_with_one_name_are_both_stored(script: Script, tmp_path: Path) -> None:
    one = attached(script, file=str(jpeg_at(tmp_path / "IMG.jpg", shade=1)))
    other = attached(script, file=str(jpeg_at(tmp_path / "IMG.jpg", shade=2)))
    assert one["name"] == other["name"]
    assert one["sha256"] != other["sha256"]
    assert len(list(pictures_folder(script.path).iterdir())) == 2


def test_a_withdrawn_picture_keeps_its_event_and_its_file(script: Script, file: str) -> None:
    (event,) = script.do("attach", file=file, name="bore")
    assert script.refused("withdraw", event=event["seq"], reason=" ") == ["value-missing"]
    assert script.refused("withdraw", event=2, reason="x") == ["unknown-name"]
    script.do("withdraw", event=event["seq"], reason="It is the other engine")
    (fact,) = load_log(script.path, read_procedure).facts.pictures
    assert (fact.in_force, fact.value, fact.operation) == (False, "bore", "measure")
    assert stored_picture_problem(script.path, fact.file) is None
    assert script.refused("withdraw", event=event["seq"], reason="x") == ["unknown-name"]
    attached(script, file=file, name="bore")
    script.audited()


def test_a_file_name_with_control_characters_is_found_and_logged_harmless(script: Script, tmp_path: Path) -> None:
    name = "a\x1b[2J\n\u202egpj.jpg"
    (tmp_path / name).write_bytes(jpeg())
    data = attached(script, file=str(tmp_path / name))
    assert data["name"] == "a\\x1b[2J\\n\\u202egpj.jpg"
    script.audited()


def test_the_text_of_the_log_names_picture_and_target(script: Script, file: str) -> None:
    script.do("attach", file=file, joint="studs", fastener=3, text="Thread before cleaning")
    log = load_log(script.path, read_procedure)
    event = event_of(log.lines[-1])
    assert isinstance(event, PictureAttached)
    text = event_text(event, LogTitles(log.plan))
    assert text.startswith("Picture of Studs, fastener 3 attached: Thread before cleaning (IMG_0012.jpg, JPEG, 64 × 48")
    assert event.sha256[:16] in text


def test_the_audit_finds_a_picture_bound_to_what_does_not_exist(script: Script, file: str) -> None:
    script.do("attach", file=file, joint="studs", fastener=3)

    forged = ForgedLog(script.path)
    forged.event("attached")["target"]["fastener"] = 4
    forged.save()
    assert any("target" in text for text in findings_of_audit(script))


KILLED = """
import os, signal, sys
from benchflow.session.log.journal import Journal
Journal.append = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
from benchflow.cli import main
main()
"""


def test_a_kill_between_copy_and_log_line_leaves_only_a_file_that_no_event_names(script: Script, file: str) -> None:
    before = script.path.read_bytes()
    sent = json.dumps(intent("attach", file=file)) + "\n"
    procedure = script.path.with_name("p.yaml")
    procedure.write_text(script.text)
    command = [sys.executable, "-c", KILLED, "drive", str(procedure), "--log", str(script.path)]
    done = subprocess.run(command, input=sent.encode(), capture_output=True, timeout=60, env=os.environ)
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert script.path.read_bytes() == before
    (orphan,) = pictures_folder(script.path).iterdir()
    assert orphan.read_bytes() == Path(file).read_bytes()
    attached(script, file=file)
    assert list(pictures_folder(script.path).iterdir()) == [orphan]


def test_a_job_that_is_open_in_another_window_takes_no_picture(script: Script, file: str) -> None:
    with Journal.open(script.path):
        (reply,) = script.send(intent("attach", file=file))
    assert [reason["code"] for reason in reply["refused"]] == ["not-saved"]
    assert "open in another window" in reply["refused"][0]["message"]
    assert not pictures_folder(script.path).exists()


def test_a_folder_that_cannot_be_made_refuses_the_picture_and_logs_nothing(script: Script, file: str) -> None:
    pictures_folder(script.path).write_text("mine")
    assert script.refused("attach", file=file) == ["not-saved"]


def test_the_pictures_go_along_when_the_job_is_moved_to_another_folder(
    script: Script, file: str, tmp_path: Path
) -> None:
    data = attached(script, file=file)
    (tmp_path / "other").mkdir()
    controller = SessionController.resume(script.path, read=read_procedure)
    controller.move_to(tmp_path / "other")
    controller.close()
    moved = tmp_path / "other" / script.path.name
    assert stored_path(moved, data["sha256"], data["type"]).read_bytes() == Path(file).read_bytes()
    assert check_pictures(moved) == PictureCheck(1, (), ())
