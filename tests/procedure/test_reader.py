"""Reading of correct procedures: every key and value is read exactly."""

from decimal import Decimal
from pathlib import Path

import pytest

from benchflow.procedure import model
from benchflow.procedure.compiled_cache import load
from benchflow.procedure.model import Procedure
from benchflow.procedure.reader import read, read_bytes

GOOD = Path(__file__).parent / "good" / "every-key.yaml"
PROCEDURES = sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml"))

HEAD = "benchflow: 1\nid: trial\ntitle: A trial\n"
SECTIONS = "sections:\n  - title: All of it\n    operations:\n"


def accepted(text: str) -> Procedure:
    reading = read(text)
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    return reading.procedure


def operation(keys: str, head: str = "") -> model.Operation:
    """The only operation of a procedure with these keys, with further keys at the top level."""
    lines = "".join(f"        {line}\n" for line in keys.splitlines())
    return accepted(f"{HEAD}{head}{SECTIONS}      - id: first\n        title: First\n{lines}").operations[0]


@pytest.fixture(scope="module")
def every_key() -> Procedure:
    reading = read_bytes(GOOD.read_bytes(), GOOD.name)
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    assert not reading.problems
    return reading.procedure


def _by_id(procedure: Procedure) -> dict[str, model.Operation]:
    return {operation.id: operation for operation in procedure.operations}


@pytest.mark.parametrize("path", PROCEDURES, ids=lambda path: path.stem)
def test_shipped_procedure_has_no_problem(path: Path) -> None:
    assert [str(problem) for problem in load(path).problems] == []


def test_top_level_keys_are_read(every_key: Procedure) -> None:
    assert (every_key.id, every_key.title, every_key.revision) == ("every-key", "Every key there is", "B")
    assert every_key.notice == "All specifications here are invented."
    assert [caution.signal for caution in every_key.cautions] == ["danger", "warning", "caution", "notice"]
    assert every_key.units == {"torque": "N·m", "length": "mm"}
    assert every_key.decision == "guarded"
    assert every_key.options[0].choices == ("stock", "reground")
    assert every_key.places["valve"] == ("intake 1", "exhaust 1", "intake 2", "exhaust 2")
    assert [(failure.id, failure.text) for failure in every_key.failures] == [("coolant-leak", "It is losing water")]
    due = every_key.follow_up[0].due
    assert due is not None
    assert (due.value, due.unit, every_key.follow_up[0].or_) == (Decimal(14), "d", "500 km")


def test_state_and_interference_are_read(every_key: Procedure) -> None:
    pistons, valves, *pushrods = every_key.state
    assert [rod.name for rod in pushrods] == ["pushrod[1]", "pushrod[2]"]
    assert (pistons.values, pistons.start, pistons.ask) == (("at-deck", "down"), None, "Where are the pistons?")
    assert pistons.words == {"at-deck": "at the deck", "down": "down the bores"}
    assert (valves.values, valves.start, valves.words) == (("shut", "open"), "shut", {})
    assert every_key.interference[0].never == {"pistons": ("at-deck",), "valves": ("open",)}
    move = every_key.moves[0]
    assert (move.id, move.during, move.sets) == ("turn-crank-down", {"valves": "shut"}, {"pistons": "down"})
    assert move.needs == {"valves": ("shut",), "pushrod[1]": ("out",), "pushrod[2]": ("out",)}
    assert move.when == {"cams": ("stock", "reground")}


def test_what_the_customer_gets_is_read(every_key: Procedure) -> None:
    assert every_key.handover == {"First start": "Run it at 1500 rpm for 20 min.", "Oil": "Change it after 500 km."}
    assert _by_id(every_key)["polish-caps"].elsewhere == "the machine shop"
    marked = {value.handover for op in every_key.operations for value in model.values_of(op) if value.handover}
    assert marked == {"Gap of the valves"}


def test_kit_instruments_and_joints_are_read(every_key: Procedure) -> None:
    gasket, shims, sealant, oil = every_key.kit
    assert (gasket.supplier, shims.supplier, oil.supplier, oil.supplier_option) == ("", "customer", "", "cams")
    assert (gasket.kind, gasket.title, gasket.pn, gasket.quantity) == ("part", "Head gasket", "00123", "1")
    assert (gasket.lot_required, gasket.discard) == (True, True)
    assert (shims.title, shims.lot_required) == ("Shims on hand", False)
    assert sealant.kind == "consumable"
    assert sealant.life is not None
    assert sealant.life.value == 30
    wrench, gauge = every_key.instruments
    assert (wrench.kind, wrench.title, wrench.unfit) == ("torque", "Torque wrench", "warn")
    assert (gauge.title, gauge.unfit) == ("Gauge", "refuse")
    studs, flange, cover = every_key.joints
    assert (cover.count, cover.layout) == (4, ((1, 2, 3, 4),))
    assert studs.layout == ((9, 5, 1, 4, 8), (10, 6, 2, 3, 7))
    assert (studs.count, studs.grade, studs.nut_factor) == (10, "10.9", Decimal("0.15"))
    assert (flange.count, flange.pattern) == (8, "star 8")


def test_operation_is_read(every_key: Procedure) -> None:
    head = _by_id(every_key)["head-down"]
    assert (head.number, head.section) == (3, "head-on")
    assert [ref.name for ref in head.after] == ["clean-bore[*]"]
    assert (head.needs, head.during, head.sets) == ({"pistons": ("down",)}, {"valves": "open"}, {"valves": "shut"})
    window = head.time[0]
    assert (window.operation.name, window.low, window.text) == ("apply-sealant", None, "at most 10 min")
    assert [point.text for point in head.check] == ["flush all round", "dowels home"]
    assert head.hold is not None
    assert (head.hold.by, head.hold.for_) == ("inspector", "the gasket the right way up")
    assert head.undo is not None
    assert (head.undo.do, [ref.name for ref in head.undo.discard]) == ("Lift it off", ["head-gasket"])
    assert head.restored_by is not None
    assert head.restored_by.name == "tighten-studs"


def test_stages_are_read_in_order(every_key: Procedure) -> None:
    tighten = _by_id(every_key)["tighten-studs"].tighten
    assert tighten is not None
    kinds = [type(stage).__name__ for stage in tighten.stages]
    assert kinds == [
        "TorqueStage", "TorqueStage", "OpenStage", "LoosenStage", "TorqueStage", "AngleStage", "AngleStage",
        "CheckStage", "CheckStage", "CheckStage",
    ]  # fmt: skip
    both = tighten.stages[8]
    assert isinstance(both, model.CheckStage)
    assert both.stretch is not None
    assert (both.limit.text, both.stretch.text) == ("90 .. 130 N·m", "0.13 .. 0.15 mm")
    assert [stage.only for stage in tighten.stages[:4]] == [None, "long", "long", None]
    assert (tighten.draw_down, tighten.instrument) == ("half a turn, middle first", "torque-wrench")


def test_values_are_read_with_limit_unit_and_remedies(every_key: Procedure) -> None:
    measure = _by_id(every_key)["measure"]
    records = {record.name: record for record in measure.record}
    end_play = records["end-play"]
    assert (end_play.unit, end_play.dimension, end_play.instrument) == ("mm", "length", "gauge")
    assert isinstance(end_play.bound, model.Fixed)
    assert end_play.bound.text == "0.10 .. 0.28 mm"
    assert isinstance(end_play.used, model.Fixed)
    assert ([ref.name for ref in end_play.below[0].redo], end_play.below[0].tries) == (
        ["tighten-studs", "polish-caps"],
        2,
    )
    assert [remedy.stop for remedy in end_play.above] == [False, True]
    assert isinstance(records["drag"].bound, model.AboveReading)
    assert records["drag"].bound.name == "start-torque"
    assert isinstance(records["level"].bound, model.EqualWithin)
    assert (records["level"].slots, records["level"].by_place) == (("front", "rear"), True)
    assert (records["proud"].slots, records["proud"].by_place) == (("1", "2", "3"), False)
    assert (records["gap"].slots, records["gap"].judge) == (every_key.places["valve"], "mean")
    spare = measure.work_out[0]
    assert (spare.formula, spare.unit) == ("mean(bore[*]) - 80.00 mm", "mm")
    assert measure.choose[0].takes == ("one notch", "two notches")
    match = _by_id(every_key)["give-shims"].match[0]
    assert (match.measured, match.to, match.so_that) == ("on-hand", "valve", "lash")


def test_decision_rule_of_the_procedure_is_the_default(every_key: Procedure) -> None:
    measure = _by_id(every_key)["measure"]
    rules = {record.name: record.decision for record in measure.record}
    assert rules["proud"] == "guarded"
    assert rules["end-play"] == "simple"


def test_operation_has_the_line_of_its_file(every_key: Procedure) -> None:
    lines = GOOD.read_text("utf-8").splitlines()
    for one in every_key.operations:
        assert lines[one.mark.line - 1][one.mark.column - 1 :] == f"id: {one.id}"
        for ref in (*one.after, *one.uses, *one.guards_against):
            assert ref.name in lines[ref.mark.line - 1][ref.mark.column - 1 :]


def test_section_id_is_made_from_its_title() -> None:
    text = (
        f"{HEAD}sections:\n  - title: Face & threads\n    operations: [{{id: a, title: A}}]\n"
        "  - title: a\n    operations: [{id: b, title: B, after: face-threads}]\n"
        "  - title: Face, threads\n    operations: [{id: c, title: C, after: a-2}]\n"
    )
    assert [section.id for section in accepted(text).sections] == ["face-threads", "a-2", "face-threads-2"]


def test_single_item_needs_no_brackets() -> None:
    head = "kit: {parts: {seal: A seal}}\nfailures: {leak: It leaks}\n"
    one = operation("uses: seal\ncheck: flush\nguards-against: leak\nundo: {do: Off, discard: seal}", head)
    assert ([ref.name for ref in one.uses], [point.text for point in one.check]) == (["seal"], ["flush"])


def test_default_unit_of_a_value_is_the_unit_of_its_limit() -> None:
    one = operation("record: {gap: {limit: 0.1 .. 0.2 mm}, turns: {limit: at least 2}, drag: {limit: at most 5 N·m}}")
    assert [(record.unit, record.dimension) for record in one.record] == [("mm", "length"), ("", ""), ("N·m", "torque")]


def test_count_is_a_number_without_a_unit() -> None:
    one = operation("record:\n  teeth: {unit: count, limit: 10 .. 12}")
    assert (one.record[0].unit, one.record[0].dimension) == ("", "")


def test_quantity_keeps_the_unit_as_written() -> None:
    head = "joints: {studs: {layout: 1 2}}\n"
    one = operation("tighten: {joint: studs, stages: [25 ft-lb, 50 ft-lb, 75 ft-lb]}", head)
    assert one.tighten is not None
    assert [stage.text for stage in one.tighten.stages] == ["25 ft-lb", "50 ft-lb", "75 ft-lb"]


def test_doubled_braces_are_accepted_in_a_text() -> None:
    assert operation("do: Set {{A}} to {{B}}").do == "Set {{A}} to {{B}}"


def test_torque_and_angle_stages_are_accepted() -> None:
    """US Army TM 10-3930-669-20, table E-1: 40 N·m, then 45, 45, 45 and 30 degrees, 165 degrees in total."""
    head = "joints: {studs: {layout: 1 2}}\n"
    one = operation(
        "tighten: {joint: studs, stages: [29.5 ft-lb (40 N·m), 45°, 45°, 45°, 30°], total-angle: 165°}", head
    )
    assert one.tighten is not None
    assert one.tighten.total_angle is not None
    assert one.tighten.total_angle.value == 165


def test_torque_after_loosening_can_be_lower() -> None:
    """A cylinder head in a service manual of 2003: 50 N·m, loosen one turn, 30 N·m, 90°, 90°."""
    head = "joints: {studs: {layout: 1 2}}\n"
    reading = read(
        f"{HEAD}{head}{SECTIONS}      - {{id: a, title: A, tighten: {{joint: studs, "
        "stages: [50 N·m, loosen 1 turn, 30 N·m, 90°, 90°]}}\n"
    )
    assert reading.problems == ()


def test_stage_can_be_limited_to_a_group() -> None:
    """A cylinder head in a service manual: bolts 1 to 12 with 47 and 122 N·m, the others with 11 N·m."""
    head = (
        "joints:\n  head:\n    pattern: out from the middle, 2 by 8\n"
        "    groups: {main: [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12], outer: [13, 14, 15, 16]}\n"
    )
    stages = "{torque: 47 N·m, only: main}, {torque: 122 N·m, only: main}, {torque: 11 N·m, only: outer}"
    reading = read(f"{HEAD}{head}{SECTIONS}      - {{id: a, title: A, tighten: {{joint: head, stages: [{stages}]}}}}\n")
    assert reading.problems == ()


def test_formula_needs_no_place_under_the_same_each() -> None:
    one = operation(
        "each: cylinder\nrecord: {bore: {unit: mm}, rod: {unit: mm}}\nwork-out: {gap: {is: bore - rod, unit: mm}}",
        "places: {cylinder: [1, 2]}\n",
    )
    assert one.work_out[0].formula == "bore - rod"


@pytest.mark.parametrize("ident", ["a", "A1", "seat_cam", "seat-cam-2", "1", "no"])
def test_valid_names_are_accepted(ident: str) -> None:
    assert accepted(f"{HEAD}{SECTIONS}      - {{id: {ident}, title: T}}\n").operations[0].id == ident


@pytest.mark.parametrize("ident", ["-a", "-1", "a b", "a[1]", "a.b", "é", "12e3", "a,b", "a/b"])
def test_invalid_names_are_refused(ident: str) -> None:
    reading = read(f"{HEAD}{SECTIONS}      - {{id: '{ident}', title: T}}\n")
    assert [problem.code for problem in reading.problems] == ["bad-name"]
