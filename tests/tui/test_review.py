"""The screens of the review, worked by keys."""

import time
from contextlib import AbstractAsyncContextManager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import pytest
from textual.geometry import Region

from benchflow.base.durations import countdown
from benchflow.review.evidence.assessment import review_failure, text_of
from benchflow.review.evidence.complaint_matching import find_failure
from benchflow.review.evidence.weights import WEAK_POINT_KINDS
from benchflow.review.formatting import local_day
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.review.many.comparison import compare
from benchflow.tui.review.comparison_page import ComparisonPage
from benchflow.tui.review.complaint_page import ComplaintPage
from benchflow.tui.review.ranking_page import RankingPage
from benchflow.tui.review.replay_page import BenchAtEventPage, ReplayPage
from benchflow.tui.review.review_case import ReviewCase
from benchflow.tui.review.text_pages import AllStatePage, EvidencePage, OperationTextPage, RankingRulePage
from benchflow.tui.widgets.page import Page
from tests.driving.shipped import ShippedBuild
from tests.driving.simulated_builder import CLEAN
from tests.make_history import PLANTED, PLANTED_AT, Planted
from tests.review.played_builds import loaded_build, played, read, register
from tests.tui.app_driver import AppDriver, drive_app

P = TypeVar("P", bound=Page[Any])
SHOP = register().shop()
OVERDUE = PLANTED[0].faults
LATE = PLANTED[1].faults


def run_review(first: Page[Any], size: tuple[int, int] = (80, 24)) -> AbstractAsyncContextManager[AppDriver]:
    return drive_app(first, size, review=True)


def complaint_page(log: LoadedLog) -> ComplaintPage:
    return ComplaintPage(ReviewCase(log, SHOP))


def screen_of(bench: AppDriver, kind: type[P]) -> P:
    assert isinstance(bench.screen, kind), bench.text
    return bench.screen


# --- complaint and ranking -----------------------------------------------------------------------


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.operation)
async def test_planted_fault_is_found_first_from_the_complaint(planted: Planted) -> None:
    log = played(PLANTED_AT[PLANTED.index(planted)], planted.faults, with_tools=True)
    before = log.read_bytes()
    loaded = load_log(log, read())
    step = loaded.plan.steps[planted.operation]
    complaint = next(f for f in loaded.procedure.failures if f.id == step.operation.guards_against[0].name)
    async with run_review(complaint_page(loaded)) as bench:
        await bench.type(f"{complaint.text}\n")
        suspects = screen_of(bench, RankingPage)
        assert suspects.guard is not None
        assert suspects.guard.operation == planted.operation
        assert suspects.guard.reasons[0].kind in planted.kinds
        assert f"► ▲ {loaded.plan.number(planted.operation):>3}  {step.title[:20]}" in bench.text
        assert f"{suspects.guard.reasons[0].title}: {suspects.guard.reasons[0].words[:30]}" in bench.text
        await bench.press("m")
        assert screen_of(bench, ReplayPage).seq == suspects.guard.reasons[0].seq
        await bench.press("escape", "t")
        assert screen_of(bench, OperationTextPage)
        assert text_of(loaded, planted.operation).splitlines()[0].strip() in bench.text
        await bench.press("q", "enter")
        assert screen_of(bench, EvidencePage).operation == planted.operation
    assert log.read_bytes() == before


async def test_list_of_complaints_counts_the_weak_evidence() -> None:
    log = loaded_build(5, LATE, with_tools=True)
    async with run_review(complaint_page(log)) as bench:
        for failure in log.procedure.failures:
            found = review_failure(log, failure, SHOP)
            row = next(line for line in bench.text.splitlines() if failure.text in line)
            suspects, guards = len(found.suspects), len(found.guards)
            assert row.endswith(f"▲ {suspects} of {guards}" if suspects else f"● none of {guards}")


async def test_unlisted_complaint_is_searched_in_the_operations() -> None:
    async with run_review(complaint_page(loaded_build(5, LATE, with_tools=True))) as bench:
        await bench.type("skinned\n")
        assert "No operation of this build mentions" not in bench.text
        assert {guard.operation for guard in screen_of(bench, RankingPage).result.guards} >= {"set-head-down"}


async def test_search_without_a_result_keeps_the_words_and_shows_a_message() -> None:
    async with run_review(complaint_page(loaded_build(5))) as bench:
        await bench.type("zeppelin\n")
        assert screen_of(bench, ComplaintPage)
        assert "No operation of this build mentions “zeppelin”" in bench.text
        assert bench.field == "zeppelin"
        await bench.press("escape")
        assert bench.field == ""
        assert "All operations" in bench.text


async def test_clean_build_looks_sound() -> None:
    async with run_review(complaint_page(loaded_build(5, CLEAN, with_tools=True))) as bench:
        await bench.type("loses\n")
        assert "looks sound" in bench.text
        assert "▲" not in "\n".join(bench.text.splitlines()[4:])


async def test_one_key_opens_the_whole_ranking_rule() -> None:
    async with run_review(complaint_page(loaded_build(5, LATE, with_tools=True)), (80, 24)) as bench:
        await bench.type("loses\n")
        await bench.press("w")
        assert screen_of(bench, RankingRulePage)
        seen = bench.text
        for _ in range(30):
            await bench.press("pagedown")
            seen += bench.text
        assert [kind.title for kind in WEAK_POINT_KINDS if f"{kind.title}:" not in seen] == []


async def test_complaint_given_on_the_command_line_opens_at_once() -> None:
    log = loaded_build(5, LATE, with_tools=True)
    failure = find_failure(log.procedure.failures, "head-gasket-leak")
    assert failure is not None
    async with run_review(ComplaintPage(ReviewCase(log, SHOP), review_failure(log, failure, SHOP))) as bench:
        assert screen_of(bench, RankingPage).operation == "set-head-down"
        await bench.press("escape")
        assert screen_of(bench, ComplaintPage)


# --- readings and joints --------------------------------------------------------------------------


async def test_joint_is_drawn_in_its_layout_with_the_wrench_used() -> None:
    log = loaded_build(5, OVERDUE, with_tools=True)
    async with run_review(complaint_page(log)) as bench:
        await bench.type("loses\n")
        await bench.press("r")
        assert all(f"{number}(●)" in bench.text for number in range(1, 11))
        assert "10 with TW-B" in bench.text


async def test_reading_is_drawn_on_its_limit_with_its_instrument() -> None:
    async with run_review(complaint_page(loaded_build(5, PLANTED[2].faults, with_tools=True))) as bench:
        await bench.type("bearings\n")
        await bench.press("r")
        assert "[━" in bench.text
        assert "limit 0.05 .. 0.15 mm" in bench.text
        assert "with DI-1" in bench.text


# --- replay ---------------------------------------------------------------------------------------


async def replaying(bench: AppDriver) -> ReplayPage:
    """Open the replay at the worst event of the first suspect."""
    await bench.type("loses\n")
    await bench.press("m")
    return screen_of(bench, ReplayPage)


async def test_replay_steps_by_event_operation_and_day() -> None:
    log = loaded_build(5, LATE, with_tools=True)
    async with run_review(complaint_page(log)) as bench:
        page = await replaying(bench)
        here = page.point.frame.seq
        await bench.press("down", "down", "up")
        assert page.point.frame.seq == here + 1
        assert f"Event {here + 1} of {len(log.lines)}" in bench.text
        await bench.press("right")
        assert log.lines[page.point.frame.seq - 1].kind == "finished"
        assert page.point.frame.seq >= here + 1
        day = local_day(page.point.frame.at)
        await bench.press("pagedown")
        assert local_day(page.point.frame.at) > day
        await bench.press("end")
        assert page.point.frame.seq == len(log.lines)
        await bench.press("down")
        assert "This is the last event" in bench.text
        await bench.press("home", "up")
        assert page.point.frame.seq == 1
        assert "This is the first event" in bench.text


async def test_replay_shows_local_times_and_their_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    log = loaded_build(5, LATE, with_tools=True)
    monkeypatch.setenv("TZ", "XST-9")
    time.tzset()
    try:
        async with run_review(complaint_page(log)) as bench:
            page = await replaying(bench)
            await bench.press("home")
            now = datetime.fromisoformat(page.point.frame.at) + timedelta(hours=9)
            assert f" · {now:%Y-%m-%d %H:%M:%S} XST · " in bench.text
            assert f" {now:%Y-%m-%d} ──" in bench.text
            assert f"{page.point.frame.seq:>4} {now:%H:%M}  " in bench.text
            await bench.press("b")
            assert f" {now:%H:%M}\n" in bench.text
            assert "UTC" not in bench.text
    finally:
        monkeypatch.undo()
        time.tzset()


async def test_replay_shows_state_clocks_and_operation_in_progress() -> None:
    log = loaded_build(5, LATE, with_tools=True)
    async with run_review(complaint_page(log)) as bench:
        page = await replaying(bench)
        head = next(row for row in page.point.frame.state_rows if row.variable == "head")
        assert head.value == "off"
        rows = bench.text.splitlines()
        assert any("Head" in row and row.endswith("off") for row in rows)
        assert rows[rows.index(next(row for row in rows if "IN PROGRESS" in row)) + 1].endswith("Set the head down")
        await bench.press("up")  # before it was signed for, the sealant's window still counted down
        clock = next(row for row in page.point.frame.clocks if row.operation == "set-head-down")
        assert clock.phase in ("open", "closing")
        assert f"{countdown(clock.seconds or 0)} left" in bench.text
        await bench.press("right")
        assert any("Head" in row and row.endswith("on, not tight") for row in bench.text.splitlines())


async def test_bench_at_a_past_event_is_view_only() -> None:
    log = played(5, OVERDUE, with_tools=True)
    before = log.read_bytes()
    async with run_review(complaint_page(load_log(log, read()))) as bench:
        page = await replaying(bench)
        await bench.press(*["down"] * 3, "b")
        assert screen_of(bench, BenchAtEventPage)
        ticked = page.point.state.work("tighten-head").ticks
        assert f"{len(ticked)} of 10, stage 1" in bench.text
        assert f"►{len(ticked) + 1}◄" in bench.text
        await bench.press("enter", "space", "f", "d", "u")
        assert screen_of(bench, BenchAtEventPage)
        await bench.press("o")
        assert screen_of(bench, AllStatePage)
        await bench.press("escape", "escape")
        assert screen_of(bench, ReplayPage)
    assert log.read_bytes() == before


# --- two builds -----------------------------------------------------------------------------------


def comparison_page() -> ComparisonPage:
    left, right = loaded_build(5, OVERDUE, with_tools=True), loaded_build(5, CLEAN, with_tools=True)
    return ComparisonPage(ReviewCase(left, None), ReviewCase(right, None), compare(left, right))


async def test_comparison_shows_the_first_difference_first_and_opens_both_replays() -> None:
    async with run_review(comparison_page()) as bench:
        page = screen_of(bench, ComparisonPage)
        first = page.comparison.first
        assert first is not None
        assert (first.operation, first.left, first.right) == ("tighten-head", "TW-B", "TW-A")
        marked = bench.text.splitlines().index(next(row for row in bench.text.splitlines() if "► ≠" in row))
        assert "Tighten the head: torque wrench used" in bench.text.splitlines()[marked]
        assert bench.text.splitlines()[marked + 1].split() == ["TW-B", "│", "TW-A"]
        await bench.press("r")
        pair = page.comparison.readings[0]
        assert f"{pair.left}" in bench.text
        assert f"{pair.right}" in bench.text
        await bench.press("right")
        replay = screen_of(bench, ReplayPage)
        line = replay.case.log.lines[replay.point.frame.seq - 1]
        assert (line.kind, line.data["name"]) == ("recorded", pair.name)
        await bench.press("q", "t", "down", "enter")
        replay = screen_of(bench, ReplayPage)
        line = replay.case.log.lines[replay.point.frame.seq - 1]
        assert (line.kind, line.data["operation"]) == ("finished", page.comparison.times[1].operation)


# --- screen size and markup ------------------------------------------------------------------------------

KEY_SEQUENCES: tuple[tuple[str, ...], ...] = (
    (),
    ("f2",),
    ("enter",),
    ("enter", "w"),
    ("enter", "r"),
    ("enter", "t"),
    ("enter", "m"),
    ("enter", "m", "o"),
    ("enter", "m", "b"),
    ("enter", "question_mark"),
)


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 40)], ids=str)
async def test_every_screen_fits_and_shows_the_key_to_leave(size: tuple[int, int]) -> None:
    for page in (lambda: complaint_page(loaded_build(5, LATE, with_tools=True)), comparison_page):
        for keys in KEY_SEQUENCES:
            async with run_review(page(), size) as bench:
                await bench.press(*keys)
                rows = bench.text.splitlines()
                assert len(rows) <= size[1], keys
                assert max(len(row) for row in rows) <= size[0], keys
                foot = "\n".join(rows[-3:])
                assert any(hint in foot for hint in ("q back", "q leave", "Esc back", "Esc leave")), (keys, foot)


HOSTILE = "[/] [@click=app.quit]go[/] \x1b]52;c;aGk=\x07 [qty 4]"


async def test_markup_in_a_note_is_shown_as_text(tmp_path: Path) -> None:
    log = tmp_path / "hostile.jsonl"
    driver = ShippedBuild(log, "head-install")
    driver.open(unit=f"job {HOSTILE}", pistons="at-deck")
    driver.work_to("make-safe")
    driver.send({"intent": "note", "operation": "make-safe", "text": HOSTILE})
    driver.finish("make-safe")
    driver.controller.close()
    async with run_review(complaint_page(load_log(log, read()))) as bench:
        await bench.type("qty\n")
        assert screen_of(bench, RankingPage).operation == "make-safe"
        assert "[@click=app.quit]go[/]" in bench.text
        for key in ("m", "r", "t", "i"):
            await bench.press(key)
            painted = "".join(strip.text for strip in bench.screen.query_one("Canvas").render_lines(_all(bench)))
            assert "\x1b" not in painted
            await bench.press("escape")
        assert screen_of(bench, RankingPage)


def _all(bench: AppDriver) -> Region:
    return Region(0, 0, *bench.app.size)


async def test_damage_of_the_log_is_shown_with_the_complaints_and_the_ranking(tmp_path: Path) -> None:
    lines = played(5, LATE, with_tools=True).read_bytes().splitlines(keepends=True)
    lines[400] = lines[400].replace(b'"by":"', b'"by":"X')
    log = tmp_path / "damaged.jsonl"
    log.write_bytes(b"".join(lines))
    async with run_review(complaint_page(load_log(log, read()))) as bench:
        assert "The log is damaged: line 401" in bench.text
        await bench.type("loses\n")
        assert "The log is damaged: line 401" in bench.text
    assert log.read_bytes() == b"".join(lines)
