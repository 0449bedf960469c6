"""A short run of every part of hard use. ``python -m tests.hard_use`` runs them for longer."""

from pathlib import Path

import pytest

from tests.hard_use.__main__ import PARTS, part_named


@pytest.mark.parametrize("name", PARTS)
def test_every_case_of_a_short_run_holds(name: str, tmp_path: Path) -> None:
    counts = part_named(name).run(1.5, 7, tmp_path)
    assert counts.notes == () or counts.tried == 0  # nothing is tried where a tool is missing
    assert counts.held == counts.tried
