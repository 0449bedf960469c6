"""Timestamps compared with the examples of RFC 3339, section 5.8. Other spellings are refused."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.session.log import timestamps


@pytest.mark.parametrize(
    ("text", "posix"),
    [
        ("1985-04-12T23:20:50.52Z", 482196050.52),
        ("1996-12-19T16:39:57-08:00", 851042397),
        ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
        (
            "1990-12-31T23:59:60Z",
            662688000,
        ),  # a leap second; POSIX time has no number for it, so the next second is used
        ("1990-12-31T15:59:60-08:00", 662688000),
    ],
)
def test_published_timestamps_are_read(text: str, posix: float) -> None:
    assert timestamps.parse_timestamp(text).timestamp() == pytest.approx(posix, abs=1e-6)
    assert timestamps.parse_timestamp(text).tzinfo is UTC


@pytest.mark.parametrize(
    "text",
    [
        "1985-04-12t23:20:50.52z",  # section 5.6: either case
        "1985-04-12T23:20:50.520000000Z",  # any number of digits
        "1985-04-13T01:20:50.52+02:00",
        "1985-04-12T23:20:50.52-00:00",
    ],
)
def test_each_spelling_of_a_timestamp_is_the_same_time(text: str) -> None:
    assert timestamps.format_timestamp(timestamps.parse_timestamp(text)) == "1985-04-12T23:20:50.520Z"


@pytest.mark.parametrize(
    "text",
    [
        "", "now", "1985-04-12", "1985-04-12T23:20Z", "1985-04-12T23:20:50", "1985-04-12 23:20:50Z",
        "1985-4-12T23:20:50Z", "1985-02-29T23:20:50Z", "1985-13-01T00:00:00Z", "1985-04-12T24:00:00Z",
        "1985-04-12T23:60:00Z", "1985-04-12T23:20:60Z", "1990-12-30T23:59:60Z", "1990-12-31T23:59:61Z",
        "1985-04-12T23:20:50.Z", "1985-04-12T23:20:50+0200", "1985-04-12T23:20:50+24:00",
        "1985-W15-5T23:20:50Z", "19850412T232050Z", "0000-01-01T00:00:00Z", "9999-12-31T23:59:59-01:00",
        "1985-04-12T23:20:50Z\n", "١٩٨٥-04-12T23:20:50Z", "1985-04-12T23:20:50.1234Z" + "x" * 1000,
        "2026-19-39T29:59:59.000Z",
    ],
)  # fmt: skip
def test_other_text_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(timestamps.BadTimestamp, match="2026-03-01T18:30:00Z"):
        timestamps.parse_timestamp(text)


@settings(max_examples=200, deadline=None)
@given(st.datetimes(min_value=datetime(2, 1, 1), max_value=datetime(9998, 1, 1)), st.integers(-1439, 1439))
def test_written_timestamp_is_read_back_to_the_millisecond(naive: datetime, minutes: int) -> None:
    when = naive.replace(tzinfo=timezone(timedelta(minutes=minutes)))
    text = timestamps.format_timestamp(when)
    assert timestamps.LOG_FORM.fullmatch(text)
    assert timedelta(0) <= when - timestamps.parse_timestamp(text) < timedelta(milliseconds=1)


def test_timestamp_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        timestamps.format_timestamp(datetime(2026, 1, 1))
