"""Reports names that nothing uses, and turns problems into the findings of `benchflow check --json`."""

from collections.abc import Iterable, Iterator
from typing import Any

from benchflow.procedure.checks.source_checks import note_missing_sources
from benchflow.procedure.figures_to_fill import figures_to_fill, to_fill_problems
from benchflow.procedure.model import Mark, Procedure, instruments_of, remedies_of
from benchflow.procedure.problems import Problem
from benchflow.procedure.procedure_figures import documents_used
from benchflow.procedure.variants import every_variant, single_builds, varied_options

Finding = dict[str, Any]
"""A JSON object with ``code``, ``severity``, ``where``, ``line``, ``column`` and ``message``."""


def as_finding(problem: Problem) -> Finding:
    """A problem as a finding. Its message contains the hint. It has ``block`` only if it is about a block."""
    return {
        "code": problem.code,
        "severity": problem.severity,
        "where": problem.where,
        "line": problem.line,
        "column": problem.column,
        "message": problem.text,
        **({"block": problem.block} if problem.block else {}),
    }


def check_structure(procedure: Procedure | None, problems: Iterable[Problem], file: str) -> list[Problem]:
    """The problems of the reader, limits that nothing can satisfy, and unused names, in the order of the file."""
    found = list(problems)
    if procedure is not None:
        from benchflow.procedure.checks.attainable_limits import check_attainable_limits  # late: it reads formulas
        from benchflow.procedure.checks.needless_remedies import (
            note_complaints_without_evidence,
            note_needless_remedies,
        )

        limits = (problem for build, _ in single_builds(procedure) for problem in check_attainable_limits(build, file))
        found += dict.fromkeys(limits)
        found += note_needless_remedies((build for build, _ in single_builds(procedure)), file)
        found += note_complaints_without_evidence(procedure, file)
        found += _unused_names(procedure, file)
        found += _no_rule(procedure, file)
        found += to_fill_problems(procedure, file)
        found += note_missing_sources(procedure, file)
    return sorted(found, key=lambda problem: (problem.line, problem.column))


def _no_rule(procedure: Procedure, file: str) -> Iterator[Problem]:
    """A note if the procedure has no interference rule: then the proof of the order covers no collision."""
    if not procedure.interference:
        message = "No collision rule: collisions are not proven"
        hint = "Write under `interference` what must never be together"
        yield Problem("no-rule", "note", file, 0, 0, message, hint, "")


def _unused_names(procedure: Procedure, file: str) -> Iterator[Problem]:
    """A note for each name that is defined but not used."""
    operations = tuple(every_variant(procedure))
    used = {ref.name for op in operations for ref in op.uses}
    used |= {ref.name for op in operations for remedy in remedies_of(op) for ref in remedy.uses}
    used |= {ref.name for op in operations if op.undo for ref in op.undo.discard}
    used |= {name for op in operations for record in op.record for name in instruments_of(record)}
    used |= {op.tighten.instrument for op in operations if op.tighten and op.tighten.instrument}
    used |= {match.measured for op in operations for match in op.match}
    conditions = {name for op in operations for name in op.when} | {
        name for move in procedure.moves for name in move.when
    }
    conditions |= {name for op in operations for record in op.record for name in record.used_when}
    conditions |= varied_options(procedure) | {item.supplier_option for item in procedure.kit}
    guarded = {ref.name for op in operations for ref in op.guards_against}
    named = documents_used(procedure)
    if figures_to_fill(procedure):  # the bench offers every document as the source of these
        named = {one.id for one in procedure.documents}
    joined = {op.tighten.joint for op in operations if op.tighten}
    defined: list[tuple[str, Mark, set[str], str]] = [
        *((item.id, item.mark, used, f"No operation uses the {item.kind}") for item in procedure.kit),
        *((need.id, need.mark, used, "No operation uses the instrument") for need in procedure.instruments),
        *((option.name, option.mark, conditions, "No `when` or `by` uses the option") for option in procedure.options),
        *((fail.id, fail.mark, guarded, "No operation guards against the complaint") for fail in procedure.failures),
        *((one.id, one.mark, named, "No `source` names the document") for one in procedure.documents),
        *((joint.id, joint.mark, joined, "No operation tightens the joint") for joint in procedure.joints),
    ]
    for name, mark, names, message in defined:
        if name not in names:
            yield Problem(
                "unused",
                "note",
                file,
                mark.line,
                mark.column,
                f"{message} `{name}`",
                "Use it, or delete it",
                name,
            )
