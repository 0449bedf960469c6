"""Where commands write to: a slip of the hand or a full disk loses nothing."""

import resource
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.commands.writing import put
from tests.driving.small_head import start_session


@pytest.fixture
def log(tmp_path: Path) -> Path:
    driver = start_session(tmp_path)
    driver.controller.close()
    return driver.controller.journal.path


def test_a_sheet_named_like_its_log_does_not_destroy_the_log(log: Path) -> None:
    before = log.read_bytes()
    for name in (log, log.parent / "." / log.name):
        with pytest.raises(BenchflowError, match="session's log"):
            put("<html>", name)
    assert log.read_bytes() == before


def test_a_link_to_a_log_is_the_log(log: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.html"
    link.symlink_to(log)
    with pytest.raises(BenchflowError, match="session's log"):
        put("<html>", link)
    assert log.read_bytes().startswith(b'{"at":')


@pytest.mark.parametrize(("text", "what"), [("benchflow: 1\nid: a\n", "a procedure"), ("shop: 1\n", "a shop file")])
def test_a_picture_named_like_what_a_person_wrote_does_not_destroy_it(tmp_path: Path, text: str, what: str) -> None:
    written = tmp_path / "mine.yaml"
    written.write_text(text)
    with pytest.raises(BenchflowError, match=what):
        put("<svg/>", written)
    assert written.read_text() == text


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a disk that is always full")
def test_a_file_that_cannot_be_written_is_said_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(BenchflowError, match="Choose another file"):
        put("x", Path("/dev/full"))
    with pytest.raises(BenchflowError, match="Choose another file"):
        put("x", tmp_path)
    with pytest.raises(BenchflowError, match="Choose another file"):
        put("x", tmp_path / "no" / "such" / "folder.html")


def test_an_old_sheet_stays_whole_until_the_new_one_is(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.html"
    put("the old one", sheet)
    sheet.chmod(0o640)

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, hard))  # as a full disk: the write ends half way
    try:
        with pytest.raises(BenchflowError, match="cannot be written"):
            put("half of a new one " * 1000, sheet)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert sheet.read_text() == "the old one"
    put("the new one", sheet)
    assert sheet.read_text() == "the new one"
    assert sheet.stat().st_mode & 0o777 == 0o640
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.html"]
