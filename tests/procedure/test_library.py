"""Checks of the shipped procedures: some apply to all of them, others are rules of the trade for one procedure."""

from itertools import chain
from pathlib import Path
from textwrap import wrap

import pytest

from benchflow.ordering.proof import prove
from benchflow.procedure.compiled_cache import load
from benchflow.procedure.model import (
    AngleStage,
    CheckStage,
    Fixed,
    InstrumentNeed,
    Operation,
    Procedure,
    TorqueStage,
    remedies_of,
    values_of,
)
from benchflow.procedure.plan import Plan
from benchflow.quantity import Limit, Quantity, base, dimension_of, show_converted
from tests.driving.shipped import shipped_plans, shipped_procedure

FOLDER = Path(__file__).parents[2] / "procedures"
FILES = sorted(FOLDER.glob("*.yaml"))
WIDTH = 49
"""Columns beside the state panel on a screen of 80 by 24."""

WITHOUT_UNDO = {("pipe-flange", "break-joint")}
"""Operations without an undo. An opened joint needs a new gasket, so its opening cannot be undone."""

every_file = pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])


def before(plan: Plan, step: str) -> set[str]:
    """Every step that is done before ``step`` in every order."""
    seen: set[str] = set()
    waiting = list(plan.steps[step].after)
    while waiting:
        here = waiting.pop()
        if here not in seen:
            seen.add(here)
            waiting.extend(plan.steps[here].after)
    return seen


def named(procedure: Procedure, operation: str) -> Operation:
    return next(found for found in procedure.operations if found.id == operation)


# --- every file ---------------------------------------------------------------------------------------


@every_file
def test_shipped_file_has_no_problems(path: Path) -> None:
    assert [str(problem) for problem in load(path).problems] == []


@every_file
def test_shipped_procedure_is_proven_sound(path: Path) -> None:
    proof = prove(shipped_procedure(path))
    assert [(finding.code, finding.message) for finding in proof.findings] == []
    assert proof.complete


def test_library_contains_the_seven_procedures() -> None:
    assert {path.stem for path in FILES} == {
        "cam-timing",
        "first-start",
        "head-install",
        "pipe-flange",
        "short-block",
        "valve-lash",
        "wheel-hub",
    }
    assert all(shipped_procedure(path).id == path.stem for path in FILES)


@every_file
def test_file_has_a_notice_that_its_numbers_are_invented(path: Path) -> None:
    procedure = shipped_procedure(path)
    assert "INVENTED" in procedure.notice
    assert "invented" in procedure.source
    cautions = " ".join(caution.text for caution in procedure.cautions)
    for other in ("manual", "local codes", "licensed"):
        assert other in procedure.notice + cautions


@every_file
def test_cautions_and_instructions_fit_on_a_small_screen(path: Path) -> None:
    for plan in shipped_plans(path):
        for step in plan.steps.values():
            operation = step.operation
            assert operation.do, step.id
            instructions = [
                line for text in operation.do.splitlines() for line in wrap(text, WIDTH, subsequent_indent="    ")
            ]
            cautions = [
                line for caution in operation.cautions for line in wrap(caution.text, WIDTH - len(caution.signal) - 3)
            ]
            assert len(instructions) <= 9, step.id
            assert len(cautions) <= 5, step.id
            assert len(instructions) + len(cautions) <= 13, step.id


@every_file
def test_names_and_values_of_state_variables_are_short(path: Path) -> None:
    for variable in shipped_procedure(path).state:
        for value in variable.values:
            assert len(variable.words.get(value, value)) <= 15, (variable.name, value)
        by_place = f" ({variable.each} {variable.place})"  # the bench shows a variable by place once, without the place
        assert len((variable.title or variable.name).removesuffix(by_place)) <= 12, variable.name


@every_file
def test_every_operation_has_an_undo_except_the_listed_ones(path: Path) -> None:
    procedure = shipped_procedure(path)
    without = {(procedure.id, operation.id) for operation in procedure.operations if operation.undo is None}
    assert without <= WITHOUT_UNDO


@every_file
def test_every_operation_records_or_checks_something(path: Path) -> None:
    for operation in shipped_procedure(path).operations:
        evidence = operation.record or operation.check or operation.tighten or operation.match or operation.work_out
        assert evidence, operation.id


@every_file
def test_every_failure_has_an_operation_that_guards_against_it(path: Path) -> None:
    procedure = shipped_procedure(path)
    guarded = {ref.name for operation in procedure.operations for ref in operation.guards_against}
    assert guarded == {failure.id for failure in procedure.failures}


@every_file
def test_every_kit_item_instrument_and_joint_is_used(path: Path) -> None:
    procedure = shipped_procedure(path)
    used = {ref.name for operation in procedure.operations for ref in operation.uses}
    taken = {record.instrument for operation in procedure.operations for record in operation.record}
    wrenches = {operation.tighten.instrument for operation in procedure.operations if operation.tighten}
    assert {item.id for item in procedure.kit} <= used
    assert {need.id for need in procedure.instruments} <= used | taken | wrenches
    joints = {operation.tighten.joint for operation in procedure.operations if operation.tighten}
    assert {joint.id for joint in procedure.joints} == joints


def covered(need: InstrumentNeed, limit: Limit) -> bool:
    assert need.covers is not None
    return all(
        base(low) <= base(end) <= base(high)
        for end in (limit.low, limit.high)
        if end is not None
        for low, high in [(need.covers.low, need.covers.high)]
        if low is not None and high is not None
    )


@every_file
def test_instrument_range_covers_every_value_it_is_used_for(path: Path) -> None:
    procedure = shipped_procedure(path)
    needs = {need.id: need for need in procedure.instruments}
    for operation in procedure.operations:
        for record in operation.record:
            for bound in (record.bound, record.used):
                if record.instrument and isinstance(bound, Fixed):
                    need = needs[record.instrument]
                    assert need.covers is not None
                    assert need.covers.low is not None
                    assert dimension_of(need.covers.low.unit) == record.dimension, record.name
                    assert covered(need, bound.limit), (record.name, bound.text)
        if operation.tighten is not None:
            assert operation.tighten.instrument is not None, operation.id
            for stage in operation.tighten.stages:
                if isinstance(stage, TorqueStage):
                    reach = Limit(stage.torque, stage.torque, stage.text)
                    assert covered(needs[operation.tighten.instrument], reach), (operation.id, stage.text)
                elif isinstance(stage, CheckStage):
                    assert covered(needs[operation.tighten.instrument], stage.limit), (operation.id, stage.text)


@every_file
def test_temporary_setting_is_restored_by_a_later_operation(path: Path) -> None:
    for plan in shipped_plans(path):
        for step in plan.steps.values():
            restored = step.operation.restored_by
            if restored is not None:
                assert step.id in before(plan, restored.name), step.id


@every_file
def test_remedy_redoes_everything_that_depends_on_redone_work(path: Path) -> None:
    for plan in shipped_plans(path):
        for step in plan.steps.values():
            for remedy in (one for value in values_of(step.operation) for one in (*value.below, *value.above)):
                redone = {ref.name for ref in remedy.redo} & set(plan.steps) - {step.id}  # others only if needed
                assert redone <= before(plan, step.id), step.id
                dependent = {name for name in before(plan, step.id) if redone & before(plan, name)}
                assert dependent <= redone, (step.id, dependent - redone)


@every_file
def test_remedy_that_takes_work_back_also_clears_the_checks_beside_it(path: Path) -> None:
    for plan in shipped_plans(path):
        for step in plan.steps.values():
            for remedy in remedies_of(step.operation):
                redone = {ref.name for ref in remedy.redo}
                assert not (redone and step.operation.check) or step.id in redone, (step.id, remedy.do)


@every_file
def test_time_window_leaves_a_quarter_of_spare_time(path: Path) -> None:
    """The least durations of the work within a window add up to at most three quarters of it."""
    for plan in shipped_plans(path):
        for step in plan.steps.values():
            for window in step.time:
                if window.high is not None:
                    between = {name for name in before(plan, step.id) if window.operation in before(plan, name)}
                    least = sum(plan.steps[name].takes for name in between) + step.takes
                    assert least <= 0.75 * window.high, step.id


# --- the head -----------------------------------------------------------------------------------------

HEAD = FOLDER / "head-install.yaml"


def checks_of(plan: Plan, step_id: str) -> str:
    return " ".join(point.text for point in plan.steps[step_id].operation.check)


def test_head_installation_covers_the_whole_job() -> None:
    procedure = shipped_procedure(HEAD)
    assert len(procedure.operations) >= 45
    assert len(procedure.sections) >= 12
    reasons = [operation for operation in procedure.operations if operation.because]
    assert len(reasons) > len(procedure.operations) / 2


def test_threads_are_chased_and_dried_before_any_stud_is_fitted() -> None:
    for plan in shipped_plans(HEAD):
        for stud in ("try-studs", "seat-studs", "tighten-head"):
            assert {"chase-threads", "dry-holes"} <= before(plan, stud)


def test_valves_open_only_with_the_pistons_half_way_down() -> None:
    opening = [
        step for plan in shipped_plans(HEAD) for step in plan.steps.values() if step.during.get("valves") == "open"
    ]
    assert {step.operation.id for step in opening} >= {"draw-down-cam", "set-cams", "check-unit-travel"}
    for step in opening:
        assert step.needs["pistons"] == ("down",), step.id
        assert step.undo_needs["pistons"] == ("down",), step.id


def test_timing_unit_travel_is_signed_off_before_its_small_bolts_are_tight() -> None:
    for plan in shipped_plans(HEAD):
        assert "check-unit-travel" in before(plan, "tighten-unit")
        assert plan.steps["check-unit-travel"].operation.hold is not None


def test_battery_is_connected_only_after_two_turns_by_hand() -> None:
    for plan in shipped_plans(HEAD):
        assert "two-turns" in before(plan, "connect-battery")
        live = [step.id for step in plan.steps.values() if step.sets.get("battery") == "on"]
        assert live == ["connect-battery"]


def test_head_goes_down_before_the_sealant_skins_and_pressure_waits_for_its_cure() -> None:
    for plan in shipped_plans(HEAD):
        windows = {(name, window.operation): window for name, step in plan.steps.items() for window in step.time}
        assert windows["set-head-down", "apply-sealant"].high == 600
        assert windows["test-coolant", "apply-sealant"].low == 24 * 3600
        assert windows["test-coolant", "seal-front-cover"].low == 24 * 3600
        assert windows["prime-oil", "seal-front-cover"].low == 24 * 3600


def test_work_is_signed_off_before_a_later_part_hides_it() -> None:
    hidden = {  # operation that hides the work: operation that must be signed off first
        "rig-head": "try-gasket",
        "seat-studs": "dry-holes",
        "fit-carriers[intake]": "mark-nuts",
        "fit-carriers[exhaust]": "mark-nuts",
        "take-bar-out": "check-marks",
        "seal-front-cover": "last-look",
        "last-look": "two-turns",
    }
    for plan in shipped_plans(HEAD):
        for later, held in hidden.items():
            assert held in before(plan, later)
            assert plan.steps[held].operation.hold is not None


def test_ten_head_nuts_are_seated_by_torque_and_then_turned_by_angle() -> None:
    procedure = shipped_procedure(HEAD)
    joint = next(joint for joint in procedure.joints if joint.id == "head-nuts")
    assert joint.count == 10
    assert {part.id: part.quantity for part in procedure.kit if part.id in ("studs", "nuts", "washers")} == {
        "studs": "10",
        "nuts": "10",
        "washers": "10",
    }
    tighten = named(procedure, "tighten-head").tighten
    assert tighten is not None
    assert [stage.text for stage in tighten.stages] == ["30 N·m (22 ft-lb)", "55 N·m (41 ft-lb)", "+60°", "+45°"]
    assert [type(stage) for stage in tighten.stages] == [TorqueStage, TorqueStage, AngleStage, AngleStage]


def test_head_nuts_are_tightened_from_the_middle_to_the_ends() -> None:
    joint = next(joint for joint in shipped_procedure(HEAD).joints if joint.id == "head-nuts")
    places = {
        number: (row, column) for row, cells in enumerate(joint.layout) for column, number in enumerate(cells) if number
    }
    outward = [abs(places[number][1] - 2) for number in range(1, 11)]
    assert outward == sorted(outward)


def test_small_bolts_in_inch_pounds_are_shown_in_newton_metres() -> None:
    procedure = shipped_procedure(HEAD)
    tighten = named(procedure, "fit-carriers").tighten
    assert tighten is not None
    last = tighten.stages[-1]
    assert isinstance(last, TorqueStage)
    assert procedure.units["torque"] == "N·m"
    assert (last.text, show_converted(last.torque, "N·m")) == ("84 in-lb", "9.49 N·m")


def test_each_follower_and_carrier_check_names_its_own_place() -> None:
    for plan in shipped_plans(HEAD):
        for cylinder in "1234":
            assert "set-out-followers" in before(plan, f"fit-followers[{cylinder}]")
            assert f"of no. {cylinder} came from" in checks_of(plan, f"fit-followers[{cylinder}]")
        for side in ("intake", "exhaust"):
            assert f"{side} side" in checks_of(plan, f"fit-carriers[{side}]")


# --- the others ---------------------------------------------------------------------------------------


def closed(cylinder: int, valve: str, crank: int) -> bool:
    """True if the base circle of the lobe is on its follower, ``crank`` degrees after no. 1 fires.

    The firing order is 1-3-4-2. The intake valve is open from 30° before the top to 60° past the bottom. The exhaust
    valve is open from 60° before the bottom to 30° past the top (common practice, no source: an ordinary road cam).
    """
    fired = [1, 3, 4, 2].index(cylinder) * 180
    phase = (crank - fired) % 720
    opens, closes = (330, 600) if valve == "intake" else (120, 390)
    return not opens <= phase <= closes


def test_every_valve_is_measured_once_and_on_its_base_circle() -> None:
    procedure = shipped_procedure(FOLDER / "valve-lash.yaml")
    marks = {"at-one": 0, "at-four": 360}
    measured = list(chain.from_iterable(procedure.places[name] for name in marks))
    everything = [
        f"{cylinder} {valve} {end}"
        for cylinder in range(1, 5)
        for valve in ("intake", "exhaust")
        for end in ("front", "rear")
    ]
    assert sorted(measured) == sorted(everything)
    for name, crank in marks.items():
        for place in procedure.places[name]:
            cylinder, valve, _ = place.split()
            assert closed(int(cylinder), valve, crank), place
            assert closed(int(cylinder), valve, crank + 90), place  # crank position in which its shim is changed


def test_lever_pushes_a_valve_only_with_the_crank_past_its_mark() -> None:
    for plan in shipped_plans(FOLDER / "valve-lash.yaml"):
        pushing = [step for step in plan.steps.values() if step.during.get("valve") == "pushed"]
        assert len(pushing) == 4
        for step in pushing:
            assert set(step.needs["crank"]) <= {"past-one", "past-four"}
            assert set(step.undo_needs["crank"]) <= {"past-one", "past-four"}


def test_engine_turns_only_after_the_oil_is_primed() -> None:
    for plan in shipped_plans(FOLDER / "first-start.yaml"):
        turning = [step for step in plan.steps.values() if step.during.get("engine") in ("cranking", "running")]
        assert len(turning) == 6
        for step in turning:
            assert "prime" in before(plan, step.id)
            assert step.needs["oil"] == ("primed",)


def test_flange_is_opened_only_after_zero_pressure_is_proven_and_signed() -> None:
    for plan in shipped_plans(FOLDER / "pipe-flange.yaml"):
        assert {"lock-and-tag", "prove-zero"} <= before(plan, "break-joint")
        assert plan.steps["prove-zero"].operation.hold is not None


def test_flange_is_tightened_in_three_crosswise_passes_and_one_round_the_circle() -> None:
    procedure = shipped_procedure(FOLDER / "pipe-flange.yaml")
    stages = []
    for operation in ("pass-one", "pass-two", "pass-three", "round-pass"):
        tighten = named(procedure, operation).tighten
        assert tighten is not None
        (stage,) = tighten.stages
        assert isinstance(stage, TorqueStage)
        stages.append((tighten.joint, base(stage.torque)))
    full = stages[-1][1]
    assert [joint for joint, _ in stages] == ["flange", "flange", "flange", "flange-round"]
    assert [100 * torque / full for _, torque in stages] == [30, 60, 100, 100]
    cross, ring = (next(joint for joint in procedure.joints if joint.id == name) for name in ("flange", "flange-round"))
    assert cross.count == ring.count == 12


def test_angle_tightened_rod_bolts_are_replaced_when_undone() -> None:
    for plan in shipped_plans(FOLDER / "short-block.yaml"):
        for cylinder in "1234":
            assert f"read-strip[{cylinder}]" in before(plan, f"tighten-rod[{cylinder}]")
            operation = plan.steps[f"tighten-rod[{cylinder}]"].operation
            assert operation.hold is not None
            assert operation.undo is not None
            assert [ref.name for ref in operation.undo.discard] == ["rod-bolts"]


def test_cam_formulas_give_the_centrelines_of_the_cam_card() -> None:
    """The procedure calculates the published results of a cam card from its opening and closing points.

    The points 31/63 and 77/29 give the centrelines 106 and 114, and the lobe separation 110.
    """
    from decimal import Decimal

    from benchflow.procedure.formula import evaluate, parse_formula

    (plan,) = shipped_plans(FOLDER / "cam-timing.yaml")

    def calculated(step: str, result: str, **degrees: int) -> Decimal:
        work = next(found for found in plan.steps[step].operation.work_out if found.name == result)
        values = {}
        for key, value in degrees.items():
            name, place = key.split("_")
            for written in (f"{name}[{place}]", f"{name}[{place}, 1]", f"{name}[{place}, 2]"):
                values[written] = Quantity(Decimal(value), "°", f"{value}°")
        return evaluate(parse_formula(work.formula), values, "°").value.value

    assert calculated("measure[intake]", "duration[intake]", opens_intake=31, closes_intake=63) == 274
    assert calculated("measure[intake]", "centreline[intake]", opens_intake=31, closes_intake=63) == 106
    assert calculated("measure[exhaust]", "duration[exhaust]", opens_exhaust=77, closes_exhaust=29) == 286
    assert calculated("measure[exhaust]", "centreline[exhaust]", opens_exhaust=77, closes_exhaust=29) == 114
    assert calculated("compare-cams", "lobe-separation", centreline_intake=106, centreline_exhaust=114) == 110
    assert calculated("compare-cams", "overlap", opens_intake=31, closes_exhaust=29) == 60


def test_cam_gear_is_adjusted_only_after_a_centreline_out_of_its_limit() -> None:
    (plan,) = shipped_plans(FOLDER / "cam-timing.yaml")
    assert not [name for name in plan.steps if name.startswith("adjust-gear")]
    for cam in ("intake", "exhaust"):
        centreline = next(one for one in plan.steps[f"measure[{cam}]"].operation.work_out if "centreline" in one.name)
        for first, last in (centreline.below, centreline.above):
            assert [ref.name for ref in first.redo] == [f"adjust-gear[{cam}]", f"measure[{cam}]"]
            assert last.stop
