"""A deviation covers the entries that were there when it was signed, and nothing later. All data is invented."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, open_intent, procedure_with


def one_operation(folder: Path, keys: str, *more: str, head: str = "") -> Script:
    script = Script(folder, procedure_with(f"{{id: one, title: One, {keys}}}", *more, head=head))
    script.do_all(open_intent(), intent("start", operation="one"))
    return script


def one_value(folder: Path, keys: str = "limit: 0.10 .. 0.20 mm") -> Script:
    return one_operation(folder, f"record: {{gap: {{ask: Gap, unit: mm, {keys}}}}}")


def deviation(about: str = "gap") -> dict[str, str]:
    return intent("deviate", operation="one", about=about, reason="Approved by the maker", by="Kim")


def test_deviation_covers_only_the_reading_that_was_there(tmp_path: Path) -> None:
    script = one_value(tmp_path)
    script.do_all(intent("record", name="gap", value="0.21 mm"), deviation())
    script.do("record", name="gap", value="0.90 mm")
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(deviation(), intent("finish"))


def test_deviation_names_the_entries_that_it_covers(tmp_path: Path) -> None:
    script = one_value(tmp_path)
    (recorded,) = script.do("record", name="gap", value="0.21 mm")
    (signed,) = script.do("deviate", operation="one", about="gap", reason="Approved by the maker")
    assert signed["data"]["entries"] == [recorded["seq"]]


def test_deviation_before_the_value_is_refused(tmp_path: Path) -> None:
    script = one_value(tmp_path)
    assert script.refused("deviate", operation="one", about="gap", reason="will be fine") == ["value-missing"]


def test_deviation_while_a_reading_is_missing_is_refused(tmp_path: Path) -> None:
    script = one_value(tmp_path, "readings: 2, limit: 0.10 .. 0.20 mm")
    script.do("record", name="gap", value="0.15 mm")
    assert script.refused("deviate", operation="one", about="gap", reason="will be fine") == ["value-missing"]
    assert script.refused("deviate", operation="one", about="gap[2]", reason="will be fine") == ["value-missing"]


def test_plain_name_covers_every_reading_that_is_out(tmp_path: Path) -> None:
    script = one_value(tmp_path, "readings: 3, limit: 0.10 .. 0.20 mm")
    for value in ("0.30 mm", "0.15 mm", "0.31 mm"):
        script.do("record", name="gap", value=value)
    events = script.do("deviate", operation="one", about="gap", reason="Approved by the maker")
    assert [event["data"]["about"] for event in events] == ["gap[1]", "gap[3]"]
    script.do("record", name="gap", value="0.32 mm", reading=3)
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(intent("record", name="gap", value="0.16 mm", reading=3), intent("finish"))


def test_name_with_a_reading_covers_this_reading(tmp_path: Path) -> None:
    script = one_value(tmp_path, "readings: [front, rear], limit: 0.10 .. 0.20 mm")
    script.do("record", name="gap", value="0.30 mm", place="front")
    script.do("record", name="gap", value="0.31 mm", place="rear")
    script.do_all(deviation("gap[rear]"))
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(deviation("gap[front]"), intent("finish"))


def test_deviation_from_a_mean_lapses_with_each_of_its_readings(tmp_path: Path) -> None:
    script = one_value(tmp_path, "readings: 2, judge: mean, limit: 0.10 .. 0.20 mm")
    script.do_all(intent("record", name="gap", value="0.30 mm"), intent("record", name="gap", value="0.30 mm"))
    script.do_all(deviation(), intent("record", name="gap", value="0.29 mm", reading=2))
    assert script.refused("finish") == ["out-of-limit"]


CLEARANCE = (
    "record: {bore: {ask: Bore, unit: mm}}, work-out: {clearance: {is: bore - journal, unit: mm, "
    "limit: 0.02 .. 0.05 mm, above: [{do: Fit new shells}]}}"
)


def measured(folder: Path) -> Script:
    journal = "{id: before, title: Before, record: {journal: {ask: Journal, unit: mm}}}"
    script = Script(folder, procedure_with(journal, f"{{id: one, title: One, after: [before], {CLEARANCE}}}"))
    script.do_all(open_intent(), intent("start", operation="before"))
    script.do_all(intent("record", name="journal", value="52.00 mm"), intent("finish"))
    script.do_all(intent("start", operation="one"), intent("record", name="bore", value="52.09 mm"))
    return script


def test_deviation_about_a_calculated_value_lapses_when_an_input_changes(tmp_path: Path) -> None:
    script = measured(tmp_path)
    script.do_all(deviation("clearance"), intent("record", name="bore", value="52.10 mm"))
    assert "out-of-limit" in script.refused("finish")
    script.do_all(deviation("clearance"), intent("finish"))


def test_deviation_about_a_calculated_value_lapses_when_an_earlier_operation_is_corrected(tmp_path: Path) -> None:
    script = measured(tmp_path)
    (journal,) = [line["seq"] for line in script.log() if line["data"].get("name") == "journal"]
    script.do_all(deviation("clearance"))
    script.do("correct", event=journal, value="51.99 mm", reason="misread")
    assert "out-of-limit" in script.refused("finish")


def test_deviation_about_a_relative_limit_lapses_when_the_earlier_value_is_corrected(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: before, title: Before, record: {drag: {ask: Drag, unit: N·m}}}",
        "{id: one, title: One, after: [before], record: {preload: {ask: Preload, unit: N·m, "
        "limit: above drag by 0.35 .. 0.45 N·m}}}",
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent(), intent("start", operation="before"))
    (drag,) = script.do("record", name="drag", value="1.20 N·m")
    script.do_all(intent("finish"), intent("start", operation="one"))
    script.do_all(intent("record", name="preload", value="1.70 N·m"), deviation("preload"))
    script.do("correct", event=drag["seq"], value="0.20 N·m", reason="misread")
    assert script.refused("finish") == ["out-of-limit"]


TABLE = (
    "record: {gap: {ask: Gap, unit: mm}}, choose: {shim: {by: gap, "
    "from: [{up to: 0.10 mm, take: thin}, {up to: 0.20 mm, take: thick}]}}"
)


@pytest.mark.parametrize(
    "later", [intent("choose", name="shim", take="thin"), intent("record", name="gap", value="0.12 mm")]
)
def test_deviation_about_a_choice_lapses_with_the_choice_and_with_the_reading(
    tmp_path: Path, later: dict[str, str]
) -> None:
    script = one_operation(tmp_path, TABLE)
    script.do("record", name="gap", value="0.11 mm")
    assert script.refused("deviate", operation="one", about="shim", reason="none left") == ["value-missing"]
    script.do_all(intent("choose", name="shim", take="thin"), deviation("shim"), later)
    assert script.refused("finish") == ["out-of-limit"]


def test_deviation_about_a_match_covers_the_parts_that_do_not_fit(tmp_path: Path) -> None:
    script = one_operation(
        tmp_path,
        "record: {gap: {ask: Gap, unit: mm, readings: valve}, on-hand: {ask: Shims, unit: mm, readings: [A, B, C]}}, "
        "work-out: {lash: {is: gap - shims, unit: mm}}, match: {shims: {measured: on-hand, to: valve, so that: lash, "
        "limit: 0.20 .. 0.30 mm}}",
        head="places: {valve: [1, 2]}\n",
    )
    for place, value in ((1, "2.75 mm"), (2, "2.95 mm")):
        script.do("record", name="gap", value=value, place=place)
    for place_of_shim, value in (("A", "2.50 mm"), ("B", "2.00 mm"), ("C", "2.10 mm")):
        script.do("record", name="on-hand", value=value, place=place_of_shim)
    assert script.refused("deviate", operation="one", about="shims", reason="none left") == ["value-missing"]
    script.do_all(intent("choose", name="shims[1]", take="A"), intent("choose", name="shims[2]", take="B"))
    (signed,) = script.do("deviate", operation="one", about="shims", reason="none left")
    assert signed["data"]["about"] == "shims[2]"
    script.do("choose", name="shims[2]", take="C")
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(deviation("shims[2]"), intent("finish"))


def test_deviation_of_a_finished_operation_lapses_with_its_reworked_input(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: before, title: Before, record: {journal: {ask: Journal, unit: mm}}, undo: {do: Off}}",
        "{id: one, title: One, record: {bore: {ask: Bore, unit: mm}}, "
        "work-out: {clearance: {is: bore - journal, unit: mm, limit: 0.02 .. 0.05 mm}}}",
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent(), intent("start", operation="before"))
    script.do_all(intent("record", name="journal", value="52.00 mm"), intent("finish"))
    script.do_all(intent("start", operation="one"), intent("record", name="bore", value="52.09 mm"))
    script.do_all(deviation("clearance"), intent("finish"))
    script.do_all(intent("rework", operation="before", reason="a new shaft"), intent("start", operation="before"))
    script.do_all(intent("record", name="journal", value="51.00 mm"), intent("finish"))
    assert "out-of-limit" in script.refused("close")
