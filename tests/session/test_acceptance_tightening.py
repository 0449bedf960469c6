"""Tightening a joint by intents: stages, check stages, torque with stretch, draw-down. All data is invented."""

from pathlib import Path
from typing import Any

import pytest

from tests.driving.script import Json, Script, intent, open_intent

TEXT = """\
benchflow: 1
id: tightened
title: Tightened
revision: "1"
instruments:
  wrench: {title: Wrench, kind: torque}
  stretch-gauge: {title: Stretch gauge, kind: stretch}
joints:
  rods: {title: Rod bolts, layout: "1 2"}
  caps: {title: Caps, layout: "1 2 3"}
sections:
- title: All
  operations:
  - id: pull
    title: Pull the bolts down
    uses: [wrench, stretch-gauge]
    tighten: {joint: JOINT, stages: STAGES, MORE}
    undo: {do: Let them go}
"""
BOTH = "[30 N·m, {check: 95 .. 120 N·m, stretch: 0.14 .. 0.16 mm}]"


def start_joint(folder: Path, stages: str, *, joint: str = "rods", more: str = "") -> Script:
    text = TEXT.replace("JOINT", joint).replace("STAGES", stages).replace(", MORE", f", {more}" if more else "")
    script = Script(folder, text)
    script.do_all(open_intent(), intent("start", operation="pull"))
    return script


def tick_intents(joint: str, *fasteners: int, **fields: Any) -> list[Json]:
    return [intent("tick", joint=joint, fastener=number, **fields) for number in fasteners]


# --- check stages ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("check", "good", "bad", "verdict", "wrong"),
    [
        ("at least 100 N·m", "75 ft-lb", "99.9 N·m", "low", "0.15 mm"),
        ("80 .. 100°", "90 deg", "101°", "high", "95 N·m"),
        ("0.14 .. 0.16 mm", "0.0060 in", "0.165 mm", "high", "90°"),
    ],
)
def test_check_stage_reads_torque_angle_or_stretch(
    tmp_path: Path, check: str, good: str, bad: str, verdict: str, wrong: str
) -> None:
    script = start_joint(tmp_path, f"[30 N·m, {{check: {check}}}]")
    script.do_all(*tick_intents("rods", 1, 2))
    assert script.refused("tick", joint="rods", fastener=1) == ["value-missing"]
    assert script.refused("tick", joint="rods", fastener=1, value=wrong) == ["wrong-dimension"]
    assert script.refused("tick", joint="rods", fastener=1, value=good, stretch="0.15 mm") == ["not-allowed"]
    (event,) = script.do("tick", joint="rods", fastener=1, value=good)
    assert (event["data"]["verdict"], event["data"]["quantity"]["entered"]) == ("ok", good)
    assert script.do("tick", joint="rods", fastener=2, value=bad)[0]["data"]["verdict"] == verdict
    assert script.refused("finish") == ["out-of-limit"]


@pytest.mark.parametrize(
    ("value", "stretch", "corner", "verdict"),
    [
        ("110 N·m", "0.15 mm", "ok", "ok"),
        ("95 N·m", "0.16 mm", "ok", "ok"),
        ("110 N·m", "0.13 mm", "friction-high", "low"),
        ("90 N·m", "0.15 mm", "friction-low", "low"),
        ("90 N·m", "0.13 mm", "loose", "low"),
        ("121 N·m", "0.17 mm", "overtightened", "high"),
    ],
)
def test_torque_and_stretch_must_both_be_within_their_limits(
    tmp_path: Path, value: str, stretch: str, corner: str, verdict: str
) -> None:
    script = start_joint(tmp_path, BOTH)
    script.do_all(*tick_intents("rods", 1, 2))
    assert script.refused("tick", joint="rods", fastener=1, value=value) == ["value-missing"]
    assert script.refused("tick", joint="rods", fastener=1, stretch=stretch) == ["value-missing"]
    assert script.refused("tick", joint="rods", fastener=1, value=stretch, stretch=value) == ["wrong-dimension"] * 2
    assert script.refused("tick", joint="rods", fastener=1, value="110", stretch=0.15) == ["bad-quantity"]
    (event,) = script.do("tick", joint="rods", fastener=1, value=value, stretch=stretch)
    data = event["data"]
    assert (data["quantity"]["entered"], data["stretch"]["entered"]) == (value, stretch)
    assert (data["corner"], data["verdict"]) == (corner, verdict)
    script.do_all(*tick_intents("rods", 2, value="110 N·m", stretch="0.15 mm"))
    if verdict == "ok":
        script.do("finish")
    else:
        (reply,) = script.send(intent("finish"))
        assert [reason["code"] for reason in reply["refused"]] == ["out-of-limit"]
        assert value in reply["refused"][0]["message"]
        assert stretch in reply["refused"][0]["message"]


def test_fastener_out_of_its_limit_can_be_read_again_in_place(tmp_path: Path) -> None:
    script = start_joint(tmp_path, "[30 N·m, {check: at least 25 N·m}]")
    script.do_all(*tick_intents("rods", 1, 2), *tick_intents("rods", 1, value="20 N·m"))
    script.do_all(*tick_intents("rods", 1, value="26 N·m"), *tick_intents("rods", 2, value="21 N·m"))
    # The reading of fastener 1 is within its limit, so it cannot be read again.
    assert "already-done" in script.refused("tick", joint="rods", fastener=1, value="26 N·m")
    script.do_all(*tick_intents("rods", 2, value="27 N·m"))
    script.do("finish")
    read = [line["data"]["quantity"]["value"] for line in script.log() if "quantity" in line["data"]]
    assert read == ["20", "26", "21", "27"]  # every attempt stays in the log


def test_untick_of_a_repeated_reading_restores_the_first_one(tmp_path: Path) -> None:
    script = start_joint(tmp_path, "[{check: at least 25 N·m}]")
    script.do_all(*tick_intents("rods", 1, value="20 N·m"), *tick_intents("rods", 1, value="26 N·m"))
    script.do("untick", joint="rods", fastener=1)
    script.do_all(*tick_intents("rods", 2, value="26 N·m"))
    assert script.refused("finish") == ["out-of-limit"]


def test_tick_can_be_corrected_after_the_joint_is_done(tmp_path: Path) -> None:
    script = start_joint(tmp_path, BOTH)
    script.do_all(*tick_intents("rods", 1, 2), *tick_intents("rods", 1, value="11 N·m", stretch="0.15 mm"))
    wrong = script.log()[-1]["seq"]
    script.do_all(*tick_intents("rods", 2, value="110 N·m", stretch="0.15 mm"))
    assert script.refused("finish") == ["out-of-limit"]
    assert script.refused("correct", event=wrong, value="110 N·m", reason="slip") == ["value-missing"]
    script.do("correct", event=wrong, value="110 N·m", stretch="0.15 mm", reason="a zero was missing")
    script.do("finish")
    script.do("correct", event=wrong, value="110 N·m", stretch="0.19 mm", reason="the other column")
    assert script.refused("close", by="Robin") == ["out-of-limit"]


def test_deviation_for_a_joint_lapses_when_a_fastener_is_read_again(tmp_path: Path) -> None:
    script = start_joint(tmp_path, "[{check: at least 25 N·m}]")
    script.do_all(*tick_intents("rods", 1, value="20 N·m"), *tick_intents("rods", 2, value="26 N·m"))
    script.do("deviate", operation="pull", about="rods", reason="soft seat", by="Kim")
    script.do_all(*tick_intents("rods", 1, value="5 N·m", stage=1))
    assert script.refused("finish") == ["out-of-limit"]
    script.do("deviate", operation="pull", about="limit", reason="soft seat", by="Kim")
    script.do("finish")


def test_reading_of_an_ordinary_stage_is_optional_and_must_fit_the_stage(tmp_path: Path) -> None:
    script = start_joint(tmp_path, "[30 N·m, +90°, loosen 1 turn]")
    assert script.refused("tick", joint="rods", fastener=1, value="90°") == ["wrong-dimension"]
    script.do_all(*tick_intents("rods", 1, 2, value="22 ft-lb"))
    assert script.refused("tick", joint="rods", fastener=1, value="3 mm") == ["wrong-dimension"]
    script.do_all(
        *tick_intents("rods", 1, value="88.4 N·m"), *tick_intents("rods", 2, value="91°"), *tick_intents("rods", 1, 2)
    )
    script.do("finish")


# --- draw-down ----------------------------------------------------------------------------------------


def start_draw_down_joint(folder: Path) -> Script:
    return start_joint(folder, "[10 N·m]", joint="caps", more="draw-down: 'half a turn, middle first'")


def test_draw_down_turns_are_optional(tmp_path: Path) -> None:
    script = start_draw_down_joint(tmp_path)
    script.do_all(*tick_intents("caps", 1, 2, 3), intent("finish"))


def test_first_stage_is_blocked_until_all_are_seated(tmp_path: Path) -> None:
    script = start_draw_down_joint(tmp_path)
    assert script.refused("draw-down", joint="caps", fastener=2) == ["fastener-order"]
    assert script.refused("draw-down", joint="rods", fastener=1) == ["unknown-name"]
    for number in (1, 2, 3, 1):
        script.do("draw-down", joint="caps", fastener=number)
    (event,) = script.do("draw-down", joint="caps")
    assert (event["kind"], event["data"]["round"], event["data"]["fastener"]) == ("drawn-down", 2, 2)
    assert script.refused("tick", joint="caps", fastener=1) == ["stage-not-finished"]
    assert script.refused("finish") == ["stage-not-finished"]
    (seated,) = script.do("draw-down", joint="caps", seated=True)
    assert (seated["kind"], seated["data"]["turns"]) == ("seated", 5)
    assert script.refused("draw-down", joint="caps") == ["already-done"]
    script.do_all(*tick_intents("caps", 1, 2, 3), intent("finish"))


def test_draw_down_turns_survive_a_pause_and_are_cleared_one_by_one(tmp_path: Path) -> None:
    script = start_draw_down_joint(tmp_path)
    script.do_all(*[intent("draw-down", joint="caps")] * 4, intent("draw-down", joint="caps", seated=True))
    script.do_all(intent("pause"), intent("start", operation="pull"))
    assert script.refused("untick", joint="caps", fastener=2) == ["fastener-order"]
    assert script.do("untick", joint="caps")[0]["kind"] == "unseated"
    (back,) = script.do("untick", joint="caps", fastener=1)
    assert (back["kind"], back["data"]["round"]) == ("undrawn", 2)
    assert script.do("draw-down", joint="caps")[0]["data"]["round"] == 2
    script.do_all(intent("draw-down", joint="caps", seated=True), *tick_intents("caps", 1))
    assert script.do("untick", joint="caps")[0]["kind"] == "unticked"


def test_seated_can_be_confirmed_without_any_turn(tmp_path: Path) -> None:
    script = start_draw_down_joint(tmp_path)
    assert script.do("draw-down", joint="caps", seated=True)[0]["data"]["turns"] == 0
    script.do_all(*tick_intents("caps", 1, 2, 3), intent("finish"))


def test_turn_is_refused_for_a_joint_without_draw_down(tmp_path: Path) -> None:
    script = start_joint(tmp_path, "[30 N·m]")
    assert script.refused("draw-down", joint="rods", fastener=1) == ["not-allowed"]


def test_turn_is_refused_after_the_first_tick(tmp_path: Path) -> None:
    script = start_draw_down_joint(tmp_path)
    script.do_all(*tick_intents("caps", 1))
    assert script.refused("draw-down", joint="caps") == ["already-done"]


def test_rework_clears_the_draw_down(tmp_path: Path) -> None:
    script = start_draw_down_joint(tmp_path)
    script.do_all(*[intent("draw-down", joint="caps")] * 2, intent("draw-down", joint="caps", seated=True))
    script.do_all(
        *tick_intents("caps", 1, 2, 3), intent("finish"), intent("rework", operation="pull", reason="it binds")
    )
    script.do("start", operation="pull")
    data = script.do("draw-down", joint="caps")[0]["data"]
    assert (data["operation"], data["joint"], data["round"], data["fastener"]) == ("pull", "caps", 1, 1)
