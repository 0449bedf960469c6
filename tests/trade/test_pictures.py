"""Pictures of gauges and joints. They are readable without colour."""

from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.procedure.model import JointSides
from benchflow.session.view.bench_view import GaugePositions
from benchflow.trade.gauge_picture import GaugeTexts, gauge_svg
from benchflow.trade.joint_picture import FastenerCell, joint_lines, joint_svg, side_line
from benchflow.trade.verdict import Verdict

SVG = "{http://www.w3.org/2000/svg}"
GUARDED = GaugePositions(low=0.25, high=0.75, guard_low=0.35, guard_high=0.65, value=0.72)
TEXTS = GaugeTexts("0.05 mm", "0.15 mm", "0.144 mm", "not-proven")


fractions = st.one_of(st.none(), st.floats(0, 1))


@settings(max_examples=100)
@given(fractions, fractions, fractions, fractions, fractions, st.integers(40, 400), st.text(max_size=20))
def test_gauge_is_valid_xml_and_stays_within_its_width(
    low: float | None, high: float | None, guard_low: float | None, guard_high: float | None,
    value: float | None, width: int, text: str,
) -> None:  # fmt: skip
    gauge = GaugePositions(low, high, guard_low, guard_high, value)
    words = GaugeTexts("1 mm", "2 mm", text, "ok")
    picture = ET.fromstring(gauge_svg(gauge, words, text, width))  # raises an error if it is not XML
    for mark in picture.findall(f"{SVG}circle"):
        assert 0 <= float(mark.get("cx", "")) <= width


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text")]


def test_gauge_shows_the_verdict_as_words() -> None:
    assert texts(gauge_svg(GUARDED, TEXTS)) == ["0.05 mm", "0.15 mm", "0.144 mm · not proven"]
    cases: list[tuple[float, Verdict, str]] = [(0.9, "high", "HIGH"), (0.1, "low", "LOW"), (0.5, "ok", "ok")]
    for value, verdict, words in cases:
        drawn = gauge_svg(replace(GUARDED, value=value), GaugeTexts("", "", "1 mm", verdict))
        assert texts(drawn)[-1] == f"1 mm · {words}"


@pytest.mark.parametrize(
    ("verdict", "circles", "fill"), [("ok", 1, "#000"), ("not-proven", 1, "#fff"), ("low", 0, ""), ("high", 0, "")]
)
def test_gauge_shows_the_verdict_by_the_shape_of_its_mark(verdict: Verdict, circles: int, fill: str) -> None:
    found = ET.fromstring(gauge_svg(GUARDED, GaugeTexts("", "", "1 mm", verdict))).findall(f"{SVG}circle")
    assert [one.get("fill") for one in found] == [fill] * circles


def test_guard_bands_are_inside_the_limit_at_its_ends() -> None:
    bands = [one for one in ET.fromstring(gauge_svg(GUARDED, TEXTS)).findall(f"{SVG}rect") if one.get("fill") == "#bbb"]
    edges = [float(one.get("x", "")) + end * float(one.get("width", "")) for one in bands for end in (0, 1)]
    assert edges == pytest.approx([86, 115.6, 204.4, 234])


def test_markup_in_a_text_stays_text() -> None:
    svg = gauge_svg(GUARDED, GaugeTexts("<b>", "&", "\x1b]52;c;\x07</svg><script>"), '"><script>')
    assert "<script" not in svg
    assert "\x1b" not in svg
    ET.fromstring(svg)


def test_picture_has_no_external_references() -> None:
    for svg in (gauge_svg(GUARDED, TEXTS), joint_svg(FLANGE, "Flange")):
        assert svg.count("http") == 1  # the namespace
        assert not any(word in svg for word in ("href", "url(", "@import", "<script", " id="))


FLANGE = (
    FastenerCell(1, 0, 1, "61 N·m"), FastenerCell(2, 2, 1, "61 N·m"), FastenerCell(3, 1, 2, "55 N·m", "out-of-limit"),
    FastenerCell(4, 1, 0, "", "next"),
)  # fmt: skip


def test_fasteners_are_drawn_in_their_places() -> None:
    lines = joint_lines(FLANGE, 80)
    assert [line.split() for line in lines if "(" in line] == [["1(●)"], ["4(>)", "3(×)"], ["2(●)"]]
    assert lines[0].index("1") > lines[2].index("4")
    circles = ET.fromstring(joint_svg(FLANGE, "Flange")).findall(f"{SVG}circle")
    places = {(float(one.get("cx", "")), float(one.get("cy", ""))) for one in circles}
    assert len(places) == 3
    assert "×" in texts(joint_svg(FLANGE, "Flange"))


def test_long_text_below_a_fastener_is_wrapped_and_the_joint_stays_a_map() -> None:
    rows = ((8, 4, 1, 5, 9), (10, 6, 2, 3, 7))
    joint = [
        FastenerCell(n, row, column, "55 N·m +60° +45°")
        for row, cells in enumerate(rows)
        for column, n in enumerate(cells)
    ]
    lines = joint_lines(joint, 76)
    assert [line.split() for line in lines if "(" in line] == [[f"{n}(●)" for n in cells] for cells in rows]
    assert lines[1].split() == ["55", "N·m", "+60°"] * 5
    assert lines[2].split() == ["+45°"] * 5


def test_joint_too_wide_for_the_terminal_becomes_a_complete_list() -> None:
    wide = [FastenerCell(n, 0, n - 1, "61 N·m") for n in range(1, 25)]
    lines = joint_lines(wide, 80)
    assert len(lines) == 24
    assert lines[23].split()[0] == "24"


def test_joint_without_fasteners_can_be_drawn() -> None:
    assert joint_lines((), 80) == ()
    ET.fromstring(joint_svg((), "Nothing"))


SIDES = JointSides("front", "rear", "exhaust side", "intake side")


def test_sides_are_named_where_they_are() -> None:
    above, *_, below = joint_lines(FLANGE, 80, SIDES)
    assert above.split("  ")[0] == "◄ front"
    assert "▲ exhaust side" in above
    assert above.endswith("rear ►")
    assert below.strip() == "▼ intake side"
    svg = ET.fromstring(joint_svg(FLANGE, "Flange", SIDES))
    places = {one.text: (float(one.get("x", "")), float(one.get("y", ""))) for one in svg.iter(f"{SVG}text")}
    assert places["front"][0] < places["4"][0] < places["3"][0] < places["rear"][0]
    assert places["exhaust side"][1] < places["1"][1] < places["2"][1] < places["intake side"][1]


def test_joint_with_some_sides_names_only_these() -> None:
    assert side_line(JointSides(top="exhaust side"), 40).strip() == "▲ exhaust side"
    assert side_line(JointSides(left="front"), 40) == "◄ front"
    assert side_line(JointSides(right="rear"), 40) == f"{'rear ►':>40}"
    assert joint_lines(FLANGE, 80, JointSides(left="front"))[1:] == joint_lines(FLANGE, 80)


@given(st.builds(JointSides, *[st.text(max_size=24)] * 4), st.integers(1, 90))
def test_side_line_names_every_side_at_any_width(sides: JointSides, width: int) -> None:
    line = side_line(sides, width)
    assert all(text.strip() in line for text in (sides.left, sides.top, sides.right))
