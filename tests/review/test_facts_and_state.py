"""The facts and the state are two readings of one log: what stands by the one has to stand by the other."""

from pathlib import Path

import pytest

from benchflow.procedure.compiled_cache import load
from benchflow.review.evidence.assessment import of_everything
from benchflow.review.interchange.xes import as_xes
from benchflow.review.log.loaded_log import Account, account
from benchflow.review.sheets.build_sheet import sheet
from benchflow.review.sheets.build_sheet_html import html
from benchflow.review.sheets.build_sheet_markdown import markdown
from tests.review.player import CLEAN, Faults, Player
from tests.review.plays import BEGIN, FLOAT, OTHER_FLOAT, folder, read, told

LIBRARY = sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml"))
PLAYS = [
    CLEAN,
    Faults(undone_steps="fit-pulley", late="set-head-down", self_signed="mark-nuts"),
    Faults(stage_redone="tighten-head", deviation=OTHER_FLOAT, near_limit=FLOAT),
]


def agree(account: Account) -> None:
    """Everything that both tell is the same."""
    state, facts = account.state, account.facts
    assert {fact.operation for fact in facts.operations if fact.done} == set(state.done)
    for name, work in state.works.items():
        of_it = [fact for fact in facts.readings if fact.operation == name and fact.standing and fact.slot]
        assert {(f.name, f.slot): f.value for f in of_it} == {
            (value, slot): attempts[-1].quantity.value
            for value, slots in work.readings.items()
            for slot, attempts in slots.items()
        }
        assert {f.consumable: f.lot for f in facts.lots if f.operation == name and f.standing} == work.lots
        assert {f.name: f.take for f in facts.choices if f.operation == name and f.standing} == work.chosen
        signed = [f for f in facts.signatures if f.operation == name and f.standing]
        assert [f.by for f in signed] == ([work.signed.by] if work.signed is not None else [])
        waived = {f.about: f.reason for f in facts.deviations if f.operation == name and f.standing}
        assert waived == {about: deviation.reason for about, deviation in work.deviations.items()}
        ticked = {(tick.stage, tick.fastener) for tick in work.ticks}
        stages = [f for f in facts.stages if f.operation == name and f.standing and not f.stretch]
        assert sum(f.fasteners for f in stages) == len(ticked)
        assert max((f.redone for f in facts.operations if f.operation == name), default=0) == work.redone


@pytest.mark.parametrize("faults", PLAYS)
def test_what_a_trace_says_stands_is_what_the_bench_says_stands(faults: Faults) -> None:
    agree(told(3, faults))


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_every_shipped_procedure_gets_a_whole_sheet_and_a_review_that_accuses_nobody(path: Path) -> None:
    source = load(path, folder() / "cache")
    assert source.procedure is not None
    log = folder() / f"library-{path.stem}.jsonl"
    Player(source, log, seed=2, begin=BEGIN, read=read(), steady=True).build("job 2")
    build = account(log, read())
    agree(build)
    made = sheet(build)
    assert sum(len(section.operations) for section in made.sections) == len(build.plan.steps)
    assert made.exceptions == ()
    page, text = html(made), markdown(made)
    for operation in (operation for section in made.sections for operation in section.operations):
        assert f"### {operation.number}  " in text
        for value in operation.values:
            assert value.figures or value.filled
    assert page.count("<article") == len(build.plan.steps)
    assert as_xes([build]).startswith(b"<?xml")
    assert of_everything(build).suspects == ()
