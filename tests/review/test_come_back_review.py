"""What a review adds to the log: answers, the rest of the build, earlier cases. Names and figures are invented."""

from collections.abc import Sequence
from datetime import timedelta

import pytest

from benchflow.review.evidence import retorque_points
from benchflow.review.evidence.assessment import Review, review_failures, review_search
from benchflow.review.evidence.complaint_matching import failures_meant
from benchflow.review.evidence.complaint_review import UnknownComplaint, review_complaint
from benchflow.review.evidence.first_questions import cautions_of, job_points_of
from benchflow.review.evidence.review_text import review_lines
from benchflow.review.evidence.shop_cases import CASES_NEEDED, MOST_BY_CASES
from benchflow.review.evidence.shop_history import OtherReading, ShopCase
from benchflow.review.evidence.weights import SUSPECT
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.state.come_back_events import FirstAnswers
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import loaded_build

LATE = Faults(late="set-head-down")


class Shop:
    """A history with the given cases."""

    def __init__(self, cases: Sequence[ShopCase] = (), readings: Sequence[OtherReading] = ()) -> None:
        self._cases, self._readings = cases, readings

    def cases(self, procedure: str, session: str) -> Sequence[ShopCase]:
        return self._cases

    def readings(self, procedure: str, session: str, simulated: bool) -> Sequence[OtherReading]:
        return self._readings


def case(number: int, operation: str, complaint: str = "losing water", simulated: bool = True) -> ShopCase:
    return ShopCase(
        f"s{number}", f"job {number}", complaint, "leaked there", "ours", operation, "2026-04-01", simulated
    )


def grades(review: Review) -> dict[str, int]:
    return {guard.operation: guard.grade for guard in review.guards}


def test_several_failures_are_reviewed_together_and_named() -> None:
    log = loaded_build(3, LATE)
    review = review_complaint(log, "losing water")
    single = [
        review_failures(log, failures_meant(log.procedure.failures, name))
        for name in ("head-gasket-leak", "coolant-leak")
    ]
    assert {g.operation for g in review.guards} == {g.operation for each in single for g in each.guards}
    text = "\n".join(review_lines(review))
    assert "Complaint: losing water. It may mean 2 complaints of the procedure, best first:" in text
    assert "  Drips coolant (losing, water)" in text
    assert review.guards[0].operation == "set-head-down"


def test_complaint_without_a_failure_searches_the_steps_or_is_refused_with_the_list() -> None:
    log = loaded_build(3, LATE)
    found = review_complaint(log, "the dowels")
    assert found.complaint.startswith("search: ")
    assert {g.operation for g in found.guards if g.operation} == {
        g.operation for g in review_search(log, "dowels").guards if g.operation
    }
    with pytest.raises(UnknownComplaint, match="Drips coolant"):
        review_complaint(log, "it sings")


def test_worst_step_elsewhere_is_named_under_every_answer() -> None:
    log = loaded_build(3, LATE)
    noise = review_complaint(log, "chain rattles")
    assert noise.elsewhere is not None
    assert noise.elsewhere.operation == "set-head-down"
    line = list(review_lines(noise))[-1]
    assert line.startswith("Elsewhere in this build: step 38, “Set the head down”, ")
    assert f"(grade {noise.elsewhere.reason.grade})" in line
    assert "Elsewhere in this build: no other step is suspect." in "\n".join(
        review_lines(review_complaint(log, "leak"))
    )


def test_fasteners_not_checked_again_are_a_weak_point_of_their_joint() -> None:
    log = loaded_build(3)
    review = review_complaint(log, "leak", answers=FirstAnswers(retorque="no"))
    (weak,) = (guard for guard in review.guards if guard.suspect)
    assert weak.reasons[0].kind == "retorque-not-done"
    assert log.plan.steps[weak.operation].operation.tighten is not None
    assert "Check the head nuts with the engine cold" in weak.reasons[0].words
    assert "due after 45 d or after the first 500 km; the build is " in weak.reasons[0].words
    early = review_complaint(log, "leak", answers=FirstAnswers(retorque="no", since="300 km"))
    assert not early.suspects  # the follow-up is due after 500 km
    assert not review_complaint(log, "leak", answers=FirstAnswers(retorque="yes")).suspects


@pytest.mark.parametrize(
    ("days", "since", "due", "words"),
    [
        (44, "", False, "the build is 44 d old: not due yet"),
        (46, "", True, "the build is 46 d old"),
        (44, "40 h", False, "the build is 44 d old: not due yet"),  # hours of running are not days
        (3, "600 km", True, "600 km since the build"),
        (400, "499 km", False, "499 km since the build: not due yet"),
        (400, "350 mi", True, "350 mi since the build"),
        (-1, "", False, "whether it is due is not known"),  # the clock was wrong
    ],
)
def test_fasteners_not_checked_again_are_suspect_only_where_that_is_due(
    monkeypatch: pytest.MonkeyPatch, days: int, since: str, due: bool, words: str
) -> None:
    """The follow-up is due after 45 d, or after the first 500 km."""
    log = loaded_build(3)
    assert log.facts.session.closed_at is not None
    asked = parse_timestamp(log.facts.session.closed_at) + timedelta(days=days)
    monkeypatch.setattr(retorque_points, "now", lambda: asked)
    review = review_complaint(log, "leak", answers=FirstAnswers(retorque="no", since=since))
    points = [r for guard in review.guards for r in guard.reasons if r.kind == "retorque-not-done"]
    assert {point.grade >= SUSPECT for point in points} == {due}
    assert all(point.words.endswith(f"; {words})") for point in points)


def test_work_by_others_and_changed_use_belong_to_the_whole_job() -> None:
    answers = FirstAnswers(touched="the owner, the manifold", changed="nothing")
    (job,) = (
        guard for guard in review_complaint(loaded_build(3), "leak", answers=answers).guards if not guard.operation
    )
    assert [reason.kind for reason in job.reasons] == ["touched-since"]
    (line,) = (
        line for line in review_lines(review_complaint(loaded_build(3), "leak", answers=answers)) if "sound, " in line
    )
    assert line.endswith("look sound, but something that belongs to no single step is suspect: others worked on it.")
    assert not review_complaint(loaded_build(3), "leak", answers=FirstAnswers(touched="nobody")).suspects


def test_answers_move_only_steps_that_have_a_weak_point() -> None:
    log = loaded_build(3, LATE)
    plain = review_complaint(log, "leak")
    hot = review_complaint(log, "leaks when hot")
    assert hot.answers.when == "hot"
    assert grades(plain) == grades(hot)
    moved = {guard.operation: guard for guard in hot.guards if guard.adjustments}
    assert moved
    assert all(guard.reasons and guard.adjustments[0].by == 4 for guard in moved.values())
    long = review_complaint(log, "leak", answers=FirstAnswers(since="9,000 km"))
    assert [each.by for each in long.guards[0].adjustments] == [-6]
    assert any(line.startswith("      -6  9,000 km since the build") for line in review_lines(long))


@pytest.mark.parametrize(
    ("complaint", "signal"), [("losing water", "warning"), ("chain rattles", "notice"), ("no compression", "notice")]
)
def test_assembly_that_is_still_run_gets_a_caution_by_its_hazard(complaint: str, signal: str) -> None:
    review = review_complaint(loaded_build(3), complaint, answers=FirstAnswers(running="yes"))
    assert [caution.signal for caution in review.cautions] == [signal]
    assert any(line.startswith(f"{signal.upper()}: Do not run it") for line in review_lines(review))
    assert not review_complaint(loaded_build(3), complaint, answers=FirstAnswers(running="no")).cautions


def test_cautions_fit_every_assembly() -> None:
    yes = FirstAnswers(running="yes")
    (wheel,) = cautions_of("makes a noise, gets hot", yes, "Wheel bearings of a trailer", "")
    assert (wheel.signal, wheel.text[:23]) == ("warning", "Do not drive or tow it.")
    assert "Coolant" in cautions_of("losing water", yes, "Head", "Drain the coolant")[0].text
    for complaint in ("leaks", "losing water", "gets hot", "hard to turn"):
        (caution,) = cautions_of(complaint, yes, "New gasket in a pipe flange", "A water line")
        assert not {"engine", "coolant", "cap", "wheel"} & set(caution.text.casefold().replace(".", "").split())


def test_nine_cases_are_shown_and_move_nothing_and_the_tenth_moves_a_step_with_a_weak_point() -> None:
    log = loaded_build(3, LATE)
    other = next(
        g.operation for g in review_complaint(log, "leak").guards if g.reasons and g.operation != "set-head-down"
    )
    clean = next(g.operation for g in review_complaint(log, "leak").guards if not g.reasons)
    nine = [case(number, (other, clean)[number % 2]) for number in range(CASES_NEEDED - 1)]
    few = review_complaint(log, "leak", history=Shop(nine))
    assert few.cases is not None
    assert (few.cases.total, few.cases.counts, few.cases.of_step(other)) == (9, False, 5)
    assert [g.operation for g in few.guards] == [g.operation for g in review_complaint(log, "leak").guards]
    assert "Fewer than 10, so the order stays." in "\n".join(review_lines(few))
    ten = review_complaint(log, "leak", history=Shop([*nine, case(9, other)]))
    by_step = {guard.operation: guard for guard in ten.guards}
    assert [each.by for each in by_step[other].adjustments] == [round(MOST_BY_CASES * 6 / 10)]
    assert (by_step[clean].adjustments, by_step[clean].cases, by_step[clean].grade) == ((), 4, 0)
    assert grades(ten) == grades(few)
    assert "6 of 10 earlier come-backs with this complaint were found to be of this step" in "\n".join(
        review_lines(ten)
    )


def test_ten_findings_of_one_job_are_one_case_and_move_nothing() -> None:
    log = loaded_build(3, LATE)
    guards = [guard.operation for guard in review_complaint(log, "leak").guards]
    of_one = [case(1, guards[number % 2]) for number in range(CASES_NEEDED)]
    review = review_complaint(log, "leak", history=Shop([*of_one, case(2, "")]))
    assert review.cases is not None
    assert (review.cases.total, review.cases.without_step, review.cases.counts) == (2, 1, False)
    assert {each.operation: each.cases for each in review.cases.steps} == dict.fromkeys(guards[:2], 1)
    assert review.cases.outcomes == {"ours": 2}
    assert [guard.operation for guard in review.guards] == guards


def test_cases_of_another_complaint_and_of_real_builds_are_apart_from_simulated_ones() -> None:
    log = loaded_build(3, LATE)  # a simulated build
    cases = [case(1, "set-head-down", "chain rattles"), case(2, "set-head-down", simulated=False), case(3, "")]
    found = review_complaint(log, "losing water", history=Shop(cases)).cases
    assert found is not None
    assert (found.total, found.without_step, found.steps) == (1, 1, ())
    assert review_complaint(log, "no compression", history=Shop(cases)).cases is None


@pytest.mark.parametrize("text", ["No, nobody", "not touched", "unknown", "don't know", "no.", "-"])
def test_answer_that_means_no_is_not_a_weak_point(text: str) -> None:
    assert list(job_points_of(FirstAnswers(touched=text, changed=text))) == []


def test_answer_that_names_somebody_is_a_weak_point() -> None:
    found = [point.kind for point in job_points_of(FirstAnswers(touched="Norman, a garage", changed="E85"))]
    assert found == ["touched-since", "changed-use"]
