"""Counts the keys of a whole job for each shipped procedure. Run: python tests/benchmarks/bench_keys.py [PROCEDURE ...]

A robot works each job by the screen alone, from the first page to the end (:mod:`tests.tui.robot`, which
defines the columns). It reports each key that made an entry which the screen had not announced.
At 80x24 the head installation has to take at most 650 keys, at most 5 in 100 of them without information.
"""

import argparse
import asyncio
import os
import tempfile
from pathlib import Path

from tests.driving.shipped import LIBRARY
from tests.tui.robot import KeyCount
from tests.tui.robot_hands import robot_at

HEADINGS = ("procedure", "operations", "keys", "typed", "Enter", "without", "per 100", "longest run")


async def count_keys(procedure: str, folder: Path, size: tuple[int, int], findings: list[str]) -> KeyCount:
    """Work the job of a shipped procedure. Returns the count of its keys."""
    async with robot_at(folder, LIBRARY / f"{procedure}.yaml", size, findings) as robot:
        return await robot.work()


def row_of(procedure: str, count: KeyCount) -> str:
    """One row of the report."""
    without, per_hundred = count.without.total(), f"{count.per_hundred:.1f}"
    numbers = (count.operations, count.keys, count.typed, count.enters, without, per_hundred, count.longest_run)
    return "".join((f"{procedure:14}", *(f"{each:>12}" for each in numbers)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("procedures", nargs="*", default=sorted(path.stem for path in LIBRARY.glob("*.yaml")))
    parser.add_argument("--labels", action="store_true", help="list the labels of the keys without information")
    parser.add_argument("--size", default="80x24", metavar="COLUMNSxROWS", help="the size of the terminal")
    arguments = parser.parse_args()
    columns, rows = map(int, arguments.size.split("x"))
    print(f"{HEADINGS[0]:14}" + "".join(f"{each:>12}" for each in HEADINGS[1:]))
    findings: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        os.environ["BENCHFLOW_HOME"] = folder
        for procedure in arguments.procedures:
            found: list[str] = []
            count = asyncio.run(count_keys(procedure, Path(folder, "logs", procedure), (columns, rows), found))
            print(row_of(procedure, count), flush=True)
            if arguments.labels:
                print(f"    without: {', '.join(f'{label} {n}' for label, n in count.without.most_common())}")
                print(f"    longest run at: {count.longest_run_at[:60]}")
            findings.extend(f"{procedure}: {each}" for each in found)
    print(*(f"- {each}" for each in findings), sep="\n")


if __name__ == "__main__":
    main()
