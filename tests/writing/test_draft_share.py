"""How much of a finished procedure the draft from its teardown holds. The units and procedures are invented.

The finished procedures and the teardowns were written from the trade (common practice, no source), each before a draft
of it was looked at. `tests/benchmarks/bench_draft.py` prints the misses with their reasons.
"""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from benchflow.commands.check import check_file
from tests.writing.draft_pairing import Pairing, pair, procedure_of, teardown_of, words_of

FINISHED = Path(__file__).parent / "finished"
UNITS = sorted(path.stem for path in FINISHED.glob("*.yaml"))


@cache
def draft_text(unit: str) -> str:
    with TemporaryDirectory() as folder:
        return teardown_of((FINISHED / f"{unit}-teardown.txt").read_text("utf-8"), Path(folder)).book.text()


def pairing(unit: str, draft: str) -> Pairing:
    return pair(procedure_of((FINISHED / f"{unit}.yaml").read_text("utf-8")), procedure_of(draft))


@pytest.mark.parametrize("unit", UNITS)
def test_draft_holds_four_of_five_operations_of_the_finished_procedure(unit: str) -> None:
    result = pairing(unit, draft_text(unit))
    assert result.share >= 0.8, [(miss.title, miss.reason, miss.detail) for miss in result.misses]
    assert len(result.extra) <= 0.15 * result.finished  # the share is not bought by operations that nobody wants


@pytest.mark.parametrize("unit", UNITS)
def test_draft_is_sound_and_a_text_of_lines_that_can_be_read(unit: str, tmp_path: Path) -> None:
    path = tmp_path / "draft.yaml"
    path.write_text(draft_text(unit), encoding="utf-8")
    report = check_file(path, None)
    assert report["ok"]
    assert {finding["code"] for finding in report["findings"]} == {"no-rule", "to-fill"}
    assert [line for line in draft_text(unit).splitlines() if len(line) > 120] == []


HEAD = "benchflow: 1\nid: t\ntitle: T\nrevision: A\nsource: invented\nsections: [{title: A, operations: ["
A_AND_B = "{id: a, title: Fit the cover}, {id: b, title: Fit the shaft, after: [a]}"


@pytest.mark.parametrize(
    ("draft", "reason"),
    [
        ("{id: a, title: Fit the cover}", "nothing on the part"),
        ("{id: a, title: Fit the cover}, {id: b, title: Inspect the shaft}", "another kind of work on the part"),
        ("{id: a, title: Fit the cover}, {id: b, title: Fit the shaft}", "order not held"),
        ("{id: b, title: Fit the shaft}, {id: a, title: Fit the cover, after: [b]}", "order reversed"),
    ],
)  # fmt: skip
def test_each_miss_is_found_by_its_reason(draft: str, reason: str) -> None:
    finished = procedure_of(f"{HEAD}{A_AND_B}]}}]")
    assert pair(finished, finished).share == 1.0
    assert [miss.reason for miss in pair(finished, procedure_of(f"{HEAD}{draft}]}}]")).misses] == [reason]


def test_names_are_compared_without_verbs_and_articles() -> None:
    assert words_of("Fit the new intake camshaft") == words_of("the intake cams")
