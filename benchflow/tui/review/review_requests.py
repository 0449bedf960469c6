"""Requests for the screens of a review. Each has the data that was loaded for its screen."""

from benchflow.review.evidence.assessment import Review
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.sheets.sheet_content import BuildSheetOperation
from benchflow.session.view.bench_view import BenchView
from benchflow.tui.app.navigation import HelpRequest, ScreenRequest
from benchflow.tui.review.review_case import OperationText, ReplayPoint, ReviewCase


class RankingRequest(ScreenRequest, frozen=True, tag="ranking"):
    """The page with the operations that should have prevented a complaint."""

    case: ReviewCase
    result: Review


class RankingRuleRequest(ScreenRequest, frozen=True, tag="ranking-rule"):
    """The page that explains how evidence is ranked."""


class QuestionsRequest(ScreenRequest, frozen=True, tag="first-questions"):
    """The form with the first questions."""

    case: ReviewCase


class RecordComplaintRequest(ScreenRequest, frozen=True, tag="record-complaint"):
    """The form that adds the complaint of a review to the log."""

    case: ReviewCase
    result: Review


class FindingRequest(ScreenRequest, frozen=True, tag="finding"):
    """The form for the finding of a come-back. ``operation`` is the selected step, "" if there is none."""

    case: ReviewCase
    result: Review
    operation: str


class ReplayRequest(ScreenRequest, frozen=True, tag="replay"):
    """The replay of the job, starting at one of its events."""

    case: ReviewCase
    point: ReplayPoint


class AllStateRequest(ScreenRequest, frozen=True, tag="all-state"):
    """The page with the state, the clocks and all operations after event ``seq``."""

    view: BenchView
    seq: int


class OperationTextRequest(ScreenRequest, frozen=True, tag="operation-text"):
    """The page with the text of one operation in the procedure."""

    case: ReviewCase
    text: OperationText


class EvidenceRequest(ScreenRequest, frozen=True, tag="evidence"):
    """The page with the evidence for one operation. ``seq`` is the event at which the replay opens."""

    case: ReviewCase
    of: BuildSheetOperation
    reasons: tuple[WeakPoint, ...]
    seq: int | None


class BuildRequest(ScreenRequest, frozen=True, tag="build"):
    """The page with facts about the whole job."""

    case: ReviewCase


ReviewRequest = (
    HelpRequest
    | RankingRequest
    | RankingRuleRequest
    | QuestionsRequest
    | RecordComplaintRequest
    | FindingRequest
    | ReplayRequest
    | AllStateRequest
    | OperationTextRequest
    | EvidenceRequest
    | BuildRequest
)
"""All requests of a review."""
