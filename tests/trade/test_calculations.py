"""Calculations by name, with inputs as text."""

import shlex
from decimal import Decimal

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.commands.calc import calc
from benchflow.quantity import convert, dimension_of, parse_quantity, show
from benchflow.trade.calculations.inputs import (
    Calculation,
    CalculationErrors,
    QuantityInput,
    UnitInput,
    WordInput,
    example_inputs,
    run_calculation,
)
from benchflow.trade.calculations.table import CALCULATIONS, calculate


def example(calculation: Calculation) -> dict[str, str]:
    return {field.name: field.example for field in calculation.fields if not field.instead_of}


@pytest.mark.parametrize("calculation", CALCULATIONS.values(), ids=list(CALCULATIONS))
def test_calculation_accepts_the_examples_of_its_fields(calculation: Calculation) -> None:
    found = run_calculation(calculation, example(calculation))
    assert found.source
    assert [one.name for one in found.given] == list(example(calculation))
    for line in found.lines:
        assert line.formula
        assert line.filled.endswith(line.shown) or line.name == "conformity"


@pytest.mark.parametrize("calculation", CALCULATIONS.values(), ids=list(CALCULATIONS))
def test_shown_result_can_be_entered_as_a_reading(calculation: Calculation) -> None:
    for line in run_calculation(calculation, example(calculation)).lines:
        again = parse_quantity(line.shown, unit="" if not line.value.unit else None)
        assert (again.value, again.unit) == (line.value.value, line.value.unit)


@pytest.mark.parametrize("calculation", CALCULATIONS.values(), ids=list(CALCULATIONS))
def test_optional_inputs_can_be_left_out(calculation: Calculation) -> None:
    assert run_calculation(calculation, example_inputs(calculation)).lines or calculation.name == "judge"


@pytest.mark.parametrize("name", CALCULATIONS)
def test_example_that_the_command_prints_can_be_run(name: str) -> None:
    help_text = CliRunner().invoke(calc, [name], env={"COLUMNS": "80"}).output
    assert all(len(line) <= 80 for line in help_text.splitlines())
    example = help_text.partition("For example:\n")[2].partition("\nSource:")[0].replace("\\\n", " ")
    words = shlex.split(example)
    assert words[:2] == ["benchflow", "calc"]
    result = CliRunner().invoke(calc, words[2:], standalone_mode=False)
    assert result.exception is None
    assert result.return_value == 0


@pytest.mark.parametrize("calculation", CALCULATIONS.values(), ids=list(CALCULATIONS))
def test_unit_can_be_left_out_only_if_the_field_shows_it(calculation: Calculation) -> None:
    for field in calculation.fields:
        if isinstance(field.kind, QuantityInput) and field.kind.unit and not field.instead_of:
            assert dimension_of(field.kind.unit) == field.kind.dimension
            bare = f"{convert(parse_quantity(field.example), field.kind.unit).value:f}"
            run_calculation(calculation, example(calculation) | {field.name: bare}, use_field_units=True)
            with pytest.raises(CalculationErrors) as caught:
                run_calculation(calculation, example(calculation) | {field.name: bare})
            assert [error.field for error in caught.value.errors] == [field.name]


def test_all_errors_in_the_inputs_are_shown_at_once() -> None:
    with pytest.raises(CalculationErrors) as caught:
        calculate("wrench", {"torque": "85", "lever": "16 ft-lb", "extention": "2 in"})
    fields = {error.field: str(error) for error in caught.value.errors}
    assert set(fields) == {"torque", "lever", "extention", "extension"}
    assert "extension" in fields["extention"]
    assert "torque: " in str(caught.value)


def test_misspelled_calculation_gives_the_nearest_name_as_a_hint() -> None:
    with pytest.raises(CalculationErrors, match="shim"):
        calculate("shims", {})


@pytest.mark.parametrize(
    ("name", "texts", "message"),
    [
        ("torque", {"torque": "89 in-lb", "unit": "mm"}, "torque"),
        ("preload", {"torque": "60 N·m", "thread": "M10", "nut-factor": "15"}, "nut factor"),
        ("preload", {"torque": "60 N·m", "thread": "M10", "nut-factor": "0.61"}, "nut factor"),
        ("preload", {"torque": "60 N·m", "thread": "M10", "nut-factor": "0.02"}, "nut factor"),
        ("preload", {"torque": "-60 N·m", "thread": "M10", "nut-factor": "0.15"}, "not -60 N·m"),
        ("preload", {"torque": "60 N·m", "thread": "10 mm", "nut-factor": "0.15"}, "Write it like"),
        ("piston-to-valve", {"measured": "0.09 in", "valve": "inlet"}, "intake, exhaust"),
        ("ring-gap", {"bore": "4 in"}, "Known uses: street"),
        ("shim", {"old": "2.4 mm", "measured": "0.4 mm", "target": "0.3 mm", "step": "0.02 mm"}, "all three"),
        ("shim", {"old": "0.1 mm", "measured": "0.1 mm", "target": "0.3 mm"}, "zero or less"),
        ("cam-timing", {"intake-opens": "31°", "intake-closes": "700°", "exhaust-opens": "77°",
                        "exhaust-closes": "29°"}, "from -90° to 150°"),
        ("growth", {"length": "1 m", "coefficient": "23000 ppm/K", "cold": "20 °C", "hot": "30 °C"}, "ppm/K"),
        ("flatness", {"span": "12 in", "ratio": "5"}, "not a flatness"),
        ("compression", {"bore": "4 in", "stroke": "3 in", "head": "20 cm³", "crown": "-90 cm³", "gasket-bore": "4 in",
                         "gasket": "0 in", "deck": "0 in"}, "zero or less"),
        ("judge", {"reading": "1 mm", "limit": "1 .. 2 N·m"}, "cannot be a limit"),
        ("judge", {"reading": "1 mm", "limit": "1 .. 2 mm", "uncertainty": "1 N"}, "cannot be the uncertainty"),
        ("judge", {"reading": "1 mm", "limit": "2 .. 1 mm"}, "2 .. 1 mm"),
    ],
)  # fmt: skip
def test_impossible_inputs_are_refused_with_the_reason(name: str, texts: dict[str, str], message: str) -> None:
    with pytest.raises(CalculationErrors, match=message):
        calculate(name, texts)


@pytest.mark.parametrize(
    ("bore", "top", "second"),
    [
        ("86 mm", "0.34 mm", "0.43 mm"), ("8.6 cm", "0.034 cm", "0.043 cm"), ("0.086 m", "0.00034 m", "0.00043 m"),
        ("86000 µm", "340 µm", "430 µm"), ("3.386 in", "0.014 in", "0.017 in"), ("3386 thou", "14 thou", "17 thou"),
    ],
)  # fmt: skip
def test_ring_gap_has_the_same_resolution_in_each_unit(bore: str, top: str, second: str) -> None:
    # 0.004 × 86 mm = 0.344 mm, 0.005 × 86 mm = 0.430 mm; 3.386 in is 86.0 mm.
    found = calculate("ring-gap", {"bore": bore, "use": "street"})
    assert (show(found["top"]), show(found["second"])) == (top, second)


def test_ring_gap_by_factor_and_use_takes_each_ring_from_its_own_rule() -> None:
    found = calculate("ring-gap", {"bore": "100 mm", "factor": "0.0045", "use": "street"})
    assert (show(found["top"]), show(found["second"])) == ("0.45 mm", "0.50 mm")
    with pytest.raises(CalculationErrors, match=r"from 0\.001 to 0\.02, not 0\.45"):
        calculate("ring-gap", {"bore": "100 mm", "factor": "0.45"})
    with pytest.raises(CalculationErrors, match=r"from 10 mm to 1100 mm, not 4\.000 mm"):
        calculate("ring-gap", {"bore": "4.000 mm", "use": "street"})


def test_clearance_of_readings_in_two_units_is_not_rounded_away() -> None:
    # 52.010 mm − 2.046 in (51.9684 mm) = 0.0416 mm; 0.09 in + 0.25 mm (0.00984 in) = 0.0998 in.
    assert show(calculate("bearing", {"bore": "52.010 mm", "journal": "2.046 in"})["clearance"]) == "0.042 mm"
    texts = {"measured": "0.09 in", "valve": "intake", "lash": "0.25 mm"}
    found = calculate("piston-to-valve", texts)
    assert (show(found["clearance"]), show(found["spare"])) == ("0.0998 in", "0.0198 in")


BAD = [
    ("torque", {"torque": "-89 in-lb"}, "torque"), ("wrench", {"torque": "0 N·m"}, "torque"),
    ("wrench", {"lever": "10 mm"}, "lever"), ("wrench", {"lever": "-10 in"}, "lever"),
    ("wrench", {"extension": "40 m"}, "extension"), ("wrench", {"angle": "900°"}, "angle"),
    ("wrench-torque", {"setting": "-214 in-lb"}, "setting"), ("wrench-check", {"shown": "130 N·m"}, "shown"),
    ("wrench-check", {"reference": "97.2 ft-lb", "shown": "60 N·m"}, "reference"),
    ("wrench-check", {"reference": "0 N·m"}, "reference"), ("wrench-check", {"largest": "-1 N·m"}, "largest"),
    ("drag", {"torque": "0 in-lb"}, "torque"), ("drag", {"drag": "-8 in-lb"}, "drag"),
    ("drag", {"drag": "8 ft-lb", "torque": "40 in-lb"}, "drag"), ("preload", {"torque": "0 N·m"}, "torque"),
    ("preload", {"torque": "600 N·m"}, "torque"), ("preload", {"class": "8"}, "class"),
    ("torque-for-preload", {"preload": "400 kN"}, "preload"), ("torque-for-preload", {"preload": "-40 kN"}, "preload"),
    ("lubricant", {"assumed": "20"}, "assumed"), ("lubricant", {"actual": "0"}, "actual"),
    ("lubricant", {"torque": "-100 N·m"}, "torque"), ("nut-travel", {"angle": "0°"}, "angle"),
    ("nut-factor", {"thread-friction": "12"}, "thread-friction"), ("bearing", {"bore": "53.6 mm"}, "journal"),
    ("bearing", {"journal": "0 mm"}, "journal"), ("bearing", {"bore": "-52.010 mm"}, "bore"),
    ("ring-gap", {"bore": "-4 in"}, "bore"), ("piston-to-valve", {"measured": "-0.09 in"}, "measured"),
    ("piston-to-valve", {"measured": "0.09 m"}, "measured"), ("piston-to-valve", {"lash": "-0.01 in"}, "lash"),
    ("flatness", {"span": "0 in"}, "span"), ("flatness", {"ratio": "0"}, "ratio"),
    ("growth", {"length": "-400 mm"}, "length"), ("growth", {"coefficient": "-23 ppm/K"}, "coefficient"),
    ("growth", {"hot": "9000 °C"}, "hot"), ("hot-clearance", {"shaft": "22.000 in"}, "shaft"),
    ("hot-clearance", {"bore": "0 mm"}, "bore"), ("hot-clearance", {"cold": "-300 °C"}, "cold"),
    ("effective-length", {"head": "64 mm"}, "head"), ("effective-length", {"grip": "80 m"}, "grip"),
    ("effective-length", {"shank-diameter": "1 mm"}, "shank-diameter"),
    ("judge", {"uncertainty": "-0.001 mm"}, "uncertainty"), ("judge", {"coverage-factor": "0"}, "coverage-factor"),
    ("judge", {"coverage-factor": "20"}, "coverage-factor"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "changes", "field"), BAD)
def test_absurd_input_is_refused_at_its_field_with_a_hint(name: str, changes: dict[str, str], field: str) -> None:
    with pytest.raises(CalculationErrors) as caught:
        calculate(name, example(CALCULATIONS[name]) | changes)
    assert [error.field for error in caught.value.errors] == [field]
    assert caught.value.errors[0].why[0].isupper() or caught.value.errors[0].why[0] in '"“0123456789-'


EXACT = ("torque",)
"""Calculations that assume nothing."""


@pytest.mark.parametrize("name", [name for name in CALCULATIONS if name not in EXACT])
def test_result_says_what_it_assumes(name: str) -> None:
    notes = run_calculation(CALCULATIONS[name], example_inputs(CALCULATIONS[name])).notes
    assert any(note.startswith("Assumed: ") for note in notes)


def test_judge_gives_the_verdicts_of_the_decision_rules() -> None:
    texts = {"reading": "60 N·m", "limit": "at least 58.1 N·m", "uncertainty": "4 %"}
    assert calculate("judge", texts).notes[0].startswith("not proven:")
    assert calculate("judge", texts | {"decision": "simple"}).notes[0].startswith("ok:")
    assert calculate("judge", texts | {"reading": "50 N·m"}).notes[0].startswith("LOW:")
    assert calculate("judge", texts | {"uncertainty": "2 %"}).notes[0].startswith("ok:")


def test_only_a_rounded_result_has_the_sign_of_a_rounded_value() -> None:
    texts = {"old": "2.40 mm", "measured": "0.45 mm", "target": "0.37 mm"}
    assert calculate("shim", texts).lines[0].filled == "2.40 mm + (0.45 mm − 0.37 mm) = 2.48 mm"
    assert calculate("torque", {"torque": "89 in-lb", "unit": "N·m"}).lines[0].filled == "89 in-lb ≈ 10.06 N·m"


def test_converted_torque_has_one_digit_more_than_the_input() -> None:
    assert calculate("torque", {"torque": "89 in-lb", "unit": "N·m"})["torque"].value == Decimal("10.06")


def test_growth_of_aluminium_equals_the_result_by_hand() -> None:
    # 23 ppm/K × 400 mm × 70 K = 0.644 mm
    cold, hot = "68 °F", "90 °C"
    found = calculate("growth", {"length": "400 mm", "coefficient": "23 ppm/K", "cold": cold, "hot": hot})
    assert show(found["growth"]) == "0.644 mm"


def test_hot_clearance_of_a_steel_pin_in_aluminium_equals_the_result_by_hand() -> None:
    # 20 µm cold; the bore opens by 23e-6 × 22.02 × 70 = 35.5 µm, the pin grows by 12e-6 × 22 × 70 = 18.5 µm.
    texts = {"bore": "22.020 mm", "shaft": "22.000 mm", "bore-coefficient": "23 ppm/K", "shaft-coefficient": "12 ppm/K",
             "cold": "20 °C", "hot": "90 °C"}  # fmt: skip
    found = calculate("hot-clearance", texts)
    assert float(found["hot"].value) == pytest.approx(0.0370, abs=0.00005)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(list(CALCULATIONS)), st.data())
def test_any_input_gives_a_result_or_a_reason(name: str, data: st.DataObject) -> None:
    texts = {}
    for field in CALCULATIONS[name].fields:
        match field.kind:
            case WordInput(choices=choices):
                answers = st.sampled_from((*choices, "x"))
            case UnitInput():
                answers = st.sampled_from(("N·m", "kN", "mm", "%", ""))
            case _:
                numbers = st.sampled_from(("0", "-1", "1e3", "0.0001", "999999999", "85", "M10", "90"))
                unit = field.kind.unit if isinstance(field.kind, QuantityInput) else "mm"
                answers = numbers.map(lambda number, unit=unit: f"{number} {unit}".strip())  # type: ignore[misc]  # unit is bound now
        texts[field.name] = data.draw(st.one_of(st.just(field.example), answers), label=field.name)
    try:
        lines = calculate(name, texts).lines
    except CalculationErrors as caught:
        lines, outcome = (), [str(error) for error in caught.errors]
    else:
        outcome = ["done"]
    assert outcome
    assert all(outcome)
    assert all(line.value.value.is_finite() for line in lines)
