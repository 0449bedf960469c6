"""Creates the screen for each request. The only module that imports all screens of a job.

The imports are late because the first paint of the bench needs none of these screens.
``tests/benchmarks/bench_screen.py`` measures the time to the first paint.
"""

from typing import Any, assert_never

from textual.screen import Screen

from benchflow.tui.app import navigation as to
from benchflow.tui.model.session_client import SessionClient


def screen_for(request: to.JobRequest, client: SessionClient | None) -> Screen[Any]:
    """Create the screen for a request. ``client`` is the client of the open job; only help works without one."""
    if isinstance(request, to.HelpRequest):
        from benchflow.tui.screens.help_page import HelpPage

        return HelpPage(request.title, request.keys)
    assert client is not None  # every other screen belongs to an open job
    match request:
        case to.BenchRequest():
            from benchflow.tui.bench.bench_screen import BenchScreen

            return BenchScreen(client)
        case to.WhyRequest():
            from benchflow.tui.screens.why_page import WhyPage

            return WhyPage(client, request.operation, request.keys)
        case to.OperationListRequest():
            from benchflow.tui.screens.operation_list_page import OperationListPage

            return OperationListPage(client)
        case to.FindRequest():
            from benchflow.tui.screens.find_page import FindPage

            return FindPage(client)
        case to.CalculationRequest():
            from benchflow.tui.screens.calculation_page import CalculationListPage

            return CalculationListPage(request.takes_result)
        case to.MoveRequest():
            from benchflow.tui.screens.move_page import MovePage

            return MovePage(client)
        case to.StateRequest():
            from benchflow.tui.screens.state_page import StatePage

            return StatePage(client)
        case to.CorrectionRequest():
            from benchflow.tui.screens.correction_page import CorrectionListPage

            return CorrectionListPage(client)
        case to.ReadAgainRequest():
            from benchflow.tui.screens.read_again_page import ReadAgainPage

            return ReadAgainPage(client, request.event)
        case to.InstrumentRequest():
            from benchflow.tui.screens.instrument_page import InstrumentPage

            return InstrumentPage(request.tools, request.waiting)
        case to.ReworkRequest():
            from benchflow.tui.screens.rework_page import ReworkPage

            return ReworkPage(client, request.operation)
        case to.ReworkPlanRequest():
            from benchflow.tui.screens.rework_page import ReworkPlanPage

            return ReworkPlanPage(client, request.operation, request.plan)
        case to.TakeOverRequest():
            from benchflow.tui.screens.take_over_page import TakeOverListPage

            return TakeOverListPage(client)
        case to.NoteRequest():
            from benchflow.tui.screens.note_page import NotePage

            return NotePage(client, request.operation)
        case to.ChoiceReasonRequest() | to.SignRequest() | to.DeviationRequest() | to.RemedyRequest():
            return _record_form(request, client)
        case to.WrenchRequest() | to.FigureRequest() | to.LubricantRequest():
            return _tooling_form(request, client)
        case to.FastenerFailedRequest():
            from benchflow.tui.screens.failed_fastener_pages import FailedFastenerPage

            return FailedFastenerPage(client, request.joint, request.title, request.fastener)
        case to.RepairRequest():
            from benchflow.tui.screens.failed_fastener_pages import RepairPage

            return RepairPage(client, request.joint, request.title, request.fastener)
        case to.PicturesRequest():
            from benchflow.tui.screens.pictures_page import PicturesPage

            return PicturesPage(client, request.subjects, request.finished)
        case to.FolderRequest() | to.LeaveRequest() | to.EndJobRequest():
            return _leaving_screen(request, client)
        case _:
            assert_never(request)


def _record_form(
    request: to.ChoiceReasonRequest | to.SignRequest | to.DeviationRequest | to.RemedyRequest,
    client: SessionClient,
) -> Screen[Any]:
    from benchflow.tui.screens import record_forms

    match request:
        case to.ChoiceReasonRequest():
            return record_forms.ChoiceReasonPage(client, request.name, request.take, request.why)
        case to.SignRequest():
            return record_forms.SignPage(client, request.operation)
        case to.DeviationRequest():
            return record_forms.DeviationPage(client, request.operation)
        case to.RemedyRequest():
            return record_forms.RemedyPage(client, request.item)


def _tooling_form(
    request: to.WrenchRequest | to.FigureRequest | to.LubricantRequest, client: SessionClient
) -> Screen[Any]:
    from benchflow.tui.screens import tooling_page

    match request:
        case to.WrenchRequest():
            return tooling_page.WrenchPage(client)
        case to.FigureRequest():
            return tooling_page.FigurePage(client, request)
        case to.LubricantRequest():
            return tooling_page.LubricantPage(client, request.joint, request.title)


def _leaving_screen(
    request: to.FolderRequest | to.LeaveRequest | to.EndJobRequest, client: SessionClient
) -> Screen[Any]:
    from benchflow.tui.screens import leaving_page

    match request:
        case to.FolderRequest():
            return leaving_page.FolderPage(client)
        case to.LeaveRequest():
            return leaving_page.LeavePage(client)
        case to.EndJobRequest():
            return leaving_page.EndSheetPage(client) if client.view.closed else leaving_page.EndJobPage(client)
