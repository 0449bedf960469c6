"""The mutation script: each mutant differs from the original and still compiles."""

import ast

import pytest

from tests.mutate import TARGETS, Mutator, modules_of, mutants_of, mutated, suite_of


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
