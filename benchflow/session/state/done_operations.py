"""The operations that an event finishes or reopens. The fold and the catalog of logs both use this."""

from collections.abc import Iterable

from benchflow.session.state import events as ev
from benchflow.session.state.continued_job import OperationTakenOver

KINDS = frozenset({"started", "finished", "taken-over", "undone", "remedied", "rework-started"})
"""The kinds of events that finish or reopen operations. One that is done is started again if it was reopened."""


def finished_by(event: ev.AnyEvent) -> tuple[str, ...]:
    """The step ids of the operations that ``event`` finishes."""
    return (event.operation,) if isinstance(event, ev.OperationFinished | OperationTakenOver) else ()


def reopened_by(event: ev.AnyEvent) -> tuple[str, ...]:
    """The step ids of the operations that have to be done again after ``event``."""
    match event:
        case ev.OperationUndone():
            return (event.operation,)
        case ev.RemedyCarriedOut():
            return event.redo
        case ev.ReworkStarted():
            return event.reopened
        case _:
            return ()


def done_after(events: Iterable[ev.AnyEvent]) -> set[str]:
    """The step ids of the operations that are done after all ``events`` of a job."""
    done: set[str] = set()
    for event in events:
        if isinstance(event, ev.OperationStarted):
            done.discard(event.operation)
        done.difference_update(reopened_by(event))
        done.update(finished_by(event))
    return done
