"""The review by keys: from the complaint to what went wrong."""

import time
from contextlib import AbstractAsyncContextManager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import pytest
from textual.geometry import Region

from benchflow.base.durations import countdown
from benchflow.review.evidence.assessment import find_failure, review_failure, text_of
from benchflow.review.evidence.ranking import WEAK_POINT_KINDS
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
from tests.review.played_builds import played, read, register, told
from tests.tui.app_driver import AppDriver, drive_app

P = TypeVar("P", bound=Page[Any])
SHOP = register().shop()
OVERDUE = PLANTED[0].faults
LATE = PLANTED[1].faults


def review_sitting(first: Page[Any], size: tuple[int, int] = (80, 24)) -> AbstractAsyncContextManager[AppDriver]:
    return drive_app(first, size, review=True)


def front(of: LoadedLog) -> ComplaintPage:
    return ComplaintPage(ReviewCase(of, SHOP))


def on_screen(bench: AppDriver, kind: type[P]) -> P:
    assert isinstance(bench.screen, kind), bench.text
    return bench.screen


# --- from the complaint to what went wrong --------------------------------------------------------


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.operation)
async def test_planted_fault_is_found_first_from_the_complaint(planted: Planted) -> None:
    log = played(PLANTED_AT[PLANTED.index(planted)], planted.faults, with_tools=True)
    before = log.read_bytes()
    told = load_log(log, read())
    step = told.plan.steps[planted.operation]
    complaint = next(f for f in told.procedure.failures if f.id == step.operation.guards_against[0].name)
    async with review_sitting(front(told)) as bench:
        await bench.type(f"{complaint.text}\n")
        suspects = on_screen(bench, RankingPage)
        assert suspects.guard is not None
        assert suspects.guard.operation == planted.operation
        assert suspects.guard.reasons[0].kind in planted.kinds
        assert f"► ▲ {told.plan.number(planted.operation):>3}  {step.title[:20]}" in bench.text
        assert f"{suspects.guard.reasons[0].title}: {suspects.guard.reasons[0].words[:30]}" in bench.text
        await bench.press("m")
        assert on_screen(bench, ReplayPage).seq == suspects.guard.reasons[0].seq
        await bench.press("escape", "t")
        assert on_screen(bench, OperationTextPage)
        assert text_of(told, planted.operation).splitlines()[0].strip() in bench.text
        await bench.press("q", "enter")
        assert on_screen(bench, EvidencePage).operation == planted.operation
    assert log.read_bytes() == before


async def test_list_of_complaints_counts_the_weak_evidence() -> None:
    of = told(5, LATE, with_tools=True)
    async with review_sitting(front(of)) as bench:
        for failure in of.procedure.failures:
            found = review_failure(of, failure, SHOP)
            row = next(line for line in bench.text.splitlines() if failure.text in line)
            suspects, guards = len(found.suspects), len(found.guards)
            assert row.endswith(f"▲ {suspects} of {guards}" if suspects else f"● none of {guards}")


async def test_unlisted_complaint_is_searched_in_the_operations() -> None:
    async with review_sitting(front(told(5, LATE, with_tools=True))) as bench:
        await bench.type("skinned\n")
        assert "speaks" not in bench.text
        assert {guard.operation for guard in on_screen(bench, RankingPage).found.guards} >= {"set-head-down"}


async def test_search_without_a_result_keeps_the_words_and_says_so() -> None:
    async with review_sitting(front(told(5))) as bench:
        await bench.type("zeppelin\n")
        assert on_screen(bench, ComplaintPage)
        assert "No operation of this build mentions “zeppelin”" in bench.text
        assert bench.field == "zeppelin"
        await bench.press("escape")
        assert bench.field == ""
        assert "All operations" in bench.text


async def test_clean_build_looks_sound() -> None:
    async with review_sitting(front(told(5, CLEAN, with_tools=True))) as bench:
        await bench.type("loses\n")
        assert "looks sound" in bench.text
        assert "▲" not in "\n".join(bench.text.splitlines()[4:])


async def test_the_whole_rule_can_be_read_with_one_key() -> None:
    async with review_sitting(front(told(5, LATE, with_tools=True)), (80, 24)) as bench:
        await bench.type("loses\n")
        await bench.press("w")
        assert on_screen(bench, RankingRulePage)
        seen = bench.text
        for _ in range(6):
            await bench.press("pagedown")
            seen += bench.text
        assert [kind.title for kind in WEAK_POINT_KINDS if f"{kind.grade:>3}  {kind.title}:" not in seen] == []


async def test_complaint_of_the_command_line_opens_at_once() -> None:
    of = told(5, LATE, with_tools=True)
    failure = find_failure(of, "head-gasket-leak")
    assert failure is not None
    async with review_sitting(ComplaintPage(ReviewCase(of, SHOP), review_failure(of, failure, SHOP))) as bench:
        assert on_screen(bench, RankingPage).operation == "set-head-down"
        await bench.press("escape")
        assert on_screen(bench, ComplaintPage)


# --- what there is of it --------------------------------------------------------------------------


async def test_the_joint_is_drawn_as_it_lies_with_the_wrench_that_tightened_it() -> None:
    of = told(5, OVERDUE, with_tools=True)
    async with review_sitting(front(of)) as bench:
        await bench.type("loses\n")
        await bench.press("r")
        assert all(f"{number}(●)" in bench.text for number in range(1, 11))
        assert "10 with TW-B" in bench.text


async def test_a_reading_is_drawn_against_its_limit_and_names_its_gauge() -> None:
    async with review_sitting(front(told(5, PLANTED[2].faults, with_tools=True))) as bench:
        await bench.type("bearings\n")
        await bench.press("r")
        assert "[━" in bench.text
        assert "limit 0.05 .. 0.15 mm" in bench.text
        assert "with DI-1" in bench.text


# --- the session played again ---------------------------------------------------------------------


async def replaying(bench: AppDriver) -> ReplayPage:
    """From the front to the first event of the first suspect."""
    await bench.type("loses\n")
    await bench.press("m")
    return on_screen(bench, ReplayPage)


async def test_replay_steps_by_event_operation_and_day() -> None:
    of = told(5, LATE, with_tools=True)
    async with review_sitting(front(of)) as bench:
        page = await replaying(bench)
        here = page.point.frame.seq
        await bench.press("down", "down", "up")
        assert page.point.frame.seq == here + 1
        assert f"Event {here + 1} of {len(of.lines)}" in bench.text
        await bench.press("right")
        assert of.lines[page.point.frame.seq - 1].kind == "finished"
        assert page.point.frame.seq >= here + 1
        day = local_day(page.point.frame.at)
        await bench.press("pagedown")
        assert local_day(page.point.frame.at) > day
        await bench.press("end")
        assert page.point.frame.seq == len(of.lines)
        await bench.press("down")
        assert "This is the last event" in bench.text
        await bench.press("home", "up")
        assert page.point.frame.seq == 1
        assert "This is the first event" in bench.text


async def test_replay_shows_local_times_and_their_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    of = told(5, LATE, with_tools=True)
    monkeypatch.setenv("TZ", "XST-9")
    time.tzset()
    try:
        async with review_sitting(front(of)) as bench:
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
    of = told(5, LATE, with_tools=True)
    async with review_sitting(front(of)) as bench:
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


async def test_past_bench_is_view_only() -> None:
    log = played(5, OVERDUE, with_tools=True)
    before = log.read_bytes()
    async with review_sitting(front(load_log(log, read()))) as bench:
        page = await replaying(bench)
        await bench.press(*["down"] * 3, "b")
        assert on_screen(bench, BenchAtEventPage)
        ticked = page.point.state.work("tighten-head").ticks
        assert f"{len(ticked)} of 10, stage 1" in bench.text
        assert f"►{len(ticked) + 1}◄" in bench.text
        await bench.press("enter", "space", "f", "d", "u")
        assert on_screen(bench, BenchAtEventPage)
        await bench.press("o")
        assert on_screen(bench, AllStatePage)
        await bench.press("escape", "escape")
        assert on_screen(bench, ReplayPage)
    assert log.read_bytes() == before


# --- two builds -----------------------------------------------------------------------------------


def both() -> ComparisonPage:
    left, right = told(5, OVERDUE, with_tools=True), told(5, CLEAN, with_tools=True)
    return ComparisonPage(ReviewCase(left, None), ReviewCase(right, None), compare(left, right))


async def test_comparison_shows_the_first_difference_first_and_opens_both_replays() -> None:
    async with review_sitting(both()) as bench:
        page = on_screen(bench, ComparisonPage)
        first = page.found.first
        assert first is not None
        assert (first.operation, first.left, first.right) == ("tighten-head", "TW-B", "TW-A")
        marked = bench.text.splitlines().index(next(row for row in bench.text.splitlines() if "► ≠" in row))
        assert "Tighten the head: torque-wrench used" in bench.text.splitlines()[marked]
        assert bench.text.splitlines()[marked + 1].split() == ["TW-B", "│", "TW-A"]
        await bench.press("r")
        pair = page.found.readings[0]
        assert f"{pair.left}" in bench.text
        assert f"{pair.right}" in bench.text
        await bench.press("right")
        replay = on_screen(bench, ReplayPage)
        line = replay.case.log.lines[replay.point.frame.seq - 1]
        assert (line.kind, line.data["name"]) == ("recorded", pair.name)
        await bench.press("q", "t", "down", "enter")
        replay = on_screen(bench, ReplayPage)
        line = replay.case.log.lines[replay.point.frame.seq - 1]
        assert (line.kind, line.data["operation"]) == ("finished", page.found.times[1].operation)


# --- whole, and harmless --------------------------------------------------------------------------

WAYS: tuple[tuple[str, ...], ...] = (
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
async def test_every_screen_is_whole_and_shows_the_way_out(size: tuple[int, int]) -> None:
    for page in (lambda: front(told(5, LATE, with_tools=True)), both):
        for keys in WAYS:
            async with review_sitting(page(), size) as bench:
                await bench.press(*keys)
                rows = bench.text.splitlines()
                assert len(rows) <= size[1], keys
                assert max(len(row) for row in rows) <= size[0], keys
                foot = "\n".join(rows[-3:])
                assert any(route in foot for route in ("q back", "q leave", "Esc back", "Esc leave")), (keys, foot)


HOSTILE = "[/] [@click=app.quit]go[/] \x1b]52;c;aGk=\x07 [qty 4]"


async def test_markup_in_a_note_is_shown_as_text(tmp_path: Path) -> None:
    log = tmp_path / "hostile.jsonl"
    driver = ShippedBuild(log, "head-install")
    driver.open(unit=f"job {HOSTILE}", pistons="at-deck")
    driver.work_to("make-safe")
    driver.send({"intent": "note", "operation": "make-safe", "text": HOSTILE})
    driver.finish("make-safe")
    driver.controller.close()
    async with review_sitting(front(load_log(log, read()))) as bench:
        await bench.type("qty\n")
        assert on_screen(bench, RankingPage).operation == "make-safe"
        assert "[@click=app.quit]go[/]" in bench.text
        for route in ("m", "r", "t", "i"):
            await bench.press(route)
            painted = "".join(strip.text for strip in bench.screen.query_one("Canvas").render_lines(_all(bench)))
            assert "\x1b" not in painted
            await bench.press("escape")
        assert on_screen(bench, RankingPage)


def _all(bench: AppDriver) -> Region:
    return Region(0, 0, *bench.app.size)


async def test_broken_chain_is_mentioned_with_every_weak_evidence(tmp_path: Path) -> None:
    lines = played(5, LATE, with_tools=True).read_bytes().splitlines(keepends=True)
    lines[400] = lines[400].replace(b'"by":"', b'"by":"X')
    log = tmp_path / "damaged.jsonl"
    log.write_bytes(b"".join(lines))
    async with review_sitting(front(load_log(log, read()))) as bench:
        assert "The log is damaged: line 401" in bench.text
        await bench.type("loses\n")
        assert "The log is damaged: line 401" in bench.text
    assert log.read_bytes() == b"".join(lines)
