"""Drafts from a page of a manual and from tables with two units. All data are invented. Common practice, no source."""

from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.procedure.reader import read
from benchflow.writing.drafts.draft_source import DraftSource, read_draft_source

PAGE = """# Invented pump: fit

Service manual VM-40, 3rd edition, page 6-14.

**Warning:** The coolant is hot.

1. Apply a 2 mm bead of sealant round the holes.
2. Fit the housing. Fit the 6 bolts M8x1.25 45 mm finger tight.
3. Tighten the 6 pump bolts in the sequence 1-4-2-5-3-6, stage 1: 8 Nm (71 lbf in).
4. Stage 2: 22 Nm (16 lbf ft).
5. Fit the drain plug with a new washer and tighten to 18 Nm.
6. Tighten the 6 cover bolts to 10 Nm.
7. Measure the diameter 10 to 20 mm below the deck.
"""


def drafted(folder: Path, text: str, name: str) -> DraftSource:
    (folder / name).write_text(text, encoding="utf-8")
    return read_draft_source(folder / name)


def test_page_of_a_manual_keeps_what_it_prints(tmp_path: Path) -> None:
    found = drafted(tmp_path, PAGE, "page.md")
    assert [str(each) for each in read(found.book.text()).problems if each.severity != "note"] == []
    first, *_, last = found.book.operations
    assert first["id"] == "apply-bead-sealant-round-holes"
    assert first["cautions"] == [{"warning": "The coolant is hot."}]
    assert "Warning" not in found.book.text().partition("sections:")[2].partition("# Words of the list")[2]
    assert any("Service manual VM-40" in each for each in found.book.head)
    joints = found.book.joints
    assert list(joints) == ["pump-bolts", "drain-plug", "cover-bolts"]
    assert (joints["pump-bolts"]["thread"], joints["pump-bolts"]["count"]) == ("M8x1.25", 6)
    assert joints["cover-bolts"]["thread"] == "ask"  # the six bolts of another step are not its own
    assert joints["drain-plug"]["title"] == "Drain plug"
    assert found.book.text().count("sequence 1-4-2-5-3-6. Number") == 1
    assert "record" not in last


def test_two_torque_columns_are_compared(tmp_path: Path) -> None:
    head = "Step,Torque Nm,Torque ft-lb\nTighten the nut,90,"
    assert "90 Nm (66 ft-lb)" in drafted(tmp_path, f"{head}66\n", "good.csv").book.text()
    book = drafted(tmp_path, f"{head}10\n", "slip.csv").book
    assert [kept.text for kept in book.kept if kept.refused] == ["90 Nm (10 ft-lb)"]
    assert book.operations[0]["tighten"]["stages"] == [{"torque": "ask"}]


def test_quote_that_a_later_row_closes_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BenchflowError, match="line 2 is not closed"):
        drafted(tmp_path, 'step,torque\n"Fit,90 N·m\n"Tighten, again",3 N·m\n', "list.csv")


def test_cells_are_not_compared_with_all_units(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchflow.quantity.units.nearest", lambda *_: pytest.fail("a similar unit was looked for"))
    drafted(tmp_path, "Step,Torque,Note\nFit part 1,10 N·m,Note one\n", "list.csv")


@pytest.mark.parametrize("more", ["2. Fit the cover.\n3. Stage 2: 22 Nm.\n", ""])
def test_first_stage_alone_never_becomes_the_whole_joint(tmp_path: Path, more: str) -> None:
    found = drafted(tmp_path, f"1. Tighten the 6 bolts, stage 1: 8 Nm.\n{more}", "page.md")
    assert found.book.operations[0]["tighten"]["stages"] == ["8 Nm", {"torque": "ask"}]
    assert [str(each) for each in read(found.book.text()).problems if each.severity != "note"] == []
