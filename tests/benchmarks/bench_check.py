"""Measures `benchflow check` on the shipped head installation, as a whole process.

    python tests/benchmarks/bench_check.py

The reference is a Python process that only imports the libraries needed to read a procedure.
Aim: at most 1.0 times the reference with the compiled procedure kept, 1.3 times without it, as on the first run. It
prints medians of alternating runs.
"""

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
REFERENCE = "import click, msgspec, platformdirs, ruamel.yaml"
AIMS = {"check": 1.0, "check, first time": 1.3}


def seconds(command: list[str], environ: dict[str, str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, env=environ, check=True, stdout=subprocess.DEVNULL, cwd=ROOT)
    return time.perf_counter() - start


def main(rounds: int = 15) -> None:
    with tempfile.TemporaryDirectory() as home:
        environ = {**os.environ, "BENCHFLOW_HOME": home, "PYTHONPATH": str(ROOT)}
        check = [sys.executable, "-m", "benchflow", "check", "procedures/head-install.yaml"]
        reference = [sys.executable, "-c", REFERENCE]
        seconds(check, environ), seconds(reference, environ)  # warm-up: writes the byte code
        times: dict[str, list[float]] = {"reference": [], "check": [], "check, first time": []}
        for _ in range(rounds):
            times["reference"].append(seconds(reference, environ))
            times["check"].append(seconds(check, environ))
            shutil.rmtree(Path(home) / "cache")
            times["check, first time"].append(seconds(check, environ))
    base = statistics.median(times["reference"])
    for name, measured in times.items():
        median = statistics.median(measured)
        aim = AIMS.get(name)
        verdict = "" if aim is None else f"aim {aim}x  {'ok' if median <= aim * base else 'MISSED'}"
        print(f"{name:<20}{median * 1000:8.0f} ms  {median / base:5.2f}x  {verdict}")


if __name__ == "__main__":
    main()
