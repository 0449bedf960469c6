"""What the bench puts before the builder: one thing at a time, whatever kind of thing it is."""

from msgspec import Struct

from benchflow.session.view.bench_view import MoveRow, NowView, ReworkView


class ReworkTask(Struct, frozen=True, tag="rework-step"):
    """Work is coming apart: the step that is to be done now."""

    step: ReworkView


class MoveTask(Struct, frozen=True, tag="move"):
    """A move on the way to the goal."""

    move: MoveRow


class OperationTask(Struct, frozen=True, tag="work"):
    """An operation: in hand, to be taken up, or stopped."""

    now: NowView


class NoTask(Struct, frozen=True, tag="nothing"):
    """Everything is done, or nothing can be taken up."""


CurrentTask = ReworkTask | MoveTask | OperationTask | NoTask


class GuidedRoute(Struct, frozen=True):
    """The shortest safe way that is being walked: what is left of it, the goal last."""

    goal: str
    steps: tuple[str, ...]
    words: str
