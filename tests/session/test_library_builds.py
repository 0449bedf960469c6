"""Every shipped procedure can be carried out from start to finish on a real log, for every choice of options."""

from pathlib import Path

import pytest

from benchflow.procedure.expand import option_choices
from benchflow.session.log.journal import verify
from tests.driving.shipped import LIBRARY, ShippedBuild


@pytest.mark.parametrize("procedure", sorted(path.stem for path in LIBRARY.glob("*.yaml")))
def test_shipped_procedure_can_be_finished_with_every_choice_of_options(
    procedure: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path))
    first = ShippedBuild(tmp_path / "none.jsonl", procedure)
    for number, options in enumerate(option_choices(first.controller.procedure)):
        log = tmp_path / f"{number}.jsonl"
        build = ShippedBuild(log, procedure, pace=1)
        build.open(options=options)
        build.work_through()
        build.do("close", by="R. Tiller")
        found = verify(log)
        assert found.damage is None
        assert found.events == build.controller.saved
