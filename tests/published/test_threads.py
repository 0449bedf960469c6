"""Stress areas, proof loads and strengths compared with published tables."""

from decimal import Decimal

import pytest

from benchflow.trade.calculations.bolt_strength import strength
from benchflow.trade.calculations.proof_loads import PROOF_LOADS
from benchflow.trade.calculations.result import CalculationError
from benchflow.trade.calculations.table import calculate
from benchflow.trade.calculations.threads import ThreadError, parse_thread

N_PER_LBF = 4.4482216152605


def half_digit(printed: str) -> float:
    """Return half of one step of the last printed digit."""
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int)
    return 0.5 * 10.0**exponent * (1 + 1e-9)


# --- stress areas -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("thread", "d2", "d3", "area", "source"),
    [
        ("M6x1", 5.3505, 4.7731, "20.123", "a distributor's table and engineersedge.com 15797"),
        ("M8x1.25", 7.1881, 6.4664, "36.609", "same"),
        ("M10x1.5", 9.0257, 8.1597, "57.990", "same"),
        ("M12x1.75", 10.8633, 9.8530, "84.267", "same"),
        ("M10x1.25", 9.1881, 8.4664, "61.2", "from memory"),
        ("M12x1.25", 11.1881, 10.4664, "92.1", "from memory"),
        ("M11x1.5", 10.0257, 9.1597, "72.272", "computed only; not a size of the ISO 898-1 tables"),
    ],
)
def test_metric_diameters_and_stress_areas_agree_with_the_tables(
    thread: str, d2: float, d3: float, area: str, source: str
) -> None:
    found = parse_thread(thread)
    assert found.pitch_diameter == pytest.approx(d2, abs=0.5e-4)
    assert found.root_diameter == pytest.approx(d3, abs=0.5e-4)
    assert found.stress_area == pytest.approx(float(area), abs=half_digit(area)), source
    # jlhy.miizo.top/tools/thread-stress-area, citing ISO 898-1: the same area by one formula.
    one_formula = 0.785398 * (found.diameter - 0.9382 * found.pitch) ** 2
    assert found.stress_area == pytest.approx(one_formula, rel=1e-4)


COARSE = {
    "1.6": ("1.25", "1.27"), "2": ("1.6", "2.07"), "2.5": ("2.05", "3.39"), "3": ("2.5", "5.03"),
    "3.5": ("2.9", "6.78"), "4": ("3.3", "8.78"), "5": ("4.2", "14.2"), "6": ("5.0", "20.1"), "7": ("6.0", "28.9"),
    "8": ("6.8", "36.6"), "10": ("8.5", "58.0"), "12": ("10.2", "84.3"), "14": ("12.0", "115"), "16": ("14.0", "157"),
    "18": ("15.5", "192"), "20": ("17.5", "245"), "22": ("19.5", "303"), "24": ("21.0", "353"), "27": ("24.0", "459"),
    "30": ("26.5", "561"), "33": ("29.5", "694"), "36": ("32.0", "817"), "39": ("35.0", "976"), "42": ("37.5", "1120"),
    "45": ("40.5", "1310"), "48": ("43.0", "1470"), "52": ("47.0", "1760"), "56": ("50.5", "2030"),
    "60": ("54.5", "2360"), "64": ("58.0", "2680"),
}  # fmt: skip
"""Coarse metric sizes: tap drill in mm (a workshop chart) and stress area in mm² (ISO 898-1); both from memory."""


@pytest.mark.parametrize("size", COARSE)
def test_coarse_pitch_agrees_with_the_tap_drill_and_the_printed_stress_area(size: str) -> None:
    drill, area = COARSE[size]
    found = parse_thread(f"M{size}")
    # The tap drill for a 75 % thread is the diameter less the pitch, rounded to an available size.
    assert found.diameter - found.pitch == pytest.approx(float(drill), abs=0.06)
    printed = Decimal(area)
    digit = 10.0 ** (printed.adjusted() - 2)  # the tables print three digits
    assert found.stress_area == pytest.approx(float(printed), abs=0.5 * digit * 1.01)


@pytest.mark.parametrize(
    ("thread", "printed", "source"),
    [
        ("1/4-28 UNF", "0.0364", "boltport.com/threads/unf"),
        ("3/8-24 UNF", "0.0878", "boltport.com/threads/unf"),
        ("7/16-20 UNF", "0.1187", "boltport.com/threads/unf"),
        ("7/16-14 UNC", "0.1063", "formulafactory.tools"),
        ("1/2-13 UNC", "0.1419", "formulafactory.tools and engineersedge.com 15800"),
    ],
)
def test_unified_stress_areas_agree_with_the_tables(thread: str, printed: str, source: str) -> None:
    found = parse_thread(thread)
    assert found.stress_area == pytest.approx(float(printed), abs=half_digit(printed)), source


@pytest.mark.parametrize(
    ("thread", "diameter", "area"),
    [
        ("0-80", "0.0600", "0.00180"), ("1-64", "0.0730", "0.00263"), ("1-72", "0.0730", "0.00278"),
        ("2-56", "0.0860", "0.00370"), ("2-64", "0.0860", "0.00394"), ("3-48", "0.0990", "0.00487"),
        ("3-56", "0.0990", "0.00523"), ("4-40", "0.1120", "0.00604"), ("4-48", "0.1120", "0.00661"),
        ("5-40", "0.1250", "0.00796"), ("5-44", "0.1250", "0.00830"), ("6-32", "0.1380", "0.00909"),
        ("6-40", "0.1380", "0.01015"), ("8-32", "0.1640", "0.0140"), ("8-36", "0.1640", "0.01474"),
        ("10-24", "0.1900", "0.0175"), ("10-32", "0.1900", "0.0200"), ("12-24", "0.2160", "0.0242"),
        ("12-28", "0.2160", "0.0258"), ("12-32", "0.2160", "0.0270"),
    ],
)  # fmt: skip
def test_numbered_sizes_have_the_diameter_and_stress_area_of_the_table(thread: str, diameter: str, area: str) -> None:
    # ASME B1.1, from memory.
    found = parse_thread(thread)
    assert found.diameter == pytest.approx(float(diameter), abs=1e-9)
    assert found.stress_area == pytest.approx(float(area), rel=0.006)  # the table rounds intermediate results


def test_stress_area_of_half_inch_fine_is_between_its_two_printed_values() -> None:
    # boltport.com prints 0.1599; the computed 0.15995 may also be printed as 0.1600.
    assert parse_thread("1/2-20 UNF").stress_area == pytest.approx(0.15995, abs=5e-6)


def test_pitch_diameter_of_seven_sixteenths_fine_agrees_with_the_table() -> None:
    # boltport.com/threads/unf
    assert parse_thread("7/16-20").pitch_diameter == pytest.approx(0.4050, abs=half_digit("0.4050"))


def test_misprinted_designation_is_refused() -> None:
    # engineersedge.com 15797 labels a row "M8×1.2 5".
    with pytest.raises(ThreadError, match="Write it like"):
        parse_thread("M8×1.2 5")


# --- proof loads ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "cls", "proof", "breaking"),
    [
        ("M6", "8.8", 11600, 16100), ("M6", "10.9", 16700, 20900), ("M6", "12.9", 19500, 24500),
        ("M8", "8.8", 21200, 29200), ("M8", "10.9", 30400, 38100), ("M8", "12.9", 35500, 44600),
        ("M10", "8.8", 33700, 46400), ("M10", "10.9", 48100, 60300), ("M10", "12.9", 56300, 70800),
        ("M12", "8.8", 48900, 67400), ("M12", "10.9", 70000, 87700), ("M12", "12.9", 81800, 103000),
    ],
)  # fmt: skip
def test_proof_loads_agree_with_the_printed_table(size: str, cls: str, proof: float, breaking: float) -> None:
    # Proof: "ISO Metric Pitch Thread Proof Loads, EN ISO 898-1" of two distributors.
    # Breaking: usefastener.com no. 404. The tables are rounded inconsistently, by up to 0.6 % (11658 is printed as
    # 11600). Their stress areas have three digits, which is another 0.1 % for M6.
    found = calculate("proof-load", {"thread": size, "class": cls})
    assert float(found["proof"].value) == pytest.approx(proof, rel=0.0065)
    assert float(found["breaking"].value) == pytest.approx(breaking, rel=0.006)


@pytest.mark.parametrize(
    ("size", "cls", "proof", "breaking"),
    [
        ("M10", "4.6", 13000, 23200), ("M10", "4.8", 18000, 24400), ("M10", "5.6", 16200, 29000),
        ("M10", "5.8", 22000, 30200), ("M10", "6.8", 25500, 34800), ("M10", "9.8", 37700, 52200),
        ("M16", "8.8", 91000, 125000), ("M20", "8.8", 147000, 203000), ("M24", "10.9", 293000, 367000),
        ("M16", "12.9", 152000, 192000),
    ],
)  # fmt: skip
def test_proof_loads_of_other_classes_agree_with_iso_898_1(size: str, cls: str, proof: float, breaking: float) -> None:
    # ISO 898-1, tables of proof loads and minimum ultimate loads, coarse pitch; from memory.
    found = calculate("proof-load", {"thread": size, "class": cls})
    assert float(found["proof"].value) == pytest.approx(proof, rel=0.004)
    assert float(found["breaking"].value) == pytest.approx(breaking, rel=0.005)


@pytest.mark.parametrize(
    ("cls", "size", "proof_ratio"),
    [
        ("4.6", "M10", 0.94), ("4.8", "M10", 0.91), ("5.6", "M10", 0.93), ("5.8", "M10", 0.90), ("6.8", "M10", 0.92),
        ("8.8", "M16", 0.91), ("8.8", "M18", 0.91), ("9.8", "M10", 0.90), ("10.9", "M10", 0.88), ("12.9", "M10", 0.88),
    ],
)  # fmt: skip
def test_strengths_follow_from_the_name_of_the_class(cls: str, size: str, proof_ratio: float) -> None:
    # ISO 898-1, from memory: the first number is the nominal tensile strength / 100 MPa, the second the ratio of yield
    # to tensile strength in tenths; a minimum is the nominal value or up to 6.5 % more. The standard also prints the
    # ratio of proof stress to yield.
    tensile, yield_ratio = (int(part) for part in cls.split("."))
    found = strength(cls, parse_thread(size))
    assert 0 <= found.tensile / (100 * tensile) - 1 <= 0.065
    assert 0 <= found.yield_stress / (10 * tensile * yield_ratio) - 1 <= 0.065
    assert found.proof / found.yield_stress == pytest.approx(proof_ratio, abs=0.0055)


@pytest.mark.parametrize(
    ("cls", "size", "tensile", "yields", "proof"),
    [
        ("4.6", "M10", 400, 240, 225), ("4.8", "M10", 420, 340, 310), ("5.6", "M10", 500, 300, 280),
        ("5.8", "M10", 520, 420, 380), ("6.8", "M10", 600, 480, 440), ("8.8", "M16", 800, 640, 580),
        ("8.8", "M18", 830, 660, 600), ("9.8", "M16", 900, 720, 650), ("10.9", "M10", 1040, 940, 830),
        ("12.9", "M10", 1220, 1100, 970),
    ],
)  # fmt: skip
def test_strengths_of_each_class_agree_with_iso_898_1(
    cls: str, size: str, tensile: float, yields: float, proof: float
) -> None:
    # ISO 898-1, table of mechanical properties: minimum tensile strength, minimum yield and proof stress; from memory.
    found = strength(cls, parse_thread(size))
    assert (found.tensile, found.yield_stress, found.proof) == (tensile, yields, proof)


@pytest.mark.parametrize("cls", ["4.6", "4.8", "5.6", "5.8", "6.8", "8.8", "10.9", "12.9"])
def test_classes_cover_m1_6_to_m39(cls: str) -> None:
    # Scope of ISO 898-1; from memory.
    for size in ("M1.6", "M39"):
        assert strength(cls, parse_thread(size)).name == f"class {cls}"
    with pytest.raises(CalculationError, match="is not known"):
        strength(cls, parse_thread("M39.5x4"))


@pytest.mark.parametrize(("cls", "size", "proof"), [("8.8", "M16", 580), ("8.8", "M18", 600), ("9.8", "M12", 650)])
def test_nominal_proof_stress_changes_at_the_size_that_the_standard_states(cls: str, size: str, proof: float) -> None:
    # mem50212.com citing ISO 898-1:1999; 580 up to 16 mm from memory.
    assert strength(cls, parse_thread(size)).proof == proof


@pytest.mark.parametrize(
    ("cls", "size"),
    [
        ("9.8", "M18"),
        ("10.9", "M42"),
        ("grade 2", "1 5/8-6"),
        ("grade 5", "1 5/8-6"),
        ("grade 8", "1 5/8-6"),
        ("2", "#10-24"),
        ("5", "#12-24"),
        ("8", "#12-24"),
    ],
)
def test_class_that_does_not_cover_the_size_is_refused(cls: str, size: str) -> None:
    # ISO 898-1: 9.8 up to 16 mm, all classes up to 39 mm; SAE J429: from 1/4 in to 1 1/2 in. From memory.
    with pytest.raises(CalculationError, match="is not known"):
        strength(cls, parse_thread(size))


@pytest.mark.parametrize(
    ("grade", "thread", "proof", "yields", "tensile"),
    [
        ("Grade 2", "1/4-20", 55, 57, 74), ("Grade 2", "3/4-10", 55, 57, 74), ("Grade 2", "7/8-9", 33, 36, 60),
        ("Grade 5", "1-8", 85, 92, 120), ("Grade 5", "1 1/8-7", 74, 81, 105), ("Grade 5", "1 1/2-6", 74, 81, 105),
        ("Grade 8", "1 1/2-6", 120, 130, 150),
    ],
)  # fmt: skip
def test_sae_grades_have_their_printed_strengths(
    grade: str, thread: str, proof: float, yields: float, tensile: float
) -> None:
    # SAE J429 as printed by china-bolts.com and coxhardware.com (which prints 72 for grade 2 tensile); grade 2 above
    # 3/4 in from memory.
    found = strength(grade, parse_thread(thread))
    mpa_per_ksi = 6.894757293
    assert [found.proof / mpa_per_ksi, found.yield_stress / mpa_per_ksi, found.tensile / mpa_per_ksi] == pytest.approx(
        [proof, yields, tensile]
    )


@pytest.mark.parametrize(
    ("thread", "grade", "proof", "breaking"),
    [
        ("1/2-13", "grade 2", 7800, 10500), ("1/2-13", "grade 5", 12100, 17000), ("1/2-13", "grade 8", 17050, 21300),
        ("1-8", "grade 5", 51500, 72700), ("1-8", "grade 2", 20000, 36400), ("1 1/8-7", "grade 5", 56500, 80100),
    ],
)  # fmt: skip
def test_sae_proof_loads_agree_with_the_printed_table(thread: str, grade: str, proof: float, breaking: float) -> None:
    # SAE J429, table of proof loads in lbf; from memory.
    found = calculate("proof-load", {"thread": thread, "class": grade})
    assert float(found["proof"].value) / N_PER_LBF == pytest.approx(proof, rel=0.004)
    assert float(found["breaking"].value) / N_PER_LBF == pytest.approx(breaking, rel=0.004)


@pytest.mark.parametrize(("thread", "cls"), PROOF_LOADS)
def test_each_printed_proof_load_agrees_with_stress_area_and_proof_stress(thread: str, cls: str) -> None:
    # ISO 898-1 rounds the area to three digits and the load again. A slip of a digit in the table would be more.
    found = strength(cls, parse_thread(thread))
    product = found.proof * parse_thread(thread).stress_area_mm2
    assert PROOF_LOADS[thread, cls] == pytest.approx(product, rel=0.0065)


@pytest.mark.parametrize(
    ("size", "cls", "proof"),
    [("M6", "8.8", 11600), ("M10", "8.8", 33700), ("M10", "10.9", 48100), ("M12", "12.9", 81800)],
)
def test_proof_load_is_the_printed_one(size: str, cls: str, proof: int) -> None:
    # "ISO Metric Pitch Thread Proof Loads, EN ISO 898-1" of two distributors.
    found = calculate("proof-load", {"thread": size, "class": cls})
    assert found["proof"].value == proof
    assert float(found["calculated"].value) == pytest.approx(proof, rel=0.0065)


@pytest.mark.parametrize(
    ("grade", "thread", "proof", "yields", "tensile"),
    [
        ("grade 1", "1/2-13", 33, 36, 60), ("grade 4", "1/2-13", 65, 100, 115), ("grade 5.2", "1/2-13", 85, 92, 120),
        ("grade 7", "1/2-13", 105, 115, 133), ("grade 8.2", "1/2-13", 120, 130, 150),
        ("ASTM A325", "3/4-10", 85, 92, 120), ("A325", "1 1/4-7", 74, 81, 105), ("A354 BC", "1/2-13", 105, 109, 125),
        ("A354 grade BD", "1/2-13", 120, 130, 150), ("A449", "1 3/4-5", 55, 58, 90), ("A490", "1-8", 120, 130, 150),
        ("A307", "1/2-13", 33, 36, 60),
    ],
)  # fmt: skip
def test_other_inch_grades_have_the_strengths_of_the_textbook(
    grade: str, thread: str, proof: float, yields: float, tensile: float
) -> None:
    # Shigley, Mechanical Engineering Design, tables 8-9 and 8-10, ksi; from memory.
    found = strength(grade, parse_thread(thread))
    assert [found.proof / 6.894757, found.yield_stress / 6.894757, found.tensile / 6.894757] == pytest.approx(
        [proof, yields, tensile], rel=1e-6
    )
