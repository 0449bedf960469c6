"""Drafts from a teardown: what came off last goes on first, and every figure of the manual is asked. Invented data."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.cli import benchflow
from benchflow.commands.check import check_file
from benchflow.procedure.expand import expand
from benchflow.procedure.figures_to_fill import FigureToFill, figures_to_fill
from benchflow.procedure.model import Operation, Procedure
from benchflow.procedure.reader import read
from benchflow.session.machine_folders import machine_folders
from benchflow.writing.drafts.collision_questions import Collision, ask_collisions, moving_parts
from benchflow.writing.drafts.collision_rules import write_collisions
from benchflow.writing.drafts.draft_source import DraftSource, read_draft_source
from tests.driving.script import Json, Script, intent, open_intent
from tests.driving.teardown_script import OPEN, SKIP_REST, TeardownScript

MEASURED = intent("measure", name="input shaft end float", value="0.15 mm", instrument="dial gauge DG-2")


def torn_down(folder: Path, *lines: str, before: tuple[Json, ...] = (), after: tuple[Json, ...] = ()) -> DraftSource:
    script = TeardownScript(folder)
    off = (intent("off", text=line) for line in lines)
    for message, reply in zip((*before, *lines), script.send(OPEN, *before, SKIP_REST, *off, *after)[1:], strict=False):
        assert reply["ok"], (message, reply)
    return read_draft_source(script.path)


def procedure_of(found: DraftSource) -> Procedure:
    """The draft as the reader reads it: it has no error."""
    result = read(found.book.text())
    assert [str(problem) for problem in result.problems if problem.severity != "note"] == []
    assert result.procedure is not None
    return result.procedure


def operation(found: DraftSource, ident: str) -> Operation:
    return procedure_of(found).operations_by_id[ident]


def test_last_off_goes_on_first(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "rear cover, 10x M8x1.25 30 mm", "rear cover gasket, replace", "output shaft")
    fitted = [one.id for one in procedure_of(found).operations if one.id.startswith(("fit", "tighten"))]
    assert fitted == [
        "fit-output-shaft", "fit-rear-cover-gasket", "fit-rear-cover", "tighten-rear-cover-fasteners",
    ]  # fmt: skip
    assert [ref.name for ref in operation(found, "fit-rear-cover").after] == ["fit-rear-cover-gasket"]


def test_gasket_is_thrown_away_and_new_parts_need_a_lot(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "rear cover gasket, replace", "roller bearing, replace")
    kit = procedure_of(found).kit_by_id
    assert (kit["rear-cover-gasket"].discard, kit["rear-cover-gasket"].lot_required) == (True, False)
    assert (kit["roller-bearing"].discard, kit["roller-bearing"].lot_required) == (False, True)
    undo = operation(found, "fit-rear-cover-gasket").undo
    assert undo is not None
    assert [ref.name for ref in undo.discard] == ["rear-cover-gasket"]


def test_joint_has_count_and_thread_and_asks_for_the_rest(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "flange, 4x M8x1.25 25 mm front, 2x M8x1.25 40 mm rear")
    joint = procedure_of(found).joints_by_id["flange-fasteners"]
    assert (joint.count, joint.thread, sorted(joint.asked)) == (6, "M8x1.25", ["layout", "lubricant"])
    checks = [point.text for point in operation(found, "fit-flange").check]
    assert checks == [
        "In place, not tightened: 4 × M8x1.25, 25 mm, front",
        "In place, not tightened: 2 × M8x1.25, 40 mm, rear",
    ]


def test_each_thread_of_a_line_is_a_joint(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "flange, 4x M8x1.25 25 mm, 2x M6x1 20 mm")
    assert [joint.count for joint in procedure_of(found).joints] == [4, 2]


def test_what_was_measured_is_recorded_with_the_figure_as_a_comment(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "output shaft, end float 0.12 mm", before=(MEASURED,))
    asked = {one.name for one in figures_to_fill(procedure_of(found)) if one.what == "limit"}
    assert asked == {"output-shaft-end-float", "input-shaft-end-float"}
    text = found.book.text()
    assert "# measured during the teardown: 0.12 mm" in text
    assert "# measured during the teardown: 0.15 mm" in text


def test_marks_orientation_partner_and_places_are_checked(tmp_path: Path) -> None:
    line = "rod caps 1..4, stamped on the side, lip to rear, goes with rod, bag 2"
    found = torn_down(tmp_path, line)
    checks = [point.text for point in operation(found, "fit-rod-caps").check]
    assert checks == [
        "Its marks are where they were: stamped on the side",
        "Orientation: lip to rear",
        "It is with its partner: rod",
        "It is at its own place: {rod-cap}",
    ]
    assert operation(found, "fit-rod-caps").title == "Fit the rod cap {rod-cap}"
    undo = operation(found, "fit-rod-caps").undo
    assert undo is not None
    assert "bag 2" in undo.do


def test_part_at_several_places_is_fitted_place_by_place(tmp_path: Path) -> None:
    found = torn_down(
        tmp_path, "main caps 1..5, 10x M10x1.5 90 mm", "rod caps 1..4, 8x M9x1 45 mm", "bushes, left + right"
    )
    plan = expand(procedure_of(found), {})
    assert [step for step in plan.steps if step.startswith("fit-rod")] == [f"fit-rod-caps[{n}]" for n in range(1, 5)]
    assert {"fit-bushes[left]", "fit-main-caps[5]"} <= plan.steps.keys()
    path = tmp_path / "draft.yaml"
    path.write_text(found.book.text(), encoding="utf-8")
    assert check_file(path, None)["ok"]


def test_new_part_never_comes_from_the_bag_of_the_old_one(tmp_path: Path) -> None:
    found = torn_down(
        tmp_path, "gear nut, 1x M22x1.5, replace: staked, bag 6", "synchro ring, replace: worn, tray B",
        "pump cover, 2x M6x1 12 mm, replace: cracked, bag 7", "shaft lock plate, 2x M6x1 16 mm, bag 5",
    )  # fmt: skip
    for ident in ("fit-gear-nut", "fit-synchro-ring", "fit-pump-cover"):
        one = operation(found, ident)
        assert one.title.startswith("Fit the new ")
        assert one.undo is not None
        assert not re.search(r"(?:bag|tray) \w", f"{one.do.replace('Its fasteners are in bag 7', '')}{one.undo.do}")
    plate = operation(found, "fit-shaft-lock-plate")
    assert plate.title == "Fit the shaft lock plate, and tighten its fasteners"
    assert "from bag 5" in plate.do


def test_fasteners_of_each_part_are_counted_for_all(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "detent caps 1..3, 1x M14x1.5 each, bag 2", "rod caps 1..4, 2x M9x1")
    joints = procedure_of(found).joints_by_id
    assert joints["detent-caps"].count == 3
    assert "layout" in joints["rod-caps-fasteners"].asked
    assert any("how many are there" in kept.line for kept in found.book.kept)


@pytest.mark.parametrize("words", ["sealed", "no gasket", "liquid gasket"])
def test_sealed_cover_gets_a_bead_and_no_oil(tmp_path: Path, words: str) -> None:
    found = torn_down(tmp_path, f"gear case, 8x M8x1.25 30 mm, {words}")
    fit = operation(found, "fit-gear-case")
    assert (bool(fit.time), fit.tighten is not None) == (True, True)  # the open time ends with the bolts
    assert "il what slides" not in operation(found, "fit-gear-case").do
    assert "sealant-with-window" in found.book.text()


def test_roll_pin_is_not_tightened_and_is_new(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "gear fork, 1x roll pin", "drain plug, 1x M14x1.5, copper washer, bag 3")
    procedure = procedure_of(found)
    assert [joint.id for joint in procedure.joints] == ["drain-plug"]
    assert "The new roll pin is seated" in [point.text for point in operation(found, "fit-gear-fork").check]
    assert {part.id for part in procedure.kit if part.discard} == {"gear-fork-roll-pin", "drain-plug-copper-washer"}
    assert operation(found, "fit-drain-plug").tighten
    assert "Loosen the 1" not in found.book.text()


def test_seal_that_is_used_again_is_kept(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "o-ring of the sensor, use again, bag 7", "circlip, use again")
    assert not any(part.discard for part in procedure_of(found).kit)
    one = operation(found, "fit-o-ring-sensor")
    assert (one.title, one.do[:42]) == ("Fit the o-ring of the sensor", "Bring the o-ring of the sensor from bag 7.")
    assert "The teardown says: use again. Most makers renew it" in [point.text for point in one.check]


def test_odd_bolt_is_asked_for_in_the_count_of_the_joint(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "cover, 6x M8x1.25 25 mm, 1 odd bolt M8 30 mm at 12 o'clock")
    assert any("odd bolt" in kept.line and kept.refused for kept in found.book.kept)


def test_draft_of_a_sealed_cover_has_no_remark_about_its_own_lines(tmp_path: Path) -> None:
    path = tmp_path / "draft.yaml"
    text = torn_down(tmp_path, "cover, 6x M8x1.25 25 mm, sealed", "lid, sealed").book.text()
    path.write_text(text, encoding="utf-8")
    assert {finding["code"] for finding in check_file(path, None)["findings"]} == {"to-fill", "no-rule"}


def test_words_of_a_line_are_in_its_instruction(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "bearing plate, 4x M8x1.25, comes with the shim")
    assert "From the teardown: comes with the shim." in operation(found, "fit-bearing-plate").do


def test_new_part_is_matched_to_its_partner(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "input bearing, replace, goes with rail 3/4")
    assert "It is new, and is matched to the partner as the manual prints: rail 3/4" in [
        point.text for point in operation(found, "fit-input-bearing").check
    ]


def test_value_at_one_place_names_the_place(tmp_path: Path) -> None:
    measured = intent("measure", name="turning torque", value="1.2 N·m", place="output shaft")
    found = torn_down(tmp_path, "cover", before=(measured,))
    (record,) = operation(found, "measure-turning-torque").record
    assert record.ask == "Turning torque (output shaft)"


def test_findings_and_fates_of_one_unit_are_comments_and_general_checks(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "input shaft, ask customer", "oil pump, machine, found: swarf in the screen")
    checks = [point.text for one in procedure_of(found).operations for point in one.check]
    assert {"It is clean, without debris", "After machining: it is measured, and clean"} <= set(checks)
    assert operation(found, "inspect-input-shaft").check[0].text == "It is sound, and within the limits of wear"
    text = re.sub(r"\n *# ", " ", found.book.text())
    assert re.search(r"The customer of GB-12 \S+ has to decide: input shaft: use again or replace \(line 1\)", text)
    assert re.search(r"Found on GB-12 \S+: debris: swarf in the screen \(line 2\); machine \(line 2\). Add a", text)


def test_sealant_that_was_found_gets_an_asked_time(tmp_path: Path) -> None:
    found = torn_down(tmp_path, 'sump, 12x M6x1 20 mm, "silicone sealant on the face"')
    assert "time" in [one.what for one in figures_to_fill(procedure_of(found))]


def test_part_that_was_put_back_is_left_out_and_named(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "cover", "shaft", after=(intent("put-back", line="2"),))
    assert "fit-shaft" not in procedure_of(found).operations_by_id
    assert "Line 2 (shaft) is in place" in found.book.text()


def test_collisions_are_asked_where_nobody_was_asked(tmp_path: Path) -> None:
    from benchflow.writing.drafts.collision_rules import write_questions

    found = torn_down(tmp_path, "cam cover", "camshaft", "valves", "crankshaft")
    write_questions(found.book, found.titles)
    assert "# - Can the crankshaft hit or block the valves in a wrong position?" in found.book.text()
    procedure_of(found)


def test_answers_become_states_rules_and_moves_that_are_proven(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "valves", "crankshaft")
    write_collisions(found.book, [Collision("crankshaft", "at the top", "valves", "open", "the valves would bend")])
    path = tmp_path / "draft.yaml"
    path.write_text(found.book.text(), encoding="utf-8")
    report = check_file(path, None)
    assert {finding["severity"] for finding in report["findings"]} <= {"note"}
    assert report["ok"]
    procedure = procedure_of(found)
    assert [rule.never for rule in procedure.interference] == [{"crankshaft": ("at-the-top",), "valves": ("open",)}]
    assert {move.id: move.needs for move in procedure.moves}["valves-open"] == {
        "crankshaft": ("not-fitted", "clear"), "valves": ("clear",),
    }  # fmt: skip
    fitted = operation(found, "fit-valves")
    assert (fitted.needs, fitted.sets) == ({"crankshaft": ("not-fitted", "clear")}, {"valves": "clear"})
    assert "Write `needs` and `sets` on the other operations" in found.book.text()


def test_bench_refuses_to_fit_a_part_that_would_touch_another(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "valves", "rotor")
    write_collisions(found.book, [Collision("rotor", "at the top", "valves", "open", "the valves would bend")])
    (tmp_path / "bench").mkdir()
    script = Script(tmp_path / "bench", found.book.text())
    script.do_all(open_intent())
    for ident, checks in (("wash-parts", 1), ("fit-rotor", 1)):
        script.do_all(intent("start", operation=ident), *(intent("tick-check", check=n + 1) for n in range(checks)))
        script.do_all(intent("finish", operation=ident))
    script.do_all(intent("move", move="rotor-top"))
    (reply,) = script.send(intent("start", operation="fit-valves"))
    assert not reply["ok"]
    script.do_all(intent("move", move="rotor-clear"), intent("start", operation="fit-valves"))


def test_questions_end_with_q_and_say_their_number() -> None:
    asked: list[str] = []

    def ask(question: str, default: str) -> str:
        asked.append(question)
        return "q"

    unasked: list[str] = []
    assert ask_collisions(["shaft", "fork", "rotor"], ask, unasked=unasked) == []
    assert len(asked) == 1
    assert len(unasked) == 3
    assert asked[0].startswith("Question 1 of ")


def test_draft_takes_the_name_of_a_unit(tmp_path: Path) -> None:
    log = TeardownScript(tmp_path).begin().off("cover", "shaft").path
    folder = machine_folders().sessions
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "teardown-gearbox-gb-12.jsonl").write_bytes(log.read_bytes())
    benchflow.main(["draft", "GB-12", "-o", str(tmp_path / "made.yaml"), "--no-questions"], standalone_mode=False)
    assert "Fit the shaft" in (tmp_path / "made.yaml").read_text("utf-8")
    with pytest.raises(BenchflowError, match="There is no log GB-99"):
        benchflow.main(["draft", "GB-99", "-o", "-"], standalone_mode=False)


# --- the bench refuses each figure until it is given --------------------------------------------------

GIVEN: dict[str, Json] = {
    "torque": {"value": "20 N·m"}, "layout": {"layout": "1 2 3 4 / 5 6 7 8"}, "lubricant": {"lubricant": "engine oil"},
    "thread": {"thread": "M6x1"}, "limit": {"value": "0.05 .. 0.20 mm"}, "time": {"value": "at most 10 min"},
}  # fmt: skip


def figure_intent(figure: FigureToFill) -> Json:
    names: Json = {"joint": figure.name} if figure.what in ("torque", "layout", "lubricant", "thread") else {}
    if figure.what == "torque":
        names["stage"] = figure.number
    if figure.what == "limit":
        names = {"name": figure.name}
    if figure.what == "time":
        names = {"operation": figure.operation, "since": figure.since}
    return {"intent": "figure", "from": "manual p. 3", **names, **GIVEN[figure.what]}


def attempts(procedure: Procedure, figure: FigureToFill) -> Iterator[Json]:
    """What cannot be entered without the figure."""
    if figure.what == "time":
        yield intent("start", operation=figure.since)
        yield intent("start", operation=figure.operation)
    elif figure.what == "limit":
        yield intent("record", name=figure.name, value="0.10 mm")
    else:
        yield intent("tick", joint=figure.name, fastener=1)


def owner(procedure: Procedure, figure: FigureToFill) -> str:
    if figure.operation:
        return figure.operation
    return next(one.id for one in procedure.operations if one.tighten and one.tighten.joint == figure.name)


def test_bench_refuses_what_needs_an_asked_figure_until_it_is_given(tmp_path: Path) -> None:
    found = torn_down(
        tmp_path, 'cover, 8x M6x1 30 mm, "sealant on the face"', "plate, 8 bolts", "shaft, end float 0.12 mm"
    )
    procedure = procedure_of(found)
    left = list(figures_to_fill(procedure))
    assert {figure.what for figure in left} == {"torque", "layout", "lubricant", "thread", "limit", "time"}
    (tmp_path / "bench").mkdir()
    script = Script(tmp_path / "bench", found.book.text())
    script.do_all(open_intent())
    for step in expand(procedure, {}).steps.values():
        own = [figure for figure in left if step.id in (owner(procedure, figure), figure.since)]
        own = [figure for figure in own if figure in left]
        for figure in (each for each in own if each.what == "time"):
            _refused_then_given(script, procedure, figure)
            left.remove(figure)
        script.do_all(intent("start", operation=step.id))
        for figure in (each for each in own if each.what != "time" and owner(procedure, each) == step.id):
            _refused_then_given(script, procedure, figure)
            left.remove(figure)
        _do(script, step.operation)
        script.do_all(intent("finish", operation=step.id))
    assert left == []
    script.audited()


def _refused_then_given(script: Script, procedure: Procedure, figure: FigureToFill) -> None:
    for attempt in attempts(procedure, figure):
        (reply,) = script.send(attempt)
        assert "value-missing" in [reason["code"] for reason in reply["refused"]], (figure, reply)
    (reply,) = script.send(figure_intent(figure))
    assert reply["ok"], (figure, reply)


def _do(script: Script, operation: Operation) -> None:
    entries: list[Json] = [intent("record", name=record.name, value="0.10 mm") for record in operation.record]
    if operation.tighten:
        entries.append(intent("tick-rest", joint=operation.tighten.joint))
    for ref in operation.uses:
        if ref.name == "sealant":
            entries.append(intent("lot", consumable=ref.name, lot="L1"))
    entries += [intent("tick-check", check=number) for number in range(1, len(operation.check) + 1)]
    script.do_all(*entries)


def test_circlip_and_gasket_move_nothing() -> None:
    assert moving_parts(["circlip at input shaft", "shaft seal", "input shaft", "gears", "gear"]) == [
        "input shaft",
        "gears",
    ]


def test_position_called_clear_is_not_the_free_one(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "valves", "crankshaft")
    write_collisions(found.book, [Collision("crankshaft", "clear", "valves", "open", "the valves would bend")])
    assert operation(found, "fit-crankshaft").sets == {"crankshaft": "out-of-the-way"}


def test_draft_of_a_damaged_log_says_what_is_missing(tmp_path: Path) -> None:
    log = TeardownScript(tmp_path).begin().off("cover", "shaft", "pump").path
    log.write_bytes(log.read_bytes().replace(b"pump", b"pomp", 1))
    found = read_draft_source(log)
    assert any(kept.refused and "damaged from there on" in kept.why for kept in found.book.kept)
    assert "damaged from there on" in found.book.text()
