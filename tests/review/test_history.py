"""The review ranks each planted fault of the sample history first, as the README shows."""

from pathlib import Path

import pytest

from benchflow.review.evidence.assessment import review_failure
from benchflow.review.evidence.complaint_matching import find_failure
from benchflow.review.log.loaded_log import load_log
from benchflow.session.shop.live_register import Register
from tests.make_history import FIRST_JOB, PLANTED, PLANTED_AT, make
from tests.review.played_builds import folder, read


@pytest.fixture(scope="module")
def history() -> tuple[Path, list[Path]]:
    """The folder of the history, and the logs of its builds with a planted fault."""
    home = folder() / "history"
    return home, make(home, PLANTED_AT)


@pytest.mark.parametrize("number", range(len(PLANTED)))
def test_review_finds_each_planted_fault_of_the_readme(history: tuple[Path, list[Path]], number: int) -> None:
    home, logs = history
    planted = PLANTED[number]
    build = load_log(logs[number], read())
    assert build.facts.session.unit == f"job {FIRST_JOB + PLANTED_AT[number]}"
    guarded = build.plan.steps[planted.operation].operation.guards_against
    failure = find_failure(build.procedure.failures, guarded[0].name)
    assert failure is not None
    review = review_failure(build, failure, Register(home / "config" / "shop.yaml").shop())
    assert [guard.operation for guard in review.guards][:1] == [planted.operation]
    assert review.guards[0].reasons[0].kind in planted.kinds
