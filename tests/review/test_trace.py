"""Traces of instruments, lots, persons and operations through many builds, and trends of readings."""

from datetime import UTC
from decimal import Decimal
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.quantity import parse_quantity
from benchflow.review.evidence.weights import SUSPECT
from benchflow.review.many.chart_picture import chart_svg
from benchflow.review.many.known_names import UnknownName
from benchflow.review.many.log_scan import LogFiles
from benchflow.review.many.operation_durations import operation_durations
from benchflow.review.many.session_question import (
    BadDate,
    InstrumentSubject,
    LotSubject,
    OperationSubject,
    PersonSubject,
    Question,
    ReadingSubject,
    Subject,
    timestamp_of,
)
from benchflow.review.many.trace_search import Trace, TraceQuestion, trace
from benchflow.review.many.trace_text import trace_lines
from benchflow.review.many.trends import trend_over_builds
from benchflow.session.shop.register import Person, Shop
from benchflow.trade.instruments import Instrument
from tests.driving.log_builder import LogBuilder


@pytest.fixture
def five_builds(tmp_path: Path) -> LogFiles:
    """Five builds: tightened with the wrench, redone with another, measured near a limit, measured well inside it, and
    one without that wrench."""
    kept = LogBuilder(unit="kept").start("bolt").tighten("bolt", serial="TW-1").finish("bolt").close()
    redone = LogBuilder(unit="redone").wait(days=1).start("bolt").tighten("bolt", serial="TW-1").finish("bolt")
    redone.add("rework-started", operation="bolt", reason="leaked", steps=[{"operation": "bolt"}])
    redone.add("undone", operation="bolt").start("bolt").tighten("bolt", serial="TW-2").finish("bolt").close()
    near = (
        LogBuilder(unit="near").wait(days=2).start("try").read("try", "41.0", "40 .. 60 N·m", unit="N·m", serial="TW-1")
    )
    inside = (
        LogBuilder(unit="inside")
        .wait(days=3)
        .start("try")
        .read("try", "50.0", "40 .. 60 N·m", unit="N·m", serial="TW-1")
    )
    other = LogBuilder(unit="other").wait(days=4).start("bolt").tighten("bolt", serial="TW-2").finish("bolt").close()
    return LogFiles(log_builder.save(tmp_path) for log_builder in (kept, redone, near, inside, other))


def units(found: Trace) -> list[str]:
    return [one.unit for one in found.touched]


def test_trace_of_a_wrench_lists_a_reworked_engine_last(five_builds: LogFiles) -> None:
    found = trace(five_builds, TraceQuestion(Question(InstrumentSubject("TW-1"))))
    assert sorted(units(found)) == ["inside", "kept", "near", "redone"]
    assert units(found)[-1] == "redone"
    assert found.touched[-1].reasons[0].kind == "replaced"
    assert found.looked_at == 5


def test_reading_out_of_its_limit_when_corrected_comes_first(five_builds: LogFiles) -> None:
    found = trace(five_builds, TraceQuestion(Question(InstrumentSubject("TW-1")), reads_high=Decimal("0.06")))
    assert units(found)[0] == "near"
    assert found.touched[0].reasons[0].words == "end-play (1) 41.0 N·m would be 38.68 N·m, outside 40 .. 60 N·m"
    kept = next(one for one in found.touched if one.unit == "kept")
    assert kept.reasons[0].words == (
        "4 fasteners of lid-bolts (bolt), tightened to about 94 % of the set torque; clamp load about 5.7 % lower"
    )
    assert found.asked == "instrument TW-1, found to read 6 % too high"


def test_trace_is_limited_to_a_time_span(five_builds: LogFiles) -> None:
    question = Question(
        InstrumentSubject("TW-1"), timestamp_of("2026-03-04", UTC), timestamp_of("2026-03-04", UTC, end_of_day=True)
    )
    assert units(trace(five_builds, TraceQuestion(question))) == ["near"]


def test_trace_finds_readings_outside_a_band_in_any_unit(five_builds: LogFiles) -> None:
    low = parse_quantity("33 ft-lb")
    found = trace(five_builds, TraceQuestion(Question(ReadingSubject("end-play")), low=low))
    assert units(found) == ["near"]
    assert units(trace(five_builds, TraceQuestion(Question(ReadingSubject("end-play")), share=0.2))) == ["near"]
    assert len(units(trace(five_builds, TraceQuestion(Question(ReadingSubject("end-play")))))) == 2
    with pytest.raises(BenchflowError, match=r"--below 3 mm is a length\. The reading is a torque, in N·m\."):
        trace(five_builds, TraceQuestion(Question(ReadingSubject("end-play")), low=parse_quantity("3 mm")))


def test_lot_person_and_operation_are_traced(tmp_path: Path) -> None:
    sealed = (
        LogBuilder(unit="sealed", by="bob").start("seal").add("lot", operation="seal", consumable="paste", lot="L-9")
    )
    signed = LogBuilder(unit="signed").start("lid").add("signed", operation="lid", role="inspector", self_signed=True)
    source = LogFiles(log_builder.save(tmp_path) for log_builder in (sealed.finish("seal"), signed.finish("lid")))
    assert units(trace(source, TraceQuestion(Question(LotSubject("L-9"))))) == ["sealed"]
    assert units(trace(source, TraceQuestion(Question(PersonSubject("bob"))))) == ["sealed"]
    by_ann = trace(source, TraceQuestion(Question(PersonSubject("ann"))))
    assert by_ann.touched[0].reasons[0].kind == "self-signed"
    assert units(trace(source, TraceQuestion(Question(OperationSubject("lid"))))) == ["signed"]


def test_trace_lists_a_damaged_log_as_left_out(tmp_path: Path) -> None:
    path = LogBuilder().start("bolt").tighten("bolt", serial="TW-1").save(tmp_path)
    path.write_bytes(path.read_bytes().replace(b'"fastener":2', b'"fastener":9', 1))
    found = trace(LogFiles([path]), TraceQuestion(Question(InstrumentSubject("TW-1"))))
    assert not found.touched
    assert "does not verify: line 4" in found.left_out[0]


def test_text_that_is_not_a_date_is_refused_with_an_example() -> None:
    with pytest.raises(BadDate, match="neither a date such as 2026-03-01"):
        timestamp_of("yesterday")
    assert timestamp_of("2026-03-01T12:00:00+02:00") == "2026-03-01T10:00:00.000Z"


# --- the error of an instrument --------------------------------------------------------------------------

JOINTS = """\
benchflow: 1
id: lid
title: An invented lid
revision: "A"
notice: All numbers are invented.
joints:
  studs: {title: Studs, layout: "1 2 3 4"}
  bolts: {title: Bolts, layout: "1 2"}
sections:
  - title: The work
    operations:
      - {id: studs, title: Tighten the studs, tighten: {joint: studs, stages: [40 ± 4 N·m]}}
      - {id: bolts, title: Tighten the bolts, tighten: {joint: bolts, stages: [20 N·m, 90°]}}
"""


def tightened(unit: str, day: int, joint: str, uncertainty: str = "4 %", serial: str = "TW-1") -> LogBuilder:
    """A build with one joint, tightened with a wrench that the register describes."""
    log_builder = LogBuilder(unit=unit, procedure=JOINTS).wait(days=day).start(joint)
    log_builder.add("instrument-used", need="wrench", serial=serial, title="Click wrench", uncertainty=uncertainty)
    for fastener in (1, 2):
        log_builder.add("ticked", operation=joint, joint=joint, stage=1, fastener=fastener, serial=serial)
    return log_builder.finish(joint)


def found_error(source: LogFiles, reads_high: str, name: str = "TW-1", register: Shop | None = None) -> Trace:
    return trace(source, TraceQuestion(Question(InstrumentSubject(name)), reads_high=Decimal(reads_high)), register)


def test_error_that_the_wrench_was_allowed_accuses_no_joint(tmp_path: Path) -> None:
    """1 % is within the 4 % that the register stated then. Another log states 0.5 %, and is affected."""
    source = LogFiles([
        tightened("good", 0, "studs").save(tmp_path), tightened("fine wrench", 1, "studs", "0.5 %").save(tmp_path),
    ])  # fmt: skip
    affected, mentioned = found_error(source, "0.01").touched
    assert (affected.unit, affected.grade >= SUSPECT, affected.only_mentioned) == ("fine wrench", True, False)
    assert (mentioned.unit, mentioned.grade >= SUSPECT, mentioned.only_mentioned) == ("good", False, True)
    assert mentioned.reasons[0].words == (
        "2 fasteners of studs (studs), tightened to about 99 % of the set torque: the error is within the 4 % that "
        "the wrench states"
    )
    lines = list(trace_lines(found_error(source, "0.01")))
    assert lines[0].endswith("1 of 2 jobs affected")
    assert "1 job only mentioned, because the instrument was allowed this error:" in lines


def test_error_of_a_wrench_is_ranked_by_what_it_does_to_the_joint(tmp_path: Path) -> None:
    """Clamp load follows torque. An angle stage after it leaves less of the error."""
    near = LogBuilder(unit="reading", procedure=JOINTS).start("studs")
    near.read("studs", "41.0", "40 .. 60 N·m", unit="N·m", serial="TW-1").finish("studs")
    source = LogFiles([
        tightened("turned", 9, "bolts").save(tmp_path), tightened("torque", 0, "studs").save(tmp_path),
        near.save(tmp_path),
    ])  # fmt: skip
    assert units(found_error(source, "0.08")) == ["reading", "torque", "turned"]
    within = found_error(source, "0.08").touched[1].reasons[0]
    beyond = found_error(source, "0.15").touched[1].reasons[0]
    assert within.words.endswith("clamp load about 7.4 % lower, within the tolerance of the joint, 10 %")
    assert beyond.words.endswith("clamp load about 13 % lower, beyond the tolerance of the joint, 10 %")
    assert beyond.grade > within.grade >= SUSPECT
    assert "higher, within" in found_error(source, "-0.08").touched[0].reasons[0].words
    turned = found_error(source, "0.15").touched[2].reasons[0]
    assert "a later stage turns further by an angle" in turned.words
    assert turned.grade < beyond.grade


def test_angle_gauge_is_not_said_to_have_set_a_torque(tmp_path: Path) -> None:
    log_builder = LogBuilder(unit="turned", procedure=JOINTS).start("bolts")
    log_builder.add("instrument-used", need="gauge", serial="AG-1", title="Angle gauge", uncertainty="1 %")
    for fastener in (1, 2):
        log_builder.add("ticked", operation="bolts", joint="bolts", stage=2, fastener=fastener, serial="AG-1")
    source = LogFiles([log_builder.finish("bolts").save(tmp_path)])
    (reason,) = found_error(source, "0.05", "AG-1").touched[0].reasons
    assert reason.words == "2 fasteners of bolts (bolts), turned with it: about 95 % of what it showed"
    assert found_error(source, "0.01", "AG-1").touched[0].only_mentioned


def test_reading_within_the_uncertainty_of_its_gauge_is_only_mentioned(tmp_path: Path) -> None:
    log_builder = LogBuilder(unit="gauge").start("measure")
    log_builder.add("instrument-used", need="gauge", serial="DG-1", title="Dial gauge", uncertainty="0.02 mm")
    source = LogFiles([log_builder.read("measure", "0.110", serial="DG-1").save(tmp_path)])
    assert found_error(source, "0.12", "DG-1").touched[0].only_mentioned
    worse = found_error(source, "0.25", "DG-1").touched[0]
    assert worse.reasons[0].kind == "would-be-out"


REGISTER = Shop(
    people=(Person("Zoë"),),
    instruments=(
        Instrument("big-wrench", "torque", "Click wrench", "TW-1"), Instrument("spare", "torque", "Spare", "TW-7"),
    ),
)  # fmt: skip


@pytest.mark.parametrize("name", ["TW-1", "tw-1", "Click wrench", "click wrench", "big-wrench", "wrench"])
def test_instrument_is_found_by_serial_id_and_name(tmp_path: Path, name: str) -> None:
    source = LogFiles([tightened("one", 0, "studs").save(tmp_path)])
    assert units(trace(source, TraceQuestion(Question(InstrumentSubject(name))), REGISTER)) == ["one"]


def test_name_of_several_instruments_counts_each_but_has_no_common_error(tmp_path: Path) -> None:
    source = LogFiles([
        tightened("one", 0, "studs").save(tmp_path), tightened("two", 1, "studs", serial="TW-2").save(tmp_path),
    ])  # fmt: skip
    found = trace(source, TraceQuestion(Question(InstrumentSubject("click wrench"))))
    assert sorted(units(found)) == ["one", "two"]
    assert "click wrench means TW-1, TW-2. Each of them counts." in found.notes
    with pytest.raises(BenchflowError, match="name its serial"):
        found_error(source, "0.06", "click wrench")


@pytest.mark.parametrize(
    ("subject", "message"),
    [
        (InstrumentSubject("TW-11"), "No job and no register has the instrument 'TW-11' .*Nearest: TW-1"),
        (PersonSubject("an"), "No job and no register has the person 'an' .*Nearest: ann"),
        (LotSubject("L-99"), "No job has the lot 'L-99' .*Nearest: L-9"),
        (OperationSubject("stud"), "No job has the operation 'stud' .*Nearest: studs"),
        (ReadingSubject("end-plya"), "No job has the reading 'end-plya' .*Nearest: end-play"),
    ],
)
def test_name_that_nobody_has_is_refused_with_the_nearest(tmp_path: Path, subject: Subject, message: str) -> None:
    log_builder = (
        tightened("one", 0, "studs").read("studs", "0.15").add("lot", operation="studs", consumable="x", lot="L-9")
    )
    source = LogFiles([log_builder.save(tmp_path)])
    with pytest.raises(UnknownName, match=message):
        trace(source, TraceQuestion(Question(subject)), REGISTER)


def test_name_that_only_the_register_has_or_another_time_is_not_a_mistake(tmp_path: Path) -> None:
    source = LogFiles([tightened("one", 0, "studs").save(tmp_path)])
    spare = trace(source, TraceQuestion(Question(InstrumentSubject("Spare"))), REGISTER)
    assert (spare.touched, spare.notes) == ((), ("The register has this name. No job has it.",))
    before = trace(
        source, TraceQuestion(Question(InstrumentSubject("Click wrench"), until=timestamp_of("2026-01-01"))), REGISTER
    )
    assert (before.touched, before.notes) == ((), ("No job has it in that time.",))


# --- trends over builds ----------------------------------------------------------------------------------


def builds_with(tmp_path: Path, values: list[str], **more: str) -> LogFiles:
    log_builders = []
    for place, value in enumerate(values):
        log_builder = LogBuilder(unit=f"job {place:02}").wait(days=place).start("measure")
        log_builders.append(log_builder.read("measure", value, **more).finish("measure").close())
    return LogFiles(log_builder.save(tmp_path) for log_builder in log_builders)


def test_drift_is_reported_before_it_reaches_the_limit(tmp_path: Path) -> None:
    source = builds_with(tmp_path, [f"{0.150 + 0.004 * n + 0.001 * (n % 3):.3f}" for n in range(15)])
    (series,) = trend_over_builds(source, "end-play").series
    assert series.chart is not None
    assert series.telling[0].startswith("It drifts up by 0.004 mm per build: at this rate it reaches its limit")
    assert "in about 18 builds" in series.telling[0]


def test_trend_reports_an_outlier(tmp_path: Path) -> None:
    values = [f"0.{19 + n % 3 - 1}" for n in range(16)]
    values[7] = "0.27"
    (series,) = trend_over_builds(builds_with(tmp_path, values), "end-play").series
    assert any("job 07: 0.27 mm is an outlier" in words for words in series.telling)


def test_chart_svg_has_a_tooltip_per_build_and_a_shape_for_the_outlier(tmp_path: Path) -> None:
    values = [f"0.{19 + n % 3 - 1}" for n in range(16)]
    values[7] = "0.27"
    (series,) = trend_over_builds(builds_with(tmp_path, values), "end-play").series
    space = {"svg": "http://www.w3.org/2000/svg"}
    points = fromstring(chart_svg(series)).findall("svg:g", space)
    titles = [point.findtext("svg:title", "", space) for point in points]
    assert [title.partition(":")[0] for title in titles] == [point.unit for point in series.points]
    assert "0.27 mm" in titles[7]
    assert [point.find("svg:circle", space) is None for point in points] == [place == 7 for place in range(16)]


def test_trend_converts_units_and_keeps_kinds_of_quantity_apart(tmp_path: Path) -> None:
    inch = LogBuilder(unit="inch").start("measure").read("measure", "0.0075", "0.004 .. 0.011 in", unit="in")
    metric = LogBuilder(unit="mm").wait(days=1).start("measure").read("measure", "0.19")
    torque = LogBuilder(unit="Nm").wait(hours=3).start("measure").read("measure", "9", "8 .. 12 N·m", unit="N·m")
    found = trend_over_builds(LogFiles(s.save(tmp_path) for s in (inch, metric, torque)), "end-play")
    lengths, torques = found.series
    assert [round(p.value, 4) for p in lengths.points] == [0.1905, 0.19]
    assert (torques.measured_in, [p.unit for p in torques.points]) == ("N·m", ["Nm"])
    assert found.notes == ("end-play is kept apart by kind of quantity: length, torque.",)


REVISION = """\
benchflow: 1
id: {id}
title: An invented lid
revision: "{revision}"
notice: All numbers are invented.
sections:
  - title: The work
    operations:
      - {{id: measure, title: Measure, record: {{end-play: {{ask: The end play, unit: mm}}}}}}
"""


def test_trend_keeps_procedures_and_revisions_apart(tmp_path: Path) -> None:
    """The readings of another procedure with the same name are at another level, and are not outliers."""
    made = [("lid", "A")] * 4 + [("lid", "B")] * 3 + [("box", "A")] * 2
    paths = []
    for place, (name, revision) in enumerate(made):
        text = REVISION.format(id=name, revision=revision)
        log_builder = LogBuilder(unit=f"job {place}", procedure=text).wait(days=place).start("measure")
        value = {"A": "0.15", "B": "0.21"}[revision] if name == "lid" else "4.5"
        paths.append(log_builder.read("measure", value, "").finish("measure").save(tmp_path))
    found = trend_over_builds(LogFiles(paths), "end-play")
    assert [(s.procedure, s.revision, len(s.points)) for s in found.series] == [
        ("box", "A", 2), ("lid", "A", 4), ("lid", "B", 3)
    ]  # fmt: skip
    assert all(s.chart is not None and not s.chart.outliers for s in found.series)
    assert found.notes == (
        "Kept apart, because procedure or revision differ: box revision A, lid revision A, lid revision B.",
    )
    durations = operation_durations(LogFiles(paths), "measure").operations
    assert sorted((d.procedure, d.revision, d.builds) for d in durations) == [
        ("box", "A", 2), ("lid", "A", 4), ("lid", "B", 3)
    ]  # fmt: skip


def test_limits_that_options_choose_are_kept_apart(tmp_path: Path) -> None:
    paths = []
    for place in range(6):
        kind = ("plain", "0.10 .. 0.20 mm") if place % 2 else ("racing", "0.30 .. 0.40 mm")
        log_builder = LogBuilder(unit=f"job {place}", options={"kind": kind[0]}).wait(days=place).start("measure")
        paths.append(log_builder.read("measure", "0.15" if place % 2 else "0.35", kind[1]).save(tmp_path))
    series = trend_over_builds(LogFiles(paths), "end-play").series
    assert [(s.limit, [p.unit for p in s.points]) for s in series] == [
        ("0.10 .. 0.20 mm", ["job 1", "job 3", "job 5"]), ("0.30 .. 0.40 mm", ["job 0", "job 2", "job 4"]),
    ]  # fmt: skip


@pytest.mark.parametrize("odd", [0, 5, 9])
def test_trend_names_the_odd_build_and_no_other(tmp_path: Path, odd: int) -> None:
    """The odd build is named at the start, in the middle and at the end, and none of the healthy ones."""
    values = ["0.151", "0.149", "0.152", "0.150", "0.148", "0.151", "0.150", "0.149", "0.152", "0.150"]
    values[odd] = "0.230"
    (series,) = trend_over_builds(builds_with(tmp_path, values), "end-play").series
    named = [sentence for sentence in series.telling if "job" in sentence]
    assert [sentence.partition(":")[0] for sentence in named] == [f"job {odd:02}"]
    assert "is an outlier" in named[0]


def test_reading_that_no_job_has_is_refused_with_the_nearest(tmp_path: Path) -> None:
    source = builds_with(tmp_path, ["0.15", "0.16"])
    with pytest.raises(
        UnknownName, match=r"No job has the reading 'end-ply' \(2 jobs searched\)\. Nearest: end-play\."
    ):
        trend_over_builds(source, "end-ply")
    with pytest.raises(UnknownName, match="Nearest: measure"):
        operation_durations(source, "measur")
    assert trend_over_builds(source, "end-play", since="2027").series == ()


@pytest.mark.parametrize(("series", "builds"), [(1, 1), (3, 2), (12, 5), (1, 40)])
def test_svg_draws_every_series_with_title_names_and_limits(tmp_path: Path, series: int, builds: int) -> None:
    paths = []
    for place in range(builds):
        log_builder = LogBuilder(unit=f"job {place:02}").wait(days=place).start("measure")
        for number in range(series):
            log_builder.read("measure", f"0.{150 + place % 3}", name=f"end-play[{number}]")
        paths.append(log_builder.save(tmp_path))
    found = trend_over_builds(LogFiles(paths), "end-play").series
    drawn = fromstring(chart_svg(*found)).iter("{http://www.w3.org/2000/svg}text")
    texts = [text.text or "" for text in drawn if text.text != "limits of the chart"]
    assert [text for text in texts if text.startswith("end-play[")] == [each.title for each in found]
    assert len(found) == series
    assert texts.count("0.10 limit") == texts.count("0.28 limit") == series
    assert sum(text.startswith("job ") for text in texts) == series * builds
    assert sum(text.endswith(" chart") for text in texts) == (2 * series if builds > 1 else 0)


def test_simulated_builds_are_not_mixed_with_real_ones(tmp_path: Path) -> None:
    real = LogBuilder(unit="real").start("measure").read("measure", "0.19")
    rehearsed = LogBuilder(unit="rehearsed", simulated=True).start("measure").read("measure", "0.11")
    found = trend_over_builds(LogFiles(s.save(tmp_path) for s in (real, rehearsed)), "end-play")
    assert [p.unit for p in found.series[0].points] == ["real"]
    assert found.notes == ("1 simulated job left out.",)


def test_durations_include_only_builds_that_finished_the_operation(tmp_path: Path) -> None:
    log_builders = []
    for minutes in (4, 5, 6, 30):
        log_builder = LogBuilder(unit=f"took {minutes}").start("bolt").wait(minutes=minutes).finish("bolt", after=0)
        log_builders.append(log_builder)
    log_builders.append(LogBuilder(unit="open").start("bolt"))
    (found,) = operation_durations(LogFiles(s.save(tmp_path) for s in log_builders), "bolt").operations
    assert (found.builds, found.shortest, found.longest, found.longest_unit) == (4, 240, 1800, "took 30")
    assert found.middle == pytest.approx(330)
