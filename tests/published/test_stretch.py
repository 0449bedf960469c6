"""Stretch and angle against printed examples."""

from math import pi

import pytest

from benchflow.quantity import parse_quantity
from benchflow.trade.stretch import (
    BoltPart,
    advance,
    angle_for,
    effective_length,
    force_from_stretch,
    stretch_in_parts,
    stretch_of,
)
from benchflow.trade.threads import parse_thread

STEEL = parse_quantity("205000 MPa")


def test_the_printed_stretch_of_a_seven_eighths_bolt() -> None:
    # engineeringtoolbox.com d_1164: 10 000 lbf, 5 in, E 30e6 psi: 0.0036 in; 21 740 psi with the area rounded to
    # 0.46 in², 21 657 with 0.46173.
    thread = parse_thread("7/8-9")
    assert thread.stress_area == pytest.approx(0.46, abs=0.005)
    assert thread.stress_area == pytest.approx(0.46173, abs=0.5e-5)
    found = stretch_of(parse_quantity("10000 lbf"), thread, parse_quantity("5 in"), parse_quantity("30000 ksi"), "in")
    assert float(found["stretch"].value) == pytest.approx(0.0036, abs=0.00005)
    exact_psi = 10_000 / thread.stress_area
    assert exact_psi == pytest.approx(21_657, abs=1)
    assert float(found["stress"].value) == pytest.approx(exact_psi * 0.006894757, abs=0.5)


def test_the_angle_for_three_quarters_of_proof() -> None:
    # Form of MIL-HDBK-60 as rendered at engineersedge.com bolt_elongation_by_turn_15837; numbers computed:
    # M11x1.5, effective length 100 mm, 0.75 × 830 MPa: 72.88°, 0.30366 mm, 44.99 kN.
    found = angle_for(parse_quantity("622.5 MPa"), parse_thread("M11x1.5"), parse_quantity("100 mm"), STEEL)
    assert float(found["angle"].value) == pytest.approx(72.88, abs=0.05)
    assert float(found["stretch"].value) == pytest.approx(0.30366, abs=0.0005)
    assert float(found["preload"].value) == pytest.approx(44.99, abs=0.05)
    assert any("more angle" in note for note in found.notes)  # the page itself warns that it is an under-estimate


def test_a_quarter_turn_of_a_rigid_joint() -> None:
    # Computed: pitch 1.5 mm, 90° is 0.375 mm of travel; M11 over 100 mm that would be 55.6 kN.
    thread = parse_thread("M11x1.5")
    assert float(advance(thread, parse_quantity("90°"))["advance"].value) == 0.375
    found = force_from_stretch(parse_quantity("0.375 mm"), thread, parse_quantity("100 mm"), STEEL)
    assert float(found["preload"].value) == pytest.approx(55.6, abs=0.05)


def test_a_bolt_in_two_parts_stretches_by_both() -> None:
    # Formula: engineersedge.com 15796 (Bickford). With one area throughout it is Hooke's law again.
    thread = parse_thread("M10x1.5")
    shank = BoltPart(60, pi / 4 * 10**2)
    threaded = BoltPart(40, thread.stress_area)
    both = stretch_in_parts(40_000, (shank, threaded), 205_000)
    assert both == pytest.approx(40_000 * (60 / (205_000 * 78.5398) + 40 / (205_000 * 57.990)), rel=1e-5)
    whole = stretch_in_parts(40_000, (BoltPart(100, thread.stress_area),), 205_000)
    found = stretch_of(parse_quantity("40 kN"), thread, parse_quantity("100 mm"), STEEL)
    assert float(found["stretch"].value) == pytest.approx(whole, rel=0.005)


def test_the_handbooks_effective_length() -> None:
    # LB = (dts/d)² (LS + HB/2) + LJ − LS + HN/2; with no shank and no head or nut it is the grip.
    thread = parse_thread("M10x1.5")
    assert effective_length(thread, 0, 80, 0, 0) == 80
    by_hand = thread.stress_area / (pi / 4 * 100) * (50 + 6.4 / 2) + 80 - 50 + 8.0 / 2
    assert effective_length(thread, 50, 80, 6.4, 8.0) == pytest.approx(by_hand)
