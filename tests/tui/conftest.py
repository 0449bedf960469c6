"""Every test of the screens has a home of its own, and no wish for colour or none from outside."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLORTERM", "truecolor")
    for name in ("NO_COLOR", "BENCHFLOW_LOOK"):
        monkeypatch.delenv(name, raising=False)
