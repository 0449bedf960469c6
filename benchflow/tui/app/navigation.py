"""Requests to open a screen, one type for each screen.

A screen does not import the screens that it opens. It passes a request to the app, and the app calls a function that
creates the screen: :func:`benchflow.tui.screen_map.screen_for`, or
:func:`benchflow.tui.review.review_screens.review_screen_for` in a review.
"""

from typing import TYPE_CHECKING, Any

from msgspec import Struct

from benchflow.session.view.bench_view import AskedFigure
from benchflow.tui.draw.key_bar import KeyLabel
from benchflow.tui.model.bench_inputs import BenchInput

if TYPE_CHECKING:
    from benchflow.session.rules.instrument_choice import ToolList


class ScreenRequest(Struct, frozen=True):
    """Base of all requests. Each screen closes with a string or ``None`` as its result.

    Unless a request names another result, the string is a message about what was saved.
    """


class HelpRequest(ScreenRequest, frozen=True, tag="help"):
    """Request for the list of all keys of a screen. Its result is the action of the chosen key."""

    title: str
    keys: tuple[KeyLabel, ...]


class BenchRequest(ScreenRequest, frozen=True, tag="bench"):
    """Request for the bench of the open job."""


class WhyRequest(ScreenRequest, frozen=True, tag="why"):
    """Request for the reasons why an operation is blocked.

    Its result is the operation to guide to, the action of one of the ``keys`` of the bench, or ``None``.
    """

    operation: str
    keys: tuple[KeyLabel, ...] = ()


class OperationListRequest(ScreenRequest, frozen=True, tag="operations"):
    """Request for the list of all operations. Its result is the operation to show on the bench."""


class FindRequest(ScreenRequest, frozen=True, tag="find"):
    """Request for the search for an operation by number or words. Its result is the operation to show on the bench."""


class CalculationRequest(ScreenRequest, frozen=True, tag="calculation"):
    """Request for the list of calculations. With ``takes_result``, its result is text for the field on the bench."""

    takes_result: bool


class MoveRequest(ScreenRequest, frozen=True, tag="moves"):
    """Request for the list of moves."""


class StateRequest(ScreenRequest, frozen=True, tag="state"):
    """Request for the state of the assembly; a state found can be entered there."""


class NoteRequest(ScreenRequest, frozen=True, tag="note"):
    """Request for the form for a note on an operation."""

    operation: str


class ChoiceReasonRequest(ScreenRequest, frozen=True, tag="choice-reason"):
    """Request for the form for the reason to choose another part than the preferred one. ``why`` is the refusal."""

    name: str
    take: str
    why: str


class SignRequest(ScreenRequest, frozen=True, tag="sign"):
    """Request for the form for the signature at a hold point."""

    operation: str


class DeviationRequest(ScreenRequest, frozen=True, tag="deviation"):
    """Request for the form for a deviation."""

    operation: str


class CorrectionRequest(ScreenRequest, frozen=True, tag="correction"):
    """Request for the list of entries that can be corrected."""


class ReadAgainRequest(ScreenRequest, frozen=True, tag="read-again"):
    """Request for the reasons for reading an entry again. ``event`` is the number of its event in the log."""

    event: int


class RemedyRequest(ScreenRequest, frozen=True, tag="remedy"):
    """Request for the remedy for a value out of its limit."""

    item: BenchInput


class WrenchRequest(ScreenRequest, frozen=True, tag="wrench"):
    """Request for the form for an extension on the torque wrench."""


class FigureRequest(ScreenRequest, frozen=True, tag="figure"):
    """Request for the form for a figure that the procedure asks for. ``starts`` is an operation to start with it."""

    asked: AskedFigure
    starts: str = ""


class LubricantRequest(ScreenRequest, frozen=True, tag="lubricant"):
    """Request for the form for another lubricant on the threads of a joint."""

    joint: str
    title: str


class FastenerFailedRequest(ScreenRequest, frozen=True, tag="fastener-failed"):
    """Request for the form for a fastener that failed. ``fastener`` is the next one, ``None`` if there is none."""

    joint: str
    title: str
    fastener: int | None


class RepairRequest(ScreenRequest, frozen=True, tag="repair"):
    """Request for the form for the repair of a failed fastener."""

    joint: str
    title: str
    fastener: int


class InstrumentRequest(ScreenRequest, frozen=True, tag="instrument"):
    """Request for the list of instruments. Its result is the serial number of the chosen one.

    ``waiting`` is the entry that is recorded after the choice, empty if there is none.
    """

    tools: "ToolList"
    waiting: str = ""


class ReworkRequest(ScreenRequest, frozen=True, tag="rework"):
    """Request for the list of operations that can be reworked. ``operation`` is the one to select, if it is listed."""

    operation: str = ""


class ReworkPlanRequest(ScreenRequest, frozen=True, tag="rework-plan"):
    """Request for the plan of one rework, and the form that begins it. ``plan`` is the answer of the query."""

    operation: str
    plan: dict[str, Any]


class TakeOverRequest(ScreenRequest, frozen=True, tag="take-over"):
    """Request for the list of what can be taken over from the log that the job continues."""


class FolderRequest(ScreenRequest, frozen=True, tag="folder"):
    """Request for the form for continuing the log in another folder."""


class LeaveRequest(ScreenRequest, frozen=True, tag="leave"):
    """Request for the confirmation before the bench is left."""


class EndJobRequest(ScreenRequest, frozen=True, tag="end"):
    """Request for the form that ends the job; for the end page if it has ended."""


class PictureSubject(Struct, frozen=True):
    """What a picture can be attached to: its title, and the fields of the intent that name it."""

    title: str
    fields: dict[str, str | int]


class PicturesRequest(ScreenRequest, frozen=True, tag="pictures"):
    """Request for the pictures of the job and the new ones. ``subjects`` are what a picture can show here.

    ``finished`` has the operation that a new picture was made in, by SHA-256, if that is finished.
    """

    subjects: tuple[PictureSubject, ...]
    finished: dict[str, PictureSubject] = {}


JobRequest = (
    HelpRequest
    | BenchRequest
    | WhyRequest
    | OperationListRequest
    | FindRequest
    | CalculationRequest
    | MoveRequest
    | StateRequest
    | NoteRequest
    | ChoiceReasonRequest
    | SignRequest
    | DeviationRequest
    | CorrectionRequest
    | ReadAgainRequest
    | RemedyRequest
    | WrenchRequest
    | FigureRequest
    | LubricantRequest
    | FastenerFailedRequest
    | RepairRequest
    | InstrumentRequest
    | ReworkRequest
    | ReworkPlanRequest
    | TakeOverRequest
    | FolderRequest
    | LeaveRequest
    | EndJobRequest
    | PicturesRequest
)
"""All requests of a job. A review has its own requests."""
