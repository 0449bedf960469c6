"""The review in a real terminal: keys arrive in order, and logs are not changed."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.driving.simulated_builder import CLEAN, Faults
from tests.review.played_builds import played
from tests.tui.terminal import ROOT, Terminal

LATE = Faults(late="set-head-down")


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    folder = tmp_path / "logs"
    folder.mkdir()
    (folder / "late.jsonl").write_bytes(played(5, LATE, with_tools=True).read_bytes())
    (folder / "clean.jsonl").write_bytes(played(5, CLEAN, with_tools=True).read_bytes())
    return folder


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def terminal(*arguments: str, home: Path) -> Terminal:
    return Terminal(["-m", "benchflow", *arguments], env={"BENCHFLOW_HOME": str(home)})


def test_complaint_typed_in_a_burst_opens_its_ranking_and_leaves_the_log_unchanged(logs: Path, tmp_path: Path) -> None:
    before = files_in(logs)
    with terminal("review", str(logs / "late.jsonl"), home=tmp_path) as t:
        t.wait_for("Loses water or pressure")
        t.type("loses water\r")
        t.wait_for("time window missed", "Set the head down")
        t.type("m")
        t.wait_for("DEVIATION signed for the time window")
        t.type("q")
        t.wait_for("time window missed")
        t.type("q\x03")
        assert t.wait_end() == 0
    assert files_in(logs) == before


def test_two_builds_open_side_by_side_and_a_signal_leaves_the_terminal_in_order(logs: Path, tmp_path: Path) -> None:
    with terminal("compare", str(logs / "late.jsonl"), str(logs / "clean.jsonl"), home=tmp_path) as t:
        t.wait_for("Set the head down: deviation from the time window")
        t.signal(signal.SIGTERM)
        assert t.wait_end() == 128 + signal.SIGTERM
        assert b"\x1b[?1049l" in t.painted  # back to the screen before


@pytest.mark.parametrize("option", ["--text", "--all", "--json"])
def test_print_option_prints_on_a_terminal(option: str, logs: Path, tmp_path: Path) -> None:
    with terminal("review", str(logs / "late.jsonl"), "head-gasket-leak", option, home=tmp_path) as t:
        assert t.wait_end() == 0
        assert b"\x1b[?1049h" not in t.painted
        assert b"set-head-down" in t.painted


def test_without_a_terminal_the_review_is_printed(logs: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchflow", "review", str(logs / "late.jsonl"), "head-gasket-leak"],
        capture_output=True, text=True, encoding="utf-8", cwd=ROOT, check=False,
        env={**os.environ, "BENCHFLOW_HOME": str(tmp_path), "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "DEVIATION: " in done.stdout
