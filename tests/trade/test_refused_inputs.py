"""Impossible inputs of the builder's calculations are refused, with the field and what to do."""

import pytest
from click.testing import CliRunner

from benchflow.commands.calc import calc
from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.table import CALCULATIONS, calculate

REFUSED = [
    # The calculation, a change of its example, the field of the error, and a part of the message.
    ("valve-spring", {"installed": "45.7 in"}, "installed", "from 5 mm to 250 mm, not 45.7 in. Measure from"),
    ("valve-spring", {"lift": "-12.5 mm"}, "lift", "from 0.5 mm to 40 mm"),
    ("valve-spring", {"lift": "39 mm", "installed": "38 mm"}, "lift", "more than the installed height"),
    ("valve-spring", {"rate": "0 N/mm"}, "rate", "from 1 N/mm to 500 N/mm"),
    ("valve-spring", {"rate": "62 N"}, "rate", "stiffness"),
    ("valve-spring", {"test-load": "-1 N"}, "test-load", "from 0 N to 20 kN"),
    ("valve-spring", {"test-load": "0 N", "test-height": "45 mm"}, "installed", "loose at 45.70 mm"),
    ("valve-spring", {"coil-bind": "46 mm"}, "coil-bind", "already bind at the installed height of 45.70 mm"),
    ("valve-spring", {"retainer": "-1 mm"}, "retainer", "from 0 mm to 60 mm"),
    ("spring-rate", {"second-height": "44 mm"}, "second-height", "two heights are equal"),
    ("spring-rate", {"second-load": "400 N"}, "second-load", "greater at the lower height"),
    ("spring-rate", {"second-load": "450 N"}, "second-load", "greater at the lower height"),
    ("spring-shims", {"measured": "45.20 mm"}, "measured", "0.5 mm lower than wanted"),
    ("piston-clearance", {"piston": "85.960 in"}, "piston", "The piston must be from 20 mm to 600 mm"),
    ("piston-clearance", {"piston": "84 mm"}, "piston", "does not belong in a bore of 86.020 mm"),
    ("piston-clearance", {"piston-coefficient": "0.2 ppm/K", "bore-coefficient": "-1 ppm/K"}, "bore-coefficient",
     "Steel has about 12"),
    ("piston-clearance", {"measured-at": "124 °C"}, "measured-at", "from -20 °C to 60 °C"),
    ("piston-clearance", {"piston-hot": "900 °F"}, "piston-hot", "from -40 °C to 450 °C"),
    ("piston-clearance", {"limit": "1 .. 2 N"}, "limit", "is not a length"),
    ("fit", {"nominal": "0 mm"}, "nominal", "The tables end at 500 mm"),
    ("fit", {"nominal": "501 mm"}, "nominal", "The tables end at 500 mm"),
    ("fit", {"fit": "h7/p6"}, "fit", "not a hole, a shaft or one of each"),
    ("fit", {"fit": "H7/p6/k6"}, "fit", "not a hole, a shaft or one of each"),
    ("fit", {"fit": "tight"}, "fit", "Write it like H7/p6"),
    ("fit", {"fit": "Hh7"}, "fit", "not a hole, a shaft or one of each|not known"),
    ("fit", {"fit": "H17"}, "fit", "Grades: 5 to 13"),
    ("fit", {"fit": "z6"}, "fit", "not known"),
    ("fit", {"fit": "p11"}, "fit", "Known: p5 to p10"),
    ("fit", {"fit": "j8"}, "fit", "The standard has j5 to j7"),
    ("fit", {"fit": "t6", "nominal": "24 mm"}, "fit", "above 24 mm"),
    ("press-fit", {"interference": "0 mm"}, "interference", "shaft minus the bore"),
    ("press-fit", {"interference": "-0.04 mm"}, "interference", "not possible at 50 mm"),
    ("press-fit", {"interference": "0.04 cm"}, "interference", "0.0005 to 0.002 of the diameter"),
    ("press-fit", {"hub-outside": "50 mm"}, "hub-outside", "no wall around 50 mm"),
    ("press-fit", {"shaft-hole": "50 mm"}, "shaft-hole", "no wall in a shaft of 50 mm"),
    ("press-fit", {"shaft-hole": "-1 mm"}, "shaft-hole", "no wall"),
    ("press-fit", {"hub-modulus": "70 MPa"}, "hub-modulus", "aluminium 70000 MPa"),
    ("press-fit", {"hub-poisson": "3"}, "hub-poisson", "from 0 to 0.5"),
    ("press-fit", {"friction": "12"}, "friction", "0.12 for dry steel"),
    ("press-fit", {"length": "0 mm"}, "length", "from 0.5 mm"),
    ("press-fit", {"hub-yield": "-250 MPa"}, "hub-yield", "from 20 MPa"),
    ("fit-temperature", {"room": "120 °C"}, "room", "from -30 °C to 60 °C"),
    ("fit-temperature", {"hub-coefficient": "0 ppm/K"}, "hub-coefficient", "does not expand"),
    ("fit-temperature", {"hub-coefficient": "12000 ppm/K"}, "hub-coefficient", "from 0 ppm/K to 200 ppm/K"),
    ("fit-temperature", {"shaft-temperature": "40 °C"}, "shaft-temperature", "not between -196 °C and the room"),
    ("fit-temperature", {"shaft-temperature": "-300 °C"}, "shaft-temperature", "-300 °C"),
    ("fit-temperature", {"shaft-coefficient": ""}, "shaft-coefficient", "Enter both"),
    ("fit-temperature", {"gap": "-0.05 mm"}, "gap", "from 0 mm to 2 mm"),
    ("end-play-shim", {"play": "23 mm"}, "play", "from -2 mm to 10 mm"),
    ("end-play-shim", {"shim": "-1.4 mm"}, "shim", "from 0 mm to 100 mm"),
    ("end-play-shim", {"shim": "0.20 mm", "thicker": "more-play"}, "shim", "0.08 mm thinner than no shim at all"),
    ("end-play-shim", {"thicker": "more"}, "thicker", "less-play, more-play"),
    ("end-play-shim", {"last": ""}, "step", "Enter all or none"),
    ("end-play-shim", {"step": "0 mm"}, "step", "above zero"),
    ("backlash-shim", {"wanted": "0 mm"}, "wanted", "from 0.01 mm"),
    ("backlash-shim", {"ratio": "70"}, "ratio", "0.7 is usual"),
    ("backlash-shim", {"tooth-shim": ""}, "tooth-shim", "Only one of the two shims"),
    ("backlash-shim", {"tooth-shim": "0.10 mm"}, "tooth-shim", "too thin for a move of 0.20 mm"),
    ("backlash-angle", {"backlash": "15 mm"}, "backlash", "Check both units"),
    ("backlash-angle", {"radius": "0 mm"}, "radius", "Enter the radius, not the diameter"),
    ("chamber", {"ratio": "1"}, "ratio", "from 2 to 30"),
    ("chamber", {"ratio": "30", "crown": "20 cm³"}, "ratio", "Choose a lower ratio"),
    ("chamber", {"gasket": "-0.9 mm"}, "gasket", "from 0 mm to 10 mm"),
    ("chamber", {"gasket-bore": "100 mm"}, "gasket-bore", "does not fit a bore of 102.4 mm"),
    ("chamber", {"crown": "900 cm³"}, "crown", "more than the swept volume"),
    ("chamber", {"deck": "13 cm"}, "deck", "negative if it is above"),
    ("chamber", {"head": ""}, "head", "Enter both"),
    ("chamber", {"area": "52 mm²"}, "area", "Check the unit"),
    ("squish", {"gasket": "0.9 in"}, "gasket", "from 0 mm to 10 mm"),
    ("squish", {"rod": "titanium"}, "rod", "steel, aluminium"),
    ("piston-position", {"stroke": "200 mm"}, "rod", "0.72 times as long"),
    ("piston-position", {"stroke": "30 mm"}, "rod", "Enter the stroke, not the throw"),
    ("piston-position", {"angle": "1000°"}, "angle", "from -360° to 720°"),
    ("piston-position", {"deck": "-20 mm"}, "deck", "negative if it is above"),
    ("crank-angle", {"drop": "90 mm"}, "drop", "from zero to the stroke of 88.4 mm"),
    ("crank-angle", {"drop": "-1 mm"}, "drop", "from zero to the stroke of 88.4 mm"),
    ("valve-at-angle", {"lift": "-1 mm"}, "lift", "not at the lobe"),
    ("valve-at-angle", {"pocket": "-1 mm"}, "pocket", "from 0 mm to 30 mm"),
    ("valve-at-angle", {"tilt": "90°"}, "tilt", "from 0° to 60°"),
    ("dynamic-compression", {"ratio": "95"}, "ratio", "from 2 to 30"),
    ("dynamic-compression", {"intake-closes": "243°"}, "intake-closes", "degrees after bottom dead centre"),
    ("rod-ratio", {"rod": "0 mm"}, "rod", "from centre to centre"),
    ("tdc", {"before": "322°"}, "before", "360° minus the reading"),
    ("tdc", {"before": "-42°"}, "after", "at 0° on each side"),
    ("tdc", {"before": "0°", "after": "0°"}, "after", "at 0° on each side"),
    ("leak-down", {"supply": "100 bar"}, "supply", "100 psi"),
    ("leak-down", {"supply": "0 bar"}, "supply", "from 0.5 bar"),
    ("leak-down", {"cylinder": "7.1 bar"}, "cylinder", "two gauges are not swapped"),
    ("leak-down", {"cylinder": "-1 bar"}, "cylinder", "cannot hold -1 bar"),
    ("leak-down", {"limit": "at most 2 bar"}, "limit", "is not a share"),
    ("bob-weight", {"piston": "-452 g"}, "piston", "from 0 g to 50 kg"),
    ("bob-weight", {"rod": "650 g"}, "rod", "weigh 620 g together, but the rod 650 g"),
    ("bob-weight", {"rods": "3"}, "rods", "Enter 1 or 2"),
    ("bob-weight", {"rods": "1.5"}, "rods", "Enter 1 or 2"),
    ("bob-weight", {"share": "150 %"}, "share", "150 % cannot be a share"),
    ("bob-weight", {"oil": "4 kg"}, "oil", "from 0 g to 200 g"),
    ("belt-tension", {"frequency": "0 Hz"}, "frequency", "from 5 Hz to 1000 Hz"),
    ("belt-tension", {"frequency": "220 rpm"}, "frequency", "frequency"),
    ("belt-tension", {"mass": "9 kg"}, "mass", "9 kg in 868 mm are"),
    ("belt-tension", {"span": "17 m"}, "span", "from 20 mm to 10 m"),
    ("belt-tension", {"mass": "0 g"}, "mass", "from 1 g"),
    ("belt-tension", {"limit": "1 .. 2 mm"}, "limit", "is not a force"),
    ("belt-frequency", {"tension": "-620 N"}, "tension", "from 5 N to 50 kN"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "change", "field", "message"), REFUSED)
def test_impossible_input_is_refused_with_its_field_and_what_to_do(
    name: str, change: dict[str, str], field: str, message: str
) -> None:
    texts = {each.name: each.example for each in CALCULATIONS[name].fields if not each.instead_of} | change
    with pytest.raises(CalculationErrors, match=message) as caught:
        calculate(name, texts)
    assert [error.field for error in caught.value.errors] == [field]


BUILDER = [
    "valve-spring", "spring-rate", "spring-shims", "piston-clearance", "fit", "press-fit", "fit-temperature",
    "end-play-shim", "backlash-shim", "backlash-angle", "chamber", "squish", "piston-position", "crank-angle",
    "valve-at-angle", "dynamic-compression", "rod-ratio", "tdc", "leak-down", "bob-weight", "belt-tension",
    "belt-frequency",
]  # fmt: skip


@pytest.mark.parametrize("name", BUILDER)
def test_result_names_its_source_and_what_it_assumes(name: str) -> None:
    texts = {each.name: each.example for each in CALCULATIONS[name].fields if not each.optional}
    found = calculate(name, texts)
    assert found.source
    assert found.notes
    assert any(note.startswith("Assumed: ") for note in found.notes)


@pytest.mark.parametrize("name", ["valve-spring", "spring-rate", "press-fit", "fit-temperature", "leak-down", "tdc",
                                  "belt-tension", "belt-frequency"])  # fmt: skip
def test_hazard_of_the_work_is_given_with_a_signal_word(name: str) -> None:
    texts = {each.name: each.example for each in CALCULATIONS[name].fields}
    cautions = calculate(name, texts).cautions
    assert cautions
    assert cautions[0].signal in ("warning", "caution")
    arguments = [f"{each.name}={each.example}" for each in CALCULATIONS[name].fields]
    printed = CliRunner().invoke(calc, [name, *arguments], standalone_mode=False).output
    assert f"\n{cautions[0].signal.upper()}: {cautions[0].text}\n" in printed
