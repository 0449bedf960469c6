"""Press fits compared with printed examples, with the equations of elasticity, and by hand."""

import numpy as np
import pytest

from benchflow.trade.calculations.table import calculate


def press(**texts: str) -> dict[str, float]:
    found = calculate("press-fit", {name.replace("_", "-"): text for name, text in texts.items()})
    return {line.name: float(line.value.value) for line in found.lines}


def test_pin_in_a_hub_agrees_with_the_printed_example() -> None:
    # metricmech.com, "Worked Press-Fit Example": pin 25.020, hub 25 / 50 mm, 20 mm long, 210 GPa, friction 0.1:
    # 63 MPa, hub 105 MPa, about 9900 N.
    found = press(
        diameter="25 mm", interference="0.020 mm", hub_outside="50 mm", length="20 mm", friction="0.1",
        hub_modulus="210000 MPa", shaft_modulus="210000 MPa",
    )  # fmt: skip
    assert found["pressure"] == pytest.approx(63, abs=0.5)
    assert found["hub-stress"] == pytest.approx(105, abs=0.5)
    assert found["force"] == pytest.approx(9.9, abs=0.05)


@pytest.mark.parametrize(
    ("interference", "pressure", "torque"), [("0.02 mm", 25.6, 482), ("0.04 mm", 51.2, 965), ("0.06 mm", 76.8, 1447)]
)
def test_hub_on_a_shaft_agrees_with_the_printed_table(interference: str, pressure: float, torque: float) -> None:
    # aionlinecalculator.com/press-fit-calculator: d 50, D 80, L 40 mm, 210 GPa, friction 0.12. At 0.04 mm also 38.6 kN
    # and a hoop stress of 117 MPa.
    found = press(
        diameter="50 mm", interference=interference, hub_outside="80 mm", length="40 mm", friction="0.12",
        hub_modulus="210000 MPa", shaft_modulus="210000 MPa",
    )  # fmt: skip
    assert found["pressure"] == pytest.approx(pressure, abs=0.06)
    assert found["torque"] == pytest.approx(torque, rel=0.005)  # three digits
    if interference == "0.04 mm":
        assert found["force"] == pytest.approx(38.6, abs=0.1)
        assert found["hub-stress"] == pytest.approx(117, abs=0.5)


def elastic(
    d: float, outside: float, hole: float, delta: float, hub: tuple[float, float], shaft: tuple[float, float]
) -> float:
    """Return the pressure by solving the equations of plane stress: u = A r + B / r in both parts.

    Hooke's law gives the radial stress E / (1 − ν²) × ((1 + ν) A − (1 − ν) B / r²). Unknown: A and B of hub and shaft.
    """
    a, b, c = hole / 2, d / 2, outside / 2

    def stress(part: tuple[float, float], r: float) -> list[float]:
        e, n = part
        return [e / (1 - n), -e / (1 + n) / r**2]

    rows = np.zeros((4, 4))
    rows[0, :2] = stress(hub, c)  # no load outside
    rows[1, 2:] = stress(shaft, a)  # no load in the hole
    rows[2, :2], rows[2, 2:] = stress(hub, b), [-value for value in stress(shaft, b)]  # the same pressure on both
    rows[3] = [b, 1 / b, -b, -1 / b]  # the parts meet
    solution = np.linalg.solve(rows, [0, 0, 0, delta / 2])
    return -float(np.dot(stress(hub, b), solution[:2]))


@pytest.mark.parametrize("hole", [5, 20, 40])
@pytest.mark.parametrize("outside", [55, 80, 200])
def test_hollow_shaft_in_another_material_agrees_with_the_equations_of_elasticity(hole: int, outside: int) -> None:
    found = press(
        diameter="50 mm", interference="0.04 mm", hub_outside=f"{outside} mm", length="40 mm", shaft_hole=f"{hole} mm",
        hub_modulus="70000 MPa", hub_poisson="0.33", shaft_modulus="205000 MPa", shaft_poisson="0.29",
    )  # fmt: skip
    expected = elastic(50, outside, hole, 0.04, (70_000, 0.33), (205_000, 0.29))
    assert found["pressure"] == pytest.approx(expected, rel=0.006)  # shown with three digits
    # By Lamé, the hole of a tube under outside pressure p has the stress 2 p d² / (d² − hole²).
    assert found["shaft-stress"] == pytest.approx(2 * expected * 50**2 / (50**2 - hole**2), rel=0.006)


def test_largest_elastic_interference_brings_the_hub_to_its_yield_stress() -> None:
    texts = {"diameter": "50 mm", "hub_outside": "80 mm", "length": "40 mm", "hub_yield": "250 MPa"}
    largest = press(interference="0.04 mm", **texts)["largest"]
    assert press(interference=f"{largest} mm", **texts)["hub-equivalent"] == pytest.approx(250, rel=0.005)
    found = calculate("press-fit", {"diameter": "50 mm", "interference": "0.12 mm", "hub-outside": "80 mm",
                                    "length": "40 mm", "hub-yield": "250 MPa"})  # fmt: skip
    assert [caution.text for caution in found.cautions if "yields" in caution.text]


# --- temperature to assemble ------------------------------------------------------------------------------

HUB = {"diameter": "50 mm", "interference": "0.04 mm", "room": "20 °C", "hub-coefficient": "12 ppm/K"}


def warmed(**texts: str) -> dict[str, float]:
    found = calculate("fit-temperature", HUB | {name.replace("_", "-"): text for name, text in texts.items()})
    return {line.name: float(line.value.value) for line in found.lines}


def test_heating_temperature_follows_the_printed_formula() -> None:
    # engineeringtoolbox.com, "Assembly of Shrink-Fits": dt = δ / (α d). Here 0.04 / (12e-6 × 50) = 66.7 K, and with the
    # usual gap of 0.001 d (tooljolt.com prints it) 0.09 / (12e-6 × 50) = 150 K.
    assert warmed(gap="0 mm") == {"hub": 87, "warming": 67}
    assert warmed() == {"hub": 170, "warming": 150}


def test_cooled_shaft_saves_heat() -> None:
    # By hand: 12e-6 × 50 mm × 60 K = 0.036 mm; (0.09 − 0.036) / (12e-6 × 50) = 90 K.
    assert warmed(shaft_coefficient="12 ppm/K", shaft_temperature="-40 °C") == {"hub": 110, "warming": 90}


def test_warming_is_a_difference_in_each_unit_of_temperature() -> None:
    # By hand: 150 K are 270 °F; 68 °F + 270 °F = 338 °F, which is 170 °C.
    found = calculate("fit-temperature", HUB | {"room": "68 °F"})
    assert [line.shown for line in found.lines] == ["338 °F", "270 °F"]


def test_cooling_alone_is_given_only_if_a_bath_is_cold_enough() -> None:
    # By hand: aluminium 23 ppm/K: 0.09 / (23e-6 × 50) = 78 K below 20 °C. Steel would need −130 °C, cast iron with
    # 8 ppm/K −205 °C, colder than liquid nitrogen.
    assert warmed(shaft_coefficient="23 ppm/K")["shaft"] == -58
    assert warmed(shaft_coefficient="12 ppm/K")["shaft"] == -130
    assert "shaft" not in warmed(shaft_coefficient="8 ppm/K")


def test_hub_that_gets_too_hot_gives_a_caution() -> None:
    hot = calculate("fit-temperature", HUB | {"highest": "150 °C"})
    assert [caution.signal for caution in hot.cautions] == ["warning", "caution"]
    assert "That is within the permitted 170 °C." in calculate("fit-temperature", HUB | {"highest": "170 °C"}).notes
