"""`revise` of a procedure that uses building blocks: edits are made at the use. Everything is invented."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.base.atomic_write import Unconfirmed, atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.cli import benchflow
from benchflow.procedure.procedure_figures import figures_of
from benchflow.session.machine_folders import machine_folders
from benchflow.session.procedure_loading import load_procedure
from benchflow.writing.revisions import block_edits
from benchflow.writing.revisions.file_text import FileText
from benchflow.writing.revisions.procedure_file import EditedFile, FileChanged, read_procedure_file
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
    check:
    - {see: It is dry, if not: [{do: "Wipe it, and wait"}]}
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
        job.do("tick-check", check=1)
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
    assert "  # case-wash: slow 1 [Robin, job 1, line 3]\n" in text
    kept, new = '{see: It is dry, if not: [{do: "Wipe it, and wait"}]}', "Not found: loose (a job came back: leaks oil)"
    added = f'{{tighten: {{check: [{kept}, "{new}"], guards-against: [leaks]}}, wash: {{takes: 20 min}}}}'
    assert f"    as: case\n    add: {added}\nchanges:" in text
    procedure = load_procedure(file).procedure
    assert procedure is not None
    operations = procedure.operations_by_id
    assert operations["case-wash"].takes is not None
    assert operations["case-wash"].takes.entered == "20 min"
    assert [ref.name for ref in operations["case-tighten"].guards_against] == ["leaks"]
    assert (tmp_path / "blocks" / "washed-joint.yaml").read_text(encoding="utf-8") == BLOCK
    assert "no reason to change" in revise(file, logs, "--list").stdout


OTHER = TEXT.replace("id: washed\n", "id: other\n").replace("24 N·m", "30 N·m")


def test_figure_that_is_a_parameter_is_changed_at_the_use_and_one_of_the_block_in_its_file(file: Path) -> None:
    file.with_name("other.yaml").write_text(OTHER, encoding="utf-8")
    edition = (file, "--document", "manual", "--edition", "4")
    figures = json.loads(revise(*edition, "--list", "--json").stdout)["figures"]
    assert [each["old"] for each in figures] == ["24 N·m", "90°"]
    assert [each["title"] for each in figures] == ["Cover, stage 1", "Cover, stage 2"]
    done = revise(*edition, "--set", "1=22 N·m", "--set", "2=100°")
    assert done.return_value == 0
    block = file.parent / "blocks" / "washed-joint.yaml"
    assert (
        f"{block}: the block is changed. It changes other.yaml too. Check them: benchflow check other.yaml"
        in done.stdout
    )
    assert block.read_text(encoding="utf-8") == BLOCK.replace("90°", "100°")
    text = file.read_text(encoding="utf-8")
    assert "with: {part: case, joint: cover, final: 22 N·m}" in text
    assert 'what: "Cover, stage 2 90° -> 100° (in the block washed-joint, line 18)"' in text
    assert "check: nothing new, nothing mended." in done.stdout


def test_figure_of_a_block_that_is_used_twice_is_one_figure_with_both_names(file: Path) -> None:
    second = "  - {use: washed-joint, with: {part: lid, joint: lid, final: 30 N·m}, as: lid}\n"
    file.write_text(TEXT.replace("joints: {", 'joints: {lid: {layout: "1 2"}, ') + second, encoding="utf-8")
    edition = (file, "--document", "manual", "--edition", "4")
    figures = json.loads(revise(*edition, "--list", "--json").stdout)["figures"]
    assert [each["title"] for each in figures] == ["Cover, stage 1", "Cover, stage 2 and Lid, stage 2", "Lid, stage 1"]
    assert revise(*edition, "--set", "2=100°").return_value == 0
    assert 'what: "Cover, stage 2 and Lid, stage 2 90° -> 100° (in the block' in file.read_text(encoding="utf-8")


def asked_jobs(file: Path, folder: Path) -> Path:
    """The folder of two jobs that were given a figure that the block asks for."""
    text = load_procedure(file).text
    for number in range(1, 3):
        (folder / str(number)).mkdir(parents=True)
        job = ClockedJob(folder / str(number), text, unit=str(number))
        for operation in ("case-wash", "case-tighten"):
            job.do("start", operation=operation)
            if operation == "case-wash":
                job.do("finish")
        job.do("figure", joint="cover", stage=1, value="24 N·m", **{"from": "bulletin 4"})
        job.do("pause")
        job.do("close", unfinished="enough")
        job.driver.controller.close()
    return folder


@pytest.fixture
def asking(file: Path) -> Path:
    """The block asks for the first stage."""
    asking = BLOCK.replace('stages: [{torque: "{final}"}, 90°]}', "stages: [{torque: ask}, 90°]}   # by the book")
    (file.parent / "blocks" / "washed-joint.yaml").write_text(
        asking.replace("  final: {kind: torque}\n", ""), encoding="utf-8"
    )
    file.write_text(TEXT.replace(", final: 24 N·m", ""), encoding="utf-8")
    return file


def test_proposal_about_a_figure_of_a_block_is_an_edit_of_the_block_and_not_accepted_with_all(
    asking: Path, tmp_path: Path
) -> None:
    block = asking.parent / "blocks" / "washed-joint.yaml"
    before, logs = block.read_text(encoding="utf-8"), asked_jobs(asking, tmp_path / "logs")
    listed = revise(asking, logs, "--list")
    assert f"This edits the block at {block}:17. No other procedure in this folder uses it." in " ".join(
        listed.stdout.split()
    )
    (proposal,) = json.loads(revise(asking, logs, "--list", "--json").stdout)["proposals"]
    assert (proposal["certain"], proposal["block"], proposal["new"]) == (False, f"{block}:17", "24 N·m")
    assert (
        '+    tighten: {joint: "{joint}", stages: [{torque: 24 N·m, source: bulletin 4}, 90°]}   # by'
        in proposal["diff"]
    )
    assert "No proposal was accepted" in revise(asking, logs, "--accept", "all").output
    assert block.read_text(encoding="utf-8") == before
    assert revise(asking, logs, "--accept", "1").return_value == 0
    assert block.read_text(encoding="utf-8") == before.replace("torque: ask", "torque: 24 N·m, source: bulletin 4")
    text = asking.read_text(encoding="utf-8")
    assert "ask -> 24 N·m (source: bulletin 4) (in the block washed-joint, line 17)" in text
    assert "job 1, line 5 (log " in text


def test_figure_of_a_shipped_block_is_refused_with_what_to_do(
    asking: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    logs = asked_jobs(asking, tmp_path / "logs")
    monkeypatch.setattr(block_edits, "is_shipped", lambda *_: True)
    (proposal,) = json.loads(revise(asking, logs, "--list", "--json").stdout)["proposals"]
    assert proposal["diff"] == ""
    copy = machine_folders().blocks / "my-washed-joint.yaml"
    assert (
        f"which comes with the program. Copy {asking.parent / 'blocks' / 'washed-joint.yaml'} to {copy}"
        in proposal["problem"]
    )
    assert "with the id `my-washed-joint`" in proposal["problem"]


@pytest.mark.parametrize("changed", ["block", "procedure"])
def test_nothing_is_written_if_the_block_or_the_procedure_was_changed_meanwhile(file: Path, changed: str) -> None:
    source = read_procedure_file(file)
    path = file.parent / "blocks" / "washed-joint.yaml"
    block = source.block(path)
    edited = EditedFile(path, block.digest, FileText(BLOCK.replace("90°", "100°")))
    revised = source.with_text(FileText(TEXT.replace("1.3", "1.4")), edited)
    assert revised.loaded.problems == source.loaded.problems
    (path if changed == "block" else file).write_text("# mine\n", encoding="utf-8")
    with pytest.raises(FileChanged):
        revised.write()
    assert path.read_text(encoding="utf-8") == ("# mine\n" if changed == "block" else BLOCK)
    assert file.read_text(encoding="utf-8") == ("# mine\n" if changed == "procedure" else TEXT)


def test_block_is_written_back_if_the_procedure_cannot_be_written(file: Path) -> None:
    source, path = read_procedure_file(file), file.parent / "blocks" / "washed-joint.yaml"
    edited = EditedFile(path, source.block(path).digest, FileText(BLOCK.replace("90°", "100°")))
    file.chmod(0o444)
    with pytest.raises(BenchflowError, match="is read-only"):
        source.with_text(FileText(TEXT.replace("1.3", "1.4")), edited).write()
    assert path.read_text(encoding="utf-8") == BLOCK


def test_block_that_was_removed_meanwhile_is_named(file: Path) -> None:
    source, path = read_procedure_file(file), file.parent / "blocks" / "washed-joint.yaml"
    edited = EditedFile(path, source.block(path).digest, FileText(BLOCK.replace("90°", "100°")))
    path.unlink()
    with pytest.raises(FileChanged, match=r"washed-joint\.yaml was removed"):
        source.with_text(FileText(TEXT.replace("1.3", "1.4")), edited).write()
    assert file.read_text(encoding="utf-8") == TEXT


def test_block_stays_changed_if_the_disk_does_not_confirm_the_procedure_that_names_it(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, path = read_procedure_file(file), file.parent / "blocks" / "washed-joint.yaml"
    edited = EditedFile(path, source.block(path).digest, FileText(BLOCK.replace("90°", "100°")))

    def unconfirmed(target: Path, data: bytes, *, before_replace: Callable[[], None]) -> None:
        atomic_write(target, data, before_replace=before_replace)
        if target == file:
            raise Unconfirmed(5, "input/output error")

    monkeypatch.setattr("benchflow.writing.revisions.procedure_file.atomic_write", unconfirmed)
    with pytest.raises(BenchflowError, match="did not confirm"):
        source.with_text(FileText(TEXT.replace("1.3", "1.4")), edited).write()
    assert "100°" in path.read_text(encoding="utf-8")
    assert "1.4" in file.read_text(encoding="utf-8")


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


SEALED_BLOCK = """\
benchflow-block: 1
id: sealed
title: A sealed cover
takes:
  minutes: {kind: number}
  float: {kind: limit}
  joint: {kind: joint}
  stages: {kind: {list: anything}}
  final: {kind: torque}
operations:
- {id: bead, title: Lay the bead}
- id: close
  title: Close the cover
  after: bead
  time: {bead: "at most {minutes} min"}
  record: {play: {ask: End float, unit: mm, limit: "{float}", above: [{do: "Fit a shim, a thick one"}]}}
  tighten: {joint: "{joint}", stages: {stages}}
- {id: plug, title: Fit the plug, after: close, tighten: {joint: drain, stages: ["{final / 2}", "{final}"]}}
- {id: plug-again, title: Pull the plug again, after: plug, tighten: {joint: drain, stages: ["{final}"]}}
joints: {drain: {title: drain plug, layout: "1"}}
"""
SEALED = """\
benchflow: 1
id: sealed-cover
title: Sealed cover
revision: A
documents:
  manual: {title: Manual, edition: 2}
  bulletin: {title: Bulletin, edition: A}
source: manual
joints: {cover: {title: input shaft cover bolts, layout: "1 3 4 2"}}
sections:
- title: All
  operations:
  - use: sealed
    as: input
    with:
      minutes: 10      # the sheet
      float: 0.05 .. 0.20 mm
      joint: cover
      stages: [12 N·m, {torque: 24 N·m, source: bulletin p. 1}, {torque: 26 N·m}]
      final: 30 N·m
"""


@pytest.fixture
def sealed(file: Path) -> Path:
    (file.parent / "blocks" / "sealed.yaml").write_text(SEALED_BLOCK, encoding="utf-8")
    path = file.with_name("sealed-cover.yaml")
    path.write_text(SEALED, encoding="utf-8")
    return path


def figures_by_title(file: Path, document: str) -> dict[str, dict[str, object]]:
    result = revise(file, "--document", document, "--edition", "9", "--list", "--json")
    return {each["title"]: each for each in json.loads(result.stdout)["figures"]}


def test_figures_that_the_author_gave_to_a_block_have_the_line_of_the_author(sealed: Path) -> None:
    found = figures_by_title(sealed, "manual") | figures_by_title(sealed, "bulletin")
    lines = {title: SEALED.split("\n")[int(str(each["line"])) - 1].strip() for title, each in found.items()
             if each["line"]}  # fmt: skip
    stages = "stages: [12 N·m, {torque: 24 N·m, source: bulletin p. 1}, {torque: 26 N·m}]"
    assert lines == {
        "Input shaft cover bolts, stage 1": stages,
        "Input shaft cover bolts, stage 2": stages,
        "Input shaft cover bolts, stage 3": stages,
        "Close the cover: End float": "float: 0.05 .. 0.20 mm",
        "Close the cover, time since “Lay the bead”": "minutes: 10      # the sheet",
        "Drain plug, stage 2 and Drain plug, stage 1": "final: 30 N·m",
    }
    assert found["Drain plug, stage 1"]["line"] == 0


def test_figures_in_a_list_a_text_and_a_number_are_changed_at_the_line_of_the_author(sealed: Path) -> None:
    number = {title: each["number"] for title, each in figures_by_title(sealed, "manual").items()}
    new = {
        "Input shaft cover bolts, stage 1": "14 N·m",
        "Input shaft cover bolts, stage 3": "28 N·m",
        "Close the cover: End float": "0.05 .. 0.18 mm",
        "Close the cover, time since “Lay the bead”": "at most 8 min",
        "Drain plug, stage 2 and Drain plug, stage 1": "32 N·m",
    }
    arguments = [part for title, value in new.items() for part in ("--set", f"{number[title]}={value}")]
    result = revise(sealed, "--document", "manual", "--edition", "3", *arguments)
    assert (result.exception, result.return_value) == (None, 0)
    text = sealed.read_text(encoding="utf-8")
    assert text.split("sections:")[1].split("changes:")[0] == SEALED.split("sections:")[1].replace(
        "minutes: 10 ", "minutes: 8 ").replace("0.20 mm", "0.18 mm").replace("12 N·m", "14 N·m").replace(
        "26 N·m", "28 N·m").replace("30 N·m", "32 N·m")  # fmt: skip
    assert "  manual: {title: Manual, edition: 3}\n" in text
    assert "Input shaft cover bolts, stage 1 12 N·m -> 14 N·m" in result.stdout


def test_other_form_and_a_calculated_figure_are_refused_with_what_to_do(sealed: Path) -> None:
    number = {title: each["number"] for title, each in figures_by_title(sealed, "manual").items()}
    edition = (sealed, "--document", "manual", "--edition", "3", "--set")
    window = revise(*edition, f"{number['Close the cover, time since “Lay the bead”']}=5 .. 8 min")
    assert "`at most {minutes} min`" in str(window.exception)
    half = revise(*edition, f"{number['Drain plug, stage 1']}=16 N·m")
    assert "calculates this figure: `{final / 2}`. Change the value at line 20" in str(half.exception)
    assert sealed.read_text(encoding="utf-8") == SEALED


def test_figures_given_to_a_block_can_be_kept_as_own_choice(sealed: Path) -> None:
    found = figures_by_title(sealed, "manual")
    kept = [each for title, each in found.items() if title != "Drain plug, stage 1"]
    arguments = [part for each in kept for part in ("--own", f"{each['number']}=it works")]
    result = revise(sealed, "--document", "manual", "--edition", "3", *arguments)
    assert (result.exception, result.return_value) == (None, 0)
    procedure = load_procedure(sealed).procedure
    assert procedure is not None
    sources = {(figure.title, figure.operation): figure for figure in figures_of(procedure)}
    own = [key for key, figure in sources.items() if figure.source is not None and figure.source.own_choice]
    assert sorted(own) == [
        ("cover stage 1", "input-close"), ("cover stage 3", "input-close"), ("drain stage 1", "input-plug-again"),
        ("drain stage 2", "input-plug"), ("input-play", "input-close"), ("time since input-bead", "input-close"),
    ]  # fmt: skip
    assert sources["input-play", "input-close"].text == "0.05 .. 0.20 mm"
    assert "# `record` of `close` is written under `add` below." in sealed.read_text(encoding="utf-8")
