"""The command ``check``."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from benchflow.cli import benchflow
from benchflow.ordering.finding_explanations import EXPLANATIONS
from benchflow.procedure.problems import CODES
from tests.ordering.wide import Kind, wide_text
from tests.test_cli import Shell

HEAD = """\
benchflow: 1
id: tiny
title: Tiny
revision: "1"
"""
VALVES = (
    HEAD
    + """\
state:
  pistons: {values: [at-deck, down], start: ask, ask: Where are the pistons?}
  valves: {values: [shut, open], start: shut}
interference:
- never: {pistons: at-deck, valves: open}
  because: an open valve would reach them
"""
)
UNSAFE_ON_PAPER = (
    VALVES
    + """\
moves:
  turn-down: {title: Turn down, sets: {pistons: down}}
sections:
- id: all
  title: All
  operations:
  - {id: seat-cam, title: Seat the cam, sets: {valves: open}}
"""
)
DEAD_END = (
    VALVES
    + """\
sections:
- id: all
  title: All
  operations:
  - {id: seat-cam, title: Seat the cam, sets: {valves: open}}
"""
)
SOUND = (
    HEAD
    + """\
sections:
- id: all
  title: All
  operations:
  - {id: first, title: First}
  - {id: second, title: Second, after: [first]}
"""
)


@pytest.fixture
def shell(tmp_path: Path) -> Shell:
    shell = Shell(tmp_path)
    for name, text in (("sound", SOUND), ("dead", DEAD_END), ("paper", UNSAFE_ON_PAPER)):
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "bad.yaml").write_text(SOUND.replace("after", "afer"), encoding="utf-8")
    return shell


def reports(shell: Shell, *arguments: str) -> tuple[int, list[dict[str, Any]]]:
    code, output, errors = shell.run("check", "--json", *arguments)
    assert errors == ""
    return code, [json.loads(line) for line in output.splitlines()]


def test_json_report_has_one_object_per_file(shell: Shell) -> None:
    code, (sound, dead, paper) = reports(shell, "sound.yaml", "dead.yaml", "paper.yaml")
    assert code == 1
    for report, name in ((sound, "sound.yaml"), (dead, "dead.yaml"), (paper, "paper.yaml")):
        assert list(report) == ["file", "ok", "findings", "explored"]
        assert report["file"] == name
        assert set(report["explored"]) == {"configurations", "complete"}
        assert report["explored"]["complete"] is True
        assert report["explored"]["configurations"] > 0
        for finding in report["findings"]:
            assert {"code", "severity", "where", "line", "column", "message"} <= set(finding)
            assert set(finding) <= {
                "code",
                "severity",
                "where",
                "line",
                "column",
                "message",
                "order",
                "start",
                "options",
            }
    assert (sound["ok"], [finding["code"] for finding in sound["findings"]]) == (True, ["no-rule"])
    assert (dead["ok"], paper["ok"]) == (False, True)
    assert "dead-end" in [finding["code"] for finding in dead["findings"]]
    (needed,) = [finding for finding in paper["findings"] if finding["code"] == "interlock-needed"]
    assert (needed["severity"], needed["order"]) == ("warning", ["seat-cam"])
    assert needed["start"]["pistons"] == "at-deck"


def test_dead_end_is_printed_with_its_steps(shell: Shell) -> None:
    code, output, errors = shell.run("check", "dead.yaml")
    assert (code, errors) == (1, "")
    assert "error:" in output
    assert "[dead-end]" in output
    assert "from pistons at-deck" in output
    assert re.search(r"dead\.yaml: \d+ errors?[,.]", output.splitlines()[-1])


def test_mistake_is_printed_with_file_line_and_column(shell: Shell) -> None:
    code, output, errors = shell.run("check", "bad.yaml")
    assert (code, errors) == (1, "")
    assert output.startswith("bad.yaml:10:")
    assert "Did you mean `after`" in output
    assert "The order was not checked" in output

    code, (report,) = reports(shell, "bad.yaml")
    assert code == 1
    assert (report["ok"], report["explored"]) == (False, {"configurations": 0, "complete": False})
    assert (report["findings"][0]["line"], report["findings"][0]["code"]) == (10, "unknown-key")


def test_missing_file_does_not_stop_the_check_of_others(shell: Shell) -> None:
    code, output, errors = shell.run("check", "--json", "bad.yaml", "gone.yaml", "sound.yaml")
    assert code == 2
    assert [json.loads(line)["file"] for line in output.splitlines()] == ["bad.yaml", "sound.yaml"]
    assert "There is no procedure gone.yaml" in errors


def test_partly_explored_procedure_is_reported(shell: Shell) -> None:
    code, output, errors = shell.run("check", "paper.yaml", "--bound", "1")
    assert errors == ""
    assert "NOT EXPLORED IN FULL" in output
    assert "sound" not in output.splitlines()[-1]
    _, (report,) = reports(shell, "paper.yaml", "--bound", "1")
    assert (report["explored"]["complete"], report["ok"]) == (False, False)
    assert "not-explored" in [finding["code"] for finding in report["findings"]]
    assert code == 1


@pytest.mark.parametrize("kind", ["independent", "ring", "chain"])
def test_bound_of_one_is_never_ok(shell: Shell, kind: Kind) -> None:
    """The ring is proven without exploring more than one configuration."""
    (shell.folder / "wide.yaml").write_text(wide_text(kind, 30, 6))
    code, (report,) = reports(shell, "wide.yaml", "--bound", "1")
    assert (code, report["ok"], report["explored"]["complete"]) == (1, False, False)
    code, output, _ = shell.run("check", "wide.yaml", "--bound", "1")
    assert code == 1
    assert "Not proven: dead-end, unreachable-operation, interlock-needed. Proven: forbidden-start" in output


def test_procedure_without_a_collision_rule_is_never_plainly_sound(shell: Shell) -> None:
    (shell.folder / "plain.yaml").write_text(
        "benchflow: 1\nid: plain\ntitle: Plain\nrevision: '1'\nsections:\n- title: All\n  operations:\n"
        "  - {id: one, title: One}\n"
    )
    code, output, _ = shell.run("check", "plain.yaml")
    assert code == 0
    assert "sound, but without a collision rule: collisions are not proven" in output
    _, (report,) = reports(shell, "plain.yaml")
    assert [(each["code"], each["severity"]) for each in report["findings"]] == [("no-rule", "note")]


def test_shipped_procedure_is_found_by_name(shell: Shell) -> None:
    code, (report,) = reports(shell, "head-install")
    assert (code, report["ok"], report["file"]) == (0, True, "head-install")


def test_every_code_of_the_bad_files_has_an_explanation(shell: Shell) -> None:
    from benchflow.commands.problem_explanations import explanation
    from benchflow.ordering.proof.proof_findings import SEVERITIES
    from benchflow.procedure.checks.unused_names import check_structure
    from benchflow.procedure.reader import read_bytes

    codes: set[str] = set(SEVERITIES)
    for path in sorted((Path(__file__).parent / "procedure" / "bad").glob("*.yaml")):
        reading = read_bytes(path.read_bytes(), path.name)
        codes |= {problem.code for problem in check_structure(reading.procedure, reading.problems, path.name)}
    assert len(codes) > 40
    for code in codes:
        assert len(explanation(code)) > 60, code

    exit_code, output, errors = shell.run("check", "--explain", "dead-end")
    assert (exit_code, errors) == (0, "")
    assert "dead-end" in output


def test_misspelt_code_gets_a_suggestion(shell: Shell) -> None:
    code, output, errors = shell.run("check", "--explain", "dead-ned")
    assert (code, output) == (2, "")
    assert "Did you mean `dead-end`?" in errors


def test_control_characters_in_a_file_are_not_printed(shell: Shell) -> None:
    evil = SOUND.replace("Tiny", '"\\x1b]52;c;cm0=\\x07 \\u202E"').replace("after:", "\u009bafter:")
    (shell.folder / "evil.yaml").write_text(evil, encoding="utf-8")
    for call in (["check", "evil.yaml"], ["check", "evil.yaml", "--json"]):
        _, output, errors = shell.run(*call)
        assert not set(output + errors) & set("\x1b\x07\u009b\u202e")


def test_explain_without_a_code_lists_every_finding_on_a_line(shell: Shell) -> None:
    code, output, errors = shell.run("check", "--explain")
    assert (code, errors) == (0, "")
    lines = output.split("\n\n")[0].splitlines()
    listed = {line.split()[0] for line in lines}
    assert {*CODES, *EXPLANATIONS} <= listed
    assert len(listed) == len(lines)
    for line in lines:
        assert line.endswith("."), line
        assert len(line.split()) > 3, line
        assert (
            CliRunner().invoke(benchflow, ["check", "--explain", line.split()[0]], standalone_mode=False).exit_code == 0
        )


def test_advice_is_on_the_screen_and_no_finding(shell: Shell) -> None:
    text = """\
benchflow: 1
id: trial
title: Trial
revision: "1"
interference: []
sections:
- title: First
  operations:
  - {id: nuts, title: Fit the nuts, check: [All nuts are on, tapers inward]}
- title: Second
  operations:
  - {id: plug, title: Fit the plug}
"""
    (shell.folder / "trial.yaml").write_text(text, encoding="utf-8")
    code, output, _ = shell.run("check", "trial.yaml")
    assert code == 0
    assert 'put it in quotes: `"All nuts are on, tapers inward"`. [split-check]' in output
    assert "trial.yaml:12:5: note: “Fit the plug” is in a later section, but waits for nothing" in output
    assert "trial.yaml: sound" in output
    _, (report,) = reports(shell, "trial.yaml")
    assert [finding["code"] for finding in report["findings"]] == ["no-rule"]


def test_what_only_follows_from_an_error_is_one_line_on_the_screen(shell: Shell) -> None:
    operations = "".join(f"  - {{id: o{n}, title: Step {n}, after: [o{n - 1}]}}\n" for n in range(2, 7))
    text = (
        "benchflow: 1\nid: t\ntitle: T\nrevision: '1'\nstate: {lid: {values: [off, on], start: off}}\n"
        "sections:\n- title: A\n  operations:\n  - {id: o1, title: Step 1, needs: {lid: on}}\n" + operations
    )
    (shell.folder / "t.yaml").write_text(text, encoding="utf-8")
    _, output, _ = shell.run("check", "t.yaml")
    assert "t.yaml: error: As a result, 5 operations can never be done: o2, o3, o4, o5, o6." in output
    assert output.count("which is never done either") == 0
    assert "“Step 1” cannot be done in any allowed order. Lid must be on; now off." in output
    _, (report,) = reports(shell, "t.yaml")
    assert [each["where"] for each in report["findings"] if each["code"] == "unreachable-operation"] == [
        f"o{n}" for n in range(1, 7)
    ]


def test_circle_is_one_error_on_the_screen_and_all_of_them_in_json(shell: Shell) -> None:
    text = (
        "benchflow: 1\nid: t\ntitle: T\nrevision: '1'\nsections:\n- title: A\n  operations:\n"
        "  - {id: a, title: A}\n  - {id: b, title: B, after: [a, b]}\n  - {id: c, title: C, after: [b]}\n"
    )
    (shell.folder / "t.yaml").write_text(text, encoding="utf-8")
    _, output, _ = shell.run("check", "t.yaml")
    errors = [line for line in output.splitlines() if ": error: " in line]
    assert [line.rpartition("[")[2] for line in errors[:1]] == ["order-cycle]"]
    assert "As a result, 2 operations can never be done: b, c" in errors[1]
    assert len(errors) == 2
    assert "t.yaml: 1 error (3 more follow from it)." in output
    _, (report,) = reports(shell, "t.yaml")
    codes = [each["code"] for each in report["findings"] if each["severity"] == "error"]
    assert sorted(codes) == ["dead-end", "order-cycle", "unreachable-operation", "unreachable-operation"]
