"""The comparison of two builds lists their differences. Readings with the same verdict are not listed."""

from pathlib import Path

from msgspec.structs import replace

from benchflow.review.log.loaded_log import load_log
from benchflow.review.many.comparison import ReadingPair, compare
from benchflow.review.many.comparison_labels import difference_label
from benchflow.review.many.comparison_text import comparison_lines
from tests.driving.simulated_builder import CLEAN, Faults, SimulatedBuilder
from tests.review.played_builds import BEGIN, FLOAT_NAME, folder, head_install, loaded_build, read


def built(name: str, text: str = "", faults: Faults = CLEAN, cams: str = "standard") -> Path:
    """The log of a build with fixed options; ``text`` replaces the text of the procedure."""
    from benchflow.procedure.compiled_cache import read_text

    log = folder() / f"{name}.jsonl"
    source = read_text(text, "head-install.yaml", folder() / "cache") if text else head_install()
    sim_builder = SimulatedBuilder(source, log, seed=3, begin=BEGIN, read=read(), faults=faults)
    sim_builder.build(name, {"cams": cams, "gasket": "composite"})
    return log


def test_build_compared_with_itself_has_no_differences() -> None:
    one = loaded_build(3)
    found = compare(one, one)
    assert found.first is None
    assert found.differences == ()
    assert all(pair.by == "0 mm" for pair in found.readings if pair.left.endswith(" mm"))


def test_differences_are_in_the_order_of_the_left_build() -> None:
    good = load_log(built("good"), read())
    bad = load_log(
        built("bad", faults=Faults(late="set-head-down", self_signed="mark-nuts", reworked="fit-pulley")), read()
    )
    found = compare(good, bad)
    kinds = {(difference.kind, difference.operation) for difference in found.differences}
    assert {("deviation", "set-head-down"), ("signature", "mark-nuts"), ("redone", "fit-pulley")} <= kinds
    assert found.first is not None
    assert found.first.operation == "set-head-down"
    signature = next(d for d in found.differences if d.kind == "signature")
    assert signature.right == "R. Builder, who did the work"
    assert bad.lines[(signature.right_seq or 0) - 1].kind == "signed"


def test_two_revisions_of_a_procedure_are_compared(tmp_path: Path) -> None:
    text = head_install().text
    assert 'revision: "C"' in text
    old = load_log(built("old"), read())
    new = load_log(built("new", text.replace('revision: "C"', 'revision: "D"')), read())
    found = compare(old, new)
    assert found.first is not None
    assert found.first.what == "text of the procedure"
    assert found.first.left.startswith("revision C")
    assert found.first.right.startswith("revision D")
    assert len(found.readings) == len(compare(old, old).readings)


def test_operation_of_only_one_build_is_a_difference() -> None:
    found = compare(load_log(built("as-made"), read()), load_log(built("reground", cams="reground"), read()))
    options = [d for d in found.differences if d.kind == "option"]
    assert [(d.what, d.left, d.right) for d in options] == [("cams", "standard", "reground")]
    only = [d for d in found.differences if d.kind == "plan"]
    assert only
    assert all({d.left, d.right} == {"yes", "no"} for d in only)


def test_labels_are_the_questions_and_titles_of_the_procedure() -> None:
    """A person reads the question at the bench, not the id of the value."""
    one = loaded_build(3, with_tools=True)
    labels = [pair.label for pair in compare(one, one).readings]
    assert "Head height at each corner, front intake" in labels
    assert "Total dial reading at the middle bearing, exhaust" in labels
    assert "Total end travel of the intake cam, reading 2" in labels
    assert not any("head-height" in label for label in labels)
    assert difference_label(one.plan, "instrument", "tighten-head", "torque-wrench") == "torque wrench used"
    assert difference_label(one.plan, "option", "", "cams") == "Are the cams standard or reground?"
    lot = difference_label(one.plan, "lot", "", "head-gasket")
    assert lot == "lot of head gasket of the chosen thickness"
    deviation = difference_label(one.plan, "deviation", "check-head-face", "head-flatness")
    assert deviation == "deviation from “Thickest feeler that goes under”"
    assert difference_label(one.plan, "deviation", "set-head-down", "time") == "deviation from the time window"
    assert difference_label(one.plan, "start", "", "pistons") == "pistons at the start"
    assert difference_label(one.plan, "instrument", "", "unknown-id") == "unknown-id used"


def test_readings_and_times_are_paired() -> None:
    found = compare(loaded_build(3), loaded_build(5))
    pair = next(pair for pair in found.readings if pair.name == FLOAT_NAME)
    assert pair.by is not None
    assert pair.by.endswith(" mm")
    assert pair.left_share is not None
    times = {time.operation: time for time in found.times}
    assert times["tighten-head"].left is not None
    assert times["tighten-head"].right is not None


def test_long_readings_do_not_run_together_in_the_table() -> None:
    found = compare(loaded_build(3), loaded_build(5))
    long = ReadingPair(
        "gap", "gap[input]", "1", "gap[input]", "0.7190333 mm", "0.7036667 mm", "-0.00395333 mm", None, None, "ok", "ok"
    )
    lines = list(comparison_lines(replace(found, readings=(long,))))
    row = next(line for line in lines if line.startswith("gap[input]"))
    assert row.split() == ["gap[input]", "0.7190333", "mm", "0.7036667", "mm", "-0.00395333", "mm"]
