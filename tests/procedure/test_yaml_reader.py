"""Hostile and broken files give problems, never an exception."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.procedure.expand import expand, option_choices
from benchflow.procedure.reader import ReadResult, read, read_bytes
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlScalar
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES, MAX_PROBLEMS, MAX_SCALAR, parse

SMALL = """benchflow: 1
id: trial
title: A trial
options: {cams: {ask: Which?, choices: [stock, reground]}}
places: {cylinder: [1, 2]}
state: {pistons: {values: [at-deck, down], start: ask}}
sections:
  - title: All
    operations:
      - {id: first, title: "Bore {cylinder}", each: cylinder, record: {bore: {unit: mm, limit: 80.0 .. 80.1 mm}}}
      - {id: second, title: Second, after: ["first[*]"], needs: {pistons: [down]}, when: {cams: stock}}
"""


def _codes(reading: ReadResult) -> list[str]:
    return [problem.code for problem in reading.problems]


def test_too_large_file_is_refused_quickly() -> None:
    reading = read_bytes(b"a: " + b"x" * 10_000_000, "large.yaml")
    assert _codes(reading) == ["too-large"]
    assert "larger than 1024 KiB" in str(reading.problems[0])


def test_procedure_of_1000_operations_is_read() -> None:
    operation = "      - {{id: op-{0}, title: Seat number {0} with care, after: [{1}], check: [flush, tacky]}}\n"
    text = SMALL + "".join(operation.format(n, f"op-{n - 1}" if n else "second") for n in range(1000))
    reading = read(text)
    assert reading.procedure is not None
    assert len(reading.procedure.operations) == 1002


def test_file_with_too_many_warnings_is_refused() -> None:
    operations = "".join(f"      - id: op-{n}\n" for n in range(MAX_PROBLEMS + 1))
    assert read(SMALL + operations).procedure is None


def test_file_one_byte_too_large_is_refused() -> None:
    assert _codes(read("#" * (MAX_BYTES + 1))) == ["too-large"]


@pytest.mark.parametrize(
    ("data", "column"), [(b"id: caf\xe9", 8), (b"\xff\xfei\x00d\x00", 1), ("id: é".encode() + b"\xff", 6)]
)
def test_file_that_is_not_utf8_is_reported_at_its_place(data: bytes, column: int) -> None:
    reading = read_bytes(b"\n" + data, "latin.yaml")
    assert _codes(reading) == ["not-utf-8"]
    assert (reading.problems[0].line, reading.problems[0].column) == (2, column)


def test_byte_order_mark_and_line_ends_do_not_matter() -> None:
    plain = read(SMALL)
    assert plain.procedure is not None
    assert read_bytes(b"\xef\xbb\xbf" + SMALL.encode(), "f").procedure == plain.procedure
    assert read(SMALL.replace("\n", "\r\n")).procedure == plain.procedure


def test_nested_aliases_are_refused_without_expansion() -> None:
    lines = ["a: &a [ha, ha, ha, ha, ha, ha, ha, ha, ha]"]
    names = "abcdefghijklmnop"
    for before, name in pairwise(names):
        lines.append(f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]")
    reading = read("\n".join(lines))
    assert reading.procedure is None
    assert "alias" in _codes(reading)


def test_recursive_alias_is_refused() -> None:
    assert "alias" in _codes(read("a: &a [*a]"))


@pytest.mark.parametrize("opening", ["[", "{", "- ", "? ", "a: {", "[{a: "])
def test_too_deep_nesting_is_refused(opening: str) -> None:
    assert set(_codes(read(opening * 50_000))) & {"too-deep", "bad-yaml"}


def test_too_deep_block_nesting_is_refused() -> None:
    assert _codes(read("".join(f"{' ' * depth}a:\n" for depth in range(700)))) == ["too-deep"]


def test_too_long_text_is_cut_and_reported() -> None:
    source = parse("a: " + "9" * (MAX_SCALAR + 1), "f")
    assert [problem.code for problem in source.problems.listed(source.root)] == ["too-long"]
    assert isinstance(source.root, YamlMapping)
    value = source.root.pairs[0][1]
    assert isinstance(value, YamlScalar)
    assert len(value.text) == MAX_SCALAR


def test_number_of_problems_is_limited() -> None:
    reading = read("".join(f"key-{n}: x\n" for n in range(MAX_PROBLEMS + 50)))
    assert len(reading.problems) == MAX_PROBLEMS + 1
    assert reading.problems[-1].code == "too-many-problems"
    assert "reading stopped here" in reading.problems[-1].message


def test_digits_stay_as_written() -> None:
    text = SMALL.replace("sections:", "kit: {parts: {seal: {pn: 00123, quantity: 1_0, title: 1e5}}}\nsections:")
    procedure = read(text).procedure
    assert procedure is not None
    assert (procedure.kit[0].pn, procedure.kit[0].quantity, procedure.kit[0].title) == ("00123", "1_0", "1e5")


def test_yes_and_no_stay_texts() -> None:
    text = SMALL.replace("[stock, reground]", "[yes, no, on, off, 1:30]").replace("cams: stock", "cams: no")
    procedure = read(text).procedure
    assert procedure is not None
    assert procedure.options[0].choices == ("yes", "no", "on", "off", "1:30")


def test_escape_sequence_is_removed_from_a_title() -> None:
    reading = read(SMALL.replace("title: A trial", 'title: "A \\x1b]52;c;bHM=\\x07\\u202e trial"'))
    assert reading.procedure is not None
    assert reading.procedure.title == "A ]52;c;bHM= trial"
    assert _codes(reading) == ["invisible-character"]


def test_problems_are_listed_in_the_order_of_the_file() -> None:
    text = SMALL.replace("id: trial", "id: a trial").replace("unit: mm", "unit: mmm").replace("stock}", "stok}")
    reading = read(text.replace("title: All", "titel: All"), "trial.yaml")
    assert [(problem.code, problem.line) for problem in reading.problems] == [
        ("bad-name", 2), ("unknown-key", 8), ("missing-title", 8), ("bad-quantity", 10), ("unknown-name", 11),
    ]  # fmt: skip


def test_problems_before_a_syntax_error_are_reported() -> None:
    text = SMALL.replace("title: A trial", "titel: A trial").replace("unit: mm", "unit: mmm")
    reading = read(text + "      - {id: third, title: [open}\n      - {id: fourth, titel: Fourth}\n")
    assert [(problem.code, problem.line) for problem in reading.problems] == [
        ("unknown-key", 3), ("bad-quantity", 10), ("bad-yaml", 12),
    ]  # fmt: skip


def test_missing_names_are_not_reported_after_a_syntax_error() -> None:
    reading = read("benchflow: 1\nsections:\n  - operations:\n      - {after: later, do: 'In {cylinder}', [}\n")
    assert [problem.code for problem in reading.problems] == ["bad-yaml"]


def assert_read_without_an_exception(text: str) -> None:
    reading = read(text, "any.yaml")
    errors = [problem for problem in reading.problems if problem.severity == "error"]
    assert (reading.procedure is None) == bool(errors)
    assert all(str(problem) for problem in reading.problems)
    if reading.procedure is not None:
        for options in option_choices(reading.procedure):
            expand(reading.procedure, options)


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet=st.characters(), max_size=80))
def test_any_text_is_read_without_an_exception(text: str) -> None:
    assert_read_without_an_exception(text)


_JUNK = st.sampled_from(
    [
        *"[]{}:,-?&*!|>'\"%@`#~\n\t \\<=", "\x00", "\x1b", "\u202e", "\ud800", "😀", "- ", ": ", "...", "---\n", "<<: ",
        "&a ", "*a ", "!!int ", "\\UFFFFFFFF", "\\x1b", "null", "1e400", "9" * 50, "½", "[*]", "{x}", "{{", "\x85",
        "\u2028", "\ufeff",
    ]
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(SMALL)), st.integers(0, 12), _JUNK), min_size=1, max_size=4))
def test_any_change_of_a_good_file_is_read_without_an_exception(slips: list[tuple[int, int, str]]) -> None:
    text = SMALL
    for place, length, junk in slips:
        text = text[:place] + junk + text[place + length :]
    assert_read_without_an_exception(text)


_VALUE = st.recursive(
    st.sampled_from(["word", "3", "0.5", "null", "''", "30 N·m", "first[*]", "{cylinder}", "1,5 mm", "at most 2 mm"]),
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]")
        | st.dictionaries(
            st.sampled_from(["id", "title", "do", "unit", "never", "is", "stages"]), inner, max_size=3
        ).map(lambda entries: "{" + ", ".join(f"{key}: {value}" for key, value in entries.items()) + "}")
    ),
    max_leaves=6,
)
_KEYS = [
    "cautions", "do", "when", "each", "after", "needs", "during", "sets", "time", "takes", "uses", "record", "work-out",
    "choose", "match", "tighten", "check", "hold", "guards-against", "undo", "temporary",
]  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(_KEYS), _VALUE, min_size=1, max_size=4))
def test_any_value_under_any_key_is_read_without_an_exception(entries: dict[str, str]) -> None:
    lines = "".join(f"        {key}: {value}\n" for key, value in entries.items())
    assert_read_without_an_exception(f"{SMALL}      - id: third\n        title: Third\n{lines}")
