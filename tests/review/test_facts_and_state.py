"""The facts of a log agree with the state after its last event, whatever the log contains."""

from collections.abc import Sequence
from datetime import UTC
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.procedure.compiled_cache import load
from benchflow.procedure.identity import StepId
from benchflow.review.evidence.assessment import review_everything
from benchflow.review.interchange.xes import as_xes
from benchflow.review.log.facts import Facts
from benchflow.review.log.interpretation import interpret, plans, plans_or_empty
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_html import build_sheet_html
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.session.controller import SessionController
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.log.line_format import Line
from benchflow.session.log.line_format import read as read_lines
from benchflow.session.procedure_loading import procedure_reader_with_cache
from benchflow.session.state.state import Attempt, State
from benchflow.trade.verdict import NOT_ACCEPTED
from tests.driving import script
from tests.driving.log_builder import LogBuilder
from tests.driving.session_driver import ManualClock
from tests.driving.simulated_builder import CLEAN, Faults, SimulatedBuilder
from tests.driving.troubled import TroubledBuild
from tests.review.played_builds import BEGIN, FLOAT, OTHER_FLOAT, folder, played, read
from tests.session.test_acceptance_monkey import FIRST_INTENTS, PROCEDURE, intents

LIBRARY = sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml"))
PLAYS = [
    CLEAN,
    Faults(reworked="fit-pulley", late="set-head-down", self_signed="mark-nuts"),
    Faults(stage_redone="tighten-head", deviation=OTHER_FLOAT, near_limit=FLOAT),
]


def assert_agree(state: State, facts: Facts) -> None:
    """Facts in force agree with the state, and every rework is a fact."""
    assert {fact.operation for fact in facts.operations if fact.done} == set(state.done)
    assert {fact.operation: fact.redone for fact in facts.operations if fact.redone} == {
        name: work.redone for name, work in state.works.items() if work.redone
    }
    assert len(facts.undone_steps) == sum(work.redone for work in state.works.values())
    for name, work in state.works.items():
        (operation,) = [fact for fact in facts.operations if fact.operation == name]
        assert operation.checks == len(work.checks)
        readings = [f for f in facts.readings if f.operation == name and f.in_force and not f.calculated]
        assert sorted((f.name, f.slot, f.seq, f.value, f.verdict, f.attempt) for f in readings) == sorted(
            (value, slot, attempts[-1].seq, attempts[-1].quantity.value, attempts[-1].verdict, numbered(attempts))
            for value, slots in work.readings.items()
            for slot, attempts in slots.items()
        )
        lots = [(f.consumable, f.lot) for f in facts.lots if f.operation == name and f.in_force]
        assert sorted(lots) == sorted(work.lots.items())
        choices = [(f.name, f.take) for f in facts.choices if f.operation == name and f.in_force]
        assert sorted(choices) == sorted(work.chosen.items())
        signatures = [(f.by, f.self_signed) for f in facts.signatures if f.operation == name and f.in_force]
        assert signatures == ([] if work.signed is None else [(work.signed.by, work.signed.self_signed)])
        deviations = [(f.about, f.by, f.reason) for f in facts.deviations if f.operation == name and f.in_force]
        assert sorted(deviations) == sorted((about, each.by, each.reason) for about, each in work.deviations.items())
        stages = [f for f in facts.stages if f.operation == name and f.in_force and not f.stretch]
        for stage in {tick.stage for tick in work.ticks} | {fact.stage for fact in stages}:
            in_force = work.ticks_in_force  # a tick that was too high counts until the fastener was loosened
            verdicts = {number: tick.verdict for (of, number), tick in in_force.items() if of == stage}
            groups = [fact for fact in stages if fact.stage == stage]
            assert sum(fact.fasteners for fact in groups) >= len(verdicts)
            if len(groups) == 1:  # otherwise a fastener can count in more than one group
                assert groups[0].fasteners == len(verdicts)
                assert groups[0].bad == sum(verdict in NOT_ACCEPTED for verdict in verdicts.values())


def numbered(attempts: tuple[Attempt, ...]) -> int:
    """The number of the last attempt. An earlier one that was corrected later does not change it."""
    return sum(attempt.seq <= attempts[-1].seq for attempt in attempts)


def assert_complete(lines: Sequence[Line], facts: Facts) -> None:
    """Every event of these kinds is a fact, in force or not."""
    for kind, found in (
        ("chosen", facts.choices), ("signed", facts.signatures), ("deviated", facts.deviations), ("noted", facts.notes),
    ):  # fmt: skip
        assert [fact.seq for fact in found] == [line.seq for line in lines if line.kind == kind]
    readings = [fact.seq for fact in facts.readings if not fact.corrected]
    assert readings == [line.seq for line in lines if line.kind in ("recorded", "calculated")]
    assert {fact.seq for fact in facts.lots} >= {line.seq for line in lines if line.kind == "lot"}
    values = {line.seq for line in lines if line.kind == "ticked" and "quantity" in line.data}
    assert sum(fact.measured for fact in facts.stages if not fact.stretch) == len(values)


# --- random events, in any order ----------------------------------------------------------------------

operation = st.sampled_from(["gap[1]", "pull", "not-in-the-procedure"])
verdict = st.sampled_from(["ok", "low", "high", "not-proven"])
quantity = st.sampled_from([{"value": v, "unit": "mm", "entered": f"{v} mm"} for v in ("0.05", "0.15", "0.25")])
name = st.sampled_from(["gap[1]", "twice[1]"])


def event(kind: str, **fields: st.SearchStrategy[Any]) -> st.SearchStrategy[tuple[str, dict[str, Any]]]:
    return st.fixed_dictionaries(fields).map(lambda data: (kind, data))


def tick(**fields: st.SearchStrategy[Any]) -> dict[str, st.SearchStrategy[Any]]:
    return {
        "operation": st.just("pull"), "joint": st.just("caps"), "stage": st.sampled_from([1, 2]),
        "fastener": st.sampled_from([1, 2]), **fields,
    }  # fmt: skip


events = st.one_of(
    event("started", operation=operation),
    event("finished", operation=operation),
    event("paused", operation=operation),
    event("recorded", operation=operation, name=name, reading=st.sampled_from(["1", "2"]), quantity=quantity,
          verdict=verdict, limit=st.just("0.10 .. 0.20 mm")),
    event("calculated", operation=operation, name=name, quantity=quantity, verdict=verdict),
    event("corrected", event=st.integers(2, 25), operation=operation, reason=st.just("misread"), quantity=quantity,
          verdict=verdict),
    event("corrected", event=st.integers(2, 25), operation=operation, reason=st.just("misread"), lot=st.just("8")),
    event("remedied", operation=operation, name=name, verdict=st.just("low"), do=st.just("Fit it again"),
          redo=st.lists(operation, max_size=2)),
    event("ticked", **tick()),
    event("ticked", **tick(quantity=quantity, verdict=verdict, serial=st.sampled_from(["TW-1", "TW-2"]))),
    event("ticked", **tick(quantity=quantity, verdict=verdict, stretch=quantity, stretch_serial=st.just("BM-1"))),
    event("unticked", **tick()),
    event("checked", operation=operation, check=st.sampled_from([1, 2]), text=st.just("level")),
    event("unchecked", operation=operation, check=st.sampled_from([1, 2]), text=st.just("level")),
    event("chosen", operation=operation, name=st.just("shim"), take=st.sampled_from(["thin", "thick"])),
    event("lot", operation=operation, consumable=st.just("oil"), lot=st.sampled_from(["7", "9"])),
    event("signed", operation=operation, role=st.just("inspector"), self_signed=st.booleans()),
    event("deviated", operation=operation, about=st.sampled_from(["gap[1]", "twice[1]", "caps", "shim"]),
          reason=st.sampled_from(["it will do", "asked the owner"])),
    event("rework-started", operation=operation, reason=st.just("it slipped"),
          steps=st.lists(operation.map(lambda one: {"operation": one}), max_size=2)),
    event("undone", operation=operation),
    event("noted", text=st.just("the phone rang")),
    event("hummed", tune=st.just("of a newer version")),
)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(events, st.sampled_from(["ann", "bob"])), min_size=20, max_size=60), st.booleans())
def test_facts_of_random_events_agree_with_the_state(
    found: list[tuple[tuple[str, dict[str, Any]], str]], readable: bool
) -> None:
    log_builder = LogBuilder(procedure=PROCEDURE) if readable else LogBuilder()
    for (kind, data), by in found:
        log_builder.add(kind, by=by, **data)
    read_as = interpret(log_builder.lines, plans_or_empty(procedure_reader_with_cache(None)))
    assert_agree(read_as.state, read_as.facts)
    assert_complete(log_builder.lines, read_as.facts)
    assert read_as.facts.session.unknown == sum(kind == "hummed" for (kind, _), _ in found)


# --- random work at the bench -------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(st.lists(intents, max_size=40))
def test_facts_of_a_random_job_agree_with_the_state_at_the_bench(sent: list[script.Json]) -> None:
    clock = ManualClock()
    with TemporaryDirectory() as scratch:
        path = Path(scratch) / "log.jsonl"
        controller = SessionController.begin(
            path, script.load_text(PROCEDURE), file="p.yaml", read=script.read_procedure, clock=clock
        )
        controller.send({"intent": "open", "by": "Robin", "start": {"crank": "low"}})
        for each in [*FIRST_INTENTS, *sent]:
            clock.advance(40)
            controller.send(each)
        state = controller.state
        controller.close()
        lines = read_lines(path.read_bytes()).lines
    read_as = interpret(lines, plans(script.read_procedure))
    assert read_as.state == state
    assert_agree(read_as.state, read_as.facts)
    assert_complete(lines, read_as.facts)


# --- whole builds -------------------------------------------------------------------------------------


@pytest.mark.parametrize("faults", PLAYS)
def test_facts_of_a_whole_build_agree_with_the_state(faults: Faults) -> None:
    build = load_log(played(3, faults), read())
    assert_agree(build.state, build.facts)
    assert_complete(build.lines, build.facts)


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_clean_build_of_each_shipped_procedure_has_a_complete_sheet_and_no_suspects(path: Path) -> None:
    source = load(path, folder() / "cache")
    assert source.procedure is not None
    log = folder() / f"library-{path.stem}.jsonl"
    SimulatedBuilder(source, log, seed=2, begin=BEGIN, read=read(), no_scatter=True).build("job 2")
    build = load_log(log, read())
    assert_agree(build.state, build.facts)
    made = build_sheet(build)
    assert sum(len(section.operations) for section in made.sections) == len(build.plan.steps)
    assert made.exceptions == ()
    page, text = build_sheet_html(made), build_sheet_markdown(made)
    for operation in (operation for section in made.sections for operation in section.operations):
        assert f"### {operation.number}  " in text
        shown = {value.name for value in operation.values if value.figures or value.filled}
        for value in operation.values:  # a further limit has a row of its own, without the figures of its value
            assert value.name in shown
            assert value.figures or value.filled or value.judged
    assert page.count("<article") == len(build.plan.steps)
    assert as_xes([build]).startswith(b"<?xml")
    assert review_everything(build).suspects == ()


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_troubled_build_of_each_shipped_procedure_is_read_and_shown_whole(path: Path) -> None:
    """Values out of their limits, checks answered no and bad findings, each with what the procedure says is done."""
    log = folder() / f"troubled-{path.stem}.jsonl"
    source = load(path, folder() / "cache").procedure
    assert source is not None
    found = {
        StepId.parse(name).operation: answers[0]
        for operation in source.operations
        for name, answers in operation.findings.items()
    }
    job = TroubledBuild(log, path.stem, found=found)
    job.open()
    job.work_through()
    job.do("close", by="R. Tiller")
    build = load_log(log, read())
    assert_agree(build.state, build.facts)
    assert_complete(build.lines, build.facts)
    made = build_sheet(build)
    page, text = build_sheet_html(made), build_sheet_markdown(made)
    assert sum(len(section.operations) for section in made.sections) == len(build.plan.steps)
    assert page.count("<article") == len(build.plan.steps)
    history = " ".join(" ".join(history_text(build.lines, plan_from_log(build.lines, read()), zone=UTC)).split())
    for remedy in job.remedied:
        assert " ".join(remedy.split()).removesuffix(".") in history
    assert review_everything(build).guards
    assert as_xes([build]).startswith(b"<?xml")
    assert job.remedied
    assert "### " in text
