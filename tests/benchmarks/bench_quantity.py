"""Measures parsing and conversion of a quantity, and compares them with pint.

    python tests/benchmarks/bench_quantity.py

pint gets spellings that it understands, because it takes ``85 ft-lb`` as a subtraction. Medians of 21 warm runs.
"""

import statistics
import sys
import timeit
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pint

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchflow.procedure.formula import evaluate, parse_formula, slopes
from benchflow.quantity import convert, parse_limit, parse_quantity, position, show_converted

AIM = 50.0
"""The longest accepted time to parse and convert one quantity, in microseconds."""

CASES = [
    ("85 ft-lb", "N·m", "85 foot*force_pound", "newton*meter"),
    ("0.045 mm", "in", "0.045 mm", "inch"),
    (".0015 in", "mm", ".0015 inch", "mm"),
    ("12 kgf·m", "ft-lb", "12 kgf*meter", "foot*force_pound"),
    ("10 min", "s", "10 minute", "second"),
]


def microseconds(work: Callable[[], object], number: int = 2000) -> float:
    work()
    return statistics.median(timeit.repeat(work, number=number, repeat=21)) / number * 1e6


def main() -> None:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()

    def by_benchflow(text: str, unit: str) -> object:
        return convert(parse_quantity(text), unit)

    def by_pint(text: str, unit: str) -> object:
        return registry.Quantity(text).to(unit)

    print(f"{'parsed and converted':34}{'benchflow':>12}{'pint':>12}   aim below {AIM:.0f} µs")
    worst = 0.0
    for text, unit, for_pint, pint_unit in CASES:
        ours = microseconds(partial(by_benchflow, text, unit))
        theirs = microseconds(partial(by_pint, for_pint, pint_unit), number=200)
        worst = max(worst, ours)
        print(f"{text + ' in ' + unit:34}{ours:9.1f} µs{theirs:9.1f} µs")
    print(f"{'worst of them':34}{worst:9.1f} µs{'':15}{'met' if worst < AIM else 'MISSED'}")
    limit, reading = parse_limit("0.10 .. 0.28 mm"), parse_quantity(".005 in")
    formula = parse_formula("mean(bore[*]) - journal")
    values = {f"bore[{place}]": parse_quantity(f"52.01{place} mm") for place in range(1, 5)}
    values["journal"] = parse_quantity("51.970 mm")
    print()
    for name, work in (
        ("a fraction, 1 1/64 in", lambda: parse_quantity("1 1/64 in")),
        ("in two units, 29.5 ft-lb (40 N·m)", lambda: parse_quantity("29.5 ft-lb (40 N·m)")),
        ("a limit, 0.10 .. 0.28 mm", lambda: parse_limit("0.10 .. 0.28 mm")),
        ("a reading compared with a limit", lambda: position(limit, reading)),
        ("shown converted", lambda: show_converted(reading, "mm")),
        ("a formula parsed", lambda: parse_formula("mean(bore[*]) - journal")),
        ("the formula calculated and shown", lambda: evaluate(formula, values, "mm")),
        ("its slopes", lambda: slopes(formula, values)),
    ):
        print(f"{name:36}{microseconds(work, 500):8.1f} µs")


if __name__ == "__main__":
    main()
