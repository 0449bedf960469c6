"""The facts that are collected from single events of a log."""

from collections.abc import Sequence
from hashlib import sha256
from typing import Any

import pytest
import rfc8785

from benchflow.review.log.facts import Facts
from benchflow.review.log.interpretation import NotASession, interpret, plans_or_empty
from benchflow.session.log.line_format import Draft, Line, read, seal
from benchflow.session.procedure_loading import procedure_reader_with_cache
from tests.driving.log_builder import LogBuilder
from tests.review.played_builds import loaded_build

PLAN_OF = plans_or_empty(procedure_reader_with_cache(None))


def facts_of(lines: Sequence[Line]) -> Facts:
    return interpret(lines, PLAN_OF).facts


def test_last_attempt_at_a_reading_is_in_force() -> None:
    log_builder = LogBuilder().start("measure").read("measure", "0.30", verdict="high")
    facts = facts_of(log_builder.read("measure", "0.19").finish("measure").lines)
    assert [(r.value, r.in_force, r.attempt) for r in facts.readings] == [
        ("0.30", False, 1),
        ("0.19", True, 2),
    ]


def test_margin_is_calculated_in_the_unit_of_the_reading() -> None:
    log_builder = LogBuilder().start("measure")
    log_builder.read("measure", "0.19").read("measure", "0.28", name="other").read("measure", "0.30", name="third")
    log_builder.read("measure", "4", "0.1 .. 0.2 mm", name="in-thou", unit="thou")
    shares = {r.name: r.share for r in facts_of(log_builder.lines).readings}
    assert shares["end-play"] == pytest.approx(0.5)
    assert shares["other"] == 0.0
    assert shares["third"] == pytest.approx(-0.02 / 0.18)
    assert shares["in-thou"] == pytest.approx(0.0016 / 0.1)


def test_margin_of_a_limit_with_one_end_is_relative_to_that_end() -> None:
    log_builder = LogBuilder().start("measure").read("measure", "0.04", "at most 0.05 mm")
    fact = facts_of(log_builder.lines).readings[0]
    assert fact.share == pytest.approx(0.2)
    assert not fact.two_ended


def test_correction_replaces_the_reading_and_keeps_its_limit() -> None:
    log_builder = LogBuilder().start("measure").read("measure", "0.91", verdict="high", serial="DI-1")
    wrong = log_builder.lines[-1].seq
    log_builder.add(
        "corrected", event=wrong, operation="measure", reason="digits swapped", verdict="ok",
        quantity={"value": "0.19", "unit": "mm", "entered": "0.19"},
    )  # fmt: skip
    first, second = facts_of(log_builder.lines).readings
    assert not first.in_force
    assert second.in_force
    assert (second.corrected, second.attempt) == (True, 2)
    assert (second.limit, second.serial) == ("0.10 .. 0.28 mm", "DI-1")
    assert second.share == pytest.approx(0.5)


def test_reworked_stages_remain_as_facts_but_are_not_valid() -> None:
    log_builder = LogBuilder().start("bolt").tighten("bolt", serial="TW-1").finish("bolt")
    log_builder.add("rework-started", operation="bolt", reason="gasket slipped", steps=[{"operation": "bolt"}])
    log_builder.add("undone", operation="bolt")
    log_builder.start("bolt").tighten("bolt", serial="TW-2").finish("bolt")
    facts = facts_of(log_builder.lines)
    assert {(s.serial, s.round, s.in_force) for s in facts.stages} == {("TW-1", 0, False), ("TW-2", 1, True)}
    assert [(t.operation, t.cause, t.reason) for t in facts.undone_steps] == [("bolt", "rework", "gasket slipped")]
    (bolt,) = facts.operations
    assert bolt.done
    assert bolt.redone == 1


def test_cleared_tick_is_not_counted() -> None:
    log_builder = LogBuilder().start("bolt").tick("bolt", 1).tick("bolt", 2)
    log_builder.add("unticked", operation="bolt", joint="lid-bolts", stage=1, fastener=2)
    (stage,) = facts_of(log_builder.lines).stages
    assert (stage.fasteners, stage.unticked) == (1, 1)


def test_signature_is_void_after_a_later_entry() -> None:
    log_builder = (
        LogBuilder().start("lid").add("signed", operation="lid", role="inspector", self_signed=False, by="bob")
    )
    assert facts_of(log_builder.lines).signatures[0].in_force
    log_builder.add("checked", operation="lid", check=1, text="flush all round")
    assert not facts_of(log_builder.lines).signatures[0].in_force


def test_pause_in_a_stage_is_measured_by_the_monotonic_clock() -> None:
    log_builder = LogBuilder().start("bolt").tick("bolt", 1).wait(hours=2).tick("bolt", 2)
    (stage,) = facts_of(log_builder.lines).stages
    assert stage.gap == pytest.approx(7210)
    assert stage.seconds == pytest.approx(7210)


def test_corrected_lot_replaces_the_wrong_one() -> None:
    log_builder = LogBuilder().start("seal").add("lot", operation="seal", consumable="sealant", lot="L-1")
    log_builder.add("corrected", event=log_builder.lines[-1].seq, operation="seal", reason="misread", lot="L-7")
    assert [(lot.lot, lot.in_force) for lot in facts_of(log_builder.lines).lots] == [("L-1", False), ("L-7", True)]


def test_remedy_withdraws_readings_and_undoes_operations() -> None:
    log_builder = LogBuilder().start("seat").finish("seat").start("measure")
    log_builder.read("measure", "0.05", verdict="low")
    log_builder.add("remedied", operation="measure", name="end-play", verdict="low", do="Seat it again", redo=["seat"])
    facts = facts_of(log_builder.lines)
    assert not facts.readings[0].in_force
    seat = next(o for o in facts.operations if o.operation == "seat")
    assert not seat.done
    assert facts.undone_steps[0].cause == "remedy"
    assert [remedy.words for remedy in facts.remedies] == ["end-play, too low: Seat it again"]


def test_remedy_does_not_undo_an_operation_that_is_not_done() -> None:
    log_builder = LogBuilder().start("measure").read("measure", "0.05", verdict="low")
    log_builder.add(
        "remedied", operation="measure", name="end-play", verdict="low", do="Seat it again", redo=["seat", "grind"]
    )  # fmt: skip
    facts = facts_of(log_builder.lines)
    assert facts.undone_steps == ()
    assert [each.operation for each in facts.operations] == ["measure"]


def test_correction_of_an_event_that_is_not_an_entry_gives_no_fact() -> None:
    log_builder = LogBuilder().start("measure").read("measure", "0.19")
    started = log_builder.lines[1].seq
    quantity = {"value": "0.20", "unit": "mm", "entered": "0.20"}
    before = facts_of(log_builder.lines)
    log_builder.add("corrected", event=started, operation="measure", reason="x", quantity=quantity, verdict="ok")
    after = facts_of(log_builder.lines)
    assert (after.readings, after.operations[0].entries) == (before.readings, before.operations[0].entries)


def test_event_of_an_unknown_kind_is_counted_and_ignored() -> None:
    facts = facts_of(LogBuilder().add("hummed", operation="x", tune="la").close().lines)
    assert facts.session.unknown == 1
    assert facts.session.closed


def test_lines_that_are_not_a_session_are_refused() -> None:
    lines, _ = seal([Draft("2026-03-01T18:30:00.000Z", "ann", "noted", {"text": "hello"})], None)
    with pytest.raises(NotASession, match="begins with 'opened'"):
        facts_of(lines)
    with pytest.raises(NotASession, match="it is empty"):
        facts_of([])
    with pytest.raises(NotASession, match=r"line 2 \(ticked\)"):
        facts_of(LogBuilder().add("ticked", operation="x").lines)


def test_value_calculated_before_rework_or_a_remedy_is_not_in_force() -> None:
    def calculated(log_builder: LogBuilder, value: str) -> LogBuilder:
        quantity = {"value": value, "unit": "mm", "entered": value}
        return log_builder.add("calculated", operation="measure", name="clearance", quantity=quantity, verdict="ok")

    log_builder = calculated(calculated(LogBuilder().start("measure"), "0.11"), "0.12")
    log_builder.add("remedied", operation="measure", name="clearance", verdict="high", do="Fit the other shim")
    calculated(log_builder, "0.13").finish("measure")
    log_builder.add("rework-started", operation="measure", reason="dirt", steps=[{"operation": "measure"}])
    log_builder.add("undone", operation="measure")
    before = facts_of(log_builder.lines).readings
    assert [(fact.attempt, fact.in_force) for fact in before] == [(1, False), (2, False), (1, False)]
    last = facts_of(calculated(log_builder, "0.14").lines).readings[-1]
    assert (last.value, last.attempt, last.in_force, last.calculated) == ("0.14", 1, True, True)


def test_operation_has_the_times_and_counts_of_its_entries() -> None:
    log_builder = LogBuilder().start("seal").add("checked", operation="seal", check=1, text="dry")
    log_builder.add("paused", operation="seal").wait(hours=1).start("seal")
    log_builder.add("lot", operation="seal", consumable="sealant", lot="L-1").finish("seal")
    (seal,) = facts_of(log_builder.lines).operations
    assert (seal.entries, seal.checks, seal.paused, seal.redone) == (2, 1, 1, 0)
    assert seal.active == pytest.approx(40)
    assert seal.span == pytest.approx(3650)
    assert seal.pauses == 0, "it was not in progress"
    assert seal.people == ("ann",)


def test_long_gap_in_an_operation_is_a_pause_and_no_working_time() -> None:
    log_builder = LogBuilder().start("seal").wait(hours=14).add("checked", operation="seal", check=1, text="dry")
    log_builder.add("lot", operation="seal", consumable="sealant", lot="L-1").finish("seal")
    (seal,) = facts_of(log_builder.lines).operations
    assert seal.active == pytest.approx(20)
    assert seal.pauses == pytest.approx(14 * 3600 + 10)
    assert seal.in_progress == seal.span


def test_only_the_last_tick_of_a_fastener_counts_as_out_of_limit() -> None:
    value = {"value": "25", "unit": "N·m", "entered": "25"}
    log_builder = LogBuilder().start("bolt").tick("bolt", 1, quantity=value, verdict="low").tick("bolt", 2)
    (bad,) = facts_of(log_builder.lines).stages
    assert (bad.fasteners, bad.bad, bad.measured) == (2, 1, 1)
    wrong = log_builder.lines[2].seq
    log_builder.add("corrected", event=wrong, operation="bolt", reason="misread", quantity=value, verdict="ok")
    log_builder.tick("bolt", 2, quantity=value, verdict="not-proven")
    (stage,) = facts_of(log_builder.lines).stages
    assert (stage.fasteners, stage.bad) == (2, 1)
    log_builder.add("unticked", operation="bolt", joint="lid-bolts", stage=1, fastener=2)
    (stage,) = facts_of(log_builder.lines).stages
    assert (stage.fasteners, stage.bad, stage.unticked) == (2, 0, 1)


def test_tick_with_torque_and_stretch_counts_for_both_instruments() -> None:
    value = {"value": "25", "unit": "N·m", "entered": "25"}
    stretch = {"value": "0.11", "unit": "mm", "entered": "0.11"}
    log_builder = (
        LogBuilder()
        .start("bolt")
        .tick("bolt", 1, quantity=value, verdict="ok", serial="TW-1", stretch=stretch, stretch_serial="BM-1")
    )
    stages = facts_of(log_builder.lines).stages
    assert [(fact.serial, fact.fasteners, fact.stretch) for fact in stages] == [("TW-1", 1, False), ("BM-1", 1, True)]


@pytest.mark.parametrize(
    "at",
    [
        "2026-03-01T18:30:00.000Z",
        "2026-03-01T18:30:00Z",
        "2026-03-01T18:30:00.000000Z",
        "2026-03-01T19:30:00+01:00",
        "2026-03-01T13:30:00.000-05:00",
    ],
)
def test_timestamp_of_any_writer_is_given_in_utc_with_milliseconds(at: str) -> None:
    prev, raw = "0" * 64, b""
    opened: dict[str, Any] = dict(LogBuilder().lines[0].data)
    for seq, (kind, data) in enumerate((("opened", opened), ("noted", {"text": "hello"})), 1):
        line: dict[str, Any] = {"seq": seq, "at": at, "by": "ann", "kind": kind, "data": data, "prev": prev}
        prev = sha256(rfc8785.dumps(line)).hexdigest()
        raw += rfc8785.dumps({**line, "hash": prev}) + b"\n"
    facts = facts_of(read(raw, None).lines)
    assert [note.at for note in facts.notes] == ["2026-03-01T18:30:00.000Z"]
    assert facts.session.opened_at == "2026-03-01T18:30:00.000Z"


def test_stage_facts_have_the_torque_and_its_tolerance() -> None:
    """The figures are those of the shipped head install: a limit has its own ends, one quantity the program's 6 %."""
    stages = {(fact.operation, fact.stage): fact for fact in loaded_build(3).facts.stages}
    snug, nut = stages["tighten-head", 1], stages["fit-timing-unit", 1]
    assert (snug.torque, snug.turned) == ("30 N·m (22 ft-lb)", True)
    assert snug.allowed_low == pytest.approx(1 - 22 * 1.3558179483 * 0.94 / 30, rel=1e-6)
    assert snug.allowed_high == pytest.approx(0.06)
    assert (nut.torque, nut.turned) == ("40 ft-lb (54 N·m)", False)
    assert stages["tighten-head", 3].torque == ""


def test_session_fact_names_procedure_and_revision() -> None:
    session = loaded_build(3).facts.session
    assert (session.procedure_id, session.revision) == ("head-install", "D")
