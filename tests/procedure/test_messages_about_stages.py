"""What `check` says about a stage that is not written as the format wants it: what it is, and the text to write."""

import pytest

from benchflow.procedure.model import TorqueStage
from benchflow.procedure.problems import Problem
from benchflow.procedure.reader import read
from tests.driving.script import procedure_with

HEAD = "joints: {flange: {thread: M8x1.25, pattern: star 4}}\n"


def _problems(stage: str) -> tuple[Problem, ...]:
    text = stage if stage.startswith("{") else f'"{stage}"'
    return read(
        procedure_with("{id: a, title: A, tighten: {joint: flange, stages: [10 N·m, " + text + "]}}", head=HEAD)
    ).problems


@pytest.mark.parametrize(
    ("stage", "text"),
    [
        ("12-15 lb-ft", "Write 12 .. 15 lb-ft."),
        ("12 - 15 lb-ft", "Write 12 .. 15 lb-ft."),
        ("12 to 15 lb-ft", "Write 12 .. 15 lb-ft."),
        ("12...15 lb-ft", "Write 12 .. 15 lb-ft."),
        ("between 12 and 15 lb-ft", "Write 12 .. 15 lb-ft."),
        ("loosen 60-90°", "Write 60 .. 90°."),
        ("{torque: 12-15 lb-ft}", "Write 12 .. 15 lb-ft."),
        ("{check: 0.155-0.220 in}", "Write 0.155 .. 0.220 in."),
        ("0.155–0.220 in", "is a length, not a torque or an angle"),
        ("15 N·m max", "Write at most 15 N·m."),
        ("+90", "Write +90° for an angle."),
        ("+900", "Write +90° if the last 0 was a degree sign, +900° otherwise."),
        ("+900°", "If a degree sign was misread as 0, write `+90°`."),
        ("hand tight", "Write `by hand`."),
        ("ask", "Write `{torque: ask}`."),
    ],
)
def test_message_has_the_text_to_write(stage: str, text: str) -> None:
    (problem,) = _problems(stage)
    assert text in str(problem)
    assert "0.28 mm" not in str(problem)


@pytest.mark.parametrize("stage", ["12–15 lb-ft", "12 – 15 lb-ft", "{torque: 12–15 lb-ft}"])
def test_range_with_a_printed_dash_is_a_stage(stage: str) -> None:
    reading = read(
        procedure_with(
            "{id: a, title: A, tighten: {joint: flange, stages: [" + (stage if "{" in stage else f'"{stage}"') + "]}}",
            head=HEAD,
        )
    )
    assert reading.procedure is not None
    tighten = reading.procedure.operations[0].tighten
    assert tighten is not None
    (found,) = tighten.stages
    assert isinstance(found, TorqueStage)
    assert found.band is not None
    assert found.band.low is not None
    assert found.band.high is not None
    assert [float(one.value) for one in (found.band.low, found.band.high, found.torque)] == [12, 15, 13.5]


@pytest.mark.parametrize("takes", ["5 - 10 min", "5 to 10 min", "5 .. 10 min", "5–10 min"])
def test_range_where_one_quantity_is_possible_is_not_answered_with_a_range(takes: str) -> None:
    (problem,) = read(procedure_with('{id: a, title: A, takes: "' + takes + '"}')).problems
    assert problem.message == "one quantity is expected, but this is a range or a tolerance"
    assert problem.hint == "write only one, such as 5 min"
