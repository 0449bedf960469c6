"""The comparison of two builds lists their differences. Readings with the same verdict are not listed."""

from pathlib import Path

from msgspec.structs import replace

from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.review.many.comparison import ReadingPair, compare
from benchflow.review.many.comparison_labels import LOGGED_TEXT, difference_label
from benchflow.review.many.comparison_sections import SECTIONS
from benchflow.review.many.comparison_text import comparison_lines
from benchflow.session.procedure_loading import procedure_reader_with_cache
from tests.driving.log_builder import LogBuilder
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
    assert found.without_difference == "Nothing differs."


def test_differences_are_by_section_then_in_the_order_of_the_left_build() -> None:
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
    assert 'revision: "D"' in text
    old = load_log(built("old"), read())
    new = load_log(built("new", text.replace('revision: "D"', 'revision: "E"')), read())
    found = compare(old, new)
    assert found.first is not None
    assert found.first.what == "text of the procedure"
    assert found.first.left.startswith("revision D")
    assert found.first.right.startswith("revision E")
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


# --- what matters first -------------------------------------------------------------------------------

JOINED = """\
benchflow: 1
id: lid
title: An invented lid
revision: "A"
notice: All numbers are invented.
kit:
  consumables: {sealant: {title: Sealant}}
instruments:
  wrench: {title: Torque wrench, kind: torque}
joints:
  studs: {title: Studs, layout: "1 2 3", thread: M10x1.5, class: 10.9, lubricant: moly paste, nut-factor: 0.11}
sections:
  - title: The work
    operations:
      - id: measure
        title: Measure
        record: {gap: {ask: The gap, unit: mm, limit: 0.10 .. 0.28 mm}}
      - {id: seal, title: Seal, uses: [sealant], check: [The face is dry]}
      - {id: studs, title: Tighten the studs, tighten: {joint: studs, with: wrench, stages: [40 N·m]}}
"""


def joined(tmp_path: Path, unit: str, **at_bench: str) -> LoadedLog:
    """A small build. ``at_bench`` says what is special: ``lubricant``, ``note``, ``gaps``, ``serial``, ``lot``, and
    ``by``."""
    log_builder = LogBuilder(unit=unit, procedure=JOINED, by=at_bench.get("by", "ann")).start("measure")
    for gap in at_bench.get("gaps", "0.15").split():
        log_builder.read("measure", gap, name="gap", verdict="ok" if float(gap) <= 0.28 else "high")
    log_builder.finish("measure").start("seal")
    log_builder.add("lot", operation="seal", consumable="sealant", lot=at_bench.get("lot", "S-1"))
    log_builder.add("checked", operation="seal", check=1, text="The face is dry")
    log_builder.finish("seal").start("studs")
    if "lubricant" in at_bench:
        log_builder.add("lubricated", joint="studs", lubricant=at_bench["lubricant"], nut_factor="0.15")
    serial = at_bench.get("serial", "TW-1")
    log_builder.add(
        "instrument-used", need="wrench", serial=serial, title="Wrench", due=at_bench.get("due", "2027-01-01")
    )
    fasteners = (1, 2, 3, 3) if "cleared" in at_bench else (1, 2, 3)
    for number, fastener in enumerate(fasteners):
        if number == 3:
            log_builder.add("unticked", operation="studs", joint="studs", stage=1, fastener=3)
        log_builder.add(
            "ticked", operation="studs", joint="studs", stage=1, fastener=fastener, instrument="wrench", serial=serial
        )
    log_builder.finish("studs")
    if "note" in at_bench:
        log_builder.add("noted", text=at_bench["note"], operation="seal")
    return load_log(log_builder.save(tmp_path), procedure_reader_with_cache(None))


def test_lubricants_come_before_notes_people_instruments_and_lots(tmp_path: Path) -> None:
    good = joined(tmp_path, "good")
    special = {"lubricant": "engine oil", "note": "gasket has a crease", "gaps": "0.31 0.30 0.20", "serial": "TW-2"}
    bad = joined(tmp_path, "bad", **special, lot="S-2", by="bob", cleared="yes", due="2025-01-01")
    found = compare(good, bad)
    assert [(each.section, each.left, each.right) for each in found.differences] == [
        ("Lubricants", "moly paste, nut factor 0.11", "engine oil, nut factor 0.15 (entered)"),
        ("Joints", "", "1 tick cleared"),
        ("Notes", "", "gasket has a crease"),
        ("Readings taken again", "", "3 readings: 0.31 mm HIGH, 0.30 mm HIGH, 0.20 mm ok"),
        *[("People and signatures", "ann", "bob")] * 3,
        ("Instruments", "TW-1", "TW-2"),
        ("Instruments", "due 2027-01-01", "due 2025-01-01"),
        ("Lots", "S-1", "S-2"),
    ]
    assert found.differences[0].label == "lubricant of studs"
    lines = list(comparison_lines(found))
    titles = [line.removesuffix(":") for line in lines if line.endswith(":") and not line.startswith(" ")]
    assert titles == list(dict.fromkeys(each.section for each in found.differences))


def test_the_same_remarks_in_both_builds_are_not_a_difference(tmp_path: Path) -> None:
    one, other = (joined(tmp_path, unit, note="washed twice", gaps="0.31 0.2") for unit in ("one", "other"))
    found = compare(one, other)
    assert found.differences == ()
    assert "Nothing differs." in comparison_lines(found)


def test_sentence_without_a_difference_names_figures_and_times_that_differ(tmp_path: Path) -> None:
    found = compare(joined(tmp_path, "one"), joined(tmp_path, "other", gaps="0.16"))
    assert found.differences == ()
    assert found.without_difference == "Only the figures of readings differ."
    (first, *others) = found.times
    longer = replace(found, times=(replace(first, left=61.0), *others))
    assert longer.without_difference == "Only the figures of readings and the working times differ."
    assert replace(longer, readings=()).without_difference == "Only the working times differ."


def test_readings_are_listed_under_the_title_of_their_step() -> None:
    found = compare(loaded_build(3), loaded_build(5))
    assert all(pair.title for pair in found.readings)
    lines = list(comparison_lines(found))
    for pair in found.readings[:3]:
        head = lines.index(pair.title)
        assert any(line.startswith(f"  {pair.label}") for line in lines[head + 1 : head + 8])


def test_every_kind_of_difference_has_a_section() -> None:
    """Each kind is listed once, and a procedure that differs is the first, the lots are the last."""
    kinds = [kind for _, kinds in SECTIONS for kind in kinds]
    assert len(kinds) == len(set(kinds))
    assert (kinds[0], kinds[-1]) == ("procedure", "lot")
    assert set(LOGGED_TEXT) <= set(kinds)
