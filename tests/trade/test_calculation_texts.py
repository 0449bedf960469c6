"""Words of calculations: cautions, articles, plurals, sources, and refused inputs that cannot be true together."""

import pytest

from benchflow.trade.calculations.inputs import CalculationErrors, example_inputs
from benchflow.trade.calculations.result import CalculationResult
from benchflow.trade.calculations.table import CALCULATIONS, calculate


def result(name: str, **changes: str) -> CalculationResult:
    """The result of the example with changes. Underscores in names stand for hyphens."""
    return calculate(
        name, example_inputs(CALCULATIONS[name]) | {key.replace("_", "-"): text for key, text in changes.items()}
    )


def shown(found: CalculationResult, name: str) -> str:
    return next(line.shown for line in found.lines if line.name == name)


def cautions(found: CalculationResult) -> str:
    return " ".join(caution.text for caution in found.cautions)


@pytest.mark.parametrize(
    ("field", "value", "title"),
    [("coil-bind", "32.50 mm", "coil bind"), ("retainer", "13.20 mm", "retainer to seal")],
)
def test_small_clearance_of_a_valve_spring_is_a_caution(field: str, value: str, title: str) -> None:
    found = result("valve-spring", **{field: value})
    assert f"{title} at full lift: " in cautions(found)
    assert "below the usual minimum" in cautions(found)
    assert not any("below the usual minimum" in note for note in found.notes)


def test_large_numbers_have_no_exponent() -> None:
    found = result("preload", torque="60 ft-lb", thread="1/2-20", unit="lbf")
    assert "1.25 × 9600 lbf" in next(line.filled for line in found.lines if line.name == "high")
    assert not any("e+" in line.filled for line in found.lines)
    for name, changes, number in (
        ("preload", {"torque": "600 N·m"}, "6540 MPa"), ("belt-tension", {"mass": "9 kg"}, "10400 g"),
        ("compression", {"bore": "1000 mm", "stroke": "3000 mm", "gasket_bore": "1000 mm", "head": "3 m³"},
         "2360000 cm³"),
    ):  # fmt: skip
        with pytest.raises(CalculationErrors, match=number):
            result(name, **changes)


def test_very_cold_shaft_needs_no_heating_and_the_equation_says_so() -> None:
    found = result("fit-temperature", interference="0.03 mm", gap="0.01 mm", shaft_coefficient="12 ppm/K",
                   shaft_temperature="-196 °C")  # fmt: skip
    warming = next(line for line in found.lines if line.name == "warming")
    assert warming.shown == "0 K"
    assert "no heating is needed" in warming.filled
    assert warming.filled.endswith("0 K")
    assert "/ (" not in warming.filled


def test_source_of_a_fit_temperature_names_the_default_gap_only_if_it_is_used() -> None:
    assert "0.001" in result("fit-temperature").source
    assert "0.001" not in result("fit-temperature", gap="0.05 mm").source


def test_press_fit_without_a_yield_stress_says_that_nothing_was_compared() -> None:
    assert any("Without the yield stress of the hub" in note for note in result("press-fit").notes)
    assert not any("Without the yield" in note for note in result("press-fit", hub_yield="250 MPa").notes)


@pytest.mark.parametrize("name", ["compression", "chamber"])
def test_gasket_that_reaches_into_the_bore_is_refused(name: str) -> None:
    inputs = example_inputs(CALCULATIONS[name])
    number, unit = inputs["bore"].split()
    calculate(name, inputs | {"gasket-bore": inputs["bore"]})
    with pytest.raises(CalculationErrors, match="must not") as caught:
        calculate(name, inputs | {"gasket-bore": f"{float(number) * 0.999:.3f} {unit}"})
    assert [error.field for error in caught.value.errors] == ["gasket-bore"]


@pytest.mark.parametrize("name", ["belt-tension", "belt-frequency"])
def test_span_longer_than_the_weighed_belt_is_a_caution(name: str) -> None:
    assert "longer than what was weighed" in cautions(result(name, span="900 mm"))
    assert "longer than what was weighed" not in cautions(result(name))


@pytest.mark.parametrize(
    ("fit", "nominal", "low", "high"),
    [
        # Keyways of ISO 773 / DIN 6885 (from memory): width 5: N9 −0.030, P9 −0.012 / −0.042; 2: N9 −0.004 / −0.029.
        ("N9", "5 mm", "4.970 mm", "5.000 mm"), ("P9", "5 mm", "4.958 mm", "4.988 mm"),
        ("N9", "2 mm", "1.971 mm", "1.996 mm"), ("P9", "2 mm", "1.969 mm", "1.994 mm"),
        ("P9", "14 mm", "13.939 mm", "13.982 mm"), ("N9", "14 mm", "13.957 mm", "14.000 mm"),
    ],
)  # fmt: skip
def test_keyway_classes_are_known(fit: str, nominal: str, low: str, high: str) -> None:
    found = calculate("fit", {"nominal": nominal, "fit": fit})
    assert (shown(found, "hole-low"), shown(found, "hole-high")) == (low, high)


def test_shaft_k11_starts_at_the_nominal_size() -> None:
    found = calculate("fit", {"nominal": "25 mm", "fit": "k11"})
    assert (shown(found, "shaft-low"), shown(found, "shaft-high")) == ("25.000 mm", "25.130 mm")


@pytest.mark.parametrize("fit", ["m10", "t9", "u11"])
def test_class_that_is_not_in_the_table_is_named_as_it_was_written(fit: str) -> None:
    with pytest.raises(CalculationErrors, match=f"The class {fit} is not in the table"):
        calculate("fit", {"nominal": "30 mm", "fit": fit})


def test_articles_and_plurals_are_right() -> None:
    assert any("an aluminium rod" in note for note in result("squish", rod="aluminium").notes)
    assert any("1 rod on each crankpin" in note for note in result("bob-weight", rods="1").notes)
    assert any("2 rods on each crankpin" in note for note in result("bob-weight", rods="2").notes)


@pytest.mark.parametrize("name", ["judge", "torque", "preload", "torque-for-preload"])
def test_source_says_how_it_is_known(name: str) -> None:
    source = result(name).source
    assert "as quoted" in source or "transcribes" in source or "from memory" in source
