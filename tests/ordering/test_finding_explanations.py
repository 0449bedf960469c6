"""The examples of ``check --explain``: each has its finding, and the corrected example does not."""

import pytest

from benchflow.ordering.finding_explanations import EXAMPLES, EXPLANATIONS, FindingExplanation
from benchflow.ordering.proof import DEFAULT_BOUND, prove
from benchflow.ordering.proof.proof_findings import SEVERITIES
from benchflow.procedure.reader import read_bytes

HEAD = 'benchflow: 1\nid: example\ntitle: Example\nrevision: "1"\n'


def codes(example: FindingExplanation, text: str) -> set[str]:
    reading = read_bytes((HEAD + text).encode(), "example.yaml")
    assert reading.procedure is not None, reading.problems
    assert not [problem for problem in reading.problems if problem.severity == "error"]
    proof = prove(reading.procedure, bound=example.bound or DEFAULT_BOUND)
    return {finding.code for finding in (*proof.findings, *proof.advice)}


def test_every_finding_about_the_order_has_an_explanation() -> None:
    assert set(EXPLANATIONS) == set(SEVERITIES)


@pytest.mark.parametrize("code", SEVERITIES)
def test_correction_of_the_example_removes_the_finding(code: str) -> None:
    example = EXAMPLES[code]  # type: ignore[index]  # every code is there: the test above
    assert example.before.count(example.was) == 1
    assert code in codes(example, example.before)
    corrected = codes(example, example.corrected)
    assert code not in corrected
    assert not {each for each in corrected if SEVERITIES[each] == "error"}  # type: ignore[index]  # codes of findings


@pytest.mark.parametrize("code", SEVERITIES)
def test_explanation_fits_the_terminal_and_shows_the_example(code: str) -> None:
    lines = EXPLANATIONS[code].splitlines()
    assert lines[0] == code
    assert max(map(len, lines)) <= 110
    assert "How to correct it" in EXPLANATIONS[code]
    assert EXAMPLES[code].was in EXPLANATIONS[code]  # type: ignore[index]  # as above
