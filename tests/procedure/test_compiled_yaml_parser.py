"""The compiled YAML parser (libyaml) makes the same tree as the one in Python (ruamel.yaml), or reports a problem."""

from pathlib import Path
from random import Random

import pytest

from benchflow.procedure.yaml_source import yaml_reader
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode
from benchflow.procedure.yaml_source.yaml_reader import MAX_DEPTH, MAX_SCALAR, ProblemList, parse_lines

ROOT = Path(__file__).parents[2]
SHIPPED = sorted((ROOT / "procedures").rglob("*.yaml"))
WRITTEN = sorted(
    path
    for folder in ("good", "bad", "written_out", "block_samples")
    for path in (Path(__file__).parent / folder).rglob("*.yaml")
)
SIGNS = [*" \n-:#,[]{}'\"|>?*&!%@`~.", "  ", "\n  ", "\n\n", ": ", " #", "- ", "---\n", "- - ", "''", '\\"', "\\n",
         "é", "<<: ", "? ", "|-\n", ">\n", "|+\n", "[]", "{}", "\u00a0"]  # fmt: skip


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", "replace").removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def _quick(text: str) -> YamlNode | None:
    """The tree by the compiled parser; ``None`` if ``parse`` does not use it."""
    if yaml_reader._may_differ.search(text) is not None:
        return None
    found = parse_lines(text, ProblemList(""), compiled=True)
    return found.root if isinstance(found.root, YamlMapping) and not found.problems.all else None


def _is_equal_or_refused(text: str) -> bool:
    found = _quick(text)
    if found is None:
        return True
    parsed = parse_lines(text, ProblemList(""))
    return found == parsed.root and not parsed.problems.all and parsed.error_at is None


def test_every_shipped_file_is_quick() -> None:
    assert [path.name for path in SHIPPED if _quick(_text(path)) is None] == []


def test_files_have_the_same_tree_from_both_parsers() -> None:
    assert [path.name for path in (*SHIPPED[::7], *WRITTEN[::3]) if not _is_equal_or_refused(_text(path))] == []


@pytest.mark.parametrize("text", ['a: ["b":1]\n', "a: ['b':1]\n", "a: |#\n", "a:\n  |2#\n", "a: >-# b\n  c\n"])
def test_text_that_only_the_compiled_parser_accepts_is_refused(text: str) -> None:
    assert _is_equal_or_refused(text)
    assert yaml_reader.parse(text, "").problems.all


def test_parts_of_files_with_random_changes_have_the_same_tree_from_both_parsers() -> None:
    random = Random(14)
    texts = [text for path in (*SHIPPED, *WRITTEN) if 200 < len(text := _text(path)) < 6000]
    read = 0
    for _ in range(500):
        text = _changed(_part(random.choice(texts), random), random)
        assert _is_equal_or_refused(text), text
        read += _quick(text) is not None
    assert read > 100


def _part(text: str, random: Random) -> str:
    """Some lines of a text, often without their common indent."""
    lines = text.split("\n")
    first = random.randrange(len(lines))
    lines = lines[first : first + random.randrange(3, 25)]
    indent = min((len(line) - len(line.lstrip(" ")) for line in lines if line.strip()), default=0)
    return "\n".join(line[indent * (random.random() < 0.7) :] for line in lines) + "\n"


def _changed(text: str, random: Random) -> str:
    for _ in range(random.randrange(4)):
        at, kind = random.randrange(len(text) + 1), random.random()
        lines = text.split("\n")
        number = random.randrange(len(lines))
        if kind < 0.5:
            text = text[:at] + random.choice(SIGNS) + text[at:]
        elif kind < 0.75:
            text = text[:at] + text[at + random.randrange(1, 4) :]
        elif kind < 0.85:
            lines[number] = " " * random.randrange(4) + lines[number]
            text = "\n".join(lines)
        else:
            lines.insert(number, random.choice(lines))
            text = "\n".join(lines)
    return text


@pytest.mark.parametrize(
    "text",
    [
        "a: b: c\n", "a: &b c\n", "a: *b\n", "a: !x b\n", "a: |2\n  b\n", "a: |+\n  b\n\n", "a: \"b\n\n  c\"\n",
        "a:\tb\n", "--- \na: b\n", "a: b\n...\n", "%YAML 1.1\n", "? a\n: b\n", "<<: {a: b}\n", "a: b\na: c\n",
        "a: [b: c]\n", "a: [b,, c]\n", "a: {b:c, b:c}\n", "a: b\n\n  c\n", "a:\n  b\n", "- - a\n", "-\n- a\n",
        "a: b", "a\n", "a: |\n \n   b\n  c\n", "a: [b # c\n]\n", "a: 'b\n", "a: \"\\x41\"\n", "a: \ufeffb\n", "",
        "# a\n", "a: }\n", "a: b #c\n  d\n", "a: [b#c, d:e, -1]\n", "a: yes\nb: 012\nc: 1:30\nd: ~\n", "a: \"\\/\"\n",
        "---\n\n   ", "\n\n|+\n#", "{a: b}\n", "[a]\n", "a: 'b'\n", "a: |\n \n  b\n",
    ],
)  # fmt: skip
def test_rare_forms_of_yaml_have_the_same_tree_or_are_left_to_the_parser_in_python(text: str) -> None:
    assert _is_equal_or_refused(text)


@pytest.mark.parametrize(
    "text",
    [
        "a: b\n", "a:\n- b\n- c\nd: e\n", "a:\n  - b: c\n    d: e\n  - f\n", "a: [b, {c: d, e}, 'f''g', \"h\"]\n",
        "a: {x}\n",
        "a: 'b\n  c  \n  d'\n", "a: b\n  c\n  d #e\nf: g\n", "a: |\n  b\n\n    c\n\nd: e\n", "a: >-\n  b\n  c\n\n  d\n",
        "a:\n  [b, c,\n   d e\n  f]\n", '"a b": "c\\"d"\n', "a:\n# b\n\n  c: d # e\n", "a: b#c\n",
        "a: {b: , c:\n  d}\n", "a: -b\n", "  a: b\n  c: d\n", "a: é [b] ü\n", "a:   \nb: ''\n", "a: [b, c, ]\n",
    ],
)  # fmt: skip
def test_usual_text_has_the_same_tree_from_both_parsers(text: str) -> None:
    assert _is_equal_or_refused(text)
    assert _quick(text) is not None


def test_nesting_and_length_have_the_same_limits() -> None:
    deep = "a: " + "[" * (MAX_DEPTH - 1) + "b" + "]" * (MAX_DEPTH - 1) + "\n"
    assert _quick(deep) is not None
    assert _is_equal_or_refused(deep)
    assert _quick(deep.replace("b", "[b]")) is None
    assert _quick(f"a: {'b' * MAX_SCALAR}\n") is not None
    assert _quick(f"a: {'b' * (MAX_SCALAR + 1)}\n") is None
