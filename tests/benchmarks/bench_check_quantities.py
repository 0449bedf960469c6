"""Measures the time that ``check`` takes for a thousand quantities.

Run: ``python -m tests.benchmarks.bench_check_quantities``. It compares two files with the same lines. In the second,
plain text replaces every quantity. Aim: the first takes at most 1.5 times as long. Each run is a new process with an
empty cache.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

OPERATIONS, EACH, RUNS = 100, 10, 7
HEAD = "benchflow: 1\nid: many\ntitle: Many\nrevision: '1'\nsections:\n- title: All\n  operations:\n"


def procedure(with_quantities: bool) -> str:
    lines = [HEAD]
    for number in range(OPERATIONS):
        lines.append(f"  - id: op-{number}\n    title: Operation {number}\n    record:\n")
        for value in range(EACH):
            low, high = f"{value}.10", f"{value}.28"
            if with_quantities:
                rest = f"unit: mm, limit: {low} .. {high} mm"
            else:
                rest = f"unit: mm, ask: between {low} and {high}"
            lines.append(f"      v-{number}-{value}: {{{rest}}}\n")
    return "".join(lines)


def seconds(path: Path, home: str) -> float:
    before = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "benchflow", "check", "--json", str(path)],
        env={**os.environ, "BENCHFLOW_HOME": home},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    return time.perf_counter() - before


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        files = {}
        for name, has in (("with", True), ("without", False)):
            files[name] = Path(folder, f"{name}.yaml")
            files[name].write_text(procedure(has), encoding="utf-8")
        taken: dict[str, list[float]] = {"with": [], "without": []}
        for run in range(RUNS):
            for name, path in files.items():
                taken[name].append(seconds(path, f"{folder}/{name}{run}"))
        median = {name: statistics.median(times) * 1000 for name, times in taken.items()}
        ratio = median["with"] / median["without"]
        print(f"check, {OPERATIONS * EACH} limits      {median['with']:7.0f} ms")
        print(f"the same without any  {median['without']:7.0f} ms   {ratio:.2f} times (aim 1.5)")


if __name__ == "__main__":
    main()
