"""Springs, belts, leak-down, bob-weight, top dead centre, chamber, squish, shims and backlash, compared with printed
examples or calculated by hand."""

from math import atan, degrees, radians, sin, tan

import pytest

from benchflow.quantity import show
from benchflow.trade.calculations.play_shims import AXLE_RATIO
from benchflow.trade.calculations.result import CalculationResult
from benchflow.trade.calculations.table import calculate

CUBIC_INCH = 16.387064  # cm³, exact


def shown(found: CalculationResult) -> dict[str, str]:
    return {line.name: line.shown for line in found.lines}


# --- valve springs ----------------------------------------------------------------------------------------


def test_open_load_agrees_with_the_printed_example() -> None:
    # enginebuildermag.com 2017-07, "Under Pressure": 100 lb at 1.750 in, rate 300, lift .500: 150 lb more.
    texts = {"installed": "1.750 in", "lift": "0.500 in", "rate": "300 lbf/in", "test-height": "1.750 in",
             "test-load": "100 lbf"}  # fmt: skip
    assert shown(calculate("valve-spring", texts)) == {"seat": "100.0 lbf", "nose": "250.0 lbf", "open": "1.250 in"}


def test_coil_bind_clearance_agrees_with_the_printed_example() -> None:
    # calculatormom.com/valve-spring-rate-calculator: rate 400, lift 0.600, clearance 0.100 in (0.040 above 0.060), load
    # at coil bind 410 lb, so 130 lb at the seat and 370 lb open.
    rate = calculate("spring-rate", {"first-height": "1.800 in", "first-load": "130 lbf", "second-height": "1.200 in",
                                     "second-load": "370 lbf"})  # fmt: skip
    assert shown(rate) == {"rate": "400.0 lbf/in"}
    texts = {"installed": "1.800 in", "lift": "0.600 in", "rate": "400 lbf/in", "test-height": "1.100 in",
             "test-load": "410 lbf", "coil-bind": "1.100 in"}  # fmt: skip
    found = calculate("valve-spring", texts)
    assert shown(found) == {"seat": "130.0 lbf", "nose": "370.0 lbf", "open": "1.200 in", "bind": "0.100 in"}
    assert any("at least the usual minimum" in note for note in found.notes)


def test_spring_of_known_free_length_agrees_with_the_result_by_hand() -> None:
    # 30 N/mm × (52 − 40) mm = 360 N; open 360 + 30 × 9 = 630 N.
    texts = {"installed": "40 mm", "lift": "9 mm", "rate": "30 N/mm", "test-height": "52 mm", "test-load": "0 N",
             "coil-bind": "31 mm", "retainer": "10.2 mm"}  # fmt: skip
    found = calculate("valve-spring", texts)
    assert shown(found) == {"seat": "360.0 N", "nose": "630.0 N", "open": "31 mm", "bind": "0 mm", "retainer": "1.2 mm"}
    assert [caution.signal for caution in found.cautions] == ["warning", "caution", "caution"]
    assert found.cautions[1].text.startswith("Clearance to coil bind at full lift: none.")
    assert found.cautions[2].text.startswith("Clearance from retainer to seal at full lift: 1.2 mm, below")


def test_shims_agree_with_the_result_by_hand() -> None:
    found = calculate("spring-shims", {"measured": "1.845 in", "wanted": "1.800 in", "rate": "400 lbf/in"})
    assert shown(found) == {"shims": "0.045 in", "load": "18.0 lbf"}


# --- belts ------------------------------------------------------------------------------------------------

BELT = {"mass": "0.096 kg", "length": "0.868 m", "span": "0.17 m"}


def test_belt_tension_agrees_with_the_printed_example() -> None:
    # korins.com, "Tension/Frequency Calculations": 0.096 kg, 0.868 m, span 0.17 m, 220 Hz: 610 N. The page rounds the
    # mass per length down to 0.11 kg/m, which gives 615 N; exact are 619 N.
    found = calculate("belt-tension", BELT | {"frequency": "220 Hz"})
    assert float(found["tension"].value) == pytest.approx(610, rel=0.015)
    assert float(found["tension"].value) == pytest.approx(4 * 0.096 / 0.868 * 0.17**2 * 220**2, abs=0.5)


def test_belt_frequency_agrees_with_the_printed_example() -> None:
    # The same page: 624 N, 0.11 kg/m, span 0.17 m: 221 Hz.
    found = calculate("belt-frequency", {"mass": "110 g", "length": "1 m", "span": "170 mm", "tension": "624 N"})
    assert float(found["frequency"].value) == pytest.approx(221, abs=1)


def test_belt_tension_is_judged_by_the_limit_of_the_maker() -> None:
    texts = BELT | {"frequency": "220 Hz"}
    assert "within" in calculate("belt-tension", texts | {"limit": "600 .. 640 N"}).notes[0]
    assert "outside" in calculate("belt-tension", texts | {"limit": "at most 600 N"}).notes[0]


# --- leak-down, bob-weight, top dead centre ---------------------------------------------------------------


def test_leakage_agrees_with_the_printed_limit() -> None:
    # charm.li, Dakota 2002, "Cylinder Leak Down Test": 80 psi in, at least 60 psi held, no more than 25 % leakage.
    texts = {"supply": "80 psi", "cylinder": "60 psi", "limit": "at most 25 %"}
    found = calculate("leak-down", texts)
    assert (show(found["leakage"]), found.notes[0]) == ("25.0 %", "That is within the limit at most 25 %.")
    assert "outside" in calculate("leak-down", texts | {"cylinder": "59 psi"}).notes[0]
    assert "in need of repair" in calculate("leak-down", {"supply": "80 psi", "cylinder": "60 psi"}).notes[0]


def test_rotating_mass_agrees_with_the_printed_example() -> None:
    # fordmuscle.com 2008-04, "Rotating Assembly": big end 621.5 g, bearing 45 g, two rods on a journal: 1333 g.
    # Without the reciprocating share, this is the bob-weight.
    texts = {"big-end": "621.5 g", "bearing": "45 g", "small-end": "200 g", "piston": "639.5 g", "pin": "0 g",
             "rings": "50 g", "share": "0 %"}  # fmt: skip
    assert show(calculate("bob-weight", texts)["bob-weight"]) == "1333.0 g"


def test_bob_weight_agrees_with_the_result_by_hand() -> None:
    # 2 × (445 + 43) + (175 + 452 + 118 + 37 + 2) + 4 = 976 + 784 + 4 = 1764 g.
    texts = {"big-end": "445 g", "bearing": "43 g", "small-end": "175 g", "piston": "452 g", "pin": "118 g",
             "rings": "37 g", "locks": "2 g", "oil": "4 g"}  # fmt: skip
    assert show(calculate("bob-weight", texts)["bob-weight"]) == "1764 g"
    # One rod on the pin: 488 + 784 / 2 + 4 = 884 g. With 1 g more at the piston, half a gram more.
    assert show(calculate("bob-weight", texts | {"rods": "1"})["bob-weight"]) == "884 g"
    assert show(calculate("bob-weight", texts | {"rods": "1", "piston": "453 g"})["bob-weight"]) == "884.5 g"


def test_top_dead_centre_agrees_with_the_printed_example() -> None:
    # doov.com, "Finding TDC": 21 before and 15 after, a spread of 36, so 18 on both sides.
    found = calculate("tdc", {"before": "21°", "after": "15°"})
    assert shown(found) == {"at-stop": "18.0°", "error": "3.0°"}
    assert found.lines[1].title.endswith("before zero")


def test_top_dead_centre_by_a_wheel_marked_to_360_agrees_with_the_printed_rule() -> None:
    # modernvespa.com: zero at one stop, number 1 at the other; half of 360 − number 1 is the distance to top. With
    # number 1 = 290: 35° from each stop.
    found = calculate("tdc", {"before": "70°", "after": "0°"})
    assert show(found["at-stop"]) == "35.0°"
    assert "No correction is needed." in " ".join(calculate("tdc", {"before": "30°", "after": "30°"}).notes)


# --- chamber and squish -----------------------------------------------------------------------------------

ENGINE = {"bore": "4.03 in", "stroke": "3.48 in", "crown": "7 cm³", "gasket-bore": "4.166 in", "gasket": "0.035 in",
          "deck": "0.005 in"}  # fmt: skip


def test_chamber_volume_agrees_with_the_printed_engine() -> None:
    # beckracing.com/page56: chamber 76 cm³, 5.604 in³ at top dead centre, ratio 8.92 (8.918 with the exact cubic inch).
    found = calculate("chamber", ENGINE | {"ratio": "8.918"})
    assert float(found["chamber"].value) == pytest.approx(76, abs=0.06)
    assert float(found["clearance"].value) / CUBIC_INCH == pytest.approx(5.604, abs=0.003)


def test_depth_to_mill_gives_the_wanted_ratio() -> None:
    # From the chamber of 76 cm³ to a ratio of 9.5: the milled volume is depth × area.
    found = calculate("chamber", ENGINE | {"ratio": "9.5", "head": "76 cm³", "area": "52 cm²"})
    depth, left = float(found["mill"].value), float(found["chamber"].value)
    assert 76 - 52 * depth * 2.54 == pytest.approx(left, abs=0.1)
    ratio = calculate("compression", ENGINE | {"head": f"{left} cm³"})["ratio"]
    assert float(ratio.value) == pytest.approx(9.5, abs=0.01)
    too_small = calculate("chamber", ENGINE | {"ratio": "8", "head": "76 cm³", "area": "52 cm²"})
    assert "mill" not in shown(too_small)
    assert any("Milling cannot help" in note for note in too_small.notes)


@pytest.mark.parametrize(
    ("deck", "rod", "squish", "spare", "cautions"),
    [
        ("0.005 in", "steel", "0.045 in", "0.005 in", 0), ("-0.005 in", "steel", "0.035 in", "-0.005 in", 1),
        ("0.005 in", "aluminium", "0.045 in", "-0.015 in", 1), ("-0.040 in", "steel", "0.000 in", "-0.040 in", 1),
    ],
)  # fmt: skip
def test_squish_agrees_with_the_result_by_hand(deck: str, rod: str, squish: str, spare: str, cautions: int) -> None:
    found = calculate("squish", {"deck": deck, "gasket": "0.040 in", "rod": rod})
    assert shown(found) == {"squish": squish, "spare": spare}
    assert len(found.cautions) == cautions


# --- piston clearance -------------------------------------------------------------------------------------


def test_piston_clearance_agrees_with_the_result_by_hand() -> None:
    # Measured at 30 °C. At 20 °C: bore 86.020 × (1 − 11e-6 × 10) = 86.010538, piston 85.960 × (1 − 20e-6 × 10) =
    # 85.942808: 0.0677 mm. Hot: 86.020 × (1 + 11e-6 × 70) − 85.960 × (1 + 20e-6 × 90) = 86.0862354 − 86.114728.
    texts = {"bore": "86.020 mm", "piston": "85.960 mm", "bore-coefficient": "11 ppm/K",
             "piston-coefficient": "20 ppm/K", "measured-at": "30 °C", "bore-hot": "100 °C", "piston-hot": "120 °C",
             "limit": "0.05 .. 0.06 mm"}  # fmt: skip
    found = calculate("piston-clearance", texts)
    assert shown(found) == {"measured": "0.060 mm", "reference": "0.0677 mm", "hot": "-0.0285 mm"}
    assert found.notes[0] == "The clearance at 20 °C is outside the limit 0.05 .. 0.06 mm."
    assert [caution.signal for caution in found.cautions] == ["caution"]
    at_20 = calculate("piston-clearance", texts | {"measured-at": "68 °F"})
    assert "reference" not in shown(at_20)
    assert at_20.notes[0] == "The clearance at 20 °C is within the limit 0.05 .. 0.06 mm."


# --- shims and backlash -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("play", "wanted", "thicker", "shim", "change"),
    [
        ("0.23 mm", "0.05 mm", "less-play", "1.58 mm", "0.18 mm"),
        ("0.23 mm", "-0.05 mm", "less-play", "1.68 mm", "0.28 mm"),
        ("0.23 mm", "0.05 mm", "more-play", "1.22 mm", "-0.18 mm"),
        ("0.02 mm", "0.05 mm", "less-play", "1.37 mm", "-0.03 mm"),
    ],
)
def test_end_play_shim_agrees_with_the_result_by_hand(
    play: str, wanted: str, thicker: str, shim: str, change: str
) -> None:
    found = calculate("end-play-shim", {"play": play, "wanted": wanted, "shim": "1.40 mm", "thicker": thicker})
    assert shown(found) == {"shim": shim, "change": change}


@pytest.mark.parametrize(
    ("thicker", "exact", "fit", "play"),
    [("less-play", "1.58 mm", "1.60 mm", "0.03 mm"), ("more-play", "1.22 mm", "1.20 mm", "0.03 mm")],
)
def test_nearest_shim_gives_the_play_by_hand(thicker: str, exact: str, fit: str, play: str) -> None:
    # With 1.60 instead of 1.58 mm, the play is 0.02 mm smaller than the wanted 0.05 mm.
    texts = {"play": "0.23 mm", "wanted": "0.05 mm", "shim": "1.40 mm", "thicker": thicker, "first": "1.00 mm",
             "last": "2.00 mm", "step": "0.05 mm"}  # fmt: skip
    found = shown(calculate("end-play-shim", texts))
    assert (found["shim"], found["fit"], found["fit-play"]) == (exact, fit, play)


def test_both_shims_are_named_if_the_exact_one_is_halfway_between_them() -> None:
    # By hand: 1.58 mm is halfway between 1.56 and 1.60 mm.
    texts = {"play": "0.23 mm", "wanted": "0.05 mm", "shim": "1.40 mm", "thicker": "less-play", "first": "1.00 mm",
             "last": "2.00 mm", "step": "0.04 mm"}  # fmt: skip
    found = calculate("end-play-shim", texts)
    assert (show(found["fit-1-play"]), show(found["fit-2-play"])) == ("0.07 mm", "0.03 mm")
    assert "Two sizes are equally near. Choose one." in found.notes


def test_usual_backlash_ratio_is_that_of_a_bevel_gear() -> None:
    # Geometry: moving a bevel gear by x along its axis changes the backlash by 2 x tan α sin δ; α = 20°, δ = 75°.
    assert float(AXLE_RATIO) == pytest.approx(2 * tan(radians(20)) * sin(radians(75)), abs=0.005)


@pytest.mark.parametrize(
    ("measured", "move", "back", "tooth", "direction"),
    [
        ("0.30 mm", "0.20 mm", "1.70 mm", "1.50 mm", "to the pinion"),
        ("0.09 mm", "0.10 mm", "1.40 mm", "1.80 mm", "away from the pinion"),
    ],
)
def test_backlash_shims_keep_the_sum_of_both_sides(
    measured: str, move: str, back: str, tooth: str, direction: str
) -> None:
    # By hand: (0.30 − 0.16) / 0.7 = 0.20 mm; (0.16 − 0.09) / 0.7 = 0.10 mm.
    texts = {"measured": measured, "wanted": "0.16 mm", "back-shim": "1.50 mm", "tooth-shim": "1.70 mm"}
    found = calculate("backlash-shim", texts)
    assert shown(found) == {"move": move, "back-shim": back, "tooth-shim": tooth}
    assert direction in found.lines[0].title


def test_backlash_angle_agrees_with_geometry() -> None:
    # For a small angle, the arc and the tangent are equal.
    found = calculate("backlash-angle", {"backlash": "0.15 mm", "radius": "60 mm", "other-radius": "80 mm"})
    assert float(found["angle"].value) == pytest.approx(degrees(atan(0.15 / 60)), abs=0.0005)
    assert show(found["length"]) == "0.200 mm"
