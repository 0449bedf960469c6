"""How the texts of a teardown are understood: entry lines, and the answers at the prompts. Nothing is guessed.

Threads are written as in ISO 261 and ASME B1.1. The rest is common practice, no source.
"""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.session.teardown.entry_line import understand_details, understand_entry
from benchflow.session.teardown.fold_teardown import parts_of
from benchflow.session.teardown.prompt_text import entry_text, read_check, read_fate, read_found, read_split
from benchflow.session.teardown.scanned_code import with_scanned_code
from benchflow.session.teardown.teardown_record import ChecklistItem, FastenerGroup, PartDescription, TeardownLine

LASH = ChecklistItem("lash", "", "length")
MARKS = ChecklistItem("timing marks")


def understood(text: str) -> PartDescription:
    found = understand_entry(text)
    assert found.problems == ()
    return found.description


def groups(text: str) -> list[tuple[int, str, str, str, str]]:
    return [as_tuple(group) for group in understood(f"cover, {text}").fasteners]


def as_tuple(group: FastenerGroup) -> tuple[int, str, str, str, str]:
    length = "" if group.length is None else f"{group.length.value} {group.length.unit}"
    return group.count, group.kind, group.thread, length, group.where


def codes(text: str) -> list[str]:
    return [problem.code for problem in understand_entry(text).problems]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("8x M6x1 30 mm", (8, "", "M6x1", "30 mm", "")),
        ("8x M6 x 1 x 30", (8, "", "M6x1", "30 mm", "")),  # both are in the designation
        ("8x M6x30", (8, "", "M6", "30 mm", "")),  # no pitch of ISO 261 is above the coarse one
        ("8x M8x1", (8, "", "M8x1", "", "")),  # a fine pitch
        ("4 bolts M8 45 mm at the dowels", (4, "bolt", "M8", "45 mm", "at the dowels")),
        ('4x 1/4-20 UNC 3/4" front', (4, "", "1/4-20 UNC", "0.75 in", "front")),
        ("4 nuts 5/16-18", (4, "nut", "5/16-18", "", "")),
        ("1x circlip 52 mm", (1, "circlip", "", "52 mm", "")),
        ("2x roll pin 5 mm", (2, "roll pin", "", "5 mm", "")),
        ("8x 30 mm", (8, "", "", "30 mm", "")),
    ],
)
def test_fasteners_are_read_as_the_trade_writes_them(text: str, expected: tuple[int, str, str, str, str]) -> None:
    assert groups(text) == [expected]


@pytest.mark.parametrize("text", ["shift rail 1-2", "fork 3-4", "shift rail 3-4", "fork 1-2"])
def test_name_with_a_pair_of_gears_is_one_thing(text: str) -> None:
    for line in (text, f"{text}, tray C", f"{text}, with fork 1-2, note: stiff"):
        assert (understood(line).what, understood(line).places, understood(line).fasteners) == (text, (), ())
    assert understood("shaft, with fork 1-2").partner == "fork 1-2"
    assert understood("interlock pins 1-2").places == ("1", "2")


def test_pair_of_gears_in_details_is_not_a_thread() -> None:
    found = understood("input shaft, 3-4 pad 4.6 mm, fork 3-4 stays on it")
    assert [(each.name, each.value and each.value.value) for each in found.values] == [("3-4 pad", "4.6")]
    assert (found.remark, found.fasteners) == ("fork 3-4 stays on it", ())
    assert groups("4x 10-32 1/2 in")[0][2] == "10-32"
    assert groups("4 10-32 screws") == [(4, "screw", "10-32", "", "")]
    assert (understood("gear 1-2-3").what, understood("gear 1-2-3").places) == ("gear 1-2-3", ())
    assert groups("2x 1-8 UNC")[0][2] == "1-8 UNC"
    assert groups("4x screw 10-32")[0][1:3] == ("screw", "10-32")


def test_words_after_a_finding_belong_to_it() -> None:
    found = understood("strainer, 2x M6x1 12 mm, bag 11, found: thread pulled at the lower hole, sleeve M6, bag 12")
    assert [each.text for each in found.found] == ["thread pulled at the lower hole, sleeve M6"]
    assert (len(found.fasteners), found.container) == (1, "bag 11; bag 12")


def test_thing_that_is_its_own_fastener_has_its_thread() -> None:
    found = understood("drain plug M14x1.5, copper washer, replace")
    assert (found.what, [as_tuple(each) for each in found.fasteners]) == ("drain plug", [(1, "", "M14x1.5", "", "")])
    assert codes("bolts M6x1") == ["value-missing"]
    assert codes("bolt M6x1") == ["value-missing"]


def test_words_after_a_value_need_a_comma() -> None:
    (problem,) = understand_entry("shaft, shim 0.3 mm under it").problems
    assert problem.message == "Write a comma after the value: shim 0.3 mm, under it."


def test_sides_are_places_with_a_comma_or_a_plus_between_them() -> None:
    for text in ("2x diff bearings, left, right", "2x diff bearings, left + right", "diff bearings left and right"):
        found = understood(text)
        assert (found.what, found.count, found.places) == ("diff bearings", 2, ("left", "right"))
    (problem,) = understand_entry("diff bearings left right").problems
    assert "Write left + right" in problem.message
    assert understood("caliper front left").what == "caliper front left"
    (problem,) = understand_entry("2x bearing, left").problems
    assert "2 parts, but 1 place. " in problem.message


@pytest.mark.parametrize("text", ["M6x1 30 mm", "bolts M6x1", "screws M6 front"])
def test_fasteners_without_a_count_are_refused(text: str) -> None:
    assert codes(f"cover, {text}") == ["value-missing"]


@pytest.mark.parametrize(
    ("text", "where"), [("4x M8x1.25 x 18 mm torx", "torx"), ("4x M8 hex", "hex"), ("4x M6 x 30 mm", "")]
)
def test_words_after_fasteners_keep_their_letters(text: str, where: str) -> None:
    assert groups(text)[0][4] == where


def test_groups_with_plus_share_the_thread() -> None:
    assert groups("8x M6x1 30 mm + 2x 45 mm front") == [(8, "", "M6x1", "30 mm", ""), (2, "", "M6x1", "45 mm", "front")]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("cover, 8x M6x1 30", "bad-quantity"),
        ("cover, 8x M8 1.25", "bad-quantity"),
        ("cover, 8x M6 30 40 mm", "bad-quantity"),
        ("cover, 8x M6 30 mm front 40 mm", "bad-quantity"),
        ("cover, 8x M6x1.1 30 mm", "bad-quantity"),  # no table has this pitch
        ("cover, M6x1 30 mm", "value-missing"),
        ("8x M6x1 30 mm, bag 3", "value-missing"),
        ("cover, bag", "value-missing"),
        ("cover, end float 0.12 mn", "bad-quantity"),
        ("cover, thickness 1.45", "bad-quantity"),
        ("cover, lash 1 5 mm", "bad-quantity"),
        ("cover, gap 0.10 and 0.12 mm", "bad-quantity"),
        ("cover, warm 20 °C gap 0.12 mm", "bad-quantity"),
        ("cover, 10 mm", "value-missing"),
        ("3x rod cap, cylinder 1..4", "bad-quantity"),
        ("rod caps 4..1", "bad-quantity"),
        ("rod caps 1..900", "bad-quantity"),
        ("", "value-missing"),
        ("12", "value-missing"),
    ],
)
def test_doubtful_entries_are_refused(text: str, code: str) -> None:
    assert codes(text) == [code]


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("cover, gap 0,10 mm", "Write 0.10"),
        ("cover,1,5 mm", "Write 1.5"),
        ("cover, 8x M8 1,25", "Write 1.25"),
        ("cover, speed 1,000 rpm", "Write 1.000 or 1000"),
        ("cover, gap 1.234,5 mm", "without a comma"),
        ("cover, gap ,5 mm", "Write 0.5"),
    ],
)
def test_comma_in_a_number_is_never_guessed(text: str, hint: str) -> None:
    (problem,) = understand_entry(text).problems
    assert problem.code == "bad-quantity"
    assert hint in problem.message


@pytest.mark.parametrize(
    "text",
    ["backlash 0,10 mm", "0,2 mm", "3rd gear 0,2 mm", "1,000 rpm", ",5 mm", "lash 1 5 mm", "2 0.12 mm", "10 .12 mm",
     "0.10 and 0.12 mm", "at 20 °C 0.12 mm", "0.12", "0.12 N·m", "gear 3 1 mm", "loose"],
)  # fmt: skip
def test_doubtful_value_while_together_is_refused(text: str) -> None:
    read = read_check(text, LASH)
    assert read.intent is None
    assert {problem.code for problem in read.problems} <= {"bad-quantity", "wrong-dimension"}


@pytest.mark.parametrize(
    ("text", "place", "value"),
    [
        ("0.12 mm", "", "0.12 mm"),
        ("lash 0.12 mm", "", "0.12 mm"),
        ("3rd gear 0.2 mm", "3rd gear", "0.2 mm"),
        ("cylinder 2 0.12 mm", "cylinder 2", "0.12 mm"),
        ("cylinder 2 inlet 5 mm", "cylinder 2 inlet", "5 mm"),
        ("2: 0.12 mm", "2", "0.12 mm"),
        ("1 1/64 in", "", "1 1/64 in"),
    ],
)
def test_value_while_together_is_shown_with_its_place(text: str, place: str, value: str) -> None:
    read = read_check(text, LASH)
    assert read.intent == {"intent": "measure", "name": "lash", "place": place, "value": value}
    assert {row.text for row in read.rows} == {"lash", *([place] if place else []), value}


def test_answer_in_words_is_kept_as_it_is() -> None:
    read = read_check("2 teeth off at dot 3", MARKS)
    assert read.intent == {"intent": "measure", "name": "timing marks", "answer": "2 teeth off at dot 3"}
    assert read_check("0,10 mm", MARKS).intent is None


def test_each_segment_has_its_meaning() -> None:
    found = understood(
        "4x follower, tray A, marked 2 at the front, facing the cam, condition good, thickness 3.45 mm, state: TDC 1, "
        "machine: skim, with rod 2, fine swarf in the oil way, 35x52x7 mm"
    )
    assert (found.what, found.count, found.container) == ("follower", 4, "tray A")
    assert (found.marks, found.orientation, found.condition) == ("marked 2 at the front", "facing the cam", "good")
    assert [(value.name, value.value and value.value.value) for value in found.values] == [("thickness", "3.45")]
    assert (found.state, found.fate, found.fate_reason, found.partner) == ("TDC 1", "machine", "skim", "rod 2")
    assert [each.kind for each in found.found] == ["debris"]
    assert found.remark == "35x52x7 mm"


@pytest.mark.parametrize(
    ("text", "fate", "reason"),
    [("replace: cracked", "replace", "cracked"), ("use again", "use-again", ""),
     ("skim 0.1 mm", "machine", "skim 0.1 mm"), ("ask the customer", "ask-customer", ""), ("replacement part", "", "")],
)  # fmt: skip
def test_fate_is_a_segment_that_begins_with_its_word(text: str, fate: str, reason: str) -> None:
    found = understood(f"gear, {text}")
    assert (found.fate, found.fate_reason) == (fate, reason)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("fine swarf", "debris"), ("imprint of the gasket", "gasket-imprint"), ("thread insert at 3", "thread-insert"),
        ("odd bolt at the rear", "odd-bolt"), ("missing dowel", "missing-dowel"), ("broken stud", "broken"),
        ("1 bolt missing", "other"),
    ],
)  # fmt: skip
def test_findings_have_a_kind(text: str, kind: str) -> None:
    assert [each.kind for each in understood(f"sump, {text}").found] == [kind]


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("rod caps 1..4", ("1", "2", "3", "4")), ("rod caps, cylinder 1-2", ("cylinder 1", "cylinder 2")),
        ("rod cap cylinder 2", ("cylinder 2",)), ("bearings front and rear", ("front", "rear")),
        ("shells, main 1+3", ("main 1", "main 3")), ("5-speed cluster", ()), ("cover 5", ()),
    ],
)  # fmt: skip
def test_places_of_repeated_parts_are_read(text: str, places: tuple[str, ...]) -> None:
    found = understood(text)
    assert found.places == places
    assert found.count == max(len(places), 1)


def test_unknown_words_are_kept_and_shown_as_that() -> None:
    rows = understand_entry("cover, hello there").rows
    assert [(row.label, row.text, row.kept) for row in rows] == [
        ("Thing", "cover", False),
        ("Words", "hello there", True),
    ]


@pytest.mark.parametrize(
    "text",
    ["rocker cover, 8x M6x1 30 mm + 2x M6x1 45 mm front, bag 3, replace: bent", "rod caps, cylinder 1..4, 8x nut M9x1",
     "gear, end float = 0.22 mm, fine swarf, with shaft, state: 3rd in, note: hot, marked 2, facing up, use again"],
)  # fmt: skip
def test_line_to_edit_is_understood_as_before(text: str) -> None:
    first = understood(text)
    again = understood(entry_text(first))
    assert again.fasteners == first.fasteners
    assert (again.what, again.places, again.container, again.fate, again.fate_reason, again.partner) == (
        first.what, first.places, first.container, first.fate, first.fate_reason, first.partner,
    )  # fmt: skip
    assert (again.values, again.found, again.state, again.remark) == (
        first.values,
        first.found,
        first.state,
        first.remark,
    )


@given(st.text(max_size=60))
def test_any_text_is_read_without_a_crash(text: str) -> None:
    understand_entry(text)
    understand_details(text)
    understand_entry(f"cover, {text}")
    read_check(text, LASH)
    read_check(text, MARKS)


def line_of(text: str) -> TeardownLine:
    description = understood(text)
    return TeardownLine("7", description, parts_of(description, (), 1))


def test_prompts_about_a_line_know_its_places() -> None:
    line = line_of("rod caps, cylinder 1..4")
    assert read_fate("2 r pitted", line).intent == {
        "intent": "fate", "line": "7", "place": "cylinder 2", "fate": "replace", "reason": "pitted",
    }  # fmt: skip
    assert read_fate("x", line).intent is None
    found = read_found("cylinder 3: cracked", line).intent
    assert found is not None
    assert (found["place"], found["kind"]) == ("cylinder 3", "broken")
    assert read_split("caps, tray 1", line).intent is None
    assert read_split("caps, tray 1 / shells, 1/4-20 plug, 1x 1/4-20", line).problems


def test_scanned_code_becomes_a_segment() -> None:
    assert with_scanned_code("coverB-42", "B-42") == "cover, bag B-42"
    assert with_scanned_code("cover, bag B-42", "B-42") == "cover, bag B-42"
    assert with_scanned_code("B-42", "B-42") == ", bag B-42"
    assert with_scanned_code("cover, tray-7", "tray-7") == "cover, tray-7"


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("cover, 8x M6x1 30 mm bag 3", "comma before bag 3"),
        ("cover bag 3", "comma before bag 3"),
        ("cover, bag 3 replace", "comma after bag 3"),
        ("cover, marked 2 tray 4", "comma before tray 4"),
        ("rocker cover 8x M6x1 30 mm, bag 3", "comma before 8x M6x1 30 mm"),
    ],
)
def test_missing_comma_is_asked_for(text: str, hint: str) -> None:
    (problem,) = understand_entry(text).problems
    assert hint in problem.message


def test_words_that_look_like_a_missing_comma_are_accepted() -> None:
    assert understood("tool box cover, tray upper left").container == "tray upper left"
    assert understood("cover, note: was in bag 3").remark == "was in bag 3"
    assert [each.count for each in understood("sump, with 8 bolts M6").fasteners] == [8]
    assert understood("cylinder, leak-down 4 %").values[0].name == "leak-down"


def test_invented_gearbox_is_understood_line_by_line() -> None:
    """The lines that were typed on the screen when an invented gearbox was taken apart for a try."""
    lines = (Path(__file__).parent / "data" / "gearbox_teardown.txt").read_text(encoding="utf-8").splitlines()
    found = [understood(line) for line in lines]
    assert len(found) == 58
    assert [each.remark for each in found if each.remark] == []
    assert sum(group.count for each in found for group in each.fasteners) == 69  # counted by hand in the list
