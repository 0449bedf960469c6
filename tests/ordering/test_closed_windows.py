"""What `check` says about a time window that cannot be opened again once it has closed.

At the bench, `redo` of the earlier operation and a deviation are the ways out (tests/session has both). No source.
"""

import pytest

from benchflow.ordering.proof import OrderFinding, prove
from benchflow.procedure.reader import read
from tests.driving.script import procedure_with

SEALANT = "id: sealant, title: Spread the sealant"
UNDO = "undo: {do: Wipe it off}"
COVER = "id: cover, title: Fit the cover, time: {sealant: at most 8 min}"


def _found(*operations: str, head: str = "") -> list[OrderFinding]:
    reading = read(procedure_with(*(f"{{{each}}}" for each in operations), head=head))
    assert reading.procedure is not None, reading.problems
    proof = prove(reading.procedure)
    return [each for each in (*proof.findings, *proof.advice) if each.code == "missing-undo"]


def test_window_from_an_operation_without_undo_is_noted_with_what_to_write() -> None:
    (note,) = _found(SEALANT, COVER)
    assert (note.severity, note.where) == ("note", "cover")
    assert "only a signed deviation is left, because `sealant` has no `undo`" in note.message
    assert "`undo: {do: ...}` under `sealant`, or `restarts: [sealant]`" in note.message


@pytest.mark.parametrize(
    "operations",
    [
        (f"{SEALANT}, {UNDO}", COVER),
        (SEALANT, COVER.replace("at most", "at least")),
        (SEALANT, "id: again, title: Again, after: [sealant], restarts: [sealant]", COVER),
        (f"{SEALANT}, {UNDO}", f"id: between, title: Between, after: [sealant], {UNDO}", f"{COVER}, after: [between]"),
        (f"{SEALANT}, {UNDO}", "id: aside, title: Beside it", COVER),
    ],
)
def test_window_that_can_be_opened_again_is_not_noted(operations: tuple[str, ...]) -> None:
    assert _found(*operations) == []


def test_move_that_starts_the_clock_again_is_a_way_back() -> None:
    head = "state: {lid: {values: [off, on], start: off}}\n"
    move = "moves: {knead: {title: Knead it again, sets: {lid: off}, restarts: [sealant]}}\n"
    assert len(_found(SEALANT, COVER, head=head)) == 1
    assert _found(SEALANT, COVER, head=head + move) == []


def test_operation_between_without_undo_is_named() -> None:
    (note,) = _found(
        f"{SEALANT}, {UNDO}", "id: dowels, title: Fit dowels, after: [sealant]", f"{COVER}, after: [dowels]"
    )
    assert "because `dowels` has no `undo`" in note.message


def test_window_that_nobody_can_waive_is_a_warning() -> None:
    (warning,) = _found(SEALANT, COVER.replace("at most 8 min", "{limit: at most 8 min, waive: never}"))
    assert warning.severity == "warning"
    assert "nothing can be done about it" in warning.message


def test_places_of_one_operation_have_one_note() -> None:
    (note,) = _found(f"{SEALANT}, each: side", f"{COVER}, each: side", head="places: {side: [left, right]}\n")
    assert note.where == "cover"


TIGHT = (
    "id: tight, title: Test it, after: [cover], record: {drop: {unit: bar, limit: at most 0.1 bar, "
    "above: [{do: Fit it again, redo: [REDO]}]}}"
)


@pytest.mark.parametrize(
    ("redo", "takes", "found"),
    [("cover", "10 min", 1), ("cover", "5 min", 0), ("cover, sealant", "10 min", 0)],
)
def test_remedy_that_comes_too_late_for_a_window_is_a_warning(redo: str, takes: str, found: int) -> None:
    wait = f"id: wait, title: Let it set, takes: {takes}, after: [cover], {UNDO}"
    tight = TIGHT.replace("REDO", redo).replace("after: [cover]", "after: [wait]")
    findings = _found(f"{SEALANT}, {UNDO}", f"{COVER}, {UNDO}", wait, tight)
    assert [each.severity for each in findings] == ["warning"] * found
    assert all("at least 10 min have passed. Add `sealant` to `redo`" in each.message for each in findings)
