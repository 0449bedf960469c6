"""The durations of an operation over all builds."""

from statistics import median, quantiles

from msgspec import Struct

from benchflow.review.many.known_names import refuse_unknown_name
from benchflow.review.many.procedure_revisions import (
    ProcedureKey,
    procedure_key,
    several_procedures,
    without_simulated,
)
from benchflow.review.many.session_question import OperationSubject, Question, SessionSource


class OperationDuration(Struct, frozen=True):
    """The time that an operation is in progress, in seconds, over the builds in which it was finished.

    All of them are by one revision of one procedure.
    """

    operation: str
    builds: int
    shortest: float
    quarter: float
    middle: float
    three_quarters: float
    longest: float
    longest_unit: str  # the unit under build of the longest
    procedure: str = ""
    revision: str = ""


class OperationDurations(Struct, frozen=True):
    """The durations of an operation, one entry per place. ``notes`` name what was left out, with the reason."""

    operations: tuple[OperationDuration, ...]
    notes: tuple[str, ...]


def operation_durations(source: SessionSource, operation: str, since: str = "", until: str = "") -> OperationDurations:
    """The durations of ``operation``, one entry for each of its places, procedures and revisions.

    Raises:
        UnknownName: no job has the operation.
    """
    found = source.ask(Question(OperationSubject(operation), since, until))
    if not found:
        refuse_unknown_name(source, OperationSubject(operation))
    found, notes = without_simulated(found)
    times: dict[tuple[ProcedureKey, str], list[tuple[float, str]]] = {}
    for one in found:
        for fact in one.operations:
            if fact.done:
                key = procedure_key(one.session), fact.operation
                times.setdefault(key, []).append((fact.active, one.session.unit))
    return OperationDurations(
        tuple(_duration_of_operation(key, name, all_of) for (key, name), all_of in times.items()),
        (*notes, *several_procedures({key for key, _ in times})),
    )


def _duration_of_operation(key: ProcedureKey, name: str, times: list[tuple[float, str]]) -> OperationDuration:
    seconds = sorted(time for time, _ in times)
    quarters = quantiles(seconds, n=4, method="inclusive") if len(seconds) > 1 else [seconds[0]] * 3
    longest = max(times)
    return OperationDuration(
        name, len(seconds), seconds[0], quarters[0], median(seconds), quarters[2], longest[0], longest[1],
        key.procedure, key.revision,
    )  # fmt: skip
