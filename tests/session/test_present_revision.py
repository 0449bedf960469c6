"""The note that the procedure file has another revision than an open job. The procedure is invented."""

from pathlib import Path

import pytest

from benchflow.session.machine_folders import machine_folders
from benchflow.tui.model.job_catalog import JobCatalog
from tests.driving.clocked_job import ClockedJob

TEXT = """\
benchflow: 1
id: small
title: Small
revision: A   # the first
sections: [{title: All, operations: [{id: wash, title: Wash}]}]
"""


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    job = ClockedJob(tmp_path, TEXT)  # its file is p.yaml
    job.driver.controller.close()
    return job.path


def notes(log: Path) -> tuple[str, ...]:
    controller = JobCatalog(machine_folders(), None).resume(log)
    controller.close()
    return controller.block_notes


@pytest.mark.parametrize("line", ["revision: C   # the third", "revision: 'C'", 'revision:   "C"\r'])
def test_open_job_says_that_the_procedure_file_has_another_revision(log: Path, tmp_path: Path, line: str) -> None:
    (tmp_path / "p.yaml").write_text(TEXT.replace("revision: A   # the first", line), encoding="utf-8")
    assert notes(log) == ("The procedure file is now revision C. This job keeps revision A.",)


def test_open_job_says_nothing_without_another_revision_of_its_procedure(log: Path, tmp_path: Path) -> None:
    assert notes(log) == ()
    file = tmp_path / "p.yaml"
    for text in (TEXT, TEXT.replace("id: small", "id: other").replace(": A", ": C"), "\0", ""):
        file.write_text(text, encoding="utf-8")
        assert notes(log) == ()
    file.unlink()
    file.mkdir()
    assert notes(log) == ()
