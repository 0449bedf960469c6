"""Random intents on remedies, torques that are not printed, waits and restarted clocks: nothing gets past a rule.

The program is started again in between, and the clocks are moved. All data is invented.
"""

import random
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from benchflow.review.audit.audit_log import audit_log
from benchflow.session.controller import SessionController
from benchflow.session.log.line_format import Line
from benchflow.session.log_writer import Accepted
from benchflow.session.rules.check_remedies import check_remedies
from benchflow.session.rules.done_work import steps_before
from benchflow.session.rules.remedy_waits import running_waits
from benchflow.session.rules.reopened_operations import reopened_operations
from benchflow.session.rules.stage_remedies import fastener_remedies
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.fold import replay
from benchflow.session.state.state import State, Work
from tests.driving.session_driver import ManualClock, load_text, read_procedure

TEXT = """\
benchflow: 1
id: all-of-it
title: All of it
revision: "1"
joints: {studs: {title: Studs, layout: "1 2"}}
kit: {parts: {sleeve: {title: Sleeve}}}
state: {vacuum: {values: [off, on], start: off}}
moves:
  pump: {title: Pump, sets: {vacuum: on}}
  vent: {title: Vent, sets: {vacuum: off}, restarts: [lay]}
sections:
- title: All
  operations:
  - {id: lay, title: Lay, record: {drag: {ask: Drag, unit: N·m, limit: at most 20 N·m, above: [{do: Oil it, wait: 5 min, tries: 2}]}}, undo: {do: Strip}}
  - {id: stir, title: Stir, restarts: [lay], undo: {do: Nothing}}
  - id: pull
    title: Pull
    after: [lay]
    time: {lay: {limit: 3 min .. 300 min, while: {vacuum: on}}}
    tighten: {joint: studs, stages: [{torque: ask, below: [{do: Clean it, tries: 2, uses: [sleeve]}]}, {torque: drag + 50 N·m}]}
    check:
    - {see: It is tight, id: tight, if not: [{do: Wait for it, wait: 4 min, tries: 2, restarts: [lay]}, {do: Lay it again, redo: [lay]}]}
    undo: {do: Slack off}
  - {id: trim, title: Trim, after: [pull], time: {lay: at most 600 min}, record: {gap: {ask: Gap, unit: mm, limit: at most 1 mm, above: [{do: Sleeve it, uses: [sleeve], redo: [trim]}]}}, undo: {do: Nothing}}
"""  # noqa: E501

_FIELDS: dict[str, tuple[Any, ...]] = {
    "operation": ("lay", "stir", "pull", "pull", "trim"), "move": ("pump", "vent"), "joint": ("studs",),
    "fastener": (1, 2),
    "name": ("drag", "gap", "tight", "studs", "studs[1]", "check 1"), "stage": (1, 2, None),
    "value": ("10 N·m", "12 N·m", "14 N·m", "30 N·m", "60 N·m", "64 N·m", "90 N·m", "100 N·m", "0.5 mm", "2 mm", "yes",
              "95 .. 99 N·m"),
    "check": (1, "tight"), "answer": ("yes", "no"), "undo": (True, False, False), "loosened": (True, False),
    "consumable": ("sleeve",), "lot": ("S1", "S2"), "from": ("bulletin 4",), "reason": ("misread",),
    "what": ("stripped", "broken", "turning"), "repair": ("insert fitted",),
    "about": ("time", "studs", "studs[1]", "tight", "drag", "gap"), "by": ("Robin", "Kim"),
}  # fmt: skip
_KINDS: dict[str, tuple[str, ...]] = {
    "start": ("operation",), "finish": (), "pause": (), "move": ("move",), "record": ("name", "value"),
    "figure": ("joint", "stage", "value", "from"), "tick": ("joint", "fastener", "value", "stage", "loosened"),
    "untick": ("joint",), "tick-check": ("check", "answer", "undo"), "remedy": ("name",), "lot": ("consumable", "lot"),
    "correct": ("event", "value", "reason"), "deviate": ("operation", "about", "reason", "by"),
    "rework": ("operation", "reason"), "rework-step": (), "tick-rest": ("joint", "stage"), "stage-again": ("joint",),
    "fastener-failed": ("joint", "fastener", "what"), "repair": ("joint", "fastener", "repair"),
}  # fmt: skip
_WEIGHTS = (14, 10, 1, 5, 16, 14, 24, 3, 8, 10, 5, 12, 4, 2, 3, 2, 8, 2, 16)


def random_intent(chance: random.Random, last: int) -> dict[str, Any]:
    (kind,) = chance.choices(list(_KINDS), _WEIGHTS)
    made: dict[str, Any] = {"intent": kind}
    for name in _KINDS[kind]:
        value = chance.randint(1, last + 1) if name == "event" else chance.choice(_FIELDS[name])
        if value is not None and not (name == "value" and kind == "tick" and chance.random() < 0.4):
            made[name] = value
    return made


def check_step(before: State, now: Any, intent: dict[str, Any], lines: tuple[Line, ...]) -> None:
    """Assert that an accepted intent got past no rule. ``before`` is the state before it."""
    step = None if before.in_progress is None else before.plan.steps[before.in_progress]
    for line in lines:
        data = line.data
        if line.kind == "ticked" and step is not None:
            tighten = tighten_in_force(before, step)
            assert tighten is not None
            assert data["torque"]["value"] == format(tighten.stages[data["stage"] - 1].torque.value, "f")
            held = [each.tick.fastener for each in fastener_remedies(before, step)]
            assert data["fastener"] not in held
            check_failed_fasteners(before.work(step.id), data["fastener"])
            assert data.get("together", False) == (intent["intent"] == "tick-rest")
        if line.kind == "checked" and data.get("answer", "yes") == "yes" and step is not None:
            assert data["check"] not in [each.number for each in check_remedies(before, step)]
        if line.kind in ("recorded", "checked") and step is not None:
            waiting = {each.name for each in running_waits(before, step, now)}
            assert data.get("name", f"check {data.get('check')}") not in waiting
        if line.kind == "started":
            assert reopened_operations(before).keys().isdisjoint(steps_before(before, data["operation"]))
        if line.kind == "finished" and step is not None:
            work = before.work(step.id)
            assert set(work.failed_fasteners) == work.left_out
            assert all(key in work.lots for key in work.fitted)
            assert not check_remedies(before, step)


def check_failed_fasteners(work: Work, fastener: int) -> None:
    """Assert that ``fastener`` can be ticked: no fastener stops the joint, and this one is not left out."""
    covered = work.covered
    assert all(failed.seq in covered for failed in work.failed_fasteners.values())
    assert fastener not in work.failed_fasteners


def moved(clock: ManualClock, chance: random.Random, boots: int) -> ManualClock:
    """The clock of the next run: as it was, of a machine that was started again, or with the wall clock set."""
    match chance.randint(0, 3):
        case 0:
            clock.wall_time += timedelta(minutes=chance.choice([-200, -5, 5, 200]))
            return clock
        case 1:
            wall = clock.wall_time + timedelta(minutes=chance.choice([1, 10, -60]))
            return ManualClock(wall, monotonic=5.0, boot=f"b{boots:03d}7105-0001")
        case _:
            return clock


def play(path: Path, seed: int) -> set[str]:
    """Play random intents on a new log, and check it after each run. Returns the kinds of its events."""
    chance, clock = random.Random(seed), ManualClock()
    controller = SessionController.begin(path, load_text(TEXT), file="p.yaml", read=read_procedure, clock=clock)
    controller.send({"intent": "open", "by": "Robin", "unit": "job 1"})
    kinds: set[str] = set()
    for boots in range(4):
        for _ in range(260):
            clock.advance(chance.choice([1, 20, 100, 400]))
            before, saved, now = controller.state, path.read_bytes(), controller.context().now
            assert before is not None
            intent = random_intent(chance, before.seq)
            answer = controller.send(intent)
            if isinstance(answer, Accepted):
                kinds.update(line.kind for line in answer.lines)
                check_step(before, now, intent, tuple(answer.lines))
            else:
                assert path.read_bytes() == saved
        state, lines = controller.state, list(controller.journal.lines)
        assert replay(lines, read_procedure) == state
        assert audit_log(lines, read_procedure).wrong == ()
        controller.close()
        clock = moved(clock, chance, boots)
        controller = SessionController.resume(path, read=read_procedure, clock=clock)
    controller.close()
    return kinds


@pytest.mark.parametrize("group", range(3))
def test_nothing_gets_past_a_rule(tmp_path: Path, group: int) -> None:
    kinds = set().union(*(play(tmp_path / f"{number}.jsonl", 10 * group + number) for number in range(5)))
    assert kinds >= {"recorded", "remedied", "ticked", "figure-given", "finished", "moved", "checked", "corrected"}
    assert kinds >= {"fastener-failed", "repaired"}
