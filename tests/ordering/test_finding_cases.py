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


@pytest.mark.parametrize("seed", range(max(300, EXAMPLES)))
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
