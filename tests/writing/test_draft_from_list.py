"""Drafts from tables and lists that somebody already has, also badly made ones. All data is invented."""

import re
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.procedure.figures_to_fill import figures_to_fill
from benchflow.procedure.model import Fixed, Procedure, TorqueStage
from benchflow.procedure.reader import read
from benchflow.writing.drafts.cell_figures import Refused, limit_in, limit_of_ends, stages_in
from benchflow.writing.drafts.draft_source import DraftSource, read_draft_source
from benchflow.writing.drafts.figures_in_words import figures_in_step
from benchflow.writing.drafts.step_sentences import readings_named


def drafted(folder: Path, content: str | bytes, name: str = "list.csv") -> DraftSource:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_draft_source(path)


def procedure_of(found: DraftSource) -> Procedure:
    """The draft as the reader reads it: it has no error."""
    result = read(found.book.text())
    assert [str(problem) for problem in result.problems if problem.severity != "note"] == []
    assert result.procedure is not None
    return result.procedure


def titles(found: DraftSource) -> list[str]:
    return [operation.title for operation in procedure_of(found).operations]


TABLE = (
    "Step,Torque,Limit,Unit,Tool,Note\nMeasure the float,,0.05-0.20,mm,dial gauge,\nTighten the plug,25,,Nm,wrench,\n"
)


def test_rows_become_operations_in_their_order(tmp_path: Path) -> None:
    procedure = procedure_of(drafted(tmp_path, TABLE))
    first, second = procedure.operations
    assert [ref.name for ref in second.after] == [first.id]
    bound = first.record[0].bound
    assert isinstance(bound, Fixed)
    assert bound.text == "0.05 .. 0.20 mm"
    assert second.tighten is not None
    assert isinstance(second.tighten.stages[0], TorqueStage)
    assert second.tighten.stages[0].text == "25 N·m"


def test_what_the_table_does_not_say_is_asked(tmp_path: Path) -> None:
    asked = [one.what for one in figures_to_fill(procedure_of(drafted(tmp_path, TABLE)))]
    assert asked == ["thread", "lubricant"]  # there is one plug


@pytest.mark.parametrize(("sign", "name"), [(";", "semicolons"), ("\t", "tabs"), ("|", "bars")])
def test_other_delimiters_are_recognised(tmp_path: Path, sign: str, name: str) -> None:
    found = drafted(tmp_path, TABLE.replace(",", sign))
    assert len(titles(found)) == 2
    assert f"the columns are separated by {name}" in found.remarks


def test_byte_order_mark_and_old_encoding_are_read(tmp_path: Path) -> None:
    assert len(titles(drafted(tmp_path, b"\xef\xbb\xbf" + TABLE.encode()))) == 2
    old = drafted(tmp_path, "Step,Torque\nTighten ±,25 N·m\n".encode("cp1252"))
    assert titles(old) == ["Tighten ±"]
    assert any("line 2: not UTF-8" in remark for remark in old.remarks)
    assert len(titles(drafted(tmp_path, TABLE.encode("utf-16")))) == 2


def test_decimal_comma_is_refused_at_its_place_and_kept(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step;Torque\nTighten the plug;12,5 Nm\n")
    (kept,) = found.book.kept
    assert (kept.place, kept.text, kept.refused) == ("row 2, column Torque", "12,5 Nm", True)
    assert "Write 12.5 Nm if it is a decimal" in kept.why
    assert "12,5 Nm" in found.book.text()
    assert "torque" in [one.what for one in figures_to_fill(procedure_of(found))]


@pytest.mark.parametrize("cell", ["=B2*1.1", "#REF!", "#DIV/0!", "about 20", "20 kg", "-5 Nm", "20"])
def test_torque_that_cannot_be_read_is_asked_and_kept(tmp_path: Path, cell: str) -> None:
    found = drafted(tmp_path, f"Step,Torque\nTighten the plug,{cell}\n")
    (kept,) = found.book.kept
    assert kept.refused
    assert cell in found.book.text()
    assert "torque" in [one.what for one in figures_to_fill(procedure_of(found))]


def test_limit_without_a_unit_becomes_a_check_with_its_words(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Limit\nMeasure the float,0.05 .. 0.20\n")
    (operation,) = procedure_of(found).operations
    assert not operation.record or operation.record[0].unit == ""
    assert "0.05 .. 0.20" in found.book.text()


def test_merged_cells_belong_to_the_step_above(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Torque\nTighten the head,30 N·m\n,60 N·m\n,90°\n")
    (operation,) = procedure_of(found).operations
    assert operation.tighten is not None
    assert [stage.text for stage in operation.tighten.stages] == ["30 N·m", "60 N·m", "+90°"]
    assert [kept.place for kept in found.book.kept] == ["row 3", "row 4"]


def test_empty_rows_are_counted_and_headings_become_sections(tmp_path: Path) -> None:
    found = drafted(
        tmp_path, "Step,Torque,Note\nLubrication:,,\n,,\nFit the pump,25 N·m,\n\nCOOLING,,\nFit the hose,,new\n"
    )
    assert [section.title for section in procedure_of(found).sections] == ["Lubrication", "COOLING"]
    assert "2 empty rows left out" in found.remarks


def test_row_with_a_step_alone_is_a_step(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Torque,Note\nClean the faces,,\nWipe them dry,,\nFit the pump,25 N·m,\n")
    assert titles(found) == ["Clean the faces", "Wipe them dry", "Fit the pump"]


def test_unknown_columns_are_kept_and_named(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Torque,Colour\nTighten the plug,25 N·m,red\n")
    assert "row 1: unknown columns, kept as notes: Colour" in found.remarks
    assert "# Colour: red" in found.book.text()
    assert [kept.why for kept in found.book.kept] == ["unknown column"]


def test_second_table_has_its_own_columns(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Torque\nTighten A,25 N·m\n\nTask,Limit,Unit\nMeasure B,at most 1,mm\n")
    procedure = procedure_of(found)
    assert [operation.title for operation in procedure.operations] == ["Tighten A", "Measure B"]
    assert procedure.operations[1].record[0].unit == "mm"


def test_cells_beyond_the_headings_are_kept(tmp_path: Path) -> None:
    found = drafted(tmp_path, "Step,Torque\nTighten A,25 N·m,and more\n")
    assert "and more" in found.book.text()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"one,two\nthree,four\n", "row of headings"),
        (b"PK\x03\x04rest", "Save its table as CSV"),
        (b"Step,\0Torque\n", "not a text file"),
        (b",,,\n,,\n", "has no rows"),
    ],
)
def test_file_that_is_not_a_table_of_steps_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    with pytest.raises(BenchflowError, match=words):
        drafted(tmp_path, content)


def test_texts_cannot_break_the_file(tmp_path: Path) -> None:
    nasty = 'a: b # c {x} [y] "z" \\ & * ! % @ `\x1b[31m'
    found = drafted(tmp_path, f"Step|Torque|Note\n{nasty}|25 N·m|{nasty}\nyes|30 N·m|- x\n")
    procedure = procedure_of(found)
    assert procedure.operations[0].title.startswith("A: b # c (x) [y]")
    assert "\x1b" not in found.book.text()


MARKDOWN = """# Pump of an invented engine

Some words.

## Clean

1. Clean the faces
   - Caution: solvent burns
   - with a soft brush
2. Measure the shaft float: 0.05 - 0.20 mm

## Assemble

- Tighten the cover bolts to 10 Nm then 90°

| Task | Torque | Qty |
|------|--------|-----|
| Tighten the flange | 40 Nm | 6 |

> A quote
"""


def test_markdown_lists_tables_and_headings_are_read(tmp_path: Path) -> None:
    found = drafted(tmp_path, MARKDOWN, "list.md")
    procedure = procedure_of(found)
    assert procedure.title == "Pump of an invented engine"
    assert [section.title for section in procedure.sections] == ["Clean", "Assemble"]
    clean, measure, cover, flange = procedure.operations
    assert [caution.text for caution in clean.cautions] == ["solvent burns"]
    assert clean.do == "with a soft brush"
    assert measure.record[0].unit == "mm"
    assert cover.tighten is not None
    assert [stage.text for stage in cover.tighten.stages] == ["10 Nm", "+90°"]
    assert flange.tighten is not None
    assert procedure.joints_by_id[flange.tighten.joint].count == 6
    assert "Some words." in found.book.text()
    assert "A quote" in found.book.text()


def test_markdown_without_steps_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BenchflowError, match="no list and no table of steps"):
        drafted(tmp_path, "# Title\n\nOnly words.\n", "list.md")


@pytest.mark.parametrize(
    ("text", "unit", "stages"),
    [
        ("30 N·m + 90°", "", ["30 N·m", "+90°"]),
        ("1) 40 Nm 2) 80 Nm", "", None),
        ("40 Nm, 80 Nm, 90°", "", ["40 Nm", "80 Nm", "+90°"]),
        ("25", "N·m", ["25 N·m"]),
        ("12-15 lb-ft", "", ["12 .. 15 lb-ft"]),
        ("hand tight", "", ["by hand"]),
        ("25", "", None),
        ("1,234 Nm", "", None),
        ("0 Nm", "", None),
        ("20 mm", "", None),
    ],
)
def test_torque_cell_becomes_stages_or_is_refused(text: str, unit: str, stages: list[str] | None) -> None:
    found = stages_in(text, unit)
    assert isinstance(found, Refused) if stages is None else found == stages


@pytest.mark.parametrize(
    ("text", "unit", "limit"),
    [
        ("0.10 - 0.28 mm", "", "0.10 .. 0.28 mm"),
        ("0.10–0.28", "mm", "0.10 .. 0.28 mm"),
        ("max. 0.05 mm", "", "at most 0.05 mm"),
        ("0.05 mm max", "", "at most 0.05 mm"),
        ("≥ 3 bar", "", "at least 3 bar"),
        ("< 0.1 mm", "", "below 0.1 mm"),
        ("0.15 +/- 0.02 mm", "", "0.15 ± 0.02 mm"),
        ("0.28 - 0.10 mm", "", None),
        ("0,1 mm", "", None),
        ("as required", "", None),
        ("0.1", "", None),
    ],
)
def test_limit_cell_becomes_a_limit_or_is_refused(text: str, unit: str, limit: str | None) -> None:
    found = limit_in(text, unit)
    assert isinstance(found, Refused) if limit is None else found == (limit, "bar" if "bar" in limit else "mm")


def test_columns_of_the_two_ends_make_a_limit() -> None:
    assert limit_of_ends("0.1", "0.2", "mm") == ("0.1 .. 0.2 mm", "mm")
    assert limit_of_ends("", "0.2 mm", "") == ("at most 0.2 mm", "mm")
    assert isinstance(limit_of_ends("1 mm", "0.2 in", ""), Refused)


# --- figures in the words of a step ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "stages", "count"),
    [
        ("Tighten the 8 screws crosswise: 12 N·m, then 28 N·m (21 ft-lb).", ("12 N·m", "28 N·m (21 ft-lb)"), 8),
        ("Torque the six bolts to 25 Nm and 90°", ("25 Nm", "+90°"), 6),
        ("Fit the relief valve with a new washer: 45 N·m. Spring length 41 mm.", ("45 N·m",), 0),
        ("Tighten the plug", (), 0),
        ("Turn by hand. Turning torque at most 1.5 N·m. Above: tighten again.", (), 0),
        ("Tighten until the turning torque is 2 N·m", (), 0),
        ("Tighten to at most 20 N·m", (), 0),
        ("Check the breakaway torque: 12 N·m", (), 0),
        ("Tighten the plug to 12,5 Nm", (), 0),
    ],
)
def test_torque_in_words_is_taken_only_where_it_is_tightened_to(text: str, stages: tuple[str, ...], count: int) -> None:
    found = figures_in_step(text)
    assert (found.stages, found.count) == (stages, count)


@pytest.mark.parametrize(
    ("text", "limits"),
    [
        ("Measure the depth: 32.05 to 32.08 mm. Measure the width: 31.98 to 32.00 mm.",
         [("depth", "32.05 .. 32.08 mm"), ("width", "31.98 .. 32.00 mm")]),
        ("Turn by hand. Turning torque at most 1.5 N·m.", [("Turning torque", "at most 1.5 N·m")]),
        ("Fit the cover within 8 minutes", []),
        ("Cure the sealant 12 h", []),
        ("The gap is 0.2 mm", []),
    ],
)  # fmt: skip
def test_limit_in_words_needs_two_ends_or_a_side(text: str, limits: list[tuple[str, str]]) -> None:
    assert [(each.name, each.limit) for each in figures_in_step(text).limits] == limits


def test_figures_in_words_that_are_not_taken_are_named(tmp_path: Path) -> None:
    text = "1. Press the seal in, flush to 0.2 mm\n"
    text += "2. Fit the cover within 8 minutes (flammable: no flames, no sparks, no smoking here)\n"
    found = drafted(tmp_path, text, "list.md")
    assert "# Figures in the words, not taken: 0.2 mm" in found.book.text()
    assert "# Figures in the words, not taken: 8 minutes" in found.book.text()
    assert found.book.left_in_words == 2
    for title in titles(found):
        assert title.count("(") == title.count(")")


PUMP = """Invented pump: end cover with 8 screws M8x1.25 (10.9, oiled), lid with 6 bolts M6x1.

1. Depth of the housing: 32.05 to 32.08 mm. Width of both gears: 31.98 to 32.00 mm. Side clearance = depth - width, \
0.05 to 0.10 mm. If it is too large, replace the gears.
2. Tip clearance at four points: 0.08 to 0.15 mm
3. Fit the cover. Never press the cover on with the shaft locked.
4. Tighten the 8 screws: 12 N·m, then 28 N·m
5. Fit the valve: 45 N·m. Spring length 41.5 to 42.5 mm before fitting.
6. Tighten the 4 nuts to 20 N·m. Then measure the height: at most 3 mm.
7. Loosen, and tighten again, twice at most. A second person checks the arrow.
8. Gap = length - stack, 0.1 to 0.2 mm
"""


def test_formula_of_two_values_of_the_step_is_worked_out(tmp_path: Path) -> None:
    found = drafted(tmp_path, PUMP, "list.md")
    first = procedure_of(found).operations[0]
    assert [record.name for record in first.record] == ["depth-housing", "width-both-gears"]
    assert "limit: 31.98 .. 32.00 mm, readings: 2}" in found.book.text()
    assert "side-clearance: {is: depth-housing - width-both-gears, unit: mm" in found.book.text()


def test_formula_with_an_unknown_name_is_never_a_recorded_value(tmp_path: Path) -> None:
    found = drafted(tmp_path, PUMP, "list.md")
    assert not procedure_of(found).operations_by_id["gap-length-stack"].record
    assert any(kept.refused and "length - stack" in kept.why for kept in found.book.kept)


def test_value_and_torque_of_a_step_are_measured_in_the_order_of_the_words(tmp_path: Path) -> None:
    order = [operation.id for operation in procedure_of(drafted(tmp_path, PUMP, "list.md")).operations]
    assert order.index("measure-spring-length") == order.index("fit-valve") - 1
    assert order.index("measure-height") == order.index("tighten-4-nuts") + 1
    operations = procedure_of(drafted(tmp_path, PUMP, "list.md")).operations_by_id
    assert [ref.name for ref in operations["fit-valve"].after] == ["measure-spring-length"]
    assert [ref.name for ref in operations["measure-height"].after] == ["tighten-4-nuts"]
    assert [ref.name for ref in operations[order[order.index("measure-height") + 1]].after] == ["measure-height"]


def test_words_of_a_parts_line_fill_the_joint_that_names_the_screws(tmp_path: Path) -> None:
    found = drafted(tmp_path, PUMP, "list.md")
    joint = procedure_of(found).joints_by_id["screws"]
    assert (joint.thread, joint.grade, joint.lubricant, joint.count) == ("M8x1.25", "10.9", "oil", 8)
    assert any("6 bolts M6x1" in kept.text for kept in found.book.kept)  # no step tightens them


def test_what_must_never_happen_is_a_caution_and_a_question(tmp_path: Path) -> None:
    found = drafted(tmp_path, PUMP, "list.md")
    cover = next(each for each in procedure_of(found).operations if each.title.startswith("Fit the cover"))
    assert [each.text for each in cover.cautions] == ["Never press the cover on with the shaft locked."]
    assert any("Never press" in each for each in found.book.questions)
    assert found.titles == ()  # no pairs of single words


def test_second_person_signs_and_remedies_in_words_are_named(tmp_path: Path) -> None:
    found = drafted(tmp_path, PUMP, "list.md")
    last = next(each for each in procedure_of(found).operations if each.title.startswith("Loosen"))
    assert last.hold is not None
    assert last.hold.second_person
    assert "not taken: “twice at most”" in found.book.text()
    assert "“If it is too large, replace the gears.”" in found.book.text()


@pytest.mark.parametrize(
    ("words", "number"),
    [("Width of both gears", 2), ("Gap at four points", 4), ("Wear of each of the 6 pistons", 6), ("Depth", 0),
     ("Diameter at 3 places", 3), ("Length of the 4 springs", 4), ("Length of 4 springs", 4)],
)  # fmt: skip
def test_number_of_readings_in_words(words: str, number: int) -> None:
    assert readings_named(words) == number


@pytest.mark.parametrize(
    ("text", "names"),
    [("Backlash = 0.1 to 0.2 mm", ["Backlash"]), ("Gap is 0.2 to 0.3 mm", ["Gap"]),
     ("Before torquing, measure the gap: 0.3 to 0.5 mm", ["gap"]),
     ("The depth must be 1 to 2 mm", ["depth"]), ("Check the cover face for flatness: at most 1 mm",
      ["cover face for flatness"])],
)  # fmt: skip
def test_measured_thing_has_its_own_name(text: str, names: list[str]) -> None:
    found = figures_in_step(text).limits
    assert ([each.name for each in found], [each.formula for each in found]) == (names, [""])


def test_mean_signature_and_joint_are_read_from_the_words(tmp_path: Path) -> None:
    text = "1. Average of four readings of the bore diameter: 60.00 to 60.02 mm. The inspector signs.\n"
    text += "2. Do not reuse the hub nut. Tighten the hub nut to 200 N·m. Check again after 50 km.\n"
    found = drafted(tmp_path, text, "list.md")
    procedure = procedure_of(found)
    assert re.findall(r"readings: \d|judge: \w+", found.book.text()) == ["readings: 4", "judge: mean"]
    assert procedure.operations[0].hold is not None
    assert [joint.title for joint in procedure.joints] == ["Tighten the hub nut"]
    assert "not taken: 50 km" in found.book.text()
    assert not any("reuse" in each for each in found.book.questions)


def test_table_has_no_formula_as_a_value_and_says_where_the_order_is_open(tmp_path: Path) -> None:
    found = drafted(
        tmp_path,
        "Step,Torque,Limit,Unit,Note\nMeasure the float,,0.05-0.20,mm,Never turn the shaft dry\n"
        '"Tighten the cover, then measure the gap: 0.1 to 0.2 mm",25 N·m,,,\n'
        "Clearance = bore - shaft,,0.02 to 0.05,mm,\nTighten the lid to its stop,20 N·m,at most 3 mm,,\n",
    )
    procedure = procedure_of(found)
    assert not procedure.operations_by_id["clearance-bore-shaft"].record
    assert any("bore - shaft" in kept.why and kept.refused for kept in found.book.kept)
    order = [operation.id for operation in procedure.operations]
    assert order.index("measure-gap") == order.index("tighten-cover-then-measure-gap") + 1
    assert [each.text for each in procedure.operations[0].cautions] == ["Never turn the shaft dry"]
    assert found.book.text().count("before or after the tightening") == 1
