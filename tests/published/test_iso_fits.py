"""Limit deviations of ISO 286-1 compared with printed tables and with the formulas of the standard."""

from fractions import Fraction
from itertools import pairwise
from math import sqrt

import pytest

from benchflow.quantity import show
from benchflow.trade.calculations.iso_fits import GRADES, deviations
from benchflow.trade.calculations.table import calculate

SIZES = ((0, 3), (3, 6), (6, 10), (10, 18), (18, 30), (30, 50), (50, 80), (80, 120), (120, 180), (180, 250), (250, 315),
         (315, 400), (400, 500))  # fmt: skip


def limits(tolerance_class: str, size: float) -> tuple[float, float]:
    found = deviations(tolerance_class, Fraction(str(size)))
    return float(found.high), float(found.low)


SHAFTS_TO_80_MM = {
    # Upper and lower deviations in µm above 0, 3, 6, 10, 18, 30 and 50 mm: docs.steelcam.org/sumitomo, technical
    # information, page 28, "Dimensional Tolerances for Regularly Used Shaft Fits", taken from JIS B 0401 (1999), which
    # adopts ISO 286.
    "d8": ((-20, -34), (-30, -48), (-40, -62), (-50, -77), (-65, -98), (-80, -119), (-100, -146)),
    "d9": ((-20, -45), (-30, -60), (-40, -76), (-50, -93), (-65, -117), (-80, -142), (-100, -174)),
    "e7": ((-14, -24), (-20, -32), (-25, -40), (-32, -50), (-40, -61), (-50, -75), (-60, -90)),
    "e8": ((-14, -28), (-20, -38), (-25, -47), (-32, -59), (-40, -73), (-50, -89), (-60, -106)),
    "f6": ((-6, -12), (-10, -18), (-13, -22), (-16, -27), (-20, -33), (-25, -41), (-30, -49)),
    "f7": ((-6, -16), (-10, -22), (-13, -28), (-16, -34), (-20, -41), (-25, -50), (-30, -60)),
    "g5": ((-2, -6), (-4, -9), (-5, -11), (-6, -14), (-7, -16), (-9, -20), (-10, -23)),
    "g6": ((-2, -8), (-4, -12), (-5, -14), (-6, -17), (-7, -20), (-9, -25), (-10, -29)),
    "h6": ((0, -6), (0, -8), (0, -9), (0, -11), (0, -13), (0, -16), (0, -19)),
    "h7": ((0, -10), (0, -12), (0, -15), (0, -18), (0, -21), (0, -25), (0, -30)),
    "h9": ((0, -25), (0, -30), (0, -36), (0, -43), (0, -52), (0, -62), (0, -74)),
    "js5": ((2, -2), (2.5, -2.5), (3, -3), (4, -4), (4.5, -4.5), (5.5, -5.5), (6.5, -6.5)),
    "js6": ((3, -3), (4, -4), (4.5, -4.5), (5.5, -5.5), (6.5, -6.5), (8, -8), (9.5, -9.5)),
    "js7": ((5, -5), (6, -6), (7.5, -7.5), (9, -9), (10.5, -10.5), (12.5, -12.5), (15, -15)),
    "k5": ((4, 0), (6, 1), (7, 1), (9, 1), (11, 2), (13, 2), (15, 2)),
    "k6": ((6, 0), (9, 1), (10, 1), (12, 1), (15, 2), (18, 2), (21, 2)),
    "m5": ((6, 2), (9, 4), (12, 6), (15, 7), (17, 8), (20, 9), (24, 11)),
    "m6": ((8, 2), (12, 4), (15, 6), (18, 7), (21, 8), (25, 9), (30, 11)),
    "n6": ((10, 4), (16, 8), (19, 10), (23, 12), (28, 15), (33, 17), (39, 20)),
    "p6": ((12, 6), (20, 12), (24, 15), (29, 18), (35, 22), (42, 26), (51, 32)),
    "r6": ((16, 10), (23, 15), (28, 19), (34, 23), (41, 28), (50, 34), (60, 41)),
    "s6": ((20, 14), (27, 19), (32, 23), (39, 28), (48, 35), (59, 43), (72, 53)),
    "u6": ((24, 18), (31, 23), (37, 28), (44, 33), (54, 41), (76, 60), (106, 87)),
}


@pytest.mark.parametrize("tolerance_class", SHAFTS_TO_80_MM)
def test_shaft_deviations_agree_with_the_printed_table(tolerance_class: str) -> None:
    # A range includes its upper end. Of the fine ranges above 18 mm, the first one is printed here.
    for (low, _), printed in zip(SIZES, SHAFTS_TO_80_MM[tolerance_class], strict=False):
        assert limits(tolerance_class, low + 0.5) == printed
    assert limits(tolerance_class, 18) == SHAFTS_TO_80_MM[tolerance_class][3]


@pytest.mark.parametrize(
    ("tolerance_class", "size", "printed"),
    [
        # The same page, the second of two fine ranges.
        ("t6", 25, (54, 41)), ("u6", 25, (61, 48)), ("t6", 35, (64, 48)), ("t6", 45, (70, 54)), ("u6", 45, (86, 70)),
        ("t6", 60, (85, 66)), ("r6", 70, (62, 43)), ("s6", 70, (78, 59)),
    ],
)  # fmt: skip
def test_shaft_deviations_change_within_a_range_as_printed(
    tolerance_class: str, size: float, printed: tuple[float, float]
) -> None:
    assert limits(tolerance_class, size) == printed


HOUSINGS = {
    # Upper and lower deviations in µm above 6, 10, 18, 30, 50, 80, 120 and 180 mm: germany-bearing.com, "Housing
    # tolerances and resultant fits", articles s67, s70 and s74. J6: pdfcoffee.com, a copy of table 8 of that title.
    "J6": ((5, -4), (6, -5), (8, -5), (10, -6), (13, -6), (16, -6), (18, -7), (22, -7)),
    "J7": ((8, -7), (10, -8), (12, -9), (14, -11), (18, -12), (22, -13), (26, -14), (30, -16)),
    "K5": ((1, -5), (2, -6), (1, -8), (2, -9), (3, -10), (2, -13), (3, -15), (2, -18)),
    "K6": ((2, -7), (2, -9), (2, -11), (3, -13), (4, -15), (4, -18), (4, -21), (5, -24)),
    "K7": ((5, -10), (6, -12), (6, -15), (7, -18), (9, -21), (10, -25), (12, -28), (13, -33)),
    "M5": ((-4, -10), (-4, -12), (-5, -14), (-5, -16), (-6, -19), (-8, -23), (-9, -27), (-11, -31)),
    "M6": ((-3, -12), (-4, -15), (-4, -17), (-4, -20), (-5, -24), (-6, -28), (-8, -33), (-8, -37)),
    "M7": ((0, -15), (0, -18), (0, -21), (0, -25), (0, -30), (0, -35), (0, -40), (0, -46)),
    "N6": ((-7, -16), (-9, -20), (-11, -24), (-12, -28), (-14, -33), (-16, -38), (-20, -45), (-22, -51)),
    "N7": ((-4, -19), (-5, -23), (-7, -28), (-8, -33), (-9, -39), (-10, -45), (-12, -52), (-14, -60)),
    "P6": ((-12, -21), (-15, -26), (-18, -31), (-21, -37), (-26, -45), (-30, -52), (-36, -61), (-41, -70)),
    "P7": ((-9, -24), (-11, -29), (-14, -35), (-17, -42), (-21, -51), (-24, -59), (-28, -68), (-33, -79)),
}
PRINTED_M5_18_TO_30 = (-4, -14)
"""The page prints −14 to −4 µm, which is 10 µm wide. IT5 is 9 µm there, so −5 is meant."""


@pytest.mark.parametrize("tolerance_class", HOUSINGS)
def test_hole_deviations_agree_with_the_printed_table(tolerance_class: str) -> None:
    for (low, high), printed in zip(SIZES[2:], HOUSINGS[tolerance_class], strict=False):
        assert limits(tolerance_class, low + 0.5) == printed
        assert limits(tolerance_class, high) == printed


def test_misprinted_hole_deviation_is_wider_than_its_grade() -> None:
    assert PRINTED_M5_18_TO_30[0] - PRINTED_M5_18_TO_30[1] == GRADES[5][4] + 1


@pytest.mark.parametrize(
    ("size", "printed"),
    [
        # E7, E8, F6, F7, F8, G6, G7, H6, H7, H8, H9 and H10 in µm: mikipulley.co.jp, "List of Fit Tolerances (Excerpt
        # from JIS B 0401)".
        (5, ((32, 20), (38, 20), (18, 10), (22, 10), (28, 10), (12, 4), (16, 4), (8, 0), (12, 0), (18, 0), (30, 0),
             (48, 0))),
        (90, ((107, 72), (126, 72), (58, 36), (71, 36), (90, 36), (34, 12), (47, 12), (22, 0), (35, 0), (54, 0),
              (87, 0), (140, 0))),
        (150, ((125, 85), (148, 85), (68, 43), (83, 43), (106, 43), (39, 14), (54, 14), (25, 0), (40, 0), (63, 0),
               (100, 0), (160, 0))),
        (260, ((162, 110), (191, 110), (88, 56), (108, 56), (137, 56), (49, 17), (69, 17), (32, 0), (52, 0), (81, 0),
               (130, 0), (None, 0))),
    ],
)  # fmt: skip
def test_clearance_holes_agree_with_the_printed_table(size: float, printed: tuple[tuple[int | None, int], ...]) -> None:
    names = ("E7", "E8", "F6", "F7", "F8", "G6", "G7", "H6", "H7", "H8", "H9", "H10")
    for name, (high, low) in zip(names, printed, strict=True):
        assert limits(name, size)[1] == low
        assert high is None or limits(name, size)[0] == high


H_SHAFTS = {
    # Width in µm of h5 to h9: catalog.bigdaishowa.com, "Shaft tolerances", page 139.
    5: (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
}


@pytest.mark.parametrize("grade", H_SHAFTS)
def test_standard_tolerances_agree_with_the_printed_table(grade: int) -> None:
    assert GRADES[grade] == H_SHAFTS[grade]


# --- formulas of the standard -----------------------------------------------------------------------------


def middle(low: float, high: float) -> float:
    """Return the geometric mean of a range, from which the standard calculates."""
    return sqrt(max(low, 1) * high)


MULTIPLES = {5: 7, 6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100, 12: 160, 13: 250}


@pytest.mark.parametrize("grade", MULTIPLES)
def test_standard_tolerances_follow_the_tolerance_unit(grade: int) -> None:
    # ISO 286-1, annex (from memory): IT = n × (0.45 ∛D + 0.001 D), then rounded. Up to 3 mm the standard differs.
    for (low, high), width in zip(SIZES[1:], GRADES[grade][1:], strict=True):
        size = middle(low, high)
        unit = 0.45 * size ** (1 / 3) + 0.001 * size
        assert width == pytest.approx(MULTIPLES[grade] * unit, rel=0.055, abs=1)


FINE = (50, 65, 80, 100, 120, 140, 160, 180, 200, 225, 250, 280, 315, 355, 400, 450, 500)


@pytest.mark.parametrize(("low", "high"), list(pairwise(FINE)))
def test_interference_shafts_above_50_mm_follow_the_formulas(low: int, high: int) -> None:
    # ISO 286-1, annex (from memory): s = IT7 + 0.4 D, t = IT7 + 0.63 D, u = IT7 + D, r = √(p × s).
    size = middle(low, high)
    width = limits("H7", high)[0]
    lower = {letter: limits(f"{letter}6", high)[1] for letter in "prstu"}
    assert lower["s"] == pytest.approx(width + 0.4 * size, rel=0.02, abs=1.5)
    assert lower["t"] == pytest.approx(width + 0.63 * size, rel=0.02, abs=1.5)
    assert lower["u"] == pytest.approx(width + size, rel=0.02, abs=1.5)
    assert lower["r"] == pytest.approx(sqrt(lower["p"] * lower["s"]), abs=1.5)


@pytest.mark.parametrize(
    ("letter", "factor", "exponent"), [("d", 16, 0.44), ("e", 11, 0.41), ("f", 5.5, 0.41), ("g", 2.5, 0.34)]
)
def test_clearance_shafts_follow_the_formulas(letter: str, factor: float, exponent: float) -> None:
    # ISO 286-1, annex (from memory). Up to 3 mm the standard differs.
    for low, high in SIZES[1:]:
        upper = limits(f"{letter}7", high)[0]
        assert -upper == pytest.approx(factor * middle(low, high) ** exponent, rel=0.04, abs=1)


@pytest.mark.parametrize("letter", ["k", "m", "n", "p", "r", "s", "t", "u"])
@pytest.mark.parametrize("size", [25, 28, 45, 75, 110, 170, 230, 300, 380, 480])
def test_hole_basis_and_shaft_basis_give_the_same_fit(letter: str, size: int) -> None:
    # ISO 286-1 (from memory): the shift Δ makes H7/p6 and P7/h6 the same fit.
    hole_basis, shaft_basis = limits("H7", size), limits("h6", size)
    shaft, hole = limits(f"{letter}6", size), limits(f"{letter.upper()}7", size)
    assert hole_basis[0] - shaft[1] == hole[0] - shaft_basis[1]
    assert hole_basis[1] - shaft[0] == hole[1] - shaft_basis[0]


# --- the calculation --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("nominal", "fit", "expected"),
    [
        # By hand from the printed tables above.
        ("25 mm", "H7/g6", {"least-clearance": "0.007 mm", "greatest-clearance": "0.041 mm"}),
        ("25 mm", "H7/h6", {"least-clearance": "0.000 mm", "greatest-clearance": "0.034 mm"}),
        ("25 mm", "H7/k6", {"greatest-clearance": "0.019 mm", "greatest-interference": "0.015 mm"}),
        ("25 mm", "H7/p6", {"greatest-interference": "0.035 mm", "least-interference": "0.001 mm"}),
        ("90 mm", "K7 / h6", {"greatest-clearance": "0.032 mm", "greatest-interference": "0.025 mm"}),
        ("1 in", "H7 js7", {"greatest-clearance": "0.0315 mm", "greatest-interference": "0.0105 mm"}),
    ],
)
def test_fit_gives_clearance_or_interference(nominal: str, fit: str, expected: dict[str, str]) -> None:
    found = calculate("fit", {"nominal": nominal, "fit": fit})
    assert {
        line.name: line.shown for line in found.lines if "hole-" not in line.name and "shaft-" not in line.name
    } == (expected)


def test_fit_gives_sizes_without_rounding() -> None:
    found = calculate("fit", {"nominal": "1 in", "fit": "H7/js7"})
    assert show(found["shaft-high"]) == "25.4105 mm"
    assert all("≈" not in line.filled for line in found.lines)


def test_one_tolerance_class_gives_its_limit() -> None:
    found = calculate("fit", {"nominal": "52 mm", "fit": "N7"})
    assert [line.name for line in found.lines] == ["hole-low", "hole-high"]
    assert "Limit of the hole: 51.961 .. 51.991 mm." in found.notes
