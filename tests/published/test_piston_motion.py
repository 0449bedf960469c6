"""Piston motion, dynamic compression and piston-to-valve clearance compared with a printed value and with geometry."""

from math import cos, hypot, pi, radians, sin

import numpy as np
import pytest
from scipy.optimize import brentq

from benchflow.trade.calculations.table import calculate

CRANK = {"stroke": "88.4 mm", "rod": "144.8 mm"}


def drop(stroke: float, rod: float, angle: float) -> float:
    """Return the drop of the pin by searching its place at the distance of the rod from the crankpin."""
    throw = stroke / 2
    pin = (throw * sin(radians(angle)), throw * cos(radians(angle)))
    place = brentq(lambda y: hypot(pin[0], y - pin[1]) - rod, pin[1], pin[1] + 2 * rod, xtol=1e-13)
    return throw + rod - float(place)


def test_rise_from_bottom_agrees_with_the_printed_value() -> None:
    # steelcitymusclecars.com, "DCR calculator": intake closes at 70°, stroke 3.48 in, rod 5.7 in: the piston has risen
    # 0.9053 in.
    found = calculate(
        "dynamic-compression", {"stroke": "3.48 in", "rod": "5.7 in", "ratio": "9.5", "intake-closes": "70°"}
    )
    assert 3.48 - float(found["stroke"].value) == pytest.approx(0.9053, abs=0.00051)


@pytest.mark.parametrize("angle", [-720 / 8, -20, 0, 1, 20, 76.5, 90, 180, 243, 359])
def test_piston_position_agrees_with_the_place_at_the_length_of_the_rod(angle: float) -> None:
    found = calculate("piston-position", CRANK | {"angle": f"{angle}°", "deck": "0.13 mm"})
    expected = drop(88.4, 144.8, angle)
    assert float(found["drop"].value) == pytest.approx(expected, abs=0.00051)
    assert float(found["below-deck"].value) == pytest.approx(expected + 0.13, abs=0.00051)
    assert float(found["share"].value) == pytest.approx(expected / 88.4 * 100, abs=0.051)


@pytest.mark.parametrize("angle", [0, 24, 90, 137, 180])
def test_crank_angle_is_the_inverse_of_the_drop(angle: float) -> None:
    found = calculate("crank-angle", CRANK | {"drop": f"{drop(88.4, 144.8, angle):.10f} mm"})
    assert float(found["angle"].value) == pytest.approx(angle, abs=0.006)


def test_dynamic_ratio_equals_the_ratio_of_volumes() -> None:
    # By volumes: bore 102.4 mm, static ratio 9.5, intake closes 63° after bottom.
    area = pi / 4 * 10.24**2
    clearance = area * 8.84 / (9.5 - 1)
    expected = (clearance + area * drop(8.84, 14.48, 243)) / clearance
    found = calculate("dynamic-compression", CRANK | {"ratio": "9.5", "intake-closes": "63°"})
    assert float(found["ratio"].value) == pytest.approx(expected, abs=0.0051)
    closes_at_bottom = calculate("dynamic-compression", CRANK | {"ratio": "9.5", "intake-closes": "0°"})
    assert float(closes_at_bottom["ratio"].value) == 9.5


def test_rod_ratio_and_angle_agree_with_geometry() -> None:
    # 5.7 / 3.48 = 1.638. The rod is steepest with the throw square to the bore: tan = 1.74 / √(5.7² − 1.74²).
    found = calculate("rod-ratio", {"rod": "5.7 in", "stroke": "3.48 in"})
    assert float(found["ratio"].value) == 1.638
    assert float(found["angle"].value) == pytest.approx(
        np.degrees(np.arctan2(1.74, np.sqrt(5.7**2 - 1.74**2))), abs=0.06
    )


@pytest.mark.parametrize("tilt", [0, 11, 23])
@pytest.mark.parametrize("angle", [-15, 0, 10])
def test_valve_clearance_agrees_with_coordinates(tilt: int, angle: int) -> None:
    """Place the head of the valve and the floor of the pocket as points in a plane, and measure along the valve."""
    lift, deck, gasket, pocket, recess = 3.8, 0.13, 1.0, 3.8, 1.2
    along = np.array([-sin(radians(tilt)), -cos(radians(tilt))])  # opening direction of the valve
    up = np.array([0.0, 1.0])
    # The origin is on the face of the head. The piston is flush with it at the top without deck and gasket.
    floor = -up * (drop(88.4, 144.8, angle) + deck + gasket) + along * pocket
    valve = along * (lift - recess)
    expected = float(np.dot(floor - valve, along))
    texts = CRANK | {"angle": f"{angle}°", "lift": "3.80 mm", "valve": "intake", "deck": "0.13 mm", "gasket": "1.00 mm",
                     "pocket": "3.80 mm", "recess": "1.20 mm", "tilt": f"{tilt}°"}  # fmt: skip
    found = calculate("valve-at-angle", texts)
    assert float(found["clearance"].value) == pytest.approx(expected, abs=0.0051)
    assert float(found["spare"].value) == pytest.approx(expected - 0.080 * 25.4, abs=0.0051)


@pytest.mark.parametrize(("lift", "text"), [("6.00 mm", "hit each other"), ("5.00 mm", "less than the usual minimum")])
def test_valve_that_comes_close_to_the_piston_gives_a_caution(lift: str, text: str) -> None:
    # Drop at 10°: 0.875 mm; 0.875 + 0.13 + 1.00 + 3.80 = 5.80 mm.
    texts = CRANK | {"angle": "10°", "lift": lift, "valve": "intake", "deck": "0.13 mm", "gasket": "1.00 mm",
                     "pocket": "3.80 mm"}  # fmt: skip
    (caution,) = calculate("valve-at-angle", texts).cautions
    assert text in caution.text
