"""What the bench puts before the builder: one thing at a time, whatever kind of thing it is."""

from msgspec import Struct

from benchflow.session.view.bench_view import MoveRow, NowView, ReworkView


class OfferStepBack(Struct, frozen=True, tag="rework-step"):
    """Work is coming apart: the step that is to be done now."""

    step: ReworkView


class OfferMove(Struct, frozen=True, tag="move"):
    """A move on the way to the goal."""

    move: MoveRow


class OfferWork(Struct, frozen=True, tag="work"):
    """An operation: in hand, to be taken up, or stopped."""

    now: NowView


class OfferNothing(Struct, frozen=True, tag="nothing"):
    """Everything is done, or nothing can be taken up."""


Offer = OfferStepBack | OfferMove | OfferWork | OfferNothing


class Way(Struct, frozen=True):
    """The shortest safe way that is being walked: what is left of it, the goal last."""

    goal: str
    steps: tuple[str, ...]
    words: str
