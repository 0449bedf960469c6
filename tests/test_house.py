"""House rules that a type checker does not check: unique names, no import circles, short modules."""

import ast
import functools
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import networkx
import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "benchflow"
LONGEST = 450
"""Lines. The house rule is about 400. A much longer module has a second subject and must be split."""


@functools.cache
def modules() -> dict[str, ast.Module]:
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = ast.parse(path.read_text())
    return found


def imports(tree: ast.AST) -> Iterator[tuple[str, list[str]]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("benchflow"):
            yield node.module, [alias.name for alias in node.names]


def test_no_import_circles_including_late_imports() -> None:
    graph: networkx.DiGraph[str] = networkx.DiGraph()
    for name, tree in modules().items():
        for module, names in imports(tree):
            targets = [f"{module}.{item}" for item in names if f"{module}.{item}" in modules()]
            graph.add_edges_from((name, target) for target in targets or [module] if target != name)
    circles = [sorted(part) for part in networkx.strongly_connected_components(graph) if len(part) > 1]
    assert circles == []


def test_module_names_are_unique() -> None:
    """A folder may have the name of a module, such as ``review`` the folder and ``review`` the command."""
    places = defaultdict(list)
    for path in PACKAGE.rglob("*.py"):
        if path.stem not in ("__init__", "__main__"):
            places[path.stem].append(str(path.relative_to(PACKAGE)))
    assert {name: found for name, found in places.items() if len(found) > 1} == {}


def test_class_names_are_unique() -> None:
    places = defaultdict(list)
    for module, tree in modules().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(module)
    assert {name: found for name, found in places.items() if len(found) > 1} == {}


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_module_is_not_too_long(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= LONGEST
