"""Measures the proof of wide procedures: 300 operations and 20 states with two values each.

    python tests/benchmarks/bench_wide.py [OPERATIONS [STATES]]

Each kind of `tests.ordering.wide` runs in a process of its own. Aim: at most 10 s of CPU time, also where the bound is
reached. All procedures are invented.
"""

import os
import resource
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from benchflow.ordering.proof import prove  # noqa: E402  # the root has to be on the path first
from tests.ordering.wide import KINDS, Kind, wide_procedure  # noqa: E402

AIM = 10.0


def measure(kind: Kind, operations: int, states: int) -> None:
    child = os.fork()
    if child:
        os.waitpid(child, 0)
        return
    procedure = wide_procedure(kind, operations, states)
    start = time.process_time()
    proof = prove(procedure)
    took = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    codes = ", ".join(sorted({finding.code for finding in proof.findings})) or "clean"
    print(
        f"{kind:<12}{took:7.2f} s {peak:6.0f} MiB  {'complete' if proof.complete else 'PARTLY'}, "
        f"{proof.configurations:,} configurations, {codes}   {'ok' if took <= AIM else 'MISSED'}",
        flush=True,
    )
    os._exit(0)


def main() -> None:
    operations, states = (*map(int, sys.argv[1:3]), *(300, 20)[len(sys.argv[1:3]) :])
    print(f"{operations} operations, {states} states; aim: {AIM:.0f} s")
    for kind in KINDS:
        measure(kind, operations, states)


if __name__ == "__main__":
    main()
