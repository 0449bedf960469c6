"""Entry lines of a teardown that were understood wrongly, as mechanics write them. Common practice, no source."""

import pytest
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.session.catalog import summarize_log
from benchflow.session.log.journal import Journal
from benchflow.session.teardown.checklist import TOGETHER, checklist_for
from benchflow.session.teardown.entry_line import understand_entry
from benchflow.session.teardown.fold_teardown import load_teardown, record_of_lines
from benchflow.session.teardown.part_lists import part_lists
from benchflow.session.teardown.prompt_text import read_check, read_edit, read_entry, read_fate
from benchflow.session.teardown.teardown_record import PartDescription
from tests.driving.teardown_script import TeardownScript


@pytest.fixture
def script(tmp_path_factory: pytest.TempPathFactory) -> TeardownScript:
    return TeardownScript(tmp_path_factory.mktemp("teardown")).begin()


def understood(text: str) -> PartDescription:
    found = understand_entry(text)
    assert found.problems == ()
    return found.description


def refused(text: str) -> str:
    return " ".join(each.message for each in understand_entry(text).problems)


@pytest.mark.parametrize("words", ["replace o-ring", "replace nut", "renew gasket", "replace bearings"])
def test_fate_of_another_part_is_not_that_of_the_thing(words: str) -> None:
    line = understood(f"speedo drive, 1x M6x1 16 mm, {words}, bag 1")
    assert (line.fate, line.remark) == ("", words)


def test_fate_after_the_words_for_another_part_is_that_of_this_part() -> None:
    line = understood("drain plug, 1x M14x1.5, copper washer, replace, bag 1")
    assert (line.fate, line.remark) == ("", "copper washer; replace copper washer")
    line = understood("bearing, noisy, replace")
    assert (line.fate, line.remark) == ("replace", "noisy")


@pytest.mark.parametrize(
    ("text", "reason"),
    [("o-ring, replace o-ring", "o-ring"), ("output flange, replace: nut seat worn", "nut seat worn"),
     ("bearing, replace", ""), ("cover, replace bent", "bent")],
)  # fmt: skip
def test_fate_of_the_thing_keeps_its_reason(text: str, reason: str) -> None:
    line = understood(text)
    assert (line.fate, line.fate_reason) == ("replace", reason)


def test_part_to_replace_in_the_words_of_a_line_is_ordered(script: TeardownScript) -> None:
    script.off("output flange, 1x nut M24x1.5, staked, replace nut")
    assert [(part.part, part.reason) for part in part_lists(script.record).order] == [("nut", "of output flange")]


@pytest.mark.parametrize(
    ("text", "count"), [("interlock pins, 2x, bag 8", 2), ("interlock pins, x2", 2), ("keys, 3 off", 3)]
)
def test_count_alone_is_the_count_of_the_thing(text: str, count: int) -> None:
    assert understood(text).count == count


def test_measured_value_does_not_get_lost_in_a_name() -> None:
    assert "shim input bearing, thickness 1.05 mm" in refused("shim input bearing 1.05 mm")
    assert "pulley, runout 0.5 mm" in refused("pulley 0.5 mm runout")
    assert understood("hose 10 mm").what == "hose 10 mm"  # a size


def test_one_nut_needs_no_count() -> None:
    (group,) = understood("mainshaft gear, nut M24x1.5, staked").fasteners
    assert (group.count, group.kind, group.thread) == (1, "nut", "M24x1.5")
    assert "How many?" in refused("cover, bolts M8x1.25")


def test_length_of_a_spring_is_not_that_of_its_plug() -> None:
    (group,) = understood("detent plugs, 3x M16x1.5 with spring 32 mm and ball").fasteners
    assert (group.length, group.where) == (None, "with spring 32 mm and ball")
    (group,) = understood("cover, 8x M6x1 30 mm with washer").fasteners
    assert group.length is not None
    assert group.length.value == "30"


@pytest.mark.parametrize(("text", "what", "first"), [("rods 1..2, numbered", "rods", "rod 1"),
                                                     ("valves 1..8", "valves", "valve 1")])  # fmt: skip
def test_word_of_a_place_names_the_thing_too(text: str, what: str, first: str) -> None:
    line = understood(text)
    assert (line.what, line.places[0], line.count) == (what, first, len(line.places))


def test_missing_unit_is_asked_with_a_length() -> None:
    assert "“0.3” has no unit. Write it, such as: 0.3 mm" in refused("cover, gasket 0.3")


@pytest.mark.parametrize("text", ["add: gear change effort", "skip: no cylinders", "instead: dry"])
def test_words_for_the_checklist_are_not_parts(text: str, script: TeardownScript) -> None:
    found = read_entry(text, script.record)
    assert found.intent is None
    assert "F2" in found.problems[0].message


def test_note_does_not_become_a_line_by_a_correction(script: TeardownScript) -> None:
    script.off("oil 1.4 l black")
    found = read_edit("note: oil 1.4 l black", script.record.lines[0])
    assert found.intent is None
    assert "x" in found.problems[0].message


def test_line_logged_by_mistake_is_taken_away_and_its_number_is_not_used_again(script: TeardownScript) -> None:
    script.off("cover", "shaft", "shaft")
    script.do("remove", line="3", reason="typed twice")
    script.off("pump")
    assert [(line.id, line.description.what) for line in script.record.lines] == [
        ("1", "cover"), ("2", "shaft"), ("4", "pump"),
    ]  # fmt: skip
    assert summarize_log(script.path).done == 3
    script.do("undo")
    script.do("undo")
    assert [line.id for line in load_teardown(script.path).lines] == ["1", "2", "3"]
    assert summarize_log(script.path).done == 3
    assert script.refused("remove", line="9") == ["unknown-name"]


def test_line_put_back_and_then_taken_away_counts_once_in_the_list_of_logs(script: TeardownScript) -> None:
    script.off("cover", "shaft", "pump")
    script.do("put-back", line="2")
    script.do("remove", line="2")
    script.do("split", line="3", into=["pump", "shim"])
    assert summarize_log(script.path).done == script.record.lines_off == 3
    script.do("put-back", line="1")
    script.do("split", line="1", into=["cover", "gasket"])
    assert summarize_log(script.path).done == script.record.lines_off == 2


@pytest.mark.parametrize(("what", "asked"), [("five-speed gearbox", False), ("rear axle", False), ("engine", True),
                                             ("engine with gearbox", True), ("unit", True)])  # fmt: skip
def test_cylinders_are_asked_about_only_where_they_can_be(what: str, asked: bool) -> None:
    names = [item.name for item in checklist_for(what)]
    assert ("leak-down" in names) is asked
    assert "end float" in names


def test_seal_that_is_to_be_replaced_is_listed_once(script: TeardownScript) -> None:
    script.off("speedo drive, o-ring torn, replace o-ring", "drain plug, 1x M14x1.5 + 1x copper washer")
    lists = part_lists(script.record)
    assert [part.part for part in lists.order] == ["o-ring"]
    assert [part.part for part in lists.renewed] == ["1 × washer, copper"]


@pytest.mark.parametrize(
    ("item", "text", "message"),
    [
        ("timing marks", "cap, 2x M6x1 16 mm", "looks like fasteners that come off"),
        ("lash", "rear housing, 9x M8x1.25 45 mm, bag 3", "looks like fasteners that come off"),
        ("breakaway", "4x M8 bolts 22 N·m", "Leave the count out: M8 bolts 22 N·m"),
        ("lash", "third gear 0.11 mm, fourth gear 0.10 mm", "2 readings. Log each alone: third gear 0.11 mm"),
    ],
)
def test_item_of_the_checklist_takes_no_line_and_one_reading(item: str, text: str, message: str) -> None:
    found = read_check(text, next(each for each in TOGETHER if each.name == item))
    assert found.intent is None
    assert message in found.problems[0].message


@pytest.mark.parametrize(
    ("item", "text"),
    [
        ("breakaway", "M8 bolts 22 N·m"),
        ("timing marks", "M on the flywheel, 2 teeth off"),
        ("leak-down", "cylinder 2: 8 %"),
    ],
)
def test_item_of_the_checklist_takes_what_mechanics_write(item: str, text: str) -> None:
    assert read_check(text, next(each for each in TOGETHER if each.name == item)).intent is not None


@pytest.mark.parametrize(
    ("text", "what", "fate", "reason"),
    [
        ("pump housing to the machine shop, face scored", "pump housing", "machine", ""),
        ("pump housing, to machine shop: face scored", "pump housing", "machine", "face scored"),
        ("pump housing machine: face scored", "pump housing", "machine", "face scored"),
        ("pump housing: machine shop", "pump housing", "machine", ""),
        ("cover, goes to the machine shop for skimming", "cover", "machine", "skimming"),
        ("crankshaft regrind", "crankshaft", "machine", "regrind"),
        ("thermostat, ask customer: which make", "thermostat", "ask-customer", "which make"),
        ("thermostat ask the customer which make", "thermostat", "ask-customer", "which make"),
        ("thermostat O-ring, throw away", "thermostat O-ring", "replace", ""),
        ("shaft seal, leaking, discard: torn", "shaft seal", "replace", "torn"),
        ("shaft seal, do not use again", "shaft seal", "replace", ""),
        ("washer, pitted replace", "washer", "replace", ""),
        ("cover (to the machine shop)", "cover", "machine", ""),
        ("gasket, bin it", "gasket", "replace", ""),
        ("seal, order", "seal", "replace", ""),
        ("caps, can be reused", "caps", "use-again", ""),
    ],
)
def test_fate_is_read_as_mechanics_type_it(text: str, what: str, fate: str, reason: str) -> None:
    line = understood(text)
    assert (line.what, line.fate, line.fate_reason) == (what, fate, reason)
    assert line.condition in ("", "face scored", "pitted")


@pytest.mark.parametrize("text", ["machine: face scored", "to machine shop: face scored", "replace o-ring", "discard",
                                  "found: swarf"])  # fmt: skip
def test_fate_without_a_thing_is_no_thing(text: str) -> None:
    assert "Name the thing first, such as: " in refused(text)


@pytest.mark.parametrize(
    "words",
    ["do not replace", "replace or use again", "replace?", "replace if worn", "reuse if in spec",
     "hone marks visible", "machine screws",
     "bored by the machine shop last year"],
)  # fmt: skip
def test_words_that_decide_nothing_are_no_fate(words: str, script: TeardownScript) -> None:
    line = understood(f"washer, {words}")
    assert (line.fate, line.remark) == ("", words)
    script.off(f"washer, {words}")
    assert part_lists(script.record).order == ()


def test_fate_after_words_that_may_name_another_part_is_asked() -> None:
    assert "Write a comma before to the machine shop" in refused("cover, face to the machine shop")


def test_part_to_throw_away_is_ordered(script: TeardownScript) -> None:
    script.off("thermostat O-ring, throw away", "cover, lever discard")
    lists = part_lists(script.record)
    assert [part.part for part in lists.order] == ["thermostat O-ring", "lever"]
    assert lists.renewed == ()


def test_question_about_the_assembly_is_in_the_list_for_the_customer(script: TeardownScript) -> None:
    found = read_entry("ask customer: which coolant was used", script.record)
    assert found.intent is not None
    assert found.intent == {"intent": "note", "text": "ask the customer: which coolant was used"}
    script.off("cover, note: ask the owner if original")
    script.do("note", text=found.intent["text"])
    asked = [(part.line, part.part, part.reason) for part in part_lists(script.record).ask]
    assert asked == [("", "which coolant was used", ""), ("1", "cover", "if original")]
    (fate,) = [read_fate("to the machine shop: scored", script.record.lines[0]).intent]
    assert fate == {"intent": "fate", "line": "1", "place": "", "fate": "machine", "reason": "scored"}


@pytest.mark.parametrize(("text", "what", "count"), [("dowels 2x, stay in block", "dowels", 2),
                                                     ("valve spring x8", "valve spring", 8),
                                                     ("4 off dowels", "dowels", 4)])  # fmt: skip
def test_count_after_the_name_is_the_count(text: str, what: str, count: int) -> None:
    assert (understood(text).what, understood(text).count) == (what, count)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("8 x M6x1 30mm + 2xM6x1 45mm front, bag 3", "Name the thing first, such as: cover, 8 x M6x1"),
        ("10x M10x1.25 100 mm in the order 9 5 1 4 8", "Name the thing first"),
        ("8x M6x1 30 mm cover", "Name the thing first"),
        ("cover, 999999999999x M6", "999999999999 is not a possible count"),
        ("1..4 rod caps", "rod caps 1..4"),
        ("rod caps 1..999999", "at most 64: rod caps 1..4"),
        ("2x4 gears", "is not a count"),
        ("cover -5x M6", "fasteners after a comma"),
    ],
)
def test_count_or_range_does_not_get_lost_in_a_name(text: str, message: str) -> None:
    assert message in refused(text)


def test_colon_after_a_name_is_read_as_a_comma() -> None:
    (group,) = understood("cover: 8 screws M6x1x30").fasteners
    assert (group.count, group.thread, understood("cover: 8 screws M6x1x30").what) == (8, "M6x1", "cover")


def test_fields_of_a_line_can_be_numbers_and_can_be_cleared(script: TeardownScript) -> None:
    script.do("off", what="dowel", count=2)
    script.do("edit", line="1", count=3)
    assert script.record.lines[0].description.count == 3
    script.off("cover, 8x M6x1 30 mm, replace: bent, bag 1")
    script.do("edit", line="2", fasteners=[], fate="", container="")
    (_, line) = script.record.lines
    assert (line.description.fasteners, line.description.fate, line.description.container) == ((), "", "")
    assert script.refused("edit", line="2", what="") == ["value-missing"]
    assert script.refused("off", text="a", what="b") == ["bad-intent"]
    assert script.refused("split", line="2", into=["a"] * 65) == ["bad-quantity"]
    assert script.refused("measure", name="a" * 201, value="1 mm") == ["bad-intent"]


def test_condition_is_the_reason_of_a_fate_that_has_none(script: TeardownScript) -> None:
    script.off("pump housing to the machine shop, face scored")
    assert [(part.part, part.reason) for part in part_lists(script.record).machine] == [("pump housing", "face scored")]


def test_log_that_opens_twice_or_in_another_format_is_refused(script: TeardownScript) -> None:
    script.off("cover")
    with Journal.open(script.path, read_only=True) as journal:
        first, *rest = journal.lines
    with pytest.raises(BenchflowError, match="opens the teardown again"):
        record_of_lines((first, *rest, first), script.path)
    with pytest.raises(BenchflowError, match="format 9"):
        record_of_lines((replace(first, data={**first.data, "format": 9}), *rest), script.path)


def test_fate_in_fasteners_is_asked() -> None:
    assert "For the fasteners only: , replace bolts" in refused("pulley, 4x M6x1 20 mm replace")
    assert understood("pulley, 4x M6x1 20 mm, replace bolts").remark == "replace bolts"
