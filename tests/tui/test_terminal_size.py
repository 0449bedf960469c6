"""The bench in a terminal of any size, also while it is changed."""

import fcntl
import signal
import struct
import termios
import time
from pathlib import Path

import pytest

from tests.driving.log_files import events_in
from tests.driving.small_head import SMALL_HEAD, start_session
from tests.tui.app_driver import drive_app
from tests.tui.terminal import Terminal

RUN = ["-m", "benchflow", "run"]


def resize(terminal: Terminal, columns: int, rows: int) -> None:
    fcntl.ioctl(terminal.fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    terminal.signal(signal.SIGWINCH)


def measuring(folder: Path) -> Path:
    driver = start_session(folder, start={"pistons": "down"})
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.controller.close()
    return driver.controller.journal.path


def recorded(log: Path) -> list[str]:
    return [event["data"]["quantity"]["entered"] for event in events_in(log) if event["kind"] == "recorded"]


@pytest.mark.parametrize(("columns", "rows"), [(3, 1), (1, 1), (1, 50), (300, 1), (5, 3), (0, 0)])
def test_reading_is_entered_in_a_terminal_of_any_size(tmp_path: Path, columns: int, rows: int) -> None:
    log = measuring(tmp_path)
    env = {"BENCHFLOW_HOME": str(tmp_path / "home")}
    with Terminal([*RUN, str(log)], env=env, columns=max(columns, 1), rows=max(rows, 1)) as terminal:
        if not columns:
            resize(terminal, columns, rows)
        terminal.wait_until(lambda: b"\x1b[?1049h" in terminal.painted, "the first screen")
        deadline = time.monotonic() + 90
        while not recorded(log) and time.monotonic() < deadline and terminal.read(0.3):
            terminal.type("\x150.25\r")
            terminal.read(0.3)
        assert recorded(log), terminal.text
        terminal.type("?")
        terminal.read(0.2)
        terminal.signal(signal.SIGTERM)
        assert terminal.wait_end() == 128 + signal.SIGTERM
    assert b"Internal error" not in terminal.painted


def test_terminal_is_made_tiny_and_large_again_while_working(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with Terminal([*RUN, str(log)], env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("Lash")
        for keys in ("", "?", "\x1b", "w", "\x1b", "o", "\x1b", "n", "\x1b", "q", "\x1b", "s", "\x1b", "m", "\x1b"):
            resize(terminal, 1, 1)
            terminal.type(keys)
            terminal.read(0.1)
            resize(terminal, 7, 2)
            terminal.read(0.1)
            resize(terminal, 80, 24)
            terminal.read(0.1)
        deadline = time.monotonic() + 90
        while not recorded(log) and time.monotonic() < deadline:
            terminal.type("\x1b")  # back to the bench, from whatever page the keys have reached
            terminal.read(0.5)
            terminal.type("\x150.25\r")
            terminal.read(0.5)
        assert recorded(log)[0] == "0.25 mm"
        assert "Internal error" not in terminal.text


def test_start_pages_are_drawn_in_three_columns(tmp_path: Path) -> None:
    (tmp_path / "small.yaml").write_text(SMALL_HEAD, encoding="utf-8")
    for argument in ([], [str(tmp_path / "small.yaml")]):
        env = {"BENCHFLOW_HOME": str(tmp_path / "home")}
        with Terminal([*RUN, *argument], env=env, columns=3, rows=1) as terminal:
            terminal.wait_until(lambda: b"\x1b[?1049h" in terminal.painted, "the first screen")
            ready = time.monotonic() + 1
            while time.monotonic() < ready:
                terminal.read(0.1)
            for key in ("\x1b[B", "\x1b[B", "\r", "7", "\r", "R", "\r", "\r"):
                terminal.type(key)
                terminal.read(0.1)
            terminal.signal(signal.SIGTERM)
            assert terminal.wait_end() == 128 + signal.SIGTERM
        assert b"Internal error" not in terminal.painted


@pytest.mark.parametrize("size", [(1, 1), (3, 1), (2, 30), (30, 2), (24, 8), (23, 7)])
async def test_entry_and_every_list_are_drawn_at_any_size(tmp_path: Path, size: tuple[int, int]) -> None:
    driver = start_session(tmp_path, start={"pistons": "down"})
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    async with drive_app(driver.controller, size) as app:  # the driver raises every error of a key
        await app.type("0.2")
        await app.press("ctrl+u")
        for key in "?wonsm=dcx":
            await app.press(key, "down", "escape", "escape")
        await app.pilot.resize_terminal(80, 24)
        await app.press("escape")
        assert "Lash" in app.text or "lash" in app.text.lower()


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_whole_terminal_is_used_also_without_a_buffer(tmp_path: Path, unbuffered: str) -> None:
    env = {"BENCHFLOW_HOME": str(tmp_path / "home"), "PYTHONUNBUFFERED": unbuffered}
    with Terminal(RUN, env=env, columns=120, rows=40) as terminal:
        terminal.wait_until(lambda: "─" * 120 in terminal.lines[37], "the rule at the foot of 40 lines")
