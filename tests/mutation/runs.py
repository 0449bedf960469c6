"""Runs the tests on each mutant, in one test session that has collected all tests once.

A change inside a function is made in a forked process, by new code for the functions that exist there; nothing is
imported or collected again. A change outside functions, and each survivor, is run in a new process on a copy of
the tree with the changed file.
"""

import ast
import atexit
import builtins
import gc
import json
import math
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import sha256
from importlib import import_module
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest

from tests.mutation.changes import Marker, Mutator

ROOT = Path(__file__).resolve().parents[2]
MARK = "benchflow_mark_"


@dataclass(frozen=True)
class Mutant:
    """One change of one module.

    ``index`` is its number among all possible changes of the module, from 0. ``code`` is the text of its line. The
    second of two equal changes on a line has a ``change`` that ends with ``[2]``.
    """

    path: str
    line: int
    index: int
    code: str
    change: str
    statement: int | None


@dataclass
class TestRecord:
    """What one test executes: the marked lines of each module, and its processor time in s."""

    __test__ = False

    seconds: float
    lines: dict[str, list[int]]


def mutants_of(path: str) -> list[Mutant]:
    """Every mutant of one module, in the order of its lines."""
    text = (ROOT / path).read_text()
    code = text.splitlines()
    mutator = Mutator()
    mutator.visit(ast.parse(text))
    count: Counter[tuple[int, str]] = Counter()
    mutants = []
    for index, each in enumerate(mutator.found):
        count[each.line, each.text] += 1
        number = count[each.line, each.text]
        change = each.text if number == 1 else f"{each.text} [{number}]"
        mutants.append(Mutant(path, each.line, index, code[each.line - 1].strip(), change, each.statement))
    return mutants


def mutated_tree(mutant: Mutant) -> ast.Module:
    tree = Mutator(mutant.index).visit(ast.parse((ROOT / mutant.path).read_text()))
    return ast.fix_missing_locations(tree)  # type: ignore[no-any-return]  # the mutator keeps the module


def mutated(mutant: Mutant) -> str:
    """The text of the module with the change made."""
    return ast.unparse(mutated_tree(mutant)) + "\n"


# --- code of functions that exist -------------------------------------------------------------------


def _codes(code: CodeType) -> Iterator[CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield constant
            yield from _codes(constant)


def replace_code(trees: dict[str, ast.Module]) -> None:
    """Give the functions of some modules the code of ``trees``, by path.

    Raises:
        ValueError: a closure has other variables now.
    """
    new = {
        (str(ROOT / path), code.co_qualname, code.co_firstlineno): code
        for path, tree in trees.items()
        for code in _codes(compile(tree, str(ROOT / path), "exec"))
    }
    for function in [each for each in gc.get_objects() if isinstance(each, FunctionType)]:
        code = function.__code__
        other = new.get((code.co_filename, code.co_qualname, code.co_firstlineno))
        if other is not None:
            function.__code__ = other


# --- the record of what each test executes ----------------------------------------------------------


@dataclass
class TestMap:
    """The record of each test. It is kept in a file and recorded again for test files that have changed."""

    __test__ = False

    path: Path
    core: str
    files: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def read(cls, path: Path) -> "TestMap":
        core = sha256()
        for folder in ("benchflow", "tests", "procedures"):
            for source in sorted((ROOT / folder).rglob("*.*")):
                is_input = source.suffix in (".py", ".yaml") and not source.name.startswith(("test_", "mutate"))
                if is_input and "mutation" not in source.parts:
                    core.update(source.read_bytes())
        found = cls(path, core.hexdigest())
        if path.exists():
            stored = json.loads(path.read_text())
            if stored["core"] == found.core:
                found.files = stored["files"]
        return found

    def write(self) -> None:
        self.path.parent.mkdir(exist_ok=True)
        self.path.write_text(json.dumps({"core": self.core, "files": self.files}))

    def is_recorded(self, file: str) -> bool:
        return file in self.files and bool(self.files[file]["digest"] == _digest(file))

    def add(self, file: str, tests: dict[str, TestRecord], left_out: dict[str, str]) -> None:
        records = {name: [record.seconds, record.lines] for name, record in tests.items()}
        self.files[file] = {"digest": _digest(file), "tests": records, "left out": left_out}

    def tests_of(self, mutant: Mutant, files: Iterable[str]) -> list[tuple[str, float]]:
        """The tests that execute the mutated statement (outside functions: any of the module), the fastest first."""
        found = []
        for file in files:
            for name, (seconds, lines) in self.files[file]["tests"].items():
                executed = lines.get(mutant.path)
                if executed and (mutant.statement is None or mutant.statement in executed):
                    found.append((name, seconds))
        return sorted(found, key=lambda test: test[1])


def _digest(file: str) -> str:
    return sha256((ROOT / file).read_bytes()).hexdigest()


class _Executed:
    """Collects the marked lines that are executed, and those of the fixtures that several tests share."""

    def __init__(self, modules: Sequence[str]) -> None:
        self.lines: dict[str, set[int]] = {path: set() for path in modules}
        self.shared: dict[str, set[int]] = {path: set() for path in modules}

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[Any]) -> Generator[None, object, object]:
        if fixturedef.scope == "function":
            return (yield)
        before = {path: set(lines) for path, lines in self.lines.items()}
        try:
            return (yield)
        finally:
            for path, lines in self.lines.items():
                self.shared[path] |= lines - before[path]

    def of_one_test(self) -> dict[str, list[int]]:
        found = {path: sorted(lines | self.shared[path]) for path, lines in self.lines.items()}
        for lines in self.lines.values():
            lines.clear()
        return {path: lines for path, lines in found.items() if lines}


def _record_tests(
    items: Sequence[pytest.Item], modules: Sequence[str], slowest: float, jobs: int, test_map: TestMap
) -> None:
    """Run ``items`` on marked modules, each file in a forked process, and write what they execute to ``test_map``.

    This changes the code of the modules, so it runs in a forked process itself.
    """
    executed = _Executed(modules)
    trees = {}
    for number, path in enumerate(modules):
        setattr(builtins, f"{MARK}{number}", executed.lines[path].add)
        trees[path] = Marker(f"{MARK}{number}").visit(ast.parse((ROOT / path).read_text()))
    replace_code(trees)
    items[0].config.pluginmanager.register(executed)
    by_file: dict[str, list[pytest.Item]] = {}
    for item in items:
        by_file.setdefault(file_of(item.nodeid), []).append(item)
    waiting = list(by_file.items())
    found: dict[str, tuple[dict[str, TestRecord], dict[str, str]]] = {file: ({}, {}) for file in by_file}
    running: dict[int, tuple[str, list[pytest.Item]]] = {}
    with tempfile.TemporaryDirectory(prefix="mutate-") as top:
        while waiting or running:
            while waiting and len(running) < jobs:
                file, tests = waiting.pop(0)
                pid = os.fork()
                if not pid:
                    _record_file(tests, executed, slowest, Path(top))
                running[pid] = file, tests
            pid, status = os.wait()
            file, tests = running.pop(pid)
            report = Path(top, str(pid))
            lines = report.read_text().splitlines() if report.exists() else []
            records, left_out = found[file]
            records.update(
                {item.nodeid: TestRecord(*json.loads(line)) for item, line in zip(tests, lines, strict=False)}
            )
            if status:
                left_out[tests[len(lines)].nodeid] = "slow" if os.WIFSIGNALED(status) else "failed"
            rest = tests[len(lines) + bool(status) :]
            if rest:
                waiting.insert(0, (file, rest))
            else:
                test_map.add(file, records, left_out)
                test_map.write()


def _record_file(items: Sequence[pytest.Item], executed: _Executed, slowest: float, folder: Path) -> None:
    """Run the tests of one file and write a line for each. Ends the process, early after a failure or a slow test."""
    atexit._clear()
    status = 1
    try:
        with (folder / str(os.getpid())).open("w") as report:
            for item, following in zip(items, [*items[1:], None], strict=True):
                began = time.process_time()
                resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(began + slowest), resource.RLIM_INFINITY))
                signal.alarm(math.ceil(20 * slowest))  # for a test that waits
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
                if item.session.testsfailed:
                    break
                report.write(json.dumps([time.process_time() - began, executed.of_one_test()]) + "\n")
                report.flush()
            else:
                status = 0
    finally:
        atexit._run_exitfuncs()
        os._exit(status)


def file_of(test: str) -> str:
    return test.split("::", 1)[0]


# --- the runs ---------------------------------------------------------------------------------------


@dataclass
class Result:
    """The outcome of one mutant: ``killed`` by a test, by its ``killer`` if that is known, after ``tests`` at most."""

    mutant: Mutant
    killed: bool
    killer: str
    tests: int


@dataclass
class _Running:
    """A forked process with one mutant. ``cold`` is true for a run on a copy of the tree."""

    mutant: Mutant
    pid: int
    report: int
    ends: float
    tests: list[tuple[str, float]]
    cold: bool


class MutationRun:
    """A plugin of pytest: runs mutants instead of the collected tests."""

    def __init__(
        self,
        mutants: Sequence[Mutant],
        modules: Sequence[str],
        *,
        jobs: int,
        slowest: float,
        confirm: bool,
        test_map: TestMap,
        show: Callable[[Result], None],
    ) -> None:
        self.waiting = list(mutants)
        self.modules, self.jobs, self.slowest, self.confirm = modules, jobs, slowest, confirm
        self.test_map, self.show = test_map, show
        self.killers: Counter[str] = Counter()
        self.items: dict[str, pytest.Item] = {}

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        if session.testsfailed:
            raise SystemExit("tests/mutate.py: some tests cannot be collected")
        self.items = {item.nodeid: item for item in session.items}
        for path in self.modules:
            import_module(path.removesuffix(".py").replace("/", "."))
        self._record()
        unconfirmed: list[tuple[Mutant, list[tuple[str, float]]]] = []
        running: list[_Running] = []
        while self.waiting or unconfirmed or running:
            if len(running) < self.jobs and unconfirmed:
                running.append(self._start(*unconfirmed.pop(), cold=True))
            elif len(running) < self.jobs and self.waiting:
                mutant = self.waiting.pop(0)
                tests = self._ordered(mutant)
                running.append(self._start(mutant, tests, cold=mutant.statement is None))
            else:
                time.sleep(0.02)
            for run in list(running):
                result = self._result(run)
                if result is None:
                    continue
                running.remove(run)
                if result.killed or run.cold or not self.confirm or not run.tests:
                    self.show(result)
                else:
                    unconfirmed.append((run.mutant, run.tests))
        return True

    def _record(self) -> None:
        missing = {file for file in map(file_of, self.items) if not self.test_map.is_recorded(file)}
        if missing:
            print(f"recording what {len(missing)} test files execute", flush=True)
            wanted = [item for name, item in self.items.items() if file_of(name) in missing]
            pid = os.fork()
            if not pid:
                _silence()
                _record_tests(wanted, self.modules, self.slowest, self.jobs, self.test_map)
                os._exit(0)
            os.waitpid(pid, 0)
            self.test_map = TestMap.read(self.test_map.path)
        left_out = Counter(
            reason
            for file in set(map(file_of, self.items))
            for reason in self.test_map.files[file]["left out"].values()
        )
        for reason, count in sorted(left_out.items()):
            print(f"{count} tests are left out: {reason} without any mutation", flush=True)

    def _ordered(self, mutant: Mutant) -> list[tuple[str, float]]:
        """The tests to run: recent killers first, then the fastest test of each file, then the others."""
        found = self.test_map.tests_of(mutant, sorted(set(map(file_of, self.items))))
        found = [test for test in found if test[0] in self.items]
        killers = {name for name, _ in self.killers.most_common(5)}
        seen: set[str] = set()
        first = {name for name, _ in found if not (file_of(name) in seen or seen.add(file_of(name)))}  # type: ignore[func-returns-value]  # adds
        return sorted(found, key=lambda test: (test[0] not in killers, test[0] not in first, test[1]))

    def _start(self, mutant: Mutant, tests: list[tuple[str, float]], *, cold: bool) -> _Running:
        seconds = 30 + 10 * self.jobs * sum(time for _, time in tests)
        reading, writing = os.pipe()
        pid = os.fork()
        if pid:
            os.close(writing)
            return _Running(mutant, pid, reading, time.monotonic() + seconds, tests, cold)
        os.setsid()
        atexit._clear()  # what the first process made is not removed by this one
        _silence()
        names = [name for name, _ in tests]
        killer = "?"
        try:
            killer = run_cold(mutant, names) if cold else self._run_forked(mutant, names)
        finally:
            os.write(writing, killer.encode())
            atexit._run_exitfuncs()
            os._exit(0)

    def _run_forked(self, mutant: Mutant, names: Sequence[str]) -> str:
        try:
            replace_code({mutant.path: mutated_tree(mutant)})
        except ValueError:
            return run_cold(mutant, names)
        chosen = [self.items[name] for name in names]
        for item, following in zip(chosen, [*chosen[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if item.session.testsfailed:
                return item.nodeid
        return ""

    def _result(self, run: _Running) -> Result | None:
        """The outcome of a run; ``None`` while it goes on."""
        done, _ = os.waitpid(run.pid, os.WNOHANG)
        if not done and time.monotonic() < run.ends:
            return None
        killer = "time limit"
        if done:
            killer = os.read(run.report, 65536).decode()
        else:
            with suppress(ProcessLookupError):  # it has just started
                os.killpg(run.pid, signal.SIGKILL)
            os.waitpid(run.pid, 0)
        os.close(run.report)
        if killer in self.items:
            self.killers[killer] += 1
        return Result(run.mutant, bool(killer), killer, len(run.tests))


def _silence() -> None:
    nowhere = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(nowhere, number)


def run_cold(mutant: Mutant, tests: Sequence[str]) -> str:
    """Run ``tests`` in a new process, on a copy of the tree with the change. Returns "" if all pass."""
    if not tests:
        return ""
    with tempfile.TemporaryDirectory(prefix="mutate-") as top:
        folder = Path(top)
        for name in ("benchflow", "tests", "procedures"):
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", ".hypothesis"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, folder / name)
        (folder / mutant.path).write_text(mutated(mutant))
        environ = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:xdist", "-p", "no:cacheprovider", *tests]
        done = subprocess.run(command, cwd=folder, env=environ, capture_output=True, check=False)
        return "" if done.returncode == 0 else "cold run"


def run_mutants(run: MutationRun, tests: Sequence[str]) -> None:
    """Collect ``tests`` and run the mutants of ``run``."""
    options = ["-o", "addopts=", "--strict-markers", "--import-mode=importlib", "--capture=no", "-p", "no:xdist"]
    options += ["-p", "no:terminal", "-p", "no:cacheprovider", "-k", "not postgresql", "--rootdir", str(ROOT)]
    pytest.main([*options, *tests], plugins=[run])
