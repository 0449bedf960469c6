"""Each screen test has its own home folder and no colour settings from outside."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLORTERM", "truecolor")
    for name in ("NO_COLOR", "BENCHFLOW_LOOK"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture(autouse=True)
def short_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look for the end of all work every 5 ms: Textual's pilot looks every 20 ms, several times for each key."""
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.005)
    monkeypatch.setattr("textual._wait.SLEEP_IDLE", 0.0005)
