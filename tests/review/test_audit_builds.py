"""The audit: no log that the program writes is accused, and every forged one is found. All data is invented."""

import json
import random
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from benchflow.procedure.compiled_cache import load
from benchflow.procedure.model import Procedure
from benchflow.review.audit.audit_log import audit_log
from benchflow.review.audit.audit_report import AuditReport
from benchflow.session.controller import SessionController
from benchflow.session.log.line_format import Draft, read, seal
from benchflow.session.state.events import RULES
from tests.driving.script import Script, intent, open_intent, read_procedure
from tests.driving.session_driver import ManualClock, load_text
from tests.driving.simulated_builder import CLEAN, Faults, SimulatedBuilder
from tests.hard_use.random_intents import random_intent
from tests.review import played_builds
from tests.session.test_acceptance_monkey import PROCEDURE as MONKEY

Json = dict[str, Any]
PROCEDURES = Path(__file__).parents[2] / "procedures"

SHOP = """\
shop: 1
people:
  Robin: {roles: [builder]}
  Kim: {roles: [inspector]}
instruments: {}
"""

PROCEDURE = """\
benchflow: 1
id: audited
title: Audited
revision: "1"
state: {pistons: {values: [at-deck, down], start: at-deck}, valves: {values: [shut, open], start: shut}}
interference: [{never: {pistons: at-deck, valves: open}, because: they meet}]
joints: {studs: {title: Studs, layout: "1 2"}}
sections:
- title: All
  operations:
  - {id: lower, title: Lower the pistons, sets: {pistons: down}, undo: {do: Turn back, sets: {pistons: at-deck}}}
  - {id: open, title: Open a valve, after: [lower], sets: {valves: open}, check: [It is open]}
  - id: gap
    title: Gap
    record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm}}
    work-out: {twice: {is: gap * 2, unit: mm}}
  - {id: pull, title: Pull, time: {gap: at most 10 min}, tighten: {joint: studs, stages: [10 N·m, 20 N·m]}}
  - {id: look, title: Look, hold: {by: inspector, for: the studs}}
"""


def audited(raw: bytes) -> AuditReport:
    return audit_log(read(raw).lines, read_procedure)


def honest(folder: Path) -> Script:
    """A whole honest log of the procedure above, in several runs of the program."""
    script = Script(folder, PROCEDURE, shop=SHOP)
    script.do_all(open_intent(), intent("start", operation="lower"), intent("finish"))
    script.do_all(intent("start", operation="open"), intent("tick-check", check=1), intent("finish"))
    script.do_all(
        intent("start", operation="gap"), intent("record", name="gap", value="0.15 mm"), intent("finish"),
        intent("start", operation="pull"),
        *(intent("tick", joint="studs", fastener=number) for number in (1, 2, 1, 2)), intent("finish"),
    )  # fmt: skip
    script.do_all(intent("start", operation="look"), intent("sign", operation="look", by="Kim"), intent("finish"))
    script.do_all(intent("close"))
    return script


Forge = Callable[[list[Json]], None]


def forged(script: Script, forge: Forge) -> AuditReport:
    """The audit of the log after ``forge`` changed its lines. The chain is made again, so `verify` finds nothing."""
    lines = [json.loads(raw) for raw in script.path.read_bytes().splitlines()]
    forge(lines)
    drafts = [Draft(line["at"], line["by"], line["kind"], line["data"]) for line in lines]
    _, raw = seal(drafts, None)
    assert read(raw).damage is None
    return audited(raw)


def test_honest_log_is_not_accused(tmp_path: Path) -> None:
    found = audited(honest(tmp_path).path.read_bytes())
    assert found.findings == ()
    assert (found.ok, found.intents, found.format, found.rules) == (True, 19, 3, RULES)


def test_event_does_not_depend_on_how_its_procedure_was_read(tmp_path: Path) -> None:
    """A default that the author wrote is another object in the text, in the compiled cache and in the program."""
    source = tmp_path / "source.yaml"
    source.write_text(PROCEDURE.replace("title: Audited", "title: Audited\ndecision: simple"), encoding="utf-8")
    script = Script(tmp_path, source.read_text(encoding="utf-8"))
    script.do_all(
        open_intent(), intent("start", operation="lower"), intent("finish"),
        intent("start", operation="open"), intent("tick-check", check=1), intent("finish"),
        intent("start", operation="gap"), intent("record", name="gap", value="0.15 mm"),
    )  # fmt: skip
    lines = read(script.path.read_bytes()).lines
    for _ in range(2):  # first from the text, then from the compiled cache

        def read_file(text: str) -> Procedure:
            procedure = load(source, tmp_path / "compiled").procedure
            assert procedure is not None
            return procedure

        assert audit_log(lines, read_file).findings == ()
    assert all("decision" not in line.data for line in lines if line.kind == "recorded")


def _index(lines: list[Json], kind: str, **data: Any) -> int:
    return next(
        place for place, line in enumerate(lines)
        if line["kind"] == kind and all(line["data"].get(name) == value for name, value in data.items())
    )  # fmt: skip


def _drop(kind: str, **data: Any) -> Forge:
    def forge(lines: list[Json]) -> None:
        del lines[_index(lines, kind, **data)]
        _renumber(lines)

    return forge


def _renumber(lines: list[Json]) -> None:
    """Give the intents numbers without a gap again, as a careful forger would."""
    before, number = None, 0
    for line in lines:
        number += line["data"]["intent"] != before
        before, line["data"]["intent"] = line["data"]["intent"], number


def _change(kind: str, **changes: Any) -> Forge:
    def forge(lines: list[Json]) -> None:
        lines[_index(lines, kind)]["data"].update(changes)

    return forge


def _value(text: str) -> Json:
    return {"value": text, "unit": "mm", "entered": f"{text} mm"}


def _swap_operations(lines: list[Json]) -> None:
    """Open the valve before the pistons are lowered."""
    first = [line for line in lines if line["data"].get("operation") == "open"]
    rest = [line for line in lines[1:] if line["data"].get("operation") != "open" and line["kind"] != "resumed"]
    lines[1:] = [*first, *rest]
    _renumber(lines)


def _sent(kind: str, **changes: Any) -> Forge:
    def forge(lines: list[Json]) -> None:
        lines[_index(lines, kind)]["data"]["sent"].update(changes)

    return forge


def _widen(lines: list[Json]) -> None:
    lines[0]["data"]["procedure"] = lines[0]["data"]["procedure"].replace("0.10 .. 0.20 mm", "0.10 .. 0.40 mm")


def _late(lines: list[Json]) -> None:
    """Move everything from the first tick on by an hour."""
    start = _index(lines, "ticked")
    for line in lines[start:]:
        line["at"] = line["at"].replace(line["at"][11:13], f"{(int(line['at'][11:13]) + 1) % 24:02d}", 1)
        line["data"]["clock"]["ms"] += 3_600_000


def _people(lines: list[Json]) -> None:
    for line in lines:
        if line["kind"] == "resumed":
            line["data"]["people"].append({"name": "Lee", "roles": ["inspector"]})


@pytest.mark.parametrize(
    ("forge", "about"),
    [
        (_swap_operations, "interference"),
        (_drop("ticked", fastener=2, stage=2), "stage-not-finished"),
        (_drop("ticked", fastener=1, stage=1), "fastener-order"),
        (_drop("recorded"), ""),
        (_drop("checked"), "check-open"),
        (_drop("signed"), "hold-unsigned"),
        (_drop("started", operation="pull"), "not-started"),
        (_change("recorded", quantity=_value("0.12")), ""),
        (_change("recorded", verdict="high"), ""),
        (_change("recorded", limit="0.10 .. 0.40 mm"), ""),
        (_sent("recorded", value="0.25 mm"), ""),
        (_change("calculated", quantity=_value("0.20")), ""),
        (_drop("calculated"), ""),
        (_widen, ""),
        (_sent("signed", by="Robin"), "not-allowed"),
        (_sent("signed", by="Nobody"), "not-allowed"),
        (_change("signed", proven="pin"), ""),
        (_late, "too-late"),
        (_people, ""),
        (_change("resumed", register="another"), ""),
        (_change("opened", options={"size": "large"}), ""),
        (_change("ticked", fastener=2), ""),
        (_change("started", sent={"intent": "finish"}), ""),
        (lambda lines: lines[_index(lines, "ticked")]["data"].pop("sent"), ""),
        (lambda lines: lines[5]["data"]["clock"].update(boot="elsewhere"), ""),
    ],
)  # fmt: skip
def test_forgery_with_a_right_chain_is_found(tmp_path: Path, forge: Forge, about: str) -> None:
    found = forged(honest(tmp_path), forge)
    assert not found.ok
    if about:
        assert any(about in finding.codes for finding in found.wrong), found.wrong


def test_change_of_the_register_is_named_and_is_not_wrong(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE, shop=SHOP)
    script.do_all(open_intent(), intent("start", operation="lower"))
    changed = script.shop.read_text(encoding="utf-8").replace("[builder]", "[builder, inspector]")
    script.shop.write_text(changed, encoding="utf-8")
    script.do_all(intent("finish"))
    found = audited(script.path.read_bytes())
    assert found.ok
    assert len(found.notes) == 1


@pytest.mark.parametrize("path", sorted(PROCEDURES.glob("*.yaml")), ids=lambda path: path.stem)
def test_whole_build_of_a_shipped_procedure_is_not_accused(tmp_path: Path, path: Path) -> None:
    source = load(path)
    log = tmp_path / "log.jsonl"
    builder = SimulatedBuilder(
        source, log, seed=3, begin=datetime(2026, 3, 2, 18, tzinfo=UTC), read=read_procedure, no_scatter=True
    )
    builder.build("job 1")
    found = audited(log.read_bytes())
    assert found.findings == ()
    assert found.intents > 20


@pytest.mark.parametrize(
    "faults",
    [CLEAN, Faults(overdue="tighten-head", self_signed="mark-nuts"), Faults(reworked="fit-pulley"),
     Faults(late="set-head-down", stage_redone="tighten-head", paused="fit-carriers[intake]")],
)  # fmt: skip
def test_build_with_a_register_and_instruments_is_not_accused(faults: Faults) -> None:
    log = played_builds.played(2, faults, with_tools=True)
    assert audited(log.read_bytes()).findings == ()


@pytest.mark.parametrize("seed", range(6))
def test_jobs_of_random_intents_are_not_accused(tmp_path: Path, seed: int) -> None:
    chance, clock, log = random.Random(seed), ManualClock(), tmp_path / "log.jsonl"
    controller = SessionController.begin(log, load_text(MONKEY), file="p.yaml", read=read_procedure, clock=clock)
    controller.send({"intent": "open", "by": "Robin", "unit": "job 1", "start": {"crank": "low"}})
    for run in range(4):
        for _ in range(120):
            clock.advance(chance.choice((1, 5, 40, 4000)))
            controller.send(random_intent(chance, controller.saved))
        controller.close()
        if run == 1:
            clock.boot, clock.monotonic_time = "0b00720d-0002", 12.0
        if run == 2:
            clock.wall_time = clock.wall_time.replace(year=clock.wall_time.year - chance.randint(0, 1))
        controller = SessionController.resume(log, read=read_procedure, clock=clock)
    controller.close()
    assert audited(log.read_bytes()).findings == ()
