"""The reasons why an operation is blocked, and the shortest safe route to it."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import FigureRow, TightenInput
from benchflow.session.view.unknown_states import unknown_states
from benchflow.tui.draw.key_bar import KeyLabel
from benchflow.tui.draw.operation_panel import draw_cautions, paragraph_lines, unknown_state_lines
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, hanging, rule, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.list_page import leaving_keys
from benchflow.tui.widgets.page import TextPage, letter


def source_lines(figures: Sequence[FigureRow], width: int) -> list[Line]:
    """Draw each figure with where it comes from. Figures with the source of the whole procedure are in one line."""
    lines: list[Line] = []
    for row in figures:
        if not row.by_default:
            role: Role = "attention" if row.own_choice else "text" if row.source else "faint"
            lines.extend(hanging(f"· {row.name}: {row.text}  ", row.source or "no source", width, role, "text"))
    others = [row for row in figures if row.by_default]
    if others:
        lead = "All others" if lines else "All figures"
        lines.extend(hanging(f"· {lead}: ", others[0].source, width, "text"))
    return [EMPTY, rule(width, "WHERE THE FIGURES COME FROM"), *lines] if lines else []


class WhyPage(TextPage[str], inherit_bindings=False):
    """Reasons, route and text of an operation, with the keys of the bench that its reasons ask for.

    Its result is the operation to guide to, the action of a key of the bench, or ``None``.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "figure", "give the figure", id="why.figure"),
        Binding("enter", "guide", "", id="why.guide-enter", show=False),
        Binding(letter("g"), "guide", "guide me there", id="why.guide"),
        *(
            Binding(letter(key), f"bench('{key}')", label, id=f"why.{key}")
            for key, label in (("s", "state"), ("r", "remedy"), ("y", "read again"), ("d", "deviate"), ("u", "rework"))
        ),
        *TextPage.BINDINGS,
        *leaving_keys(),
    ]

    def __init__(self, client: SessionClient, operation: str, keys: tuple[KeyLabel, ...] = ()) -> None:
        """``keys`` are the keys of the bench for the operation."""
        super().__init__()
        self.client = client
        self.bench_keys = {label.key: label.action for label in keys if label.enabled}
        self.gives_figure = any(label.id == "bench.figure" and label.enabled for label in keys)
        self.now = client.operation(operation)
        done = any(row.operation == operation and row.status == "done" for row in client.view.operations)
        self.route: Sequence[str] | Refusal = ()
        if not self.now.in_progress and self.now.missing and not done:
            self.route = client.query("route", operation)
        refused = self.route.refused if isinstance(self.route, Refusal) else ()
        self.unknown = unknown_states(client.state, (*self.now.missing, *refused))
        self.title_line = "Why blocked" if self.now.missing and not self.now.in_progress else "Operation"

    def text(self, width: int) -> list[Line]:
        now = self.now
        lines: list[Line] = [EMPTY, *(styled(part, "title") for part in wrap(f"{now.number}  {now.title}", width))]
        lines.extend(self._reasons(width))
        lines.extend(self._asked_lines(width))
        lines.extend(self._route_lines(width))
        if self.unknown:
            lines.extend([EMPTY, *unknown_state_lines(self.unknown, width)])
        lines.extend(self._background_lines(width))
        lines.extend(draw_cautions(now.cautions, width))
        if now.do:
            lines.extend([EMPTY, rule(width, "INSTRUCTION")])
        lines.extend(line for each in now.do for line in paragraph_lines(each, width))
        if now.because:
            lines.extend([EMPTY, *hanging("Why here: ", now.because, width, "text", "label")])
        lines.extend(source_lines(now.figures, width))
        return lines

    def _background_lines(self, width: int) -> list[Line]:
        """The preload of each joint, and how near it is to the proof load."""
        texts = [text for given in self.now.inputs if isinstance(given, TightenInput) for text in given.background]
        if not texts:
            return []
        return [EMPTY, rule(width, "PRELOAD"), *(line for text in texts for line in hanging("· ", text, width))]

    def _reasons(self, width: int) -> list[Line]:
        if not self.now.missing:
            return [EMPTY, styled("Nothing blocks this operation.", "ok")]
        head = "Before it can be finished:" if self.now.in_progress else "Blocked because:"
        out: list[Line] = [EMPTY, styled(head, "label")]
        for reason in self.now.missing:
            out.extend(hanging("× ", reason.message, width, "blocked"))
        return out

    def _asked_lines(self, width: int) -> list[Line]:
        """The figures that can be given before the operation is started."""
        asked = self.now.asked_ahead
        if not asked:
            return []
        return [EMPTY, styled("To be filled in:", "label"),
                *(line for one in asked for line in hanging("→ ", one.title, width, "attention"))]  # fmt: skip

    def _route_lines(self, width: int) -> list[Line]:
        if isinstance(self.route, Refusal):
            out: list[Line] = [EMPTY, styled("There is no safe route to it now:", "label")]
            for reason in self.route.refused:
                out.extend(hanging("× ", reason.message, width, "blocked"))
            return out
        if not self.route or list(self.route) == [self.now.operation]:
            return []
        out = [EMPTY, styled("Shortest safe route:", "label")]
        titles = {row.operation: f"{row.title} (operation {row.number})" for row in self.client.view.operations}
        titles |= {move.move: move.title for move in self.client.view.moves}
        for number, step in enumerate(self.route, start=1):
            out.extend(hanging(f"{number:>2}  ", titles.get(step, step), width, "strong", "label"))
        return out

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "figure":
            return self.gives_figure
        if action == "guide":
            ready = (
                not isinstance(self.route, Refusal) and bool(self.route) and list(self.route) != [self.now.operation]
            )
            return ready and not self.client.view.read_only
        if parameters == ("s",) and not self.unknown:
            return False
        if action == "bench":
            return bool(self.now.missing) and parameters[0] in self.bench_keys
        return True

    def action_guide(self) -> None:
        self.dismiss(self.now.operation)

    def action_figure(self) -> None:
        self.dismiss("screen.figure")

    def action_bench(self, key: str) -> None:
        self.dismiss(self.bench_keys[key])
