"""Limits with strict edges, nominals and two printed columns, entered in a session."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, open_intent, procedure_with


def measuring(folder: Path, record: str) -> Script:
    script = Script(folder, procedure_with(f"{{id: measure, title: Measure, record: {{{record}}}}}"))
    script.do_all(open_intent(), intent("start", operation="measure"))
    return script


CASES = [
    ("mm", "0.13 .. 0.20 mm (0.005 .. 0.008 in)", ["0.13 mm", "0.005 in", "0.008 in"], ["0.126 mm", "0.21 mm"]),
    ("in", "0.006 in (0.15 mm)", ["0.0055 in", "0.0065 in", "0.15 mm"], ["0.00651 in", "0.00549 in", "0.166 mm"]),
    ("mm", "0.006 in (0.15 mm)", ["0.0055 in", "0.0065 in", "0.15 mm"], ["0.00651 in", "0.00549 in", "0.166 mm"]),
    ("°C", "below 40 °C", ["39.9 °C", "103.9 °F"], ["40 °C", "104 °F", "41 °C"]),
    ("mm", "above 0.5 mm", ["0.51 mm"], ["0.5 mm", "0.49 mm"]),
    ("N·m", "40 ± 4 N·m (30 ± 3 ft-lb)", ["36 N·m", "44 N·m", "33 ft-lb"], ["35.9 N·m", "33.1 ft-lb"]),
    ("N·m", "at most 40 N·m (about 30 ft-lb)", ["40 N·m"], ["30 ft-lb"]),
    ("count", "3", ["3"], ["4", "2"]),
]  # fmt: skip


RELATIVE = [
    ("by above 0.5 mm", "above 5.5 mm", ["5.51 mm"], ["5.5 mm"]),
    ("by at most 0.5 mm", "at most 5.5 mm", ["5.5 mm"], ["5.51 mm"]),
    ("by 0.5 mm", "5.45 .. 5.55 mm", ["5.45 mm", "5.55 mm"], ["5.449 mm", "5.56 mm"]),
    ("by 0.02 in (0.50 mm)", "5.381 .. 5.635 mm", ["5.381 mm", "5.635 mm", "5.5 mm"], ["5.38 mm", "5.64 mm"]),
]


@pytest.mark.parametrize(("by", "shown", "within", "out"), RELATIVE)
def test_relative_limit_may_be_strict_nominal_or_printed_twice(
    tmp_path: Path, by: str, shown: str, within: list[str], out: list[str]
) -> None:
    script = measuring(tmp_path, f"start: {{ask: Start, unit: mm}}, x: {{ask: X, unit: mm, limit: above start {by}}}")
    script.do_all(intent("record", name="start", value="5.0 mm"))
    for value in out:
        script.do_all(intent("record", name="x", value=value))
        (reply,) = script.send(intent("finish"))
        assert f"limit {shown} (above start {by})" in reply["refused"][0]["message"]
    for value in within:
        (event,) = script.do("record", name="x", value=value)
        assert event["data"]["verdict"] == "ok", event


def test_readings_are_equal_within_either_printed_column(tmp_path: Path) -> None:
    limit = "equal within 0.25 mm (0.010 in)"
    script = measuring(tmp_path, f"x: {{ask: X, unit: mm, readings: 2, limit: {limit}}}")
    script.do_all(intent("record", name="x", value="1.000 mm", reading="1"))
    script.do_all(intent("record", name="x", value="1.255 mm", reading="2"))
    assert "out-of-limit" in script.refused("finish")
    script.do_all(intent("record", name="x", value="1.254 mm", reading="2"), intent("finish"))


@pytest.mark.parametrize(("unit", "limit", "within", "out"), CASES)
def test_reading_is_judged_by_the_limit_as_printed(
    tmp_path: Path, unit: str, limit: str, within: list[str], out: list[str]
) -> None:
    script = measuring(tmp_path, f"x: {{ask: X, unit: {unit}, limit: '{limit}'}}")
    for value in out:
        script.do_all(intent("record", name="x", value=value))
        assert "out-of-limit" in script.refused("finish"), value
    for value in within:
        (event,) = script.do("record", name="x", value=value)
        assert event["data"]["verdict"] == "ok", event
    script.do_all(intent("finish"))


@pytest.mark.parametrize(
    ("value", "verdict"),
    # 90 ft-lb to half its last digit is 121.35 .. 122.70 N·m, 120 N·m is 119.5 .. 120.5 N·m. Nothing between is ok.
    [("120 N·m", "ok"), ("119.4 N·m", "low"), ("120.6 N·m", "high"), ("121.2 N·m", "low"), ("90 ft-lb", "ok"),
     ("122.8 N·m", "high")],
)  # fmt: skip
def test_value_between_two_nominal_columns_is_in_neither(tmp_path: Path, value: str, verdict: str) -> None:
    operation = "{id: pull, title: Pull, record: {x: {ask: X, unit: N·m, limit: 90 ft-lb (120 N·m)}}}"
    script = Script(tmp_path, procedure_with(operation))
    script.do_all(open_intent(), intent("start", operation="pull"), intent("record", name="x", value=value))
    (recorded,) = (line["data"] for line in script.log() if line["kind"] == "recorded")
    assert recorded["verdict"] == verdict
