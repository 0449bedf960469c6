"""Drawing: everything important fits on 80 by 24, and is readable without colour."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.procedure.model import NO_SIDES, JointSides
from benchflow.session.view.bench_view import (
    ClockRow,
    GaugePositions,
    Input,
    OperationRow,
    Reading,
    StateRow,
    TightenInput,
)
from benchflow.tui.draw.bench_layout import BenchContent, draw_bench
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.joint_map import joint_list, joint_pictures, list_height
from benchflow.tui.draw.large_letters import large_lines, large_wrapped
from benchflow.tui.draw.large_type import draw_large
from benchflow.tui.draw.section_progress import draw_sections
from benchflow.tui.draw.side_column import draw_side, draw_state
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
    rows = texts(second.lines).splitlines()
    column = rows[0].index("1 ") - 1
    assert rows[1][column:].strip().startswith("||·")
    assert "|··" in rows[1]


@pytest.mark.parametrize("sides", [NO_SIDES, JointSides("front"), JointSides("front", "rear", "top", "bottom")])
@pytest.mark.parametrize("width", [12, 40, 60, 100])
def test_picture_of_a_joint_has_the_stated_number_of_rows(sides: JointSides, width: int) -> None:
    drawn = msgspec.structs.replace(joint(), sides=sides)
    for picture in joint_pictures(drawn, width):
        assert len(picture.lines) == picture.height
        assert all(width_of(line) <= width for line in picture.lines)
    assert len(joint_list(drawn, width)) == list_height(drawn, width)


def test_joint_too_wide_for_the_screen_is_drawn_as_a_list() -> None:
    drawn = texts(joint_list(joint(), 20))
    assert [int(number) for number in re.findall(r"\d+", drawn)] == list(range(1, 11))


def test_stages_are_shown_as_a_digit_if_there_are_too_many_for_strokes() -> None:
    many: TightenInput = joint(done=3, stage=6, stages=tuple(f"{n} N·m" for n in range(10, 80, 10)))
    assert "6" in texts(joint_list(many, 70))


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


def test_large_type_enlarges_the_step_and_not_the_title() -> None:
    for shown in (now(FLOAT, in_progress=False), now(CHECK)):
        item = next(iter(bench_inputs(shown)), None)
        words = texts(draw_large(view(shown), BenchContent(NOON, OperationTask(shown), item), 80, 30).lines)
        step = "The cam turns freely" if item else "1 Oil the journals"
        assert plain(large_lines(step[:8])[1]).rstrip() in words
        assert plain(large_lines("Seat the")[1]).rstrip() not in words
        assert "23 Seat the intake cam" in words


def test_large_type_enlarges_the_countdown_beside_the_step() -> None:
    shown = now(FLOAT, in_progress=False)
    words = texts(draw_large(view(shown, (CLOSING,)), BenchContent(NOON, OperationTask(shown)), 80, 30).lines)
    assert all(plain(line).strip() in words for line in large_lines("0:44"))


def test_large_type_says_how_many_instruction_lines_are_hidden() -> None:
    shown = msgspec.structs.replace(now(FLOAT), do=tuple(f"{n} Line {n}." for n in range(1, 21)))
    picture = draw_large(view(shown), BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0]), 80, 24)
    words = texts(picture.lines)
    seen = sum(f"Line {n}." in words for n in range(1, 21))
    assert picture.hidden == 20 - seen > 0
    assert f"▼ {picture.hidden} more lines (PgDn)" in words


WIDE_SIZES = ((120, 40), (200, 50))


@pytest.mark.parametrize("size", WIDE_SIZES)
def test_wide_screen_has_the_number_on_the_tool_in_large_letters(size: tuple[int, int]) -> None:
    with_extension = msgspec.structs.replace(joint(), wrench_setting="52.2 N·m")
    for drawn, number in ((joint(), "60 N·m"), (with_extension, "52.2 N·m")):
        shown = now(drawn)
        scene = BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0])
        words = texts(draw_bench(view(shown), scene, *size).lines)
        assert all(plain(line).strip() in words for line in large_lines(number)), number
    assert "as set on the tool; 60 N·m at the fastener" in words


def test_wrench_setting_has_its_own_line_on_a_small_screen() -> None:
    shown = now(msgspec.structs.replace(joint(), wrench_setting="52.2 N·m"))
    scene = BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0])
    lines = draw_bench(view(shown, (CLOSING,)), scene, 80, 19).lines
    at = next(y for y, line in enumerate(lines) if (" 52.2 N·m ", "next") in line)
    assert "as set on the tool (60 N·m at the" in plain(lines[at + 1])


@pytest.mark.parametrize("size", WIDE_SIZES)
def test_wide_screen_shows_all_sections_and_the_operations_of_the_current_one(size: tuple[int, int]) -> None:
    rows = tuple(
        OperationRow(f"o{n}", n, f"Operation {n}", "done" if n < 5 else "ready", section=f"Section {(n - 1) // 4 + 1}")
        for n in range(1, 13)
    )
    shown = msgspec.structs.replace(now(FLOAT), operation="o6")
    whole = msgspec.structs.replace(view(shown), operations=rows)
    words = texts(draw_bench(whole, BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0]), *size).lines)
    for section, done in (("● Section 1", "4 of 4"), ("► Section 2", "0 of 4"), ("○ Section 3", "0 of 4")):
        assert re.search(rf"{section} +{done}", words), section
    assert "SECTION 2 ─" in words
    assert "►  6 Operation 6" in words
    assert "○  8 Operation 8" in words


@pytest.mark.parametrize("size", WIDE_SIZES)
def test_wide_screen_has_a_table_of_the_readings(size: tuple[int, int]) -> None:
    gauge = GaugePositions(0.25, 0.75, None, None, 0.9)
    out = Reading("front", "0.18 mm", "high", distance="by 0.03 mm", gauge=gauge)
    inside = Reading("rear", "0.10 mm", "ok", gauge=msgspec.structs.replace(gauge, value=0.5))
    shown = now(msgspec.structs.replace(FLOAT, readings=(out, inside)))
    lines = draw_bench(view(shown), BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0]), *size).lines
    table = texts(lines)
    assert re.search(r"► front  0\.18 mm  HIGH by 0\.03 mm +─+\[━+\]─+●─+", table), table
    assert re.search(r"  rear   0\.10 mm  ok +─+\[━+●━+\]─+", table)
    assert any(("HIGH by 0.03 mm", "out-of-limit") in line for line in lines)


@pytest.mark.parametrize("size", WIDE_SIZES)
def test_wide_screen_draws_the_part_with_its_sides(size: tuple[int, int]) -> None:
    sides = JointSides("front", "rear", "exhaust side", "intake side")
    shown = now(msgspec.structs.replace(joint(), sides=sides))
    scene = BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0])
    rows = texts(draw_bench(view(shown), scene, *size).lines).splitlines()
    top, bottom = (next(y for y, row in enumerate(rows) if side in row) for side in ("exhaust side", "intake side"))
    assert "┌" in rows[top + 1]
    assert "└" in rows[bottom - 1]
    assert any(re.search(r"front │.*│ rear", row) for row in rows[top:bottom])


def test_failed_fastener_has_a_mark_and_the_joint_says_what_to_do() -> None:
    whole = joint()
    broken = msgspec.structs.replace(whole.fasteners[0], failed="broken")
    stopped = msgspec.structs.replace(
        whole, fasteners=(broken, *whole.fasteners[1:]), stopped="No. 8 broke. Repair it."
    )
    shown = now(stopped)
    words = texts(
        draw_bench(view(shown), BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0]), 80, 24).lines
    )
    assert "▲ No. 8 broke. Repair it." in words
    assert re.search(r" 8 +!!", words)


def test_break_within_a_stage_is_shown_at_the_joint() -> None:
    shown = now(msgspec.structs.replace(joint(), resume_text="last: no. 6. Check no. 6, then no. 7."))
    words = texts(
        draw_bench(view(shown), BenchContent(NOON, OperationTask(shown), bench_inputs(shown)[0]), 80, 24).lines
    )
    assert "▲ last: no. 6. Check no. 6, then no. 7." in words


@pytest.mark.parametrize("size", [(80, 24), *WIDE_SIZES])
def test_finished_operation_shows_its_entries(size: tuple[int, int]) -> None:
    read = msgspec.structs.replace(FLOAT, readings=(Reading("1", "0.11 mm", "ok"),), complete=True)
    shown = msgspec.structs.replace(now(read, in_progress=False), done=True)
    words = texts(draw_bench(view(shown), BenchContent(NOON, OperationTask(shown)), *size).lines)
    assert "Done · 22 of 48 done" in words
    assert "0.11 mm  ok" in words
    assert "To enter" not in words


@pytest.mark.parametrize("size", [(80, 24), *WIDE_SIZES])
def test_reopened_operation_says_so_and_names_the_rework(size: tuple[int, int]) -> None:
    shown = msgspec.structs.replace(now(FLOAT, in_progress=False), done=True, reopened=True, rework="a")
    words = texts(draw_bench(view(shown), BenchContent(NOON, OperationTask(shown)), *size).lines)
    assert "Reopened · 22 of 48 done" in words
    assert "→ Rework 22 Fit the followers (u)" in words


def test_reason_that_is_too_long_ends_with_an_ellipsis() -> None:
    row = OperationRow(
        "a", 1, "First", "blocked", "Do the second, the third, the fourth, the fifth and the sixth first."
    )
    words = texts(draw_side(msgspec.structs.replace(view(None), operations=(row,), state_rows=()), 29, 12))
    assert "the fourth, the fifth and…" in words


def test_current_section_is_among_those_shown() -> None:
    rows = [OperationRow(f"o{n}", n, f"Operation {n}", "ready", section=f"Section {n}") for n in range(1, 21)]
    words = texts(draw_sections(rows, "o15", 40, 6))
    assert "► Section 15" in words
    assert "and 16 more sections (o)" in words
    assert draw_sections(rows, "o15", 40, 5) == []


@pytest.mark.parametrize("inputs", [(CHECK,), (HOLD,), ()])
def test_very_wide_screen_has_the_section_where_there_is_no_picture(inputs: tuple[Input, ...]) -> None:
    rows = tuple(OperationRow(f"o{n}", n, f"Operation {n}", "ready", section="All of it") for n in range(1, 10))
    shown = msgspec.structs.replace(now(*inputs), operation="o6")
    whole = msgspec.structs.replace(view(shown), operations=rows)
    item = next(iter(bench_inputs(shown)), None)
    lines = draw_bench(whole, BenchContent(NOON, OperationTask(shown), item), 200, 50).lines
    first = plain(lines[1])
    assert first.index("In progress") < first.index("ALL OF IT") < first.index("STATE")


def test_map_of_the_joint_stays_on_a_very_wide_screen_while_its_check_is_ticked() -> None:
    shown = now(msgspec.structs.replace(joint(), sides=JointSides("front")), CHECK)
    check = bench_inputs(shown)[1]
    words = texts(draw_bench(view(shown), BenchContent(NOON, OperationTask(shown), check), 200, 50).lines)
    assert "► [ ] The cam turns freely" in words
    assert "front │" in words


def test_long_wait_is_shown_as_a_clock_time() -> None:
    wait = ClockRow("run", "Run the engine", "Apply sealant", "wait", 86000.0, "", until="Sun 16:04")
    assert "wait until Sun 16:04" in texts(draw_side(view(now(), (wait,)), 40, 30))
    soon = msgspec.structs.replace(wait, seconds=600.0)
    assert "10:00 to wait" in texts(draw_side(view(now(), (soon,)), 40, 30))


def test_large_type_enlarges_the_figure_and_leaves_rows_for_the_instruction() -> None:
    shown = now(FLOAT, CHECK)
    item = bench_inputs(shown)[0]
    words = texts(draw_large(view(shown), BenchContent(NOON, OperationTask(shown), item), 80, 24).lines)
    assert "23 Seat the intake cam" in words
    assert "Start every nut by hand" in words


def test_limit_that_does_not_fit_beside_the_field_is_above_it() -> None:
    long = now(msgspec.structs.replace(FLOAT, limit="0.05 .. 0.20 mm (0.002 .. 0.008 in), second shim"))
    scene = BenchContent(NOON, OperationTask(long), bench_inputs(long)[0])
    lines = texts(draw_bench(view(long), scene, 80, 24).lines).splitlines()
    at = next(y for y, line in enumerate(lines) if "] mm" in line)
    above = " ".join(line[:48].strip() for line in lines[at - 2 : at])
    assert "0.05 .. 0.20 mm (0.002 .. 0.008 in), second shim" in above


def test_long_titles_of_the_state_are_wrapped_or_cut_inside_so_that_they_differ() -> None:
    rows = [
        StateRow(f"rail-{number}", f"The shifter rail {gears}", "not-fitted", known=True)
        for number, gears in enumerate(("1st/2nd", "3rd/4th", "5th/rev"))
    ]
    wrapped = [plain(line) for line in draw_state(rows, 29, 12)]
    assert [line.rstrip() for line in wrapped[1:3]] == ["The shifter rail   not-fitted", "1st/2nd"]
    few = [plain(line) for line in draw_state(rows, 29, 4)]
    assert [line.split("…")[1].split()[0] for line in few[1:]] == ["1st/2nd", "3rd/4th", "5th/rev"]
