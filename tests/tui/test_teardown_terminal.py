"""A teardown in a real terminal: started, killed while somebody types, continued; a second window."""

import signal
from pathlib import Path

from benchflow.session.log.log_check import verify
from benchflow.session.teardown.fold_teardown import load_teardown
from tests.driving.teardown_script import TeardownScript
from tests.tui.terminal import Terminal

TEARDOWN = ["-m", "benchflow", "teardown"]


def teardown(log: Path) -> Terminal:
    return Terminal([*TEARDOWN, str(log)], env={"BENCHFLOW_HOME": str(log.parent / "home")})


def is_kept(draft: Path, text: str) -> bool:
    """True if the file of a half-typed line has this text."""
    return text in draft.read_text(encoding="utf-8")


def test_killed_teardown_continues_with_every_line_and_the_typed_text(tmp_path: Path) -> None:
    log = TeardownScript(tmp_path).begin().path
    with teardown(log) as terminal:
        terminal.wait_for("WHAT COMES OFF")
        terminal.type("rocker cover, 8x M6x1 30 mm, bag 3\r")
        terminal.wait_for("Line 1 logged")
        terminal.type("oil pump, 2x")
        terminal.wait_for("oil pump, 2x")
        terminal.wait_until(
            lambda: any(is_kept(path, "oil pump, 2x") for path in tmp_path.glob("*.draft")), "the draft"
        )
        terminal.signal(signal.SIGKILL)
        terminal.wait_end()
    assert [line.description.what for line in load_teardown(log).lines] == ["rocker cover"]
    with teardown(log) as terminal:
        terminal.wait_for("rocker cover", "► oil pump, 2x")
        terminal.type(" M6x1 20 mm\r")
        terminal.wait_for("Line 2 logged")
        terminal.type("\x1b")
        terminal.wait_for("Everything you entered is on disk")
        terminal.type("\r")
        assert terminal.wait_end() == 0
    assert "To continue: benchflow teardown" in terminal.text
    assert verify(log).damage is None


def test_second_window_continues_when_the_first_has_left(tmp_path: Path) -> None:
    log = TeardownScript(tmp_path).begin().off("cover").path
    with teardown(log) as holder:
        holder.wait_for("WHAT COMES OFF")
        with teardown(log) as watcher:
            watcher.wait_for("VIEW ONLY", "in another window")
            holder.type("sump, 14x M6x1 16 mm\r")
            watcher.wait_for("sump")
            holder.signal(signal.SIGKILL)
            holder.wait_end()
            watcher.wait_for("Continue here with t")
            watcher.type("t")
            watcher.wait_for("You can log here now")
            watcher.type("oil pump\r")
            watcher.wait_for("Line 3 logged")
    assert [line.description.what for line in load_teardown(log).lines] == ["cover", "sump", "oil pump"]


def test_log_of_a_job_and_a_missing_name_are_refused(tmp_path: Path) -> None:
    other = tmp_path / "other.jsonl"
    other.write_text("no log\n")
    for name in (other, tmp_path / "none.jsonl"):
        with teardown(name) as terminal:
            assert terminal.wait_end() == 2
    assert other.read_text() == "no log\n"
