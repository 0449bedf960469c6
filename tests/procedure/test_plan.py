"""The indexes of a plan and of a procedure."""

import pytest

from benchflow.procedure.expand import expand
from benchflow.procedure.plan import Plan
from benchflow.procedure.reader import read

TEXT = """benchflow: 1
id: trial
title: A trial
options: {cams: {ask: Which cams?, choices: [stock, reground]}}
places: {cylinder: [1, 2]}
state: {crank: {values: [up, down], start: up}}
moves: {turn: {title: Turn the crank, sets: {crank: down}}}
kit: {parts: {seal: A seal}}
instruments: {mic: {kind: length}}
joints: {cap: {title: Cap, layout: "1 2"}}
failures: {knock: It knocks}
sections:
  - title: Measuring
    operations:
      - {id: first, title: First, record: {slack: {ask: Slack, limit: at most 1 mm}}}
      - id: bearing
        title: Bearing {cylinder}
        each: cylinder
        record:
          journal: {ask: Journal, unit: mm}
          bore: {ask: Bore, unit: mm}
        work-out:
          clearance: {is: bore - journal, unit: mm}
"""


@pytest.fixture(scope="module")
def plan() -> Plan:
    reading = read(TEXT)
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    return expand(reading.procedure, {"cams": "stock"})


def test_step_number_counts_from_one_in_the_authors_order(plan: Plan) -> None:
    assert [plan.number(step) for step in plan.steps] == [1, 2, 3]
    with pytest.raises(KeyError):
        plan.number("bearing[3]")


def test_recorded_value_is_found_with_its_step(plan: Plan) -> None:
    found = plan.record("journal[2]")
    assert found is not None
    assert (found.step.id, found.record.name, found.record.ask) == ("bearing[2]", "journal[2]", "Journal")
    assert plan.record("journal") is None
    assert plan.record("clearance[2]") is None


def test_calculated_value_is_found_with_its_step(plan: Plan) -> None:
    found = plan.work_out("clearance[1]")
    assert found is not None
    assert (found.step.id, found.work_out.formula) == ("bearing[1]", "bore[1] - journal[1]")
    assert plan.work_out("bore[1]") is None


def test_values_are_found_at_all_their_places(plan: Plan) -> None:
    assert [value.name for value in plan.values("journal")] == ["journal[1]", "journal[2]"]
    assert [value.name for value in plan.values("clearance")] == ["clearance[1]", "clearance[2]"]
    assert [value.name for value in plan.values("slack")] == ["slack"]
    assert [value.name for value in plan.values("journal[1]")] == ["journal[1]"]
    assert [(step.id, record.name) for step, record in plan.records("bore")] == [
        ("bearing[1]", "bore[1]"),
        ("bearing[2]", "bore[2]"),
    ]
    assert plan.records("clearance") == ()


def test_formula_is_parsed_once(plan: Plan) -> None:
    found = plan.work_out("clearance[1]")
    assert found is not None
    assert plan.formula(found.work_out) is plan.formula(found.work_out)
    assert plan.formula(found.work_out).text == "bore[1] - journal[1]"


def test_step_finds_only_its_own_values(plan: Plan) -> None:
    step = plan.steps["bearing[1]"]
    assert step.record("bore[1]") is not None
    assert step.work_out("clearance[1]") is not None
    assert (step.record("bore[2]"), step.work_out("bore[1]"), step.choice("bore[1]"), step.match("bore[1]")) == (
        (None,) * 4
    )


def test_section_of_returns_the_section_of_a_step(plan: Plan) -> None:
    assert plan.section_of(plan.steps["bearing[2]"]).title == "Measuring"


def test_procedure_finds_its_parts_by_name(plan: Plan) -> None:
    procedure = plan.procedure
    assert procedure.options_by_name["cams"].ask == "Which cams?"
    assert procedure.variables_by_name["crank"].start == "up"
    assert procedure.moves_by_id["turn"].title == "Turn the crank"
    assert procedure.kit_by_id["seal"].title == "A seal"
    assert procedure.instruments_by_id["mic"].kind == "length"
    assert procedure.joints_by_id["cap"].count == 2
    assert procedure.failures_by_id["knock"].text == "It knocks"
    assert procedure.sections_by_id["measuring"].operations == ("first", "bearing")
    assert procedure.operations_by_id["bearing"].each == "cylinder"
