"""What single lines of a teardown become: new and old parts, counts, sealant, small parts. Invented data; the rules of
the trade are common practice, no source."""

from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.writing.drafts.draft_source import read_draft_source
from benchflow.writing.drafts.part_words import is_closing, is_plural, part_in_words
from tests.driving.script import intent
from tests.driving.teardown_script import TeardownScript
from tests.writing.test_draft_from_teardown import operation, procedure_of, torn_down


def checks_of(found, ident: str) -> list[str]:  # type: ignore[no-untyped-def]
    return [point.text for point in operation(found, ident).check]


# --- a new part, an old part ------------------------------------------------------------------------------


def test_replaced_part_is_new_and_its_old_bag_is_not_named(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "5th gear synchro ring, replace: worn, tray B")
    fit = operation(found, "fit-5th-gear-synchro-ring")
    assert fit.title == "Fit the new 5th gear synchro ring"
    assert fit.undo is not None
    assert "tray B" not in fit.do + fit.undo.do
    assert "apart from the old one" in fit.undo.do


def test_staked_nut_that_is_replaced_is_new_each_time_and_staked_again(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "5th gear nut, 1x M22x1.5, replace: staked, bag 6")
    fit = operation(found, "fit-5th-gear-nut")
    assert fit.do == "Bring the new 5th gear nut.\nRun it on by hand first."
    assert fit.title == "Fit the new 5th gear nut"
    assert procedure_of(found).kit_by_id["part-5th-gear-nut"].discard
    assert checks_of(found, "fit-5th-gear-nut") == ["It is staked"]


def test_one_replaced_place_of_two_is_new_and_the_other_comes_from_its_bag(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path).begin()
    script.off("2x diff bearings left + right, tray C")
    script.do("fate", line="1", place="left", fate="replace", reason="pitted")
    fit = operation(read_draft_source(script.path), "fit-diff-bearings")
    assert fit.title == "Fit the diff bearings"
    assert fit.do.startswith("Bring a new one for left. Bring the diff bearings for right from tray C.")


def test_part_without_a_fate_is_used_again_whatever_its_name(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "selector shaft lock plate, 2x M6x1 16 mm, bag 5", "circlip, bag 6")
    kit = procedure_of(found).kit_by_id
    assert [kit[part].discard for part in ("selector-shaft-lock-plate", "circlip")] == [False, False]
    fit = operation(found, "fit-selector-shaft-lock-plate")
    assert (fit.title[:33], "bag 5" in fit.do) == ("Fit the selector shaft lock plate", True)


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("cover gasket", "cover-gasket"),
        ("shaft seal", "shaft-seal"),
        ("lock tab washer", "lock-tab-washer"),
        ("split pin", "split-pin"),
        ("circlip, replace", "circlip"),
        ("copper sealing washer", "copper-sealing-washer"),
        ("banjo bolt, replace: new one each time", "banjo-bolt"),
    ],
)
def test_part_that_is_renewed_each_time_is_thrown_away(tmp_path: Path, line: str, part: str) -> None:
    found = torn_down(tmp_path, f"{line}, bag 9")
    assert procedure_of(found).kit_by_id[part].discard
    fit = operation(found, f"fit-{part}")
    assert fit.undo is not None
    assert ("new" in fit.title, "bag 9" in fit.do + fit.undo.do) == (True, False)


def test_seal_that_is_used_again_is_not_thrown_away(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "cover gasket, use again, bag 9")
    assert not procedure_of(found).kit_by_id["cover-gasket"].discard
    assert "bag 9" in operation(found, "fit-cover-gasket").do


def test_partner_of_a_new_part_is_matched(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "input bearing, replace, goes with input shaft")
    assert "It is new, and is matched to the partner as the manual prints: input shaft" in checks_of(
        found, "fit-input-bearing"
    )


def test_fate_after_a_small_part_belongs_to_the_small_part(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "drain plug, 1x M14x1.5, copper washer, replace")
    kit = procedure_of(found).kit_by_id
    assert (kit["drain-plug"].lot_required, kit["drain-plug-copper-washer"].discard) == (False, True)
    assert "inspect-drain-plug" not in procedure_of(found).operations_by_id
    assert operation(found, "fit-drain-plug").title == "Fit the drain plug"


# --- counts -----------------------------------------------------------------------------------------------


def test_one_fastener_each_counts_for_each_part(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "detent caps 1..3, 1x M14x1.5 each, bag 2", "rocker caps 1..4, 2x M8x1.25 40 mm each")
    joints = procedure_of(found).joints_by_id
    assert [joints["detent-caps"].count, joints["rocker-caps-fasteners"].count] == [3, 8]


def test_count_of_each_side_is_not_guessed(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "flange, 2x M8x1.25 20 mm each side")
    joint = procedure_of(found).joints_by_id["flange-fasteners"]
    assert (joint.count, "layout" in joint.asked) == (1, True)  # the layout that is given says how many
    assert "The count is one of several" in found.book.text()


@pytest.mark.parametrize(
    ("line", "ident", "undo"),
    [
        ("drain plug, 1x M18x1.5", "fit-drain-plug", "Unscrew the drain plug"),
        ("speed sensor, 1x M6x1 16 mm", "fit-speed-sensor", "Loosen the fastener. Take off the speed sensor"),
        (
            "plate, 4x M8x1.25 20 mm",
            "tighten-plate-fasteners",
            "Loosen the 4 fasteners a little at a time, in the reverse of the tightening order",
        ),
    ],
)
def test_undo_of_a_joint_counts_in_good_grammar(tmp_path: Path, line: str, ident: str, undo: str) -> None:
    written = operation(torn_down(tmp_path, line), ident).undo
    assert written is not None
    assert written.do == undo


def test_pronoun_of_the_parts_is_singular_or_plural() -> None:
    assert [name for name in ("dowels", "output shaft seals left right", "hub and sleeve of 3rd", "input shims 0.30 mm")
            if not is_plural(name)] == []  # fmt: skip
    assert [name for name in ("magnet of the case", "boss", "drain plug with magnets", "input shaft with output shaft")
            if is_plural(name)] == []  # fmt: skip


# --- sealant ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", ["sealed", "sealed, no gasket", "black silicone on the face", "note: sealant here"])
def test_sealed_face_gets_a_bead_with_an_asked_window(tmp_path: Path, words: str) -> None:
    found = torn_down(tmp_path, f"rear cover, 9x M8x1.25 35 mm, {words}, bag 3")
    assert [use.name for use in operation(found, "seal-rear-cover").uses] == ["sealant"]
    fit = operation(found, "fit-rear-cover")
    (window,) = fit.time
    assert (window.operation.name, window.asked is not None) == ("seal-rear-cover", True)
    assert fit.tighten is not None  # the open time ends with the bolts, not with the cover set down
    assert fit.after == ()  # the time window says that it comes after the bead
    assert "Keep oil off both faces" in fit.do


def test_joint_without_a_gasket_is_asked_about(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "oil pump, no gasket")
    assert any(text.startswith("No gasket was found here") for text in checks_of(found, "fit-oil-pump"))


def test_sealed_plug_has_no_bead(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "oil plug, 1x M14x1.5, sealed")
    assert "seal-oil-plug" not in procedure_of(found).operations_by_id
    assert "Sealed as the manual prints" in checks_of(found, "fit-oil-plug")


def test_nothing_is_oiled_on_a_sealing_face_or_on_a_switch(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "rear cover", "reverse light switch, 1x M14x1.5", "clutch disc", "input shaft")
    oiled = [each.id for each in procedure_of(found).operations if each.do.rpartition(". ")[2].startswith("Oil")]
    assert oiled == ["fit-input-shaft"]


# --- small parts and words --------------------------------------------------------------------------------


@pytest.mark.parametrize("pin", ["roll pin", "split pin"])
def test_pin_is_driven_in_new_and_not_tightened(tmp_path: Path, pin: str) -> None:
    found = torn_down(tmp_path, f"5th gear fork, 1x {pin} 5 mm, tray B")
    procedure = procedure_of(found)
    assert (procedure.joints, "tighten-5th-gear-fork" in procedure.operations_by_id) == ((), False)
    fit = operation(found, "fit-5th-gear-fork")
    assert f"Drive in a new {pin}, 5 mm." in fit.do
    assert procedure.kit_by_id[f"part-5th-gear-fork-{pin.replace(' ', '-')}"].discard
    assert checks_of(found, "fit-5th-gear-fork") == [f"The new {pin} is seated"]


def test_circlip_key_and_clip_are_fitted_again_and_not_tightened(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "gear, 1x circlip 34 mm, 1x key", "pipe, 2x clips")
    procedure = procedure_of(found)
    assert procedure.joints == ()
    assert [one.id for one in procedure.kit if one.discard] == []
    assert checks_of(found, "fit-gear") == ["The circlip is in its groove all round", "The key is seated"]


def test_words_of_a_line_are_in_the_instruction_and_counted(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "cover, 4x M6x1 20 mm, goes over the pipe")
    assert "From the teardown: goes over the pipe." in operation(found, "fit-cover").do
    assert [(each.place, each.text) for each in found.book.kept] == [("line 1", "goes over the pipe")]


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ("copper washer", (1, "copper washer")),
        ("2 dowels", (2, "dowels")),
        ("gasket torn", (1, "gasket")),
        ("circlip under it", (1, "circlip")),
        ("thrust washer at both ends", (2, "thrust washer")),
        ("no gasket", None),
        ("dowel missing", None),
        ("careful spring jumps", None),
    ],
)
def test_part_in_the_words_is_found(words: str, part: tuple[int, str] | None) -> None:
    assert part_in_words(words) == part


def test_shim_has_a_thickness_without_a_limit(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "layshaft shim, thickness 1.45 mm", "end cover, 6x M8x1.25 30 mm, shim 0.3 mm")
    values = {record.name: record for each in procedure_of(found).operations for record in each.record}
    assert {name: value.bound for name, value in values.items()} == {
        "layshaft-shim-thickness": None,
        "end-cover-shim": None,
    }
    assert "end-cover-shim" in procedure_of(found).kit_by_id


# --- readings ---------------------------------------------------------------------------------------------


def test_place_of_a_single_reading_is_kept(tmp_path: Path) -> None:
    turning = intent("measure", name="turning torque", place="output shaft", value="1.2 N·m")
    found = torn_down(tmp_path, "output shaft", before=(turning,))
    measured = operation(found, "measure-turning-torque")
    assert measured.title == "Measure the turning torque (output shaft)"
    assert [record.ask for record in measured.record] == ["Turning torque (output shaft)"]


def test_readings_of_places_of_a_line_are_taken_at_each_place(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "synchro rings 1..4, 1 gap 0.9 mm, 2 gap 0.8 mm")
    (record,) = operation(found, "inspect-synchro-rings").record
    assert record.slots == ("1", "2", "3", "4")
    assert "1 0.9 mm, 2 0.8 mm" in found.book.text()


def test_end_float_is_measured_on_the_fitted_part_and_breakaway_is_not(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "1st gear, end float 0.31 mm", "flange nut, 1x M24x1.5, breakaway 190 N·m")
    assert [one.id for one in procedure_of(found).operations if one.record] == ["measure-1st-gear-end-float"]
    assert [ref.name for ref in operation(found, "measure-1st-gear-end-float").after] == ["fit-1st-gear"]
    assert "It let go at 190 N·m during the teardown" in found.book.text()


def test_shims_of_a_cover_close_nothing() -> None:
    assert [name for name in ("front cover shims", "cover bolts", "magnet of the case") if is_closing(name)] == []
    assert is_closing("gear case")


# --- a state that locks something -------------------------------------------------------------------------


def test_lock_of_the_way_down_is_needed_to_tighten_and_freed_to_turn(tmp_path: Path) -> None:
    found = torn_down(
        tmp_path, "5th gear nut, 1x M22x1.5, state: 1st and 5th gear in to lock the shafts", "input shaft"
    )
    procedure = procedure_of(found)
    assert operation(found, "tighten-5th-gear-nut").needs == {"lock": ("locked",)}
    assert operation(found, "turn-by-hand").needs == {"lock": ("free",)}
    assert operation(found, "count-tools").needs == {"lock": ("free",)}
    assert {move.id for move in procedure.moves} == {"lock-locked", "lock-free"}


def test_draft_of_a_gearbox_is_sound_but_for_its_figures(tmp_path: Path) -> None:
    path = Path(__file__).parents[1] / "session" / "data" / "gearbox_teardown.txt"
    found = torn_down(tmp_path, *filter(None, path.read_text(encoding="utf-8").splitlines()))
    drafted = tmp_path / "draft.yaml"
    drafted.write_text(found.book.text(), encoding="utf-8")
    report = check_file(drafted, None)
    assert (report["ok"], {finding["severity"] for finding in report["findings"]}) == (True, {"note"})


def test_seal_named_twice_in_a_line_is_one_part(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "speedo drive, 1x M6x1 16 mm, o-ring torn, replace o-ring, bag 1")
    assert [item.id for item in procedure_of(found).kit if "o-ring" in item.id] == ["speedo-drive-o-ring"]
    assert not any("Inspect the new" in point.title for point in procedure_of(found).operations)
