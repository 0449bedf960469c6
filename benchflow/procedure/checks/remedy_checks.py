"""Checks of what a remedy leaves in the operation that it is written in."""

from collections.abc import Iterator

from benchflow.procedure.identity import StepId
from benchflow.procedure.model import Operation, Procedure, Remedy, values_of
from benchflow.procedure.shapes.shape_base import ReadContext


def check_kept_ticks(procedure: Procedure, context: ReadContext) -> None:
    """Warn of remedies that redo an earlier operation, while the fasteners of their own operation stay ticked."""
    for operation in procedure.operations:
        tighten = operation.tighten
        for remedy in () if tighten is None else _remedies(operation):
            redone = [procedure.operations_by_id.get(StepId.parse(ref.name).operation) for ref in remedy.redo]
            earlier = [one for one in redone if one is not None and not one.if_needed]
            if tighten is None or not earlier or operation in earlier:
                continue
            context.problem(
                "kept-ticks",
                remedy.redo[0].mark,
                f"This remedy redoes `{earlier[0].id}`, but the fasteners of `{tighten.joint}` stay ticked in "
                f"`{operation.id}`",
                f"If the joint comes apart for it, write `{operation.id}` in `redo` too",
                "warning",
            )


def _remedies(operation: Operation) -> Iterator[Remedy]:
    """The remedies of the values and checks of an operation. Those of a stage clear the ticks of the joint."""
    for value in values_of(operation):
        yield from (*value.below, *value.above)
    for point in operation.check:
        yield from point.if_not
