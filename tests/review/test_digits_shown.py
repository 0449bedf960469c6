"""Numbers in messages, reviews, trends and sheets have the digits that were typed, never those of a division."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchflow.cli import benchflow
from tests.driving.script import Json, Script, intent, open_intent, procedure_with

LONG = re.compile(r"[1-9]\d*\.\d{7,}|0\.0*[1-9]\d{6,}")
"""More digits than anybody measures."""

STEPS = (
    "{id: first, title: First, record: {base: {ask: Base, unit: mm}, ambient: {ask: Ambient, unit: °C}}}",
    "{id: measure, title: Measure, after: [first], guards-against: [leak], record: {"
    "bore: {ask: Bore, unit: mm, limit: 52.000 .. 52.013 mm, readings: 3, judge: mean}, "
    "journal: {ask: Journal, unit: in, limit: 2.0460 .. 2.0470 in, readings: 3}, "
    "over: {ask: Over, unit: in, limit: above base by 0.001 .. 0.002 in}, "
    "warm: {ask: Warm, unit: °F, limit: above ambient by 5 .. 9 °C}, "
    "round: {ask: Roundness, unit: in, readings: 3, judge: spread, limit: at most 0.001 mm}}, "
    "work-out: {clear: {is: bore - over, unit: in, limit: 0.001 .. 0.002 in}}}",
    "{id: pick, title: Pick, after: [measure], choose: {gasket: {by: base, from: ["
    "{up to: 0.10 mm, take: one}, {up to: 0.20 mm, take: two}]}}}",
)
READINGS = [
    ("bore", "2.0477 in"), ("bore", "2.04775 in"), ("bore", "2.0479 in"),
    ("journal", "52 mm"), ("journal", "51.98 mm"), ("journal", "51.9823 mm"), ("over", "52.0124 mm"),
    ("warm", "24.7 °C"), ("round", "1.0001 mm"), ("round", "1.0012 mm"), ("round", "1.0014 mm"),
]  # fmt: skip


@pytest.fixture
def script(tmp_path: Path) -> Script:
    made = Script(tmp_path, procedure_with(*STEPS, head="failures: {leak: It leaks}\n"))
    made.do_all(open_intent(), intent("start", operation="first"))
    made.do_all(intent("record", name="base", value="2.0477 in"), intent("record", name="ambient", value="68.3 °F"))
    made.do_all(intent("finish"), intent("start", operation="measure"))
    made.do_all(*(intent("record", name=name, value=value) for name, value in READINGS))
    return made


def refusals(script: Script, kind: str, **fields: object) -> dict[str, str]:
    (reply,) = script.send(intent(kind, **fields))
    refused: list[Json] = reply["refused"]
    return {reason["name"]: reason["message"] for reason in refused}


def test_refusals_show_the_digits_that_were_typed(script: Script) -> None:
    messages = refusals(script, "finish")
    assert set(messages) == {"bore", "journal", "over", "warm", "round", "clear"}
    assert not [message for message in messages.values() if LONG.search(message)]
    assert "2.05 in HIGH" in messages["journal"]
    assert "76.46 °F LOW, limit 77.3 .. 84.5 °F (above ambient by 5 .. 9 °C)" in messages["warm"]
    assert "limit 2.0487 .. 2.0497 in (above base by 0.001 .. 0.002 in)" in messages["over"]


def test_choice_shows_the_digits_that_were_typed(script: Script) -> None:
    for about in refusals(script, "finish"):
        script.do("deviate", operation="measure", about=about, reason="known", by="Robin")
    script.do_all(intent("finish"), intent("start", operation="pick"))
    assert "52.0116 mm is outside the table" in refusals(script, "choose", name="gasket", take="one")["gasket"]


@pytest.fixture
def output(script: Script) -> Callable[..., str]:
    def run(*command: str) -> str:
        result = CliRunner().invoke(benchflow, [*command])
        assert result.exit_code == 0, result.output
        return re.sub(r"\s+", " ", result.output)

    return run


@pytest.mark.parametrize(
    ("command", "expected"),
    [
        (
            ["review", "LOG", "--all"],
            ["base 52.0116 mm", "journal 2.05 in, 2.0465 in, 2.046547 in", "over 2.047732 in"],
        ),
        (["log", "LOG"], ["bore, reading 2: 52.01285 mm (typed 2.04775 in)", "ambient: 20.17 °C (typed 68.3 °F)"]),
        (["sheet", "LOG", "--markdown"], ["52.0116 mm (typed 2.0477 in)", "2.047732 in (typed 52.0124 mm)"]),
        (["trace", "--reading", "over", "--logs", "FOLDER"], ["over (1) 2.047732 in"]),
        (["trend", "base", "--logs", "FOLDER"], ["base, 1 build"]),
        (["trend", "bore", "--logs", "FOLDER"], ["52.013 ●", "52.000 =="]),
        (["trend", "over", "--logs", "FOLDER"], ["2.047732 in is outside its limit"]),
    ],
)
def test_command_shows_the_digits_that_were_typed(
    script: Script, output: Callable[..., str], command: list[str], expected: list[str]
) -> None:
    places = {"LOG": str(script.path), "FOLDER": str(script.path.parent)}
    text = output(*(places.get(word, word) for word in command))
    assert [part for part in expected if part not in text] == [], text
    assert LONG.findall(text) == []
