"""Pictures that read without colour."""

from xml.etree import ElementTree as ET

from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.session.view.bench_view import Gauge
from benchflow.trade.pictures import Fastener, Words, gauge_lines, gauge_svg, joint_lines, joint_svg

SVG = "{http://www.w3.org/2000/svg}"
GUARDED = Gauge(low=0.25, high=0.75, guard_low=0.35, guard_high=0.65, value=0.72)
WORDS = Words("0.05 mm", "0.15 mm", "0.144 mm", "not-proven")


def test_a_reading_in_the_guard_band_is_seen_there_and_said_in_words() -> None:
    above, bar, below = gauge_lines(GUARDED, WORDS, 40)
    at = bar.index("?")
    assert bar[at - 1] == "~"
    assert bar.index("[") < at < bar.index("]")
    assert "0.144 mm not proven" in above
    assert below.split() == ["0.05", "mm", "0.15", "mm"]


def test_out_high_and_out_low_lie_on_their_own_sides_of_the_limit() -> None:
    for value, outside in ((0.95, 1), (0.05, -1)):
        _, bar, _ = gauge_lines(Gauge(0.25, 0.75, None, None, value), Words("a", "b", "c", "out"), 40)
        at = bar.index("×")
        assert (at > bar.index("]")) if outside > 0 else (at < bar.index("["))


def test_a_limit_open_below_is_drawn_open_below() -> None:
    _, bar, below = gauge_lines(Gauge(None, 0.66, None, None, None), Words("", "0.15 mm"), 30)
    assert bar.startswith("====")
    assert "[" not in bar
    assert below.strip() == "0.15 mm"


fractions = st.one_of(st.none(), st.floats(0, 1))


@settings(max_examples=100)
@given(fractions, fractions, fractions, fractions, fractions, st.integers(1, 120), st.text(max_size=20))
def test_no_gauge_breaks_out_of_its_width_or_of_its_markup(
    low: float | None, high: float | None, guard_low: float | None, guard_high: float | None,
    value: float | None, width: int, text: str,
) -> None:  # fmt: skip
    gauge = Gauge(low, high, guard_low, guard_high, value)
    words = Words("1 mm", "2 mm", text, "in")
    above, bar, _below = gauge_lines(gauge, words, width)
    assert len(bar) == max(width, 12)
    assert "\x1b" not in above
    ET.fromstring(gauge_svg(gauge, words, text))  # raises where the picture is no XML


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text")]


def test_a_picture_says_in_words_what_it_shows_by_shape() -> None:
    assert texts(gauge_svg(GUARDED, WORDS)) == ["0.05 mm", "0.15 mm", "0.144 mm · not proven"]


def test_a_title_with_markup_in_it_is_only_text() -> None:
    svg = gauge_svg(GUARDED, Words("<b>", "&", "\x1b]52;c;\x07</svg><script>"), '"><script>')
    assert "<script" not in svg
    assert "\x1b" not in svg
    ET.fromstring(svg)


def test_nothing_in_a_picture_reaches_out_of_the_page() -> None:
    for svg in (gauge_svg(GUARDED, WORDS), joint_svg(FLANGE, "Flange")):
        assert svg.count("http") == 1  # the namespace
        assert not any(word in svg for word in ("href", "url(", "@import", "<script", " id="))


FLANGE = (
    Fastener(1, 0, 1, "61 N·m"), Fastener(2, 2, 1, "61 N·m"), Fastener(3, 1, 2, "55 N·m", "out"),
    Fastener(4, 1, 0, "", "next"),
)  # fmt: skip


def test_a_joint_lies_in_the_picture_as_it_lies_on_the_bench() -> None:
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
        Fastener(n, row, column, "55 N·m +60° +45°") for row, cells in enumerate(rows) for column, n in enumerate(cells)
    ]
    lines = joint_lines(joint, 76)
    assert [line.split() for line in lines if "(" in line] == [[f"{n}(●)" for n in cells] for cells in rows]
    assert lines[1].split() == ["55", "N·m", "+60°"] * 5
    assert lines[2].split() == ["+45°"] * 5


def test_a_joint_too_wide_for_the_terminal_becomes_a_list_and_loses_nobody() -> None:
    wide = [Fastener(n, 0, n - 1, "61 N·m") for n in range(1, 25)]
    lines = joint_lines(wide, 80)
    assert len(lines) == 24
    assert lines[23].split()[0] == "24"


def test_a_joint_of_nothing_is_no_mistake() -> None:
    assert joint_lines((), 80) == ()
    ET.fromstring(joint_svg((), "Nothing"))
