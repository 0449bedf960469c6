"""The fold: how single events change a state."""

from pathlib import Path

from msgspec.structs import replace

from benchflow.session.state.fold import fold
from tests.driving.small_head import start_session

NAMES_IN_NAMES = """\
benchflow: 1
id: names
title: Names in names
revision: "1"
sections:
- id: all
  title: All
  operations:
  - id: measure
    title: Measure
    record:
      bar: {ask: Bar, unit: mm, limit: at most 1 mm}
      a: {ask: A, unit: mm, limit: at most 1 mm}
    work-out:
      twice: {is: 2 * bar, unit: mm, limit: at most 1 mm}
"""


def test_replaced_reading_lapses_only_deviations_of_values_calculated_from_it(tmp_path: Path) -> None:
    driver = start_session(tmp_path, NAMES_IN_NAMES, options={}, start={})
    driver.do("start", operation="measure")
    driver.do("record", name="bar", value="0.8 mm")
    driver.do("record", name="a", value="0.8 mm")
    driver.do("deviate", operation="measure", about="twice", reason="it will be ground")
    driver.do("record", name="a", value="0.7 mm")
    state = driver.controller.state
    assert state is not None
    assert set(state.work("measure").deviations) == {"twice"}
    driver.do("record", name="bar", value="0.9 mm")
    state = driver.controller.state
    assert state is not None
    assert (set(state.work("measure").deviations), set(state.work("measure").lapsed)) == (set(), {"twice"})


def test_unknown_kind_changes_only_the_sequence_number_and_the_last_time(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    state, line = driver.controller.state, driver.controller.journal.lines[-1]
    assert state is not None
    unknown = replace(
        line, seq=line.seq + 1, kind="of-a-later-version", data={"anything": 1, "clock": line.data["clock"]}
    )
    after = fold(state, unknown)
    assert after.seq == line.seq + 1
    assert replace(after, seq=state.seq, last=state.last) == state


def test_rework_without_steps_is_over_at_once(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    line = driver.controller.journal.lines[-1]
    data = {"operation": "lower", "reason": "dirt", "steps": [], "discard": []}
    after = fold(driver.state, replace(line, seq=line.seq + 1, kind="rework-started", data=data))
    assert after.rework is None
