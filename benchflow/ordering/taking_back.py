"""How work comes apart: what has to come back, in which order, with which moves in between.

The types here are what the desk (benchflow/session/taking_back.py) is written against.
"""

from msgspec import Struct

from benchflow.procedure.plan import Plan


class Write(Struct, frozen=True):
    """A variable written, and by which step; ``step`` is empty for the start, a move or a finding."""

    step: str
    value: str | None


class History(Struct, frozen=True):
    """``finished``: step ids in the order of finishing, half-done (set aside) ones last.
    ``writes``: for each variable its start and every write not taken back, oldest first."""

    finished: tuple[str, ...]
    writes: dict[str, tuple[Write, ...]]


class Undo(Struct, frozen=True, tag="undo"):
    operation: str


class MakeMove(Struct, frozen=True, tag="move"):
    move: str


class TakeBack(Struct, frozen=True):
    """``discard``: ids of the kit thrown away. ``redo``: steps to be done again, in the plan's order."""

    steps: tuple[Undo | MakeMove, ...]
    discard: tuple[str, ...]
    redo: tuple[str, ...]


class NoUndo(Struct, frozen=True, tag="no-undo"):
    """The author gave no way to take this operation back."""

    operation: str


class Cannot(Struct, frozen=True):
    reasons: tuple[NoUndo, ...]


def plan_taking_back(plan: Plan, history: History, step_id: str) -> TakeBack | Cannot:
    """The whole way down to and including ``step_id``."""
    raise NotImplementedError


def step_back_reasons(plan: Plan, history: History, step_id: str) -> tuple[NoUndo, ...]:
    """Why taking back this one step now is not safe; empty when it is."""
    raise NotImplementedError


def words(plan: Plan, reason: NoUndo) -> str:
    raise NotImplementedError


def about(reason: NoUndo) -> str | None:
    """The step that a reason names."""
    return reason.operation
