"""A draft is for every unit of the kind: what was found at the one that came apart is a comment. Invented data."""

import re
from pathlib import Path

import pytest

from benchflow.procedure.model import Operation
from tests.driving.script import intent
from tests.writing.test_draft_from_teardown import operation, procedure_of, torn_down


def asked_words(one: Operation) -> str:
    """All words of an operation that the bench shows."""
    return " ".join([one.title, one.do, *(point.text for point in one.check), *(c.text for c in one.cautions)])


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("reverse idler gear, replace: chipped teeth", "chipped teeth"),
        ("reverse idler gear, replace: chipped teeth, tray B, bore 20.01 mm", "chipped teeth"),
        ("reverse idler gear, teeth chipped, tray B", "teeth chipped"),
        ("thrust washer, found: blue on the face", "blue on the face"),
        ("oil pump, 4x M6x1 16 mm, scored, machine: lap the face", "lap the face"),
        ("crank pulley, ask customer: repair or new", "repair or new"),
        ("output shaft seal, replace: wet", "wet"),
        ("gear, marked with felt pen, tray B", "felt pen"),
        ("pump gasket, throw away", "throw away"),
        ("rear cover, 9x M8x1.25, sealed with grey silicone", "grey silicone"),
    ],
)
def test_words_about_one_unit_are_in_comments_only(tmp_path: Path, line: str, words: str) -> None:
    found = torn_down(tmp_path, line, "input shaft")
    shown = " ".join(map(asked_words, procedure_of(found).operations))
    assert words not in shown
    assert not any(words in follow.title for follow in procedure_of(found).follow_up)
    assert words in re.sub(r"\n\s*# ?", " ", found.book.text())


def test_comment_names_the_unit_the_day_and_the_line(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "input shaft", "reverse idler gear, found: chipped teeth")
    text = re.sub(r"\n *# ", " ", found.book.text())
    assert re.search(
        r"Found on GB-12 \d{4}-\d\d-\d\d: chipped teeth \(line 2\)\. Add a check if every unit should have it\.", text
    )
    checks = [point.text for point in operation(found, "inspect-reverse-idler-gear").check]
    assert checks == ["It is sound, and within the limits of wear"]


def test_wet_places_are_a_comment_and_every_unit_is_looked_at_for_leaks(tmp_path: Path) -> None:
    wet = intent("measure", name="leaks outside", answer="rear seal wet, drain plug sweats")
    found = torn_down(tmp_path, "cover", before=(wet,))
    looked = operation(found, "look-leaks-outside")
    assert [point.text for point in looked.check] == ["No joint, plug or seal is wet"]
    assert [failure.name for failure in looked.guards_against] == ["leak"]
    assert re.search(r"# Found on GB-12 \S+: rear seal wet, drain plug sweats\. Add a check", found.book.text())


def test_housing_whose_dowels_stay_in_is_fitted_and_tightened(tmp_path: Path) -> None:
    found = torn_down(tmp_path, "bellhousing, 6x M10x1.5 35 mm, 2 dowels stay in case", "case dowels, stay in the case")
    names = procedure_of(found).operations_by_id
    assert {"fit-bellhousing", "tighten-bellhousing-fasteners", "check-case-dowels"} <= names.keys()
