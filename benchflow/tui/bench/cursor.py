"""Where the builder stands: what is offered to him, what it wants, and which of that is in hand."""

from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import BenchView, TightenInput
from benchflow.tui.app.session_client import Seat
from benchflow.tui.bench.entry_actions import typed_so_far
from benchflow.tui.bench.fields import (
    Want,
    WantTick,
    input_of,
    is_amiss,
    is_open,
    key_of,
    next_want,
    takes_text,
    wants_of,
)
from benchflow.tui.bench.offer import Offer, OfferMove, OfferNothing, OfferStepBack, OfferWork, Way
from benchflow.tui.draw.field_rows import Typed


class Stand:
    """``at`` is the line in hand of ``wants``; ``typed`` what stands in its field; ``turned`` how far the
    instruction is turned on."""

    def __init__(self, seat: Seat) -> None:
        self.seat = seat
        self.offer: Offer = OfferNothing()
        self.way: Way | None = None
        self.wants: tuple[Want, ...] = ()
        self.at = 0
        self.turned = 0
        self.typed = Typed()
        self.fresh()

    @property
    def want(self) -> Want | None:
        return self.wants[self.at] if self.at < len(self.wants) else None

    @property
    def work(self) -> OfferWork | None:
        return self.offer if isinstance(self.offer, OfferWork) else None

    @property
    def operation(self) -> str:
        return self.work.now.operation if self.work else ""

    @property
    def in_progress(self) -> bool:
        return bool(self.work and self.work.now.in_progress)

    @property
    def stopped(self) -> bool:
        """Whether an operation is looked at that may not be taken up."""
        return bool(self.work and not self.work.now.in_progress and self.work.now.missing)

    @property
    def typing(self) -> bool:
        """Whether the line in hand has a field to type into. A session that is only looked at has none."""
        view = self.seat.view
        return takes_text(self.want) and not (view.read_only or view.closed)

    @property
    def joint(self) -> TightenInput | None:
        given = None if self.want is None else input_of(self.want)
        return given if isinstance(given, TightenInput) else None

    def fresh(self) -> None:
        """The view has changed, and what is offered with it."""
        before = (self.operation, self.in_progress)
        self.way = way_of(self.seat)
        self.offer = offer_of(self.seat, self.way)
        self.wants = wants_of(self.work.now) if self.work else ()
        if (self.operation, self.in_progress) != before:
            self.turned = 0
            self.at = next_want(self.wants)
        self.at = min(self.at, max(len(self.wants) - 1, 0))

    def step(self, by: int) -> None:
        """To the line above or below; there is no way off either end."""
        self.at = min(max(self.at + by, 0), max(len(self.wants) - 1, 0))

    def advance(self) -> None:
        """What was in hand is entered: on to what is wanted next."""
        self.at = next_want(self.wants, self.at)

    def go_on(self) -> None:
        """On from a line that is settled now; one that still waits, or is amiss, stays in hand."""
        if self.want is not None and not is_open(self.want) and not is_amiss(self.want):
            self.advance()

    # --- what is half typed -----------------------------------------------------------------------

    def draft_of(self, want: Want) -> str:
        """The name under which the half-typed text of a line is kept."""
        return f"{self.operation} {key_of(want)}"

    def drafts_of_line(self) -> tuple[str, ...]:
        """Those that are no drafts any more once the line in hand is entered: a tick may take two readings."""
        want = self.want
        if isinstance(want, WantTick):
            return tuple(self.draft_of(each) for each in self.wants if isinstance(each, WantTick))
        return () if want is None else (self.draft_of(want),)

    def recall(self) -> str:
        text = "" if self.want is None else self.seat.drafts.text(self.draft_of(self.want))
        self.typed = typed_so_far(self.want, text)
        return text

    def type(self, text: str) -> None:
        self.typed = typed_so_far(self.want, text)
        if self.want is not None:
            self.seat.drafts.keep(self.draft_of(self.want), text)

    def entered(self, drafts: tuple[str, ...]) -> None:
        """What was typed is on disk now."""
        self.typed = Typed()
        for name in drafts:
            self.seat.drafts.keep(name, "")


def way_of(seat: Seat) -> Way | None:
    """The way to the goal from how things stand now; the goal is dropped when it is reached or there is none."""
    goal = seat.drafts.goal
    row = next((row for row in seat.view.next if row.operation == goal), None)
    if not goal or row is None or row.status in ("done", "in-progress") or seat.view.closed:
        seat.drafts.goal = ""
        return None
    steps = seat.query("route", goal)
    if isinstance(steps, Refusal):
        seat.drafts.goal = ""
        return None
    left = len(steps)
    more = f"{left} steps" if left > 1 else "this is it"
    return Way(goal, tuple(steps), f"On the way to {row.number} {row.title}: {more}")


def offer_of(seat: Seat, way: Way | None) -> Offer:
    view = seat.view
    if view.rework is not None:
        return OfferStepBack(view.rework)
    if view.now is not None and view.now.in_progress:
        return OfferWork(view.now)
    if way is not None:
        return _first_of(view, way.steps[0], seat)
    if seat.aim and _still_to_do(view, seat.aim):
        return OfferWork(seat.operation(seat.aim))
    return OfferNothing() if view.now is None else OfferWork(view.now)


def _first_of(view: BenchView, step: str, seat: Seat) -> Offer:
    for move in view.moves:
        if move.move == step:
            return OfferMove(move)
    return OfferWork(seat.operation(step))


def _still_to_do(view: BenchView, operation: str) -> bool:
    return any(row.operation == operation and row.status != "done" for row in view.next)
