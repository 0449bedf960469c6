"""Readings, limits, calculated values, remedies and choices by intents. All data is invented."""

from pathlib import Path
from typing import Any

import pytest

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

HEAD = "instruments: {gauge: {title: Gauge, kind: length, uncertainty: at most 0.004 mm}}\n"


def start_operation(folder: Path, *written: str, take: str = "one", head: str = HEAD) -> Script:
    script = Script(folder, procedure_with(*written, head=head))
    script.do_all(open_intent(), intent("start", operation=take))
    return script


def operation_with_record(key: str, *, more: str = "") -> str:
    return f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: mm, {key}}}}}{more}}}"


# --- how several readings are judged -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "readings", "codes"),
    [
        ("readings: 3, judge: all, limit: 0.10 .. 0.20 mm", ("0.10 mm", "0.20 mm", "0.15 mm"), []),
        ("readings: 3, judge: all, limit: 0.10 .. 0.20 mm", ("0.10 mm", "0.21 mm", "0.15 mm"), ["out-of-limit"]),
        ("readings: 3, judge: mean, limit: 0.10 .. 0.20 mm", ("0.05 mm", "0.25 mm", "0.15 mm"), []),
        ("readings: 3, judge: mean, limit: 0.10 .. 0.20 mm", ("0.21 mm", "0.21 mm", "0.20 mm"), ["out-of-limit"]),
        ("readings: 3, judge: largest, limit: at most 0.20 mm", ("0.20 mm", "0.01 mm", "0.02 mm"), []),
        ("readings: 3, judge: largest, limit: 0.10 .. 0.20 mm", ("0.01 mm", "0.01 mm", "0.15 mm"), []),
        ("readings: 3, judge: smallest, limit: at least 0.10 mm", ("9 mm", "0.10 mm", "5 mm"), []),
        ("readings: 3, judge: smallest, limit: at least 0.10 mm", ("9 mm", "0.09 mm", "5 mm"), ["out-of-limit"]),
        ("readings: 3, judge: spread, limit: at most 0.02 mm", ("5.00 mm", "5.02 mm", "5.01 mm"), []),
        ("readings: 3, judge: spread, limit: at most 0.02 mm", ("5.00 mm", "5.03 mm", "5.01 mm"), ["out-of-limit"]),
        ("readings: 3, limit: equal within 0.010 in", ("5 mm", "5.254 mm", "5.1 mm"), []),
        ("readings: 3, limit: equal within 0.010 in", ("5 mm", "5.255 mm", "5.1 mm"), ["out-of-limit"]),
        ("limit: 0.15 ± 0.02 mm", ("0.17 mm",), []),
        ("limit: 0.15 +0.03 -0.01 mm", ("0.139 mm",), ["out-of-limit"]),
        ("limit: at least 0.5 mm", ("0.5 mm",), []),
        ("limit: '0.10 .. 0.28 mm (0.004 .. 0.011 in)'", ("0.0110 in",), []),
        ("limit: 0.0254 .. 0.0508 mm", ("1 thou",), []),
        ("limit: 0.0254 .. 0.0508 mm", ("2 thou",), []),
        ("limit: 0.0254 .. 0.0508 mm", ("2.001 thou",), ["out-of-limit"]),
    ],
)
def test_readings_are_judged_as_the_procedure_states(
    tmp_path: Path, key: str, readings: tuple[str, ...], codes: list[str]
) -> None:
    script = start_operation(tmp_path, operation_with_record(key))
    for number, value in enumerate(readings, 1):
        if number == len(readings) and number > 1:
            assert "value-missing" in script.refused("finish")
        script.do("record", name="gap", value=value)
    if codes:
        assert script.refused("finish") == codes
    else:
        script.do("finish")


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("0.1034 mm", "ok"),
        ("0.1032 mm", "not-proven"),
        ("0.1000 mm", "not-proven"),
        ("0.0967 mm", "not-proven"),
        ("0.0966 mm", "low"),
        ("0.1966 mm", "ok"),
        ("0.1968 mm", "not-proven"),
        ("0.2034 mm", "high"),
    ],
)
def test_guarded_reading_inside_the_guard_band_is_not_proven(tmp_path: Path, value: str, verdict: str) -> None:
    # U = 0.004 mm at k = 2, so u = 0.002 mm and the guard band is 1.65 u = 0.0033 mm.
    script = start_operation(tmp_path, operation_with_record("with: gauge, decision: guarded, limit: 0.10 .. 0.20 mm"))
    (event,) = script.do("record", name="gap", value=value)
    assert event["data"]["verdict"] == verdict
    assert event["data"]["decision"] == "guarded"
    if verdict != "ok":
        assert script.refused("finish") == ["not-proven" if verdict == "not-proven" else "out-of-limit"]
        script.do("deviate", operation="one", about="gap", reason="looked at it again", by="Kim")
    script.do("finish")


def test_decision_rule_of_the_file_applies_to_values_without_their_own(tmp_path: Path) -> None:
    script = start_operation(
        tmp_path, operation_with_record("with: gauge, limit: 0.10 .. 0.20 mm"), head=f"decision: guarded\n{HEAD}"
    )
    script.do("record", name="gap", value="0.10 mm")
    assert script.refused("finish") == ["not-proven"]


def test_used_part_is_judged_by_the_limit_for_used_parts(tmp_path: Path) -> None:
    script = start_operation(tmp_path, operation_with_record("limit: 0.10 .. 0.28 mm, used: at most 0.40 mm"))
    script.do("record", name="gap", value="0.35 mm")
    assert script.refused("finish") == ["out-of-limit"]
    (event,) = script.do("record", name="gap", value="0.35 mm", used=True)
    assert (event["data"]["used"], event["data"]["verdict"]) == (True, "ok")
    script.do("finish")


def test_limit_may_depend_on_an_earlier_reading(tmp_path: Path) -> None:
    script = start_operation(
        tmp_path,
        "{id: one, title: One, record: {start-torque: {ask: Drag, unit: N·m}}}",
        "{id: two, title: Two, after: [one], record: {preload: {ask: Preload, unit: N·m, "
        "limit: above start-torque by 0.35 .. 0.45 N·m}}}",
    )
    script.do_all(intent("record", name="start-torque", value="1.20 N·m"), intent("finish"))
    script.do_all(intent("start", operation="two"), intent("record", name="preload", value="1.50 N·m"))
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(intent("record", name="preload", value="14.4 in-lb"), intent("finish"))  # 1.627 N·m


def test_value_is_calculated_and_judged_when_its_last_input_is_recorded(tmp_path: Path) -> None:
    script = start_operation(
        tmp_path,
        "{id: one, title: One, each: place, record: {bore: {ask: Bore, unit: mm}}}",
        "{id: two, title: Two, after: ['one[*]'], record: {journal: {ask: Journal, unit: mm}}, "
        "work-out: {clearance: {is: 'mean(bore[*]) - journal', unit: mm, limit: 0.020 .. 0.050 mm}}}",
        take="one[1]",
        head="places: {place: [1, 2]}\n",
    )
    script.do_all(intent("record", name="bore", value="54.030 mm"), intent("finish"))
    script.do_all(
        intent("start", operation="one[2]"), intent("record", name="bore", value="54.050 mm"), intent("finish")
    )
    script.do_all(intent("start", operation="two"))
    assert script.refused("finish") == ["value-missing", "value-missing"]
    events = script.do("record", name="journal", value="54.050 mm")
    assert [event["kind"] for event in events] == ["recorded", "calculated"]
    assert events[1]["data"]["quantity"]["value"] == "-0.010"
    assert events[1]["data"]["verdict"] == "low"
    assert script.refused("finish") == ["out-of-limit"]
    events = script.do("record", name="journal", value="54.000 mm")
    assert events[1]["data"]["quantity"] == {"value": "0.040", "unit": "mm", "entered": "0.040 mm"}
    script.do("finish")


def test_remedy_undoes_the_operations_of_its_redo(tmp_path: Path) -> None:
    script = start_operation(
        tmp_path,
        "{id: fit, title: Fit}",
        "{id: one, title: One, after: [fit], record: {gap: {ask: Gap, unit: mm, limit: at least 0.10 mm, "
        "below: [{do: Fit it again, redo: [fit], tries: 1}, {do: Scrap it, stop: true}]}}}",
        take="fit",
    )
    script.do_all(intent("finish"), intent("start", operation="one"), intent("record", name="gap", value="0.05 mm"))
    assert script.refused("finish") == ["out-of-limit", "remedy-first"]
    script.do("remedy", name="gap")
    assert script.refused("start", operation="one") == ["after-missing"]
    script.do_all(intent("start", operation="fit"), intent("finish"), intent("start", operation="one"))
    script.do("record", name="gap", value="0.05 mm")
    assert script.refused("remedy", name="gap") == ["not-allowed"]  # the second remedy is a stop
    script.do("deviate", operation="one", about="gap", reason="a new one is ordered", by="Kim")
    script.do("finish")


def test_table_looks_up_the_judged_figure_of_several_readings(tmp_path: Path) -> None:
    script = start_operation(
        tmp_path,
        "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, readings: 2, judge: largest}}, "
        "choose: {shim: {by: gap, "
        "from: [{up to: 0.10 mm, take: thin}, {up to: 0.20 mm, take: thick}]}}}",
    )
    script.do_all(intent("record", name="gap", value="0.09 mm"), intent("record", name="gap", value="0.11 mm"))
    assert script.query("status")["proposed"] == {"shim": ["thick"]}
    script.do("choose", name="shim", take="thin")
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(intent("choose", name="shim", take="thick"), intent("finish"))


@pytest.mark.parametrize(("value", "take"), [("0.10 mm", "thin"), ("0.1001 mm", "thick"), ("0.20 mm", "thick")])
def test_upper_end_of_a_table_row_is_part_of_the_row(tmp_path: Path, value: str, take: str) -> None:
    script = start_operation(
        tmp_path,
        "{id: one, title: One, record: {gap: {ask: Gap, unit: mm}}, choose: {shim: {by: gap, "
        "from: [{up to: 0.10 mm, take: thin}, {up to: 0.20 mm, take: thick}]}}}",
    )
    other = "thick" if take == "thin" else "thin"
    script.do_all(intent("record", name="gap", value=value), intent("choose", name="shim", take=other))
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(intent("choose", name="shim", take=take), intent("finish"))


def test_part_matching_proposes_parts_that_meet_every_limit(tmp_path: Path) -> None:
    script = start_operation(
        tmp_path,
        "{id: one, title: One, each: valve, record: {gap: {ask: Gap, unit: mm}}}",
        "{id: two, title: Two, after: ['one[*]'], record: {on-hand: {ask: Shims, unit: mm, readings: [A, B, C]}}, "
        "work-out: {lash: {is: gap - shims, unit: mm}}, "
        "match: {shims: {measured: on-hand, to: valve, so that: lash, limit: 0.20 .. 0.30 mm, aim: 0.25 mm}}}",
        take="one[1]",
        head="places: {valve: [1, 2]}\n",
    )
    script.do_all(intent("record", name="gap", value="2.75 mm"), intent("finish"))
    script.do_all(intent("start", operation="one[2]"), intent("record", name="gap", value="2.95 mm"), intent("finish"))
    script.do("start", operation="two")
    for place, value in (("A", "2.50 mm"), ("B", "2.70 mm"), ("C", "2.60 mm")):
        script.do("record", name="on-hand", value=value, place=place)
    assert script.query("status")["proposed"] == {"shims[1]": ["A"], "shims[2]": ["B"]}
    assert script.refused("finish") == ["value-missing", "value-missing"]
    script.do("choose", name="shims[1]", take="B")
    assert script.refused("choose", name="shims[2]", take="B") == ["not-allowed"]  # part B is already chosen
    script.do("choose", name="shims[2]", take="C")
    assert script.refused("finish") == ["out-of-limit", "out-of-limit"]
    script.do_all(
        intent("choose", name="shims[1]", take="A"), intent("choose", name="shims[2]", take="B"), intent("finish")
    )


@pytest.mark.parametrize(
    ("value", "stored"),
    [
        ("1/64 in", "0.396875"),
        ("1 1/64 in", "25.796875"),
        (".0015 in", "0.0381"),
        ("1.5 thou", "0.0381"),
        ("0.0450 mm", "0.0450"),
        ("−5 mm", "-5"),
        ("5 mm", "5"),
    ],
)
def test_trade_notation_is_read_exactly_and_kept_as_typed(tmp_path: Path, value: str, stored: str) -> None:
    script = start_operation(tmp_path, operation_with_record("readings: 1"))
    (event,) = script.do("record", name="gap", value=value)
    assert event["data"]["quantity"] == {"value": stored, "unit": "mm", "entered": value}


def test_temperature_is_converted_with_its_offset_and_a_count_has_no_unit(tmp_path: Path) -> None:
    script = start_operation(
        tmp_path,
        "{id: one, title: One, record: {oil: {ask: Oil, unit: °C, limit: 15 .. 25 °C}, "
        "teeth: {ask: Teeth, unit: count, limit: 19 .. 21}}}",
    )
    found: list[Json] = script.do("record", name="oil", value="68 °F")
    assert (found[0]["data"]["quantity"]["value"], found[0]["data"]["verdict"]) == ("20", "ok")
    counted: Any = script.do("record", name="teeth", value=20)[0]["data"]
    assert (counted["quantity"], counted["verdict"]) == ({"value": "20", "unit": "", "entered": "20"}, "ok")
    assert script.refused("record", name="teeth", value="20 mm") == ["wrong-dimension"]
    script.do("finish")


def test_value_typed_in_two_units_is_refused_if_they_disagree(tmp_path: Path) -> None:
    script = start_operation(tmp_path, operation_with_record("limit: 0.05 .. 0.15 mm"))
    (event,) = script.do("record", name="gap", value="0.10 mm (0.004 in)")
    assert (event["data"]["quantity"]["value"], event["data"]["verdict"]) == ("0.10", "ok")
    assert script.refused("record", name="gap", value="0.10 mm (0.014 in)") == ["bad-quantity"]
