"""Slips that stand in published books are caught when they are written down as printed. Sources beside each."""

import pytest

from benchflow.procedure.reader import read

HEAD = """benchflow: 1
id: trial
title: A trial
joints: {studs: {layout: 1 2}}
sections:
  - title: All
    operations:
"""


def codes(line: str) -> list[str]:
    reading = read(f"{HEAD}      - id: first\n        title: First\n        {line}\n")
    return [problem.code for problem in reading.problems]


@pytest.mark.parametrize(
    ("unit", "printed", "code"),
    [
        # US Army TM 9-2815-254-24 p. 3-156: end play; the low limit must be .0032 in
        ("in", "0.082 .. 0.0044 in (0.080 .. 0.114 mm)", "bad-quantity"),
        # Dodge Viper 2000 (charm): is 0.10 mm
        ("mm", "at most 1.0 mm (0.004 in)", "disagreeing-units"),
        # a slipped point, invented on the same pattern
        ("mm", "0.10 .. 0.28 mm (0.04 .. 0.11 in)", "disagreeing-units"),
    ],
)
def test_a_misprinted_limit_is_caught(unit: str, printed: str, code: str) -> None:
    assert codes(f"record: {{play: {{unit: {unit}, limit: {printed}}}}}") == [code]


@pytest.mark.parametrize(
    "printed",
    [  # dual-unit pairs as printed in service manuals (check values, section 1)
        "35 ft-lb (47 N·m)", "45 ft-lb (61 N·m)", "65 ft-lb (88 N·m)", "90 ft-lb (122 N·m)", "95 in-lb (11 N·m)",
        "89 lb-in (10 N·m)", "40 N·m (4.1 kgf·m)", "40 N·m (29.5 ft-lb)", "20 N·m (2.0 kgf·m)", "20 N·m (15.0 ft-lb)",
    ],
)  # fmt: skip
def test_a_torque_printed_in_two_units_is_taken_as_printed(printed: str) -> None:
    assert codes(f"tighten: {{joint: studs, stages: [{printed}]}}") == []


@pytest.mark.parametrize(
    "printed", ["35 ft-lb (74 N·m)", "95 in-lb (11 ft-lb)", "40 N·m (4.1 kgf·cm)", "90 ft-lb (12.2 N·m)"]
)
def test_a_torque_with_its_other_unit_slipped_is_caught(printed: str) -> None:
    """Digits turned round, a wrong unit and a slipped point, made from the pairs above."""
    assert codes(f"tighten: {{joint: studs, stages: [{printed}]}}") == ["disagreeing-units"]


@pytest.mark.parametrize(
    ("total", "found"),
    [("165°", []), ("155°", ["total-angle"]), ("135°", ["total-angle"])],
)
def test_a_total_angle_that_is_not_the_sum_is_caught(total: str, found: list[str]) -> None:
    """US Army TM 10-3930-669-20, table E-1 prints 165° for 45 + 45 + 45 + 30."""
    assert codes(f"tighten: {{joint: studs, stages: [40 N·m, 45°, 45°, 45°, 30°], total-angle: {total}}}") == found


def test_a_total_in_turns_is_held_against_angles_in_degrees() -> None:
    assert codes("tighten: {joint: studs, stages: [40 N·m, 90°, 1/4 turn], total-angle: 1/2 turn}") == []
