"""Mutation runs on the core: change one operator at a time, run the tests, list the mutants that survive.

    python -m tests.mutate                        # a sample of every target
    python -m tests.mutate fold journal --all     # every mutant of two targets
    python -m tests.mutate verdicts --sample 40 --seed 3
    python -m tests.mutate --list                 # the targets, with their modules and tests

The checkout is never changed. First the tests of the targets run once, to record which of them execute each line;
the record is kept in ``.pytest_cache``. Each mutant then runs against the tests that execute its statement, up to
the first failure. Tests on a PostgreSQL server and slow tests are left out (``--slowest``).

A mutant is *killed* when a test fails or hangs. A survivor is run again in a new process, and then printed with file,
line and the change. Write a test for it, or add it to ``EQUIVALENT`` with the reason why no test can tell the
difference. The exit code is 1 if there are survivors.
"""

import argparse
import os
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.runs import Mutant, MutationRun, Result, TestMap, mutants_of, run_mutants

ROOT = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Target:
    """Modules to mutate, and the tests that must fail for each mutant, the fastest first."""

    modules: tuple[str, ...]
    tests: tuple[str, ...]


SESSION_TESTS = ("tests/session",)
TARGETS: dict[str, Target] = {
    "decide": Target(("benchflow/session/intents/*.py", "benchflow/session/rules/*.py"), SESSION_TESTS),
    "fold": Target(("benchflow/session/state/fold.py", "benchflow/session/state/fold_entries.py",
              "benchflow/session/state/state_changes.py"), (*SESSION_TESTS, "tests/review")),
    "journal": Target(("benchflow/session/log/journal.py", "benchflow/session/log/line_format.py"), SESSION_TESTS),
    "facts": Target(
        ("benchflow/review/log/fact_collector.py", "benchflow/review/log/reading_facts.py"), ("tests/review",)
    ),
    "verdicts": Target(("benchflow/session/rules/verdicts.py", "benchflow/session/rules/measurements.py",
              "benchflow/session/rules/value_results.py", "benchflow/trade/uncertainty.py"),
              ("tests/session", "tests/published")),
    "ticks": Target(("benchflow/session/rules/joint_progress.py", "benchflow/session/rules/check_*.py",
              "benchflow/session/intents/tightening.py", "benchflow/trade/tick_bands.py"),
              (*SESSION_TESTS, "tests/procedure")),
    "proof": Target(("benchflow/ordering/proof/*.py", "benchflow/ordering/interlock.py"), ("tests/ordering",)),
    "time": Target(
        ("benchflow/ordering/time_network.py", "benchflow/ordering/latest_start.py"),
        ("tests/ordering", "tests/published"),
    ),
    "rework": Target(("benchflow/ordering/rework.py",), ("tests/ordering", "tests/session")),
    "decision-rules": Target(("benchflow/trade/decision*.py",), ("tests/trade", "tests/published", "tests/session")),
    "fasteners": Target(("benchflow/trade/**/bolt_*.py", "benchflow/trade/**/threads.py"),
                        ("tests/trade", "tests/published", "tests/session")),
    "matching": Target(("benchflow/trade/**/matching.py", "benchflow/trade/**/assignment.py"),
                       ("tests/trade", "tests/session")),
    "quantity": Target(("benchflow/quantity/*.py",), ("tests", "tests/procedure", "tests/published")),
}  # fmt: skip
"""A test folder ``tests`` means the files directly in it."""


EQUIVALENT: tuple[tuple[str, str, str, str], ...] = (
    (
        "benchflow/session/state/state_changes.py",
        "if lapsing:",
        "if lapsing -> if True",
        "Equal deviations are set again.",
    ),
    (
        "benchflow/session/state/state_changes.py",
        "if by not in work.people:",
        "if by not in work.people -> if True",
        "A person is added to the set a second time.",
    ),
    (
        "benchflow/session/state/state_changes.py",
        "if not step and past and not past[-1].step and past[-1].seq:",
        "not past[-1].step: operator dropped",
        "A write before that of a move is never the last one again, because a move cannot be undone.",
    ),
    (
        "benchflow/session/rules/action_reasons.py",
        "if name == step.id or name not in state.done or state.done[name].seq < done_seq:",
        "state.done[name].seq < done_seq: Lt -> LtE",
        "One event does not finish two operations.",
    ),
    (
        "benchflow/session/rules/verdicts.py",
        "if bound is None:",
        "if bound is None -> if False",
        "The two ways to judge a value with a limit give the same answer without a limit.",
    ),
    (
        "benchflow/session/log/line_format.py",
        "if _encode_sorted(line) != raw or (not raw.isascii() and _has_character_above_ffff(raw)):",
        "if _encode_sorted(line) != raw or (not raw.isascii() and _has_character_above_ffff(raw)) -> if True",
        "Every line is read by the slower reader, which gives the same answer.",
    ),
    *(
        (
            "benchflow/session/log/line_format.py",
            "_Int = Annotated[int, msgspec.Meta(ge=-(2**53) + 1, le=2**53 - 1)]",
            change,
            "A line with the largest possible number is read by the slower reader, which accepts it too.",
        )
        for change in ("1 -> 2", "1 -> 2 [2]")
    ),
    (
        "benchflow/review/log/reading_facts.py",
        "seq, redone = self._last_calculated.get(key, (0, 0))",
        "0 -> 1 [2]",
        "Without an earlier calculation `seq` is 0, and `redone` is not read.",
    ),
    (
        "benchflow/review/log/fact_collector.py",
        'if len(at) == _LOG_FORM_LENGTH and at[-1] == "Z" and at[10] == "T":',
        "-1: operator dropped",
        "Only the shortcut is lost: a timestamp in the form of the log is read and written again.",
    ),
)
"""Mutants that no test can tell from the original: file, code of the line, change, reason. They are not counted."""


def modules_of(target: Target) -> Iterator[str]:
    for pattern in target.modules:
        found = sorted(path.relative_to(ROOT).as_posix() for path in ROOT.glob(pattern))
        if not found:
            raise SystemExit(f"tests/mutate.py: no module matches {pattern}: correct TARGETS")
        yield from (path for path in found if not path.endswith("__init__.py"))


def suite_of(target: Target) -> list[str]:
    files: list[str] = []
    for folder in target.tests:
        pattern = "test_*.py" if folder == "tests" else "**/test_*.py"
        files += sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / folder).glob(pattern))
    return list(dict.fromkeys(files))


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutate", description="Mutation runs on the core.")
    parser.add_argument("target", nargs="*", help=f"one of {', '.join(TARGETS)} (default: each)")
    parser.add_argument("--sample", type=int, default=25, help="mutants per target, at random")
    parser.add_argument("--all", action="store_true", help="every mutant")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--slowest", type=float, default=2.0, help="leave out tests that take longer, in s")
    parser.add_argument("--unconfirmed", action="store_true", help="do not run survivors again in a new process")
    parser.add_argument("--list", action="store_true", help="show the targets and end")
    given = parser.parse_args()
    unknown = sorted(set(given.target) - set(TARGETS))
    if unknown:
        parser.error(f"no such target: {', '.join(unknown)} (there are {', '.join(TARGETS)})")
    equivalent = {entry[:3] for entry in EQUIVALENT}
    target_of: dict[Mutant, str] = {}
    files: list[str] = []
    for name in given.target or TARGETS:
        target = TARGETS[name]
        mutants = [mutant for path in modules_of(target) for mutant in mutants_of(path)]
        if given.list:
            print(f"{name}: {len(mutants)} mutants, {len(suite_of(target))} test files")
            continue
        mutants = [mutant for mutant in mutants if (mutant.path, mutant.code, mutant.change) not in equivalent]
        if not given.all and given.sample < len(mutants):
            mutants = sorted(random.Random(given.seed).sample(mutants, given.sample), key=lambda m: (m.path, m.index))
        target_of |= dict.fromkeys(mutants, name)
        files += suite_of(target)
    if given.list:
        return 0
    results: list[Result] = []

    def show(result: Result) -> None:
        results.append(result)
        if not len(results) % 20:
            print(f"{len(results)} of {len(target_of)} mutants tried", flush=True)
        mutant = result.mutant
        if not result.killed:
            where = f"{mutant.path}:{mutant.line}  {mutant.change}"
            print(f"{target_of[mutant]}: survived {result.tests} tests: {where}", flush=True)

    modules = sorted({path for target in TARGETS.values() for path in modules_of(target)})
    run = MutationRun(
        list(target_of), modules, jobs=max(1, given.jobs), slowest=given.slowest, confirm=not given.unconfirmed,
        test_map=TestMap.read(ROOT / ".pytest_cache" / "mutation.json"), show=show,
    )  # fmt: skip
    run_mutants(run, list(dict.fromkeys(files)))
    if len(results) < len(target_of):
        raise SystemExit("tests/mutate.py: not every mutant was run")
    for name in dict.fromkeys(target_of.values()):
        own = [result.killed for result in results if target_of[result.mutant] == name]
        print(f"{name}: {sum(own)} of {len(own)} killed", flush=True)
    return 0 if all(result.killed for result in results) else 1


if __name__ == "__main__":
    sys.exit(main())
