"""What `check` says about common first mistakes: the hint has the text to write, made from the author's own words.

The mistakes are those of people who wrote their first procedure from a manual page (tried, no other source).
"""

import pytest

from benchflow.ordering.pictures.order_graph import order_graph
from benchflow.procedure.expand import expand
from benchflow.procedure.problems import Problem
from benchflow.procedure.reader import read
from tests.driving.script import procedure_with

_HEAD = "state: {shaft: {values: [free, blocked], start: free}}\n"


def _problems(keys: str, head: str = _HEAD) -> tuple[Problem, ...]:
    found = read(procedure_with("{id: a, title: A, " + keys + "}", head=head)).problems
    return tuple(problem for problem in found if problem.severity != "note")


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ("time: within 8 minutes", "Write it as `{ID: at most 8 min}`, with the id of the operation"),
        ("time: wait 2 h", "Write it as `{ID: at least 2 h}`"),
        ("time: 8 min", "Write `takes: 8 min` if this operation takes that time."),
        ("time: {a: within 8 minutes}", "Write at most 8 minutes."),
        ("needs: shaft free", "such as `{shaft: free}`"),
        ("needs: shaft is free", "such as `{shaft: free}`"),
        ("needs: [shaft free]", "such as `{shaft: free}`"),
        ("needs: [{shaft: free}]", "Write the entries as one mapping, without brackets"),
        ("sets: shaft", "such as `{shaft: value}`"),
        ("record: gap 0.1 .. 0.2 mm", "such as `{gap: {unit: mm, limit: 0.1 .. 0.2 mm}}`"),
        ("record: [{id: gap, unit: mm}]", "Write each entry under its name, such as `gap: {...}`"),
        ("record: {gap: {unit: mm, readings: four}}", "Write 4."),
        ("record: {gap: {unit: mm, readings: 4 points}}", "Write 4."),
        ("record: {gap: {unit: mm, limit: within 0.05 mm}}", "Write at most 0.05 mm."),
        ("hold: second person", "Write `{by: ROLE, second-person: true}`"),
        ("hold: {by: a second person}", "Write `{by: ROLE, second-person: true}`"),
        ("hold: inspector", "such as `{by: inspector}`"),
    ],
)
def test_hint_has_the_text_to_write(keys: str, text: str) -> None:
    problems = _problems(keys)
    assert any(text in problem.text for problem in problems), problems


@pytest.mark.parametrize(
    ("joint", "text"),
    [
        ("count: 6", "For 6 fasteners write `pattern: star 6` if they are tightened crosswise, `layout: ask`"),
        ("layout: crosswise", "Write `pattern: star 8`"),
        ("layout: star 6", "Write `pattern: star 6`"),
        ("layout: 8 crosswise", "Write `pattern: star 8`"),
        ("layout: from the centre", "Write `pattern: out from the middle, 2 by 5`"),
        ("layout: 8", "For 8 fasteners write `pattern: star 8`"),
        ("pattern: 8", "For 8 fasteners write `pattern: star 8`"),
        ("pattern: star", "Write `pattern: star 8`"),
        ("{pattern: star 8, count: 8}", "The pattern says how many fasteners there are. Delete `count`."),
    ],
)
def test_layout_in_words_is_answered_with_a_pattern_and_one_message(joint: str, text: str) -> None:
    head = "joints: {cover: {thread: M6x1, " + joint.strip("{}") + "}}\n"
    (problem,) = _problems("tighten: {joint: cover, stages: [9 N·m]}", head)
    assert text in problem.text


def test_order_says_that_a_second_person_signs() -> None:
    procedure = read(procedure_with("{id: a, title: A, hold: {by: inspector, second-person: true}}")).procedure
    assert procedure is not None
    (operation,) = order_graph(expand(procedure, {}), {}).operations
    assert operation.sign == "inspector (a second person, who entered nothing in it)"


def test_role_of_another_name_is_accepted_as_the_signer() -> None:
    assert _problems("hold: {by: second mechanic}") == ()
