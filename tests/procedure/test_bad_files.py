"""Files with one mistake each. The first lines of a file list the problems that the reader must report.

``# 12:16 error unknown-key`` is a problem with line and column (``12:16 warning ...`` for a warning). ``# schema: yes``
means that the JSON Schema finds the mistake too, ``no`` that only the reader finds it, ``ok`` that the file is still
accepted.
"""

import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from benchflow.procedure.authoring.json_schema import json_schema
from benchflow.procedure.blocks.block_folder import BlockFolder, may_use_blocks
from benchflow.procedure.compiled_cache import read_text
from benchflow.procedure.problems import CODES, Problem
from benchflow.procedure.reader import ReadResult, read_bytes

BAD = sorted((Path(__file__).parent / "bad").glob("*.yaml"))
_expected = re.compile(r"# (\d+:\d+ (?:error|warning|note) [a-z-]+)")


@cache
def _read(path: Path) -> tuple[list[str], str, ReadResult]:
    """The expected problems, the expectation about the schema, and the result of the reader."""
    data = path.read_bytes()
    head = data.decode("utf-8").split("\n\n", 1)[0].split("\n")
    expected = [found[1] for line in head if (found := _expected.fullmatch(line))]
    schema = next(line.removeprefix("# schema: ") for line in head if line.startswith("# schema: "))
    text = data.decode("utf-8", "replace")
    if not may_use_blocks(text):
        return expected, schema, read_bytes(data, path.name)
    loaded = read_text(text, path.name, None, (BlockFolder(path.parent / "blocks", "beside"),))
    return expected, schema, ReadResult(loaded.procedure, loaded.problems)


@cache
def _validator() -> Draft202012Validator:
    return Draft202012Validator(json_schema())


@cache
def _as_an_editor_reads(path: Path) -> Any:
    return YAML(typ="safe", pure=True).load(path.read_text("utf-8"))


def _short(problem: Problem) -> str:
    return f"{problem.line}:{problem.column} {problem.severity} {problem.code}"


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_each_problem_is_reported_at_its_line_and_column(path: Path) -> None:
    expected, schema, reading = _read(path)
    assert expected, "the file does not say which problems are expected"
    assert sorted(_short(problem) for problem in reading.problems) == sorted(expected)
    assert (reading.procedure is None) == (schema != "ok")


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_problem_message_has_place_and_text(path: Path) -> None:
    for problem in _read(path)[2].problems:
        assert str(problem).startswith(f"{path.name}:{problem.line}:{problem.column}: ")
        assert problem.message
        assert "  " not in str(problem)
        assert "None" not in str(problem)


def test_every_problem_code_occurs_in_a_bad_file() -> None:
    found = {problem.code for path in BAD for problem in _read(path)[2].problems}
    assert found <= CODES
    tried_elsewhere = {
        "block-replaced", "hidden-values", "never-ok", "no-rule", "no-source", "not-utf-8", "split-check", "to-fill",
        "too-many-problems", "unused",
    }  # fmt: skip
    assert CODES - found == tried_elsewhere


def test_most_problems_have_a_hint() -> None:
    problems = [problem for path in BAD for problem in _read(path)[2].problems]
    without = {problem.code for problem in problems if not problem.hint}
    with_ = {problem.code for problem in problems if problem.hint}
    assert without - with_ <= {"circular-formula"}
    assert sum(not problem.hint for problem in problems) < len(problems) // 8


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_json_schema_agrees_with_the_reader(path: Path) -> None:
    _, schema, _ = _read(path)
    if schema == "no":
        return  # only the reader checks names, quantities and YAML syntax
    errors = list(_validator().iter_errors(_as_an_editor_reads(path)))
    assert bool(errors) == (schema == "yes"), [error.message for error in errors]


def test_problems_that_the_schema_cannot_find_pass_the_json_schema() -> None:
    """A bad file with the mark `schema: no` passes the schema, or is not YAML."""
    seen = []
    for path in BAD:
        if _read(path)[1] != "no":
            continue
        try:
            data = _as_an_editor_reads(path)
        except (YAMLError, OverflowError, ValueError):  # the last two: an escape that is not a character
            continue
        if list(_validator().iter_errors(data)):
            seen.append(path.stem)
    assert seen == ["empty", "laughs", "too-deep"]  # refused before their shape is looked at
