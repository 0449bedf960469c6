"""The review weighs ticks out of their band: high, low, loosened, cleared, waived, corrected. Data is invented."""

from pathlib import Path

import pytest

from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.log.loaded_log import load_log
from tests.driving.script import Json, Script, intent, open_intent, procedure_with, read_procedure

HEAD = "joints: {studs: {title: Studs, layout: '1 2'}}\n"
TIGHTEN = "{id: pull, title: Pull down, tighten: {joint: studs, stages: [80 ft-lb, {check: at least 70 ft-lb}]}}"
CLEAR = intent("untick", joint="studs")
HIGH = (
    "1 tick of stage 1 of studs above the band: fastener 1 at 90 ft-lb, band 75.2 .. 84.8 ft-lb, "
    "about 12 % more clamp load"
)
WAIVE = intent("deviate", operation="pull", about="studs", reason="agreed", by="Kim")


def tick(fastener: int, value: str | None = None, **fields: object) -> Json:
    return intent("tick", joint="studs", fastener=fastener, **({} if value is None else {"value": value}), **fields)


def weak_points(folder: Path, *entries: Json) -> dict[str, str]:
    """The weak points of a joint by kind, after these entries for its first stage and good ones for the rest."""
    script = Script(folder, procedure_with(TIGHTEN, head=HEAD))
    rest = (tick(1, "75 ft-lb"), tick(2, "75 ft-lb"), intent("finish"))
    script.do_all(open_intent(), intent("start", operation="pull"), *entries, *rest)
    log = load_log(script.path, read_procedure)
    found = {point.kind: point.words for point in weak_points_of(log, log.plan.steps["pull"])}
    found.pop("no-serial", None)
    return found


def test_ticks_within_their_band_are_not_a_weak_point(tmp_path: Path) -> None:
    assert weak_points(tmp_path, tick(1, "80 ft-lb"), tick(2, "82 ft-lb")) == {}


@pytest.mark.parametrize(
    ("entries", "kind", "words"),
    [
        (
            [tick(1, "90 ft-lb"), tick(1, "80 ft-lb", loosened=True)],
            "overtightened",
            f"{HIGH}; 1 ticked again as loosened",
        ),
        (
            [tick(1, "90 ft-lb"), CLEAR, tick(1, loosened=True)],
            "overtightened",
            f"{HIGH}; 1 ticked again as loosened",
        ),
        ([tick(1, "90 ft-lb"), WAIVE], "overtightened", HIGH),
        ([tick(1, "70 ft-lb"), tick(1)], "retaken", "1 tick of stage 1 of studs out of the band first"),
        ([tick(1, "70 ft-lb"), WAIVE], "deviation", "Kim signed a deviation from studs: agreed"),
    ],
)
def test_tick_out_of_its_band_is_a_weak_point(tmp_path: Path, entries: list[Json], kind: str, words: str) -> None:
    assert weak_points(tmp_path, *entries, tick(2))[kind] == words


def test_misread_tick_that_was_corrected_is_not_a_weak_point(tmp_path: Path) -> None:
    correct = intent("correct", event=3, value="80 ft-lb", reason="misread")
    assert weak_points(tmp_path, tick(1, "90 ft-lb"), correct, tick(2)) == {}


def test_deviation_is_no_longer_in_force_when_its_tick_was_replaced(tmp_path: Path) -> None:
    found = weak_points(tmp_path, tick(1, "70 ft-lb"), WAIVE, tick(1, "80 ft-lb"), tick(2))
    assert "deviation" not in found
    assert "retaken" in found


def test_check_that_was_read_again_is_a_weak_point(tmp_path: Path) -> None:
    entries = (tick(1), tick(2), tick(1, "60 ft-lb"), tick(2, "75 ft-lb"))
    script = Script(tmp_path, procedure_with(TIGHTEN, head=HEAD))
    script.do_all(open_intent(), intent("start", operation="pull"), *entries)
    log = load_log(script.path, read_procedure)
    words = {point.kind: point.words for point in weak_points_of(log, log.plan.steps["pull"])}
    assert words["out-of-limit"] == (
        "1 fastener of stage 2 of studs out of the limits: fastener 1 at 60 ft-lb, band at least 70 ft-lb"
    )
    script.do_all(tick(1, "75 ft-lb"))
    log = load_log(script.path, read_procedure)
    words = {point.kind: point.words for point in weak_points_of(log, log.plan.steps["pull"])}
    assert "out-of-limit" not in words
    assert words["retaken"] == "1 tick of stage 2 of studs out of the band first"
