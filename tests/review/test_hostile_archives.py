"""An archive that is locked, foreign, unreadable or half written: a message, no traceback, and no long silence."""

import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.driving.command_server import ROOT
from tests.driving.hostile_folder import run_by_modes
from tests.driving.small_head import start_session


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with one log and an archive of it."""
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.controller.close()
    code, _, errors = run_by_modes(tmp_path, "archive", "build.jsonl", "--to", "archive.sqlite")
    assert (code, errors) == (0, "")
    return tmp_path


@pytest.mark.parametrize("mode", ["IMMEDIATE", "EXCLUSIVE"])
def test_locked_archive_is_told_early_and_given_up_after_ten_seconds(place: Path, mode: str) -> None:
    holder = sqlite3.connect(place / "archive.sqlite", isolation_level=None)
    if mode == "EXCLUSIVE":
        holder.execute("PRAGMA journal_mode=DELETE")
    holder.execute(f"BEGIN {mode}")
    environ = {**os.environ, "BENCHFLOW_HOME": str(place / "home"), "PYTHONPATH": str(ROOT)}
    (place / "build.jsonl").rename(place / "moved.jsonl")
    command = [sys.executable, "-m", "benchflow", "archive", "moved.jsonl", "--to", "archive.sqlite"]
    start = time.monotonic()
    with subprocess.Popen(command, cwd=place, env=environ, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        told = process.stderr.readline()
        assert "has the archive" in told
        assert process.poll() is None, "it is told before the command gives up"
        if mode == "EXCLUSIVE":  # giving up is tried once, because it takes ten seconds
            process.kill()
            return
        told_at = time.monotonic()
        rest = process.stderr.read()
        assert process.wait(30) == 2
    assert time.monotonic() - told_at > 4, "it is told after one second"
    assert 8 < time.monotonic() - start < 60  # ten seconds, and the start of the program on a busy machine
    assert "10 seconds at the most" in told
    assert "Traceback" not in rest
    assert "try again later" in rest
    holder.close()


def put_foreign(archive: Path) -> None:
    archive.write_bytes(b"this is no database" * 1000)


def put_half(archive: Path) -> None:
    archive.write_bytes(archive.read_bytes()[: archive.stat().st_size // 2])


def put_changed(archive: Path) -> None:
    content = bytearray(archive.read_bytes())
    content[4096:12288] = b"\xff" * 8192
    archive.write_bytes(content)


def put_closed(archive: Path) -> None:
    archive.chmod(0)


def put_folder(archive: Path) -> None:
    archive.unlink()
    archive.mkdir()


def put_pipe(archive: Path) -> None:
    archive.unlink()
    os.mkfifo(archive)


def put_other_tables(archive: Path) -> None:
    archive.unlink()
    with sqlite3.connect(archive) as other:
        other.execute("CREATE TABLE wages (name, amount)")


@pytest.mark.parametrize(
    "put", [put_foreign, put_half, put_changed, put_closed, put_folder, put_pipe, put_other_tables]
)
def test_archive_that_cannot_be_used_gives_a_message(place: Path, put: object) -> None:
    assert callable(put)
    for name in ("archive.sqlite-wal", "archive.sqlite-shm"):
        (place / name).unlink(missing_ok=True)
    put(place / "archive.sqlite")
    for call in (
        ["archive", "build.jsonl", "--to", "archive.sqlite"],
        ["archive", "build.jsonl", "--to", "archive.sqlite", "--rebuild"],
        ["trace", "--person", "Robin", "--archive", "archive.sqlite"],
        ["trend", "lash", "--archive", "archive.sqlite"],
    ):
        code, _, errors = run_by_modes(place, *call, seconds=30)
        assert "Traceback" not in errors, (call, errors)
        assert code in (0, 2), (call, errors)
        if "--rebuild" not in call and put is not put_changed:
            assert code == 2, call
            assert errors.startswith("benchflow: ")
