"""The replay shows the session as it was after each event."""

import pytest

from benchflow.review.formatting import local_day
from benchflow.review.log.replay import Replay
from benchflow.session.state.fold import begin, fold
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import loaded_build

FAULTS = Faults(reworked="fit-pulley")


@pytest.fixture(scope="module")
def replay() -> Replay:
    return Replay(loaded_build(3, FAULTS))


def test_replay_gives_the_state_of_any_event_in_any_order() -> None:
    log = loaded_build(3, FAULTS)
    lines = log.lines
    states = [begin(lines[0], log.procedure)]
    for line in lines[1:]:
        states.append(fold(states[-1], line))
    replay = Replay(log)
    for seq in (1, 300, 2, 64, 65, 66, 129, replay.last, 17, 128, 1):
        assert replay.state(seq) == states[seq - 1]
    with pytest.raises(IndexError, match="no event 0"):
        replay.state(0)
    with pytest.raises(IndexError):
        replay.state(replay.last + 1)


def test_frame_has_the_event_the_state_and_the_open_operations(replay: Replay) -> None:
    log = loaded_build(3, FAULTS)
    finished = next(
        line.seq for line in log.lines if line.kind == "finished" and line.data["operation"] == "tighten-head"
    )
    before, after = replay.frame(finished - 1), replay.frame(finished)
    assert before.operation == "tighten-head"
    assert (after.operation, after.done[-1]) == ("", "tighten-head")
    rows = (
        {row.variable: row.value for row in before.state_rows},
        {row.variable: row.value for row in after.state_rows},
    )
    assert rows[0]["head"] != rows[1]["head"] == "tightened"
    assert before.left == after.left + 1
    assert replay.frame(replay.last).closed


def test_stepping_stops_at_ends_of_operations_and_starts_of_days(replay: Replay) -> None:
    log = loaded_build(3, FAULTS)
    ends = [line.seq for line in log.lines if line.kind in ("finished", "undone")]
    assert replay.forward(1, "operation") == ends[0]
    assert replay.forward(ends[0], "operation") == ends[1]
    assert replay.back(ends[1], "operation") == ends[0]
    assert replay.forward(replay.last, "operation") == replay.last
    assert replay.back(1, "event") == 1
    days = sorted({local_day(line.at) for line in log.lines})
    assert [local_day(replay.frame(seq).at) for seq in replay.steps("day")] == days
    assert replay.forward(1, "day") == replay.steps("day")[1]


def test_replayed_bench_is_read_only(replay: Replay) -> None:
    view = replay.bench(200)
    assert view.read_only == f"this is the job after event 200 of {replay.last}"
    assert view.saved == 200
    assert view.done == len(replay.frame(200).done)
