"""A draft is for every unit of the kind: what was found at the one that came apart is a comment. Invented data."""

import re
from pathlib import Path

import pytest

from benchflow.procedure.model import Operation
from benchflow.writing.drafts.collision_questions import pairs_to_ask
from tests.driving.script import intent
from tests.writing.test_draft_from_teardown import operation, procedure_of, torn_down


def asked_words(one: Operation) -> str:
    """All words of an operation that the bench shows."""
    return " ".join([one.title, one.do, *(point.text for point in one.check), *(c.text for c in one.cautions)])


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("reverse idler gear, replace: chipped teeth", "chipped teeth"),
        ("reverse idler gear, replace: chipped teeth, tray B, bore 20.01 mm", "chipped teeth"),
        ("reverse idler gear, teeth chipped, tray B", "teeth chipped"),
        ("thrust washer, found: blue on the face", "blue on the face"),
        ("oil pump, 4x M6x1 16 mm, scored, machine: lap the face", "lap the face"),
        ("crank pulley, ask customer: repair or new", "repair or new"),
        ("output shaft seal, replace: wet", "wet"),
        ("gear, marked with felt pen, tray B", "felt pen"),
        ("pump gasket, throw away", "throw away"),
        ("rear cover, 9x M8x1.25, sealed with grey silicone", "grey silicone"),
    ],
)
def test_words_about_one_unit_are_in_comments_only(tmp_path: Path, line: str, words: str) -> None:
    found = torn_down(tmp_path, line, "input shaft")
    shown = " ".join(map(asked_words, procedure_of(found).operations))
    assert words not in shown
    assert not any(words in follow.title for follow in procedure_of(found).follow_up)
    assert words in re.sub(r"\n\s*# ?", " ", found.book.text())


def test_comment_names_the_unit_the_day_and_the_line(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "input shaft", "reverse idler gear, found: chipped teeth")
    text = re.sub(r"\n *# ", " ", found.book.text())
    assert re.search(
        r"Found on GB-12 \d{4}-\d\d-\d\d: chipped teeth \(line 2\)\. Add a check if every unit should have it\.", text
    )
    checks = [point.text for point in operation(found, "inspect-reverse-idler-gear").check]
    assert checks == ["It is sound, and within the limits of wear"]


def test_wet_places_are_a_comment_and_every_unit_is_looked_at_for_leaks(tmp_path: Path) -> None:
    wet = intent("measure", name="leaks outside", answer="rear seal wet, drain plug sweats")
    found = torn_down(tmp_path, "cover", before=(wet,))
    looked = operation(found, "look-leaks-outside")
    assert [point.text for point in looked.check] == ["No joint, plug or seal is wet"]
    assert [failure.name for failure in looked.guards_against] == ["leak"]
    assert re.search(r"# Found on GB-12 \S+: rear seal wet, drain plug sweats\. Add a check", found.book.text())


def test_housing_whose_dowels_stay_in_is_fitted_and_tightened(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "bellhousing, 6x M10x1.5 35 mm, 2 dowels stay in case", "case dowels, stay in the case")
    names = procedure_of(found).operations_by_id
    assert {"fit-bellhousing", "tighten-bellhousing-fasteners", "check-case-dowels"} <= names.keys()


# --- small parts, thread locker, notes ---------------------------------------------------------------------


def test_small_parts_in_the_words_are_in_the_kit_and_checked(tmp_path: Path) -> None:
    found = torn_down(
        tmp_path, "drain plug, 1x M18x1.5, copper washer replace", "interlock pins, 2x, bag 8",
        "detent plugs, 3x M16x1.5 with spring and ball, bag 3",
    )  # fmt: skip
    kit = procedure_of(found).kit_by_id
    assert kit["drain-plug-copper-washer"].discard
    names = ("interlock-pins", "detent-plugs-spring", "detent-plugs-ball")
    assert [str(kit[name].quantity) for name in names] == ["2", "3", "3"]
    assert "All 2 are fitted" in [point.text for point in operation(found, "fit-interlock-pins").check]
    checks = [point.text for point in operation(found, "fit-detent-plugs").check]
    assert {"3 springs are seated", "3 balls are seated"} <= set(checks)


def test_count_that_was_kept_as_words_is_the_count_of_the_parts(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "cover", after=(intent("off", what="interlock pins", remark="2x"),))
    assert str(procedure_of(found).kit_by_id["interlock-pins"].quantity) == "2"
    assert "From the teardown" not in operation(found, "fit-interlock-pins").do


def test_thread_locker_is_a_consumable_and_the_lubricant_of_its_joint(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "retainer plate, 4x M6x1 16 mm, thread locker", "cover, 2x M6x1")
    procedure = procedure_of(found)
    assert [procedure.joints_by_id[name].lubricant for name in ("retainer-plate-fasteners", "cover-fasteners")] == [
        "thread locker", "",
    ]  # fmt: skip
    assert "thread-locker" in [use.name for use in operation(found, "fit-retainer-plate").uses]
    assert "Put thread locker on the clean, dry threads." in operation(found, "fit-retainer-plate").do


def test_line_that_was_corrected_to_a_note_is_a_note(tmp_path: Path) -> None:
    corrected = (
        intent("off", text="oil black with flakes"),
        intent("edit", line="2", text="note: oil black with flakes"),
    )
    found = torn_down(tmp_path, "cover", after=corrected)
    assert [each.id for each in procedure_of(found).operations if "oil-black" in each.id] == []
    assert "# Note of the teardown: oil black with flakes" in found.book.text()


def test_complaint_is_a_ready_line_for_failures(tmp_path: Path) -> None:
    note = intent("note", text="4th gear jumps out, customer says on overrun")
    found = torn_down(tmp_path, "cover", after=(note,))
    assert "#   failure-4th-gear-jumps-out: 4th gear jumps out\n" in found.book.text()
    assert "guards-against: [failure-4th-gear-jumps-out]" in re.sub(r"\n# ", " ", found.book.text())


def test_question_to_the_customer_is_no_complaint(tmp_path: Path) -> None:
    note = intent("note", text="ask the customer: which coolant")
    found = torn_down(tmp_path, "cover", after=(note,))
    assert "# Note of the teardown: ask the customer: which coolant" in found.book.text()
    assert "Complaint" not in found.book.text()


def test_state_for_the_nut_locks_the_nut_and_has_a_short_title(tmp_path: Path) -> None:
    text = "two gears locked for the nut"
    found = torn_down(tmp_path, "gear nut, 1x M22x1.5", "5th gear, tray B", after=(intent("state", text=text),))
    procedure = procedure_of(found)
    assert [each.title for each in procedure.state] == ["Two gears lock"]
    assert operation(found, "tighten-gear-nut").needs == {"two-gears-lock": ("locked",)}
    assert operation(found, "fit-5th-gear").needs == {}


def test_all_pairs_of_rails_are_asked_and_gears_in_mesh_are_not() -> None:
    titles = ["rail 5/rev", "reverse idler gear", "layshaft", "3rd gear", "rail 3/4", "rail 1/2", "selector forks"]
    pairs = pairs_to_ask(titles)
    rails = {frozenset(pair) for pair in pairs if all("rail" in each for each in pair)}
    assert len(rails) == 3
    assert not {"reverse idler gear", "layshaft", "3rd gear"} & {
        first for first, second in pairs if "fork" not in second
    }


# --- texts and fluids ---------------------------------------------------------------------------------------


def test_thickness_in_the_name_of_a_shim_is_a_value_and_no_name(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "cover", after=(intent("off", what="shim input bearing 1.05 mm"),))
    assert operation(found, "fit-shim-input-bearing").title == "Fit the shim input bearing"
    assert [each.ask for each in operation(found, "inspect-shim-input-bearing").record] == [
        "Thickness of the shim input bearing"
    ]
    assert "# measured during the teardown: 1.05 mm" in found.book.text()


def test_bearing_retainer_is_not_oiled_and_several_washers_are_plural(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "front bearing retainer", "thrust washers 1st gear", "3rd gear, front")
    assert "Oil" not in operation(found, "fit-front-bearing-retainer").do
    assert "Oil them where they slide or turn." in operation(found, "fit-thrust-washers-1st-gear").do
    assert [point.text for point in operation(found, "fit-3rd-gear").check] == ["It is in place: front"]


def test_torque_that_was_written_down_is_a_comment_at_its_joint(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "drain plug, 1x M14x1.5, torque 18 N·m")
    assert "inspect-drain-plug" not in procedure_of(found).operations_by_id
    assert "# The teardown says 18 N·m: compare it with the manual." in found.book.text()


def test_water_pump_is_filled_with_coolant_and_not_with_oil(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "drain plug, 1x M14x1.5", "water pump, 4x M8x1.25 30 mm")
    names = list(procedure_of(found).operations_by_id)
    assert ("fill-oil" in names, "fill-cooling-system" in names) == (False, True)
    assert "coolant" in procedure_of(found).kit_by_id
