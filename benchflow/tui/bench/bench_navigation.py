"""The actions of the bench that open other screens."""

from collections.abc import Callable

from benchflow.base.errors import BenchflowError
from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import AskedFigure
from benchflow.tui.app.navigation import (
    CalculationRequest,
    CorrectionRequest,
    DeviationRequest,
    EndJobRequest,
    FastenerFailedRequest,
    FigureRequest,
    FindRequest,
    FolderRequest,
    LeaveRequest,
    LubricantRequest,
    MoveRequest,
    NoteRequest,
    OperationListRequest,
    ReadAgainRequest,
    RemedyRequest,
    RepairRequest,
    ReworkPlanRequest,
    ReworkRequest,
    SignRequest,
    StateRequest,
    TakeOverRequest,
    WhyRequest,
    WrenchRequest,
)
from benchflow.tui.bench.cursor import BenchCursor
from benchflow.tui.draw.joint_map import next_fastener
from benchflow.tui.draw.key_bar import key_labels
from benchflow.tui.model.bench_inputs import SlotInput, is_quantity
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.page import Page


class BenchNavigation(Page[None], inherit_bindings=False):
    """The part of the bench that opens other screens and shows what they changed."""

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client
        self.cursor = BenchCursor(client)

    def update_entry(self) -> None:
        """Set up the field for the current item."""
        raise NotImplementedError

    def on_return(self, message: str | None) -> None:
        """Update the bench after another screen has closed. ``message`` says what was saved, ``None`` if nothing."""
        self.cursor.update()
        if message:
            self.cursor.advance_if_done()
            self.show_message(message)
        self.update_entry()

    def action_line(self, by: int) -> None:
        self.cursor.step(by)
        self.update_entry()

    def action_scroll(self, by: int) -> None:
        self.cursor.scroll(by)
        self.redraw()

    def action_step_out(self) -> None:
        """Take the focus from the field, so that letters are commands. The typed text is kept.

        The field for the optional reading of a tick is closed.
        """
        if self.cursor.reading_open:
            self.cursor.close_reading()
            self.update_entry()
            return
        self.focus_on(None)
        self.redraw()

    # --- reasons, list of operations, guided route ----------------------------------------------------

    def action_why(self) -> None:
        keys = tuple(label for label in key_labels(self, None) if label.enabled)
        self.bench_app.open(WhyRequest(self.cursor.operation, keys), self._from_why)

    def _from_why(self, result: str | None) -> None:
        """Guide to the operation, or run the key of the bench, that was chosen on the page of the reasons."""
        if result in {row.operation for row in self.client.view.operations}:
            self._guide_to(result)
        else:
            self.on_return(None)
            self._run_action(result)

    action_blocked = action_why

    def action_operations(self) -> None:
        self.bench_app.open(OperationListRequest(), self._look_at)

    def action_find(self) -> None:
        self.bench_app.open(FindRequest(), self._look_at)

    def _look_at(self, operation: str | None) -> None:
        """Show an operation instead of the next one. Do nothing if ``operation`` is ``None``."""
        if operation:
            self.client.drafts.goal = ""
            self.client.selected = operation
            self.show_message()
        self.on_return(None)

    def action_back_to_next(self) -> None:
        self.client.selected = ""
        self.show_message()
        self.on_return(None)

    action_back_from_done = action_back_to_next

    def action_stay(self) -> None:
        self.show_message("This is the next operation. To leave the bench, press q.")

    def _guide_to(self, goal: str | None) -> None:
        """Guide the user to an operation. Do nothing if ``goal`` is ``None``."""
        if goal:
            self.client.drafts.goal = goal
            self.client.selected = ""
        self.on_return(None)

    def action_guide(self) -> None:
        self._guide_to(self.cursor.operation)
        if self.cursor.route is None:
            self.show_message("There is no safe route to this operation now. Press w to see why.", role="alarm")

    def action_stop_guiding(self) -> None:
        self.client.drafts.goal = ""
        self.on_return("Guiding is off. The next step in the normal order is shown.")

    def action_calculation(self) -> None:
        self.bench_app.open(CalculationRequest(is_quantity(self.cursor.item)), self._use_result)

    def _use_result(self, result: str | None) -> None:
        """Put the result of a calculation into the field. Enter records it."""
        if result:
            self.cursor.set_text(result)
        self.on_return("The result is in the field. Press Enter to record it." if result else None)

    # --- forms ---------------------------------------------------------------

    def action_moves(self) -> None:
        self.bench_app.open(MoveRequest(), self.on_return)

    def action_state(self) -> None:
        self.bench_app.open(StateRequest(), self.on_return)

    def action_note(self) -> None:
        self.bench_app.open(NoteRequest(self.cursor.operation), self.on_return)

    def action_sign(self) -> None:
        self.bench_app.open(SignRequest(self.cursor.operation), self.on_signed)

    def on_signed(self, message: str | None) -> None:
        """Update the bench after the form for a signature has closed."""
        raise NotImplementedError

    def action_deviate(self) -> None:
        self.bench_app.open(DeviationRequest(self.cursor.operation), self.on_return)

    def action_correct(self) -> None:
        self.bench_app.open(CorrectionRequest(), self.on_return)

    def action_remedy(self) -> None:
        item, operation = self.cursor.remedy_item, self.cursor.operation
        assert item is not None  # without a remedy, the key is hidden

        entered = self._entered_readings()

        def on_remedy(message: str | None) -> None:
            if message:
                self.cursor.update()
                # A text typed before the remedy was not read after it.
                self.cursor.delete_drafts(tuple(entered - self._entered_readings()))
                # The route leads through the work to do again, back to the measurement.
                self.client.drafts.goal = operation
                self.client.selected = ""
            self.on_return(message)

        self.bench_app.open(RemedyRequest(item), on_remedy)

    action_remedy_here = action_remedy

    def action_read_again(self) -> None:
        event = self.cursor.entry_to_read_again
        assert event is not None  # otherwise the key is hidden
        self.bench_app.open(ReadAgainRequest(event), self.on_return)

    def _entered_readings(self) -> set[str]:
        """Return the names of the drafts of the readings that are entered."""
        items = (each for each in self.cursor.items if isinstance(each, SlotInput) and each.slot.shown)
        return {self.cursor.draft_of(each) for each in items}

    def action_wrench(self) -> None:
        self.bench_app.open(WrenchRequest(), self.on_return)

    def action_figure(self) -> None:
        asked = self.cursor.asked_figure
        assert asked is not None  # otherwise the key is hidden
        self.give_figure(asked, self.on_return)

    def give_figure(self, asked: AskedFigure, then: Callable[[str | None], None]) -> None:
        """Open the form for a figure. The figure of a stage starts the operation that its first entry would start."""
        starts = self.cursor.operation if "stage" in asked.fields and self.cursor.entry_starts else ""
        self.bench_app.open(FigureRequest(asked, starts), then)

    def action_fastener_failed(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        self.bench_app.open(FastenerFailedRequest(joint.joint, joint.title, next_fastener(joint)), self.on_return)

    def action_repair(self) -> None:
        joint, failed = self.cursor.joint, self.cursor.failed_fastener
        assert joint is not None
        assert failed is not None
        self.bench_app.open(RepairRequest(joint.joint, joint.title, failed), self.on_return)

    def action_lubricant(self) -> None:
        joint = self.cursor.joint
        assert joint is not None
        self.bench_app.open(LubricantRequest(joint.joint, joint.title), self.on_return)

    def action_take_over(self) -> None:
        self.bench_app.open(TakeOverRequest(), self.on_return)

    def action_rework(self) -> None:
        self.bench_app.open(ReworkRequest(self.cursor.operation), self._rework_started)

    def _rework_started(self, message: str | None) -> None:
        """Guide to the operation that is reworked, once its rework is done."""
        rework = self.client.view.rework
        if message and rework is not None:
            self.client.drafts.goal = rework.operation
            self.client.selected = ""
        self.on_return(message)

    def action_rework_here(self) -> None:
        """Show the plan of the rework that the shown operation needs."""
        task = self.cursor.operation_task
        assert task is not None
        plan = self.client.query("rework-plan", task.view.rework)
        if isinstance(plan, Refusal):
            self.refused(plan)
        else:
            self.bench_app.open(ReworkPlanRequest(task.view.rework, plan), self._rework_started)

    def action_continue_here(self) -> None:
        """Open the log for writing, after the window that had it open has left."""
        try:
            self.bench_app.open_bench(self.client.controller.opened_again(), self.client.by)
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
            self.app.bell()

    # --- leaving ----------------------------------------------------------------------------------

    def action_folder(self) -> None:
        self.bench_app.open(FolderRequest(), self.on_return)

    def action_back(self) -> None:
        self.bench_app.open(LeaveRequest())

    def action_end(self) -> None:
        self.bench_app.open(EndJobRequest(), self.on_return)

    action_end_early = action_end_page = action_end
