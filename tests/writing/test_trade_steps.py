"""Steps that the parts of a teardown ask for. Common practice, no source; all units are invented."""

from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.writing.drafts.collision_questions import Collision
from benchflow.writing.drafts.collision_rules import write_collisions
from tests.driving.script import intent
from tests.writing.test_draft_from_teardown import operation, procedure_of, torn_down

MARKS = intent("measure", name="timing marks", answer="crank dot up, cam dot level")
CAMS = ("cam cover", "cam sprocket, 1x M10x1.25", "timing chain, replace", "crank sprocket", "camshaft", "rocker arms")


def titles(folder: Path, *lines: str, before: tuple[object, ...] = ()) -> list[str]:
    found = torn_down(folder, *lines, before=before)  # type: ignore[arg-type]
    return [one.title for one in procedure_of(found).operations]


def test_marks_are_set_before_the_chain_and_looked_at_before_the_cover(tmp_path: Path) -> None:
    found = titles(tmp_path, *CAMS, before=(MARKS,))
    wanted = [
        "Set the shafts to their timing marks", "Fit the new timing chain",
        "Turn it two turns by hand, and look at the timing marks", "Fit the cam cover",
    ]  # fmt: skip
    assert [title for title in found if title in wanted] == wanted
    assert "Look at the timing marks" not in found  # they are hidden at the end


@pytest.mark.parametrize(
    ("lines", "title", "expected"),
    [
        (("rocker cover", "rockers", "camshaft"), "Measure the lash of the valves", True),
        (("rocker cover", "rockers", "hydraulic lifters", "camshaft"), "Measure the lash of the valves", False),
        (("rocker cover", "rocker cover gasket"), "Measure the lash of the valves", False),
        (("pump cover", "outer rotor", "inner rotor"), "Fill the oil pump with oil", True),
        (("alternator", "rotor"), "Fill the oil pump with oil", False),
        (("drain plug, 1x M14x1.5",), "Fill it with oil", True),
        (("radiator drain plug, 1x M14x1.5",), "Fill it with oil", False),
        (("sump bolts, 4x M6x1 20 mm",), "Fill it with oil", False),
        (("water pump, 4x M8x1.25 30 mm",), "Test the cooling system under pressure", True),
        (("water pump pulley, 4x M6x1 12 mm",), "Test the cooling system under pressure", False),
    ],
)
def test_step_is_added_only_where_its_parts_were_open(
    tmp_path: Path, lines: tuple[str, ...], title: str, expected: bool
) -> None:
    assert (title in titles(tmp_path, *lines)) is expected


def test_marks_can_be_looked_at_before_parts_of_a_collision_are_fitted(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "pulley guard", "crank pulley", *CAMS, before=(MARKS,))
    write_collisions(found.book, [Collision("crank pulley", "low", "camshaft", "lifted", "they touch")])
    path = tmp_path / "draft.yaml"
    path.write_text(found.book.text(), encoding="utf-8")
    assert check_file(path, None)["ok"]


def test_pinned_tensioner_has_its_pin_pulled(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "chain tensioner, 2x M6x1 25 mm, pinned before it came off", "chain tensioner gasket")
    pull = operation(found, "pull-pin-chain-tensioner")
    assert [ref.name for ref in pull.after] == ["fit-chain-tensioner"]


def test_part_that_stays_in_is_looked_at_and_not_fitted(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "case dowels, left + right, stay in the case")
    assert operation(found, "check-case-dowels").title == "Check the case dowels"
    assert "fit-case-dowels" not in procedure_of(found).operations_by_id


def test_clearance_of_a_rotor_is_measured_on_the_fitted_part_and_a_ring_gap_before(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "outer rotor, side clearance 0.06 mm", "piston rings, gap 0.4 mm")
    assert [ref.name for ref in operation(found, "measure-outer-rotor-side-clearance").after] == ["fit-outer-rotor"]
    assert operation(found, "inspect-piston-rings").record[0].ask == "Gap of the piston rings"


def test_bead_waits_for_the_clean_faces_and_for_what_is_inspected(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "cover, 4x M6x1 20 mm, sealed, scored", "shaft")
    names = {
        ref.name for one in procedure_of(found).operations if one.id.startswith(("fit-s", "seal")) for ref in one.after
    }
    assert {"clean-sealing-faces", "inspect-cover"} <= names
    assert operation(found, "fit-cover").after == ()


def test_new_parts_are_compared_in_one_operation(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "hose, replace: soft", "belt, replace")
    assert [point.text for point in operation(found, "compare-new-parts").check] == ["Belt", "Hose"]
    assert "hose: replace: soft (line 1)" in found.book.text()


def test_belt_pulley_is_not_oiled(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "idler pulley, 1x M10x1.5 50 mm", "thrust plates, 4x M6x1 16 mm")
    assert [one.id for one in procedure_of(found).operations if "Oil " in one.do] == []


def test_left_hand_thread_is_a_caution_where_it_is_tightened_and_loosened(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "gear nut, 1x M22x1.5, left hand thread, state: gears locked")
    tighten = operation(found, "tighten-gear-nut")
    assert [caution.text[:17] for caution in tighten.cautions] == ["Left-hand thread:"]
    assert tighten.undo is not None
    assert "loosens clockwise" in tighten.undo.do


def test_size_without_a_thread_is_not_a_joint(tmp_path: Path) -> None:
    assert procedure_of(torn_down(tmp_path, "thrust washers, 1x 3.95 mm")).joints == ()


def test_new_part_has_no_marks(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "release bearing, marked with felt pen, replace: rough")
    assert "felt pen" not in operation(found, "fit-release-bearing").do
    assert not any("marks" in point.text for point in operation(found, "fit-release-bearing").check)


def test_fault_seen_during_the_teardown_is_not_confirmed_by_the_check(tmp_path: Path) -> None:
    stiff = (intent("add-check", name="selector effort"), intent("measure", name="selector effort", answer="stiff"))
    found = torn_down(tmp_path, "cover", before=stiff)
    checks = [point.text for point in operation(found, "look-selector-effort").check]
    assert checks == ["Selector effort is as the manual prints"]
    assert "# During the teardown: selector effort stiff" in found.book.text()


def test_nut_that_words_replace_is_new_and_the_flange_is_not(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "output flange, 1x nut M24x1.5, staked, replace nut")
    kit = procedure_of(found).kit_by_id
    assert {part.id: part.discard for part in kit.values()} == {"output-flange": False, "output-flange-nut": True}
    fit = operation(found, "fit-output-flange")
    assert fit.undo is not None
    assert [ref.name for ref in fit.undo.discard] == ["output-flange-nut"]
