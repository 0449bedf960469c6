"""Rework of an operation that is not finished: readings alone need no `undo`, ticks and settings do."""

from pathlib import Path

import pytest

from tests.driving.script import Script

PROCEDURE = """\
benchflow: 1
id: paused
title: Paused
revision: A
state: {head: {values: ['off', 'on'], start: 'off'}}
joints: {cap: {title: Cap bolts, layout: "1 2"}}
sections:
- title: A
  operations:
  - id: measure
    title: Measure the play
    record: {play: {unit: mm, limit: at most 0.20 mm, above: [{do: Seat it}]}}
    check: [{see: It turns, id: turns}]
  - {id: torque, title: Tighten the cap, tighten: {joint: cap, stages: [10 N·m, 20 N·m]}}
  - {id: fit, title: Fit the head, sets: {head: 'on'}, record: {gap: {unit: mm}}}
"""


def started(folder: Path, step: str) -> Script:
    script = Script(folder, PROCEDURE)
    script.do("open", by="Kim", unit="1")
    script.do("start", operation=step)
    return script


@pytest.mark.parametrize("paused", [True, False])
def test_readings_and_checks_are_taken_back_without_an_undo(tmp_path: Path, paused: bool) -> None:
    script = started(tmp_path, "measure")
    script.do("record", name="play", value="0.15 mm")
    script.do("tick-check", check="turns", answer="no")
    if paused:
        script.do("pause")
    script.do("rework", operation="measure", reason="measured at the wrong cap")
    script.do("start", operation="measure")
    assert script.refused("finish") == ["value-missing", "check-open"]
    script.do("record", name="play", value="0.12 mm")
    script.do("tick-check", check="turns")
    script.do("finish")
    script.audited()


def test_step_by_step_rework_does_the_same(tmp_path: Path) -> None:
    script = started(tmp_path, "measure")
    script.do("record", name="play", value="0.15 mm")
    script.do("pause")
    script.do("rework", operation="measure", reason="wrong cap", walk=True)
    script.do("rework-step")
    script.do("start", operation="measure")
    assert script.refused("finish") == ["value-missing", "check-open"]


@pytest.mark.parametrize("step", ["measure", "torque", "fit"])
def test_work_that_is_done_still_needs_an_undo(tmp_path: Path, step: str) -> None:
    script = started(tmp_path, step)
    if step == "torque":
        script.do("tick", joint="cap", fastener=1)
        script.do("pause")
    elif step == "fit":
        script.do("record", name="gap", value="1 mm")
        script.do("pause")
    else:
        script.do("record", name="play", value="0.15 mm")
        script.do("tick-check", check="turns")
        script.do("finish")
    assert script.refused("rework", operation=step, reason="again") == ["not-allowed"]


def test_rework_does_not_avoid_a_remedy_but_gets_past_the_last_one(tmp_path: Path) -> None:
    script = started(tmp_path, "measure")
    script.do("record", name="play", value="0.25 mm")
    assert script.refused("record", name="play", value="0.15 mm") == ["remedy-first"]
    assert script.refused("rework", operation="measure", reason="again") == ["not-allowed"]
    script.do("remedy", name="play")
    script.do("record", name="play", value="0.25 mm")
    assert script.refused("record", name="play", value="0.15 mm") == ["out-of-limit"]
    script.do("rework", operation="measure", reason="a new part, and measured again")
    script.do("start", operation="measure")
    script.do("record", name="play", value="0.15 mm")
    script.audited()
