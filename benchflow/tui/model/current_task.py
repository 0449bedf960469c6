"""The task that the bench shows: an operation, a move, a rework step, or nothing."""

from msgspec import Struct

from benchflow.session.view.bench_view import MoveRow, OperationView, ReworkView


class ReworkTask(Struct, frozen=True, tag="rework-step"):
    """The current step of a rework plan."""

    step: ReworkView


class MoveTask(Struct, frozen=True, tag="move"):
    """A move that is the next step of a guided route."""

    move: MoveRow


class OperationTask(Struct, frozen=True, tag="work"):
    """An operation: in progress, ready to start, or blocked."""

    view: OperationView


class NothingToDo(Struct, frozen=True, tag="nothing"):
    """Everything is done, or nothing can be started."""


CurrentTask = ReworkTask | MoveTask | OperationTask | NothingToDo


class GuidedRoute(Struct, frozen=True):
    """The shortest safe route to an operation: the remaining steps, the goal last.

    ``text`` is the line on the screen.
    """

    goal: str
    steps: tuple[str, ...]
    text: str
