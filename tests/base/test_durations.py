"""Durations as text for people."""

import pytest

from benchflow.base.durations import clock_duration, countdown, rounded_duration


@pytest.mark.parametrize(
    ("seconds", "clock", "left", "rounded"),
    [
        (0, "0:00 min", "0:00", "0 s"),
        (0.6, "0:01 min", "0:00", "1 s"),
        (59, "0:59 min", "0:59", "59 s"),
        (89.4, "1:29 min", "1:29", "89 s"),
        (90, "1:30 min", "1:30", "2 min"),
        (372, "6:12 min", "6:12", "6 min"),
        (3599, "59:59 min", "59:59", "60 min"),
        (3600, "1 h 00 min", "1 h 00 min", "60 min"),
        (7500, "2 h 05 min", "2 h 05 min", "2 h 05 min"),
        (86399, "23 h 59 min", "23 h 59 min", "24 h 00 min"),
        (86400, "1 d 0 h", "1 d 0 h", "24 h 00 min"),
        (273600, "3 d 4 h", "3 d 4 h", "3 d 4 h"),
    ],
)
def test_duration_is_written_in_the_units_of_its_size(seconds: float, clock: str, left: str, rounded: str) -> None:
    assert (clock_duration(seconds), countdown(seconds), rounded_duration(seconds)) == (clock, left, rounded)


def test_clock_duration_has_no_sign_and_a_countdown_stops_at_zero() -> None:
    assert (clock_duration(-372), countdown(-372)) == ("6:12 min", "0:00")
