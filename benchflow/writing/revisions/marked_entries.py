"""Finds changes from entries marked "change the procedure", and from the findings of come-backs."""

from collections.abc import Iterable, Iterator

from msgspec.structs import replace

from benchflow.base.plaintext import clean_line
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import Operation, Procedure
from benchflow.review.evidence.complaint_matching import failures_meant
from benchflow.review.log.facts import CauseFact
from benchflow.session.log.line_format import Line
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.writing.revisions.found_change import ChangeKind, FoundChange
from benchflow.writing.revisions.job_evidence import DoneJob, operation_of, shortened
from benchflow.writing.revisions.layout_edits import flow_text
from benchflow.writing.revisions.value_paths import limit_path

_KINDS: dict[str, ChangeKind] = {"noted": "note", "deviated": "deviation", "corrected": "correction"}


def marked_changes(jobs: Iterable[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """Each marked note, deviation and correction of the jobs."""
    for job in jobs:
        for line in job.lines_of(*_KINDS):
            if line.seq in job.log.marked_lines:
                yield _marked(job, line, procedure)


def _marked(job: DoneJob, line: Line, procedure: Procedure) -> FoundChange:
    kind = _KINDS[line.kind]
    operation = operation_of(str(line.data.get("operation") or ""))
    path: tuple[str | int, ...] = ()
    words = shortened(clean_line(str(line.data.get("text" if kind == "note" else "reason") or "")))
    title = "Marked note"
    if kind == "deviation":
        about = str(line.data.get("about") or "")
        title = f"Marked deviation from {clean_line(subject_text(about, lambda step: step))}"
        path = limit_path(procedure, operation, ValueRef.parse(about).name)
    elif kind == "correction":
        title = f"Marked correction of log line {line.data.get('event')}"
    evidence = job.evidence(line.seq, words)
    known = operation in procedure.operations_by_id
    gone = f" The procedure has no operation `{operation}` now." if operation and not known else ""
    why = f"{evidence.by} wrote: “{words}”.{gone}"
    return FoundChange(
        kind, operation if known else "", evidence.reference, title, why, (evidence,), path=path, value=words
    )


def come_back_changes(jobs: Iterable[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """The findings of come-backs, each at the step that should have prevented it."""
    for job in jobs:
        for cause in job.log.facts.causes:
            if cause.in_force:
                yield from _come_back(job, cause, procedure)


def _come_back(job: DoneJob, cause: CauseFact, procedure: Procedure) -> Iterator[FoundChange]:
    operation = procedure.operations_by_id.get(operation_of(cause.operation))
    finding, complaint = shortened(clean_line(cause.finding)), shortened(clean_line(cause.complaint))
    evidence = job.evidence(cause.seq, f"{complaint}: {finding}")
    title = f"Come-back: {complaint}"
    why = f"Found: {finding} ({cause.outcome})."
    if operation is None:
        words = f"{complaint}: {finding}"
        yield FoundChange("come-back", "", evidence.reference, title, why, (evidence,), value=words)
        return
    why += f" “{operation.title}” should have prevented it."
    yield _prevention(operation, cause.outcome, FoundChange(
        "come-back", operation.id, evidence.reference, title, why, (evidence,),
        value=f"Come-back: {complaint}. Found: {finding}",
    ), finding, complaint)  # fmt: skip
    meant = failures_meant(procedure.failures, cause.complaint)
    failure = meant[0].failure if meant else None
    if failure is not None and failure.id not in {ref.name for ref in operation.guards_against}:
        why += " It does not say that it guards against it."
        yield FoundChange(
            "come-back", operation.id, evidence.reference, title, why, (evidence,), "append", ("guards-against",),
            failure.id,
        )  # fmt: skip


def _prevention(operation: Operation, outcome: str, comment: FoundChange, finding: str, complaint: str) -> FoundChange:
    """A check of the step, or a notice if the use was the cause: in the customer's and the builder's words.

    A comment if the cause is unknown, or if the step has these words already.
    """
    words = f"{finding} (a job came back: {complaint})".replace("{", "(").replace("}", ")")
    known = [point.text for point in operation.check] + [caution.text for caution in operation.cautions]
    if outcome == "unknown" or any(finding.casefold() in text.casefold() for text in known):
        return comment
    if outcome == "use":
        value = flow_text((("notice", words),))
        return replace(comment, action="append", path=("cautions",), value=value, in_own_words=True)
    return replace(comment, action="append", path=("check",), value=f"Not found: {words}", in_own_words=True)
