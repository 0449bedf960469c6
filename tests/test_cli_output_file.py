"""Output files of commands: a wrong name or a full disk never destroys a file."""

import errno
import os
import resource
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchflow.base.errors import BenchflowError
from benchflow.cli import benchflow, main
from benchflow.commands.output_file import write_output
from tests.driving.small_head import start_session


@pytest.fixture
def log(tmp_path: Path) -> Path:
    driver = start_session(tmp_path)
    driver.controller.close()
    return driver.controller.journal.path


def test_output_never_replaces_a_log(log: Path) -> None:
    before = log.read_bytes()
    for name in (log, log.parent / "." / log.name):
        with pytest.raises(BenchflowError, match="the log of a job"):
            write_output("<html>", name)
    assert log.read_bytes() == before


def test_output_never_replaces_a_log_through_a_link(log: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.html"
    link.symlink_to(log)
    with pytest.raises(BenchflowError, match="the log of a job"):
        write_output("<html>", link)
    assert log.read_bytes().startswith(b'{"at":')


def test_draft_with_force_replaces_a_procedure_but_never_a_log_or_a_shop_file(log: Path, tmp_path: Path) -> None:
    steps, shop, old = tmp_path / "steps.md", tmp_path / "shop.yaml", tmp_path / "old.yaml"
    steps.write_text("1. Fit the pump\n")
    shop.write_text("shop: 1\n")
    old.write_text("benchflow: 1\nid: old\n")
    before = log.read_bytes()
    for kept, kind in ((log, "the log of a job"), (shop, "a shop file")):
        done = CliRunner().invoke(benchflow, ["draft", str(steps), "-o", str(kept), "--force", "--no-questions"])
        assert f"is {kind} and is not overwritten" in str(done.exception)
    assert (log.read_bytes(), shop.read_text()) == (before, "shop: 1\n")
    CliRunner().invoke(benchflow, ["draft", str(steps), "-o", str(old), "--force", "--no-questions"])
    assert "Fit the pump" in old.read_text()


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("benchflow: 1\nid: a\n", "a procedure"),
        ("shop: 1\n", "a shop file"),
        ("benchflow-block: 1\nid: a\n", "a block"),
    ],
)
def test_output_never_replaces_a_procedure_or_shop_file(tmp_path: Path, text: str, kind: str) -> None:
    written = tmp_path / "mine.yaml"
    written.write_text(text)
    with pytest.raises(BenchflowError, match=kind):
        write_output("<svg/>", written)
    assert written.read_text() == text


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a disk that is always full")
def test_unwritable_file_is_refused_with_advice(tmp_path: Path) -> None:
    with pytest.raises(BenchflowError, match="Choose another file"):
        write_output("x", Path("/dev/full"))
    with pytest.raises(BenchflowError, match="Choose another file"):
        write_output("x", tmp_path)
    with pytest.raises(BenchflowError, match="Choose another file"):
        write_output("x", tmp_path / "no" / "such" / "folder.html")


def test_old_file_stays_until_the_new_one_is_complete(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.html"
    write_output("the old one", sheet)
    sheet.chmod(0o640)

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, hard))  # like a full disk: the write stops half way
    try:
        with pytest.raises(BenchflowError, match="cannot be written"):
            write_output("half of a new one " * 1000, sheet)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert sheet.read_text() == "the old one"
    write_output("the new one", sheet)
    assert sheet.read_text() == "the new one"
    assert sheet.stat().st_mode & 0o777 == 0o640
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.html"]


def test_output_never_replaces_a_damaged_log(log: Path) -> None:
    whole = log.read_bytes()
    for content in (b"x" + whole[5:], b" " + whole, whole.replace(b'","', b'", "'), whole.replace(b"\n", b"\r\n")):
        log.write_bytes(content)
        with pytest.raises(BenchflowError, match="the log of a job"):
            write_output("<html>", log)
        assert log.read_bytes() == content


def test_output_never_replaces_a_database(tmp_path: Path) -> None:
    path = tmp_path / "archive.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("create table jobs (unit)")
        connection.commit()
    before = path.read_bytes()
    with pytest.raises(BenchflowError, match="is a database"):
        write_output("<html>", path)
    assert path.read_bytes() == before


def test_written_file_that_the_disk_does_not_confirm_is_not_called_unwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(fd: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    sheet = tmp_path / "sheet.html"
    sheet.write_text("the old one")
    monkeypatch.setattr(os, "fsync", fail)  # the folder; the file itself is synced by fdatasync
    with pytest.raises(BenchflowError, match="was written, but the disk did not confirm it") as told:
        write_output("the new one", sheet)
    assert "cannot be written" not in str(told.value)
    assert sheet.read_text() == "the new one"


def test_sheet_is_not_written_over_another_page_beside_the_log(log: Path, capfd: pytest.CaptureFixture[str]) -> None:
    page = log.with_suffix(".html")
    page.write_text("<h1>My own page</h1>")
    for expected in (2, 0, 0):
        with pytest.raises(SystemExit) as ended:
            main(["sheet", str(log)])
        assert ended.value.code == expected
        if expected:
            assert "is not a build sheet" in capfd.readouterr().err
            assert page.read_text() == "<h1>My own page</h1>"
            page.unlink()
    assert "Build sheet: " in page.read_text()
