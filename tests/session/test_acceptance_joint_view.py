"""The bench view of a joint: the next fastener, the readings to enter, verdicts. All data is invented."""

from pathlib import Path

from benchflow.session.view.bench_view import TightenInput
from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session

TEXT = """\
benchflow: 1
id: drawn
title: Drawn
revision: "1"
joints:
  caps: {title: Caps, layout: "2 1 3", thread: M8x1.25, nut-factor: 0.2}
sections:
- title: All
  operations:
  - id: pull
    title: Pull the caps down
    tighten:
      joint: caps
      stages: [10 N·m, {check: 20 .. 30 N·m, stretch: 0.10 .. 0.12 mm}, +90°]
      draw-down: half a turn, middle first
"""


def driver(folder: Path) -> SessionDriver:
    found = start_session(folder, TEXT, options={}, start={})
    found.do("start", operation="pull")
    return found


def joint(driver: SessionDriver) -> TightenInput:
    now = driver.controller.view().now
    assert now is not None
    (shown,) = now.inputs
    assert isinstance(shown, TightenInput)
    return shown


def test_draw_down_counts_turns_until_all_are_seated(tmp_path: Path) -> None:
    bench = driver(tmp_path)
    progress = joint(bench).draw_down
    assert progress is not None
    assert (progress.open, progress.started, progress.round, progress.next) == (True, False, 1, 1)
    assert joint(bench).last_entry == ""
    for _ in range(4):
        bench.do("draw-down", joint="caps")
    shown = joint(bench)
    assert shown.draw_down is not None
    assert (shown.draw_down.round, shown.draw_down.done, shown.draw_down.next, shown.draw_down.last) == (2, 1, 2, 1)
    assert shown.progress == "draw down, round 2, 1 of 3: half a turn, middle first"
    assert {fastener.number: fastener.turns for fastener in shown.fasteners} == {1: 2, 2: 1, 3: 1}
    assert shown.last_entry == "turn of fastener 1"
    bench.do("draw-down", joint="caps", seated=True)
    shown = joint(bench)
    assert shown.draw_down is not None
    assert (shown.draw_down.open, shown.draw_down.seated, shown.draw_down.next) == (False, True, None)
    assert shown.draw_down.progress == "drawn down in 1 round and 1 turn"
    assert shown.progress == "0 of 3, stage 1 of 3: 10 N·m"
    assert shown.last_entry == "all seated"


def test_check_stage_lists_its_readings_and_shows_their_verdicts(tmp_path: Path) -> None:
    bench = driver(tmp_path)
    for number in (1, 2, 3):
        bench.do("tick", joint="caps", fastener=number)
    shown = joint(bench)
    assert [(value.field, value.title, value.unit, value.limit) for value in shown.tick_values] == [
        ("value", "torque", "N·m", "20 .. 30 N·m"),
        ("stretch", "stretch", "mm", "0.10 .. 0.12 mm"),
    ]
    bench.do("tick", joint="caps", fastener=1, value="25 N·m", stretch="0.08 mm")
    bench.do("tick", joint="caps", fastener=2, value="25 N·m", stretch="0.11 mm")
    shown = joint(bench)
    seen = {each.number: (each.stage, each.shown, each.verdict) for each in shown.fasteners}
    assert seen == {1: (2, "25 N·m, 0.08 mm", "low"), 2: (2, "25 N·m, 0.11 mm", "ok"), 3: (1, "", "")}
    assert (shown.reread, shown.reread_stage, shown.next, shown.last_entry) == ((1,), 2, 3, "fastener 2, stage 2")
    bench.do("tick", joint="caps", fastener=3, value="25 N·m", stretch="0.11 mm")
    assert (joint(bench).stage, joint(bench).next, joint(bench).reread, joint(bench).reread_stage) == (2, 1, (1,), 2)
    bench.do("tick", joint="caps", fastener=1, value="25 N·m", stretch="0.11 mm", stage=2)
    assert joint(bench).reread == ()
    for number in (1, 2, 3):
        bench.do("tick", joint="caps", fastener=number)
    assert joint(bench).complete


def test_check_stage_shows_the_wrench_reading_with_an_extension(tmp_path: Path) -> None:
    bench = driver(tmp_path)
    bench.do("wrench", extension="100 mm", lever="400 mm")
    for number in (1, 2, 3):
        bench.do("tick", joint="caps", fastener=number)
    (line,) = [line for line in joint(bench).settings if "extension" in line]
    assert "the wrench reads 16 N·m for 20 N·m and 24 N·m for 30 N·m" in line


def test_status_query_names_the_next_fastener_and_its_readings(tmp_path: Path) -> None:
    bench = driver(tmp_path)
    assert bench.do("status").answer["status"]["joint"]["draw_down"]["open"] is True
    for number in (1, 2, 3):
        bench.do("tick", joint="caps", fastener=number)
    answer = bench.do("status").answer["status"]["joint"]
    assert (answer["stage"], answer["next"], answer["wanted"]) == (2, 1, ["value", "stretch"])


def test_preload_above_the_proof_load_is_a_warning_and_not_a_setting(tmp_path: Path) -> None:
    text = TEXT.replace("thread: M8x1.25,", "thread: M5, class: '8.8', left-hand: true,").replace("[10 N·m", "[30 N·m")
    found = start_session(tmp_path, text, options={}, start={})
    found.do("start", operation="pull")
    shown = joint(found)
    assert len(shown.warnings) == 1
    assert "above the proof load" in shown.warnings[0]
    assert not any("Preload" in line for line in (*shown.settings, *shown.background))
    assert "Left-hand thread: tighten counter-clockwise" in shown.settings


def test_stretch_is_estimated_from_the_grip(tmp_path: Path) -> None:
    grip = "grip: [{shank: 80 mm}, {thread: 15 mm}], thread: M8x1.25,"
    found = start_session(tmp_path, TEXT.replace("thread: M8x1.25,", grip), options={}, start={})
    found.do("start", operation="pull")
    assert any("Stretch about" in line for line in joint(found).background)


def test_preload_is_compared_with_the_neck_of_the_grip(tmp_path: Path) -> None:
    # 10 N·m with K = 0.2 is 6.25 kN. The neck of 4 mm carries 12.57 mm² × 830 MPa = 10.4 kN, the thread 30.4 kN.
    grip = "grip: [{neck: 60 mm, diameter: 4 mm}, {thread: 15 mm}], class: '10.9', thread: M8x1.25,"
    text = TEXT.replace("thread: M8x1.25,", grip)
    found = start_session(tmp_path, text, options={}, start={})
    found.do("start", operation="pull")
    assert "Preload about 6.2 kN ± 25 %, 60 % of proof load of the neck" in joint(found).background
    assert not any("Preload" in line for line in joint(found).settings)


def test_preload_above_the_proof_load_of_the_neck_is_a_warning(tmp_path: Path) -> None:
    grip = "grip: [{neck: 60 mm, diameter: 4 mm}, {thread: 15 mm}], class: '10.9', thread: M8x1.25,"
    text = TEXT.replace("thread: M8x1.25,", grip).replace("[10 N·m", "[20 N·m")
    found = start_session(tmp_path, text, options={}, start={})
    found.do("start", operation="pull")
    (warning,) = joint(found).warnings
    assert "120 % of proof load of the neck: above the proof load" in warning
