"""The task shown on the bench: an operation, a move, a rework step, or none."""

from msgspec import Struct

from benchflow.session.view.bench_view import MoveRow, OperationView, ReworkView


class ReworkTask(Struct, frozen=True, tag="rework-step"):
    """The current step of a rework plan."""

    step: ReworkView


class MoveTask(Struct, frozen=True, tag="move"):
    """The move that is the next step of a guided route."""

    move: MoveRow


class OperationTask(Struct, frozen=True, tag="work"):
    """An operation that is in progress, ready to start, or blocked."""

    view: OperationView


class NothingToDo(Struct, frozen=True, tag="nothing"):
    """No task: everything is done, or nothing can be started."""


CurrentTask = ReworkTask | MoveTask | OperationTask | NothingToDo


class GuidedRoute(Struct, frozen=True):
    """The shortest safe route to an operation: the remaining steps, with the goal last.

    ``text`` is shown on the bench: "Guiding to 27 Time the cams: 5 steps".
    """

    goal: str
    steps: tuple[str, ...]
    text: str
