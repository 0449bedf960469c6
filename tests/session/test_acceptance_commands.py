"""The commands as separate processes: their output and their exit status. All data is invented."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import rfc8785
from ruamel.yaml import YAML

from tests.driving.command_server import run_as_text

ROOT = Path(__file__).parents[2]
EVERYTHING = """\
benchflow: 1
id: head-install
title: Head
revision: "B"
subject: an invented four
source: invented
notice: all figures are invented
cautions: [{warning: hot}, {danger: heavy}, {caution: sharp}, {notice: read on}]
units: {torque: N·m, length: mm}
options: {cams: {ask: Which cams?, choices: [reground, standard]}}
places: {cylinder: [1, 2, 3, 4], valve: [1, 2]}
state:
  pistons: {values: [at-deck, down], start: ask, ask: Where are the pistons?}
  valves: {values: [shut, open], start: shut}
  cams: {values: [out, seated], start: out}
interference: [{never: {pistons: at-deck, valves: open}, because: they would meet}]
moves: {turn-crank-down: {title: Turn, do: Turn it, needs: {valves: shut}, sets: {pistons: down}}}
kit:
  parts: {gasket: {title: Gasket, quantity: 1, discard: true}}
  consumables: {assembly-lube: {title: Lube, lot: required}}
instruments:
  torque-wrench: {kind: torque, covers: 20 .. 120 N·m, uncertainty: at most 4 %}
  dial-indicator: {kind: length}
joints:
  head-studs:
    thread: M10x1.25
    class: "10.9"
    lubricant: engine oil
    nut-factor: 0.15
    to-yield: true
    layout: |
      9  5  1  4  8
      10 6  2  3  7
    groups: {long: [1, 2, 3, 4], short: [5, 6, 7, 8, 9, 10]}
failures: {coolant-leak: It loses water}
sections:
- title: Before
  operations:
  - {id: set-head-down, title: Set the head down}
  - {id: apply-sealant, title: Apply the sealant}
  - {id: prime-flange, title: Prime the flange}
  - {id: set-lash, title: Set the lash, after: ["seat-intake-cam[*]"]}
  - {id: fit-thrust-washers, title: Fit the thrust washers, undo: {do: Take them out}}
  - id: torque-mains
    title: Tighten
    uses: [torque-wrench]
    undo: {do: Loosen them in reverse order}
    tighten:
      joint: head-studs
      stages: [30 N·m, 60 N·m, {torque: 90 N·m, only: long}, loosen 1 turn, 40 N·m, +90°, +90°,
               {check: at least 100 N·m}]
      total-angle: 180°
      draw-down: half a turn, middle first
- title: Cams
  operations:
  - id: seat-intake-cam
    title: Seat the intake cam at {cylinder}
    cautions: [{caution: the cam is hollow and snaps when its caps are run down one at a time}]
    do: |
      1. Lay it in.
      2. Draw it down.
    when: {cams: reground}
    each: cylinder
    after: [set-head-down]
    needs: {pistons: down}
    during: {valves: open}
    sets: {cams: seated}
    time: {apply-sealant: at most 30 min, prime-flange: 30 min .. 4 h}
    takes: 5 min
    uses: [torque-wrench, assembly-lube]
    check: [free to turn, flush, tacky]
    hold: {by: inspector, for: the cam}
    guards-against: [coolant-leak]
    undo: {do: Lift it out, needs: {pistons: down}, discard: [gasket]}
    temporary: {restored-by: set-lash}
- title: Measuring
  operations:
  - id: measure
    title: Measure
    after: [torque-mains, fit-thrust-washers]
    record:
      bore: {ask: Bore, unit: mm}
      journal: {ask: Journal, unit: mm}
      protrusion: {ask: Protrusion, unit: mm}
      end-play:
        ask: Pry forward, zero, pry rearward
        unit: mm
        limit: 0.10 .. 0.28 mm (0.004 .. 0.011 in)
        used: at most 0.40 mm
        with: dial-indicator
        readings: 3
        judge: mean
        below: [{do: Loosen all caps one turn and seat them again, redo: [torque-mains], tries: 1}]
        above:
        - {do: Fit the next oversize thrust washer, redo: [fit-thrust-washers]}
        - {do: Replace the crankshaft, stop: true}
    work-out: {clearance: {is: bore - journal, unit: mm, limit: 0.020 .. 0.050 mm}}
    choose:
      gasket: {by: protrusion, from: [{up to: 0.10 mm, take: one notch}, {up to: 0.20 mm, take: two notches}]}
  - {id: gaps, title: 'Gap of {valve}', each: valve, record: {gap: {ask: Gap, unit: mm}}}
  - id: give-shims
    title: Give the shims
    after: ["gaps[*]"]
    record: {on-hand: {ask: On hand, unit: mm, readings: [a, b, c]}}
    work-out: {lash: {is: gap - shims, unit: mm}}
    match: {shims: {measured: on-hand, to: valve, so that: lash, limit: 0.20 .. 0.30 mm, aim: 0.25 mm}}
follow-up: [{title: Retorque, due: 14 d, or: "500 km"}]
"""
OPEN = {"intent": "open", "by": "Robin", "unit": "job 7", "options": {"cams": "standard"}, "start": {"pistons": "down"}}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "all.yaml").write_text(EVERYTHING, encoding="utf-8")
    return tmp_path


def run_benchflow(folder: Path, *arguments: str, typed: str = "") -> tuple[int, str, str]:
    environ = {**os.environ, "BENCHFLOW_HOME": str(folder / "home"), "PYTHONPATH": str(ROOT)}
    done = run_as_text(folder, *arguments, env=environ, typed=typed)
    return done.returncode, done.stdout, done.stderr


def objects(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_every_key_of_the_format_is_accepted_by_check_and_by_the_schema(folder: Path) -> None:
    code, output, _ = run_benchflow(folder, "check", "--json", "all.yaml")
    (report,) = objects(output)
    assert (code, report["ok"], report["findings"]) == (0, True, [])
    assert set(report) == {"file", "ok", "findings", "explored"}
    assert set(report["explored"]) == {"configurations", "complete"}
    schema = json.loads(run_benchflow(folder, "schema")[1])
    jsonschema.Draft202012Validator.check_schema(schema)
    # As an editor reads the file: every key is text.
    plain = json.loads(json.dumps(YAML(typ="safe", pure=True).load(EVERYTHING)))
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(plain)) == []


def test_check_prints_a_line_for_each_file_and_sets_the_exit_status(folder: Path) -> None:
    (folder / "bad.yaml").write_text(EVERYTHING.replace("0.011 in", "0.021 in").replace("after: [set-", "atfer: [set-"))
    code, output, _ = run_benchflow(folder, "check", "--json", "bad.yaml", "all.yaml")
    bad, good = objects(output)
    assert (code, bad["ok"], good["ok"]) == (1, False, True)
    found = {finding["code"]: finding for finding in bad["findings"]}
    assert set(found) >= {"disagreeing-units", "unknown-key"}
    for finding in bad["findings"]:
        assert {"code", "severity", "where", "line", "column", "message"} <= set(finding)
    lines = (folder / "bad.yaml").read_text(encoding="utf-8").splitlines()
    line = lines[found["unknown-key"]["line"] - 1]
    assert line[found["unknown-key"]["column"] - 1 :].startswith("atfer")
    assert "0.021 in" in lines[found["disagreeing-units"]["line"] - 1]
    assert run_benchflow(folder, "check", "--json", "gone.yaml")[0] == 2


def test_drive_answers_each_line_before_the_next_one_is_sent(folder: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-m", "benchflow", "drive", "all.yaml", "--log", "log.jsonl"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=folder,
        env={**os.environ, "BENCHFLOW_HOME": str(folder / "home"), "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert child.stdin is not None
    assert child.stdout is not None
    with child:
        for number, sent in enumerate((OPEN, {"intent": "note", "text": "one"}), 1):
            child.stdin.write(json.dumps(sent).encode() + b"\n")
            child.stdin.flush()
            reply = json.loads(child.stdout.readline())
            assert (reply["ok"], reply["events"][0]["seq"]) == (True, number)
            # The event is on disk before the answer is sent.
            assert len((folder / "log.jsonl").read_bytes().splitlines()) == number
        child.stdin.close()
    assert child.returncode == 0


def test_damaged_log_is_reported_with_its_line_number(folder: Path) -> None:
    sent = [OPEN, {"intent": "start", "operation": "set-head-down"}, {"intent": "finish"}]
    typed = "".join(json.dumps(each) + "\n" for each in sent)
    code, output, errors = run_benchflow(folder, "drive", "all.yaml", "--log", "log.jsonl", typed=typed)
    assert (code, errors) == (0, "")
    events = [event for reply in objects(output) for event in reply["events"]]
    code, output, _ = run_benchflow(folder, "log", "--json", "log.jsonl")
    assert (code, objects(output)) == (0, events)
    for line in objects(output):
        digest = line.pop("hash")
        assert digest == hashlib.sha256(rfc8785.dumps(line)).hexdigest()
    code, output, _ = run_benchflow(folder, "verify", "--json", "log.jsonl")
    (report,) = objects(output)
    assert (code, report["ok"], report["events"], report["head"]) == (0, True, 3, events[-1]["hash"])
    (session,) = objects(run_benchflow(folder, "sessions", "--json", "--folder", ".")[1])
    assert (session["unit"], session["by"], session["events"], session["done"]) == ("job 7", "Robin", 3, 1)
    path = folder / "log.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(lines[0] + lines[2])
    code, output, _ = run_benchflow(folder, "verify", "--json", "log.jsonl")
    (report,) = objects(output)
    assert (code, report["ok"], report["damage"]["line"]) == (1, False, 2)


def test_procedure_with_an_error_is_not_driven(folder: Path) -> None:
    (folder / "bad.yaml").write_text(EVERYTHING.replace("after: [set-", "atfer: [set-"), encoding="utf-8")
    code, output, errors = run_benchflow(
        folder, "drive", "bad.yaml", "--log", "log.jsonl", typed=json.dumps(OPEN) + "\n"
    )
    assert (code, output) == (2, "")
    assert "atfer" in errors
    assert not (folder / "log.jsonl").exists()
