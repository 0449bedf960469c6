"""Readings named in formulas, relative limits and tables, as a script drives them. All data is invented."""

from pathlib import Path

from tests.driving.script import Script, intent, open_intent, procedure_with

HEAD = "places: {cap: [1, 2], side: [left, right]}\n"


def at_bench(tmp_path: Path, *operations: str) -> Script:
    script = Script(tmp_path, procedure_with(*operations, head=HEAD))
    script.do_all(open_intent())
    return script


def test_relative_limit_counts_from_the_reading_that_it_names(tmp_path: Path) -> None:
    script = at_bench(
        tmp_path,
        "{id: one, title: One, record: {drag: {unit: N·m, readings: side}, "
        "preload: {unit: N·m, limit: 'above drag[right] by 0.4 .. 0.6 N·m'}}}",
    )
    script.do_all(
        intent("start", operation="one"),
        intent("record", name="drag", place="left", value="0.2 N·m"),
        intent("record", name="preload", value="1.5 N·m"),
        intent("record", name="drag", place="right", value="0.5 N·m"),
    )
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(intent("record", name="preload", value="1.0 N·m"), intent("finish"))


def test_limit_and_table_at_a_place_use_the_reading_of_this_place(tmp_path: Path) -> None:
    script = at_bench(
        tmp_path,
        "{id: measure, title: Measure, record: {height: {unit: mm, readings: cap}}}",
        "{id: fit, title: Fit, each: cap, after: [measure], "
        "record: {fitted: {unit: mm, limit: above height by 0.1 .. 0.2 mm}}, "
        "choose: {shim: {by: height, from: [{at least: 0 mm, up to: 1 mm, take: thin}, {up to: 3 mm, take: thick}]}}}",
    )
    script.do_all(
        intent("start", operation="measure"),
        intent("record", name="height", place="1", value="0.50 mm"),
        intent("record", name="height", place="2", value="2.50 mm"),
        intent("finish"),
        intent("start", operation="fit[2]"),
        intent("record", name="fitted", value="0.65 mm"),
    )
    assert script.query("status")["proposed"] == {"shim[2]": ["thick"]}
    assert sorted(script.refused("finish")) == ["out-of-limit", "value-missing"]
    script.do_all(
        intent("record", name="fitted", value="2.65 mm"), intent("choose", name="shim", take="thick"), intent("finish")
    )


def test_formula_at_a_place_uses_its_own_readings(tmp_path: Path) -> None:
    script = at_bench(
        tmp_path,
        "{id: one, title: One, each: cap, record: {bore: {unit: mm, readings: side}}, work-out: {"
        "taper: {is: 'bore[left] - bore[right]', unit: mm}, both: {is: 'bore[cap, left] + mean(bore[*])', unit: mm}}}",
        "{id: two, title: Two, after: ['one[*]'], record: {datum: {unit: mm}}, work-out: {"
        "most: {is: 'max(bore[*]) - datum', unit: mm}, left: {is: 'mean(bore[*, left]) - datum', unit: mm}}}",
    )
    for cap, left, right in (("1", "1.0 mm", "2.0 mm"), ("2", "5.0 mm", "3.0 mm")):
        script.do_all(intent("start", operation=f"one[{cap}]"), intent("record", name="bore", place="left", value=left))
        events = script.do("record", name="bore", place="right", value=right)
        results = {event["data"]["name"]: event["data"]["quantity"]["value"] for event in events[1:]}
        expected = {"1": ("-1.0", "2.5"), "2": ("2.0", "9.0")}[cap]
        assert results == {f"taper[{cap}]": expected[0], f"both[{cap}]": expected[1]}
        script.do("finish")
    script.do("start", operation="two")
    events = script.do("record", name="datum", value="0.0 mm")
    assert {event["data"]["name"]: event["data"]["quantity"]["value"] for event in events[1:]} == {
        "most": "5.0", "left": "3.0",
    }  # fmt: skip


def test_table_at_a_place_looks_up_the_result_of_this_place(tmp_path: Path) -> None:
    script = at_bench(
        tmp_path,
        "{id: measure, title: Measure, record: {height: {unit: mm, readings: cap}}, "
        "work-out: {half: {is: height / 2, unit: mm}}}",
        "{id: fit, title: Fit, each: cap, after: [measure], "
        "choose: {shim: {by: half, from: [{at least: 0 mm, up to: 1 mm, take: thin}, {up to: 3 mm, take: thick}]}}}",
    )
    script.do_all(
        intent("start", operation="measure"),
        intent("record", name="height", place="1", value="0.50 mm"),
        intent("record", name="height", place="2", value="2.50 mm"),
        intent("finish"),
        intent("start", operation="fit[1]"),
        intent("choose", name="shim", take="thin"),
        intent("finish"),
        intent("start", operation="fit[2]"),
        intent("choose", name="shim", take="thick"),
        intent("finish"),
    )
