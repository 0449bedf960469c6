"""A job is found by its unit, as the list of jobs shows it."""

from datetime import date
from pathlib import Path

import pytest

from benchflow.commands.file_lookup import NotFound, find_log
from benchflow.session.catalog import new_log_path


@pytest.mark.parametrize("unit", ["WH 7", "job 2417", "2417/b", "Nr. 7 links"])
def test_log_is_found_by_the_unit_as_typed(tmp_path: Path, unit: str) -> None:
    log = new_log_path(tmp_path, "head", unit, date(2026, 3, 1))
    log.touch()
    new_log_path(tmp_path, "head", "another", date(2026, 3, 1)).touch()
    assert find_log(unit, tmp_path) == log


def test_unit_without_a_log_is_not_found(tmp_path: Path) -> None:
    new_log_path(tmp_path, "head", "WH 7", date(2026, 3, 1)).touch()
    with pytest.raises(NotFound):
        find_log("WH 8", tmp_path)
