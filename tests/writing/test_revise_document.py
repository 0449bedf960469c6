"""`revise --document`: the figures of a document for its new edition. Everything in the procedure is invented."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.cli import benchflow
from benchflow.procedure.figure_sources import source_of
from tests.driving.revised_jobs import GEARBOX, done_job, open_job
from tests.driving.session_driver import read_procedure
from tests.tui.terminal import Terminal

DOCUMENTS = """\
documents:
  manual: {title: Workshop manual, edition: "3"}   # the blue one
  bulletin: Bulletin 4
source: manual
"""
TEXT = (
    GEARBOX.replace("failures:", f"{DOCUMENTS}failures:")
    .replace("- {torque: ask}   # not", "- {torque: 24 N·m, source: bulletin p. 1}\n      - 90°   # not")
    .replace("  - {id: plate, title: Rivet the plate, after: seal}", """\
  - id: plate
    title: Rivet the plate
    after: seal
    time: {seal: at most 40 min}
    record:
      gap: {unit: mm, limit: {by: shaft, input: 1 .. 2 mm, output: 1 .. 3 mm}, readings: shaft, source: manual p. 7}""")
)  # fmt: skip


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "gearbox.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def revise(*arguments: str | Path) -> Result:
    return CliRunner().invoke(benchflow, ["revise", *map(str, arguments)], standalone_mode=False)


def new_edition(file: Path, *arguments: str | Path) -> Result:
    return revise(file, "--document", "manual", "--edition", "4", *arguments)


def test_figures_of_the_document_are_listed_with_their_places(file: Path) -> None:
    result = new_edition(file, "--list", "--json")
    found = {each["key"]: each for each in json.loads(result.stdout)["figures"]}
    assert {key: each["old"] for key, each in found.items()} == {
        "shim: record.play.limit": "0.10 .. 0.20 mm",
        "close-cover: tighten.stages[2]": "90°",
        "plate: time.seal": "at most 40 min",
        "plate: record.gap.limit.input": "1 .. 2 mm",
        "plate: record.gap.limit.output": "1 .. 3 mm",
    }
    lines = TEXT.split("\n")
    assert all(each["old"] in lines[each["line"] - 1] for each in found.values())
    assert file.read_text(encoding="utf-8") == TEXT


def test_new_values_own_choices_and_the_edition_are_written(file: Path, tmp_path: Path) -> None:
    sessions = tmp_path / "home" / "data" / "sessions"
    open_job(sessions, TEXT)
    open_job(
        tmp_path / "home" / "data" / "sessions" / "other", TEXT.replace("0.10 .. 0.20", "0.10 .. 0.30"), unit="job 55"
    )
    rows = json.loads(new_edition(file, "--list", "--json").stdout)["figures"]
    number = {each["key"]: each["number"] for each in rows}
    result = new_edition(
        file, "--date", "2026-02-01",
        "--set", f"{number['shim: record.play.limit']}=0.10 .. 0.18 mm",
        "--set", f"{number['plate: record.gap.limit.output']}=1 .. 4 mm",
        "--own", f"{number['close-cover: tighten.stages[2]']}=the bolts are new",
        "--own", f"{number['plate: record.gap.limit.input']}=it: works",
    )  # fmt: skip
    assert (result.exception, result.return_value) == (None, 0)
    text = file.read_text(encoding="utf-8")
    assert '  manual: {title: Workshop manual, edition: "4", date: "2026-02-01"}   # the blue one\n' in text
    assert "limit: 0.10 .. 0.18 mm, above" in text
    assert '- {angle: 90°, source: "own choice, because the bolts are new"}   # not in the manual' in text
    assert "input: 1 .. 2 mm, output: 1 .. 4 mm}" in text
    assert 'source: "own choice, because it: works"}' in text
    procedure = read_procedure(text)
    assert procedure.revision == "C"
    assert [change.what for change in procedure.changes] == [
        "documents.manual: edition 3 -> 4, 2026-02-01",
        "Shim the shafts: Play 0.10 .. 0.20 mm -> 0.10 .. 0.18 mm",
        "Cover, stage 2 stays 90°",
        "Rivet the plate: Gap, input stays 1 .. 2 mm",
        "Rivet the plate: Gap, output 1 .. 3 mm -> 1 .. 4 mm",
    ]
    gap = procedure.operations_by_id["plate"].record[0]
    found = source_of(procedure, gap.source)
    assert found is not None
    assert found.own_choice
    assert "Open jobs with an old figure:\n  job 99  revision B  play" in result.stdout


@pytest.mark.parametrize("named", ["ed. 3 p. 7", "(edition 2), p. 7"])
def test_new_figure_does_not_keep_the_old_edition_in_its_source(file: Path, named: str) -> None:
    file.write_text(TEXT.replace("source: manual p. 7", f'source: "manual {named}"'), encoding="utf-8")
    rows = json.loads(new_edition(file, "--list", "--json").stdout)["figures"]
    number = next(each["number"] for each in rows if each["key"] == "plate: record.gap.limit.input")
    assert new_edition(file, "--set", f"{number}=1 .. 2.5 mm").return_value == 0
    assert 'input: 1 .. 2.5 mm, output: 1 .. 3 mm}, readings: shaft, source: "manual p. 7"}' in file.read_text("utf-8")


def test_finished_jobs_on_an_old_figure_are_named(file: Path, tmp_path: Path) -> None:
    text = GEARBOX.replace("failures:", f"{DOCUMENTS}failures:")
    file.write_text(text, encoding="utf-8")
    log = done_job(tmp_path / "done", 2, text)
    result = new_edition(file, log, "--set", "1=0.10 .. 0.18 mm")
    assert "Finished jobs with an old figure:\n  job 2  revision B  play" in result.stdout


def test_edition_alone_is_written_if_all_figures_are_as_before(file: Path) -> None:
    assert "To write:" in new_edition(file).stderr
    assert file.read_text(encoding="utf-8") == TEXT
    assert new_edition(file, "--accept", "all").return_value == 0
    text = file.read_text(encoding="utf-8")
    assert text.startswith(TEXT.replace('revision: "B"', 'revision: "C"').replace('edition: "3"', 'edition: "4"'))
    assert "already" in str(new_edition(file, "--accept", "all").exception)


@pytest.mark.parametrize(
    "document",
    [
        '{title: Workshop manual, edition: "3", date: 2025-03-01}',
        '{date: 2025-03-01, title: Workshop manual, edition: "3"}',
        '\n    title: Workshop manual\n    date: 2025-03-01   # printed\n    edition: "3"',
    ],
)
def test_date_of_the_old_edition_is_not_kept_for_the_new_one(file: Path, document: str) -> None:
    file.write_text(TEXT.replace('{title: Workshop manual, edition: "3"}', document), encoding="utf-8")
    assert new_edition(file, "--accept", "all").return_value == 0
    procedure = read_procedure(file.read_text(encoding="utf-8"))
    assert (procedure.documents[0].title, procedure.documents[0].edition) == ("Workshop manual", "4")
    assert procedure.documents[0].date == ""
    assert procedure.changes[0].what.endswith("edition 3 -> 4, without the date of the old one (2025-03-01)")


def test_date_without_quotes_stays_without(file: Path) -> None:
    file.write_text(TEXT.replace('edition: "3"}', 'edition: "3", date: 2025-03-01}'), encoding="utf-8")
    assert new_edition(file, "--date", "2026-02-01", "--accept", "all").return_value == 0
    assert 'edition: "4", date: 2026-02-01}' in file.read_text(encoding="utf-8")


def test_document_that_is_only_a_title_gets_its_keys(file: Path) -> None:
    assert revise(file, "--document", "bulletin", "--edition", "5", "--accept", "all").return_value == 0
    assert "  bulletin: {title: Bulletin 4, edition: 5}\n" in file.read_text(encoding="utf-8").replace('"5"', "5")


def test_unknown_document_and_wrong_value_are_refused(file: Path) -> None:
    assert "Did you mean `manual`?" in str(revise(file, "--document", "manul", "--edition", "4").exception)
    result = new_edition(file, "--set", "1=0.10 .. 0.18 apples")
    assert result.return_value == 1
    assert "nothing was written" in result.stderr
    assert file.read_text(encoding="utf-8") == TEXT


def test_ends_of_the_rows_of_a_table_are_figures(file: Path) -> None:
    table = "choose: {pad: {by: gap, from: [{up to: 2 mm, take: thin}, {above: 2 mm, take: thick}]}}"
    file.write_text(
        f"{TEXT}    {table}\n".replace("limit: {by: shaft, input: 1 .. 2 mm, output: 1 .. 3 mm}, readings: shaft, ", "")
    )
    figures = json.loads(new_edition(file, "--list", "--json").stdout)["figures"]
    found = {each["key"]: each["number"] for each in figures}
    assert {"plate: choose.pad.from[1].up to", "plate: choose.pad.from[2].above"} <= set(found)
    first, second = found["plate: choose.pad.from[1].up to"], found["plate: choose.pad.from[2].above"]
    assert new_edition(file, "--set", f"{first}=3 mm", "--set", f"{second}=3 mm").return_value == 0
    assert "from: [{up to: 3 mm, take: thin}, {above: 3 mm, take: thick}]" in file.read_text(encoding="utf-8")


def test_new_edition_without_a_date_does_not_keep_the_old_date(file: Path) -> None:
    dated = TEXT.replace('edition: "3"}', "edition: 3, date: 2025-03-01}")
    file.write_text(dated, encoding="utf-8")
    assert new_edition(file, "--accept", "all", "--date", "2026-11-01").return_value == 0
    assert "  manual: {title: Workshop manual, edition: 4, date: 2026-11-01}" in file.read_text(encoding="utf-8")
    file.write_text(dated, encoding="utf-8")
    result = new_edition(file, "--accept", "all")
    assert "edition 3 -> 4, without the date of the old one (2025-03-01)" in result.stdout
    assert "  manual: {title: Workshop manual, edition: 4}   # the blue" in file.read_text(encoding="utf-8")


def test_figures_given_at_the_bench_from_the_old_edition_are_named(file: Path, tmp_path: Path) -> None:
    text = GEARBOX.replace("failures:", f"{DOCUMENTS}failures:")
    file.write_text(text, encoding="utf-8")
    log = done_job(tmp_path / "done", 2, text.replace("bulletin: Bulletin 4", "bulletin: {title: B, edition: 4}"))
    result = revise(file, log, "--document", "bulletin", "--edition", "5", "--accept", "all")
    assert "Finished jobs with an old figure:\n  job 2  revision B" in result.stdout
    assert "cover stage 1 24 N·m (given at the bench from edition 4)" in result.stdout


def test_walk_on_a_narrow_terminal_breaks_no_words(file: Path, tmp_path: Path) -> None:
    command = ["-m", "benchflow", "revise", str(file), "--document", "manual", "--edition", "4"]
    with Terminal(command, columns=40, rows=30, env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("1 of 5  Shim the shafts: Play: 0.10 ..", "before.")
        terminal.type("0.10 .. 0.18 mm\r")
        terminal.wait_for("2 of 5")
        terminal.type("back\r")
        terminal.wait_for("1 of 5", "You typed: Shim the shafts: Play:", "stays so")
        terminal.type("\r")
        terminal.wait_for("2 of 5")
        terminal.type("own\r")
        terminal.wait_for("Own choice, because >")
        terminal.type("it: works\r")
        for number in (3, 4, 5):
            terminal.wait_for(f"{number} of 5")
            terminal.type("\r")
        terminal.wait_for("Type y or n")
        terminal.type("y\r")
        assert terminal.wait_end() == 0
    text = file.read_text(encoding="utf-8")
    assert "limit: 0.10 .. 0.18 mm, above" in text
    assert 'source: "own choice, because it: works"' in text
