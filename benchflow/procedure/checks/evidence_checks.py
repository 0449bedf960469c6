"""Checks of time windows that count from or until an entry, and of the names that `waive` and `found` use."""

from benchflow.procedure.identity import StepId
from benchflow.procedure.model import Operation, Procedure, Ref
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.shape_base import ReadContext


def check_timed_entries(procedure: Procedure, context: ReadContext) -> None:
    """Report a `from` that is no entry of the other operation, and an `until` that is no entry of its own operation."""
    by_id = procedure.operations_by_id
    for operation in procedure.operations:
        for window in operation.time:
            earlier = by_id.get(StepId.parse(window.operation.name).operation)
            if window.from_ is not None and earlier is not None:
                _check_entry(window.from_, earlier, context)
            if window.until is not None:
                _check_entry(window.until, operation, context)
                if window.high is None:
                    context.problem(
                        "until-without-limit",
                        window.until.mark,
                        "`until` judges the upper end of the time, but this time has no upper end",
                        "Write an upper end, such as `at most 10 min`, or delete `until`",
                    )


def _check_entry(ref: Ref, operation: Operation, context: ReadContext) -> None:
    entries = entry_names(operation)
    if ref.name not in entries and ref.name not in context.unreadable_names:
        context.problem(
            "unknown-name",
            ref.mark,
            f"`{operation.id}` has no recorded value and no check with the id `{ref.name}`",
            hint_for(ref.name, entries) if entries else "Give a check an id: `check: [{see: ..., id: seated}]`",
        )


def entry_names(operation: Operation) -> tuple[str, ...]:
    """The names of the recorded values of an operation, and the ids of its checks."""
    return (*(record.name for record in operation.record), *(point.id for point in operation.check if point.id))
