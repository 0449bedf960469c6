"""The robot parses a screen, and fails if the program makes an entry that the screen did not show."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.tui.bench.bench_screen import BenchScreen
from benchflow.tui.model import bench_inputs
from benchflow.tui.model.bench_inputs import BenchInput, FinishInput, is_open
from tests.driving.log_files import events_in
from tests.tui.robot import Robot
from tests.tui.robot_hands import Gauge, robot_at
from tests.tui.robot_terminal import TerminalHands
from tests.tui.seen_screen import SeenScreen, ShownChoice, ShownField, ShownKey, seconds_in
from tests.tui.terminal import Terminal

PROGRAM = """
import sys
from benchflow.cli import main
from benchflow.tui.app import key_timing
key_timing.BOUNCE = 0.0  # so that nobody waits for the pauses of a person
sys.exit(main())
"""

PROCEDURE = """\
benchflow: 1
id: plate
title: Plate
revision: "1"
kit:
  consumables:
    grease: {title: Grease, lot: required}
joints:
  plate: {title: Plate bolts, layout: "2 1 3"}
sections:
- title: All
  operations:
  - id: look
    title: Look at the plate
    check: [The plate is flat, The plate is clean]
  - id: gap
    title: Measure the gap
    uses: [grease]
    record: {gap: {ask: Gap, limit: 0.10 .. 0.28 mm, readings: [left, right]}}
  - id: pull
    title: Pull the plate down
    tighten: {joint: plate, stages: [20 N·m, 40 N·m]}
    check: [No bolt moved]
  - id: release
    title: Release the plate
    uses: [grease]
    check: [The plate is greased]
    hold: {by: inspector, for: Torque seen}
"""

READING = """\
 Plate · 7 · R. Tiller                      7 log lines  17:12
 In progress · 1 of 3 done · All         │ STATE ──────────────
 2 Measure the                           │ Plate  up
 gap                                     │
                                         │ CLOCK ──────────────
  WARNING  The edge is sharp.            │ 10:00 to wait
                                         │   before Pull the pl…
  1  Measure at both ends.               │ NEXT ───────────────
     ▼ 2 more lines (PgDn)               │ ○ 3 Pull the plate
 ► Gap at                                │
   the edge                              │
    left 0.15 ok    ►right ____          │
   [                ] mm   0.10 .. 0.28… │
   ○ Plate bolts  1 of 3, stage 2 of 2   │
   [ ] The plate is flat                 │
────────────────────────────────────────────────────────────────
 Gap at the edge, left: 0.15 mm ok
 Enter record   Esc leave field   ↑↓ select   g (guide me there)
 o list   q leave   ? help
"""


@pytest.fixture
def plate(tmp_path: Path) -> Path:
    file = tmp_path / "plate.yaml"
    file.write_text(PROCEDURE, encoding="utf-8")
    return file


async def work(tmp_path: Path, procedure: Path, findings: list[str] | None = None) -> Any:
    async with robot_at(tmp_path / "logs", procedure, findings=findings) as robot:
        return await robot.work()


def test_screen_is_read_as_it_is_written() -> None:
    seen = SeenScreen(READING.splitlines())
    assert (seen.on_bench, seen.status, seen.title, seen.task) == (True, "In progress", "2 Measure the gap", "2")
    assert seen.current.startswith("Gap at the edge left 0.15 ok")
    assert (seen.field, seen.slot) == (ShownField("", "mm", "0.10 .. 0.28…"), "right")
    assert (seen.has_signal, seen.hides_lines) == (True, True)
    assert seen.open_joint == "○ Plate bolts  1 of 3, stage 2 of 2"
    assert seen.message == "Gap at the edge, left: 0.15 mm ok"
    assert seen.key("g") == ShownKey("g", "guide me there", enabled=False)
    assert [each.key for each in seen.keys] == ["Enter", "Esc", "↑↓", "g", "o", "q", "?"]
    assert "Pull the pl" in seen.clocks
    assert "ThegapGap" not in seen.lines_to_read


def test_list_of_the_section_is_not_part_of_the_operation() -> None:
    rows = [
        " Bench",
        " In progress",
        " 2 Pull",
        " ► [ ] Flat",
        " THE PLATE ─────",
        " ○ 3 Release",
        "─" * 30,
        " Enter tick",
    ]
    columns = [rows[0], *(f"{row:20}│ STATE" for row in rows[1:6]), *rows[6:]]
    assert SeenScreen(columns).open_items == ()
    assert SeenScreen(columns).current == "[ ] Flat"


def test_current_reading_is_read_in_a_table() -> None:
    table = [
        " Bench",
        " ► Gap",
        "   place  reading",
        " ► far left   ____",
        "   right      ____",
        "─" * 64,
        " Enter record",
    ]
    assert SeenScreen(table).slot == "far left"


def test_progress_of_an_open_joint_is_read_beside_or_below_its_title() -> None:
    below = [" Bench", "   ○ Head nuts", "     1 of 10, stage 1 of 1: check at…", " ► [ ] All ten nuts have a line"]
    assert SeenScreen(below).open_joint == "○ Head nuts 1 of 10, stage 1 of 1: check at…"
    assert SeenScreen([" Bench", "   ● Head nuts  10 of 10, stage 1 of 1"]).open_joint == ""


def test_choices_and_fasteners_are_read() -> None:
    rule = "─" * 64
    choice = [
        " Start", "", " ► Front gasket", "     ○ thin", "     ● thick", "", rule, "", " Enter next   ←→ choose"
    ]  # fmt: skip
    assert SeenScreen(choice).choices == (
        ShownChoice("thin", "", taken=False, proposed=False),
        ShownChoice("thick", "", taken=True, proposed=False),
    )
    joint = [" Bench", " ► 1 of 3, stage 2 of 2: 40 N·m", "", "   2    ►3◄    1", rule, " Enter tightened, next"]
    assert (SeenScreen(joint).fastener, SeenScreen(joint).stage) == (3, 2)


@pytest.mark.parametrize(
    ("text", "seconds"), [("1 d 0 h", 86400), ("10:00 min", 600), ("5 h 59 min", 21540), ("40 s", 40)]
)
def test_durations_are_read(text: str, seconds: float) -> None:
    assert seconds_in(text) == seconds


async def test_robot_counts_the_keys_of_a_job(tmp_path: Path, plate: Path) -> None:
    count = await work(tmp_path, plate)
    assert count.operations == 4
    typed = "2417", "R. Tiller", "A-0042", "0.19", "0.19", "A-0042", "K. Lathe"
    assert count.typed == sum(map(len, typed))
    assert count.keys == count.typed + count.enters


async def test_robot_works_in_a_terminal(tmp_path: Path, plate: Path) -> None:
    folder = tmp_path / "home/data/sessions"
    with Terminal(["-c", PROGRAM, "run", str(plate)], env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("► Unit", "Enter next")
        hands = TerminalHands(terminal, folder)
        robot = Robot(hands, Gauge(hands), tries_greyed=False)
        await robot.work()
    (log,) = folder.glob("*.jsonl")
    assert events_in(log)[-1]["kind"] == "closed"
    assert robot.count.operations == 4


async def test_robot_fails_if_a_key_ticks_another_check_than_the_marked_one(
    tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    send = BenchScreen._send

    async def send_other(screen: BenchScreen, intent: str, **fields: Any) -> Any:
        if intent == "tick-check":
            fields["check"] = 3 - fields["check"]
        return await send(screen, intent, **fields)

    monkeypatch.setattr(BenchScreen, "_send", send_other)
    with pytest.raises(AssertionError, match=r"“The plate is clean” is not the current item"):
        await work(tmp_path, plate)


async def test_robot_fails_if_another_fastener_is_ticked(
    tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("benchflow.tui.draw.joint_map.next_fastener", lambda joint: joint.next % 3 + 1)
    with pytest.raises(AssertionError, match="ticked: “1” is not the next fastener, which is “2”"):
        await work(tmp_path, plate)


async def test_robot_fails_if_a_check_comes_before_the_joint_is_complete(
    tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench_inputs, "_is_begun_joint", lambda item: False)
    with pytest.raises(AssertionError, match="No bolt moved: checked while this is open: ○ Plate bolts  1 of 3"):
        await work(tmp_path, plate)


async def test_robot_fails_if_the_signature_comes_before_the_lot(
    tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def also_hold(item: BenchInput) -> bool:
        return is_open(item) and not isinstance(item, FinishInput)

    monkeypatch.setattr(bench_inputs, "_needs_entry", also_hold)
    with pytest.raises(AssertionError, match="Torque seen: signed while this is open: ○ Lot of Grease"):
        await work(tmp_path, plate)


async def test_robot_fails_if_the_title_is_that_of_another_operation(
    tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(SeenScreen, "title", "9 Paint the plate")
    with pytest.raises(AssertionError, match="“1 Look at the plate” is not the title, which is “9 Paint the plate”"):
        await work(tmp_path, plate)


async def test_robot_fails_if_a_greyed_key_says_nothing(
    tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(BenchScreen, "show_blocked", lambda screen, key: False)
    with pytest.raises(AssertionError, match="says nothing"):
        await work(tmp_path, plate)


async def test_robot_fails_at_a_dead_end(tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(BenchScreen, "action_tick", lambda screen: None)
    with pytest.raises(AssertionError, match="No key changes the screen"):
        await work(tmp_path, plate)


async def test_key_without_information_is_counted_by_its_label(
    tmp_path: Path, plate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found: list[str] = []
    before = await work(tmp_path, plate, found)
    monkeypatch.setattr("tests.tui.robot.ENTRIES", frozenset())
    after = await work(tmp_path / "again", plate, found)
    assert after.without["tightened, next"] == 6
    assert before.without["tightened, next"] == 0
