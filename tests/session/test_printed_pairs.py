"""Figures printed in two units, stop rows, and readings that cannot be."""

from pathlib import Path

import pytest

from benchflow.procedure.reader import read
from tests.driving.script import Json, Script, intent, open_intent, procedure_with


def problems(operation: str, head: str = "") -> list[tuple[str, str]]:
    found = read(procedure_with(operation, head=head), "p.yaml").problems
    return [(one.code, one.message) for one in found if one.severity == "error"]


def started(folder: Path, keys: str, head: str = "") -> Script:
    script = Script(folder, procedure_with(f"{{id: one, title: One, {keys}}}", head=head))
    script.do_all(open_intent(), intent("start", operation="one"))
    return script


def last_message(script: Script) -> str:
    (answer,) = script.send(intent("finish"))
    reasons: list[Json] = answer["refused"]
    return str(reasons[-1]["message"])


TEMPERATURES = "x: {ask: X, unit: °C}, z: {ask: Z, unit: °C}"
DIFFERENCES = [
    "record: {z: {ask: Z, unit: °C}, x: {ask: X, unit: °C, limit: above z by 20 .. 30 K (36 .. 54 °F)}}",
    "record: {x: {ask: X, unit: °C, readings: 2, judge: spread, limit: at most 5 K (9 °F)}}",
    "record: {x: {ask: X, unit: °C, readings: 2, limit: equal within 5 °C (9 °F)}}",
    f"record: {{{TEMPERATURES}}}, work-out: {{d: {{is: x - z, unit: K, limit: at most 5 K (9 °F)}}}}",
    f"record: {{{TEMPERATURES}}}, work-out: {{d: {{is: x - z, unit: °F, limit: 1 .. 9 °F (0.56 .. 5 °C)}}}}",
]
NO_DIFFERENCES = [
    "record: {x: {ask: X, unit: °C, limit: at most 5 °C (9 °F)}}",
    f"record: {{{TEMPERATURES}}}, work-out: {{d: {{is: 'mean(x, z)', unit: °C, limit: at most 5 °C (9 °F)}}}}",
    f"record: {{{TEMPERATURES}}}, work-out: {{d: {{is: x - z, unit: K, limit: at most 5 °C (41 °F)}}}}",
    "record: {x: {ask: X, unit: °C, readings: 2, judge: spread, limit: at most 5 °C (41 °F)}}",
]


@pytest.mark.parametrize("keys", DIFFERENCES)
def test_printed_pair_of_temperature_differences_agrees(keys: str) -> None:
    assert problems(f"{{id: one, title: One, {keys}}}") == []


@pytest.mark.parametrize("keys", NO_DIFFERENCES)
def test_pair_that_disagrees_in_the_sense_of_its_value_is_reported(keys: str) -> None:
    assert [code for code, _ in problems(f"{{id: one, title: One, {keys}}}")] == ["disagreeing-units"]


def test_uncertainty_of_a_thermometer_is_a_difference() -> None:
    keys = "kind: temperature, covers: 0 .. 100 °C, uncertainty: at most 1 °C (1.8 °F)"
    head = f"instruments: {{probe: {{title: Probe, {keys}}}}}\n"
    assert problems("{id: one, title: One, record: {x: {ask: X, unit: °C, with: probe}}}", head) == []


def test_limit_of_a_spread_for_used_parts_is_read_as_a_difference() -> None:
    keys = "readings: 2, judge: spread, limit: at most 2 K (3.6 °F), used: at most 5 K (9 °F)"
    assert problems(f"{{id: one, title: One, record: {{x: {{ask: X, unit: °C, {keys}}}}}}}") == []


def test_difference_within_either_printed_column_is_ok(tmp_path: Path) -> None:
    script = started(tmp_path, DIFFERENCES[0].replace("54 °F", "54.2 °F"))
    script.do("record", name="z", value="20 °C")
    (event,) = [each for each in script.do("record", name="x", value="50.1 °C") if each["kind"] == "recorded"]
    assert event["data"]["verdict"] == "ok"  # 54.2 °F is 30.11 K


TABLE = (
    "record: {x: {ask: X, unit: mm}}, choose: {shim: {by: x, from: "
    "[{up to: 0.10 mm (0.004 in), take: one}, {up to: 0.20 mm (0.008 in), take: two}]}}"
)


@pytest.mark.parametrize(
    ("value", "parts"),
    [
        ("0.10 mm", ["one"]),
        ("0.004 in", ["one", "two"]),  # the first row by its inches, the second by its millimetres
        ("0.0041 in", ["two"]),
        ("0.008 in", ["two"]),
        ("0.0081 in", []),
    ],
)
def test_table_edge_printed_in_two_units_ends_at_either(tmp_path: Path, value: str, parts: list[str]) -> None:
    for take in ("one", "two"):
        (tmp_path / take).mkdir()
        script = started(tmp_path / take, TABLE)
        script.do("record", name="x", value=value)
        script.send(intent("choose", name="shim", take=take))
        assert script.send(intent("finish"))[0]["ok"] == (take in parts)


def test_stop_row_without_an_end_names_the_end_before_it(tmp_path: Path) -> None:
    rows = "[{up to: 0.20 mm, take: one}, {stop: Ask the maker}]"
    script = started(tmp_path, f"record: {{x: {{ask: X, unit: mm}}}}, choose: {{shim: {{by: x, from: {rows}}}}}")
    script.do("record", name="x", value="0.3 mm")
    assert "0.3 mm is in a row where the work stops (above 0.20 mm). Ask the maker" in last_message(script)


@pytest.mark.parametrize("value", ["-300 °C", "-460 °F", "-273.16 °C", "-1 K"])
def test_reading_below_absolute_zero_is_refused(tmp_path: Path, value: str) -> None:
    script = started(tmp_path, "record: {x: {ask: X, unit: °C}}")
    assert script.refused("record", name="x", value=value) == ["bad-quantity"]


def test_reading_at_absolute_zero_and_a_difference_below_zero_are_accepted(tmp_path: Path) -> None:
    script = started(tmp_path, "record: {x: {ask: X, unit: °C}, drop: {ask: Drop, unit: K}}")
    script.do("record", name="x", value="-273.15 °C")
    script.do("record", name="drop", value="-5 K")


def test_limit_of_a_temperature_below_absolute_zero_is_reported() -> None:
    limit = "record: {x: {ask: X, unit: °C, limit: at least -300 °C}}"
    assert [code for code, _ in problems(f"{{id: one, title: One, {limit}}}")] == ["bad-quantity"]


@pytest.mark.parametrize(
    ("so_that", "rest", "codes"),
    [
        ("gap - shims", "limit: 0.2 .. 0.3 mm, aim: 0.25 mm", []),
        ("gap - shims", "limit: 0.2 .. 0.3 mm, aim: 0.4 mm", ["bad-quantity"]),
        ("gap - 1 mm", "limit: 0.2 .. 0.3 mm", ["bad-formula"]),
    ],
)
def test_matching_that_cannot_work_is_reported(so_that: str, rest: str, codes: list[str]) -> None:
    operation = (
        "{id: one, title: One, record: {hand: {ask: H, unit: mm, readings: seats}, gap: {ask: G, unit: mm}}, "
        f"work-out: {{lash: {{is: {so_that}, unit: mm}}}}, "
        f"match: {{shims: {{measured: hand, to: seats, so that: lash, {rest}}}}}}}"
    )
    assert [code for code, _ in problems(operation, "places: {seats: [a, b]}\n")] == codes
