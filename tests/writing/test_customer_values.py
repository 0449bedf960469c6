"""A note of `check`: `handover` on values of blocks alone hides the author's own values. Everything is invented.

The rule is `review.md`: with a `handover`, the customer's copy shows only the values that have it.
"""

from pathlib import Path

import pytest

from benchflow.writing.checking.file_report import read_report

BLOCK = """\
benchflow-block: 1
id: press
title: Press test
operations:
  - {id: press, title: Press, record: {drop: {HANDOVER unit: bar, limit: at most 1 bar}}}
"""
TEXT = """\
benchflow: 1
id: trial
title: Trial
sections:
  - id: all
    title: All
    operations:
      - {use: press}
      - {id: own, title: Own, record: {play: {ask: End play, OWN unit: mm, limit: at most 1 mm}}}
"""


def notes(folder: Path, block: str, own: str) -> list[tuple[int, str]]:
    (folder / "blocks").mkdir()
    (folder / "blocks" / "press.yaml").write_text(BLOCK.replace("HANDOVER", block), encoding="utf-8")
    path = folder / "trial.yaml"
    path.write_text(TEXT.replace("OWN", own), encoding="utf-8")
    report = read_report(path, str)
    assert not [one for one in report.read if one["severity"] == "error"], report.read
    return [(one["line"], one["message"]) for one in report.read if one["code"] == "hidden-values"]


def test_handover_of_a_block_alone_gets_a_note_at_the_first_value_that_it_hides(tmp_path: Path) -> None:
    ((line, message),) = notes(tmp_path, "handover: Pressure drop,", "")
    assert line == 9
    assert message.startswith(
        "The customer's copy shows only the values of blocks: Pressure drop. Write `handover` on "
    )
    assert "`play: {handover: End play, ...}`" in message


@pytest.mark.parametrize(("block", "own"), [("", ""), ("handover: Drop,", "handover: End play,")])
def test_no_note_without_a_handover_or_with_an_own_one(tmp_path: Path, block: str, own: str) -> None:
    assert notes(tmp_path, block, own) == []


def test_name_that_the_author_gives_to_a_block_is_his_own(tmp_path: Path) -> None:
    takes = "takes: {shown: {kind: text}}\noperations:"
    block = BLOCK.replace("operations:", takes).replace("HANDOVER", "HANDOVER{shown},")
    (tmp_path / "blocks").mkdir()
    (tmp_path / "blocks" / "press.yaml").write_text(block.replace("HANDOVER", "handover: "), encoding="utf-8")
    path = tmp_path / "trial.yaml"
    text = TEXT.replace("{use: press}", "{use: press, with: {shown: Pressure drop}}").replace("OWN", "")
    path.write_text(text, encoding="utf-8")
    report = read_report(path, str)
    assert not [one for one in report.read if one["severity"] == "error"], report.read
    assert [one for one in report.read if one["code"] == "hidden-values"] == []
