"""Misprints of published manuals are reported when they are copied into a procedure. Each case states its source."""

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
        # a service manual of 2000: correct is 0.10 mm
        ("mm", "at most 1.0 mm (0.004 in)", "disagreeing-units"),
        # a shifted decimal point, invented
        ("mm", "0.10 .. 0.28 mm (0.04 .. 0.11 in)", "disagreeing-units"),
    ],
)
def test_misprinted_limit_is_reported(unit: str, printed: str, code: str) -> None:
    assert codes(f"record: {{play: {{unit: {unit}, limit: {printed}}}}}") == [code]


@pytest.mark.parametrize(
    "printed",
    [  # dual-unit pairs as printed in service manuals (check values, section 1)
        "35 ft-lb (47 N·m)", "45 ft-lb (61 N·m)", "65 ft-lb (88 N·m)", "90 ft-lb (122 N·m)", "95 in-lb (11 N·m)",
        "89 lb-in (10 N·m)", "40 N·m (4.1 kgf·m)", "40 N·m (29.5 ft-lb)", "20 N·m (2.0 kgf·m)", "20 N·m (15.0 ft-lb)",
    ],
)  # fmt: skip
def test_torque_printed_in_two_units_is_accepted(printed: str) -> None:
    assert codes(f"tighten: {{joint: studs, stages: [{printed}]}}") == []


@pytest.mark.parametrize(
    "printed", ["35 ft-lb (74 N·m)", "95 in-lb (11 ft-lb)", "40 N·m (4.1 kgf·cm)", "90 ft-lb (12.2 N·m)"]
)
def test_torque_whose_two_units_disagree_is_reported(printed: str) -> None:
    """The pairs above with a mistake: swapped digits, a wrong unit, a shifted decimal point."""
    assert codes(f"tighten: {{joint: studs, stages: [{printed}]}}") == ["disagreeing-units"]


@pytest.mark.parametrize(
    ("total", "found"),
    [("165°", []), ("155°", ["total-angle"]), ("135°", ["total-angle"])],
)
def test_wrong_total_angle_is_reported(total: str, found: list[str]) -> None:
    """US Army TM 10-3930-669-20, table E-1 prints 165° for 45 + 45 + 45 + 30."""
    assert codes(f"tighten: {{joint: studs, stages: [40 N·m, 45°, 45°, 45°, 30°], total-angle: {total}}}") == found


def test_total_angle_in_turns_is_compared_with_degrees() -> None:
    assert codes("tighten: {joint: studs, stages: [40 N·m, 90°, 1/4 turn], total-angle: 1/2 turn}") == []
