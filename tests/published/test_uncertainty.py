"""Propagation of uncertainty through a formula, compared with the end-gauge example of the GUM (JCGM 100:2008, H.1)."""

from decimal import Decimal
from math import sqrt

import pytest

from benchflow.procedure.formula import evaluate, parse_formula, propagate
from benchflow.quantity import parse_quantity

FORMULA = parse_formula("ls + d0 + d1 + d2 - ls * (da * (room + cycle) + alpha * dt)")
VALUES = {
    name: parse_quantity(text, dimension="" if "mm" not in text else "length")
    for name, text in {
        "ls": "50.000623 mm", "d0": "0.000215 mm", "d1": "0 mm", "d2": "0 mm", "alpha": "0.0000115", "da": "0",
        "dt": "0", "room": "-0.1", "cycle": "0",
    }.items()
}  # fmt: skip
UNCERTAINTIES = {
    "ls": 25e-6, "d0": 5.8e-6, "d1": 3.9e-6, "d2": 6.7e-6, "alpha": 2e-6 / sqrt(3), "da": 1e-6 / sqrt(3),
    "dt": 0.05 / sqrt(3), "room": 0.2, "cycle": 0.5 / sqrt(2),
}  # fmt: skip
"""JCGM 100:2008 H.1, as in GTC 1.5.1 docs/API/GUM_H1.rst; lengths in mm, temperatures in °C as bare numbers."""


def nanometres(*inputs: str) -> float:
    """Return the standard uncertainty of the length if only ``inputs`` are uncertain."""
    uncertain = {name: Decimal(UNCERTAINTIES[name]) for name in inputs}
    return float(propagate(FORMULA, VALUES, uncertain, "mm")) * 1e6


def test_end_gauge_has_the_length_and_the_uncertainty_of_the_gum() -> None:
    length = evaluate(FORMULA, VALUES, "mm")
    assert float(length.value.value) * 1e6 == pytest.approx(50_000_838, abs=0.5)
    assert nanometres(*UNCERTAINTIES) == pytest.approx(31.6639, abs=0.00005)  # the GUM prints 32


@pytest.mark.parametrize(
    ("name", "part"),
    [("ls", 25), ("dt", 16.599), ("d2", 6.7), ("d0", 5.8), ("d1", 3.9), ("da", 2.88679), ("alpha", 0), ("room", 0),
     ("cycle", 0)],
)  # fmt: skip
def test_contribution_of_each_input_equals_that_in_the_gum(name: str, part: float) -> None:
    # da is multiplied only by the mean temperature of -0.1: 50e6 nm · 0.1 · 5.77e-7.
    assert nanometres(name) == pytest.approx(part, abs=0.0005)


def test_difference_of_the_gauges_has_the_uncertainty_of_the_gum() -> None:
    assert nanometres("d0", "d1", "d2") == pytest.approx(9.6819, abs=0.00005)
