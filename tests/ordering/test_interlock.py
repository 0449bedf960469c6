from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import (
    AfterMissing,
    AlreadyDone,
    Interference,
    NotInThisBuild,
    StateNotMet,
    after_move,
    after_step,
    code,
    forbidden,
    lift_text,
    move_reasons,
    reason_text,
    step_reasons,
    while_in_progress,
)
from tests.ordering.plans import move, plan, rule, step, valve_plan, variable


def configuration(*done: str, **valuation: str | None) -> Configuration:
    return Configuration(frozenset(done), {"pistons": "down", "valves": "shut", "cam": "out", **valuation})


def test_blocked_operation_names_every_missing_operation_state_and_rule() -> None:
    reasons = step_reasons(valve_plan(), configuration(pistons="at-deck"), "seat-cam")
    assert [code(reason) for reason in reasons] == ["after-missing", "interference"]
    assert reasons[0] == AfterMissing("fit-head")
    late = step_reasons(valve_plan(), configuration("fit-head"), "time-cam")
    assert late == (
        AfterMissing("seat-cam"),
        StateNotMet("cam", "out", ("seated",)),
        StateNotMet("pistons", "down", ("at-deck",)),
    )


def test_value_during_a_step_can_break_a_rule() -> None:
    (reason,) = step_reasons(valve_plan(), configuration("fit-head", pistons="at-deck"), "seat-cam")
    assert isinstance(reason, Interference)
    assert (reason.rule, reason.phase) == (0, "during")
    assert reason.together == {"pistons": "at-deck", "valves": "open"}
    assert reason.written == ("valves",)


def test_reason_as_text_names_the_move_that_removes_it() -> None:
    built = valve_plan()
    (reason,) = step_reasons(built, configuration("fit-head", pistons="at-deck"), "seat-cam")
    assert isinstance(reason, Interference)
    assert reason_text(built, reason) == "Pistons are at the deck; an open valve would reach them"
    (lift,) = reason.lifts
    assert lift.moves == ("turn-crank-down",)
    assert lift_text(built, lift) == "Allowed with pistons down (by “Turn crank down”)"


def test_allowed_step_has_no_reasons() -> None:
    assert step_reasons(valve_plan(), configuration("fit-head"), "seat-cam") == ()


def test_value_set_by_a_step_can_break_a_rule() -> None:
    built = plan(
        step("open", sets={"valves": "open"}),
        state=[variable("valves", "shut", "open"), variable("pistons", "at-deck", "down")],
        rules=[rule(valves="open", pistons="at-deck")],
    )
    here = Configuration(frozenset(), {"valves": "shut", "pistons": "at-deck"})
    (reason,) = step_reasons(built, here, "open")
    assert isinstance(reason, Interference)
    assert reason.phase == "done"


def test_unknown_value_meets_no_need_and_matches_every_rule() -> None:
    unknown = configuration("fit-head", "seat-cam", pistons=None, cam="seated")
    (reason,) = step_reasons(valve_plan(), unknown, "time-cam")
    assert reason == StateNotMet("pistons", None, ("at-deck",))
    assert "not known" in reason_text(valve_plan(), reason)
    assert forbidden(valve_plan(), {"pistons": None, "valves": "open", "cam": "out"}) == (0,)
    assert forbidden(valve_plan(), {"pistons": None, "valves": "shut", "cam": "out"}) == ()


def test_move_is_refused_for_its_needs_and_for_its_result() -> None:
    timed = configuration(cam="timed")
    assert move_reasons(valve_plan(), timed, "turn-crank-up") == (StateNotMet("cam", "timed", ("out", "seated")),)
    (reason,) = move_reasons(valve_plan(), configuration(valves="open"), "turn-crank-up")
    assert isinstance(reason, Interference)
    assert reason_text(valve_plan(), reason) == "Valves are open; an open valve would reach them"
    assert move_reasons(valve_plan(), configuration(valves="open"), "turn-crank-down") == ()


def test_reason_names_the_values_of_a_step_that_breaks_a_rule_by_itself() -> None:
    built = plan(
        step("ram-it", during={"a": "1", "b": "1"}),
        state=[variable("a", "0", "1"), variable("b", "0", "1")],
        rules=[rule("they touch", a="1", b="1")],
    )
    (reason,) = step_reasons(built, Configuration(frozenset(), {"a": "0", "b": "0"}), "ram-it")
    assert isinstance(reason, Interference)
    assert reason.lifts == ()
    assert reason_text(built, reason) == "While it is in progress, a is 1 and b is 1; they touch"


def test_done_step_and_unknown_name_have_different_reasons() -> None:
    assert step_reasons(valve_plan(), configuration("fit-head"), "fit-head") == (AlreadyDone("fit-head"),)
    assert step_reasons(valve_plan(), configuration(), "nothing") == (NotInThisBuild("nothing"),)
    assert move_reasons(valve_plan(), configuration(), "nothing") == (NotInThisBuild("nothing"),)


def test_move_of_another_build_is_unknown() -> None:
    other = move("turn", {"a": "1"})
    built = plan(
        state=[variable("a", "0", "1")],
        moves=[type(other)("turn", "Turn", when={"engine": ("long",)}, sets={"a": "1"})],
        options={"engine": "short"},
    )
    assert move_reasons(built, Configuration(frozenset(), {"a": "0"}), "turn") == (NotInThisBuild("turn"),)


def test_during_value_ends_with_the_step_and_sets_value_remains() -> None:
    built = valve_plan()
    here = configuration("fit-head")
    assert while_in_progress(built, here, "seat-cam")["valves"] == "open"
    assert after_step(built, here, "seat-cam") == configuration("fit-head", "seat-cam", cam="seated")
    assert after_move(built, here, "turn-crank-up") == configuration("fit-head", pistons="at-deck")
