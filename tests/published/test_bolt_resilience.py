"""Segments of a bolt and the stiffness of a joint, compared with integrals and with hand calculations.

The integrals are computed by scipy from the shape of the parts. They share no formula with the program except the
angle of the cone.
"""

from math import log, pi

import pytest
from scipy.integrate import quad

from benchflow.trade.calculations.bolt_resilience import (
    BoltSegment,
    bolt_resilience,
    clamped_parts,
    parse_segments,
)
from benchflow.trade.calculations.table import calculate
from benchflow.trade.calculations.threads import parse_thread

E = 205_000.0
M10 = parse_thread("M10x1.5")


def value(name: str, line: str, **inputs: str) -> float:
    return float(calculate(name, {key.replace("_", "-"): text for key, text in inputs.items()})[line].value)


def integral_of_resilience(diameters: list[tuple[float, float]]) -> float:
    """∫ dx / (E A(x)) over the lengths in mm, with the diameter of each."""
    total = 0.0
    for length, diameter in diameters:
        total += quad(lambda _, d=diameter: 1 / (E * pi / 4 * d**2), 0, length)[0]
    return total


# --- the bolt ---------------------------------------------------------------------------------------

D3 = 10 - 1.226869 * 1.5  # ISO 898-1, from memory


def test_resilience_of_a_bolt_with_shank_and_neck_equals_the_integral_over_its_sections() -> None:
    # VDI 2230 part 1, 5.1.1 (from memory): hexagon head 0.5 d, engaged thread 0.5 d of core, nut 0.4 d of shank.
    found = bolt_resilience(M10, parse_segments("shank 20 x 10 mm, neck 60 x 8.5 mm, thread 15 mm", M10))
    stretched = integral_of_resilience([(20, 10), (60, 8.5), (15, D3), (0.5 * 10, 10), (0.5 * 10, D3)])
    assert found.stretched == pytest.approx(stretched, rel=1e-6)
    assert found.give == pytest.approx(integral_of_resilience([(0.4 * 10, 10)]), rel=1e-9)


def test_each_kind_of_end_has_the_length_of_vdi_2230() -> None:
    # VDI 2230 part 1, table 2 (from memory): socket head 0.4 d; tapped hole 0.33 d of the part, here aluminium.
    shank = (BoltSegment("shank", 100, 10),)
    plain = bolt_resilience(M10, shank, "none", "none")
    assert plain.stretched == pytest.approx(100 / (E * 78.5398), rel=1e-5)
    assert plain.give == 0
    socket = bolt_resilience(M10, shank, "socket", "none")
    assert (socket.stretched - plain.stretched) * E * 78.5398 == pytest.approx(4.0, rel=1e-5)
    tapped = bolt_resilience(M10, shank, "none", "tapped", part_modulus=70_000)
    assert tapped.give == pytest.approx(3.3 / (70_000 * 78.5398), rel=1e-5)
    stud = bolt_resilience(M10, shank, "nut", "tapped")
    assert stud.give == pytest.approx((4.0 + 3.3) / (E * 78.5398), rel=1e-5)


def test_bolt_with_a_shank_stretches_less_than_one_that_is_all_thread() -> None:
    # By hand for M10x1.5 (As 57.99 mm², core 52.29 mm²), 45 kN, 205 GPa, grip 80 + 20 mm:
    # all thread: 100/57.99 = 1.7244; sections 80/78.54 + 20/52.29 = 1.4011: 23 % too much.
    # With head and engaged thread 5/78.54 + 5/52.29 = 0.1593 in addition: 10.5 % too much.
    wrong = value("stretch", "stretch", force="45 kN", thread="M10", length="100 mm")
    shank = {"force": "45 kN", "thread": "M10", "segments": "shank 80 x 10 mm, thread 20 mm"}
    bare = value("stretch", "stretch", **shank, head="none", end="none")
    assert bare == pytest.approx(45_000 * 1.4011 / E, rel=2e-3)
    assert wrong / bare == pytest.approx(1.231, abs=0.003)
    assert value("stretch", "stretch", **shank) == pytest.approx(45_000 * (1.4011 + 0.1593) / E, rel=2e-3)
    assert value("stretch", "total", **shank) == pytest.approx(45_000 * (1.5604 + 4 / 78.54) / E, rel=2e-3)


def test_bolt_with_a_neck_has_less_preload_than_one_that_is_all_thread() -> None:
    # By hand for M10x1.5: neck of 7 mm (38.48 mm²) over 60 mm, shank 20 mm, thread 20 mm:
    # 60/38.48 + 20/78.54 + 20/52.29 = 2.1962; all thread over 100 mm: 1.7244, so 27 % too much preload.
    bolt = {"stretch": "0.2 mm", "thread": "M10"}
    right = value(
        "preload-from-stretch", "preload", **bolt, segments="shank 20 x 10 mm, neck 60 x 7 mm, thread 20 mm",
        head="none", end="none",
    )  # fmt: skip
    wrong = value("preload-from-stretch", "preload", **bolt, length="100 mm")
    assert right == pytest.approx(0.2 * E / 2.1962 / 1000, rel=2e-3)
    assert wrong / right == pytest.approx(1.273, abs=0.003)


def test_stress_is_that_of_the_thinnest_section() -> None:
    # By hand: 30 kN / 38.48 mm² = 779.6 MPa in the neck, / 57.99 mm² = 517.3 MPa in the thread.
    neck = {"force": "30 kN", "thread": "M10", "segments": "neck 60 x 7 mm, thread 20 mm"}
    assert value("stretch", "stress", **neck) == pytest.approx(779.6, abs=0.6)
    thick = neck | {"segments": "neck 60 x 9 mm, thread 20 mm"}
    assert value("stretch", "stress", **thick) == pytest.approx(517.3, abs=0.6)


def test_segments_of_a_unified_bolt_are_read_in_inches() -> None:
    # By hand: 1/2-20, core 0.5 − 1.226869/20 = 0.43866 in (0.15113 in²), shank 0.19635 in²; E 29733 ksi (205 GPa);
    # 10 000 lbf × (3/0.19635 + 1/0.15113) / 29.733e6 psi = 0.007363 in.
    found = calculate(
        "stretch",
        {"force": "10000 lbf", "thread": "1/2-20", "segments": "shank 3 x 0.5 in, thread 1 in", "head": "none",
         "end": "none"},
    )["stretch"]  # fmt: skip
    assert found.unit == "in"
    assert float(found.value) == pytest.approx(0.007363, abs=0.00001)


# --- the joint --------------------------------------------------------------------------------------


def cone_integral(grip: float, bearing: float, hole: float, outside: float, tangent: float, tapped: bool) -> float:
    """Integrate dz / (E A(z)) of a hollow cone that stops growing at ``outside``: from both faces, or from one."""

    def slice_of(z: float) -> float:
        depth = z if tapped else min(z, grip - z)
        diameter = min(bearing + 2 * depth * tangent, outside)
        return 1 / (E * pi / 4 * (diameter**2 - hole**2))

    kink = (outside - bearing) / (2 * tangent)
    points = [at for at in (kink, grip / 2, grip - kink) if 0 < at < grip]
    return quad(slice_of, 0, grip, points=points or None, limit=200)[0]


@pytest.mark.parametrize("tapped", [False, True])
@pytest.mark.parametrize(
    ("grip", "bearing", "hole", "outside", "through_body"),
    [(40, 14.6, 11, 200, "cone"), (80, 14.6, 11, 30, "cone and sleeve"), (20, 22.5, 17.5, 23, "cone and sleeve"),
     (95, 14.6, 11, 40, "cone and sleeve"), (60, 14.6, 11, 14.6, "sleeve"), (60, 14.6, 11, 12.5, "sleeve")],
)  # fmt: skip
def test_resilience_of_the_joint_equals_the_integral_over_its_cone(
    grip: float, bearing: float, hole: float, outside: float, through_body: str, tapped: bool
) -> None:
    found = clamped_parts(grip, bearing, hole, outside, tapped=tapped)
    if not tapped:
        assert found.body == through_body
    expected = cone_integral(grip, bearing, hole, outside, found.cone_tangent or 1e-9, tapped)
    assert found.resilience == pytest.approx(expected, rel=1e-6)


def test_cone_angle_follows_vdi_2230() -> None:
    # VDI 2230 part 1, eq. 26 and 27 (from memory, and as published implementations print them).
    through = clamped_parts(40, 14.6, 11, 200)
    assert through.cone_tangent == pytest.approx(0.362 + 0.032 * log(40 / 14.6 / 2) + 0.153 * log(200 / 14.6))
    tapped = clamped_parts(40, 14.6, 11, 200, tapped=True)
    assert tapped.cone_tangent == pytest.approx(0.348 + 0.013 * log(40 / 14.6) + 0.193 * log(200 / 14.6))


ANGLE = {
    "angle": "60°", "thread": "M10x1.25", "segments": "shank 80 x 10 mm, thread 15 mm", "bearing-diameter": "14.6 mm",
    "hole-diameter": "11 mm", "joint-diameter": "40 mm",
}  # fmt: skip


def angle_result(**changes: str) -> dict[str, float]:
    texts = ANGLE | {key.replace("_", "-"): text for key, text in changes.items()}
    return {line.name: float(line.value.value) for line in calculate("preload-from-angle", texts).lines}


def test_preload_from_angle_equals_the_balance_of_bolt_and_joint() -> None:
    # Independent: the turn shortens the distance between head and nut by P θ / 360°. It must equal the stretch of the
    # bolt with the give of the nut, plus the compression of the joint, both from integrals.
    found = angle_result()
    core = 10 - 1.226869 * 1.25
    bolt = integral_of_resilience([(80, 10), (15, core), (5, 10), (5, core), (4, 10)])
    tangent = 0.362 + 0.032 * log(95 / 14.6 / 2) + 0.153 * log(40 / 14.6)
    joint = cone_integral(95, 14.6, 11, 40, tangent, tapped=False)
    assert found["preload"] == pytest.approx(1.25 * 60 / 360 / (bolt + joint) / 1000, rel=0.003)
    assert found["rigid"] == pytest.approx(1.25 * 60 / 360 / bolt / 1000, rel=0.003)
    assert found["joint-stiffness"] == pytest.approx(1 / joint, rel=0.005)


def test_joint_given_by_its_stiffness_has_the_same_preload_as_by_its_diameters() -> None:
    texts = {name: text for name, text in ANGLE.items() if not name.endswith("diameter")}
    stiffness = calculate("preload-from-angle", ANGLE)["joint-stiffness"]
    found = calculate("preload-from-angle", texts | {"joint-stiffness": f"{stiffness.value} N/mm"})
    assert float(found["preload"].value) == pytest.approx(angle_result()["preload"], rel=0.005)


def test_snug_preload_is_added_and_an_aluminium_joint_gives_less() -> None:
    plain = angle_result()["preload"]
    assert angle_result(snug="10 kN")["preload"] == pytest.approx(plain + 10, abs=0.06)
    # δP of aluminium is 205/70 = 2.93 times that of steel: 7.261 + 2.69 nm/N instead of 7.261 + 0.918.
    aluminium = angle_result(joint_modulus="70000 MPa")["preload"]
    assert aluminium == pytest.approx(plain * (7.261 + 0.9184) / (7.261 + 0.9184 * 205 / 70), rel=0.003)


def test_angle_for_a_stress_and_preload_from_that_angle_agree() -> None:
    texts = {name: text for name, text in ANGLE.items() if name != "angle"}
    forward = calculate("angle", texts | {"stress": "500 MPa"})
    back = calculate("preload-from-angle", texts | {"angle": f"{forward['angle'].value}°"})
    assert float(back["preload"].value) == pytest.approx(float(forward["preload"].value), rel=0.005)
