"""The evidence of an operation: what proves its state variables, and who can waive it."""

from collections.abc import Iterator
from typing import NamedTuple

from benchflow.procedure.model import Operation, Procedure, Ref, values_of

ANYONE, NEVER = "anyone", "never"
"""The values of `waive` and `found` that are not the name of a role."""


class WaivableEvidence(NamedTuple):
    """One piece of evidence that a deviation can waive: a value with a limit, a check with an id, or a time window.

    ``waive`` is the rule in force: ``anyone``, ``never`` or a role; ``chosen`` is true if it is written on the evidence
    itself. ``proves`` are the variables that are not known if it is waived.
    """

    name: str
    waive: str
    chosen: bool
    proves: tuple[Ref, ...]


def waive_in_force(procedure: Procedure, operation: Operation, own: str) -> str:
    """The `waive` that counts: ``own``, else that of the operation, else that of the procedure, else ``anyone``."""
    return own or operation.waive or procedure.waive or ANYONE


def evidence_of(procedure: Procedure, operation: Operation) -> Iterator[WaivableEvidence]:
    """The values with a limit and the waiting times of an operation, and everything that proves a state variable."""
    for value in values_of(operation):
        if value.bound is not None or value.proves:
            rule = waive_in_force(procedure, operation, value.waive)
            yield WaivableEvidence(f"`{value.name}`", rule, bool(value.waive), value.proves)
    for point in operation.check:
        if point.proves:
            name = f"`{point.id}`" if point.id else f"the check “{point.text}”"
            yield WaivableEvidence(
                name, waive_in_force(procedure, operation, point.waive), bool(point.waive), point.proves
            )
    for window in operation.time:
        if window.low is not None or window.proves:
            name = f"the time since `{window.operation.name}`"
            yield WaivableEvidence(
                name, waive_in_force(procedure, operation, window.waive), bool(window.waive), window.proves
            )
