"""`revise` of a procedure that uses building blocks: edits are made at the use. Everything is invented."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.cli import benchflow
from benchflow.session.procedure_loading import load_procedure
from tests.driving.clocked_job import ClockedJob

BLOCK = """\
benchflow-block: 1
id: washed-joint
title: Wash a part and tighten its joint
takes:
  part: {kind: text}
  final: {kind: torque}
  joint: {kind: joint}
operations:
  - id: wash
    title: Wash the {part}
    takes: 5 min
  - id: tighten
    title: Tighten
    after: wash
    takes: 2 min
    tighten: {joint: "{joint}", stages: [{torque: "{final}"}, 90°]}
"""
TEXT = """\
benchflow: 1
id: washed
title: Washed
revision: "1.3"
documents: {manual: {title: Manual, edition: "3"}}
source: manual
failures: {leaks: It leaks oil}
joints: {cover: {layout: "1 3 4 2"}}
sections:
- title: All
  operations:
  # first the case
  - use: washed-joint     # once
    with: {part: case, joint: cover, final: 24 N·m}
    as: case
"""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    (tmp_path / "blocks").mkdir()
    (tmp_path / "blocks" / "washed-joint.yaml").write_text(BLOCK, encoding="utf-8")
    path = tmp_path / "washed.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def revise(*arguments: str | Path) -> Result:
    return CliRunner().invoke(benchflow, ["revise", *map(str, arguments)], standalone_mode=False)


def done_jobs(file: Path, folder: Path) -> Path:
    """The folder of three jobs: 20 min for the washing, a marked note in each, and one come-back."""
    text = load_procedure(file).text
    for number in range(1, 4):
        (folder / str(number)).mkdir(parents=True)
        job = ClockedJob(folder / str(number), text, unit=str(number))
        job.do("start", operation="case-wash")
        job.do("note", text=f"slow {number}", change=True)
        job.wait(20).do("finish")
        job.do("start", operation="case-tighten")
        for _ in range(2):
            for fastener in range(1, 5):
                job.do("tick", joint="cover", fastener=fastener)
        job.do("finish")
        job.do("close")
        if number == 1:
            finding = {"finding": "loose", "outcome": "ours", "operation": "case-tighten"}
            job.do("found", complaint="leaks oil", by="Kim", **finding)
        job.driver.controller.close()
    return folder


def test_proposals_about_a_block_are_edits_at_its_use(file: Path, tmp_path: Path) -> None:
    logs = done_jobs(file, tmp_path / "logs")
    count = len(json.loads(revise(file, logs, "--list", "--json").stdout)["proposals"])
    assert revise(file, logs, "--accept", f"1-{count}").return_value == 0
    text = file.read_text(encoding="utf-8")
    assert "  # case-wash: slow 1 [Robin, job 1, line 3 (log " in text
    assert "    as: case\n    add: {tighten: {guards-against: [leaks]}, wash: {takes: 20 min}}\nchanges:" in text
    procedure = load_procedure(file).procedure
    assert procedure is not None
    operations = procedure.operations_by_id
    assert operations["case-wash"].takes is not None
    assert operations["case-wash"].takes.entered == "20 min"
    assert [ref.name for ref in operations["case-tighten"].guards_against] == ["leaks"]
    assert (tmp_path / "blocks" / "washed-joint.yaml").read_text(encoding="utf-8") == BLOCK
    assert "no reason to change" in revise(file, logs, "--list").stdout


def test_figure_that_is_a_parameter_is_changed_at_the_use_and_one_of_the_block_is_not(file: Path) -> None:
    edition = (file, "--document", "manual", "--edition", "4")
    figures = json.loads(revise(*edition, "--list", "--json").stdout)["figures"]
    assert [each["old"] for each in figures] == ["24 N·m", "90°"]
    refused = revise(*edition, "--set", "2=100°")
    assert "benchflow blocks used washed-joint" in str(refused.exception)
    assert file.read_text(encoding="utf-8") == TEXT
    assert revise(*edition, "--set", "1=22 N·m").return_value == 0
    assert "with: {part: case, joint: cover, final: 22 N·m}" in file.read_text(encoding="utf-8")


LISTED_BLOCK = """\
benchflow-block: 1
id: bolted
title: Bolt it
takes:
  stages: {kind: {list: anything}}
  play: {kind: limit, length: true}
  joint: {kind: joint}
operations:
  - id: bolt
    title: Bolt it
    record: {play: {unit: mm, limit: {play}}}
    tighten: {joint: {joint}, stages: {stages}}
"""


def test_figures_in_a_list_that_is_given_to_a_block_are_changed_where_the_author_wrote_them(file: Path) -> None:
    (file.parent / "blocks" / "bolted.yaml").write_text(LISTED_BLOCK.replace(", length: true", ""), encoding="utf-8")
    use = """\
  - use: bolted
    with:
      joint: cover
      play: 0.05 .. 0.20 mm
      stages: [12 N·m, {torque: 24 N·m, source: manual p. 1}]   # all of them
"""
    file.write_text(TEXT.partition("  # first the case")[0] + use, encoding="utf-8")
    edition = (file, "--document", "manual", "--edition", "4")
    figures = json.loads(revise(*edition, "--list", "--json").stdout)["figures"]
    assert sorted((each["old"], each["line"]) for each in figures) == [
        ("0.05 .. 0.20 mm", 15), ("12 N·m", 16), ("24 N·m", 16),
    ]  # fmt: skip
    number = {each["old"]: each["number"] for each in figures}
    done = revise(
        *edition, "--set", f"{number['24 N·m']}=22 N·m", "--own", f"{number['12 N·m']}=worn threads",
        "--set", f"{number['0.05 .. 0.20 mm']}=0.05 .. 0.15 mm",
    )  # fmt: skip
    assert done.return_value == 0, done.output
    text = file.read_text(encoding="utf-8")
    assert "play: 0.05 .. 0.15 mm\n" in text
    assert (
        '{torque: 12 N·m, source: "own choice, because worn threads"}, {torque: 22 N·m, source: manual p. 1}]' in text
    )
    assert "# all of them" in text
