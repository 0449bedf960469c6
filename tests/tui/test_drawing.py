"""Drawing: everything important fits on 80 by 24, and is readable without colour."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.session.view.bench_view import ClockRow, GaugePositions, OperationRow, StateRow, TightenInput
from benchflow.tui.draw.bench_layout import BenchContent, draw_bench
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.joint_map import joint_list, joint_pictures
from benchflow.tui.draw.large_letters import large_lines, large_wrapped
from benchflow.tui.draw.large_type import draw_large
from benchflow.tui.draw.side_column import draw_side
from benchflow.tui.draw.styled_lines import Line, cut, plain, width_of, wrap
from benchflow.tui.model.bench_inputs import bench_inputs, next_input
from benchflow.tui.model.current_task import OperationTask
from benchflow.tui.model.typed_text import TypedText
from tests.tui.samples import CHECK, CLOSING, FLOAT, HOLD, SEALANT, joint, now, view

NOON = datetime(2030, 1, 1, 14, 7, tzinfo=UTC)


def texts(lines: tuple[Line, ...] | list[Line]) -> str:
    return "\n".join(plain(line) for line in lines)


def scenes() -> Iterator[tuple[str, BenchContent, tuple[object, ...]]]:
    for inputs in ((FLOAT, CHECK, HOLD), (joint(), CHECK, HOLD)):
        shown = now(*inputs)
        items = bench_inputs(shown)
        for at, item in enumerate(items):
            yield f"{type(inputs[0]).__name__}-{at}", BenchContent(NOON, OperationTask(shown), item), inputs
    yield "ready to start", BenchContent(NOON, OperationTask(now(FLOAT, in_progress=False))), ()


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (100, 30)])
@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize(("scene", "inputs"), [(s, i) for _, s, i in scenes()], ids=[name for name, _, _ in scenes()])
def test_task_cautions_state_clock_and_next_steps_are_visible_for_every_input(
    scene: BenchContent, inputs: tuple[object, ...], size: tuple[int, int], large: bool
) -> None:
    assert isinstance(scene.task, OperationTask)
    shown = view(scene.task.view, (CLOSING, SEALANT))
    picture = (draw_large if large else draw_bench)(shown, scene, *size)
    words = texts(picture.lines)
    assert len(picture.lines) <= size[1]
    assert all(width_of(line) <= size[0] for line in picture.lines)
    assert large or "Seat the intake cam" in words
    assert "CAUTION" in words
    assert "evenly" in words
    for row in shown.state_rows:
        assert row.value in words or "? not known" in words
    assert "0:44" in words
    assert "Draw down" in words
    assert "27 Time the cams" in words
    assert "Set the head down now." in words


def test_whole_state_is_visible_with_many_clocks() -> None:
    clocks = tuple(ClockRow(f"op-{n}", f"Operation {n}", "since", "missed", -60.0 * n, "late") for n in range(1, 5))
    seven = tuple(StateRow(f"v{n}", f"Part {n}", f"value {n}") for n in range(1, 8))
    crowded = msgspec.structs.replace(view(now(), clocks), state_rows=seven)
    text = texts(draw_side(crowded, 29, 16))
    assert all(f"value {n}" in text for n in range(1, 8))
    assert "and 2 more" in text  # the number of hidden clocks is shown
    assert "NEXT" in text


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_next_fastener_and_all_numbers_are_visible_on_the_smallest_screen(size: tuple[int, int]) -> None:
    shown = now(joint(), CHECK, HOLD)
    picture = draw_bench(
        view(shown, (CLOSING,)), BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0]), *size
    )
    words = texts(picture.lines)
    assert "►7◄" in words
    assert "6 of 10, stage 2 of 3: 60 N·m" in words
    left = "\n".join(line[: size[0] - 32] for line in words.splitlines())
    assert all(f" {number} " in left for number in (8, 4, 1, 5, 9, 10, 6, 2, 3))


def test_strokes_show_the_stages_done_of_a_fastener() -> None:
    (_, second, *_) = joint_pictures(joint(done=1, stage=2), 60)
    rows = texts(second).splitlines()
    column = rows[0].index("1 ") - 1
    assert rows[1][column:].strip().startswith("||·")
    assert "|··" in rows[1]


def test_joint_too_wide_for_the_screen_is_drawn_as_a_list() -> None:
    drawn = texts(joint_list(joint(), 20))
    assert [int(number) for number in re.findall(r"\d+", drawn)] == list(range(1, 11))


def test_stages_are_shown_as_a_digit_if_there_are_too_many_for_strokes() -> None:
    many: TightenInput = joint(done=3, stage=6, stages=tuple(f"{n} N·m" for n in range(10, 80, 10)))
    assert "6" in texts(joint_pictures(many, 70)[1]).splitlines()[1]


@pytest.mark.parametrize(
    ("gauge", "drawn"),
    [
        (GaugePositions(0.25, 0.75, None, None, 0.5), "───[━●━]───"),
        (GaugePositions(0.25, 0.75, None, None, 0.0), "●──[━━━━]──"),
        (GaugePositions(None, 0.5, None, None, 0.2), "━━●━━]─────"),
        (GaugePositions(0.2, 0.8, 0.3, 0.7, None), "──[━━━━━]──"),
    ],
)
def test_gauge_is_readable_without_colour(gauge: GaugePositions, drawn: str) -> None:
    shown = plain(draw_gauge(gauge, 11))
    assert shown.count("●") == (gauge.value is not None)
    if gauge.value is not None and gauge.low is not None and gauge.high is not None:
        inside = shown.index("[") < shown.index("●") < shown.index("]")
        assert inside is (gauge.low < gauge.value < gauge.high)
    assert len(shown) == len(drawn) == 11


def test_guard_band_is_drawn_with_another_line_than_the_limit() -> None:
    assert "╌" in plain(draw_gauge(GaugePositions(0.1, 0.9, 0.3, 0.7, 0.5), 21))


def test_typed_value_is_shown_converted_and_on_the_gauge() -> None:
    shown = now(FLOAT)
    typed = TypedText("4.7 thou", "0.119 mm", gauge=GaugePositions(0.25, 0.75, None, None, 0.6))
    words = texts(
        draw_bench(view(shown), BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0], typed), 80, 24).lines
    )
    assert "= 0.119 mm" in words
    assert "●" in words


def test_first_open_input_after_the_current_one_is_selected_next() -> None:
    items = bench_inputs(now(FLOAT, CHECK))
    assert next_input(items) == 0
    assert next_input(items, 0) == 1


def test_long_text_is_cut_with_an_ellipsis_and_wide_letters_count_double() -> None:
    assert cut("Seat the intake cam", 8) == "Seat th…"
    assert all(width_of(((part, "text"),)) <= 6 for part in wrap("曲軸を回す 90°", 6))


def test_large_letters_have_four_rows_and_unknown_letters_stay_normal() -> None:
    assert len(large_lines("60 N·m")) == 4
    assert plain(large_lines("曲軸")[0]) == "曲軸"
    assert len(large_wrapped("Tighten the head in three equal stages", 60, 2)) == 8


def test_status_is_shown_by_a_word_and_a_shape() -> None:
    rows = (OperationRow("a", 1, "First", "ready"), OperationRow("b", 2, "Second", "blocked", "not yet"))
    shown = view(None)
    words = texts(draw_bench(msgspec.structs.replace(shown, operations=rows), BenchContent(NOON), 80, 24).lines)
    assert "○  1 First" in words
    assert "BLOCKED" in words
    assert "×  2 Second" in words
    assert "not yet" in words


WORDS = st.text(st.characters(codec="utf-8"), max_size=60)


@settings(max_examples=60, deadline=None)
@given(st.integers(8, 200), st.integers(4, 60), WORDS, WORDS, st.booleans(), st.integers(0, 2))
def test_lines_never_exceed_the_screen_for_any_text_and_size(
    width: int, height: int, title: str, do: str, large: bool, at: int
) -> None:
    shown = msgspec.structs.replace(now(joint(), FLOAT, CHECK), title=title, do=(do, "2 " + do))
    scene = BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[at], scrolled=at)
    picture = (draw_large if large else draw_bench)(view(shown, (CLOSING,)), scene, width, height)
    assert len(picture.lines) <= height
    assert all(width_of(line) <= width for line in picture.lines)


def test_large_type_enlarges_the_figure_and_leaves_rows_for_the_instruction() -> None:
    shown = now(FLOAT, CHECK)
    item = bench_inputs(shown)[0]
    words = texts(draw_large(view(shown), BenchContent(NOON, OperationTask(shown), item), 80, 24).lines)
    assert "23 Seat the intake cam" in words
    assert "Start every nut by hand" in words
