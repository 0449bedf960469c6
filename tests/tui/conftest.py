"""Each screen test has its own home folder and no colour settings from outside."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLORTERM", "truecolor")
    for name in ("NO_COLOR", "BENCHFLOW_LOOK"):
        monkeypatch.delenv(name, raising=False)
