"""Output files of commands: a wrong name or a full disk never destroys a file."""

import resource
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
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


@pytest.mark.parametrize(("text", "kind"), [("benchflow: 1\nid: a\n", "a procedure"), ("shop: 1\n", "a shop file")])
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
