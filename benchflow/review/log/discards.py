"""What was thrown away in a job: by rework, by remedies and repairs, and when something was taken apart as planned."""

from collections.abc import Iterable, Iterator
from typing import Literal

from msgspec import Struct

from benchflow.session.log.line_format import Line
from benchflow.session.state.events import (
    FastenerRepaired,
    OperationFinished,
    RemedyCarriedOut,
    ReworkStarted,
    event_of,
)

DiscardCause = Literal["rework", "remedy", "repair", "taken apart"]


class Discard(Struct, frozen=True):
    """Parts of one kit item that were thrown away at event ``seq``.

    ``operations`` are those that have to be done again; empty if something was taken apart as planned.
    """

    seq: int
    item: str
    cause: DiscardCause
    operations: tuple[str, ...]


def discards(lines: Iterable[Line]) -> Iterator[Discard]:
    """Everything that was thrown away, oldest first."""
    for line in lines:
        if line.kind not in _KINDS or not line.data.get("discard"):
            continue
        match event_of(line):
            case ReworkStarted(steps=steps, reopened=reopened, discard=items):
                undone = tuple(step["operation"] for step in steps if "operation" in step)
                yield from _each(line.seq, items, "rework", (*undone, *reopened))
            case RemedyCarriedOut(redo=redo, discard=items, operation=operation):
                yield from _each(line.seq, items, "remedy", (operation, *redo))
            case FastenerRepaired(operation=operation, discard=items):
                yield from _each(line.seq, items, "repair", (operation,))
            case OperationFinished(discard=items):
                yield from _each(line.seq, items, "taken apart", ())
            case _:
                pass


def _each(seq: int, items: tuple[str, ...], cause: DiscardCause, operations: tuple[str, ...]) -> Iterator[Discard]:
    for item in items:
        yield Discard(seq, item, cause, operations)


_KINDS = ("rework-started", "remedied", "repaired", "finished")
