"""The proof over findings, called work, repeated sections and states by place, compared with a game played apart."""

import pytest

from benchflow.ordering.proof import Proof, prove
from benchflow.procedure.reader import read
from tests.ordering.brute_findings import Game, draw, text_of
from tests.ordering.random_plans import EXAMPLES


def proof_of(text: str) -> Proof:
    result = read(text)
    assert result.procedure is not None, (text, [str(problem) for problem in result.problems])
    return prove(result.procedure)


@pytest.mark.parametrize("seed", [*range(max(300, EXAMPLES)), 204133, 1417])  # the last two were once wrong
def test_proof_agrees_with_the_game(seed: int) -> None:
    drawn = draw(seed)
    game, proof = Game(drawn), proof_of(text_of(drawn))
    codes = [finding.code for finding in proof.findings]
    assert ("forbidden-start" in codes) == game.has_forbidden_start, text_of(drawn)
    if not game.origins:
        return
    assert proof.complete, (text_of(drawn), [finding.message for finding in proof.findings])
    assert ("dead-end" in codes or "unreachable-remedy" in codes) == bool(game.lost), (
        text_of(drawn),
        [finding.message for finding in proof.findings],
    )
    assert ("interlock-needed" in codes) == game.breach, (text_of(drawn), [f.message for f in proof.findings])


CALLED = """\
benchflow: 1
id: called
title: Called
revision: A
state: {{bolts: {{values: [tight, loose], start: tight}}}}
sections:
- title: A
  operations:
  - {{id: fit, title: Fit it, sets: {{bolts: tight}}, undo: {{do: Loosen it}}}}
  - id: measure
    title: Measure
    after: fit
    record: {{play: {{unit: mm, limit: at most 0.2 mm, above: [{{do: Set it, redo: {redo}, tries: 2}}]}}}}
  - {{id: set-gear, title: Set the gear, if-needed: true, sets: {{bolts: loose}}}}
  - {{id: tighten, title: T, if-needed: true, after: set-gear, needs: {{bolts: loose}}, sets: {{bolts: tight}}}}
  - {{id: last, title: Last, after: measure, needs: {{bolts: tight}}}}
"""


@pytest.mark.parametrize(
    ("redo", "codes"),
    [
        ("[set-gear, tighten]", []),  # both or none: what the one leaves, the other one finds
        ("[set-gear]", ["dead-end", "unreachable-operation"]),
        ("[fit, set-gear, tighten]", ["not-explored"]),  # fit is done twice in that case
    ],
)
def test_what_one_remedy_calls_for_is_called_together(redo: str, codes: list[str]) -> None:
    text = CALLED.format(redo=redo)
    if "tighten" not in redo:
        text = "".join(line for line in text.splitlines(keepends=True) if "id: tighten" not in line)
    procedure = read(text).procedure
    assert procedure is not None
    assert sorted({one.code for one in prove(procedure).findings} - {"vacuous-rule"}) == codes


BY_SIDE = """\
benchflow: 1
id: called
title: Called
revision: A
places: {side: [left, right]}
state: {x: {values: [a, b], start: a}}
sections:
- title: A
  operations:
  - {id: m, title: M, record: {gap: {unit: mm, readings: side, limit: at most 1 mm, above: [{do: D, redo: [shim]}]}}}
  - {id: shim, title: S, each: side, in-order: true, if-needed: true, sets: {x: {by: side, left: b, right: a}}}
  - {id: last, title: Last, after: m, needs: {x: a}}
"""


def test_work_at_the_place_of_one_reading_is_called_alone() -> None:
    (dead_end,) = [one for one in proof_of(BY_SIDE).findings if one.code == "dead-end"]
    assert dead_end.called == ("shim[left]",)  # only the left reading was out
