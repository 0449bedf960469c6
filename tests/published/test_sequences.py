"""Tightening orders of flanges and heads, and published tightening stages."""

from itertools import pairwise

import pytest

from benchflow.procedure.joint_layouts import middle_out_layout, star_labels, star_order
from benchflow.procedure.model import AngleStage, CheckStage, LoosenStage, Tighten, TorqueStage
from benchflow.procedure.reader import ReadResult, read

ORDERS = {
    # The bolts are numbered clockwise: legacy table of ASME PCC-1, from memory. The order of 12 bolts is also
    # printed on a web page.
    4: (1, 3, 2, 4),
    8: (1, 5, 3, 7, 2, 6, 4, 8),
    12: (1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12),
    16: (1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16),
}
LABELS = {
    # The numbers are the order of tightening, listed clockwise from the top: worksheet of a gasket maker
    # (scribd.com 699216405). Text extraction scrambled its figure. The pairs left and right (12|1, 8|5, 4|9, 10|3)
    # agree.
    4: (1, 3, 2, 4),
    8: (1, 5, 3, 7, 2, 6, 4, 8),
    12: (1, 5, 9, 3, 7, 11, 2, 6, 10, 4, 8, 12),
    16: (1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16),
}


@pytest.mark.parametrize("count", ORDERS)
def test_cross_pattern_agrees_with_the_published_pattern_in_both_numberings(count: int) -> None:
    assert star_order(count) == ORDERS[count]
    assert star_labels(count) == LABELS[count]


@pytest.mark.parametrize("count", [12, 20, 24])
def test_two_numberings_are_not_confused(count: int) -> None:
    # knm-hydraulikk.no describes both numberings. For 4, 8 and 16 bolts the two are the same.
    order, labels = star_order(count), star_labels(count)
    assert order != labels
    assert tuple(labels[bolt - 1] for bolt in order) == tuple(range(1, count + 1))


@pytest.mark.parametrize("count", range(4, 25))
def test_each_bolt_occurs_once_and_the_second_is_opposite_the_first(count: int) -> None:
    # This is true of any cross pattern. No source.
    order = star_order(count)
    assert sorted(order) == list(range(1, count + 1))
    apart = abs(order[1] - order[0])
    assert min(apart, count - apart) == count // 2


@pytest.mark.parametrize(("rows", "columns"), [(2, 5), (2, 7), (3, 5), (1, 6), (4, 4)])
def test_cylinder_head_is_tightened_from_its_middle_outwards(rows: int, columns: int) -> None:
    # Common practice; no published list of numbers was found. The distance from the middle never decreases by more
    # than one row or column.
    layout = middle_out_layout(rows, columns)
    place = {number: (r, c) for r, line in enumerate(layout) for c, number in enumerate(line) if number is not None}
    assert sorted(place) == list(range(1, rows * columns + 1))
    middle = ((rows - 1) / 2, (columns - 1) / 2)
    away = [max(abs(place[n][0] - middle[0]), abs(place[n][1] - middle[1])) for n in sorted(place)]
    assert all(later >= earlier - 1 for earlier, later in pairwise(away))


# --- stages as published ----------------------------------------------------------------------------------


def tightened(stages: str, total: str = "", count: int = 10, groups: str = "") -> ReadResult:
    numbers = " ".join(str(n) for n in range(1, count + 1))
    more = f", total-angle: {total}" if total else ""
    return read(
        f"""\
benchflow: 1
id: published
title: A published tightening
revision: "1"
joints:
  bolts: {{layout: "{numbers}"{groups}}}
sections:
  - title: Tighten
    operations:
      - id: tighten
        title: Tighten
        tighten: {{joint: bolts, stages: [{stages}]{more}}}
"""
    )


def shape(found: ReadResult) -> list[str]:
    assert found.procedure is not None, found.problems
    tighten = found.procedure.operations[0].tighten
    assert isinstance(tighten, Tighten)
    names = {TorqueStage: "torque", AngleStage: "angle", LoosenStage: "loosen", CheckStage: "check"}
    return [names[type(stage)] for stage in tighten.stages]


@pytest.mark.parametrize(
    ("stages", "total", "kinds", "source"),
    [
        ("29.5 ft-lb (40 N·m), +45°, +45°, +45°, +30°", "165°", ["torque", "angle", "angle", "angle", "angle"],
         "US Army TM 10-3930-669-20, E-4 and table E-1, a diesel head"),
        ("50 N·m, loosen 1 turn, 30 N·m, +90°, +90°", "180°", ["torque", "loosen", "torque", "angle", "angle"],
         "a service manual, a head of 2003"),
        ("61 N·m, 88 N·m, 88 N·m, +90°, {check: at least 122 N·m (90 ft-lb)}", "90°",
         ["torque", "torque", "torque", "angle", "check"], "service manuals, two heads, one with nine bolts"),
        ("30 N·m, +155°", "155°", ["torque", "angle"], "myvehicle.help, a four-cylinder head"),
        ("20 N·m, +70°", "70°", ["torque", "angle"], "myvehicle.help, its mains"),
        ("25 N·m, +100°", "100°", ["torque", "angle"], "myvehicle.help, its rods"),
        ("100 N·m, +125°", "125°", ["torque", "angle"], "myvehicle.help, its damper"),
        ("47 N·m, 122 N·m", "", ["torque", "torque"], "myvehicle.help, a ten-cylinder head, bolts 1 to 12"),
    ],
)  # fmt: skip
def test_published_stages_can_be_written_as_printed(stages: str, total: str, kinds: list[str], source: str) -> None:
    assert shape(tightened(stages, total)) == kinds, source


def test_total_angle_that_is_not_the_sum_of_its_steps_is_an_error() -> None:
    # The stages of the diesel head above. 45 + 45 + 45 + 30 is 165, so 160 is a misprint.
    found = tightened("29.5 ft-lb (40 N·m), +45°, +45°, +45°, +30°", "160°")
    assert found.procedure is None
    assert any("165" in str(problem) for problem in found.problems)


def test_bolt_with_another_torque_is_a_separate_group() -> None:
    # The head with nine bolts above: bolt 9 has another torque, 33 N·m.
    found = tightened(
        "{torque: 61 N·m, only: head}, {torque: 33 N·m, only: ninth}",
        groups=", groups: {head: [1, 2, 3, 4, 5, 6, 7, 8], ninth: [9]}",
        count=9,
    )
    assert shape(found) == ["torque", "torque"]


def test_passes_of_a_flange_can_be_written() -> None:
    # A gasket maker's worksheet: up to 20 %, then 25, 50 and 100 %, then a last pass at 100 %. Other pages print 30, 60
    # and 100 % and a last pass. Here for 120 N·m.
    assert len(shape(tightened("24 N·m, 30 N·m, 60 N·m, 120 N·m, 120 N·m", count=12))) == 5
