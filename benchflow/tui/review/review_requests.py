"""Requests for the screens of a review. Each has the data that was loaded for its screen."""

from benchflow.review.evidence.assessment import Review
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.sheets.build_sheet import BuildSheetOperation
from benchflow.session.view.bench_view import BenchView
from benchflow.tui.app.navigation import HelpRequest, ScreenRequest
from benchflow.tui.review.review_case import OperationText, ReplayPoint, ReviewCase


class RankingRequest(ScreenRequest, frozen=True, tag="ranking"):
    """The operations that should have prevented a complaint, the weakest evidence first."""

    case: ReviewCase
    found: Review


class RankingRuleRequest(ScreenRequest, frozen=True, tag="ranking-rule"):
    """The rule by which evidence is ranked."""


class ReplayRequest(ScreenRequest, frozen=True, tag="replay"):
    """The job at one of its events."""

    case: ReviewCase
    point: ReplayPoint


class AllStateRequest(ScreenRequest, frozen=True, tag="all-state"):
    """The state, the clocks and all operations after event ``seq``."""

    view: BenchView
    seq: int


class OperationTextRequest(ScreenRequest, frozen=True, tag="operation-text"):
    """The procedure's text of one operation."""

    case: ReviewCase
    text: OperationText


class EvidenceRequest(ScreenRequest, frozen=True, tag="evidence"):
    """The evidence for one operation, with its weak points. ``seq`` is the event that the replay opens."""

    case: ReviewCase
    of: BuildSheetOperation
    reasons: tuple[WeakPoint, ...]
    seq: int | None


class BuildRequest(ScreenRequest, frozen=True, tag="build"):
    """The build as a whole."""

    case: ReviewCase


ReviewRequest = (
    HelpRequest
    | RankingRequest
    | RankingRuleRequest
    | ReplayRequest
    | AllStateRequest
    | OperationTextRequest
    | EvidenceRequest
    | BuildRequest
)
"""Everything that can be opened in a review."""
