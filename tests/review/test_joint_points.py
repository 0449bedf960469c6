"""The review weighs how a joint was tightened, and what is on its threads. All data is invented.

Clamp loads are by T = K d F (IFI Technical Data N-12 / N-16, as quoted in the calculations of the trade), the nut
factors 0.20 for clean dry and 0.15 for oiled steel from a mechanical design handbook, as quoted. The judgements are
common practice, no source.
"""

from pathlib import Path

import pytest

from benchflow.review.evidence.clamp_load import usual_nut_factor
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.evidence.weights import SUSPECT
from tests.review.small_job import SmallJob

STUDS = (
    'joints: {studs: {title: Studs, thread: M12x1.75, class: "10.9", lubricant: engine oil, nut-factor: 0.15, '
    "layout: '1 2 3 4'}}\n"
)
PULL = "{id: pull, title: Pull down, tighten: {joint: studs, stages: [40 N·m, 80 N·m]}}"
TURNED = "{id: pull, title: Pull down, tighten: {joint: studs, stages: [40 N·m, 90°]}}"
HOUR = 3600.0
WRENCHES = """\
shop: 1
name: An invented bench
people: {Robin: {roles: [builder]}}
instruments:
  a: {title: Click wrench, kind: torque, serial: TW-A, range: 20 .. 120 N·m, uncertainty: 3 %,
      calibrated: 2026-01-10, calibration-due: 2027-01-10}
  b: {title: Click wrench, kind: torque, serial: TW-B, range: 20 .. 120 N·m, uncertainty: 3 %,
      calibrated: 2026-01-10, calibration-due: 2027-01-10}
"""


class Studs(SmallJob):
    """Four studs in two stages. ``operation`` is how they are tightened."""

    def __init__(self, folder: Path, operation: str = PULL, head: str = STUDS, shop: str = "") -> None:
        super().__init__(folder / "log.jsonl", operation, head=head, shop=shop)
        self.do("start", operation="pull")

    def tick(self, *fasteners: int, **fields: object) -> None:
        for fastener in fasteners:
            self.do("tick", joint="studs", fastener=fastener, **fields)

    def found(self) -> dict[str, WeakPoint]:
        return self.points("pull")


def test_joint_tightened_without_a_break_has_no_suspect_point(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.tick(1, 2, 3, 4)
    job.clock.advance(300)
    job.tick(1, 2, 3, 4)
    job.do("finish")
    assert all(point.grade < SUSPECT for point in job.found().values())


@pytest.mark.parametrize(("cleared", "suspect"), [(1, False), (3, True)])
def test_cleared_ticks_are_weighed_by_their_part_of_the_stage(tmp_path: Path, cleared: int, suspect: bool) -> None:
    job = Studs(tmp_path)
    job.tick(1, 2, 3, 4)
    for _ in range(cleared):
        job.do("untick", joint="studs")
    job.tick(*range(5 - cleared, 5))
    assert (job.found()["ticks-cleared"].grade >= SUSPECT) is suspect


def test_stage_that_was_begun_again_is_a_weak_point(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.tick(1, 2, 3)
    job.do("stage-again", joint="studs")
    job.tick(1, 2, 3, 4)
    point = job.found()["ticks-cleared"]
    assert point.words == "stage 1 of studs begun again after 3 ticks"
    assert point.grade >= SUSPECT


@pytest.mark.parametrize(("hours", "grade"), [(0.5, 0), (2, 12), (12, 38)])
def test_pause_between_two_stages_is_weighed_by_its_hours(tmp_path: Path, hours: float, grade: int) -> None:
    job = Studs(tmp_path)
    job.tick(1, 2, 3, 4)
    job.clock.advance(hours * HOUR)
    job.tick(1, 2, 3, 4)
    point = job.found().get("stages-apart")
    assert (0 if point is None else point.grade) == grade


def test_pause_within_a_stage_that_only_checks_is_mentioned(tmp_path: Path) -> None:
    job = Studs(tmp_path, PULL.replace("80 N·m]", "{check: at least 36 N·m}]"))
    job.tick(1, 2, 3, 4)
    job.tick(1, 2, value="40 N·m")
    job.clock.advance(1.5 * HOUR)
    job.tick(3, 4, value="40 N·m")
    point = job.found()["long-pause"]
    assert 0 < point.grade < SUSPECT
    assert point.words.endswith("between two fasteners of stage 2 of studs, which only checks: the clamp load was on")


PASSES = (
    "{id: part, title: First pass, tighten: {joint: studs, stages: [40 N·m]}}",
    "{id: pull, title: Pull down, after: [part], tighten: {joint: studs, stages: [80 N·m]}}",
    "{id: again, title: Once more, after: [pull], tighten: {joint: studs, stages: [80 N·m]}}",
)


def passes(folder: Path, hours: float) -> SmallJob:
    """Three passes as separate steps: at half the torque, after ``hours`` at the whole, and once more a day later."""
    job = SmallJob(folder / "log.jsonl", *PASSES, head=STUDS)
    for operation, pause in (("part", 0.0), ("pull", hours), ("again", 24.0)):
        job.clock.advance(pause * HOUR)
        job.do("start", operation=operation)
        for fastener in (1, 2, 3, 4):
            job.do("tick", joint="studs", fastener=fastener)
        job.do("finish")
    return job


def test_night_between_passes_that_are_separate_steps_is_a_weak_point(tmp_path: Path) -> None:
    """At half the torque the gasket creeps; a retorque a day later at the whole torque is good practice."""
    job = passes(tmp_path, 12.0)
    log = job.loaded()
    found = {
        step: {point.kind: point for point in weak_points_of(log, log.plan.steps[step])} for step in log.plan.steps
    }
    assert found["pull"]["stages-apart"].grade >= SUSPECT
    assert "between “First pass” and this pass of studs" in found["pull"]["stages-apart"].words
    assert "stages-apart" not in found["again"]


def test_lubricant_is_weighed_at_the_pass_that_decides_the_load(tmp_path: Path) -> None:
    job = SmallJob(tmp_path / "log.jsonl", *PASSES[:2], head=STUDS)
    job.do("lubricant", joint="studs", lubricant="dry", **{"nut-factor": "0.20"})
    for operation in ("part", "pull"):
        job.do("start", operation=operation)
        for fastener in (1, 2, 3, 4):
            job.do("tick", joint="studs", fastener=fastener)
        job.do("finish")
    log = job.loaded()
    first, last = (
        next(point for point in weak_points_of(log, log.plan.steps[step]) if point.kind == "other-lubricant")
        for step in ("part", "pull")
    )
    assert first.grade < SUSPECT <= last.grade
    assert "as in “Pull down”, which decides the load" in first.words


@pytest.mark.parametrize(("pace", "suspect"), [(1.0, True), (3.0, False)])
def test_wrench_needs_two_seconds_for_a_fastener(tmp_path: Path, pace: float, suspect: bool) -> None:
    job = Studs(tmp_path)
    job.pace = pace
    job.tick(1, 2, 3, 4)
    point = job.found().get("too-fast")
    assert (point is not None and point.grade >= SUSPECT) is suspect


def test_one_nut_taken_through_all_stages_in_two_seconds_is_too_fast(tmp_path: Path) -> None:
    nut = "joints: {studs: {title: Nut, thread: M24x1.5, layout: '1'}}\n"
    job = Studs(tmp_path, "{id: pull, title: Nut, tighten: {joint: studs, stages: [80 N·m, loosen, 25 N·m]}}", nut)
    job.pace = 0.8
    job.tick(1)
    job.tick(1)
    job.tick(1)
    assert job.found()["too-fast"].words == "3 stages of studs ticked in 1.6 s"


def test_pause_that_the_procedure_states_is_not_a_weak_point(tmp_path: Path) -> None:
    job = Studs(tmp_path, PULL.replace("title: Pull down", "title: Pull down, takes: 4 h"))
    job.tick(1, 2, 3, 4)
    job.clock.advance(4 * HOUR)
    job.tick(1, 2, 3, 4)
    assert "stages-apart" not in job.found()


def test_adapter_put_on_within_a_stage_states_the_change_of_the_torque(tmp_path: Path) -> None:
    """An extension of 100 mm on a lever of 400 mm, if the wrench is not set again: 500 / 400 of the torque."""
    job = Studs(tmp_path)
    job.tick(1, 2)
    job.do("wrench", extension="100 mm", lever="400 mm")
    job.tick(3, 4)
    point = job.found()["setting-changed"]
    assert point.size == pytest.approx(0.25)
    assert point.words == (
        "an adapter of 100 mm was put on within stage 1 of studs; "
        "if the wrench was not set again, the torque is 25 % too high"
    )


def test_adapter_put_on_before_the_joint_is_not_a_weak_point(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.do("wrench", extension="100 mm", lever="400 mm")
    job.tick(1, 2, 3, 4)
    assert "setting-changed" not in job.found()


@pytest.mark.parametrize(("second", "grade"), [((1, 2, 3, 4), 25), ((3, 4), 34)])
def test_wrench_changed_within_a_stage_weighs_more_than_between_stages(
    tmp_path: Path, second: tuple[int, ...], grade: int
) -> None:
    head = STUDS + "instruments: {wrench: {title: Click wrench, kind: torque}}\n"
    job = Studs(tmp_path, PULL.replace("title:", "uses: [wrench], title:"), head, shop=WRENCHES)
    first = (1, 2, 3, 4) if len(second) == 4 else (1, 2)
    job.tick(*first, instrument="TW-A")
    job.tick(*second, instrument="TW-B")
    job.tick(*() if len(second) == 4 else (1, 2, 3, 4), instrument="TW-B")
    point = job.found()["wrench-changed"]
    assert point.grade == grade
    assert "TW-A" in point.words
    assert "TW-B" in point.words


# --- out of the band ------------------------------------------------------------------------------------


def test_tick_far_above_its_band_states_the_clamp_load_and_is_weighed_by_it(tmp_path: Path) -> None:
    """80 N·m on M12 with K = 0.15 is 44.4 kN, and 100 N·m is 55.6 kN."""
    job = Studs(tmp_path)
    job.tick(1, 2, 3, 4)
    job.tick(1, value="100 N·m")
    job.tick(1, value="80 N·m", loosened=True)
    job.tick(2, 3, 4)
    point = job.found()["overtightened"]
    assert point.size == pytest.approx(100 / 84.8 - 1)
    assert "about 25 % more clamp load, 56 kN instead of 44 kN, 79 % of the proof load" in point.words
    assert point.words.endswith("1 ticked again as loosened")


def test_tick_read_in_another_unit_is_also_shown_in_the_unit_of_its_band(tmp_path: Path) -> None:
    """74 ft-lb is 100.3 N·m (1 ft-lb = 1.3558 N·m, NIST SP 811)."""
    job = Studs(tmp_path)
    job.tick(1, 2, 3, 4)
    job.tick(1, value="74 ft-lb")
    assert "fastener 1 at 74 ft-lb (100" in job.found()["overtightened"].words


def test_tick_above_its_band_stays_a_weak_point_when_the_stage_is_begun_again(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.tick(1, value="52 N·m")
    job.do("stage-again", joint="studs")
    job.tick(1, loosened=True)
    job.tick(2, 3, 4)
    assert "overtightened" in job.found()


def test_loose_fastener_that_is_pulled_on_is_ordinary_work(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    for fastener in (1, 2, 3, 4):
        job.tick(fastener, value="35 N·m")
        job.tick(fastener, value="40 N·m")
    point = job.found()["retaken"]
    assert point.words == "4 ticks of stage 1 of studs out of the band first"
    assert point.grade < SUSPECT


def test_waived_loose_fastener_is_weighed_by_its_size(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.tick(1, 2, 3, 4)
    job.tick(1, value="60 N·m")
    job.do("deviate", operation="pull", about="studs", reason="agreed", by="Kim")
    point = job.found()["out-of-limit"]
    assert point.grade >= 70
    assert "fastener 1 at 60 N·m, band 75.2 .. 84.8 N·m, about 25 % less clamp load, 33 kN instead of 44 kN" in (
        point.words
    )


def test_repaired_fastener_weighs_less_than_one_that_is_left_out(tmp_path: Path) -> None:
    grades = []
    for number, repaired in enumerate((True, False)):
        (tmp_path / str(number)).mkdir()
        job = Studs(tmp_path / str(number))
        job.tick(1)
        job.do("fastener-failed", joint="studs", fastener=2, what="stripped")
        if repaired:
            job.do("repair", joint="studs", fastener=2, repair="insert fitted")
        grades.append(job.found()["fastener-failed"].grade)
    assert grades == [30, 70]


# --- lubricant -------------------------------------------------------------------------------------------


def lubricated(folder: Path, lubricant: str, factor: str = "", operation: str = PULL, head: str = STUDS) -> WeakPoint:
    job = Studs(folder, operation, head)
    job.do("lubricant", joint="studs", lubricant=lubricant, **({"nut-factor": factor} if factor else {}))
    job.tick(1, 2, 3, 4)
    return job.found()["other-lubricant"]


def test_dry_threads_state_the_clamp_load_that_is_missing(tmp_path: Path) -> None:
    """80 N·m on M12: 44.4 kN with K = 0.15, 33.3 kN with K = 0.20."""
    point = lubricated(tmp_path, "nothing, dry", "0.20")
    assert point.size == pytest.approx(0.25)
    assert point.words == (
        "nothing, dry on the threads; the torque is stated for engine oil: "
        "about 25 % less clamp load, 33 kN instead of 44 kN"
    )


def test_slippery_threads_are_weighed_by_the_proof_load(tmp_path: Path) -> None:
    """M12 of class 10.9 has a proof load of 70 kN (ISO 898-1: 84.3 mm² times 830 MPa). K = 0.09 gives 74 kN."""
    point = lubricated(tmp_path, "moly paste", "0.09")
    assert "about 67 % more clamp load, 74 kN instead of 44 kN, 106 % of the proof load" in point.words
    assert point.grade >= 80


def test_lubricant_without_a_factor_is_estimated_by_the_usual_one(tmp_path: Path) -> None:
    point = lubricated(tmp_path, "Dry, degreased")
    assert point.size == pytest.approx(0.25)
    assert point.words.endswith("33 kN instead of 44 kN (usual nut factors)")


def test_unknown_lubricant_is_said_to_be_unknown(tmp_path: Path) -> None:
    point = lubricated(tmp_path, "something from the blue tin")
    assert point.size == 0.3
    assert "The nut factor is not known" in point.words


def test_stated_lubricant_that_was_entered_is_not_a_weak_point(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.do("lubricant", joint="studs", lubricant="Engine oil")
    job.tick(1, 2, 3, 4)
    assert "other-lubricant" not in job.found()


def test_worst_of_several_lubricants_counts_and_not_the_last(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.do("lubricant", joint="studs", lubricant="dry", **{"nut-factor": "0.20"})
    job.tick(1, 2)
    job.do("lubricant", joint="studs", lubricant="grease", **{"nut-factor": "0.16"})
    job.tick(3, 4)
    point = job.found()["other-lubricant"]
    assert point.words.startswith("dry on the threads")
    assert "only 2 of 4 ticks were made with it" in point.words


def test_lubricant_of_a_joint_that_states_none_is_not_a_weak_point(tmp_path: Path) -> None:
    job = Studs(tmp_path, PULL, STUDS.replace("lubricant: engine oil, ", ""))
    job.do("lubricant", joint="studs", lubricant="engine oil")
    job.tick(1, 2, 3, 4)
    assert "other-lubricant" not in job.found()


def test_joint_that_is_turned_by_an_angle_depends_less_on_the_lubricant(tmp_path: Path) -> None:
    point = lubricated(tmp_path, "dry", "0.20", TURNED)
    assert point.size == pytest.approx(0.125)
    assert "at the torque before the angle" in point.words


def test_lubricant_that_changes_within_the_joint_makes_it_uneven(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.tick(1, 2)
    job.do("lubricant", joint="studs", lubricant="dry", **{"nut-factor": "0.20"})
    job.tick(3, 4)
    assert job.found()["other-lubricant"].words.endswith(
        "; only 2 of 4 ticks were made with it, so the joint is uneven"
    )


def test_lubricant_entered_after_the_joint_was_tightened_is_said_so(tmp_path: Path) -> None:
    job = Studs(tmp_path)
    job.tick(1, 2, 3, 4)
    job.tick(1, 2, 3, 4)
    job.do("lubricant", joint="studs", lubricant="dry", **{"nut-factor": "0.20"})
    assert job.found()["other-lubricant"].words.endswith("; it was entered after the fasteners were tightened")


@pytest.mark.parametrize(
    ("words", "factor"),
    [("dry", "0.20"), ("clean, DRY", "0.20"), ("Engine oil", "0.15"), ("anti-seize", "0.12"), ("copper paste", "0.12")],
)
def test_usual_nut_factors_are_those_of_the_handbooks(words: str, factor: str) -> None:
    assert str(usual_nut_factor(words)) == factor
