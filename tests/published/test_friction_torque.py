"""The torque with friction and real diameters, compared with a printed table of VDI 2230 and with statics."""

from math import atan, cos, pi, radians, sin, tan

import pytest

from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.table import calculate

# Bearing face of a hexagon head (ISO 4014, smallest) and hole (ISO 273, medium), mm; from memory.
HEADS = {
    "M8": (11.63, 9.0), "M10": (14.63, 11.0), "M12": (16.63, 13.5), "M14": (19.64, 15.5), "M16": (22.49, 17.5),
    "M18": (25.34, 20.0), "M20": (28.19, 22.0), "M22": (31.71, 24.0), "M24": (33.61, 26.0),
}  # fmt: skip

PRINTED = """\
M8x1 0.10 20.7 30.4 35.6 22.8 33.5 39.2
M8x1 0.12 20.2 29.7 34.7 26.1 38.3 44.9
M8x1 0.14 19.7 28.9 33.9 29.2 42.8 50.1
M10x1.25 0.10 32.4 47.5 55.6 44 65 76
M10x1.25 0.12 31.6 46.4 54.3 51 75 87
M10x1.25 0.14 30.8 45.2 52.9 57 83 98
M12x1.25 0.10 49.1 72.1 84.4 79 116 135
M12x1.25 0.12 48.0 70.5 82.5 90 133 155
M12x1.25 0.14 46.8 68.7 80.4 101 149 174
M14x1.5 0.10 66.4 97.5 114.1 124 182 213
M14x1.5 0.12 64.8 95.2 111.4 142 209 244
M14x1.5 0.14 63.2 92.9 108.7 159 234 274
M16x1.5 0.10 89.6 131.6 154.0 189 278 325
M16x1.5 0.12 87.6 128.7 150.6 218 320 374
M16x1.5 0.14 85.5 125.5 146.9 244 359 420
M18x1.5 0.10 120 171 200 283 403 472
M18x1.5 0.12 117 167 196 327 465 544
M18x1.5 0.14 115 163 191 368 523 613
M20x1.5 0.10 151 215 252 392 558 653
M20x1.5 0.12 148 211 246 454 646 756
M20x1.5 0.14 144 206 241 511 728 852
M22x1.5 0.10 186 264 309 529 754 882
M22x1.5 0.12 182 259 303 613 873 1022
M22x1.5 0.14 178 253 296 692 985 1153
M24x2 0.10 213 304 355 666 949 1110
M24x2 0.12 209 297 348 769 1095 1282
M24x2 0.14 204 290 339 865 1232 1442
"""
"""Highest preload in kN and its torque in N·m of 8.8, 10.9 and 12.9, by thread and friction: a distributor's page after
VDI 2230, fine threads (mastik.pt, p. 685)."""


@pytest.mark.parametrize("row", PRINTED.splitlines())
def test_highest_preload_and_its_torque_agree_with_the_printed_table(row: str) -> None:
    thread, friction, *numbers = row.split()
    face, hole = HEADS[thread.partition("x")[0]]
    for cls, force, torque in zip(("8.8", "10.9", "12.9"), numbers[:3], numbers[3:], strict=True):
        found = calculate(
            "torque-by-friction",
            {"preload": f"{force} kN", "thread": thread, "thread-friction": friction, "head-friction": friction,
             "bearing-diameter": f"{face} mm", "hole-diameter": f"{hole} mm", "class": cls},
        )  # fmt: skip
        # The table prints two or three digits, which is up to 1 %.
        assert float(found["highest"].value) == pytest.approx(float(force), rel=0.011)
        assert float(found["torque"].value) == pytest.approx(float(torque), rel=0.013)


COARSE = [("M8", 18.6, 24.6), ("M10", 29.6, 48), ("M12", 43.0, 84), ("M14", 59.1, 133), ("M16", 80.9, 206)]


@pytest.mark.parametrize(("thread", "force", "torque"), COARSE)
def test_coarse_threads_agree_with_table_a1(thread: str, force: float, torque: float) -> None:
    # VDI 2230 part 1, table A1, class 8.8, friction 0.12; from memory.
    face, hole = HEADS[thread]
    texts = {"torque": f"{torque} N·m", "thread": thread, "thread-friction": "0.12", "head-friction": "0.12",
             "bearing-diameter": f"{face} mm", "hole-diameter": f"{hole} mm", "class": "8.8"}  # fmt: skip
    found = calculate("preload-by-friction", texts)
    assert float(found["preload"].value) == pytest.approx(force, rel=0.01)
    assert float(found["highest"].value) == pytest.approx(force, rel=0.006)
    assert float(found["highest-torque"].value) == pytest.approx(torque, rel=0.01)


INPUTS = {
    "preload": "40 kN", "thread": "M10x1.5", "thread-friction": "0.14", "head-friction": "0.10",
    "bearing-diameter": "16 mm", "hole-diameter": "11 mm",
}  # fmt: skip


def test_torque_agrees_with_the_statics_of_a_wedge() -> None:
    # Independent: force on an inclined plane, M = F d2/2 tan(φ + ρ'), tan ρ' = µ / cos 30°; head: ring by its integral,
    # µ F 2/3 (R³ − r³)/(R² − r²). The linear form and the mean diameter differ by 1 %.
    d2 = 10 - 0.649519 * 1.5
    thread = 40_000 * d2 / 2 * tan(atan(1.5 / (pi * d2)) + atan(0.14 / cos(radians(30))))
    head = 0.10 * 40_000 * 2 / 3 * (8**3 - 5.5**3) / (8**2 - 5.5**2)
    found = calculate("torque-by-friction", INPUTS)
    assert float(found["torque"].value) == pytest.approx((thread + head) / 1000, rel=0.015)
    # By hand: 40 × 0.23873 = 9.55; 40 × 0.57735 × 9.02572 × 0.14 = 29.18; 40 × 13.5/4 × 0.2 = 27.0; in all 65.7 N·m
    lines = [float(found[name].value) for name in ("stretching", "thread-loss", "head-loss", "torque")]
    assert lines == pytest.approx([9.55, 29.2, 27.0, 65.7], abs=0.05)
    assert float(found["nut-factor"].value) == pytest.approx(65.73 / (40 * 10), abs=0.0005)
    assert sin(radians(60)) * 2 * 0.57735 == pytest.approx(1, abs=1e-4)  # 0.577 is 1 / (2 cos 30°)


def test_torque_and_preload_are_inverse() -> None:
    torque = calculate("torque-by-friction", INPUTS | {"unit": "ft-lb"})["torque"]
    texts = {name: text for name, text in INPUTS.items() if name != "preload"}
    found = calculate("preload-by-friction", texts | {"torque": f"{torque.value} ft-lb"})
    assert float(found["preload"].value) == pytest.approx(40, rel=0.005)


def test_unified_thread_gives_the_same_as_a_metric_thread_of_the_same_size() -> None:
    # 1/2-20 in mm: 12.7 with a pitch of 1.27; by hand 40 × (0.20213 + 0.57735 × 11.87511 × 0.12 + 16/4 × 0.12).
    texts = INPUTS | {"thread": "1/2-20", "thread-friction": "0.12", "head-friction": "0.12",
                      "bearing-diameter": "0.75 in", "hole-diameter": "0.53 in"}  # fmt: skip
    head = (0.75 + 0.53) * 25.4 / 2 / 2 * 0.12
    expected = 40 * (1.27 / (2 * pi) + 0.57735 * 11.87511 * 0.12 + head)
    assert float(calculate("torque-by-friction", texts)["torque"].value) == pytest.approx(expected, rel=0.002)


def test_preload_above_ninety_per_cent_of_yield_gives_a_note() -> None:
    assert "above 90 % of the yield load" in calculate("torque-by-friction", INPUTS | {"class": "8.8"}).cautions[0].text
    assert calculate("torque-by-friction", INPUTS | {"class": "10.9"}).cautions == ()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"preload": "0 kN"}, "preload"), ({"preload": "-4 kN"}, "preload"), ({"preload": "400 kN"}, "preload"),
        ({"thread-friction": "12"}, "thread-friction"), ({"head-friction": "0"}, "head-friction"),
        ({"bearing-diameter": "160 mm"}, "bearing-diameter"), ({"hole-diameter": "20 mm"}, "hole-diameter"),
        ({"hole-diameter": "1.1 mm"}, "hole-diameter"), ({"class": "grade 8"}, "class"),
        ({"thread": "M10x9"}, "thread"),
    ],
)  # fmt: skip
def test_impossible_input_is_refused_at_its_field(changes: dict[str, str], field: str) -> None:
    with pytest.raises(CalculationErrors) as caught:
        calculate("torque-by-friction", INPUTS | changes)
    assert [error.field for error in caught.value.errors] == [field]
