"""The review ranks the weakest evidence first and finds nothing suspect in a clean build."""

import msgspec
import pytest

from benchflow.review.evidence.assessment import (
    Review,
    review_everything,
    review_failure,
    review_search,
    text_of,
)
from benchflow.review.evidence.complaint_matching import find_failure
from benchflow.review.evidence.ranking import WeakPoint, rule, weakness, worst_first
from benchflow.review.evidence.weights import RECORD, RECORD_CEILING, SUSPECT, WEAK_POINT_KINDS
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import FLOAT, OTHER_FLOAT, loaded_build, register

SHOP = register().shop()


def first_suspect(faults: Faults, with_tools: bool = False) -> tuple[str, str]:
    """The operation that is ranked first, and the kind of its worst weak point."""
    review = review_everything(loaded_build(3, faults, with_tools), SHOP)
    guard = review.guards[0]
    assert guard.suspect
    return guard.operation, guard.reasons[0].kind


@pytest.mark.parametrize(
    ("faults", "operation", "kind"),
    [
        (Faults(near_limit=FLOAT), FLOAT, "near-limit"),
        (Faults(late="set-head-down"), "set-head-down", "window-missed"),
        (Faults(self_signed="mark-nuts"), "mark-nuts", "self-signed"),
        (Faults(reworked="fit-pulley"), "fit-pulley", "redone"),
        (Faults(paused="fit-carriers[intake]"), "fit-carriers[intake]", "long-pause"),
        (Faults(hurried="set-head-down"), "set-head-down", "too-fast"),
        (Faults(deviation=OTHER_FLOAT), OTHER_FLOAT, "out-of-limit"),
    ],
)
def test_operation_with_a_planted_fault_is_ranked_first(faults: Faults, operation: str, kind: str) -> None:
    assert first_suspect(faults) == (operation, kind)


@pytest.mark.parametrize("registered", [True, False])
def test_overdue_wrench_is_named_with_its_due_date(registered: bool) -> None:
    """The due date is in the log if there was a register on that day, otherwise in the register of today."""
    overdue = Faults(overdue="tighten-head")
    guard = review_everything(loaded_build(3, overdue, with_tools=True, registered=registered), SHOP).guards[0]
    assert guard.operation == "tighten-head"
    assert guard.reasons[0].kind == "instrument-overdue"
    assert "TW-B: Its calibration" in guard.reasons[0].words
    assert "2026-01-10" in guard.reasons[0].words


def test_stage_cleared_and_ticked_again_is_a_weak_point_of_its_joint() -> None:
    review = review_everything(loaded_build(3, Faults(stage_redone="tighten-head")), SHOP)
    reasons = {reason.kind: reason.words for reason in review.guards[0].reasons}
    assert review.guards[0].operation == "tighten-head"
    assert reasons["ticks-cleared"] == "10 ticks of stage 1 of head-nuts cleared and ticked again"


@pytest.mark.parametrize("seed", [1, 3, 5])
def test_clean_build_has_no_suspect_steps(seed: int) -> None:
    assert review_everything(loaded_build(seed, with_tools=True), SHOP).suspects == ()


def test_missed_window_states_the_overrun_and_who_signed() -> None:
    review = review_everything(loaded_build(3, Faults(late="set-head-down")))
    words = " / ".join(reason.words for reason in review.guards[0].reasons)
    assert "R. Builder signed a deviation from the time window" in words
    assert "finished 11 min after “Put sealant on the four corners” (window at most 10 min)" in words


def test_complaint_lists_only_steps_that_guard_against_it() -> None:
    log = loaded_build(3, Faults(self_signed="mark-nuts"))
    leak = find_failure(log.procedure.failures, "head-gasket-leak")
    oil = find_failure(log.procedure.failures, "oil-leak")
    assert leak is not None
    assert oil is not None
    head, covers = review_failure(log, leak), review_failure(log, oil)
    assert all("head-gasket-leak" in guard.guards_against for guard in head.guards)
    assert [guard.operation for guard in head.suspects] == ["mark-nuts"]
    assert covers.suspects == ()
    assert head.complaint == leak.text


def test_failure_is_found_by_its_text_or_its_beginning() -> None:
    log = loaded_build(3)
    failure = log.procedure.failures[0]
    assert find_failure(log.procedure.failures, failure.text.upper()) == failure
    assert find_failure(log.procedure.failures, failure.text[: len(failure.text) // 2]) == failure
    assert find_failure(log.procedure.failures, "it sings") is None
    assert find_failure(log.procedure.failures, "") is None


def test_search_finds_steps_that_contain_every_word() -> None:
    log = loaded_build(3)
    found = {guard.operation for guard in review_search(log, "SEALANT corner").guards}
    assert "apply-sealant" in found
    assert "fit-pulley" not in found
    assert review_search(log, "zeppelin").guards == ()


def test_step_never_done_is_ranked_first() -> None:
    from benchflow.review.log.loaded_log import load_log
    from tests.driving.simulated_builder import SimulatedBuilder
    from tests.review.played_builds import BEGIN, folder, head_install, read

    log = folder() / "unfinished.jsonl"
    sim_builder = SimulatedBuilder(head_install(), log, seed=4, begin=BEGIN, read=read())
    sim_builder.send({"intent": "open", "unit": "job 4", "options": {"cams": "standard", "gasket": "composite"},
                 "start": {"pistons": "down"}})  # fmt: skip
    sim_builder.do_next_on_route("make-safe")
    sim_builder.send({"intent": "close", "unfinished": "The block is cracked"})
    sim_builder.controller.close()
    log_of_job = load_log(log, read())
    review = review_everything(log_of_job)
    assert review.guards[0].reasons[0].kind == "never-done"
    assert review.guards[0].reasons[0].words == "never started"
    assert not review.guards[-1].suspect
    assert any("operations not done (The block is cracked)" in warning for warning in log_of_job.warnings)


def test_suspect_step_has_its_event_and_its_procedure_text() -> None:
    log = loaded_build(3, Faults(self_signed="mark-nuts"))
    guard = review_everything(log).suspects[0]
    assert guard.seq is not None
    line = log.lines[guard.seq - 1]
    assert (line.kind, line.data["operation"]) == ("signed", "mark-nuts")
    text = text_of(log, "mark-nuts")
    assert text.lstrip().startswith("- id: mark-nuts")
    assert "hold:" in text
    assert text.count("- id:") == 1


def test_reviewed_step_has_its_recorded_evidence() -> None:
    guard = next(g for g in review_everything(loaded_build(3, with_tools=True)).guards if g.operation == "tighten-head")
    words = [known.words for known in guard.known]
    assert any("head-nuts, stage 2" in w and "10 fasteners with TW-A, R. Builder" in w for w in words)
    assert any(w.startswith("finished by R. Builder, 2026-03-") for w in words)


def test_ranking_follows_the_printed_rule() -> None:
    one_bad = [WeakPoint("other-lubricant", "", size=0.35)]
    many_small = [WeakPoint("redone", ""), WeakPoint("long-pause", "", size=60), WeakPoint("near-limit", "", size=0.04)]
    assert weakness(one_bad) > weakness(many_small)
    assert weakness([*one_bad, WeakPoint("redone", "")]) > weakness(one_bad)
    assert [r.kind for r in worst_first(many_small)] == ["long-pause", "near-limit", "redone"]
    text = "\n".join(rule())
    assert all(kind.title in text and kind.when in text and kind.why in text for kind in WEAK_POINT_KINDS)
    assert all(kind.scale_text in text for kind in WEAK_POINT_KINDS)
    assert f"grade {SUSPECT} or more is suspect" in text


def test_size_decides_and_not_the_kind() -> None:
    five_seconds_late = WeakPoint("window-missed", "", size=5 / 600)
    hours_late = WeakPoint("window-missed", "", size=18.0)
    dry_threads = WeakPoint("other-lubricant", "", size=0.34)
    assert hours_late.grade > dry_threads.grade > five_seconds_late.grade >= SUSPECT
    assert WeakPoint("near-limit", "", size=0.001).grade > WeakPoint("near-limit", "", size=0.04).grade
    assert WeakPoint("instrument-overdue", "", size=3 * 365).grade > WeakPoint("instrument-overdue", "", size=1).grade


def test_scales_are_monotonic_and_paper_stays_below_every_cause() -> None:
    for kind in WEAK_POINT_KINDS:
        sizes, grades = zip(*kind.scale, strict=True)
        assert list(sizes) == sorted(set(sizes)), kind.kind
        assert list(grades) in (sorted(grades), sorted(grades, reverse=True)), kind.kind
        assert all(0 <= grade <= 100 for grade in grades)
    assert max(kind.highest for kind in RECORD) == RECORD_CEILING
    assert len({kind.kind for kind in WEAK_POINT_KINDS}) == len(WEAK_POINT_KINDS)


def test_review_is_the_same_after_writing_and_reading_json() -> None:
    review = review_everything(loaded_build(3))
    assert msgspec.convert(msgspec.json.decode(msgspec.json.encode(review)), Review) == review


def test_damaged_log_is_reviewed_up_to_the_damage_with_a_warning() -> None:
    from benchflow.review.log.loaded_log import load_log
    from tests.review.played_builds import folder, played, read

    whole = played(3)
    damaged = folder() / "damaged.jsonl"
    lines = whole.read_bytes().splitlines(keepends=True)
    lines[300] = lines[300].replace(b'"by":"R. Builder"', b'"by":"N. Body"')
    damaged.write_bytes(b"".join(lines))
    found = load_log(damaged, read())
    assert found.facts.session.events == 300
    assert "line 301 has been changed since it was written" in found.warnings[0]
    assert review_everything(found).warnings == found.warnings
