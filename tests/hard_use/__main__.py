"""Runs every part of hard use and prints how many cases were tried and how many held.

``python -m tests.hard_use --minutes 10 [--seed N] [--only PART ...]``. The exit status is 1 if a case did not hold.
"""

import argparse
import sys
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.hard_use.counts import Counts, Part

PARTS = (
    "kill_bursts", "changed_bytes", "system_calls", "random_intents", "audited_jobs", "clock_steps", "eight_benches",
    "fuzz_intents", "fuzz_files",
)  # fmt: skip


def part_named(name: str) -> Part:
    """The part with this module name."""
    part: Part = import_module(f"tests.hard_use.{name}")
    return part


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.hard_use", description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0, help="time for all parts together")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="+", choices=PARTS, default=PARTS, metavar="PART", help=", ".join(PARTS))
    options = parser.parse_args()
    print(f"{'part':<42}{'tried':>9}{'held':>9}", flush=True)
    found: list[Counts] = []
    for name in options.only:
        with TemporaryDirectory() as folder:
            found.append(part_named(name).run(60 * options.minutes / len(options.only), options.seed, Path(folder)))
        print(f"{found[-1].name:<42}{found[-1].tried:>9,}{found[-1].held:>9,}", flush=True)
    for counts in found:
        for note in counts.notes[:20]:
            print(f"{counts.name}: {note}")
    return int(any(counts.held < counts.tried for counts in found))


if __name__ == "__main__":
    sys.exit(main())
