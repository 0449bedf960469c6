"""Lists as shops and manuals have them: no figure becomes silently wrong, no word is lost. All data are invented.

The notations are common practice, no source. The rule for a decimal comma is that of the whole program.
"""

from pathlib import Path

import pytest

from benchflow.procedure.model import Procedure
from benchflow.procedure.reader import read
from benchflow.writing.drafts.draft_source import DraftSource, read_draft_source


def drafted(folder: Path, text: str, name: str = "list.csv", encoding: str = "utf-8") -> DraftSource:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return read_draft_source(path)


def procedure_of(found: DraftSource) -> Procedure:
    result = read(found.book.text())
    assert [str(problem) for problem in result.problems if problem.severity == "error"] == []
    assert result.procedure is not None
    return result.procedure


def refused(found: DraftSource) -> list[str]:
    return [kept.text for kept in found.book.kept if kept.refused]


@pytest.mark.parametrize(
    ("cell", "limit"),
    [
        ("0.03 max", "at most 0.03 mm"),
        ("max. 0.03", "at most 0.03 mm"),
        ("≤ 0.2", "at most 0.2 mm"),
        ("<0.1", "below 0.1 mm"),
        ("0.05 – 0.20", "0.05 .. 0.20 mm"),
        ("12 +/- 0.1", "12 ± 0.1 mm"),
        ("50.000 +0.025/-0", "50.000 .. 50.025 mm"),
        ("50 +0.025 -0.010", "49.990 .. 50.025 mm"),
    ],
)
def test_limit_of_a_table_has_one_meaning(tmp_path: Path, cell: str, limit: str) -> None:
    found = drafted(tmp_path, f"Step,Limit,Unit\nMeasure the bore,{cell},mm\n")
    assert f"limit: {limit}" in found.book.text()
    assert refused(found) == []


@pytest.mark.parametrize("cell", ["0.4", "3 1/2", "0,4", "1.000,5", "0.4 - 0.3", "3:1", "±0.1", "0.4?", "~0.4", "O.4"])
def test_doubtful_limit_is_asked_and_its_words_are_kept(tmp_path: Path, cell: str) -> None:
    found = drafted(tmp_path, f'Step;Limit;Unit\nMeasure the bore;"{cell}";mm\n')
    assert refused(found) == [cell]
    assert "limit: ask" in found.book.text()


@pytest.mark.parametrize("cell", ["50 mm +10/-5 µm", "50 +10 -5 µm", "2.000 in +0.5/-0 thou", "2.000 in +0.5 -0 thou"])
def test_tolerance_in_another_unit_is_not_added_to_the_size(tmp_path: Path, cell: str) -> None:
    found = drafted(tmp_path, f'Step;Limit;Unit\nMeasure the bore;"{cell}";mm\n')
    assert refused(found) == [cell]
    assert "limit: ask" in found.book.text()


@pytest.mark.parametrize("cell", ["20 Nm + 90 + 90", "40 Nm +4/-2 ft-lb", "25 max"])
def test_torque_with_two_meanings_is_not_taken(tmp_path: Path, cell: str) -> None:
    found = drafted(tmp_path, f'Step;Torque [N·m]\nTighten the bolts;"{cell}"\n')
    assert refused(found) == [cell]


@pytest.mark.parametrize(
    ("cell", "stages"),
    [
        ("20 + 90°", ["20 N·m", "+90°"]),
        ("45-50", ["45 .. 50 N·m"]),
        ("20 -0/+5", ["20 .. 25 N·m"]),
        ("20, 40, 60", ["20 N·m", "40 N·m", "60 N·m"]),
        ("25 Nm / 18 ft-lb", ["25 Nm (18 ft-lb)"]),
        ("65 ft-lb", ["65 ft-lb"]),
        ("30 lbs ft", ["30 lbs ft"]),
    ],
)
def test_torque_of_a_table_has_one_meaning(tmp_path: Path, cell: str, stages: list[str]) -> None:
    found = drafted(tmp_path, f'Step;Torque [N·m]\nTighten the bolts;"{cell}"\n')
    (operation,) = procedure_of(found).operations
    assert operation.tighten is not None
    assert [stage.text for stage in operation.tighten.stages] == stages
    assert refused(found) == []


@pytest.mark.parametrize(
    "cell",
    [
        "20 +5",
        "25 Nm / 25 ft-lb",
        "30/60/90",
        "max 50",
        "at least 40",
        "12,5",
        "12 kgm",
        "snug",
        "0",
        "20 dry / 15 oiled",
    ],
)
def test_doubtful_torque_is_asked_and_its_words_are_kept(tmp_path: Path, cell: str) -> None:
    found = drafted(tmp_path, f'Step;Torque [N·m]\nTighten the bolts;"{cell}"\n')
    assert refused(found) == [cell]
    assert "stages: [{torque: ask}]" in found.book.text()


def test_point_beside_decimal_commas_is_doubtful(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step;Torque [N·m]\nTighten the cap;12,5\nTighten the nut;1.250\nTighten the rod;0.250\n")
    assert refused(found) == ["12,5", "1.250"]


def test_unit_of_the_heading_against_the_unit_beside_it_is_doubtful(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Torque (N·m),Unit\nTighten the nut,20,ft-lb\n")
    assert refused(found) == ["20"]


@pytest.mark.parametrize("step", ["Measure turning torque", "Check preload", "Drag of the seal"])
def test_torque_of_something_measured_is_not_a_stage(tmp_path: Path, step: str) -> None:
    (operation,) = procedure_of(drafted(tmp_path, f"Step,Torque\n{step},max 1.5 Nm\n")).operations
    assert (operation.tighten, [value.dimension for value in operation.record]) == (None, ["torque"])


@pytest.mark.parametrize(
    ("heading", "meaning"),
    [
        ("Torque Nm", "tighten"), ("Torque/N·m", "tighten"), ("Nm", "tighten"), ("tightening in ft-lb", "tighten"),
        ("Clearance mm", "record"), ("play [thou]", "record"), ("Pressure / bar", "record"), ("mm", "record"),
    ],
)  # fmt: skip
def test_unit_in_a_heading_is_understood(tmp_path: Path, heading: str, meaning: str) -> None:
    found = drafted(tmp_path, f"Job;{heading}\nThe flange bolts;20 - 30\n")
    assert refused(found) == []
    assert meaning in found.book.operations[0]


def test_two_columns_of_one_kind_are_both_read(tmp_path: Path) -> None:
    found = drafted(
        tmp_path, "Step,Clearance mm,Play thou,Torque Nm,Torque ft-lb\nShaft,0.1-0.2,,,\nRod,,4-8,,\nNut,,,20,15\n"
    )
    shaft, rod, nut = found.book.operations
    assert [next(iter(one["record"].values()))["limit"] for one in (shaft, rod)] == ["0.1 .. 0.2 mm", "4 .. 8 thou"]
    assert nut["tighten"]["stages"] == ["20 Nm (15 ft-lb)"]
    assert found.book.kept == []


def test_gauge_of_a_limit_is_not_the_torque_wrench(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Torque,Tool\nTighten the caps,20 Nm,feeler gauge\n")
    assert found.book.instruments == {}
    assert "Tool: feeler gauge" in found.book.text()


@pytest.mark.parametrize(
    ("step", "joint"),
    [
        ("Tighten the nut", {"layout": "1"}),
        ("Tighten the 6 bolts of the cover", {"layout": "ask", "count": 6}),
        ("Tighten 10x M10", {"layout": "ask", "count": 10}),
        ("Bolt bearing caps", {"layout": "ask"}),
        ("Tighten the bolt of each rod", {"layout": "ask"}),
        ("Tighten wheel bolt", {"layout": "ask"}),
    ],
)
def test_count_of_a_joint_comes_from_the_words_if_they_say_it(
    tmp_path: Path, step: str, joint: dict[str, object]
) -> None:
    found = drafted(tmp_path, f"Step,Torque\n{step},20 Nm\n")
    (drawn,) = found.book.joints.values()
    assert {key: drawn[key] for key in ("layout", "count") if key in drawn} == joint


def test_size_of_a_thread_is_not_a_torque(tmp_path: Path) -> None:
    found = drafted(tmp_path, "1. Fit the cover, tighten 6 screws M6x1 to 10 N·m\n", "list.md")
    assert "stages: [10 N·m]" in found.book.text()


def test_tolerance_of_a_torque_in_words_is_not_lost(tmp_path: Path) -> None:
    found = drafted(tmp_path, "1. Tighten the nut to 25 N·m ± 2.\n2. Tighten the cap to 20 +/- 1 Nm\n", "list.md")
    stages = [operation.get("tighten", {}).get("stages") for operation in found.book.operations]
    assert stages == [["25 N·m ± 2"], ["20 ± 1 Nm"]]


@pytest.mark.parametrize(
    "words",
    [
        "Tighten bolts 1 to 8 to 25 Nm", "Tighten bolts 1-8 25 Nm", "Tighten in stages 20, 40, 25 Nm",
        "Tighten in stages: 20/40/25 Nm", "Tighten the M8 bolts to 15 and the M10 bolts to 25 Nm",
        "Tighten the bolts to about 25 Nm", "Tighten the bolts to 20 Nm (dry), 25 Nm (oiled)",
    ],
)  # fmt: skip
def test_torque_beside_other_numbers_is_named_and_not_taken(tmp_path: Path, words: str) -> None:
    found = drafted(tmp_path, f"1. {words}\n", "list.md")
    assert "tighten" not in found.book.operations[0]
    assert "25 Nm" in found.book.text().partition("not taken: ")[2].partition("\n")[0]


def test_point_in_words_beside_decimal_commas_is_doubtful(tmp_path: Path) -> None:
    text = "1. Tighten the nut to 1.250 N·m\n2. Set the gap to 0,5 mm\n3. Measure the depth: 1.250 to 1.300 mm\n"
    found = drafted(tmp_path, text, "list.md")
    assert "1.250 N·m" in refused(found)
    assert not any("record" in operation for operation in found.book.operations)
    assert "Figures in the words, not taken: 1.250 .. 1.300 mm" in found.book.text()


@pytest.mark.parametrize("figure", [".08 mm", "1/2 turn", "0,5 mm"])
def test_figure_in_words_that_is_not_taken_is_named(tmp_path: Path, figure: str) -> None:
    found = drafted(tmp_path, f"1. Set the plate by {figure}\n", "list.md")
    assert f"Figures in the words, not taken: {figure}" in found.book.text()


def test_merged_cells_go_on_with_their_step(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Part,Torque (Nm)\nTighten the bolts,Bolt,20\n,Washer,\n,,then 40\n")
    (operation,) = found.book.operations
    assert operation["tighten"]["stages"] == ["20 Nm", "40 Nm"]
    assert operation["uses"] == ["bolt", "washer"]


def test_table_of_parts_beside_the_steps_is_the_kit(tmp_path: Path) -> None:
    text = "| Step | Torque |\n|:--|--:|\n| Fit caps | |\n\n| Part | Qty |\n|---|---|\n| Cap | 5 |\n"
    found = drafted(tmp_path, text, "list.md")
    assert [operation["title"] for operation in found.book.operations] == ["Fit caps"]
    assert found.book.parts == {"cap": {"title": "Cap", "quantity": "5"}}


PAGE = """WORKSHOP MANUAL        Page 4-21

1. Remove the transit plug and clean
the flange faces.
2. Tighten the flange bolts in
diagonal order to 25 Nm, then
                          4-22
45 Nm.
3.) Fit the **cover**.
Step 4: Tighten the cover screws to 10 Nm
"""


@pytest.mark.parametrize("name", ["page.md", "page.txt"])
def test_steps_from_a_page_are_whole_sentences(tmp_path: Path, name: str) -> None:
    found = drafted(tmp_path, PAGE, name)
    assert [operation["title"] for operation in found.book.operations] == [
        "Remove the transit plug and clean the flange faces",
        "Tighten the flange bolts in diagonal order to 25 Nm, then 45 Nm",
        "Fit the cover",
        "Tighten the cover screws to 10 Nm",
    ]
    assert found.book.operations[1]["tighten"]["stages"] == ["25 Nm", "45 Nm"]
    assert "line 7: 4-22" in found.book.text()
    assert "line 1: WORKSHOP MANUAL Page 4-21" in found.book.text()


def test_lettered_steps_are_steps(tmp_path: Path) -> None:
    found = drafted(tmp_path, "## Lower end\n\na) Fit the shells\nb) Fit the caps\n", "list.md")
    assert [operation["title"] for operation in found.book.operations] == ["Fit the shells", "Fit the caps"]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings_of_spreadsheets_are_read(tmp_path: Path, encoding: str) -> None:
    found = drafted(tmp_path, "Step;Limit\nMeasure the temperature;80 °C ± 5\n", encoding=encoding)
    assert "limit: 80 °C ± 5" in found.book.text().replace('"', "")


def test_value_without_a_unit_that_is_listed_twice_for_a_step_is_one_check(tmp_path: Path) -> None:
    (operation,) = procedure_of(drafted(tmp_path, "Step,Limit\nMeasure the play,tight\n,loose\n")).operations
    assert [check.text for check in operation.check] == ["Measure and note, with its unit: Measure the play"]
