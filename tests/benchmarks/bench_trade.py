"""Measures matching, judging and the calculations, and compares the assignment solver with that of scipy.

    python tests/benchmarks/bench_trade.py

Aims: 64 places and 128 parts are matched in less than 1 s, and the assignment takes less than 20 ms of it.
"""

import random
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from decimal import Decimal
from functools import partial
from pathlib import Path

import numpy as np
from scipy.optimize import linear_sum_assignment

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchflow.quantity import Quantity, parse_limit, parse_quantity
from benchflow.trade.assignment import Costs, assign
from benchflow.trade.calculations.inputs import example_inputs, run_calculation
from benchflow.trade.calculations.table import CALCULATIONS
from benchflow.trade.decision_rules import judge
from benchflow.trade.matching import PartPlace, PurchasableSizes, StockPart, match

ROUNDS = 15


def timed(run: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Return the median time of ``rounds`` runs in seconds, after one warm-up run."""
    run()
    taken = []
    for _round in range(rounds):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def mm(value: int) -> Quantity:
    return Quantity(Decimal(value) / 1000, "mm", "")


def shims_and_valves(places: int, parts: int, seed: int, width: int) -> tuple[list[StockPart], list[PartPlace]]:
    """Return ``parts`` shims and ``places`` valves. The sizes are invented, and spread like those of a used engine."""
    rnd = random.Random(seed)
    box = [StockPart(f"s{n}", mm(rnd.randrange(2000, 2980, 5))) for n in range(parts)]
    need = []
    for n in range(places):
        aim = rnd.randrange(2050, 2930)
        current = box[n].id if n < parts and rnd.random() < 0.5 else None
        need.append(PartPlace(str(n + 1), mm(aim - width), mm(aim + width), mm(aim), current))
    return box, need


def assignment_costs(rows: int, columns: int, fitting: float) -> Costs:
    """Return invented costs. ``fitting`` is the share of pairs that are possible."""
    rnd = random.Random(7)
    return [
        [rnd.randrange(10**8) if column == row or rnd.random() < fitting else None for column in range(columns)]
        for row in range(rows)
    ]


def bench_assignment() -> None:
    print(f"{'assignment':<44}{'assign':>10}{'scipy':>14}")
    for rows, columns, fitting in ((64, 128, 0.1), (64, 128, 1.0), (200, 400, 0.1), (200, 400, 1.0)):
        costs = assignment_costs(rows, columns, fitting)
        table = np.array([[np.inf if cost is None else cost for cost in line] for line in costs])
        ours = timed(partial(assign, costs))
        scipys = timed(partial(linear_sum_assignment, table))
        what = f"{rows} rows, {columns} columns, {fitting:.0%} fit"
        print(f"  {what:<42}{ours * 1000:>7.1f} ms{scipys * 1000:>11.2f} ms")


def bench_matching() -> None:
    print(f"{'matching, with limits, ties and purchases':<44}{'match':>10}")
    grid = PurchasableSizes(mm(2000), mm(2980), mm(20))
    for places, parts, width, what in (
        (16, 24, 50, "sixteen valves"),
        (64, 128, 50, "64 places, 128 parts"),
        (64, 128, 400, "64 places, 128 parts, nearly all fit"),
        (64, 40, 50, "64 places, 40 parts: what to buy"),
        (200, 400, 50, "200 places, 400 parts"),
    ):
        box, need = shims_and_valves(places, parts, 7, width)
        print(f"  {what:<42}{timed(partial(match, box, need, grid), 7) * 1000:>7.1f} ms")


def bench_judging() -> None:
    reading, limit, u = parse_quantity("0.124 mm"), parse_limit("0.05 .. 0.15 mm"), parse_quantity("0.002 mm")
    each = timed(lambda: [judge(reading, limit, "guarded", u) for _ in range(1000)]) / 1000
    print(f"judging one reading, guarded                  {each * 1e6:>7.1f} µs")


def bench_calculations() -> None:
    texts = {name: example_inputs(spec) for name, spec in CALCULATIONS.items()}
    for name, spec in CALCULATIONS.items():
        run_calculation(spec, texts[name])  # a warm-up run
    slowest = max((timed(partial(run_calculation, CALCULATIONS[name], texts[name])), name) for name in CALCULATIONS)
    print(f"the slowest calculation, {slowest[1]:<20} {slowest[0] * 1e6:>7.0f} µs")


def bench_import() -> None:
    def process(code: str) -> float:
        return timed(lambda: subprocess.run([sys.executable, "-c", code], check=True), 9)

    bare = process("pass")
    for module in ("benchflow.quantity", "benchflow.trade.decision_rules", "benchflow.trade.matching"):
        print(f"importing {module:<34} {(process(f'import {module}') - bare) * 1000:>7.0f} ms over bare Python")


if __name__ == "__main__":
    bench_assignment()
    bench_matching()
    bench_judging()
    bench_calculations()
    bench_import()
