"""The actions of a builder: do an operation, undo one, make a move.

A route is a sequence of :data:`RouteStep`, a rework plan a sequence of :data:`ReworkStep`.
"""

from collections.abc import Mapping

import msgspec
from msgspec import Struct


class DoOperation(Struct, frozen=True):
    """Do an operation. ``operation`` is a step id of the plan."""

    operation: str

    @property
    def id(self) -> str:
        return self.operation


class UndoOperation(Struct, frozen=True):
    """Undo a finished operation. ``operation`` is a step id of the plan."""

    operation: str

    @property
    def id(self) -> str:
        return self.operation


class MakeMove(Struct, frozen=True):
    """Make a move, such as turning the crank. ``move`` is its id in the procedure."""

    move: str

    @property
    def id(self) -> str:
        return self.move


RouteStep = DoOperation | MakeMove
ReworkStep = UndoOperation | MakeMove


def rework_step_record(step: ReworkStep) -> dict[str, str]:
    """The step as stored in the log: ``{"operation": id}`` or ``{"move": id}``."""
    return {"move": step.move} if isinstance(step, MakeMove) else {"operation": step.operation}


def read_rework_step(record: Mapping[str, str]) -> ReworkStep:
    """The step stored in a log record.

    Raises:
        msgspec.ValidationError: the record has neither or both of the keys ``operation`` and ``move``.
    """
    match dict(record):
        case {"operation": operation, **rest} if not rest:
            return UndoOperation(operation)
        case {"move": move, **rest} if not rest:
            return MakeMove(move)
        case _:
            raise msgspec.ValidationError("A rework step has one key, `operation` or `move`")
