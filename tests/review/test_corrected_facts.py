"""The fact of a corrected reading is that of the right reading entered at once. All numbers are invented."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from benchflow.review.evidence.assessment import review_everything
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.session.log_writer import Accepted
from benchflow.session.procedure_loading import procedure_reader
from tests.driving.session_driver import Intent, SessionDriver
from tests.driving.shipped import ShippedBuild
from tests.review.played_builds import folder
from tests.review.small_job import SmallJob

READINGS = (
    "{id: measure, title: Measure, record: {"
    "plain: {ask: Plain, unit: mm, limit: 1.00 .. 1.20 mm}, "
    "free: {ask: Without a limit, unit: mm}, "
    "mean: {ask: Mean, unit: mm, readings: 2, judge: mean, limit: 1.00 .. 1.20 mm}, "
    "spread: {ask: Spread, unit: °C, readings: 2, judge: spread, limit: at most 9 °F}, "
    "even: {ask: Even, unit: °C, readings: 2, limit: equal within 9 °F}, "
    "cold: {ask: Cold, unit: °C}, hot: {ask: Hot, unit: °C, limit: above cold by 18 .. 36 °F}, "
    "worn: {ask: Worn, unit: mm, limit: 1.00 .. 1.20 mm, used: 0.90 .. 1.20 mm}, "
    "gauged: {ask: Guarded, unit: mm, limit: 1.00 .. 1.20 mm, decision: guarded, with: dial}, "
    "both: {ask: Two instruments, unit: mm, limit: 1.00 .. 1.20 mm, with: [dial, edge]}}, "
    "work-out: {rise: {is: hot - cold, unit: °C, limit: 18 .. 36 °F}, sum: {is: plain + free, unit: mm}}}"
)
DIALS = (
    "instruments: {dial: {title: Dial, kind: length, uncertainty: at most 10 µm}, "
    "edge: {title: Edge, kind: length, uncertainty: at most 0.5 %}}\n"
)
RIGHT = {
    "plain": "1.10 mm", "free": "0.4330 in", "mean": "1.12 mm", "spread": "20 °C", "even": "21 °C", "cold": "10 °C",
    "hot": "24 °C", "worn": "0.95 mm", "gauged": "1.14 mm", "both": "1.15 mm",
}  # fmt: skip
TWICE = ("mean", "spread", "even")


def comparable(log: LoadedLog) -> dict[tuple[str, str, str], ReadingFact]:
    """The readings in force, without when and how often they were entered."""
    return {
        (fact.operation, fact.name, fact.slot): replace(
            fact, seq=0, at="", attempt=0, corrected=False, uncertainty=f"{float(fact.uncertainty or 0):.9g}"
        )
        for fact in log.facts.readings
        if fact.in_force
    }


def used(name: str) -> dict[str, bool]:
    return {"used": True} if name == "worn" else {}


class CorrectingDriver(SessionDriver):
    """Enters each reading wrong first and corrects it at once, if ``wrong``."""

    wrong = True

    def send(self, intent: Intent) -> dict[str, Any]:
        number, _, unit = str(intent.get("value", "")).replace("°", " °").replace("  ", " ").partition(" ")
        if intent["intent"] != "record" or not self.wrong:
            return super().send(intent)
        reply = self.answer(intent | {"value": f"{Decimal(number) * Decimal('1.01')} {unit}".strip()})
        if not isinstance(reply, Accepted):
            return super().send(intent)  # no instrument reads that far
        seq = next(line.seq for line in reply.lines if line.kind == "recorded")
        return super().send({"intent": "correct", "event": seq, "value": intent["value"], "reason": "misread"})


class CorrectingJob(CorrectingDriver, SmallJob):
    """A small job in which each reading is entered wrong first, if ``wrong``."""


def measured(path: Path, *, wrong: bool) -> LoadedLog:
    """A log with every kind of value, each read right at once, or wrong and corrected."""
    job = CorrectingJob(path, READINGS, head=DIALS)
    job.wrong = wrong
    job.do("start", operation="measure")
    for name, value in RIGHT.items():
        for reading in (1, 2) if name in TWICE else (1,):
            job.send({"intent": "record", "name": name, "reading": reading, "value": value, **used(name)})
    job.do("finish")
    return job.loaded()


def test_corrected_reading_of_every_kind_has_the_fact_of_the_right_one(tmp_path: Path) -> None:
    wrong, right = measured(tmp_path / "wrong.jsonl", wrong=True), measured(tmp_path / "right.jsonl", wrong=False)
    assert comparable(wrong) == comparable(right)
    assert len(comparable(right)) == len(RIGHT) + len(TWICE) + 2


class CorrectingBuild(CorrectingDriver, ShippedBuild):
    """A build of a shipped procedure in which each reading is entered wrong first."""


@pytest.mark.parametrize("procedure", ["cam-timing", "first-start", "valve-lash", "wheel-hub"])
def test_review_reads_shipped_build_with_a_correction_of_every_reading(procedure: str) -> None:
    logs = []
    for wrong in (True, False):
        log = folder() / f"corrected-{procedure}-{wrong}.jsonl"
        build = CorrectingBuild(log, procedure, pace=5)
        build.wrong = wrong
        build.open()
        build.work_through()
        build.controller.close()
        logs.append(load_log(log, procedure_reader()))
    corrected, right = logs
    assert comparable(corrected) == comparable(right)
    assert any(fact.corrected for fact in corrected.facts.readings)
    assert len(review_everything(corrected).guards) == len(right.plan.steps)


def test_reading_corrected_after_its_part_was_stated_used_has_a_fact(tmp_path: Path) -> None:
    """The correction names the line of the reading, not the later one that only states ``used`` for it."""
    wear = "{id: wear, title: Wear, record: {web: {ask: Web, unit: mm, limit: 5 .. 6 mm, used: 4 .. 6 mm}}}"
    job = SmallJob(tmp_path / "log.jsonl", wear)
    job.do("start", operation="wear")
    read = job.record("web", "4.2 mm")
    job.do("record", name="web", value="4.2 mm", used=True)
    job.do("correct", event=read, value="4.4 mm", reason="misread")
    log = job.loaded()
    (fact,) = [fact for fact in log.facts.readings if fact.in_force]
    assert (fact.value, fact.verdict, fact.limit) == ("4.4", "ok", "4 .. 6 mm")
    assert fact.share == pytest.approx(0.2)
