"""Prints which planted faults the review finds: a table of kinds by first, in the first three, missed and accused.

    python -m tests.benchmarks.bench_confusion --builds 430 --clean 200 --seed 1 --workers 2

Each build is a whole job by a shipped procedure with one planted fault of a random size, or a clean one with honest
noise. The same seed makes the same builds. Every miss and every accusation is listed with what the review said, and
can be made again alone: ``--again KIND PROCEDURE SEED``.
"""

import argparse
import os
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from benchflow.base.errors import BenchflowError
from tests.driving.fault import Fault
from tests.driving.planted_faults import KINDS, PROCEDURES, Judged, Verdict, judge

VERDICTS: tuple[Verdict, ...] = ("first", "in three", "other reason", "missed", "accused", "clean", "not made")
Task = tuple[type[Fault], str, int]
"""Kind, procedure and seed of one build."""


def plans(builds: int, clean: int, seed: int) -> list[list[Task]]:
    """For each build wanted, the tasks to try in turn: its kind at each procedure, until one has a place for it."""
    found: list[list[Task]] = []
    for number in range(builds):
        kind = KINDS[number % len(KINDS)]
        turn = number // len(KINDS)
        tasks = [(kind, name, seed * 100_000 + number) for name in PROCEDURES]
        found.append(tasks[turn % len(tasks) :] + tasks[: turn % len(tasks)])
    found += [[(Fault, PROCEDURES[number % len(PROCEDURES)], seed * 100_000 + number)] for number in range(clean)]
    return found


def first_possible(tasks: list[Task], folder: Path) -> tuple[Judged | None, int]:
    """The judgement of the first build that has a place for its fault, and how many had none."""
    own = folder / str(os.getpid())
    own.mkdir(exist_ok=True)
    for skipped, (kind, procedure, seed) in enumerate(tasks):
        try:
            judged = judge(kind, procedure, seed, own)
        except (AssertionError, BenchflowError) as error:  # the program refused what the simulated builder did
            return Judged(
                kind.kind, procedure, seed, "", "", "not made", (f"{type(error).__name__}: {error}",)
            ), skipped
        if judged is not None:
            return judged, skipped
    return None, len(tasks)


def run(builds: int, clean: int, seed: int, workers: int) -> list[tuple[Judged | None, int]]:
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as made:
        one = partial(first_possible, folder=Path(made))
        tasks = plans(builds, clean, seed)
        if workers == 1:
            return [one(each) for each in tasks]
        with ProcessPoolExecutor(workers) as pool:
            return list(pool.map(one, tasks, chunksize=4))


def share(count: int, total: int) -> str:
    return f"{100 * count / total:.0f} %" if total else "-"


def print_table(found: list[Judged], skipped: dict[str, int]) -> None:
    table = Counter((one.kind, one.verdict) for one in found)
    kinds = [*(kind.kind for kind in KINDS), Fault.kind]
    print(f"{'planted':<52}" + "".join(f"{name:>13}" for name in VERDICTS) + f"{'no place':>10}")
    for kind in kinds:
        cells = "".join(f"{table[kind, name] or '.':>13}" for name in VERDICTS)
        print(f"{kind:<52}{cells}{skipped.get(kind, 0) or '.':>10}")
    faults = [one for one in found if one.kind != Fault.kind and one.verdict != "not made"]
    clean = [one for one in found if one.kind == Fault.kind]
    first = sum(one.verdict == "first" for one in faults)
    named = first + sum(one.verdict == "in three" for one in faults)
    print(f"\n{len(faults)} faults: first {first} ({share(first, len(faults))}), in the first three {named} "
          f"({share(named, len(faults))})")  # fmt: skip
    guarded = [one for one in faults if one.complaint]
    first = sum(one.complaint == "first" for one in guarded)
    print(f"{len(guarded)} complaints that the operation guards against: first {first} ({share(first, len(guarded))})")
    other = [one for one in faults if one.elsewhere]
    first = sum(one.elsewhere == "first" for one in other)
    print(f"{len(other)} other complaints: named as weak elsewhere {first} ({share(first, len(other))})")
    accused = sum(one.verdict == "accused" for one in clean)
    print(f"{len(clean)} clean builds: accused {accused} ({share(accused, len(clean))})")


def print_misses(found: list[Judged]) -> None:
    for one in found:
        if one.verdict in ("first", "clean") and one.complaint in ("", "first") and one.elsewhere in ("", "first"):
            continue
        kind = next((each.__name__ for each in KINDS if each.kind == one.kind), "Fault")
        also = "".join(
            f"; {what}: {verdict}"
            for what, verdict in (("complaint", one.complaint), ("other complaint", one.elsewhere))
            if verdict not in ("", "first")
        )
        print(f"\n{one.verdict}{also}: {one.kind}: {one.operation or 'the whole job'}, {one.size}")
        print(f"    --again {kind} {one.procedure} {one.seed}")
        for line in one.said:
            print(f"    {line[:400]}")


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--builds", type=int, default=430, help="builds with a fault")
    asked.add_argument("--clean", type=int, default=200, help="clean builds")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--again", nargs=3, metavar=("KIND", "PROCEDURE", "SEED"), help="one build, and keep its log")
    chosen = asked.parse_args()
    if chosen.again:
        name, procedure, seed = chosen.again
        kind = next((one for one in KINDS if one.__name__ == name), Fault)
        folder = Path(tempfile.mkdtemp(prefix="confusion-"))
        judged = judge(kind, procedure, int(seed), folder)
        print("the fault has no place there" if judged is None else "\n".join((str(judged), *judged.said)))
        print(f"log and register of the review: {folder}")
        return 0
    began = time.perf_counter()
    results = run(chosen.builds, chosen.clean, chosen.seed, chosen.workers)
    judged_builds = [one for one, _ in results if one is not None]
    skipped: Counter[str] = Counter()
    for number, (_, count) in enumerate(results[: chosen.builds]):
        skipped[KINDS[number % len(KINDS)].kind] += count
    print_table(judged_builds, skipped)
    print(f"made and reviewed in {time.perf_counter() - began:.0f} s, seed {chosen.seed}")
    print_misses(judged_builds)
    return 0


if __name__ == "__main__":
    sys.exit(main())
