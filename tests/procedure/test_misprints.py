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
        # Dodge, V10, 2002, flatness: the same ratio with two values
        ("mm/mm", "at most 0.0007 mm/mm (0.0004 in/in)", "disagreeing-units"),
        # GM, 4.3 V6, ring gap: the decimal point of 0.19 mm has probably slipped against .010 in (0.25 mm)
        ("in", "0.010 .. 0.016 in (0.025 .. 0.041 mm)", "disagreeing-units"),
        # the low end of TM 9-2815-254-24 with a slip of one digit in the other column
        ("in", "0.0032 .. 0.0044 in (0.080 .. 0.144 mm)", "disagreeing-units"),
        # invented: a shifted decimal point, swapped digits, a tolerance that was not converted
        ("mm", "0.10 .. 0.28 mm (0.04 .. 0.11 in)", "disagreeing-units"),
        ("mm", "0.15 mm (0.060 in)", "disagreeing-units"),
        ("mm", "at most 0.21 mm (0.005 in)", "disagreeing-units"),
        ("mm", "0.15 ± 0.02 mm (0.006 ± 0.02 in)", "disagreeing-units"),
    ],
)
def test_misprinted_limit_is_reported(unit: str, printed: str, code: str) -> None:
    assert codes(f"record: {{play: {{unit: {unit}, limit: {printed}}}}}") == [code]


@pytest.mark.parametrize(
    ("unit", "printed"),
    [  # as printed in service manuals; the sources are in the order of the lines
        # US Army TM 9-2815-254-24: end play (its inches corrected), its limit, clearance of a bearing, its limit
        ("in", "0.0031 .. 0.0045 in (0.080 .. 0.114 mm)"), ("mm", "at most 0.2 mm (0.008 in)"),
        ("in", "0.002 in (0.05 mm)"), ("in", "at most 0.005 in (0.12 mm)"),
        # a Japanese maker's end play and its limit
        ("in", "0.0016 .. 0.0037 in (0.04 .. 0.095 mm)"), ("in", "at most 0.0047 in (0.12 mm)"),
        # head flatness: Chrysler 3.2 and Jeep 4.7; Dodge Viper
        ("mm", "at most 0.05 mm (0.002 in)"), ("in", "at most 0.009 in (0.22 mm)"),
        # Chrysler 3.2 and 3.8: torque after the angle
        ("N·m", "above 122 N·m (90 ft-lb)"), ("N·m", "at least 122 N·m (90 ft-lb)"),
        # US Army TM 10-3930-669-20: seating torque of a head
        ("ft-lb", "29.5 ft-lb (40 N·m)"),
        # invented, rounded as manuals round
        ("mm", "0.13 .. 0.20 mm (0.005 .. 0.008 in)"), ("N·m", "40 ± 4 N·m (30 ± 3 ft-lb)"),
        ("N·m", "20 ± 2 N·m (15 ± 1.5 ft-lb)"), ("N·m", "100 ± 10 N·m (75 ± 7 ft-lb)"),
        ("N·m", "40 N·m (about 30 ft-lb)"), ("N·m", "9 .. 11 N·m (80 .. 97 in-lb)"), ("°C", "below 40 °C (104 °F)"),
        ("°C", "80 .. 90 °C (175 .. 195 °F)"),
        ("bar", "3.0 .. 5.5 bar (45 .. 80 psi)"), ("psi", "at least 100 psi (690 kPa)"), ("psi", "100 psi (7 bar)"),
        ("mm", "0.15 +0.03 -0.01 mm (0.006 +0.001 -0.0005 in)"), ("mm", "1/64 in (0.4 mm)"), ("L", "4.5 L (4.8 US qt)"),
    ],
)  # fmt: skip
def test_limit_printed_in_two_units_is_accepted(unit: str, printed: str) -> None:
    assert codes(f"record: {{play: {{unit: {unit}, limit: {printed}}}}}") == []


@pytest.mark.parametrize(
    "printed",
    [  # dual-unit pairs as printed in service manuals (check values, section 1)
        "35 ft-lb (47 N·m)", "45 ft-lb (61 N·m)", "65 ft-lb (88 N·m)", "90 ft-lb (122 N·m)", "95 in-lb (11 N·m)",
        "89 lb-in (10 N·m)", "40 N·m (4.1 kgf·m)", "40 N·m (29.5 ft-lb)", "20 N·m (2.0 kgf·m)", "20 N·m (15.0 ft-lb)",
        "47 N·m (35 ft-lb)", "61 N·m (45 ft-lb)", "88 N·m (65 ft-lb)", "122 N·m (90 ft-lb)", "11 N·m (95 in-lb)",
        "10 N·m (89 in-lb)", "40 N·m (4.1 kgf·m, 29.5 ft-lb)", "20 N·m (2.0 kgf·m, 15.0 ft-lb)",
        # rounded to 5 or 10, as manuals do; the second of the pair is exact or rounded itself
        "90 ft-lb (120 N·m)", "50 ft-lb (70 N·m)", "75 ft-lb (100 N·m)", "110 ft-lb (150 N·m)", "130 N·m (95 ft-lb)",
        "15 ft-lb (20 N·m)", "25 N·m (18 ft-lb)", "30 ft-lb (40 N·m)", "200 in-lb (23 N·m)", "65 N·m (48 ft-lb)",
    ],
)  # fmt: skip
def test_torque_printed_in_two_units_is_accepted(printed: str) -> None:
    assert codes(f"tighten: {{joint: studs, stages: ['{printed}']}}") == []


@pytest.mark.parametrize(
    "printed",
    [
        "35 ft-lb (74 N·m)",
        "95 in-lb (11 ft-lb)",
        "40 N·m (4.1 kgf·cm)",
        "90 ft-lb (12.2 N·m)",
        "10 N·m (11 ft-lb)",
        "61 ft-lb (45 N·m)",
        "88 N·m (56 ft-lb)",
        "90 ft-lb (130 N·m)",
        "20 N·m (20 ft-lb)",
        "89 in-lb (100 N·m)",
        "40 N·m (29.5 in-lb)",
        "12 ft-lb (15 N·m)",
    ],
)
def test_torque_whose_two_units_disagree_is_reported(printed: str) -> None:
    """The pairs above with a mistake: swapped digits, a wrong unit, a shifted decimal point."""
    assert codes(f"tighten: {{joint: studs, stages: ['{printed}']}}") == ["disagreeing-units"]


@pytest.mark.parametrize(
    ("total", "found"),
    [("165°", []), ("155°", ["total-angle"]), ("135°", ["total-angle"])],
)
def test_wrong_total_angle_is_reported(total: str, found: list[str]) -> None:
    """US Army TM 10-3930-669-20, table E-1 prints 165° for 45 + 45 + 45 + 30."""
    assert codes(f"tighten: {{joint: studs, stages: [40 N·m, 45°, 45°, 45°, 30°], total-angle: {total}}}") == found


def test_total_angle_in_turns_is_compared_with_degrees() -> None:
    assert codes("tighten: {joint: studs, stages: [40 N·m, 90°, 1/4 turn], total-angle: 1/2 turn}") == []
