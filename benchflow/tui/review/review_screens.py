"""The screen for each request of a review, and the app that shows the screens."""

from typing import Any, assert_never

from textual.screen import Screen

from benchflow.session.machine_folders import machine_folders
from benchflow.tui.app.bench_app import BenchApp
from benchflow.tui.app.navigation import HelpRequest
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.review import review_requests as to
from benchflow.tui.review.come_back_forms import FindingPage, QuestionsPage, RecordComplaintPage
from benchflow.tui.review.ranking_page import RankingPage
from benchflow.tui.review.replay_page import ReplayPage
from benchflow.tui.review.text_pages import AllStatePage, BuildPage, EvidencePage, OperationTextPage, RankingRulePage
from benchflow.tui.screens.help_page import HelpPage
from benchflow.tui.widgets.page import Page


def review_screen_for(request: to.ReviewRequest, client: SessionClient | None) -> Screen[Any]:
    """Create the screen for a request. A review has no open session, so ``client`` is not used."""
    match request:
        case HelpRequest():
            return HelpPage(request.title, request.keys)
        case to.RankingRequest():
            return RankingPage(request.case, request.result)
        case to.RankingRuleRequest():
            return RankingRulePage()
        case to.QuestionsRequest():
            return QuestionsPage(request.case)
        case to.RecordComplaintRequest():
            return RecordComplaintPage(request.case, request.result)
        case to.FindingRequest():
            return FindingPage(request.case, request.result, request.operation)
        case to.ReplayRequest():
            return ReplayPage(request.case, request.point)
        case to.AllStateRequest():
            return AllStatePage(request.view, request.seq)
        case to.OperationTextRequest():
            return OperationTextPage(request.case, request.text)
        case to.EvidenceRequest():
            return EvidencePage(request.case, request.of, request.reasons, request.seq)
        case to.BuildRequest():
            return BuildPage(request.case)
        case _:
            assert_never(request)


def show(first: Page[Any]) -> int:
    """Show a screen of a review until the user leaves it. Return the exit status."""
    app = BenchApp(Preferences(machine_folders().config), first, review_screen_for)
    app.run()
    return app.return_code or 0
