"""Time between events: by the boot clock within a boot, by the wall clock across boots, or not known."""

from datetime import UTC, datetime, timedelta

import pytest

from benchflow.session.log.timestamps import format_timestamp
from benchflow.session.state.clock import (
    BootSpan,
    Elapsed,
    EventTime,
    Now,
    elapsed,
    elapsed_between,
    set_back_from,
    with_event,
)

START = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def at(minutes: float) -> str:
    return format_timestamp(START + timedelta(minutes=minutes))


class Events:
    """Events with their times in minutes: by the wall clock and by the boot clock of a boot."""

    def __init__(self, *events: tuple[float, str, float]) -> None:
        self.spans: tuple[BootSpan, ...] = ()
        self.times: list[EventTime] = []
        for seq, (wall, boot, minutes) in enumerate(events, 1):
            time = EventTime(seq, at(wall), boot, round(minutes * 60_000))
            self.spans = with_event(self.spans, self.times[-1] if self.times else None, time)
            self.times.append(time)

    def until(self, wall: float, boot: str, minutes: float) -> Elapsed:
        """The time from the first event until now, in minutes."""
        now = Now(at(wall), boot, round(minutes * 60_000))
        found = elapsed(self.spans, self.times[-1], self.times[0], now)
        low, high, wall, proven = (s / 60 for s in (found.low, found.high, found.wall, found.proven))
        return Elapsed(low, high, found.known, found.across, wall, proven)


@pytest.mark.parametrize(
    ("wall", "minutes", "low", "high"),
    [(10, 10, 10, 10), (70, 70, 70, 70), (5, 70, 70, 70), (70, 10, 10, 70), (-600, 10, 10, 10)],
)
def test_boot_clock_counts_within_a_boot_and_the_wall_clock_only_closes_a_window(
    wall: float, minutes: float, low: float, high: float
) -> None:
    assert Events((0, "a", 100)).until(wall, "a", 100 + minutes) == Elapsed(low, high)


@pytest.mark.parametrize(
    ("wall", "expected"),
    [
        (50, Elapsed(50, 50, True, True)),
        (28, Elapsed(28, 28, True, True)),  # two minutes less than the 30 minutes proven
        (27.9, Elapsed(0, 30, False, True, 27.9, 30)),
        (-60, Elapsed(0, 30, False, True, -60, 30)),
    ],
)
def test_wall_clock_counts_across_boots_unless_the_boot_clocks_prove_more(wall: float, expected: Elapsed) -> None:
    events = Events((0, "a", 100), (20, "a", 120), (wall - 10, "b", 5))
    assert events.until(wall, "b", 15) == expected  # 20 minutes in boot a, 10 in boot b


@pytest.mark.parametrize(
    ("wall", "low", "high"),
    [(82, 82, 82), (33, 33, 80), (12, 12, 80), (79, 79, 79), (200, 80, 200)],
)
def test_clock_set_within_the_second_boot_opens_no_window(wall: float, low: float, high: float) -> None:
    events = Events((0, "a", 100), (70, "b", 2), (72, "b", 4))
    found = events.until(wall, "b", 12)
    assert found.known
    assert [found.low, found.high] == pytest.approx([low, high])


def test_clock_set_within_the_first_boot_closes_a_window_but_never_opens_it() -> None:
    ahead = Events((0, "a", 100), (600, "a", 101), (610, "b", 2))
    assert ahead.until(611, "b", 3) == Elapsed(12, 611, True, True)
    behind = Events((0, "a", 100), (-60, "a", 110), (340, "b", 2))
    assert behind.until(400, "b", 62) == Elapsed(400, 470, True, True)  # 10 min, 400 min off, 60 min


def test_steps_at_two_restarts_do_not_cancel_out() -> None:
    events = Events((0, "a", 100), (600, "b", 5), (300, "c", 5))
    found = events.until(301, "c", 6)
    assert (found.low, found.high, found.known) == (301, 601, True)


def test_boot_that_nothing_was_logged_in_proves_nothing() -> None:
    assert Events((0, "a", 100)).until(3, "b", 9000) == Elapsed(3, 3, True, True)


def test_log_that_was_on_another_machine_in_between_has_the_same_boot_clock_again() -> None:
    events = Events((0, "a", 100), (10, "b", 5), (40, "a", 141))
    assert events.until(45, "a", 145) == Elapsed(45, 45)


def test_boot_clock_that_went_back_is_another_clock() -> None:
    assert Events((0, "a", 100), (60, "a", 160)).until(61, "a", 3) == Elapsed(61, 61, True, True)


def test_without_a_boot_clock_a_wall_clock_set_back_makes_the_time_unknown() -> None:
    first, second = EventTime(1, at(0), "", 0), EventTime(2, at(30), "", 30 * 60_000)
    ms = round(START.timestamp() * 1000)
    first, second = EventTime(1, at(0), "", ms), EventTime(2, at(30), "", ms + 30 * 60_000)
    spans = with_event(with_event((), None, first), first, second)
    assert elapsed(spans, second, first, Now(at(40))) == Elapsed(2400, 2400)
    assert not elapsed(spans, second, first, Now(at(5))).known
    assert elapsed(spans, second, first, Now(at(29))) == Elapsed(1740, 1740, True, False)


def test_time_between_two_events_is_judged_by_what_was_known_then() -> None:
    events = Events((0, "a", 100), (20, "a", 120), (-60, "b", 5))
    assert elapsed_between(events.spans, events.times[0], events.times[1]) == Elapsed(1200, 1200)
    assert not elapsed_between(events.spans, events.times[0], events.times[2]).known


@pytest.mark.parametrize(
    ("wall", "minutes", "noted"),
    [(9.97, 10, ""), (9.96, 10, at(10)), (0, 10, at(10)), (-5, 0, at(0)), (30, 10, "")],
)
def test_step_of_two_seconds_back_is_noted_also_after_a_pause(wall: float, minutes: float, noted: str) -> None:
    last = EventTime(1, at(0), "a", 0)
    assert set_back_from(last, Now(at(wall), "a", round(minutes * 60_000))) == noted
