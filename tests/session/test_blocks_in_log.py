"""The blocks of a procedure in the log, and blocks that are changed or broken after a job was started."""

import json
from collections.abc import Mapping
from hashlib import sha256

import pytest

from benchflow.session.log.line_format import read
from tests.test_cli import Shell

BLOCK = """\
benchflow-block: 1
id: bolts
title: Bolts
takes:
  joint: {kind: joint, sample: bolts}
  final: {kind: torque, sample: 20 N·m}
operations:
- id: tighten
  title: Tighten to {final}
  tighten: {joint: {joint}, stages: [{final / 2}, {final}]}
"""
PROCEDURE = """\
benchflow: 1
id: cover
title: A cover
joints:
  cover-bolts: {title: Cover bolts, layout: "1 2"}
sections:
- title: All
  operations:
  - {id: place, title: Place the cover, check: [It lies flat]}
  - use: bolts
    with: {joint: cover-bolts, final: 24 N·m}
    as: cover
    add: {tighten: {after: [place]}}
"""
OPEN = {"intent": "open", "by": "R.", "unit": "job 7"}


@pytest.fixture
def shell(tmp_path: "object") -> Shell:
    found = Shell(tmp_path)  # type: ignore[arg-type]
    (found.folder / "cover.yaml").write_text(PROCEDURE, "utf-8")
    (found.folder / "blocks").mkdir()
    (found.folder / "blocks/bolts.yaml").write_text(BLOCK, "utf-8")
    return found


def drive(shell: Shell, log: str, *intents: Mapping[str, object]) -> tuple[int, list[dict[str, object]], str]:
    typed = "".join(json.dumps(intent) + "\n" for intent in intents)
    code, output, errors = shell.run("drive", "cover.yaml", "--log", log, typed=typed)
    return code, [json.loads(line) for line in output.splitlines()], errors


def test_log_has_the_written_out_procedure_and_the_digest_of_each_block(shell: Shell) -> None:
    code, _, errors = drive(shell, "a.jsonl", OPEN)
    assert (code, errors) == (0, "")
    opened = read((shell.folder / "a.jsonl").read_bytes()).lines[0].data
    assert opened["blocks"] == [
        {"id": "bolts", "sha256": sha256(BLOCK.encode()).hexdigest(), "file": "bolts.yaml"}
    ]  # fmt: skip
    assert "stages: [12 N·m, 24 N·m]" in opened["procedure"]
    assert "use:" not in opened["procedure"]
    assert opened["procedure_sha256"] == sha256(opened["procedure"].encode()).hexdigest()
    assert shell.run("verify", "a.jsonl")[0] == 0
    assert shell.run("audit", "a.jsonl")[0] == 0


def test_log_without_blocks_has_no_entry_for_them(shell: Shell) -> None:
    (shell.folder / "cover.yaml").write_text(PROCEDURE.split("  - use:")[0], "utf-8")
    drive(shell, "a.jsonl", OPEN)
    assert "blocks" not in read((shell.folder / "a.jsonl").read_bytes()).lines[0].data


@pytest.mark.parametrize(
    ("changed", "note"),
    [
        (BLOCK.replace("{final / 2}", "{final / 3}"), "The block bolts was changed"),
        (BLOCK + "broken", "The block bolts was changed"),
        ("", "The block bolts was changed"),
        (None, "There is no block `bolts`"),
    ],
)
def test_job_goes_on_by_its_own_text_when_a_block_is_changed(shell: Shell, changed: str | None, note: str) -> None:
    drive(shell, "a.jsonl", OPEN)
    path = shell.folder / "blocks/bolts.yaml"
    if changed is None:
        path.unlink()
    else:
        path.write_text(changed, "utf-8")
    intents = [
        {"intent": "start", "operation": "place"},
        {"intent": "tick-check", "operation": "place", "check": "1", "answer": "yes"},
        {"intent": "finish"},
        {"intent": "start", "operation": "cover-tighten"},
        {"intent": "status"},
    ]
    code, answers, errors = drive(shell, "a.jsonl", *intents)
    assert [answer["ok"] for answer in answers] == [True] * 5
    assert code == 0
    assert note in errors
    assert "12 N·m" in json.dumps(answers[-1], ensure_ascii=False)
    assert "The job continues with the procedure in its log." in errors
    if changed is not None:
        assert "close this job and start a new one" in errors


def test_job_in_an_existing_log_needs_no_procedure(shell: Shell) -> None:
    drive(shell, "a.jsonl", OPEN)
    (shell.folder / "cover.yaml").unlink()
    code, output, errors = shell.run("drive", "--log", "a.jsonl", typed='{"intent": "status"}\n')
    assert (code, errors) == (0, "")
    assert json.loads(output)["ok"]
    assert shell.run("drive", "--log", "new.jsonl")[0] == 2


def test_expand_prints_what_the_log_has_under_a_notice(shell: Shell) -> None:
    drive(shell, "a.jsonl", OPEN)
    code, output, _ = shell.run("expand", "cover.yaml")
    notice, _, text = output.partition("\n\n")
    assert code == 0
    assert all(line.startswith("#") for line in notice.splitlines())
    assert sha256(BLOCK.encode()).hexdigest() in notice
    assert text == read((shell.folder / "a.jsonl").read_bytes()).lines[0].data["procedure"]
    assert shell.run("expand", "cover.yaml", "-o", "blocks/bolts.yaml")[0] == 2  # never over a block
    assert (shell.folder / "blocks/bolts.yaml").read_text("utf-8") == BLOCK


def test_blocks_are_listed_shown_and_found_where_they_are_used(shell: Shell) -> None:
    shop = shell.folder / "home/config/blocks"
    shop.mkdir(parents=True)
    around = "benchflow-block: 1\nid: around\ntitle: Around\noperations:\n- use: bolts\n" \
             "  with: {joint: cover-bolts, final: 30 N·m}\n"  # fmt: skip
    (shop / "around.yaml").write_text(around, "utf-8")
    (shell.folder / "outer.yaml").write_text(PROCEDURE.split("  - use:")[0] + "  - use: around\n", "utf-8")
    output = shell.run("blocks")[1]
    assert "bolts  (beside)  Bolts\n    takes joint: joint, final: torque\n" in output
    assert "around  (shop)  Around" in output
    assert "| `final` | torque | **required** |" in shell.run("blocks", "show", "bolts")[1]
    uses = shell.run("blocks", "used", "bolts", "cover.yaml", "outer.yaml")[1].splitlines()
    assert "cover.yaml:10: uses bolts as cover" in uses
    assert any(line.startswith("outer.yaml:10: uses around, which uses bolts (") for line in uses)
    assert "home/config/blocks/around.yaml:5: the block around uses bolts" in uses
    code, _, errors = shell.run("blocks", "show", "bolt")
    assert code == 2
    assert "Did you mean `bolts`?" in errors
    assert str(shop) in shell.run("where")[1]


def test_check_reports_a_finding_of_the_proof_at_the_use_with_the_line_of_the_block(shell: Shell) -> None:
    text = PROCEDURE.replace("joints:", "state: {lid: {values: [off, on], start: off}}\njoints:")
    text = text.replace("{after: [place]}", "{after: [place], needs: {lid: on}}")
    (shell.folder / "cover.yaml").write_text(text, "utf-8")
    code, output, _ = shell.run("check", "--json", "cover.yaml")
    finding = next(each for each in json.loads(output)["findings"] if each["code"] == "dead-end")
    assert code == 1
    assert (finding["line"], finding["block"]) == (11, "blocks/bolts.yaml:8")
    plain = shell.run("check", "cover.yaml")[1]
    assert "cover.yaml:11:" in plain
    assert "(block blocks/bolts.yaml:8)" in plain


def test_check_of_a_block_file_says_that_it_is_a_block(shell: Shell) -> None:
    code, output, _ = shell.run("check", "blocks/bolts.yaml")
    assert code == 0
    assert "blocks/bolts.yaml: the block bolts: no mistake found. It was written out with its samples." in output
