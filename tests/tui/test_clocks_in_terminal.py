"""The bench in a real terminal while its clock is set, and after a restart. A library moves the clocks."""

from pathlib import Path

import pytest

from tests.hard_use.clock_steps import ClockedDrive
from tests.hard_use.moved_clocks import MovedClocks
from tests.tui.terminal import Terminal

RUN = ["-m", "benchflow", "run"]


def bench(drive: ClockedDrive) -> Terminal:
    """The bench on the log of ``drive``, whose process has ended."""
    env = {"BENCHFLOW_HOME": str(drive.folder / "home"), **drive.clocks.environment()}
    return Terminal([*RUN, str(drive.log)], env=env, columns=120, rows=40)


@pytest.fixture
def drive(tmp_path: Path) -> ClockedDrive:
    """A job whose bead is laid and whose process has ended."""
    clocks = MovedClocks(tmp_path)
    if not clocks.works:
        pytest.skip("no C compiler")
    drive = ClockedDrive(tmp_path, clocks)
    drive.end()
    return drive


def test_bench_closes_a_window_when_time_passes_and_keeps_it_closed_when_the_clock_is_set_back(
    drive: ClockedDrive,
) -> None:
    with bench(drive) as terminal:
        terminal.wait_for("CLOCK", "left")
        drive.clocks.pass_time(65)
        terminal.wait_for("× closed 55:")
        drive.clocks.set_wall_clock(-65)
        drive.clocks.pass_time(1)
        terminal.wait_for("× closed 56:")
        drive.clocks.set_wall_clock(-600)
        drive.clocks.pass_time(1)
        terminal.wait_for("× closed 57:")


def test_bench_says_that_the_time_is_not_known_after_a_restart_with_the_clock_set_back(drive: ClockedDrive) -> None:
    drive.clocks.reboot(off=5, clock_set=-60)
    with bench(drive) as terminal:
        terminal.wait_for("× time not known", "The time since “Bead” is not known")
        drive.clocks.set_wall_clock(60)
        terminal.wait_gone("time not known")
        terminal.wait_for("left", "computer clock")


def test_window_that_closed_before_a_restart_stays_closed_whatever_the_clock_shows(drive: ClockedDrive) -> None:
    drive.clocks.pass_time(30)
    drive.start()
    drive.note()
    drive.end()
    for set_by in (-25, -30, -36):
        drive.clocks.reboot(off=1, clock_set=set_by)
        with bench(drive) as terminal:
            terminal.wait_for("× time not known")
        drive.clocks.set_wall_clock(-set_by)
