"""Preload and stretch as they are told at the bench."""

from decimal import Decimal

import pytest

from benchflow.procedure.model import Joint
from benchflow.quantity import parse_limit, parse_quantity
from benchflow.trade.fasteners import joint_words, preload, strength, torque_for
from benchflow.trade.stretch import judge_both
from benchflow.trade.threads import parse_thread
from benchflow.trade.worked import SumError

M10 = parse_thread("M10x1.25")
K15 = Decimal("0.15")


def test_a_preload_is_never_told_without_its_scatter() -> None:
    found = preload(parse_quantity("60 N·m"), M10, K15, "10.9")
    assert [line.shown for line in found.lines] == ["40.0 kN", "30.0 kN", "50.0 kN", "79 %"]
    assert any("±25 %" in note for note in found.notes)


def test_going_past_the_proof_load_is_said() -> None:
    assert any("With the scatter" in note for note in preload(parse_quantity("70 N·m"), M10, K15, "10.9").notes)
    assert any("is wrong" in note for note in preload(parse_quantity("85 ft-lb"), M10, K15, "10.9").notes)


def test_torque_and_preload_are_each_others_inverse() -> None:
    torque = torque_for(parse_quantity("40 kN"), M10, K15, "ft-lb")["torque"]
    assert float(preload(torque, M10, K15)["preload"].value) == pytest.approx(40, rel=0.005)


def joint(**changes: object) -> Joint:
    fields = {"thread": "M10x1.25", "grade": "10.9", "nut_factor": K15} | changes
    return Joint("studs", "Studs", ((1,),), 1, **fields)  # type: ignore[arg-type]  # fields by name


def test_the_bench_gets_one_line_about_the_joint() -> None:
    assert joint_words(joint(), parse_quantity("60 N·m")) == "preload about 40 kN ± 25 %, 79 % of proof load"
    assert joint_words(joint(grade=""), parse_quantity("60 N·m")) == "preload about 40 kN ± 25 %"
    assert joint_words(joint(grade="unknown"), parse_quantity("6 N·m")) == "preload about 4.0 kN ± 25 %"


def test_a_joint_that_says_too_little_gets_no_invented_line() -> None:
    for said in ({"thread": ""}, {"thread": "special"}, {"nut_factor": None}, {"nut_factor": Decimal(9)}):
        assert joint_words(joint(**said), parse_quantity("60 N·m")) == ""


@pytest.mark.parametrize("grade", ["10.9", "class 10.9", "Property class 10.9", " 10.9 "])
def test_a_class_is_known_however_it_is_written(grade: str) -> None:
    found = strength(grade, M10)
    assert found is not None
    assert found.proof == 830


def test_a_strength_is_not_stretched_beyond_the_sizes_of_its_table() -> None:
    assert strength("9.8", parse_thread("M20")) is None
    assert strength("grade 5", parse_thread("#10-32")) is None
    with pytest.raises(SumError, match=r"Known: 4\.6"):
        preload(parse_quantity("60 N·m"), M10, K15, "11.9")


@pytest.mark.parametrize(
    ("torque", "stretch", "corner"),
    [
        ("60 N·m", "0.15 mm", "in"), ("40 N·m", "0.10 mm", "loose"), ("60 N·m", "0.10 mm", "friction-high"),
        ("80 N·m", "0.15 mm", "friction-high"), ("40 N·m", "0.15 mm", "friction-low"),
        ("40 N·m", "0.20 mm", "friction-low"), ("60 N·m", "0.20 mm", "overtightened"),
        ("80 N·m", "0.20 mm", "overtightened"), ("80 N·m", "0.10 mm", "friction-high"),
    ],
)  # fmt: skip
def test_only_torque_and_stretch_together_accept_a_bolt(torque: str, stretch: str, corner: str) -> None:
    found = judge_both(
        parse_quantity(torque), parse_quantity(stretch), parse_limit("50 .. 70 N·m"), parse_limit("0.13 .. 0.17 mm")
    )
    assert found.corner == corner
    assert found.words
