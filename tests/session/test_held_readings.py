"""What a reading out of its limit holds, each part's own limit for used parts, and lots asked for again."""

from pathlib import Path

import pytest

from tests.driving.script import Json, Script, intent, open_intent, procedure_with


def script_with(folder: Path, *operations: str, head: str = "") -> Script:
    script = Script(folder, procedure_with(*operations, head=head))
    script.do_all(open_intent(), intent("start", operation="one"))
    return script


def record(name: str, value: str, **fields: object) -> Json:
    return intent("record", name=name, value=value, **fields)


# --- relative limits -------------------------------------------------------------------------------

ABOVE = "limit: above rim by 1 .. 2 mm"


def over_rim(folder: Path, above: str, rim: str = "", more: str = "") -> Script:
    """An operation with the value ``top``, whose limit depends on ``rim``."""
    return script_with(
        folder,
        "{id: one, title: One, undo: {do: Take it off}, record: {"
        f"rim: {{ask: Rim, unit: mm{rim}}}, top: {{ask: Top, unit: mm, {ABOVE}, above: [{above}]}}{more}}}}}",
    )


def test_stop_of_a_relative_limit_holds_the_value_that_it_depends_on(tmp_path: Path) -> None:
    script = over_rim(tmp_path, "{do: Scrap it, stop: true}")
    script.do_all(record("rim", "1 mm"), record("top", "5 mm"))
    for name in ("top", "rim"):
        assert script.refused("record", name=name, value="3.5 mm") == ["out-of-limit"]
    assert script.refused("finish") == ["out-of-limit"]


def test_remedy_of_a_relative_limit_frees_the_value_that_it_depends_on(tmp_path: Path) -> None:
    script = over_rim(tmp_path, "{do: Grind it}")
    script.do_all(record("rim", "1 mm"), record("top", "5 mm"))
    assert script.refused("record", name="rim", value="3.5 mm") == ["remedy-first"]
    script.do("remedy", name="top")
    assert script.refused("finish") == ["value-missing"]  # only the reading that was out is void
    script.do_all(record("rim", "1.1 mm"), record("top", "2.5 mm"), intent("finish"))


def test_reference_may_be_read_again_while_the_value_above_it_is_within(tmp_path: Path) -> None:
    script = over_rim(tmp_path, "{do: Grind it}")
    script.do_all(record("rim", "1 mm"), record("top", "2.5 mm"), record("rim", "1.2 mm"), intent("finish"))


def test_remedy_of_the_reference_does_not_pass_a_stop(tmp_path: Path) -> None:
    script = over_rim(
        tmp_path, "{do: Scrap it, stop: true}", rim=", limit: at least 2 mm, below: [{do: Build it up, tries: 2}]"
    )
    script.do_all(record("rim", "1 mm"), record("top", "5 mm"))
    assert script.refused("remedy", name="rim") == ["not-allowed"]


def test_reference_that_is_calculated_holds_its_readings(tmp_path: Path) -> None:
    script = script_with(
        tmp_path,
        "{id: one, title: One, record: {a: {ask: A, unit: mm}, b: {ask: B, unit: mm}, "
        "top: {ask: Top, unit: mm, limit: above base by 1 .. 2 mm, above: [{do: Scrap it, stop: true}]}}, "
        "work-out: {base: {is: a - b, unit: mm}}}",
    )
    script.do_all(record("a", "3 mm"), record("b", "2 mm"), record("top", "5 mm"))
    for name in ("a", "b", "top"):
        assert script.refused("record", name=name, value="1 mm") == ["out-of-limit"], name


def test_calculated_value_with_a_relative_limit_holds_what_its_limit_depends_on(tmp_path: Path) -> None:
    script = script_with(
        tmp_path,
        "{id: one, title: One, record: {rim: {ask: Rim, unit: mm}, a: {ask: A, unit: mm}}, "
        f"work-out: {{twice: {{is: 2 * a, unit: mm, {ABOVE}, above: [{{do: Scrap it, stop: true}}]}}}}}}",
    )
    script.do_all(record("rim", "1 mm"), record("a", "5 mm"))
    for name in ("rim", "a"):
        assert script.refused("record", name=name, value="8.5 mm") == ["out-of-limit"], name


def test_misread_reference_is_corrected(tmp_path: Path) -> None:
    script = over_rim(tmp_path, "{do: Scrap it, stop: true}")
    (rim,) = script.do("record", name="rim", value="1 mm")
    script.do_all(record("top", "5 mm"), intent("correct", event=rim["seq"], value="3.5 mm", reason="misread"))
    script.do("finish")


# --- used parts ------------------------------------------------------------------------------------

USED_RODS = (
    "{id: one, title: One, undo: {do: Take it off}, record: {play: {ask: Play, unit: mm, readings: %s, "
    "limit: 1 .. 2 mm, used: at most 3 mm, above: [{do: Fit a new rod, tries: 3}]}}}"
)
CYLINDERS = "places: {cyl: [1, 2]}\n"


@pytest.fixture(params=["cyl", "2"])
def rods(request: pytest.FixtureRequest, tmp_path: Path) -> Script:
    return script_with(tmp_path, USED_RODS % request.param, head=CYLINDERS)


def play(slot: int, value: str, **fields: object) -> Json:
    return record("play", value, reading=slot, **fields)


def test_used_part_at_one_place_says_nothing_about_the_others(rods: Script) -> None:
    rods.do_all(play(1, "2.5 mm", used=True))
    (event,) = rods.do("record", name="play", value="2.5 mm", reading=2)
    assert event["data"]["verdict"] == "high"
    assert rods.refused("finish") == ["out-of-limit", "remedy-first"]
    rods.do_all(play(2, "2.5 mm", used=True), intent("finish"))


def test_new_part_does_not_take_the_limit_from_a_used_one(rods: Script) -> None:
    rods.do_all(play(1, "2.5 mm", used=True), play(2, "1.5 mm", used=False), intent("finish"))


def test_remedy_of_one_part_leaves_the_others_used(rods: Script) -> None:
    rods.do_all(play(1, "2.5 mm", used=True), play(2, "3.5 mm"), intent("remedy", name="play[2]"))
    rods.do_all(play(2, "1.5 mm"), intent("finish"))


def test_reading_taken_again_is_of_the_same_used_part(rods: Script) -> None:
    rods.do_all(play(1, "2.5 mm", used=True), play(1, "2.6 mm"), play(2, "1.5 mm"), intent("finish"))


def test_each_reading_out_of_its_limit_is_shown_with_its_own_limit(rods: Script) -> None:
    rods.do_all(play(1, "3.5 mm", used=True), play(2, "2.5 mm"))
    (reply,) = rods.send(intent("finish"))
    assert (
        "1 3.5 mm HIGH (limit at most 3 mm), reading 2 2.5 mm HIGH (limit 1 .. 2 mm)" in reply["refused"][0]["message"]
    )


@pytest.mark.parametrize("used", [True, False])
def test_value_without_a_limit_for_used_parts_is_refused_as_used(tmp_path: Path, used: bool) -> None:
    script = script_with(tmp_path, "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, limit: 1 .. 2 mm}}}")
    if used:
        assert script.refused("record", name="gap", value="1.5 mm", used=True) == ["not-allowed"]
    else:
        script.do_all(record("gap", "1.5 mm", used=False), intent("finish"))


def test_one_figure_of_several_readings_has_one_limit(tmp_path: Path) -> None:
    one = USED_RODS.replace("limit: 1", "judge: mean, limit: 1") % "2"
    script = script_with(tmp_path, one)
    script.do_all(play(1, "2.5 mm", used=True), play(2, "2.7 mm"), intent("finish"))


# --- lots of discarded parts -----------------------------------------------------------------------

GASKET = "kit: {parts: {gasket: {title: Gasket, quantity: 1, lot: required, discard: true}}}\n"


def test_redo_of_the_operation_itself_reopens_where_the_discarded_part_was_entered(tmp_path: Path) -> None:
    script = script_with(
        tmp_path,
        "{id: one, title: One, uses: [gasket], undo: {do: x}}",
        "{id: head, title: Head, after: [one], undo: {do: lift, discard: [gasket]}, record: {v: {ask: V, unit: mm, "
        "limit: 1 .. 2 mm, below: [{do: Lift it and fit it again, redo: [head]}]}}}",
        head=GASKET,
    )
    script.do_all(intent("lot", consumable="gasket", lot="G1"), intent("finish"), intent("start", operation="head"))
    script.do_all(record("v", "0.5 mm"), intent("remedy", name="v"))
    assert script.refused("start", operation="head") == ["after-missing"]
    script.do("start", operation="one")
    assert script.refused("finish") == ["value-missing"]
    script.do_all(intent("lot", consumable="gasket", lot="G2"), intent("finish"), intent("start", operation="head"))
    script.do_all(record("v", "1.5 mm"), intent("finish"), intent("close"))
