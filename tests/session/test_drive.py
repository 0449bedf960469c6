"""``benchflow drive`` as a real process: JSON lines in and out."""

import json
import os
from pathlib import Path
from typing import Any

from benchflow.session.log.log_check import verify
from tests.driving.command_server import run_as_text
from tests.driving.small_head import SMALL_HEAD


def drive(folder: Path, *intents: dict[str, Any] | str, flags: tuple[str, ...] = ()) -> list[dict[str, Any]]:
    procedure = folder / "small.yaml"
    procedure.write_text(SMALL_HEAD, encoding="utf-8")
    lines = [one if isinstance(one, str) else json.dumps(one) for one in intents]
    environ = {**os.environ, "BENCHFLOW_HOME": str(folder / "home")}
    call = ("drive", procedure, "--log", folder / "log.jsonl", *flags)
    done = run_as_text(folder, *call, env=environ, typed="\n".join(lines) + "\n")
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


OPEN = {
    "intent": "open",
    "by": "Robin",
    "unit": "2417",
    "options": {"cams": "standard"},
    "start": {"pistons": "at-deck"},
}


def test_each_intent_is_answered_by_one_documented_json_line(tmp_path: Path) -> None:
    replies = drive(
        tmp_path,
        OPEN,
        {"intent": "start", "operation": "lower"},
        {"intent": "start", "operation": "seal"},
        "this is not JSON",
        {"intent": "status"},
        {"intent": "why", "operation": "seat-cam"},
        {"intent": "route", "operation": "lower"},
    )
    opened, refused, taken, bad, status, why, route = replies
    assert (opened["ok"], opened["events"][0]["kind"], opened["events"][0]["seq"]) == (True, "opened", 1)
    assert refused["ok"] is False
    assert refused["refused"][0]["code"] == "after-missing"
    assert refused["refused"][0]["message"]
    assert taken["events"][0]["data"]["operation"] == "seal"
    assert bad["refused"][0]["code"] == "bad-intent"
    assert status["ok"] is True
    assert status["events"] == []
    assert status["status"]["in_progress"] == "seal"
    assert status["status"]["state"] == {"pistons": "at-deck", "valves": "shut"}
    assert {reason["code"] for reason in why["why"]} >= {"after-missing", "interference"}
    assert route["route"] == ["seal", "lower"]  # an operation in progress is not done yet


def test_existing_log_is_resumed_and_a_second_open_is_refused(tmp_path: Path) -> None:
    drive(tmp_path, OPEN, {"intent": "start", "operation": "seal"})
    replies = drive(tmp_path, OPEN, {"intent": "lot", "consumable": "sealant", "lot": "007"}, {"intent": "finish"})
    assert [reply["ok"] for reply in replies] == [False, True, True]
    assert replies[0]["refused"][0]["code"] == "already-open"
    assert verify(tmp_path / "log.jsonl").events == 5


def test_simulated_session_takes_its_times_from_the_intents(tmp_path: Path) -> None:
    def at(clock: str, **intent: Any) -> dict[str, Any]:
        return {**intent, "at": f"2026-03-01T{clock}Z"}

    replies = drive(
        tmp_path,
        at("18:00:00", **OPEN),
        at("18:01:00", intent="start", operation="seal"),
        at("18:02:00", intent="lot", consumable="sealant", lot="007"),
        at("18:03:00", intent="finish", operation="seal"),
        at("18:04:00", intent="start", operation="lower"),
        at("18:13:01", intent="finish", operation="lower"),
        {"intent": "finish", "operation": "lower"},
        at("18:13:00", intent="finish", operation="lower"),
        flags=("--simulated",),
    )
    assert replies[0]["events"][0]["data"]["simulated"] is True
    assert replies[5]["refused"][0]["code"] == "too-late"
    assert replies[6]["refused"][0]["code"] == "value-missing"
    assert replies[7]["ok"] is True
    assert replies[7]["events"][0]["at"] == "2026-03-01T18:13:00.000Z"


def test_simulated_log_cannot_be_continued_as_a_real_one(tmp_path: Path) -> None:
    drive(tmp_path, {**OPEN, "at": "2026-03-01T18:00:00Z"}, flags=("--simulated",))
    procedure = str(tmp_path / "small.yaml")
    done = run_as_text(tmp_path, "drive", procedure, "--log", tmp_path / "log.jsonl")
    assert done.returncode != 0
    assert "--simulated" in done.stderr
