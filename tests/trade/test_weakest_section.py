"""A bolt is compared with its proof load in its weakest cross-section: thread, neck or thin shank."""

import pytest

from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.result import CalculationResult
from benchflow.trade.calculations.table import calculate

STUD = {"thread": "M10x1.25", "class": "10.9"}
NECK = {"segments": "neck 80 x 7 mm, thread 15 mm"}
FRICTION = {"thread-friction": "0.12", "head-friction": "0.12", "bearing-diameter": "14.6 mm", "hole-diameter": "11 mm"}


def shown(result: CalculationResult, name: str) -> str:
    return next(line.shown for line in result.lines if line.name == name)


def test_preload_from_angle_is_compared_with_the_proof_load_of_the_neck() -> None:
    # By hand: π/4 × 7² = 38.48 mm², × 830 MPa = 31.9 kN, and 47.3 kN / 31.9 kN = 148 %.
    inputs = {"angle": "90°", "joint-stiffness": "600000 N/mm", "snug": "25 kN"}
    found = calculate("preload-from-angle", STUD | NECK | inputs)
    assert (shown(found, "proof"), shown(found, "share")) == ("31.9 kN", "148 %")
    assert [caution.signal for caution in found.cautions] == ["caution"]
    assert "148 % of the proof load of the neck" in found.cautions[0].text


@pytest.mark.parametrize(
    ("name", "inputs", "proof", "share"),
    [
        # By hand with 38.48 mm² × 830 MPa = 31.94 kN. F = 60 N·m / (0.15 × 10 mm) = 40 kN.
        ("preload", {"torque": "60 N·m", "nut-factor": "0.15", "neck-diameter": "7 mm"}, "31.9 kN", "125 %"),
        ("torque-for-preload", {"preload": "40 kN", "nut-factor": "0.15", "neck-diameter": "7 mm"}, "31.9 kN", "125 %"),
        ("stretch", NECK | {"force": "40 kN"}, "31.9 kN", "125 %"),
        # 620 MPa in 61.20 mm² is 37.9 kN.
        ("angle", NECK | {"stress": "620 MPa"}, "31.9 kN", "119 %"),
    ],
)
def test_neck_decides_in_each_calculation_of_a_preload(
    name: str, inputs: dict[str, str], proof: str, share: str
) -> None:
    found = calculate(name, STUD | inputs)
    assert (shown(found, "proof"), shown(found, "share")) == (proof, share)
    assert any("above the proof load" in caution.text for caution in found.cautions)


def test_thin_shank_decides_like_a_neck() -> None:
    found = calculate("stretch", STUD | {"segments": "shank 80 x 7 mm, thread 15 mm", "force": "40 kN"})
    assert (shown(found, "stress"), shown(found, "share")) == ("1040 MPa", "125 %")
    assert found.lines[1].title == "Stress in the shank"


def test_thread_decides_if_the_shank_is_thicker() -> None:
    found = calculate("stretch", STUD | {"segments": "shank 80 x 10 mm, thread 15 mm", "force": "40 kN"})
    assert (shown(found, "proof"), shown(found, "share")) == ("50.8 kN", "79 %")
    assert found.cautions == ()


def test_stress_above_every_property_class_is_a_caution_without_a_class() -> None:
    # 40 kN / 38.48 mm² = 1040 MPa; class 12.9 has a proof stress of 970 MPa.
    for name, inputs in (
        ("stretch", NECK | {"force": "40 kN"}), ("preload-from-stretch", NECK | {"stretch": "0.5 mm"}),
        ("preload", {"torque": "60 N·m", "nut-factor": "0.15", "neck-diameter": "7 mm"}),
        ("preload-from-angle", NECK | {"angle": "90°", "joint-stiffness": "600000 N/mm", "snug": "25 kN"}),
        ("preload-by-friction", FRICTION | {"torque": "70 N·m", "neck-diameter": "7 mm"}),
        ("angle", NECK | {"stress": "900 MPa"}),
    ):  # fmt: skip
        found = calculate(name, {"thread": "M10x1.25"} | inputs)
        assert any("970 MPa" in caution.text for caution in found.cautions), name


def test_highest_preload_by_friction_is_that_of_the_neck() -> None:
    # By hand (VDI 2230, table A1): k = 1.5 × 9.188/7 × (1.25/(π × 9.188) + 1.155 × 0.12) = 0.3581;
    # 0.9 × 940 × 38.48 / √(1 + 3 × 0.3581²) = 27.7 kN.
    found = calculate("torque-by-friction", STUD | FRICTION | {"preload": "30 kN", "neck-diameter": "7 mm"})
    assert (shown(found, "highest"), shown(found, "share")) == ("27.7 kN", "108 %")
    assert found.cautions


@pytest.mark.parametrize("diameter", ["3 mm", "10.1 mm", "7 in"])
def test_neck_that_does_not_belong_to_the_thread_is_refused(diameter: str) -> None:
    with pytest.raises(CalculationErrors, match="does not belong to a bolt M10x1") as caught:
        calculate("preload", STUD | {"torque": "60 N·m", "nut-factor": "0.15", "neck-diameter": diameter})
    assert [error.field for error in caught.value.errors] == ["neck-diameter"]


def test_estimate_with_a_wrong_class_is_refused() -> None:
    with pytest.raises(CalculationErrors, match="class"):
        calculate("stretch", {"thread": "M10", "class": "8", "length": "100 mm", "force": "40 kN"})
