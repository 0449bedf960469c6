"""The mutation script: its changes, the lines that it marks, and its targets."""

import ast
from typing import Any

import pytest

from tests.mutate import EQUIVALENT, TARGETS, modules_of, suite_of
from tests.mutation.changes import Marker, Mutator
from tests.mutation.runs import mutants_of, mutated


def test_mutator_makes_each_change_once() -> None:
    source = "def f(a, b):\n    if a < b and not b:\n        return a + 1\n    return True\n"
    count = Mutator()
    count.visit(ast.parse(source))
    texts = {
        ast.unparse(ast.fix_missing_locations(Mutator(n).visit(ast.parse(source)))) for n in range(len(count.found))
    }
    assert len(texts) == len(count.found) == 8
    assert ast.unparse(ast.parse(source)) not in texts
    assert "def f(a, b):\n    if a <= b and (not b):\n        return a + 1\n    return True" in texts


@pytest.mark.parametrize("name", TARGETS)
def test_targets_name_existing_modules_and_tests(name: str) -> None:
    paths = list(modules_of(TARGETS[name]))
    assert suite_of(TARGETS[name])
    mutant = mutants_of(paths[0])[0]
    compile(mutated(mutant), mutant.path, "exec")


def test_change_names_its_statement_inside_functions_only() -> None:
    source = "LEAST = 3\n\ndef f(a, b=1):\n    return max(\n        a, b + 2\n    )\n"
    mutator = Mutator()
    mutator.visit(ast.parse(source))
    places = {(change.line, change.statement, change.text) for change in mutator.found}
    assert (1, None, "3 -> 4") in places
    assert (3, None, "1 -> 2") in places
    assert (5, 4, "2 -> 3") in places


def test_marker_reports_each_statement_that_is_executed() -> None:
    source = "def f(a):\n    if a:\n        return 1\n    elif a is None:\n        a = 2\n    return a\n"
    executed: list[int] = []
    names: dict[str, Any] = {"mark": executed.append}
    exec(compile(Marker("mark").visit(ast.parse(source)), "f.py", "exec"), names)
    assert names["f"](None) == 2
    assert executed == [2, 4, 5, 6]


def test_every_equivalent_mutant_is_a_mutant_of_its_file() -> None:
    possible = {
        (mutant.path, mutant.code, mutant.change)
        for path in {entry[0] for entry in EQUIVALENT}
        for mutant in mutants_of(path)
    }
    assert [entry for entry in EQUIVALENT if entry[:3] not in possible] == []
    assert all(reason for _, _, _, reason in EQUIVALENT)
