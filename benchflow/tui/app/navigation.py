"""Requests for another screen, one type for each screen that can be opened.

No screen imports the screen that it opens. It hands a request to the app; the function that turns requests into
screens is given to the app at the start (:func:`benchflow.tui.screen_map.screen_for`, and
:func:`benchflow.tui.review.review_screens.review_screen_for` in a review).
"""

from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.tui.draw.key_bar import KeyLabel
from benchflow.tui.model.bench_inputs import BenchInput

if TYPE_CHECKING:
    from benchflow.session.rules.instrument_choice import ToolList


class ScreenRequest(Struct, frozen=True):
    """Base of all requests. The screen closes with a string for the screen below it, or with ``None``."""


class HelpRequest(ScreenRequest, frozen=True, tag="help"):
    """All keys of a screen. Closes with the action of the key that was chosen."""

    title: str
    keys: tuple[KeyLabel, ...]


class BenchRequest(ScreenRequest, frozen=True, tag="bench"):
    """The bench of the open session."""


class WhyRequest(ScreenRequest, frozen=True, tag="why"):
    """Why an operation is blocked. Closes with the operation to guide to, if guiding was chosen."""

    operation: str


class OperationListRequest(ScreenRequest, frozen=True, tag="operations"):
    """All operations. Closes with the operation that the bench is to show."""


class CalculationRequest(ScreenRequest, frozen=True, tag="calculation"):
    """The calculations. Closes with a result for the field, where ``takes_result`` says that there is one."""

    takes_result: bool


class MoveRequest(ScreenRequest, frozen=True, tag="moves"):
    """The moves. Closes with a message, as the screens below do."""


class StateRequest(ScreenRequest, frozen=True, tag="state"):
    """The state of the assembly, and entering a state found."""


class NoteRequest(ScreenRequest, frozen=True, tag="note"):
    operation: str


class SignRequest(ScreenRequest, frozen=True, tag="sign"):
    operation: str


class DeviationRequest(ScreenRequest, frozen=True, tag="deviation"):
    operation: str


class CorrectionRequest(ScreenRequest, frozen=True, tag="correction"):
    """The entries that can be corrected."""


class RemedyRequest(ScreenRequest, frozen=True, tag="remedy"):
    """The remedy for a value out of its limit."""

    item: BenchInput


class WrenchRequest(ScreenRequest, frozen=True, tag="wrench"):
    """The extension on the torque wrench."""


class LubricantRequest(ScreenRequest, frozen=True, tag="lubricant"):
    """Another lubricant on the threads of a joint."""

    joint: str
    title: str


class InstrumentRequest(ScreenRequest, frozen=True, tag="instrument"):
    """Which instrument is used. Closes with its serial number. ``waiting`` is the entry that waits for the answer."""

    tools: "ToolList"
    waiting: str = ""


class ReworkRequest(ScreenRequest, frozen=True, tag="rework"):
    """What to rework, and the plan for it."""


class FolderRequest(ScreenRequest, frozen=True, tag="folder"):
    """Another folder for the log."""


class LeaveRequest(ScreenRequest, frozen=True, tag="leave"):
    """Leaving the bench."""


class EndJobRequest(ScreenRequest, frozen=True, tag="end"):
    """Ending the job."""


JobRequest = (
    HelpRequest
    | BenchRequest
    | WhyRequest
    | OperationListRequest
    | CalculationRequest
    | MoveRequest
    | StateRequest
    | NoteRequest
    | SignRequest
    | DeviationRequest
    | CorrectionRequest
    | RemedyRequest
    | WrenchRequest
    | LubricantRequest
    | InstrumentRequest
    | ReworkRequest
    | FolderRequest
    | LeaveRequest
    | EndJobRequest
)
"""Everything that can be opened while a job is built; a review has its own requests."""
