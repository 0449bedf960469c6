"""The first questions, the complaint and the finding on the screens of a review."""

from typing import Any

from benchflow.base.errors import BenchflowError
from benchflow.tui.review.come_back_forms import FindingPage, QuestionsPage
from benchflow.tui.review.complaint_page import ComplaintPage
from benchflow.tui.review.ranking_page import RankingPage
from benchflow.tui.review.review_case import ReviewCase
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import loaded_build
from tests.tui.test_review import SHOP, complaint_page, run_review, screen_of

LATE = Faults(late="set-head-down")
LATE_STEP = 38


def bench_title(number: int) -> str:
    """Number and title of a step, as the review shows it."""
    case = ReviewCase(loaded_build(3, LATE), SHOP)
    return " ".join(case.title(case.step_with_number(str(number))).split())


def recording_page(added: list[dict[str, Any]]) -> ComplaintPage:
    def record(message: dict[str, Any]) -> str:
        if message.get("finding") == "locked":
            raise BenchflowError("Nothing was added. Another program has the log open.")
        added.append(message)
        return "Added to the log as event 557."

    return ComplaintPage(ReviewCase(loaded_build(3, LATE), SHOP, recorder=record))


async def test_words_of_a_customer_review_all_that_they_may_mean() -> None:
    async with run_review(complaint_page(loaded_build(3, LATE))) as bench:
        await bench.type("losing watter")
        assert "► “losing watter”: all of these" in bench.text
        await bench.press("enter")
        assert screen_of(bench, RankingPage).operation == "set-head-down"
        assert "May mean: Loses water or pressure between head and block; Drips coolant" in bench.text
        assert "Elsewhere in this build: no other step is suspect." in bench.text
        await bench.press("c", "f")  # without a log to write, these keys do nothing
        assert screen_of(bench, RankingPage)


async def test_first_questions_are_asked_on_one_page_and_change_the_answer() -> None:
    async with run_review(complaint_page(loaded_build(3, LATE))) as bench:
        assert "First questions (F3): still run? since when?" in bench.text
        await bench.press("f3", "f3")  # all left open
        assert screen_of(bench, ComplaintPage)
        await bench.press("f3", "right", "enter")
        await bench.type("1,200 bar")
        await bench.press("f3")
        assert screen_of(bench, QuestionsPage)
        assert "neither hours nor a distance" in bench.text
        await bench.press(*["backspace"] * 3)
        await bench.type("km")
        await bench.press("enter", "right", "enter", "enter", "right", "right", "enter", "enter")
        assert "still running; 1,200 km since the build; when hot" in " ".join(bench.text.split())
        await bench.type("losing water\n")
        page = screen_of(bench, RankingPage)
        assert " WARNING  Do not run it. Coolant under pressure scalds." in bench.text
        assert "retorque-not-done" in {reason.kind for guard in page.result.guards for reason in guard.reasons}


async def test_first_questions_can_be_answered_beside_the_evidence() -> None:
    async with run_review(complaint_page(loaded_build(3, LATE))) as bench:
        await bench.type("losing water\n")
        before = screen_of(bench, RankingPage).result
        await bench.press("f3", "right", "f3")
        found = screen_of(bench, RankingPage).result
        assert "Answers: still running" in bench.text
        assert (found.asked, found.taken) == (before.asked, before.taken)
        assert found.answers.running == "yes"


async def test_complaint_is_logged_in_the_words_that_were_typed() -> None:
    added: list[dict[str, Any]] = []
    async with run_review(recording_page(added)) as bench:
        await bench.type("loses watter when warm")
        await bench.press("down", "enter", "c")  # one of the failures that the words may mean
        assert bench.field == "loses watter when warm"
        await bench.press("enter", "escape")
        await bench.press("escape", "enter", "c")  # a failure from the list: no words were typed
        assert bench.field == ""
    assert [each["text"] for each in added] == ["loses watter when warm"]


async def test_complaint_and_finding_are_added_to_the_log_by_a_key() -> None:
    added: list[dict[str, Any]] = []
    async with run_review(recording_page(added)) as bench:
        await bench.type("losing water\n")
        await bench.press("c")
        assert bench.field == "losing water"
        await bench.press("enter")
        assert "Added to the log as event 557." in bench.text
        await bench.press("f", "enter")
        await bench.type("locked\n")
        assert bench.field == str(LATE_STEP)
        await bench.press("backspace", "backspace")
        await bench.type("1")
        assert f"Step: {bench_title(1)}" in bench.text
        await bench.press("backspace")
        await bench.type("99\n")
        await bench.press("right", "enter", "enter", "enter")
        assert "There is no step 99." in bench.text
        await bench.press("backspace", "backspace")
        await bench.type(f"{LATE_STEP}\n")
        await bench.press("enter", "enter", "enter")
        assert "Another program has the log open." in bench.text
        assert screen_of(bench, FindingPage)
        await bench.press(*["up"] * 4, *["backspace"] * 6)
        await bench.type("Sealant skinned over\n")
        await bench.press(*["enter"] * 4)
        assert screen_of(bench, RankingPage)
    assert added == [
        {"intent": "complaint", "text": "losing water", "by": "R. Builder"},
        {"intent": "found", "complaint": "losing water", "finding": "Sealant skinned over",
         "operation": "set-head-down", "outcome": "ours", "by": "R. Builder"},
    ]  # fmt: skip
