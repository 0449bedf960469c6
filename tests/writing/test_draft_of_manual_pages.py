"""Lists as manuals print them: limits in two units, a limit in its own sentence, one stage a step. Invented figures."""

from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.cli import benchflow
from benchflow.procedure.model import Procedure
from benchflow.procedure.reader import read
from benchflow.writing.drafts.cell_figures import Refused, limit_in
from benchflow.writing.drafts.draft_source import DraftSource, read_draft_source
from tests.driving.teardown_script import TeardownScript


def listed(folder: Path, text: str, name: str = "page.md") -> DraftSource:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return read_draft_source(path)


def procedure_of(found: DraftSource) -> Procedure:
    result = read(found.book.text())
    assert result.procedure is not None, [str(each) for each in result.problems]
    return result.procedure


@pytest.mark.parametrize(
    ("step", "ask", "limit"),
    [
        ("Measure the end float of the pump shaft. Limit 0.10 to 0.25 mm (0.004 to 0.010 in).",
         "End float of the pump shaft", "0.10 .. 0.25 mm (0.004 .. 0.010 in)"),
        ("Measure the clearance between the impeller and the housing: 0.30 to 0.60 mm (0.012 to 0.024 in).",
         "Clearance between the impeller and the housing", "0.30 .. 0.60 mm (0.012 .. 0.024 in)"),
        ("Measure the flatness of the face. Limit 0.05 mm (0.0020 in).", "Flatness of the face",
         "at most 0.05 mm (0.0020 in)"),
        ("Test the system at 1.2 bar. The pressure drop must not be more than 0.1 bar.", "Pressure drop",
         "at most 0.1 bar"),
    ],
)  # fmt: skip
def test_limit_as_manuals_print_it_is_recorded(tmp_path: Path, step: str, ask: str, limit: str) -> None:
    found = listed(tmp_path, f"1. {step}\n2. Fit the cover.\n")
    record = procedure_of(found).operations[0].record
    assert [each.ask for each in record] == [ask]
    assert f"limit: {limit}" in found.book.text().replace('"', "")
    assert procedure_of(found).operations[0].cautions == ()


def test_single_figure_that_could_be_the_least_is_not_taken(tmp_path: Path) -> None:
    found = listed(tmp_path, "1. Measure the diameter of the pin. Limit 24.95 mm.\n2. Fit the cover.\n")
    assert procedure_of(found).operations[0].record == ()
    assert [each.partition(": ")[2] for each in found.book.left_figures] == ["24.95 mm"]


def test_next_stage_belongs_to_the_joint_of_the_step_above(tmp_path: Path) -> None:
    found = listed(tmp_path, "1. Tighten the 6 pump bolts, stage 1: 8 Nm (71 lbf in).\n2. Stage 2: 22 Nm (16 lbf ft).\n"
                             "3. Final stage: turn by 90°.\n4. Fit the cover.\n")  # fmt: skip
    procedure = procedure_of(found)
    assert [each.title for each in procedure.operations] == ["Tighten the 6 pump bolts, stage 1: 8 Nm (71 lbf in)",
                                                             "Fit the cover"]  # fmt: skip
    tighten = procedure.operations[0].tighten
    assert tighten is not None
    assert len(tighten.stages) == 3
    assert (found.book.left_in_words, len(procedure.joints)) == (0, 1)


@pytest.mark.parametrize("step", ["Stage 2: see the drawing", "Stage 2: 5 Nm"])
def test_next_stage_that_is_not_read_is_never_left_out_silently(tmp_path: Path, step: str) -> None:
    found = listed(tmp_path, f"1. Tighten the 6 pump bolts to 8 Nm.\n2. {step}.\n")
    operations = procedure_of(found).operations
    assert len(operations) == 2 or any(kept.refused for kept in found.book.kept)


def test_tolerance_in_percent_of_a_length_is_refused() -> None:
    assert isinstance(limit_in("0.15±10%", "mm"), Refused)
    assert limit_in("at most 8 %", "") == ("at most 8 %", "%")


@pytest.mark.parametrize(
    ("text", "message"),
    [('step,torque\n"Fit head",90 N·m\n"unclosed,90 N·m\nGap,3 N·m\n', "line 3 is not closed"),
     ("step,torque\n", "no row under them")],
)  # fmt: skip
def test_table_that_would_lose_rows_is_refused(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(BenchflowError, match=message):
        listed(tmp_path, text, "steps.csv")


def test_words_that_were_kept_are_listed_in_one_line_for_each_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = TeardownScript(tmp_path).begin().off("cover, over the pipe", "gear, press fit", "shaft, teeth chipped").path
    benchflow.main(["draft", str(log), "-o", str(tmp_path / "made.yaml"), "--no-questions"], standalone_mode=False)
    shown = " ".join(capsys.readouterr().err.split())
    assert shown.count("kept (") == 2
    assert "kept (it is in the instruction, as words): line 1 over the pipe; line 2 press fit" in shown
