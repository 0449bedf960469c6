"""Thread designations as people write them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.table import calculate
from benchflow.trade.calculations.thread_series import METRIC_PITCHES, thread_problem
from benchflow.trade.calculations.threads import COARSE_PITCHES, ThreadError, parse_thread


@pytest.mark.parametrize(
    ("text", "name", "diameter", "pitch"),
    [
        ("M10x1.25", "M10x1.25", 10, 1.25),
        ("m10 × 1.25", "M10x1.25", 10, 1.25),
        ("M10-1.25", "M10x1.25", 10, 1.25),
        ("M10", "M10x1.5", 10, 1.5),
        ("M10x1.5-6g", "M10x1.5", 10, 1.5),
        ("M2.5", "M2.5x0.45", 2.5, 0.45),
        ("1/2-20 UNF", "1/2-20", 0.5, 1 / 20),
        ("7/16-14", "7/16-14", 0.4375, 1 / 14),
        ("7/16 - 14 UNC-2A", "7/16-14", 0.4375, 1 / 14),
        ("1 1/8-12", "1 1/8-12", 1.125, 1 / 12),
        ("1-1/8-12", "1 1/8-12", 1.125, 1 / 12),
        (".250-28", ".250-28", 0.25, 1 / 28),
        ("#10-32", "#10-32", 0.19, 1 / 32),
        ("10-32 UNF", "#10-32", 0.19, 1 / 32),
        ("1-8", "1-8", 1.0, 1 / 8),
        ("1-72", "#1-72", 0.073, 1 / 72),
    ],
)
def test_thread_is_parsed_in_each_spelling(text: str, name: str, diameter: float, pitch: float) -> None:
    found = parse_thread(text)
    assert found.name == name
    assert (found.diameter, found.pitch) == pytest.approx((diameter, pitch))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("M10x12", "is not possible"),
        ("M11", "Write the pitch"),
        ("M0x0", "is not possible|Write the pitch"),
        ("1/0-20", "denominator"),
        ("#13-20", "#0 to #12"),
        ("1/2-1", "are not possible"),
        ("G 1/4", "Write it like"),
        ("", "Write it like"),
        ("M" + "9" * 60, "too long"),
    ],
)
def test_other_text_is_refused_with_an_example(text: str, message: str) -> None:
    with pytest.raises(ThreadError, match=message):
        parse_thread(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("M10x1.2", "has a pitch of 1.5, 1.25, 1 or 0.75 mm"), ("M13x1.5", "not a size of ISO 261"),
        ("1/2-20 UNC", "is UNF, not UNC"), ("1/2-24", "not in the thread series"), ("#10-30", "not in the thread"),
        ("0.3-20", "not in the thread series"), ("1/2-24 UNF", "is not a standard thread, not UNF"),
    ],
)  # fmt: skip
def test_thread_that_no_table_has_is_refused_by_a_calculation(text: str, message: str) -> None:
    assert message in thread_problem(parse_thread(text))
    with pytest.raises(CalculationErrors, match="special thread, write"):
        calculate("nut-travel", {"thread": text, "angle": "90°"})


@pytest.mark.parametrize(
    "text",
    [
        "M10", "M11x1.5", "M14x1.25", "M80x4", "1/2-20 UNF", "7/16-14", "#10-32", "10-24 UNC", "1-14", "9/16-18 UNF-2A",
        ".250-28", "3/8-24 UNJF", "1 5/8-12", "M10x1.2 special", "M13x1.5 (special)", "1/2-24 UNS", "1/2-24 special",
    ],
)  # fmt: skip
def test_standard_thread_and_a_thread_marked_special_are_accepted(text: str) -> None:
    assert thread_problem(parse_thread(text)) == ""
    assert calculate("nut-travel", {"thread": text, "angle": "90°"}).lines


def test_each_coarse_pitch_is_in_the_table_of_pitches() -> None:
    for size, pitch in COARSE_PITCHES.items():
        assert METRIC_PITCHES[size].split()[0] == pitch


@settings(max_examples=200)
@given(st.text(alphabet='M#x×-/. 0123456789UNFCab"', max_size=24))
def test_any_text_gives_a_thread_or_an_error(text: str) -> None:
    try:
        found = parse_thread(text)
    except ThreadError:
        return
    assert 0 < found.stress_area < found.diameter**2
    assert parse_thread(found.name).name == found.name
