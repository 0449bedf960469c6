"""The JSON Schema and the author's guide contain every key and agree with the reader."""

import copy
import io
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from benchflow.procedure.authoring.author_guide import author_guide, parts_below
from benchflow.procedure.authoring.json_schema import json_schema
from benchflow.procedure.compiled_cache import load
from benchflow.procedure.keys.procedure_keys import PROCEDURE
from benchflow.procedure.reader import read

GOOD = Path(__file__).parent / "good" / "every-key.yaml"
PROCEDURES = sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml"))

CODES_OF_SHAPES = {
    "unknown-key", "missing-key", "wrong-kind", "empty-value", "not-one-of", "one-too-many", "bad-number", "bad-name",
    "unknown-format",
}  # fmt: skip
"""Codes of problems that the shapes report. The schema has to find the same problems."""

BEYOND_A_SCHEMA = ("Only the last row can have no upper end", "is the beginning of the names of values")
"""Problems that have one of these codes, but depend on the place in a list or on other keys: not for JSON Schema."""


def _yaml(text: str) -> Any:
    """The data as an editor loads it."""
    return YAML(typ="safe", pure=True).load(text)


def _written(data: Any) -> str:
    stream = io.StringIO()
    yaml = YAML(typ="safe", pure=True)
    yaml.width = 100_000
    yaml.dump(data, stream)
    return stream.getvalue()


@cache
def _validator() -> Draft202012Validator:
    return Draft202012Validator(json_schema())


def test_schema_is_valid_json_schema() -> None:
    Draft202012Validator.check_schema(json_schema())


def test_good_files_pass_reader_and_schema() -> None:
    for path in (GOOD, *PROCEDURES):
        written_out = load(path).text
        assert read(written_out).procedure is not None
        for text in (path.read_text("utf-8"), written_out):
            assert [error.message for error in _validator().iter_errors(_yaml(text))] == []


def test_every_key_has_a_description() -> None:
    found = parts_below(PROCEDURE)
    assert len(found) > 20
    for keys in found.values():
        for key in keys.keys.values():
            assert key.description.endswith("."), f"{keys.name}: {key.name}"
            assert json_schema()["$defs"][keys.name]["properties"][key.name]["description"] == key.description


def test_author_guide_has_every_key() -> None:
    guide = author_guide()
    for keys in parts_below(PROCEDURE).values():
        for key in keys.keys.values():
            assert f"| `{key.name}` |" in guide
            assert key.description.replace("|", "\\|") in guide


def test_example_of_the_author_guide_is_proven() -> None:
    from benchflow.ordering.proof import prove

    example = author_guide().split("```yaml\n")[1].split("```")[0]
    reading = read(example, "example.yaml")
    assert reading.procedure is not None
    assert not reading.problems
    report = prove(reading.procedure)
    assert not report.findings
    assert report.complete


def test_good_file_uses_every_key() -> None:
    """The file is the base of the other tests. Uses of blocks are written out before a text is read."""
    text = GOOD.read_text("utf-8")
    parts = [keys for keys in parts_below(PROCEDURE).values() if keys.name != "use"]
    untried = [f"{keys.name}: {key}" for keys in parts for key in keys.keys if key != "use" and f"{key}:" not in text]
    assert untried == []


_BASE = _yaml(GOOD.read_text("utf-8"))


def _paths(data: Any, before: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [before] if before else []
    pairs = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in pairs:
        found += _paths(value, (*before, key))
    return found


_REPLACEMENTS: list[Any] = [
    "word", "two words", 3, 0, 0.5, -1, True, False, None, [], ["a"], [1], {}, {"a": "b"}, {"title": "x"}, "", " ",
    "30 N·m", "a[1]", "1,5 mm", "true", "5", "x, y",
]  # fmt: skip


@settings(max_examples=15, deadline=None)
@given(
    st.sampled_from(_paths(_BASE)),
    st.sampled_from(["delete", "rename", "replace", "replace"]),
    st.sampled_from(_REPLACEMENTS),
    st.sampled_from(["odd", "title", "id", "do", "a b"]),
)
def test_reader_and_schema_agree_on_changed_files(path: tuple[Any, ...], change: str, other: Any, name: str) -> None:
    data = copy.deepcopy(_BASE)
    holder = data
    for step in path[:-1]:
        holder = holder[step]
    if change == "delete":
        del holder[path[-1]]
    elif change == "rename" and isinstance(holder, dict) and name not in holder:
        holder[name] = holder.pop(path[-1])
    else:
        holder[path[-1]] = other
    text = _written(data)
    refused = [error.message for error in _validator().iter_errors(_yaml(text))]
    errors = [problem for problem in read(text).problems if problem.severity == "error"]
    if refused:
        assert errors, f"only the schema refuses the file: {refused[0]}"
    else:
        found = [str(problem) for problem in errors if problem.code in CODES_OF_SHAPES]
        assert [text for text in found if not any(beyond in text for beyond in BEYOND_A_SCHEMA)] == []
