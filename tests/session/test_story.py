"""The story of a session: nothing that happened goes untold, and nothing in it steers the terminal."""

from collections.abc import Iterator
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest

from benchflow.session.history.event_text import WORDS, Book, quantity, runs, tell
from benchflow.session.history.history import plan_of, story
from benchflow.session.log.journal import Draft, Journal, Line
from benchflow.session.log.line_format import Damage, seal
from benchflow.session.state import events as ev
from tests.driving.hands import START, read
from tests.driving.log_files import AT
from tests.driving.small_head import SMALL, SmallHead, begin


def told(lines: list[Line], damage: Damage | None = None) -> str:
    return "\n".join(story(lines, plan_of(lines, read), zone=UTC, damage=damage))


def unbroken(text: str) -> str:
    """The story as one line of words, wherever it was wrapped."""
    return " ".join(text.split())


@pytest.fixture
def hands(tmp_path: Path) -> Iterator[SmallHead]:
    hands = begin(tmp_path)
    yield hands
    hands.desk.close()


def test_every_kind_of_event_has_its_words() -> None:
    assert set(WORDS) == set(ev.EVENT_TYPES.values())


def test_a_build_is_told_by_day_and_operation_with_readings_limits_and_people(hands: SmallHead) -> None:
    hands.to_lowered()
    hands.do("start", operation="tighten")
    for fastener in (1, 2, 3, 4, 1, 2):
        hands.clock.forward(20)
        hands.do("tick", joint="studs", fastener=fastener)
    hands.do("tick", joint="studs", fastener=1, value="26 ft-lb")
    hands.clock.forward(86_400)
    hands.do("note", text="found it as I left it", by="Second Person")
    for fastener in (2, 3, 4):
        hands.do("tick", joint="studs", fastener=fastener, value="35 N·m")
    hands.do("finish")
    hands.do("start", operation="measure[1]")
    hands.do("record", name="lash[1]", value="0.010 in")
    hands.do("record", name="runout[1]", reading="2", value="0.06 mm")

    text = told(hands.desk.journal.lines)
    assert text.startswith("Small head, revision 1\nUnit: 2417. Builder: Robin.\n")
    assert "Invented for the tests." in text
    assert text.index("Sunday 1 March 2026") < text.index("Monday 2 March 2026")
    for words in (
        "1 18:00 opened the session for 2417; cams: standard; pistons are at-deck",
        "Sealant: lot 0042",
        "3 Tighten the studs [tighten]",
        "Studs, stage 1 (20 N·m): fasteners 1 to 4 done",
        "stage 2 (40 N·m): fasteners 1, 2 done",
        "(typed 26 ft-lb), in its limit",
        "... 1 d 0 h later",
        "note: found it as I left it (Second Person)",
        "FINISHED, 1 d 0 h after it was taken up",
        "lash[1]: 0.254 mm (typed 0.010 in), in its limit 0.20 .. 0.30 mm, guarded, with gauge",
        "runout[1], reading 2: 0.06 mm",
    ):
        assert words in unbroken(text), words


def test_a_limit_on_a_mean_is_answered_in_the_story_when_its_last_reading_is_in_and_when_one_is_corrected(
    hands: SmallHead,
) -> None:
    hands.to_tightened()
    hands.do("start", operation="measure[1]")
    for reading, value in (("1", "0.05 mm"), ("2", "0.06 mm"), ("3", "0.06 mm")):
        last = hands.do("record", name="runout[1]", reading=reading, value=value).lines[0].seq
    assert "reading 3: 0.06 mm; mean 0.057 mm, ABOVE its limit at most 0.05 mm" in unbroken(
        told(hands.desk.journal.lines)
    )
    hands.do("correct", event=last, value="0.01 mm", reason="read the wrong pointer")
    text = unbroken(told(hands.desk.journal.lines))
    assert "reason: read the wrong pointer; mean 0.04 mm, in its limit at most 0.05 mm" in text
    assert "reading 2: 0.06 mm; mean" not in text


def test_a_sum_without_an_end_is_told_as_on_the_bench_pad_and_not_to_28_digits() -> None:
    long = ev.Stored("0.7190333333333333333333333333", "mm", "0.7190333333333333333333333333 mm")
    worked = ev.Calculated("measure", "gap", long, "in", limit="0.40 .. 1.20 mm", filled="2.157 mm / 3 ≈ 0.719 mm")
    assert tell(worked, Book(None)) == "gap worked out: 2.157 mm / 3 ≈ 0.719 mm, in its limit 0.40 .. 1.20 mm"


def test_work_taken_back_deviations_and_corrections_stand_out(hands: SmallHead) -> None:
    hands.to_tightened()
    hands.do("start", operation="measure[2]")
    wrong = hands.do("record", name="lash[2]", value="0.52 mm").lines[0].seq
    hands.do("correct", event=wrong, value="0.25 mm", reason="digits swapped")
    hands.do("deviate", operation="measure[2]", about="runout[2]", reason="no gauge in the house", by="Inspector")
    hands.do("pause")
    hands.do("rework", operation="lower", reason="gasket upside down")
    text = unbroken(told(hands.desk.journal.lines))
    for words in (
        f"CORRECTED entry {wrong}: 0.25 mm",
        "reason: digits swapped",
        "DEVIATION about runout[2]: no gauge in the house (Inspector)",
        "REOPENED: gasket upside down",
        "TAKEN BACK",
    ):
        assert words in text, words


def test_lengths_of_time_do_not_follow_a_clock_that_was_set_back(hands: SmallHead) -> None:
    hands.do("start", operation="seal")
    hands.do("lot", consumable="sealant", lot="1")
    hands.clock.mono_now += 300
    hands.clock.wall_now = START.replace(hour=12)
    hands.do("finish")
    text = told(hands.desk.journal.lines)
    assert "THE CLOCK WENT BACK" in text
    assert "FINISHED, 5:00 min after it was taken up" in text


def test_a_story_that_ends_in_damage_says_so() -> None:
    assert "THE LOG IS DAMAGED: line 2 was eaten" in told(opened(), Damage(2, "was eaten"))


def test_a_simulated_session_is_never_told_as_a_real_one() -> None:
    assert "SIMULATED" in told(opened(simulated=True))
    assert "SIMULATED" not in told(opened())


def test_an_event_of_a_newer_version_is_told_as_one_that_is_not_understood() -> None:
    assert "this version does not know (polished)" in told(opened(("polished", {"operation": "seal"})))
    assert "this version does not know (finished)" in told(opened(("finished", {"operation": 7})))


def test_nothing_that_was_typed_can_steer_the_terminal() -> None:
    text = told(opened(("noted", {"text": "one\x1b]52;c;cm0=\x07\u202etwo\x9b2J\nthree"}), unit="7\x1b[2J"))
    assert not set(text) & set("\x1b\x07\x9b\u202e")
    assert "three" in text


def test_without_its_procedure_a_session_is_told_by_ids() -> None:
    lines = opened(("started", {"operation": "seal"}))
    text = "\n".join(story(lines, None, zone=UTC))
    assert "\nseal\n" in text


@pytest.mark.parametrize("lines", [[], [Line(1, AT, "R.", "noted", {"text": ""}, "", "")]])
def test_what_is_no_session_is_said(lines: list[Line]) -> None:
    assert "does not begin with the opening" in "\n".join(story(lines, None))


@pytest.mark.parametrize(
    ("stored", "shown"),
    [
        (ev.Stored("0.045", "mm", "0.045 mm"), "0.045 mm"),
        (ev.Stored("0.04572", "mm", "0.0018 in"), "0.0457 mm (typed 0.0018 in)"),
        (ev.Stored("90", "°", "90 deg"), "90°"),
        (ev.Stored("14", "", "14"), "14"),
        (ev.Stored("1.5", "mm", "about that"), "1.5 mm (typed about that)"),
    ],
)
def test_a_reading_is_told_to_the_digits_it_was_typed_with(stored: ev.Stored, shown: str) -> None:
    assert quantity(stored) == shown


@pytest.mark.parametrize(
    ("numbers", "words"),
    [([3], "3"), ([1, 2], "1, 2"), ([1, 2, 3, 4], "1 to 4"), ([4, 1, 2, 3, 7], "4, 1 to 3, 7"), ([2, 1], "2, 1")],
)
def test_fasteners_are_told_in_the_order_they_were_done(numbers: list[int], words: str) -> None:
    assert runs(numbers) == words


def test_a_kind_without_words_is_no_crash() -> None:
    assert tell(ev.Event(), Book(None)) == ""


def opened(*events: tuple[str, dict[str, Any]], **more: Any) -> list[Line]:
    data = {
        "procedure": SMALL, "procedure_sha256": "0" * 64, "file": "small.yaml", "options": {"cams": "standard"},
        "start": {}, "unit": "7", "version": "0", **more,
    }  # fmt: skip
    lines, _ = seal([Draft(AT, "R.", kind, inner) for kind, inner in [("opened", data), *events]], None)
    return list(lines)


def test_the_glance_counts_what_the_fold_counts(hands: SmallHead) -> None:
    from benchflow.session.catalog import glance

    path = hands.desk.journal.path
    hands.to_tightened()
    assert hands.desk.state is not None
    assert glance(path).done == len(hands.desk.state.done) == 3
    hands.do("rework", operation="lower", reason="gasket upside down")
    assert hands.desk.state is not None
    assert glance(path).done == len(hands.desk.state.done)
    assert Journal.open(path, read_only=True).lines == hands.desk.journal.lines


def test_turns_of_drawing_down_are_told_by_the_round_not_one_by_one(tmp_path: Path) -> None:
    text = SMALL.replace("      joint: studs\n", "      joint: studs\n      draw-down: half a turn, middle first\n")
    hands = begin(tmp_path, text)
    hands.to_lowered()
    hands.do("start", operation="tighten")
    for fastener in (1, 2, 3, 4, 1, 2):
        hands.do("draw-down", joint="studs", fastener=fastener)
    words = unbroken(told(hands.desk.journal.lines))
    hands.desk.close()
    assert "drawn down, round 1: fasteners 1 to 4 turned" in words
    assert "drawn down, round 2: fasteners 1, 2 turned" in words
