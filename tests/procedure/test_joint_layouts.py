"""Layouts of joints: positions and tightening order of the fasteners."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.procedure.joint_layouts import (
    Layout,
    drawn_cells,
    grid,
    middle_out_layout,
    star_labels,
    star_layout,
    star_order,
)


def _drawn(text: str) -> Layout:
    return grid([drawn_cells(line) for line in text.splitlines() if line.strip()])


def _numbers(layout: Layout) -> list[int]:
    return sorted(number for row in layout for number in row if number is not None)


# --- star -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "order"),
    [  # ASME PCC-1 legacy table, from memory; the row for 12 as in a printed table
        (4, (1, 3, 2, 4)),
        (8, (1, 5, 3, 7, 2, 6, 4, 8)),
        (12, (1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12)),
        (16, (1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16)),
    ],
)
def test_star_order_agrees_with_the_published_order(count: int, order: tuple[int, ...]) -> None:
    assert star_order(count) == order


@pytest.mark.parametrize(
    ("count", "labels"),
    [  # labels read clockwise, as on a bolt tightening work sheet (inverse of the order)
        (8, (1, 5, 3, 7, 2, 6, 4, 8)),
        (12, (1, 5, 9, 3, 7, 11, 2, 6, 10, 4, 8, 12)),
        (16, (1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16)),
    ],
)
def test_star_labels_are_positions_in_the_order(count: int, labels: tuple[int, ...]) -> None:
    assert star_labels(count) == labels


@pytest.mark.parametrize("count", range(3, 25))
def test_star_tightens_each_bolt_once_and_crosses_over_first(count: int) -> None:
    order = star_order(count)
    assert sorted(order) == list(range(1, count + 1))
    across = (order[1] - order[0]) % count
    assert across in (count // 2, (count + 1) // 2)
    layout = star_layout(count)
    assert _numbers(layout) == list(range(1, count + 1))
    assert len({len(row) for row in layout}) == 1
    assert len(layout) <= 7  # it has to fit on a screen of 24 lines


@pytest.mark.parametrize("count", [20, 24])
def test_labels_and_tightening_order_convert_both_ways(count: int) -> None:
    order, labels = star_order(count), star_labels(count)
    assert order != labels
    assert [labels[bolt - 1] for bolt in order] == list(range(1, count + 1))


def test_consecutive_bolts_are_opposite_in_the_layout() -> None:
    assert star_layout(8) == (
        (None, None, 1, None, None),
        (None, 8, None, 5, None),
        (4, None, None, None, 3),
        (None, 6, None, 7, None),
        (None, None, 2, None, None),
    )


@pytest.mark.parametrize("count", [0, 2, 25, 1000])
def test_star_with_fewer_than_3_or_more_than_24_bolts_is_refused(count: int) -> None:
    with pytest.raises(ValueError, match="3 to 24"):
        star_order(count)


# --- out from the middle ----------------------------------------------------------------------------


def test_middle_out_layout_agrees_with_the_document() -> None:
    assert middle_out_layout(2, 5) == ((9, 5, 1, 4, 8), (10, 6, 2, 3, 7))


@given(st.integers(1, 6), st.integers(1, 12))
def test_middle_out_numbers_grow_with_the_distance(rows: int, columns: int) -> None:
    layout = middle_out_layout(rows, columns)
    assert _numbers(layout) == list(range(1, rows * columns + 1))
    where = {number: (r, c) for r, row in enumerate(layout) for c, number in enumerate(row)}
    away = [
        (2 * where[n][0] - rows + 1) ** 2 + (2 * where[n][1] - columns + 1) ** 2 for n in range(1, rows * columns + 1)
    ]
    assert away == sorted(away)


@pytest.mark.parametrize(("rows", "columns"), [(0, 3), (3, 0), (100, 100)])
def test_impossible_layout_is_refused(rows: int, columns: int) -> None:
    with pytest.raises(ValueError, match="not possible"):
        middle_out_layout(rows, columns)


# --- drawn by the author ---------------------------------------------------------------------------------------


def test_rows_of_equal_length_form_columns() -> None:
    assert _drawn("9  5  1  4  8\n10 6  2  3  7\n") == ((9, 5, 1, 4, 8), (10, 6, 2, 3, 7))
    assert _drawn("3 1\n. 2\n") == ((3, 1), (None, 2))


def test_staggered_rows_get_columns_between_each_other() -> None:
    drawing = "   1   3\n 5   6   7\n   4   2\n"
    assert _drawn(drawing) == ((None, 1, None, 3, None), (5, None, 6, None, 7), (None, 4, None, 2, None))


def test_two_digit_numbers_share_a_column_with_one_digit_numbers() -> None:
    drawing = " 1  3  5\n10     4\n 2  6  7\n"
    assert _drawn(drawing) == ((1, 3, 5), (10, None, 4), (2, 6, 7))


def test_short_row_keeps_its_drawn_position() -> None:
    assert _drawn("1 2 3 4\n    5\n") == ((1, 2, 3, 4), (None, None, 5, None))


@given(
    st.lists(st.lists(st.tuples(st.integers(0, 6), st.integers(1, 99)), min_size=1, max_size=6), min_size=1, max_size=5)
)
def test_every_drawn_fastener_is_in_the_layout(rows: list[list[tuple[int, int]]]) -> None:
    drawing = "\n".join("".join(" " * (gap + 1) + str(number) for gap, number in row) for row in rows)
    layout = _drawn(drawing)
    assert _numbers(layout) == sorted(number for row in rows for _, number in row)
    for drawn, row in zip(layout, rows, strict=True):
        assert [number for number in drawn if number is not None] == [number for _, number in row]
