"""From the bench to everywhere else, and back."""

from benchflow.tui.app.session_client import Seat
from benchflow.tui.bench.cursor import Stand
from benchflow.tui.widgets.page import Page


class Doors(Page[None], inherit_bindings=False):
    """The actions that open another screen. What is done there is done when one comes back."""

    def __init__(self, seat: Seat) -> None:
        super().__init__()
        self.seat = seat
        self.stand = Stand(seat)

    def settle(self) -> None:
        raise NotImplementedError

    def came_back(self, said: str | None) -> None:
        """A screen has closed; ``said`` is what was put on disk there."""
        self.stand.fresh()
        if said:
            self.stand.go_on()
            self.say(said)
        self.settle()

    def turn_to(self, operation: str) -> None:
        """Look at an operation instead of the one that is offered; at that again with an empty name."""
        self.seat.aim = operation

    def action_line(self, by: int) -> None:
        self.stand.step(by)
        self.settle()

    def action_turn(self, by: int) -> None:
        self.stand.turned = max(self.stand.turned + by, 0)
        self.redraw()

    def action_step_out(self) -> None:
        """The text stays in the field; letters are commands now."""
        self.focus_on(None)
        self.redraw()

    # --- looking ----------------------------------------------------------------------------------

    def action_why(self) -> None:
        from benchflow.tui.screens.why_page import WhyPage

        self.app.push_screen(WhyPage(self.seat, self.stand.operation), self._went)

    action_blocked = action_why

    def action_operations(self) -> None:
        from benchflow.tui.screens.operation_list import OperationsPage

        self.app.push_screen(OperationsPage(self.seat), self._looked_at)

    def _looked_at(self, operation: str | None) -> None:
        if operation:
            self.seat.drafts.goal = ""
            self.turn_to(operation)
        self.came_back(None)

    def _went(self, goal: str | None) -> None:
        """Back from the reasons, on the way to ``goal`` if that was chosen there."""
        if goal:
            self.seat.drafts.goal = goal
        self.came_back(None)

    def action_way(self) -> None:
        self._went(self.stand.operation)
        if self.stand.way is None:
            self.say("There is no safe way there from how things stand; w says why.", role="alarm")

    def action_off_way(self) -> None:
        self.seat.drafts.goal = ""
        self.came_back("Off the way: what comes next in the procedure is offered again.")

    def action_sums(self) -> None:
        from benchflow.tui.bench.fields import is_quantity
        from benchflow.tui.screens.calculation_page import SumsPage

        self.app.push_screen(SumsPage(is_quantity(self.stand.want)), self._summed)

    def _summed(self, result: str | None) -> None:
        """The result is put into the field, and is no reading before Enter says so."""
        if result:
            self.stand.type(result)
        self.came_back("Put into the field; Enter enters it." if result else None)

    # --- doing ------------------------------------------------------------------------------------

    def action_moves(self) -> None:
        from benchflow.tui.screens.moves import MovesPage

        self.app.push_screen(MovesPage(self.seat), self.came_back)

    def action_stands(self) -> None:
        from benchflow.tui.screens.state_page import StandsPage

        self.app.push_screen(StandsPage(self.seat), self.came_back)

    def action_note(self) -> None:
        from benchflow.tui.screens.bench_forms import NotePage

        self.app.push_screen(NotePage(self.seat, self.stand.operation), self.came_back)

    def action_sign(self) -> None:
        from benchflow.tui.screens.bench_forms import SignPage

        self.app.push_screen(SignPage(self.seat, self.stand.operation), self.came_back)

    def action_deviate(self) -> None:
        from benchflow.tui.screens.bench_forms import DeviatePage

        self.app.push_screen(DeviatePage(self.seat, self.stand.operation), self.came_back)

    def action_correct(self) -> None:
        from benchflow.tui.screens.correction_page import EntriesPage

        self.app.push_screen(EntriesPage(self.seat), self.came_back)

    def action_remedy(self) -> None:
        from benchflow.tui.screens.bench_forms import RemedyPage

        want = self.stand.want
        assert want is not None
        self.app.push_screen(RemedyPage(self.seat, want), self.came_back)

    action_remedy_here = action_remedy

    def action_wrench(self) -> None:
        from benchflow.tui.screens.tooling_page import WrenchPage

        self.app.push_screen(WrenchPage(self.seat), self.came_back)

    def action_lubricant(self) -> None:
        from benchflow.tui.screens.tooling_page import LubricantPage

        joint = self.stand.joint
        assert joint is not None
        self.app.push_screen(LubricantPage(self.seat, joint.joint, joint.title), self.came_back)

    def action_take_back(self) -> None:
        from benchflow.tui.screens.rework_page import TakeBackPage

        self.app.push_screen(TakeBackPage(self.seat), self.came_back)

    # --- leaving ----------------------------------------------------------------------------------

    def action_folder(self) -> None:
        from benchflow.tui.screens.leaving_page import FolderPage

        self.app.push_screen(FolderPage(self.seat), self.came_back)

    def action_back(self) -> None:
        from benchflow.tui.screens.leaving_page import LeavePage

        self.app.push_screen(LeavePage(self.seat))

    def action_end(self) -> None:
        from benchflow.tui.screens.leaving_page import EndPage

        self.app.push_screen(EndPage(self.seat), self._ended)

    action_end_early = action_end

    def _ended(self, said: str | None) -> None:
        self.came_back(said)
