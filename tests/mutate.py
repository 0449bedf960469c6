"""Mutation runs on the core: change one operator at a time, run the tests, list the mutants that survive.

    python -m tests.mutate                        # a sample of every target
    python -m tests.mutate fold journal --all     # every mutant of two targets
    python -m tests.mutate verdicts --sample 40 --seed 3
    python -m tests.mutate --list                 # the targets, with their modules and tests

The checkout is never changed: each worker mutates its own copy in a temporary folder. A mutant is *killed* when a test
fails or hangs. A survivor is printed with file, line and the change; write a test for it, or a reason
why it is equivalent. The exit code is 1 if there are survivors.
"""

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

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
    "verdicts": Target(("benchflow/session/rules/verdicts.py",), ("tests/session", "tests/published")),
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


@dataclass(frozen=True)
class Mutant:
    """One change of one module. ``index`` is its number among all possible changes of the module, from 0."""

    path: str
    line: int
    index: int
    change: str


COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.LShift: ast.RShift, ast.RShift: ast.LShift,
}  # fmt: skip
SKIPPED_CALLS = frozenset({"assert_never", "cast", "TypeVar", "Literal"})
SKIPPED_KEYWORDS = frozenset({"frozen", "kw_only", "omit_defaults", "forbid_unknown_fields", "key"})


class Mutator(ast.NodeTransformer):
    """Lists the possible changes of a module, and makes the one with the number ``wanted``, if given."""

    def __init__(self, wanted: int | None = None) -> None:
        self.wanted = wanted
        self.found: list[tuple[int, str]] = []

    def _offer(self, node: ast.AST, change: str) -> bool:
        """Count one possible change; true if it is the one to make."""
        self.found.append((getattr(node, "lineno", 0), change))
        return self.wanted == len(self.found) - 1

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        self.generic_visit(node)
        for place, op in enumerate(node.ops):
            other = COMPARISONS[type(op)]
            if self._offer(node, f"{ast.unparse(node)}: {type(op).__name__} -> {other.__name__}"):
                node.ops[place] = other()
        return node

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        self.generic_visit(node)
        other = ast.Or if isinstance(node.op, ast.And) else ast.And
        if self._offer(node, f"{ast.unparse(node)}: {type(node.op).__name__} -> {other.__name__}"):
            node.op = other()
        return node

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        if isinstance(node.op, ast.Not | ast.USub) and self._offer(node, f"{ast.unparse(node)}: operator dropped"):
            return node.operand
        return node

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        other = ARITHMETIC.get(type(node.op))
        texts = any(isinstance(side, ast.JoinedStr) for side in (node.left, node.right))
        if other is not None and not texts:
            change = f"{ast.unparse(node)}: {type(node.op).__name__} -> {other.__name__}"
            if self._offer(node, change):
                node.op = other()
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        if isinstance(node.value, bool):
            if self._offer(node, f"{node.value} -> {not node.value}"):
                return ast.copy_location(ast.Constant(not node.value), node)
        elif isinstance(node.value, int | float) and self._offer(node, f"{node.value} -> {node.value + 1}"):
            return ast.copy_location(ast.Constant(node.value + 1), node)
        return node

    def visit_If(self, node: ast.If) -> ast.AST:
        if ast.unparse(node.test) == "TYPE_CHECKING":
            return node
        self.generic_visit(node)
        for value in (True, False):
            if self._offer(node, f"if {ast.unparse(node.test)} -> if {value}"):
                node.test = ast.copy_location(ast.Constant(value), node.test)
        return node

    def visit_Continue(self, node: ast.Continue) -> ast.AST:
        return ast.copy_location(ast.Break(), node) if self._offer(node, "continue -> break") else node

    def visit_Return(self, node: ast.Return) -> ast.AST:
        self.generic_visit(node)
        is_result = isinstance(node.value, ast.Call | ast.Name | ast.BoolOp | ast.Compare)
        if is_result and self._offer(node, f"return {ast.unparse(node.value)} -> return None"):  # type: ignore[arg-type]  # not None here
            node.value = None
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in SKIPPED_CALLS:
            return node
        node.args = [self.visit(each) for each in node.args]
        node.func = self.visit(node.func)
        for keyword in node.keywords:
            if keyword.arg not in SKIPPED_KEYWORDS:
                keyword.value = self.visit(keyword.value)
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        node.body = [self.visit(each) for each in node.body]  # keywords of the class are left alone
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.body = [self.visit(each) for each in node.body]
        node.args.defaults = [self.visit(each) for each in node.args.defaults]
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        return node  # the wording of a message is not part of the core

    def visit_Assert(self, node: ast.Assert) -> ast.AST:
        return node


def mutants_of(path: str) -> list[Mutant]:
    """Every mutant of one module, in the order of its lines."""
    mutator = Mutator()
    mutator.visit(ast.parse((ROOT / path).read_text()))
    return [Mutant(path, line, index, change) for index, (line, change) in enumerate(mutator.found)]


def mutated(mutant: Mutant) -> str:
    """The text of the module with the change made."""
    tree = ast.parse((ROOT / mutant.path).read_text())
    changed = Mutator(mutant.index).visit(copy.deepcopy(tree))
    return ast.unparse(ast.fix_missing_locations(changed)) + "\n"


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


def run_tests(folder: Path, tests: list[str], seconds: float) -> tuple[bool, float]:
    """Run ``tests`` in ``folder``. Returns True if all pass, and the time in s. A run over ``seconds`` has failed."""
    environ = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1", "BENCHFLOW_EXAMPLES": "20"}
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:xdist", "-p", "no:cacheprovider", *tests]
    began = time.monotonic()
    try:
        done = subprocess.run(command, cwd=folder, env=environ, capture_output=True, timeout=seconds, check=False)
    except subprocess.TimeoutExpired:
        return False, seconds
    return done.returncode == 0, time.monotonic() - began


def copy_of_tree(folder: Path) -> Path:
    for name in ("benchflow", "tests", "procedures"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", ".hypothesis"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy(ROOT / name, folder / name)
    return folder


def survivors(mutants: list[Mutant], tests: list[str], jobs: int) -> Iterator[tuple[Mutant, bool]]:
    """Each mutant, with True if it survived.

    Raises:
        SystemExit: the tests fail without any mutation.
    """
    with tempfile.TemporaryDirectory(prefix="mutate-") as top:
        folders: SimpleQueue[Path] = SimpleQueue()
        for number in range(jobs):
            folders.put(copy_of_tree(Path(top) / str(number)))
        first = folders.get()
        passed, took = run_tests(first, tests, 1800)
        folders.put(first)
        if not passed:
            raise SystemExit("tests/mutate.py: the tests fail without any mutation")

        def attempt(mutant: Mutant) -> bool:
            folder = folders.get()
            path = folder / mutant.path
            original = path.read_text()
            try:
                path.write_text(mutated(mutant))
                return run_tests(folder, tests, max(60.0, 5 * took * jobs))[0]
            finally:
                path.write_text(original)
                folders.put(folder)

        with ThreadPoolExecutor(jobs) as pool:
            yield from zip(mutants, pool.map(attempt, mutants), strict=True)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutate", description="Mutation runs on the core.")
    parser.add_argument("target", nargs="*", help=f"one of {', '.join(TARGETS)} (default: each)")
    parser.add_argument("--sample", type=int, default=25, help="mutants per target, at random")
    parser.add_argument("--all", action="store_true", help="every mutant")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--list", action="store_true", help="show the targets and end")
    given = parser.parse_args()
    unknown = sorted(set(given.target) - set(TARGETS))
    if unknown:
        parser.error(f"no such target: {', '.join(unknown)} (there are {', '.join(TARGETS)})")
    left = 0
    for name in given.target or TARGETS:
        target = TARGETS[name]
        mutants = [mutant for path in modules_of(target) for mutant in mutants_of(path)]
        tests = suite_of(target)
        if given.list:
            print(f"{name}: {len(mutants)} mutants, {len(tests)} test files")
            continue
        if not given.all and given.sample < len(mutants):
            mutants = sorted(random.Random(given.seed).sample(mutants, given.sample), key=lambda m: (m.path, m.index))
        alive = 0
        for mutant, survived in survivors(mutants, tests, max(1, given.jobs)):
            if survived:
                alive += 1
                print(f"{name}: survived {mutant.path}:{mutant.line}  {mutant.change}", flush=True)
        print(f"{name}: {len(mutants) - alive} of {len(mutants)} killed", flush=True)
        left += alive
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
