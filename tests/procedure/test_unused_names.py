"""Notes about unused names, hints, and problems as findings of `benchflow check --json`."""

from pathlib import Path

from benchflow.procedure.checks.unused_names import as_finding, check_structure
from benchflow.procedure.problems import Problem, hint_for, nearest
from benchflow.procedure.reader import read, read_bytes

BAD = Path(__file__).parent / "bad"

WITH_UNUSED_NAMES = """benchflow: 1
id: trial
title: A trial
options: {cams: {ask: Which?, choices: [stock, reground]}}
kit: {parts: {seal: A seal, gasket: A gasket}}
instruments: {gauge: {kind: length}, wrench: {kind: torque}}
joints: {studs: {layout: 1 2}}
failures: {leak: It leaks, noise: It knocks}
sections:
  - title: All
    operations:
      - id: first
        title: First
        uses: [seal]
        record: {gap: {unit: mm, with: gauge}}
        guards-against: leak
"""


def test_finding_has_the_documented_keys() -> None:
    problem = read_bytes((BAD / "unknown-key.yaml").read_bytes(), "f.yaml").problems[0]
    assert as_finding(problem) == {
        "code": "unknown-key",
        "severity": "error",
        "where": "first.titel",
        "line": 12,
        "column": 9,
        "message": "An operation has no key `titel`. Did you mean `title`?",
    }


def test_each_unused_name_gets_a_note() -> None:
    reading = read(WITH_UNUSED_NAMES, "f.yaml")
    found = [each for each in check_structure(reading.procedure, reading.problems, "f.yaml") if each.code == "unused"]
    assert [(problem.where, problem.line) for problem in found] == [
        ("cams", 4), ("gasket", 5), ("wrench", 6), ("studs", 7), ("noise", 8),
    ]  # fmt: skip
    assert {problem.severity for problem in found} == {"note"}


def test_option_of_a_limit_for_used_parts_is_used() -> None:
    text = WITH_UNUSED_NAMES.replace(
        "gap: {unit: mm,", "gap: {unit: mm, limit: at most 1 mm, used: {limit: at most 2 mm, when: {cams: stock}},"
    )
    reading = read(text, "f.yaml")
    found = check_structure(reading.procedure, reading.problems, "f.yaml")
    assert "cams" not in {each.where for each in found if each.code == "unused"}


def test_procedure_without_a_collision_rule_gets_a_note() -> None:
    reading = read(WITH_UNUSED_NAMES, "f.yaml")
    found = check_structure(reading.procedure, reading.problems, "f.yaml")
    assert [problem.severity for problem in found if problem.code == "no-rule"] == ["note"]


def test_file_without_a_procedure_has_only_the_problems_of_the_reader() -> None:
    reading = read("benchflow: 1\n", "f.yaml")
    found = check_structure(None, reading.problems, "f.yaml")
    assert [problem.code for problem in found] == ["missing-key", "missing-key", "missing-title"]


def test_problem_text_begins_with_file_line_and_column() -> None:
    problem = Problem("unknown-key", "error", "head.yaml", 3, 5, "the key is wrong", "Delete it")
    assert str(problem) == "head.yaml:3:5: The key is wrong. Delete it."
    whole = Problem("too-large", "warning", "head.yaml", 0, 0, "The file is large")
    assert str(whole) == "head.yaml: warning: The file is large."


def test_nearest_finds_the_most_similar_name() -> None:
    known = ["seat-intake-cam", "seat-exhaust-cam", "torque-studs"]
    assert nearest("seat-intake-cma", known) == "seat-intake-cam"
    assert nearest("Torque-Studs", known) == "torque-studs"
    assert nearest("studs", known) == "torque-studs"
    assert nearest("paint", known) is None


def test_hint_lists_known_names_if_they_are_few() -> None:
    assert hint_for("x9", ["a", "b"]) == "Known names: `a`, `b`"
    assert hint_for("x9", [f"name-{n}" for n in range(40)]) == ""
    assert hint_for("x9", [], "There is none") == "There is none"
