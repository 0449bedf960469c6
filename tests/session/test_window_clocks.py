"""Time windows while the machine sleeps, while its clock is set, and across restarts. The clocks are handed in."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from benchflow.session.controller import SessionController
from benchflow.session.log.timestamps import clock_time_after
from benchflow.session.log_writer import Accepted
from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import ClockRow
from benchflow.session.view.clock_rows import clock_rows
from tests.driving.script import Script, intent, open_intent, procedure_with
from tests.driving.session_driver import ManualClock, SessionDriver, load_text, read_procedure

BEAD = "{id: bead, title: Lay the bead, undo: {do: Wipe it off}}"
MINUTE = 60.0


class Bench:
    """A job whose bead is laid, on a machine that can sleep, be started again, and whose clock can be set."""

    def __init__(
        self, folder: Path, window: str, *further: str, bead: str = BEAD, head: str = "", entry: str = ""
    ) -> None:
        text = procedure_with(bead, f"{{id: head, title: Set the head, time: {{bead: {window}}}}}", *further, head=head)
        self.clock, self.boots = ManualClock(), 1
        path = folder / "build.jsonl"
        begun = SessionController.begin(path, load_text(text), file="p.yaml", read=read_procedure, clock=self.clock)
        self.driver = SessionDriver(begun, self.clock)
        self.driver.do("open", by="Robin", unit="job 7")
        self.driver.do("start", operation="bead")
        if entry:
            self.driver.do("record", name="temp", value=entry)
        self.driver.do("finish")

    def wait(self, minutes: float) -> None:
        self.clock.advance(minutes * MINUTE)

    def set_clock(self, minutes: float) -> None:
        """Set the wall clock forward, or back."""
        self.clock.wall_time += timedelta(minutes=minutes)

    def reboot(self, off: float, clock_set: float = 0.0) -> None:
        """Start the machine again after ``off`` minutes, with the wall clock set by ``clock_set`` minutes."""
        self.boots += 1
        wall = self.clock.wall_time + timedelta(minutes=off + clock_set)
        self.restart(ManualClock(wall, monotonic=5.0, boot=f"b00{self.boots}7105-0001"))

    def restart(self, clock: ManualClock | None = None) -> None:
        """Start the program again, with other clocks if they are given."""
        self.driver.controller.close()
        self.clock = clock or self.clock
        path = self.driver.controller.journal.path
        resumed = SessionController.resume(path, read=read_procedure, clock=self.clock)
        self.driver = SessionDriver(resumed, self.clock)

    def do(self, intent: str, **fields: Any) -> Accepted:
        return self.driver.do(intent, **fields)

    def start(self) -> set[str]:
        return self.driver.refused("start", operation="head")

    def message(self, intent: str, **fields: Any) -> str:
        reply = self.driver.answer({"intent": intent, **fields})
        assert isinstance(reply, Refusal), reply
        return " / ".join(reason.message for reason in reply.refused)

    def row(self) -> ClockRow:
        (row,) = clock_rows(self.driver.state, self.driver.controller.context())
        return row


def test_window_closes_while_the_lid_is_shut(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "at most 10 min")
    bench.do("start", operation="head")
    bench.wait(60)  # both clocks run while the machine sleeps
    assert bench.driver.refused("finish") == {"too-late"}
    assert "50:00 min too late" in bench.message("finish")


@pytest.mark.parametrize("steps", [(-60,), (-11, -11), (60, -120)])
def test_clock_set_back_in_one_run_opens_no_closed_window(tmp_path: Path, steps: tuple[int, ...]) -> None:
    bench = Bench(tmp_path, "at most 10 min")
    bench.wait(11)
    for minutes in steps:
        bench.set_clock(minutes)
        assert bench.start() == {"too-late"}
        bench.do("note", text="the clock was set")
        assert bench.start() == {"too-late"}


def test_clock_set_forward_ends_no_wait_but_closes_a_window(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "30 min .. 2 h")
    bench.set_clock(45)
    assert bench.start() == {"too-early"}
    bench.do("note", text="set forward")
    bench.restart()
    assert bench.start() == {"too-early"}
    assert (
        "The computer clock was set meanwhile, or did not run right: 0:00 min counts for a wait, 45:00 min for a "
        "deadline. Wait 30:00 min more" in bench.message("start", operation="head")
    )
    bench.set_clock(100)
    assert bench.start() == {"too-early", "too-late"}
    bench.set_clock(-145)
    bench.wait(31)
    bench.do("start", operation="head")


@pytest.mark.parametrize("window", ["at most 10 min", "at least 30 min"])
def test_clock_set_back_across_a_restart_of_the_machine_makes_the_time_unknown(tmp_path: Path, window: str) -> None:
    bench = Bench(tmp_path, window)
    bench.wait(20)
    bench.do("note", text="20 min later")
    bench.reboot(off=5, clock_set=-24)
    code = "too-late" if "most" in window else "too-early"
    assert bench.start() == {code}
    message = bench.message("start", operation="head")
    assert "The time since “Lay the bead” is not known. The computer clock shows 1:00 min." in message
    assert "proves at least 20:00 min" in message
    assert message.endswith("Set the computer clock right, redo step 1, or sign a deviation.")
    row = bench.row()
    assert (row.known, row.seconds) == (False, None)
    assert "not known" in row.advice
    status = bench.driver.send({"intent": "status"})["status"]
    assert (status["clocks"][0]["known"], status["clocks"][0]["seconds"]) == (False, None)
    assert "not known" in str(bench.driver.send({"intent": "why", "operation": "head"})["why"])


def test_time_is_known_again_once_the_clock_is_right(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "30 min .. 2 h")
    bench.wait(20)
    bench.do("note", text="20 min later")
    bench.reboot(off=15, clock_set=-60)
    assert bench.start() == {"too-early", "too-late"}
    bench.set_clock(60)
    bench.do("start", operation="head")


def test_unknown_time_is_passed_by_a_deviation_or_by_doing_the_earlier_operation_again(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "at most 10 min")
    bench.wait(5)
    bench.do("start", operation="head")
    bench.reboot(off=5, clock_set=-60)
    assert bench.driver.refused("finish") == {"too-late"}
    bench.do("deviate", operation="head", about="time", reason="still wet", by="Kim")
    bench.do("finish")


def test_unknown_time_can_be_ended_by_doing_the_earlier_operation_again(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "at most 10 min")
    bench.reboot(off=5, clock_set=-60)
    assert bench.start() == {"too-late"}
    bench.do("rework", operation="bead", reason="the time is not known")
    bench.driver.work("bead")
    bench.driver.work("head")


def test_deviation_past_an_unknown_time_is_subject_to_waive(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "{limit: at most 10 min, waive: never}")
    bench.reboot(off=5, clock_set=-60)
    message = bench.message("start", operation="head")
    assert message.endswith("Set the computer clock right, or redo step 1.")
    assert bench.driver.refused("deviate", operation="head", about="time", reason="wet", by="Kim") == {"not-allowed"}


def test_what_a_window_proves_is_not_known_after_a_deviation_past_an_unknown_time(tmp_path: Path) -> None:
    seal = "{limit: at most 10 min, proves: seal}"
    bench = Bench(
        tmp_path, seal,
        bead="{id: bead, title: Lay the bead, sets: {seal: wet}}",
        head="state: {seal: {values: [none, wet], start: none}}\n",
    )  # fmt: skip
    bench.reboot(off=5, clock_set=-60)
    bench.do("deviate", operation="head", about="time", reason="wet", by="Kim")
    bench.driver.work("head")
    assert bench.driver.state.valuation["seal"] is None


def test_entry_that_ends_a_window_is_refused_while_the_time_is_not_known(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: heat, title: Heat, record: {casing: {unit: °C}}}",
        "{id: press, title: Press, time: {heat: {limit: at most 3 min, from: casing, until: seated}},"
        " check: [{id: seated, see: seated}]}",
    )
    clock = ManualClock()
    begun = SessionController.begin(
        tmp_path / "b.jsonl", load_text(text), file="p.yaml", read=read_procedure, clock=clock
    )
    driver = SessionDriver(begun, clock)
    driver.do("open", by="Robin", unit="7")
    driver.do("start", operation="heat")
    driver.do("record", name="casing", value="110 °C")
    driver.do("finish")
    driver.do("start", operation="press")
    driver.controller.close()
    clock = ManualClock(clock.wall_time - timedelta(hours=1), monotonic=9.0, boot="b0027105-0001")
    resumed = SessionController.resume(tmp_path / "b.jsonl", read=read_procedure, clock=clock)
    driver = SessionDriver(resumed, clock)
    assert driver.refused("tick-check", check="seated") == {"too-late"}


def test_across_a_restart_the_computer_clock_counts_and_every_message_says_so(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "30 min .. 2 h")
    bench.wait(5)
    bench.reboot(off=15)
    message = bench.message("start", operation="head")
    end = clock_time_after("2026-03-01T18:30:00.000Z", 0)
    assert message == (
        "Too early after “Lay the bead” (30 min .. 2 h; computer clock, across a restart). "
        f"Wait 10:00 min more, until {end}, or sign a deviation."
    )
    assert (bench.row().phase, bench.row().by_wall) == ("wait", True)
    bench.wait(110)
    assert "too late after “Lay the bead” (30 min .. 2 h; computer clock, across a restart)." in bench.message(
        "start", operation="head"
    )


def _ways(bench: Bench) -> Iterator[str]:
    """Tries to get past a window that closed an hour ago, by clocks, pauses and restarts."""
    yield "nothing"
    bench.restart()
    yield "the program was started again"
    bench.set_clock(-65)
    yield "the clock was set back"
    bench.restart()
    yield "it was set back while the program did not run"
    bench.do("note", text="x")
    bench.restart()
    yield "an event was logged with the clock set back"
    bench.restart(ManualClock(bench.clock.wall_time, 3.0, bench.clock.boot))
    yield "a container with the same boot id and a smaller boot clock"
    bench.reboot(off=1)
    yield "the machine was started again"
    bench.do("note", text="y")
    bench.set_clock(30)
    yield "the clock was set forward a little"
    bench.restart(ManualClock(bench.clock.wall_time, 90_000.0, "another7-0001"))
    yield "the log was moved to another machine"
    bench.do("note", text="z")
    bench.restart(ManualClock(bench.clock.wall_time, 1000.0, "0b00710d-0001"))
    yield "the log was moved back"
    bench.set_clock(-20)
    bench.do("note", text="z")
    bench.reboot(off=0.5)
    yield "the clock was set back again, and the machine started again"


def test_no_clock_and_no_restart_opens_a_window_that_has_closed(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "at most 10 min")
    bench.wait(70)
    bench.do("note", text="an hour later")
    for way in _ways(bench):
        assert bench.start() == {"too-late"}, way


def test_set_clock_within_a_boot_ends_no_wait_across_boots(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "at least 2 h")
    bench.reboot(off=5)
    bench.do("note", text="started again")
    bench.set_clock(180)
    assert bench.start() == {"too-early"}
    bench.do("note", text="set forward")
    assert bench.start() == {"too-early"}
    bench.reboot(off=1)
    assert bench.start() == {"too-early"}


def test_steps_back_of_less_than_two_seconds_are_not_noted(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "at most 10 min")
    for seconds in (-0.5, -1.9, -1.0):
        bench.clock.wall_time += timedelta(seconds=seconds)
        bench.do("note", text="x")
    assert "clock-went-back" not in [line.kind for line in bench.driver.controller.journal.lines]
    bench.wait(10)
    bench.set_clock(-1)  # the computer clock shows 9 min more than before, the boot clock 10 min
    bench.do("note", text="y")
    assert [line.kind for line in bench.driver.controller.journal.lines][-2:] == ["clock-went-back", "noted"]


def test_simulated_time_that_goes_back_opens_no_closed_window_and_ends_no_wait(tmp_path: Path) -> None:
    def at(time: str) -> str:
        return f"2026-03-01T{time}:00Z"

    script = Script(
        tmp_path,
        procedure_with(BEAD, "{id: soon, title: Soon, time: {bead: at most 10 min}}",
                       "{id: long, title: Long, time: {bead: at least 30 min}}"),
        simulated=True,
    )  # fmt: skip
    script.do_all(
        open_intent(at=at("08:00")), intent("start", operation="bead", at=at("08:00")),
        intent("finish", at=at("08:00")), intent("note", text="x", at=at("08:25")),
    )  # fmt: skip
    for time in ("08:05", "07:00", "08:09"):
        assert script.refused("start", operation="soon", at=at(time)) == ["too-late"]
        assert script.refused("start", operation="long", at=at(time)) == ["too-early"]
        script.do("note", text="x", at=at(time))
        assert script.refused("start", operation="soon", at=at(time)) == ["too-late"]
        assert script.refused("start", operation="long", at=at(time)) == ["too-early"]


def test_correction_and_a_second_entry_do_not_start_a_window_again(tmp_path: Path) -> None:
    bench = Bench(
        tmp_path, "{limit: at most 10 min, from: temp}",
        bead="{id: bead, title: Lay the bead, record: {temp: {ask: Temperature, unit: °C}}, undo: {do: Wipe it off}}",
        entry="20 °C",
    )  # fmt: skip
    entered = next(line.seq for line in bench.driver.controller.journal.lines if line.kind == "recorded")
    bench.wait(11)
    assert bench.start() == {"too-late"}
    bench.do("correct", event=entered, value="21 °C", reason="misread")
    assert bench.start() == {"too-late"}
    bench.set_clock(-11)
    bench.do("correct", event=entered, value="22 °C", reason="misread")
    bench.reboot(off=1)
    assert bench.start() == {"too-late"}


def test_pause_and_a_restart_do_not_stop_a_window(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "at most 10 min")
    bench.do("start", operation="head")
    bench.wait(4)
    bench.do("pause")
    bench.restart()
    bench.wait(4)
    bench.do("start", operation="head")
    bench.reboot(off=3)
    assert bench.driver.refused("finish") == {"too-late"}
    bench.do("pause")
    assert bench.start() == {"too-late"}
