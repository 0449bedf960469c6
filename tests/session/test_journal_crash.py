"""The journal after a kill, on a full or read-only disk, and with two programs."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from benchflow.session.log import lock
from benchflow.session.log.journal import Journal, LogUnusable
from benchflow.session.log.log_check import verify
from tests.driving.log_files import note_draft, write_log

ROOT = Path(__file__).parents[2]

APPEND_FOR_EVER = """
import sys
from pathlib import Path
from benchflow.session.log.journal import Journal
from tests.driving.log_files import note_draft
path = Path(sys.argv[1])
journal = Journal.open(path) if path.exists() else Journal.create(path)
while True:
    for line in journal.append([note_draft(len(journal.lines)), note_draft(len(journal.lines) + 1)]):
        print(line.seq, line.hash, flush=True)
"""

FILL_UP = """
import sys
from pathlib import Path
from benchflow.session.log.journal import Journal, NotSaved
from tests.driving.log_files import note_draft
{limit}
journal = Journal.create(Path(sys.argv[1]))
try:
    for number in range(100_000):
        journal.append([note_draft(number)])
except NotSaved as wrong:
    print(len(journal.lines), journal.head, wrong)
"""


def start_script(script: str, *arguments: object, wrap: tuple[str, ...] = ()) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*wrap, sys.executable, "-c", script, *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def output_of(child: subprocess.Popen[str]) -> str:
    """Wait for ``child`` to end without an error. Returns its output."""
    output, _ = child.communicate(timeout=60)
    assert child.returncode == 0
    return output


def run_on_a_small_disk(size: str, script: str, folder: Path) -> str:
    """Run ``script`` with a small private file system mounted at ``folder``. Returns its output."""
    mount = f'mount -t tmpfs -o size={size} none "$0" && exec "$@"'
    wrap = ("unshare", "--map-root-user", "--mount", "sh", "-c", mount, str(folder))
    try:
        probe = subprocess.run([*wrap, "true"], capture_output=True, timeout=30, check=False)
    except FileNotFoundError:
        pytest.skip("the command unshare is missing")
    if probe.returncode:
        pytest.skip("file systems cannot be mounted on this machine")
    return output_of(start_script(script, folder / "log.jsonl", wrap=wrap))


def test_events_confirmed_before_a_kill_are_in_the_log(tmp_path: Path) -> None:
    path = tmp_path / "log.jsonl"
    confirmed: list[tuple[int, str]] = []
    for lines_to_wait_for in (1, 7, 40):
        child = start_script(APPEND_FOR_EVER, path)
        assert child.stdout is not None
        seen = [child.stdout.readline() for _ in range(lines_to_wait_for)]
        child.send_signal(signal.SIGKILL)
        seen += child.stdout.readlines()
        child.wait(timeout=30)
        child.stdout.close()
        for text in seen:
            if text.endswith("\n"):
                seq, digest = text.split()
                confirmed.append((int(seq), digest))
        with Journal.open(path) as journal:
            assert (journal.read_only, journal.damage) == ("", None)
            by_seq = {line.seq: line.hash for line in journal.lines}
        assert all(by_seq.get(seq) == digest for seq, digest in confirmed)
    assert len(confirmed) >= 48


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on a file's size there")
def test_log_at_its_size_limit_ends_with_a_complete_event(tmp_path: Path) -> None:
    limit = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (5000, 5000))"
    output = output_of(start_script(FILL_UP.format(limit=limit), tmp_path / "log.jsonl"))
    events, head, words = output.split(maxsplit=2)
    found = verify(tmp_path / "log.jsonl")
    assert (found.events, found.head, found.torn, found.damage) == (int(events), head, False, None)
    assert int(events) > 5
    assert "is full" in words


@pytest.mark.skipif(sys.platform != "linux", reason="needs a private file system")
def test_really_full_disk_is_reported_and_keeps_confirmed_events(tmp_path: Path) -> None:
    script = (
        FILL_UP.format(limit="")
        + """
from benchflow.session.log.log_check import verify
found = verify(Path(sys.argv[1]))
print((found.events, found.head, found.torn, found.damage) == (len(journal.lines), journal.head, False, None))
Path(sys.argv[1]).with_name("other").mkdir()
"""
    )
    output = run_on_a_small_disk("64k", script, tmp_path)
    assert "is full" in output
    assert output.rstrip().endswith("True")


@pytest.mark.skipif(sys.platform != "linux", reason="needs a private file system")
def test_log_on_a_read_only_disk_can_be_viewed(tmp_path: Path) -> None:
    script = """
import subprocess, sys
from pathlib import Path
from benchflow.session.log.journal import Journal, LogUnusable
from tests.driving.log_files import write_log
path = Path(sys.argv[1])
write_log(path, 2)
subprocess.run(["mount", "-o", "remount,ro", path.parent], check=True)
journal = Journal.open(path)
print(len(journal.lines), journal.read_only)
try:
    Journal.create(path.with_name("new.jsonl"))
except LogUnusable as wrong:
    print(wrong)
"""
    output = run_on_a_small_disk("64k", script, tmp_path)
    assert "2 the log cannot be written (read-only file system)" in output
    assert "No log can be made in" in output


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write everywhere")
def test_folder_without_write_permission_is_reported(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(LogUnusable, match="permission denied"):
            Journal.create(tmp_path / "log.jsonl")
    finally:
        tmp_path.chmod(0o700)


def test_log_can_be_written_after_its_writer_was_killed(tmp_path: Path) -> None:
    path = tmp_path / "log.jsonl"
    child = start_script(APPEND_FOR_EVER, path)
    assert child.stdout is not None
    child.stdout.readline()
    watching = Journal.open(path)
    holder = lock.current_holder(path)
    assert holder is not None
    assert holder.pid == child.pid
    assert "open in another window since " in watching.read_only

    child.kill()
    child.stdout.read()
    child.wait(timeout=30)
    child.stdout.close()
    assert lock.current_holder(path) is None, "the note that the killed one left must not count"
    watching.reread()
    assert watching.damage is None
    with Journal.open(path) as journal:
        assert not journal.read_only
        assert journal.lines[: len(watching.lines)] == watching.lines
        journal.append([note_draft(0)])


def test_query_for_the_holder_does_not_lock_the_log(tmp_path: Path) -> None:
    path = tmp_path / "log.jsonl"
    write_log(path, 1)
    path.with_name("log.jsonl.held").write_text(json.dumps({"pid": 1, "user": "somebody", "host": "bench"}))
    assert lock.current_holder(path) is None
    with Journal.open(path) as journal:
        assert not journal.read_only
        assert lock.current_holder(path) is not None
