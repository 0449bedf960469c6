"""Which operations an event finishes, and which it reopens. The fold and the catalog of logs both ask here."""

from collections.abc import Iterable

from benchflow.session.state import events as ev

KINDS = frozenset({"finished", "undone", "remedied"})
"""The kinds of events that can change which operations are done."""


def finished_by(event: ev.AnyEvent) -> tuple[str, ...]:
    """The step ids of the operations that are done after ``event``."""
    return (event.operation,) if isinstance(event, ev.Finished) else ()


def reopened_by(event: ev.AnyEvent) -> tuple[str, ...]:
    """The step ids of the operations that have to be done again after ``event``, if they were done."""
    match event:
        case ev.Undone():
            return (event.operation,)
        case ev.Remedied():
            return event.redo
        case _:
            return ()


def done_after(events: Iterable[ev.AnyEvent]) -> set[str]:
    """The step ids of the operations that are done after all ``events`` of a session."""
    done: set[str] = set()
    for event in events:
        done.difference_update(reopened_by(event))
        done.update(finished_by(event))
    return done
