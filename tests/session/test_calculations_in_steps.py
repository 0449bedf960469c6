"""Calculated values whose inputs are read one by one, in several operations, or corrected later.

All numbers are invented.
"""

from pathlib import Path

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

TWO_OPERATIONS = (
    "{id: a, title: A, record: {bore: {ask: Bore, unit: mm}}}",
    "{id: b, title: B, after: [a], record: {rod: {ask: Rod, unit: mm}}, "
    "work-out: {clearance: {is: bore - rod, unit: mm, limit: 0.020 .. 0.050 mm}}}",
)

BY_READING = (
    "{id: a, title: A, undo: {do: Take it apart}, record: {bore: {ask: B, unit: mm, readings: 2}, "
    "rod: {ask: R, unit: mm, readings: 2}}, work-out: {c: {is: bore - rod, unit: mm, limit: 1 .. 2 mm, "
    "below: [{do: Scrap it, stop: true}]}}}"
)


def record(name: str, value: str, **fields: object) -> Json:
    return intent("record", name=name, value=value, **fields)


def calculated(script: Script) -> list[tuple[str, str, str, str]]:
    lines = (line["data"] for line in script.log() if line["kind"] == "calculated")
    return [(d["operation"], d["name"], d.get("reading", ""), d["verdict"]) for d in lines]


def test_correction_in_an_earlier_operation_calculates_the_value_of_a_later_one_again(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(*TWO_OPERATIONS))
    script.do_all(open_intent(), intent("start", operation="a"))
    bore = script.do("record", name="bore", value="50.01 mm")[0]["seq"]
    script.do_all(intent("finish"), intent("start", operation="b"), record("rod", "50.000 mm"))
    assert calculated(script) == [("b", "clearance", "", "low")]
    script.do("correct", event=bore, value="50.03 mm", reason="misread")
    assert calculated(script)[1:] == [("b", "clearance", "", "ok")]
    script.do_all(intent("finish"), intent("close"))


def test_correction_after_the_end_puts_the_later_value_out(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(*TWO_OPERATIONS))
    script.do_all(open_intent(), intent("start", operation="a"))
    bore = script.do("record", name="bore", value="50.03 mm")[0]["seq"]
    script.do_all(
        intent("finish"), intent("start", operation="b"), record("rod", "50.000 mm"), intent("finish"),
        intent("correct", event=bore, value="50.01 mm", reason="misread"),
    )  # fmt: skip
    assert calculated(script)[-1] == ("b", "clearance", "", "low")
    assert "out-of-limit" in script.refused("close")


def test_each_reading_is_calculated_as_soon_as_its_inputs_are_there(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(BY_READING))
    script.do_all(open_intent(), intent("start", operation="a"))
    script.do_all(record("bore", "10.1 mm", reading=1), record("rod", "10 mm", reading=1))
    assert calculated(script) == [("a", "c", "1", "low")]
    assert script.refused("record", name="rod", value="9 mm", reading=1) == ["out-of-limit"]
    script.do_all(record("bore", "11 mm", reading=2), record("rod", "10 mm", reading=2))
    assert "out-of-limit" in script.refused("finish")
    script.do("deviate", operation="a", about="c[1]", reason="the engineer agreed")
    script.do("finish")


def test_value_that_is_missing_for_one_reading_holds_back_the_end(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(BY_READING))
    script.do_all(open_intent(), intent("start", operation="a"))
    script.do_all(record("bore", "11 mm", reading=1), record("rod", "10 mm", reading=1))
    assert calculated(script) == [("a", "c", "1", "ok")]
    assert set(script.refused("finish")) == {"value-missing"}


def test_division_by_zero_is_not_called_a_missing_reading(tmp_path: Path) -> None:
    operation = (
        "{id: a, title: A, record: {x: {ask: X, unit: mm}, y: {ask: Y, unit: mm}}, "
        "work-out: {ratio: {is: x / (x - y), unit: count}}}"
    )
    script = Script(tmp_path, procedure_with(operation))
    script.do_all(open_intent(), intent("start", operation="a"), record("x", "5 mm"), record("y", "5 mm"))
    (reply,) = script.send(intent("finish"))
    assert [(reason["code"], reason["name"]) for reason in reply["refused"]] == [("value-missing", "ratio")]
    assert "The divisor is zero" in reply["refused"][0]["message"]
