"""Uncertainty from the readings to the verdict, by the commands of the bench, compared with published examples."""

from math import sqrt
from pathlib import Path
from typing import Any

import pytest

from tests.driving.script import Script, intent, open_intent, procedure_with

Input = tuple[str, str, float]
"""Reading, kind of its instrument, and standard uncertainty in the unit of the reading."""

END_GAUGE: dict[str, Input] = {
    "ls": ("50.000623 mm", "length", 25e-6),
    "d0": ("0.000215 mm", "length", 5.8e-6),
    "d1": ("0 mm", "length", 3.9e-6),
    "d2": ("0 mm", "length", 6.7e-6),
    "alpha": ("11.5 ppm/K", "expansion", 2 / sqrt(3)),
    "da": ("0 ppm/K", "expansion", 1 / sqrt(3)),
    "dt": ("0 K", "temperature", 0.05 / sqrt(3)),
    "room": ("-0.1 K", "temperature", 0.2),
    "cycle": ("0 K", "temperature", 0.5 / sqrt(2)),
}
"""JCGM 100:2008 H.1, as in GTC 1.5.1 docs/API/GUM_H1.rst."""

LENGTH = "ls + d0 + d1 + d2 - ls * (da * (room + cycle) + alpha * dt)"


def calculated(
    folder: Path, inputs: dict[str, Input], formulas: dict[str, str], *uncertain: str, unit: str = "mm", keys: str = ""
) -> dict[str, dict[str, Any]]:
    """Record the inputs, each with its own instrument. Returns the calculated values in the log by name.

    Only the inputs in ``uncertain`` have an uncertainty other than zero.
    """
    instruments, record = [], []
    for name, (reading, kind, u) in inputs.items():
        own_unit = reading.split(" ")[1]
        stated = 2 * u if name in uncertain else 0  # the format states U for k = 2
        instruments.append(f"{name}: {{kind: {kind}, uncertainty: at most {stated:.12f} {own_unit}}}")
        record.append(f"{name}: {{ask: {name}, unit: '{own_unit}', with: {name}}}")
    work_out = ", ".join(f"{name}: {{is: '{text}', unit: {unit}{keys}}}" for name, text in formulas.items())
    head = f"instruments: {{{', '.join(instruments)}}}\n"
    operation = f"{{id: compare, title: Compare, record: {{{', '.join(record)}}}, work-out: {{{work_out}}}}}"
    script = Script(folder, procedure_with(operation, head=head))
    script.do_all(open_intent(), intent("start", operation="compare"))
    script.do_all(*(intent("record", name=name, value=reading) for name, (reading, _, _) in inputs.items()))
    return {line["data"]["name"]: line["data"] for line in script.log() if line["kind"] == "calculated"}


def nanometres(found: dict[str, dict[str, Any]], name: str) -> float:
    return float(found[name]["uncertainty"]["value"]) * 1e6


def test_end_gauge_has_the_length_and_the_uncertainty_of_the_gum(tmp_path: Path) -> None:
    found = calculated(tmp_path, END_GAUGE, {"length": LENGTH}, *END_GAUGE)
    assert float(found["length"]["quantity"]["value"]) * 1e6 == pytest.approx(50_000_838, abs=0.5)
    assert nanometres(found, "length") == pytest.approx(31.6639, abs=0.0005)  # the GUM prints 32


def test_end_gauge_in_several_steps_has_the_same_uncertainty(tmp_path: Path) -> None:
    """The standard is an input of two steps: its error counts once."""
    steps = {
        "gauges": "ls + d0 + d1 + d2",
        "growth": "ls * (da * (room + cycle) + alpha * dt)",
        "length": "gauges - growth",
    }
    found = calculated(tmp_path, END_GAUGE, steps, *END_GAUGE)
    assert nanometres(found, "length") == pytest.approx(31.6639, abs=0.0005)


@pytest.mark.parametrize(
    ("name", "part"),
    [("ls", 25), ("dt", 16.599), ("d2", 6.7), ("d0", 5.8), ("d1", 3.9), ("da", 2.88679), ("alpha", 0), ("room", 0),
     ("cycle", 0)],
)  # fmt: skip
def test_contribution_of_each_input_equals_that_in_the_gum(tmp_path: Path, name: str, part: float) -> None:
    # da is multiplied only by the mean temperature of -0.1: 50e6 nm · 0.1 · 5.77e-7.
    assert nanometres(calculated(tmp_path, END_GAUGE, {"length": LENGTH}, name), "length") == pytest.approx(
        part, abs=0.0005
    )


def test_difference_of_the_gauges_has_the_uncertainty_of_the_gum(tmp_path: Path) -> None:
    found = calculated(tmp_path, END_GAUGE, {"d": "d0 + d1 + d2"}, "d0", "d1", "d2")
    assert nanometres(found, "d") == pytest.approx(9.6819, abs=0.0005)


STANDARD: dict[str, Input] = {
    "mass": ("100.28 mg", "mass", 0.05),
    "purity": ("99.99 %", "fraction", 0.0058),
    "volume": ("100 mL", "volume", 0.066),
}
"""Preparation of a calibration standard, EURACHEM/CITAC QUAM example A1 (from memory): c = 1000 m P / V in mg/L."""


def test_calibration_standard_has_the_uncertainty_of_the_citac_guide(tmp_path: Path) -> None:
    found = calculated(tmp_path, STANDARD, {"c": "mass / 1 mg * purity / (volume / 1000 mL)"}, *STANDARD, unit="count")
    assert float(found["c"]["quantity"]["value"]) == pytest.approx(1002.7, abs=0.05)
    assert float(found["c"]["uncertainty"]["value"]) == pytest.approx(0.835, abs=0.005)  # printed: 0.9


SIMULTANEOUS = (("5.007 V", "19.663 mA"), ("4.994 V", "19.639 mA"), ("5.005 V", "19.640 mA"), ("4.990 V", "19.685 mA"),
                ("4.999 V", "19.678 mA"))  # fmt: skip
"""Five pairs of voltage and current, JCGM 100:2008 H.2, table H.2 (from memory)."""


def test_mean_impedance_of_simultaneous_readings_is_that_of_the_gum(tmp_path: Path) -> None:
    """The second approach of H.2: the result of each pair, then the mean. Table H.4 prints 254.260 ohms."""
    operation = (
        "{id: measure, title: Measure, "
        "record: {v: {ask: V, unit: V, readings: 5}, i: {ask: I, unit: mA, readings: 5}}, "
        "work-out: {z: {is: v / i, unit: Ω}, impedance: {is: 'mean(z[*])', unit: Ω}}}"
    )
    script = Script(tmp_path, procedure_with(operation))
    script.do_all(open_intent(), intent("start", operation="measure"))
    for number, (voltage, current) in enumerate(SIMULTANEOUS, 1):
        script.do("record", name="v", reading=number, value=voltage)
        script.do("record", name="i", reading=number, value=current)
    calculated = [line["data"] for line in script.log() if line["kind"] == "calculated"]
    pairs = {data["reading"]: float(data["quantity"]["value"]) for data in calculated if data["name"] == "z"}
    assert pairs["1"] == pytest.approx(5.007 / 0.019663)
    assert pairs["5"] == pytest.approx(4.999 / 0.019678)
    assert float(calculated[-1]["quantity"]["value"]) == pytest.approx(254.260, abs=0.0005)
