"""`benchflow check --watch`: a real process, and saves as editors make them. All figures are invented."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from queue import Queue
from threading import Thread

import pytest

from benchflow.writing.checking.finding_changes import finding_changes
from benchflow.writing.checking.settled_files import SettledFiles

PATIENCE = 60
"""Seconds after which a line that was expected counts as missing."""

GOOD = """\
benchflow: 1
id: watched
title: Watched
source: Figures invented for the tests
state: {rod: {values: [out, in], start: out}, lid: {values: [off, on], start: off}}
interference: [{never: {rod: out, lid: on}, because: the lid would bend the rod}]
sections:
- title: All
  operations:
  - id: rod
    title: Fit the rod
    sets: {rod: in}
    record: {gap: {unit: mm, limit: 0.1 .. 0.2 mm}}
  - {id: lid, title: Fit the lid, after: [rod], sets: {lid: on}}
"""
BAD = GOOD.replace("limit:", "limti:")
UNSAFE = GOOD.replace(", after: [rod]", "")
BLOCK = """\
benchflow-block: 1
id: lid-on
title: Lid
operations:
- {id: lid, title: Fit it, after: [rod], sets: {lid: on}}
"""
COMMENT = "# a line more\n"


class Watching:
    """A running `check --watch`, whose output is read line by line."""

    def __init__(self, file: Path, *options: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "benchflow", "check", "--watch", *options, str(file)],
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, encoding="utf-8", cwd=file.parent,
        )  # fmt: skip
        self._lines: Queue[str | None] = Queue()
        Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line.rstrip("\n"))
        self._lines.put(None)

    def until(self, words: str) -> list[str]:
        """The lines up to the first one with these words."""
        found: list[str] = []
        while True:
            line = self._lines.get(timeout=PATIENCE)
            assert line is not None, f"ended before {words!r}: {found}"
            found.append(line)
            if words in line:
                return found

    def checked(self) -> str:
        """The lines of one whole check, of a procedure without an error."""
        return "\n".join(self.until("First at the bench"))

    def end(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(timeout=PATIENCE)


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))
    path = tmp_path / "watched.yaml"
    path.write_text(GOOD, encoding="utf-8")
    return path


@pytest.fixture
def watching(file: Path) -> Iterator[Watching]:
    started = Watching(file)
    started.until("Watching watched.yaml")
    yield started
    started.process.kill()
    started.process.wait(timeout=PATIENCE)


def renamed_over(file: Path, text: str) -> None:
    """Save as an editor that writes a new file and renames it over the old one."""
    new = file.with_suffix(".new")
    new.write_text(text, encoding="utf-8")
    os.replace(new, file)


def removed_and_written(file: Path, text: str) -> None:
    file.unlink()
    file.write_text(text, encoding="utf-8")


def written_in_parts(file: Path, text: str) -> None:
    with file.open("w", encoding="utf-8") as out:
        for start in range(0, len(text), 97):
            out.write(text[start : start + 97])
            out.flush()
            os.fsync(out.fileno())


@pytest.mark.parametrize("save", [renamed_over, removed_and_written, written_in_parts])
def test_save_shows_what_is_new_and_then_what_is_mended(watching: Watching, file: Path, save: object) -> None:
    assert callable(save)
    save(file, BAD)
    broken = "\n".join(watching.until("The order was not checked"))
    assert "new: watched.yaml:13:30: error: A recorded value has no key `limti`." in broken
    assert "mended" not in broken
    save(file, GOOD)
    good = watching.checked()
    assert "mended: error in rod.record.gap.limti: A recorded value has no key `limti` [unknown-key]" in good
    assert "new:" not in good
    assert watching.end() == 0


def test_half_written_file_is_read_again_before_anything_is_said(watching: Watching, file: Path) -> None:
    with file.open("w", encoding="utf-8") as out:
        out.write(COMMENT + GOOD[:120])
        out.flush()
        out.write(GOOD[120:])
    found = watching.checked()
    assert "new:" not in found
    assert "mended:" not in found


def test_inserted_line_makes_no_finding_new(watching: Watching, file: Path) -> None:
    file.write_text(BAD, encoding="utf-8")
    watching.until("The order was not checked")
    file.write_text(COMMENT + BAD, encoding="utf-8")
    found = "\n".join(watching.until("The order was not checked"))
    assert "new:" not in found
    assert "remain: 1 error" in found
    assert watching.end() == 1


def test_proof_of_each_save_is_compared_with_the_last(watching: Watching, file: Path) -> None:
    file.write_text(UNSAFE, encoding="utf-8")
    found = "\n".join(watching.until("First at the bench"))
    assert "new: watched.yaml:14:" in found
    assert "leaves lid on when it is done" in found
    assert "1 Fit the rod" in found
    file.write_text(BAD, encoding="utf-8")
    assert "mended" not in "\n".join(watching.until("The order was not checked"))
    file.write_text(GOOD, encoding="utf-8")
    assert "mended: warning in lid: “Fit the lid” leaves lid on" in watching.checked()


def test_file_may_vanish_and_come_back(watching: Watching, file: Path) -> None:
    file.unlink()
    watching.until("Waiting for it to come back")
    file.write_text(GOOD, encoding="utf-8")
    assert "sound" in watching.checked()
    assert watching.end() == 0


def test_block_that_the_file_uses_is_watched_too(tmp_path: Path, file: Path) -> None:
    block = tmp_path / "blocks" / "lid-on.yaml"
    block.parent.mkdir()
    text = BLOCK
    block.write_text(text, encoding="utf-8")
    lines = GOOD.splitlines()[:-1]
    file.write_text("\n".join([*lines, "  - {use: lid-on}\n"]), encoding="utf-8")
    started = Watching(file)
    started.until("Watching watched.yaml and 1 block file")
    block.write_text(text.replace("title: Fit it", "titel: Fit it"), encoding="utf-8")
    found = "\n".join(started.until("The order was not checked"))
    assert "`titel`" in found
    assert "lid-on.yaml:5" in found
    assert "  blocks/lid-on.yaml saved\n" in found
    assert "watched.yaml saved" not in found
    block.write_text(text, encoding="utf-8")
    assert "mended: " in started.checked()
    assert started.end() == 0


def test_json_has_one_object_for_each_check(file: Path) -> None:
    started = Watching(file, "--json")
    first = json.loads(started.until("{")[-1])
    assert (first["ok"], first["new"], first["first"]["ready"]) == (True, [], ["1 Fit the rod"])
    file.write_text(BAD, encoding="utf-8")
    second = json.loads(started.until("{")[-1])
    assert (first["saved"], second["saved"]) == ([], ["watched.yaml"])
    assert [finding["code"] for finding in second["new"]] == ["unknown-key"]
    assert started.end() == 1


def test_only_one_file_can_be_watched(file: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchflow", "check", "--watch", str(file), str(file)], capture_output=True, check=False
    )
    assert done.returncode == 2
    assert b"Name one file" in done.stderr


# --- the parts --------------------------------------------------------------------------------------


def finding(code: str, where: str, message: str = "", line: int = 1) -> dict[str, object]:
    return {"code": code, "severity": "error", "where": where, "line": line, "column": 1, "message": message}


def test_findings_are_paired_by_code_and_place_not_by_line() -> None:
    before = [finding("a", "x", "one", 1), finding("a", "x", "two", 2), finding("b", "y", "gone", 3)]
    after = [finding("a", "x", "two", 9), finding("a", "x", "three", 10), finding("c", "y", "new", 11)]
    changes = finding_changes(before, after)
    assert [one["message"] for one in changes.remaining] == ["two"]
    assert [one["message"] for one in changes.reworded] == ["three"]
    assert [one["message"] for one in changes.new] == ["new"]
    assert [one["message"] for one in changes.mended] == ["gone"]


def test_note_is_not_mended_by_an_error_that_hides_it() -> None:
    note = finding("n", "x", "noted") | {"severity": "note"}
    error = finding("e", "y", "wrong")
    changes = finding_changes([note, error], [finding("f", "z", "other")])
    assert (changes.mended, changes.unseen) == ((error,), (note,))
    changes = finding_changes([note, error], [finding("bad-yaml", "", "broken")])
    assert (changes.mended, changes.unseen) == ((), (note, error))


def test_save_is_over_when_no_file_has_changed_for_a_while(tmp_path: Path) -> None:
    path, now = tmp_path / "a", [0.0]
    writes = iter(["one", "one two", "one two three"])

    def sleep(seconds: float) -> None:
        now[0] += seconds
        text = next(writes, None)
        if text is not None:
            path.write_text(text, encoding="utf-8")

    files = SettledFiles(path, lambda: now[0], sleep)
    files.wait_for_save()
    assert path.read_text("utf-8") == "one two three"
    assert not files.changed
