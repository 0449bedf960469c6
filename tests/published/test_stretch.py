"""Stretch and angle compared with printed examples."""

import pytest

from benchflow.trade.calculations.table import calculate
from benchflow.trade.calculations.threads import parse_thread

STEEL = "205000 MPa"


def value(name: str, line: str, **inputs: str) -> float:
    return float(calculate(name, {key.replace("_", "-"): text for key, text in inputs.items()})[line].value)


def test_stretch_of_a_seven_eighths_bolt_agrees_with_the_printed_value() -> None:
    # engineeringtoolbox.com d_1164: 10 000 lbf, 5 in, E 30e6 psi: 0.0036 in; 21 740 psi with the area rounded to
    # 0.46 in², 21 657 with 0.46173.
    assert parse_thread("7/8-9").stress_area == pytest.approx(0.46173, abs=0.5e-5)
    inputs = {"force": "10000 lbf", "thread": "7/8-9", "length": "5 in", "modulus": "30000 ksi"}
    assert value("stretch", "stretch", **inputs) == pytest.approx(0.0036, abs=0.00005)
    assert value("stretch", "stress", **inputs) == pytest.approx(21_657 * 0.006894757, abs=0.5)


def test_angle_for_three_quarters_of_the_proof_stress_agrees_with_a_hand_calculation() -> None:
    # Form of MIL-HDBK-60 as rendered at engineersedge.com bolt_elongation_by_turn_15837; numbers computed:
    # M11x1.5, effective length 100 mm, 0.75 × 830 MPa: 72.88°, 0.30366 mm, 44.99 kN.
    inputs = {"stress": "622.5 MPa", "thread": "M11x1.5", "length": "100 mm", "modulus": STEEL}
    found = calculate("angle", inputs)
    assert float(found["angle"].value) == pytest.approx(72.88, abs=0.05)
    assert float(found["stretch"].value) == pytest.approx(0.30366, abs=0.0005)
    assert float(found["preload"].value) == pytest.approx(44.99, abs=0.05)
    assert any("more angle" in note for note in found.notes)  # the page has the same warning


def test_angle_of_a_unified_thread_is_computed_from_its_pitch_in_inches() -> None:
    # Computed: 360 × 60 ksi × 2 in / (30000 ksi × 0.05 in) = 28.8°; stretch 0.004 in = 0.1016 mm.
    inputs = {"stress": "60 ksi", "thread": "7/16-20", "length": "2 in", "modulus": "30000 ksi"}
    assert value("angle", "angle", **inputs) == pytest.approx(28.8, abs=0.05)
    assert value("angle", "stretch", **inputs) == pytest.approx(0.1016, abs=0.0005)


def test_quarter_turn_of_a_rigid_joint_gives_the_computed_travel_and_preload() -> None:
    # Computed: with a pitch of 1.5 mm, 90° is 0.375 mm of travel. For M11 and 100 mm of length that is 55.6 kN.
    assert value("nut-travel", "travel", thread="M11x1.5", angle="90°") == 0.375
    inputs = {"stretch": "0.375 mm", "thread": "M11x1.5", "length": "100 mm", "modulus": STEEL}
    assert value("preload-from-stretch", "preload", **inputs) == pytest.approx(55.6, abs=0.05)


def test_default_modulus_is_the_modulus_of_steel() -> None:
    # 29 to 30 million psi in most handbooks (from memory): 199.9 to 206.8 GPa. Eurocode 3 has 210 GPa (from memory).
    stretch = value("stretch", "stretch", force="40 kN", thread="M10x1.5", length="100 mm")
    modulus = 40_000 * 100 / (57.990 * stretch)
    assert 199_900 < modulus < 210_000


def test_effective_length_follows_the_formula_of_the_handbook() -> None:
    # LB = (dts/d)² (LS + HB/2) + LJ − LS + HN/2 (MIL-HDBK-60 form, engineersedge 15837); without shank, head and nut
    # it is the grip. By hand for M10x1.5 (57.990 mm² of 78.540 mm²): 0.73835 × 53.2 + 80 − 50 + 4 = 73.28.
    plain = {"thread": "M10", "grip": "80 mm", "shank": "0 mm", "head": "0 mm", "nut": "0 mm"}
    assert value("effective-length", "length", **plain) == 80
    bolt = plain | {"shank": "50 mm", "head": "6.4 mm", "nut": "8.0 mm"}
    assert value("effective-length", "length", **bolt) == pytest.approx(73.28, abs=0.05)
    # A shank of 8.593 mm diameter has the same area as the thread, so the lengths add up: 53.2 + 30 + 4.
    assert value("effective-length", "length", **bolt, shank_diameter="8.593 mm") == pytest.approx(87.2, abs=0.05)
