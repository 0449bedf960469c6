"""Preload at the bench, strengths, and acceptance by torque and stretch."""

from decimal import Decimal

import pytest

from benchflow.procedure.model import Joint
from benchflow.quantity import parse_limit, parse_quantity, position
from benchflow.trade.calculations.bolt_strength import fastener_problems, find_strength
from benchflow.trade.calculations.bolt_torque import preload, torque_for
from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.result import CalculationError
from benchflow.trade.calculations.table import calculate
from benchflow.trade.calculations.threads import parse_thread
from benchflow.trade.joint_estimates import joint_preload_text
from benchflow.trade.torque_and_stretch import diagnosis

M10 = parse_thread("M10x1.25")
K15 = Decimal("0.15")


def test_preload_is_shown_with_its_scatter() -> None:
    found = preload(parse_quantity("60 N·m"), M10, K15, "10.9")
    assert [line.shown for line in found.lines] == ["40.0 kN", "30.0 kN", "50.0 kN", "50.8 kN", "79 %"]
    assert any("±25 %" in note for note in found.notes)


def test_preload_above_the_proof_load_gives_a_note() -> None:
    assert any("highest preload is above" in note for note in preload(parse_quantity("70 N·m"), M10, K15, "10.9").notes)
    high = preload(parse_quantity("85 ft-lb"), M10, K15, "10.9")
    assert "above the proof load" in high.cautions[0].text


def test_torque_for_a_preload_gives_that_preload_again() -> None:
    torque = torque_for(parse_quantity("40 kN"), M10, K15, "ft-lb")["torque"]
    assert float(preload(torque, M10, K15)["preload"].value) == pytest.approx(40, rel=0.005)


def joint(**changes: object) -> Joint:
    fields = {"thread": "M10x1.25", "grade": "10.9", "nut_factor": K15} | changes
    return Joint("studs", "Studs", ((1,),), 1, **fields)  # type: ignore[arg-type]  # fields by name


def test_preload_of_a_joint_is_one_line() -> None:
    assert joint_preload_text(joint(), parse_quantity("60 N·m")) == "Preload about 40 kN ± 25 %, 79 % of proof load"
    assert joint_preload_text(joint(grade=""), parse_quantity("60 N·m")) == "Preload about 40 kN ± 25 %"
    assert joint_preload_text(joint(grade="unknown"), parse_quantity("6 N·m")) == "Preload about 4.0 kN ± 25 %"


def test_joint_without_thread_or_nut_factor_has_no_preload_line() -> None:
    for missing in ({"thread": ""}, {"thread": "special"}, {"nut_factor": None}, {"nut_factor": Decimal(9)}):
        assert joint_preload_text(joint(**missing), parse_quantity("60 N·m")) == ""


@pytest.mark.parametrize("grade", ["10.9", "class 10.9", "Property class 10.9", " 10.9 "])
def test_property_class_is_found_in_each_spelling(grade: str) -> None:
    found = find_strength(grade, M10)
    assert found is not None
    assert found.proof == 830


def test_class_is_not_found_for_a_size_outside_its_table() -> None:
    assert find_strength("9.8", parse_thread("M20")) is None
    assert find_strength("grade 5", parse_thread("#10-32")) is None
    with pytest.raises(CalculationError, match=r"Known: 4\.6"):
        preload(parse_quantity("60 N·m"), M10, K15, "11.9")


@pytest.mark.parametrize(
    ("thread", "grade", "message"),
    [
        ("M10", "8", "class of metric nuts"), ("M10", "class 8", "two numbers, such as 8.8"),
        ("M10", "5", "class of metric nuts"), ("M10", "grade 8", "SAE J429 for inch threads, but M10x1.5 is metric"),
        ("M10", "SAE 5", "SAE J429 for inch threads"), ("M10", "2", "SAE J429 for inch threads"),
        ("M10", "A325", "ASTM grade for inch threads"), ("M10", "nut 8", "proof load of “nut 8” is not known"),
        ("M10", "A2-70", "proof load of “A2-70” is not known"), ("M10", "11.9", r"Known: 4\.6.*12\.9\."),
        ("1/2-20", "10.9", "metric class, but 1/2-20 is an inch thread"), ("1/2-20", "A2-70", "is a metric class"),
        ("1/2-20", "class 8.8", "grade 8"), ("1/2-20", "9", "Known: grade 1"),
        ("M18", "9.8", "have it up to M16"), ("1 5/8-6", "grade 8", r"from 0\.25 to 1\.5 in"),
    ],
)  # fmt: skip
def test_class_that_does_not_belong_to_the_thread_is_refused(thread: str, grade: str, message: str) -> None:
    with pytest.raises(CalculationErrors, match=message) as caught:
        calculate("proof-load", {"thread": thread, "class": grade})
    assert [error.field for error in caught.value.errors] == ["class"]


def test_class_8_of_a_metric_thread_is_not_grade_8() -> None:
    assert find_strength("8", parse_thread("M10")) is None
    assert joint_preload_text(joint(grade="8"), parse_quantity("60 N·m")) == "Preload about 40 kN ± 25 %"
    for grade in ("8", "grade 8", "SAE grade 8", "Gr. 8", "SAE J429 Grade 8"):
        found = find_strength(grade, parse_thread("1/2-13"))
        assert found is not None
        assert found.name == "grade 8"


@pytest.mark.parametrize(
    ("thread", "grade", "fields"),
    [
        ("M10x1.25", "10.9", []), ("M10x1.25", "", []), ("M10x1.25", "nut 8", []), ("M10x1.25", "A2-70", []),
        ("1/2-20 UNF", "grade 8", []), ("1/2-20 UNF", "8", []), ("1/2-20 UNF", "A449", []), ("", "10.9", []),
        ("M10x1.25", "8", ["class"]), ("1/2-20 UNF", "10.9", ["class"]), ("M10x1.25", "best", ["class"]),
        ("M10x1.3", "10.9", ["thread"]), ("M10x1.3 special", "10.9", []), ("special", "10.9", ["thread"]),
        ("1/2-20 UNC", "10.9", ["thread", "class"]), ("M10x9", "10.9", ["thread"]),
    ],
)  # fmt: skip
def test_thread_and_class_of_a_joint_are_compared(thread: str, grade: str, fields: list[str]) -> None:
    found = fastener_problems(thread, grade)
    assert [problem.field for problem in found] == fields
    assert all(problem.why.endswith(".") for problem in found)


def test_share_of_proof_load_is_of_the_printed_proof_load() -> None:
    # ISO 898-1 prints 33700 N for M10 8.8, not 58.0 × 580 = 33640: 33.7 kN is 100 %, by hand.
    torque = parse_quantity("50.55 N·m")  # 33.7 kN × 0.15 × 10 mm
    found = preload(torque, parse_thread("M10"), K15, "8.8")
    assert (found["proof"].value, found["share"].value) == (Decimal("33.7"), Decimal(100))


BOLT = {"thread": "M10", "grip": "80 mm", "shank": "50 mm", "head": "0.5 mm", "nut": "0.5 mm"}


@pytest.mark.parametrize(
    ("field", "text"),
    [("grip", "0 mm"), ("shank", "-1 mm"), ("shank", "80.1 mm"), ("head", "-0.1 mm"), ("nut", "-0.1 mm")],
)
def test_impossible_length_of_a_bolt_is_refused_at_its_field(field: str, text: str) -> None:
    with pytest.raises(CalculationErrors) as caught:
        calculate("effective-length", BOLT | {field: text})
    assert [error.field for error in caught.value.errors] == [field]


def test_shank_as_long_as_the_grip_is_accepted() -> None:
    # By hand: the shank has the size of the thread, so dts/d = 8.593 / 10: 0.7384 × (80 + 0.25) + 0.25 = 59.50 mm.
    found = calculate("effective-length", BOLT | {"shank": "80 mm"})
    assert float(found["length"].value) == pytest.approx(59.5, abs=0.05)


@pytest.mark.parametrize(
    ("torque", "stretch", "corner"),
    [
        ("60 N·m", "0.15 mm", "ok"), ("40 N·m", "0.10 mm", "loose"), ("60 N·m", "0.10 mm", "friction-high"),
        ("80 N·m", "0.15 mm", "friction-high"), ("40 N·m", "0.15 mm", "friction-low"),
        ("40 N·m", "0.20 mm", "friction-low"), ("60 N·m", "0.20 mm", "overtightened"),
        ("80 N·m", "0.20 mm", "overtightened"), ("80 N·m", "0.10 mm", "friction-high"),
    ],
)  # fmt: skip
def test_bolt_is_accepted_only_by_torque_and_stretch_together(torque: str, stretch: str, corner: str) -> None:
    by_torque = position(parse_limit("50 .. 70 N·m"), parse_quantity(torque))
    found = diagnosis(by_torque, position(parse_limit("0.13 .. 0.17 mm"), parse_quantity(stretch)))
    assert found.corner == corner
    assert found.meaning


@pytest.mark.parametrize(("friction", "accepted"), [("0.009", False), ("0.01", True), ("1", True), ("1.01", False)])
def test_coefficient_of_friction_is_accepted_from_0_01_to_1(friction: str, accepted: bool) -> None:
    inputs = {"thread": "M10", "thread-friction": "0.12", "head-friction": friction}
    if accepted:
        assert calculate("nut-factor", inputs)["nut-factor"].value > 0
    else:
        with pytest.raises(CalculationErrors, match="not a coefficient of friction"):
            calculate("nut-factor", inputs)
