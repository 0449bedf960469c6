"""Every sum as it is asked for by name."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.quantity import dimension_of, parse_quantity, show
from benchflow.trade.asking import Measure, OneOf, SumErrors, SumSpec, UnitName, do
from benchflow.trade.sums import SUMS, work


def example(spec: SumSpec) -> dict[str, str]:
    return {field.name: field.example for field in spec.fields}


@pytest.mark.parametrize("spec", SUMS.values(), ids=list(SUMS))
def test_what_the_help_shows_can_be_typed_as_it_stands(spec: SumSpec) -> None:
    found = do(spec, example(spec))
    assert found.source
    assert [one.name for one in found.given] == [field.name for field in spec.fields]
    for line in found.lines:
        assert line.formula
        assert line.filled.endswith(line.shown) or line.name == "conformity"


@pytest.mark.parametrize("spec", SUMS.values(), ids=list(SUMS))
def test_an_answer_can_be_put_into_a_reading_as_it_is_shown(spec: SumSpec) -> None:
    for line in do(spec, example(spec)).lines:
        again = parse_quantity(line.shown, unit="" if not line.value.unit else None)
        assert (again.value, again.unit) == (line.value.value, line.value.unit)


@pytest.mark.parametrize("spec", SUMS.values(), ids=list(SUMS))
def test_only_the_required_fields_are_enough(spec: SumSpec) -> None:
    texts = {field.name: field.example for field in spec.fields if not field.optional}
    if spec.name == "ring-gap":
        texts["use"] = "street"  # a use or a factor: which one is the builder's choice
    assert do(spec, texts).lines or spec.name == "judge"


@pytest.mark.parametrize("spec", SUMS.values(), ids=list(SUMS))
def test_a_screen_may_leave_out_the_unit_that_it_shows_and_a_command_may_not(spec: SumSpec) -> None:
    for field in spec.fields:
        if isinstance(field.takes, Measure) and field.takes.unit:
            assert dimension_of(field.takes.unit) == field.takes.dimension
            bare = field.example.split()[0].rstrip("°")
            do(spec, example(spec) | {field.name: bare}, bare=True)
            with pytest.raises(SumErrors) as caught:
                do(spec, example(spec) | {field.name: bare})
            assert [error.field for error in caught.value.errors] == [field.name]


def test_everything_wrong_with_the_answers_is_said_at_once() -> None:
    with pytest.raises(SumErrors) as caught:
        work("wrench", {"torque": "85", "lever": "16 ft-lb", "extention": "2 in"})
    fields = {error.field: str(error) for error in caught.value.errors}
    assert set(fields) == {"torque", "lever", "extention", "extension"}
    assert "extension" in fields["extention"]
    assert "torque: " in str(caught.value)


def test_a_sum_that_is_misspelled_gets_its_nearest() -> None:
    with pytest.raises(SumErrors, match="shim"):
        work("shims", {})


@pytest.mark.parametrize(
    ("name", "texts", "says"),
    [
        ("torque", {"torque": "89 in-lb", "unit": "mm"}, "torque"),
        ("preload", {"torque": "60 N·m", "thread": "M10", "nut-factor": "15"}, "nut factor"),
        ("preload", {"torque": "-60 N·m", "thread": "M10", "nut-factor": "0.15"}, "above zero"),
        ("preload", {"torque": "60 N·m", "thread": "10 mm", "nut-factor": "0.15"}, "Write it like"),
        ("piston-to-valve", {"measured": "0.09 in", "valve": "inlet"}, "intake, exhaust"),
        ("ring-gap", {"bore": "4 in"}, "Known: street"),
        ("shim", {"old": "2.4 mm", "measured": "0.4 mm", "target": "0.3 mm", "step": "0.02 mm"}, "all three"),
        ("shim", {"old": "0.1 mm", "measured": "0.1 mm", "target": "0.3 mm"}, "no thickness"),
        ("cam-timing", {"intake-opens": "31°", "intake-closes": "700°", "exhaust-opens": "77°",
                        "exhaust-closes": "29°"}, "no intake lobe"),
        ("growth", {"length": "1 m", "coefficient": "23000 ppm/K", "cold": "20 °C", "hot": "30 °C"}, "ppm/K"),
        ("flatness", {"span": "12 in", "ratio": "5"}, "not flat"),
        ("compression", {"bore": "4 in", "stroke": "3 in", "head": "20 cm³", "crown": "-90 cm³", "gasket-bore": "4 in",
                         "gasket": "0 in", "deck": "0 in"}, "Nothing is left"),
        ("judge", {"reading": "1 mm", "limit": "1 .. 2 N·m"}, "no limit for a reading"),
        ("judge", {"reading": "1 mm", "limit": "1 .. 2 mm", "uncertainty": "1 N"}, "does not go with"),
        ("judge", {"reading": "1 mm", "limit": "2 .. 1 mm"}, "2 .. 1 mm"),
    ],
)  # fmt: skip
def test_numbers_that_make_no_sense_are_refused_with_the_reason(name: str, texts: dict[str, str], says: str) -> None:
    with pytest.raises(SumErrors, match=says):
        work(name, texts)


def test_the_verdict_of_a_sum_is_that_of_the_bench() -> None:
    texts = {"reading": "60 N·m", "limit": "at least 58.1 N·m", "uncertainty": "4 %"}
    assert work("judge", texts).notes[0].startswith("Not proven")
    assert work("judge", texts | {"decision": "simple"}).notes[0].startswith("In")
    assert work("judge", texts | {"uncertainty": "2 %"}).notes[0].startswith("In")


def test_a_torque_keeps_its_digits_and_gains_none() -> None:
    assert work("torque", {"torque": "89 in-lb", "unit": "N·m"})["torque"].value == Decimal("10.06")


def test_aluminium_grows_as_worked_out_by_hand() -> None:
    # 23 ppm/K × 400 mm × 70 K = 0.644 mm
    cold, hot = "68 °F", "90 °C"
    found = work("growth", {"length": "400 mm", "coefficient": "23 ppm/K", "cold": cold, "hot": hot})
    assert show(found["growth"]) == "0.644 mm"


def test_a_steel_pin_in_aluminium_loosens_as_worked_out_by_hand() -> None:
    # 20 µm cold; the bore opens by 23e-6 × 22.02 × 70 = 35.5 µm, the pin grows by 12e-6 × 22 × 70 = 18.5 µm.
    texts = {"bore": "22.020 mm", "shaft": "22.000 mm", "bore-coefficient": "23 ppm/K", "shaft-coefficient": "12 ppm/K",
             "cold": "20 °C", "hot": "90 °C"}  # fmt: skip
    found = work("hot-clearance", texts)
    assert float(found["hot"].value) == pytest.approx(0.0370, abs=0.00005)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(list(SUMS)), st.data())
def test_no_answer_whatever_makes_a_sum_fail_without_a_reason(name: str, data: st.DataObject) -> None:
    texts = {}
    for field in SUMS[name].fields:
        match field.takes:
            case OneOf(choices=choices):
                answers = st.sampled_from((*choices, "x"))
            case UnitName():
                answers = st.sampled_from(("N·m", "kN", "mm", "%", ""))
            case _:
                numbers = st.sampled_from(("0", "-1", "1e3", "0.0001", "999999999", "85", "M10", "90"))
                unit = field.takes.unit if isinstance(field.takes, Measure) else "mm"
                answers = numbers.map(lambda number, unit=unit: f"{number} {unit}".strip())  # type: ignore[misc]  # binds now
        texts[field.name] = data.draw(st.one_of(st.just(field.example), answers), label=field.name)
    try:
        lines = work(name, texts).lines
    except SumErrors as wrong:
        lines, said = (), [str(error) for error in wrong.errors]
    else:
        said = ["done"]
    assert said
    assert all(said)
    assert all(line.value.value.is_finite() for line in lines)
