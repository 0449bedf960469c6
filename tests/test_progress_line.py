"""The line that shows progress on a terminal."""

import io
import sys
from pathlib import Path

import pytest

from benchflow.commands.progress_line import ProgressLine
from tests.ordering.wide import wide_text
from tests.tui.terminal import Terminal


class Screen(io.StringIO):
    """Collects what is written to a terminal."""

    def isatty(self) -> bool:
        return True


def terminal_of(patch: pytest.MonkeyPatch) -> Screen:
    """Make standard output and standard error a terminal. Returns what standard error shows."""
    written = Screen()
    patch.setattr(sys, "stderr", written)
    patch.setattr(sys, "stdout", Screen())
    return written


def test_line_appears_after_one_second_and_is_cleared(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = terminal_of(monkeypatch)
    now = 10.0
    with ProgressLine(lambda: now) as line:
        line.show("1 of 9")
        assert screen.getvalue() == ""
        now = 11.0
        line.show("2 of 9")
        assert screen.getvalue().startswith("\r2 of 9 ")
        line.show("3 of 9")
        assert "3 of 9" not in screen.getvalue()
        now = 11.2
        line.show("4 of 9\x1b[2J")
        assert "\r4 of 9" in screen.getvalue()
        assert "\x1b" not in screen.getvalue()
    assert screen.getvalue().endswith("\r" + 79 * " " + "\r")


def test_line_is_cleared_when_the_work_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = terminal_of(monkeypatch)
    now = 0.0

    def work() -> None:
        nonlocal now
        with ProgressLine(lambda: now) as line:
            now = 2.0
            line.show("half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        work()
    assert screen.getvalue().endswith(" \r")


@pytest.mark.parametrize("piped", ["stdout", "stderr"])
def test_nothing_is_shown_when_piped(monkeypatch: pytest.MonkeyPatch, piped: str) -> None:
    screen = terminal_of(monkeypatch)
    pipe = io.StringIO()
    monkeypatch.setattr(sys, piped, pipe)
    now = 0.0
    with ProgressLine(lambda: now) as line:
        now = 9.0
        line.show("half")
    assert (screen.getvalue(), pipe.getvalue()) == ("", "")


def test_long_check_shows_its_progress_on_a_terminal(tmp_path: Path) -> None:
    (tmp_path / "wide.yaml").write_text(wide_text("tangled"))
    command = ["-m", "benchflow", "check", str(tmp_path / "wide.yaml")]
    with Terminal(command, env={"BENCHFLOW_HOME": str(tmp_path / "home")}, columns=300, patience=120) as terminal:
        assert terminal.wait_end() == 1
        assert b"configurations explored; " in terminal.painted
        shown = terminal.text
        assert "configurations explored; " not in shown
        assert "NOT EXPLORED IN FULL" in shown
