"""Every shipped procedure can be carried out from start to finish on a real log, for every choice of options."""

from pathlib import Path

import pytest

from benchflow.procedure.expand import option_choices
from benchflow.procedure.identity import StepId
from benchflow.procedure.model import Operation
from benchflow.review.audit.audit_log import audit_log
from benchflow.session.log.line_format import read as read_log
from benchflow.session.log.log_check import verify
from benchflow.session.procedure_loading import load_procedure, procedure_reader
from tests.driving.shipped import LIBRARY, ShippedBuild
from tests.driving.troubled import TroubledBuild

EVERY_PROCEDURE = sorted(path.stem for path in LIBRARY.glob("*.yaml"))


def _findings_of(operation: Operation) -> list[tuple[str, str]]:
    """The findings that the operation is done for: name without a place, and answer."""
    return [(StepId.parse(name).operation, one) for name, answers in operation.findings.items() for one in answers]


def _named_findings(procedure: str) -> list[tuple[str, str]]:
    """Every finding that some operation of the shipped procedure is done for."""
    loaded = load_procedure(LIBRARY / f"{procedure}.yaml").procedure
    assert loaded is not None
    return sorted({found for operation in loaded.operations for found in _findings_of(operation)})


def assert_audited(log: Path) -> None:
    found = verify(log)
    assert found.damage is None
    assert [each.message for each in audit_log(read_log(log.read_bytes()).lines, procedure_reader()).wrong] == []


@pytest.mark.parametrize("procedure", EVERY_PROCEDURE)
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


@pytest.mark.parametrize("procedure", EVERY_PROCEDURE)
def test_shipped_procedure_can_be_finished_although_everything_goes_wrong_once(
    procedure: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each value with a remedy is out at first, each check with a remedy is answered no, each nut with one moves.

    All findings are bad ones.
    """
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path))
    build = TroubledBuild(tmp_path / "log.jsonl", procedure, found=dict(_named_findings(procedure)))
    build.open(options={option.name: option.choices[-1] for option in build.controller.procedure.options})
    build.work_through()
    build.do("close", by="R. Tiller")
    assert len(build.remedied) >= len(build.tried)
    assert_audited(tmp_path / "log.jsonl")


@pytest.mark.parametrize("procedure", EVERY_PROCEDURE)
def test_every_finding_of_a_shipped_procedure_is_followed_to_the_end(
    procedure: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path))
    for number, (name, answer) in enumerate(_named_findings(procedure)):
        log = tmp_path / f"{number}.jsonl"
        build = TroubledBuild(log, procedure, found={name: answer}, trouble=False)
        build.open()
        build.work_through()
        build.do("close", by="R. Tiller")
        operations = build.controller.procedure.operations
        called = {each.id for each in operations if (name, answer) in _findings_of(each)}
        assert called <= {StepId.parse(step).operation for step in build.state.done}, name
        assert_audited(log)
