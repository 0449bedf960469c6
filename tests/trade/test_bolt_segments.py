"""Segments of a bolt as text, and refused bolts and joints."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.trade.calculations.bolt_resilience import (
    SegmentError,
    bolt_resilience,
    grip_of,
    parse_segments,
)
from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.table import calculate
from benchflow.trade.calculations.threads import parse_thread

M10 = parse_thread("M10x1.5")


@pytest.mark.parametrize(
    "text",
    [
        "shank 80 mm × 10 mm, neck 20 x 8.5 mm, thread 15 mm", "Shank 80x10mm; NECK 20mm*8.5mm; thread 15mm",
        "shank 8 cm x 10 mm , neck 20 ø 8.5 mm,thread 1.5 cm,", "shank 80 mm, neck 20 × 8.5 mm, thread 15 mm",
    ],
)  # fmt: skip
def test_segments_are_read_in_each_spelling(text: str) -> None:
    found = parse_segments(text, M10)
    assert [(one.kind, one.length, one.diameter) for one in found] == [
        ("shank", 80, 10), ("neck", 20, 8.5), ("thread", 15, 10),
    ]  # fmt: skip
    assert grip_of(found) == 115


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no segments"), (" , ", "no segments"), ("80 x 10 mm", "not a segment"), ("shank", "not a segment"),
        ("shank 80 x 10 x 3 mm", "not a segment"), ("bolt 80 mm", "not a segment"), ("threads 80 mm", "not a segment"),
        ("thread 15 x 10 mm", "Leave it out"), ("neck 20 mm", "needs the diameter"),
        ("shank 80 x 10", "80 x 10"), ("shank 80 x 10 N", "80 x 10 N"), ("shank 0 mm", "above zero"),
        ("shank -80 x 10 mm", "above zero"), ("shank 10 x 80 mm", "length comes first"),
        ("neck 20 x 11 mm", "from 4 to 10 mm"), ("neck 20 x 2 mm", "from 4 to 10 mm"),
        ("shank 80 x 20 mm", "from 6 to 15 mm"), ("shank 80 m", "200 times"), ("thread 1 mm," * 13, "at most 12"),
        ("shank 80 mm, neck 20 x 8,5 mm", "not a segment|Write"),
    ],
)  # fmt: skip
def test_other_segments_are_refused_with_the_reason(text: str, message: str) -> None:
    with pytest.raises(SegmentError, match=message):
        parse_segments(text, M10)


lengths = st.integers(1, 20000).map(lambda number: number / 100)
segment_texts = st.one_of(
    st.tuples(st.sampled_from(["shank", "neck"]), lengths, st.integers(60, 100)).map(
        lambda parts: f"{parts[0]} {parts[1]} x {parts[2] / 10} mm"
    ),
    lengths.map(lambda length: f"thread {length} mm"),
)


@given(st.lists(segment_texts, min_size=1, max_size=6))
def test_segments_in_a_row_are_as_resilient_as_all_of_them_alone(texts: list[str]) -> None:
    together = parse_segments(", ".join(texts), M10)
    alone = [parse_segments(text, M10) for text in texts]
    assert together == tuple(segment for segments in alone for segment in segments)
    assert bolt_resilience(M10, together, "none", "none").total == pytest.approx(
        sum(bolt_resilience(M10, segments, "none", "none").total for segments in alone)
    )


ANGLE = {
    "angle": "60°", "thread": "M10x1.5", "segments": "shank 60 x 10 mm, thread 15 mm", "bearing-diameter": "14.6 mm",
    "hole-diameter": "11 mm", "joint-diameter": "40 mm",
}  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "field", "message"),
    [
        ({"segments": ""}, "segments", "Enter the segments"),
        ({"segments": "", "length": "80 mm", "head": "socket"}, "head", "only with its segments"),
        ({"length": "80 mm"}, "length", "only one of the two"),
        ({"joint-stiffness": "600000 N/mm"}, "joint-stiffness", "only one of the two"),
        ({"joint-diameter": ""}, "joint-diameter", "needed together"),
        ({"bearing-diameter": "", "joint-stiffness": "600000 N/mm"}, "hole-diameter", "not used"),
        ({"bearing-diameter": "", "hole-diameter": "", "joint-diameter": ""}, "joint-diameter", "come out too high"),
        ({"bearing-diameter": "146 mm"}, "bearing-diameter", "does not belong"),
        ({"hole-diameter": "9 mm"}, "hole-diameter", "does not belong"),
        ({"hole-diameter": "15 mm"}, "hole-diameter", "not smaller"),
        ({"joint-diameter": "10 mm"}, "joint-diameter", "cannot have a hole"),
        ({"angle": "0°"}, "angle", "from 0.1"), ({"angle": "-60°"}, "angle", "from 0.1"),
        ({"angle": "700°"}, "angle", "No bolt carries that"), ({"snug": "-1 kN"}, "snug", "from 0 N"),
        ({"modulus": "205 MPa"}, "modulus", "Steel has"), ({"class": "11.9"}, "class", "not known|no class"),
    ],
)  # fmt: skip
def test_impossible_bolt_or_joint_is_refused_at_its_field(changes: dict[str, str], field: str, message: str) -> None:
    with pytest.raises(CalculationErrors, match=message) as caught:
        calculate("preload-from-angle", ANGLE | changes)
    assert [error.field for error in caught.value.errors] == [field]


def test_preload_from_angle_shows_the_proof_load_as_its_limit() -> None:
    low = calculate("preload-from-angle", ANGLE | {"class": "10.9", "angle": "60°"})
    assert low["share"].value < 100
    assert low.cautions == ()
    high = calculate("preload-from-angle", ANGLE | {"class": "10.9", "angle": "150°"})
    assert high["share"].value > 100
    assert "above the proof load" in high.cautions[0].text


def test_result_says_that_a_length_alone_was_taken_as_thread() -> None:
    found = calculate("stretch", {"force": "45 kN", "thread": "M10", "length": "100 mm"})
    assert "Assumed: thread over the whole length" in found.notes[0]
    assert "26 % less" in found.notes[0]  # 1 − 57.99 / 78.54
    assert "a rigid joint" in calculate("angle", {"stress": "500 MPa", "thread": "M10", "length": "99 mm"}).notes[1]


@pytest.mark.parametrize(
    ("name", "texts", "field"),
    [
        ("stretch", {"force": "0 N"}, "force"), ("stretch", {"force": "-45 kN"}, "force"),
        ("stretch", {"force": "450 kN"}, "force"), ("preload-from-stretch", {"stretch": "15 mm"}, "stretch"),
        ("preload-from-stretch", {"stretch": "0 mm"}, "stretch"), ("angle", {"stress": "62000 MPa"}, "stress"),
        ("stretch", {"force": "45 kN", "length": "0 mm"}, "length"),
        ("stretch", {"force": "45 kN", "length": "100 m"}, "length"),
    ],
)  # fmt: skip
def test_load_that_no_bolt_carries_is_refused(name: str, texts: dict[str, str], field: str) -> None:
    with pytest.raises(CalculationErrors) as caught:
        calculate(name, {"thread": "M10", "length": "100 mm"} | texts)
    assert [error.field for error in caught.value.errors] == [field]
