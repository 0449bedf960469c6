"""The page with two builds side by side: differences, readings, and working times."""

from collections.abc import Sequence
from typing import Any, ClassVar, Literal

from textual.binding import Binding, BindingType

from benchflow.base.durations import rounded_duration
from benchflow.base.plaintext import clean_line
from benchflow.review.formatting import local_day
from benchflow.review.many.comparison import Comparison, Difference, ReadingPair, Side, TimePair
from benchflow.trade.verdict import VERDICT_TEXT
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, cut, fit, hanging, styled, wrap
from benchflow.tui.review.review_case import ReviewCase
from benchflow.tui.review.review_requests import ReplayRequest
from benchflow.tui.widgets.list_page import leaving_keys, list_keys
from benchflow.tui.widgets.multi_line_list_page import MultiLineListPage, shortened
from benchflow.tui.widgets.page import letter

Part = Literal["differences", "readings", "times"]
HEADS: dict[Part, str] = {
    "differences": "DIFFERENCES, WHAT MATTERS FIRST",
    "readings": "READINGS: LEFT, RIGHT, RIGHT MINUS LEFT",
    "times": "WORKING TIME: LEFT, RIGHT",
}
BETWEEN = " │ "
DIFFERS = "≠ "


class ComparisonPage(MultiLineListPage[Any], inherit_bindings=False):
    """The ``comparison`` of the builds ``left`` and ``right``."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left,enter,space", "replay_left", "replay left", id="compare.replay-left", key_display="←"),
        Binding("right", "replay_right", "replay right", id="compare.replay-right", key_display="→"),
        *(each for each in list_keys("") if not (isinstance(each, Binding) and each.id == "list.choose")),
        Binding(letter("d"), "part('differences')", "differences", id="compare.differences"),
        Binding(letter("r"), "part('readings')", "readings", id="compare.readings"),
        Binding(letter("t"), "part('times')", "times", id="compare.times"),
        *leaving_keys("leave"),
    ]

    def __init__(self, left: ReviewCase, right: ReviewCase, comparison: Comparison) -> None:
        super().__init__()
        self.left, self.right, self.comparison = left, right, comparison
        self.part: Part = "differences"
        self.title_line = clean_line(f"{left.unit}  │  {right.unit}")

    # --- drawing -----------------------------------------------------------------------------

    @property
    def rows(self) -> Sequence[Difference | ReadingPair | TimePair]:
        match self.part:
            case "differences":
                return self.comparison.differences
            case "readings":
                return self.comparison.readings
            case "times":
                return self.comparison.times

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        inner = width - 2
        lines: list[Line] = [
            _indented(pair) for pair in _two_columns(_about(self.comparison.left), _about(self.comparison.right), inner)
        ]
        notes = [
            line
            for each in _both(self.comparison.warnings)
            for line in hanging("NOTE  ", each, width, "text", "attention")
        ]
        lines.extend([*shortened(notes, 4), EMPTY])
        if self.part == "differences" and self.comparison.first is None:
            words = f"{self.comparison.without_difference} Press r for readings, t for times."
            return [*lines, *hanging("", words, width, "strong", "text")]
        of = f"  {self.at + 1} of {self.count()}" if self.count() else "  none"
        lines.append(((HEADS[self.part], "label"), (of, "text")))
        first = self.comparison.first if self.part == "differences" else None
        return lines if first is None else [*lines, styled(f"  {first.section}", "label")]

    def _next_section(self, index: int, row: Difference) -> list[Line]:
        """The title of the section that begins after this row. It is below the row, so that the mark is at a row."""
        following = self.comparison.differences[index + 1 : index + 2]
        return [styled(each.section, "label") for each in following if each.section != row.section]

    def block(self, index: int, width: int) -> Sequence[Line]:
        row = self.rows[index]
        match row:
            case Difference():
                return [*_difference(row, width, index == 0), *self._next_section(index, row)]
            case ReadingPair():
                case = self.left if row.operation in self.left.log.plan.steps else self.right
                return _reading(row, case.title(row.operation), width, index == self.at)
            case TimePair():
                left, right = (
                    "not finished" if side is None else rounded_duration(side) for side in (row.left, row.right)
                )
                return _columns(row.title, (left, right), index == self.at, width)

    # --- keys -------------------------------------------------------------------------

    def _seqs(self) -> tuple[int | None, int | None]:
        row = self.rows[self.at] if self.count() else None
        match row:
            case Difference():
                return row.left_seq, row.right_seq
            case ReadingPair():
                key = (row.operation, row.name, row.slot)
                return self.left.reading(*key), self.right.reading(*key)
            case TimePair():
                return self.left.finishing(row.operation), self.right.finishing(row.operation)
            case None:
                return None, None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        left, right = self._seqs()
        match action:
            case "replay_left":
                return True if left is not None else None
            case "replay_right":
                return True if right is not None else None
            case _:
                return True

    def action_part(self, part: Part) -> None:
        self.part, self.at = part, 0
        self.redraw()

    def action_replay_left(self) -> None:
        self._open(self.left, self._seqs()[0])

    def action_replay_right(self) -> None:
        self._open(self.right, self._seqs()[1])

    def _open(self, case: ReviewCase, seq: int | None) -> None:
        assert seq is not None  # without an event, the key is greyed

        async def work() -> None:
            self.bench_app.open(ReplayRequest(case, await case.point_at(seq)))

        self.run_holding_keys(work())

    def action_back(self) -> None:
        self.bench_app.leave(0)


def _about(side: Side) -> str:
    simulated = ", simulated" if side.simulated else ""
    return f"{side.unit}: revision {side.revision}, {side.by}, {local_day(side.opened_at)}{simulated}"


def _indented(line: Line) -> Line:
    """Return the line with two spaces in front."""
    return (("  ", "text"), *line)


def _two_columns(left: str, right: str, width: int, role: Role = "text") -> list[Line]:
    """Draw two texts side by side, each wrapped in its half of the width."""
    half = (width - len(BETWEEN)) // 2
    one, other = wrap(left, half), wrap(right, half)
    blank = [""] * max(len(one), len(other))
    return [
        (*fit(((a, role),), half), (BETWEEN, "rule"), (b, role))
        for a, b, _ in zip([*one, *blank], [*other, *blank], blank, strict=False)
    ]


def _difference(difference: Difference, width: int, first: bool) -> list[Line]:
    title = f"{difference.title}: {difference.label}" if difference.title else difference.label
    head = hanging(DIFFERS, title, width, "strong" if first else "text", "attention")
    return [*head, *_two_columns(difference.left or "none", difference.right or "none", width, "strong"), EMPTY]


def _reading(pair: ReadingPair, operation: str, width: int, selected: bool) -> list[Line]:
    """Draw both values. Their verdicts are added if the row is selected or the verdicts differ."""
    differs = pair.left_verdict != pair.right_verdict
    lines = _columns(pair.label, (pair.left, pair.right, pair.by or ""), selected, width)
    if differs or selected:
        message = _two_columns(
            _judged(pair.left_verdict, pair.left_share), _judged(pair.right_verdict, pair.right_share), width - 2
        )
        lines.extend(
            (((DIFFERS if differs and y == 0 else "  "), "attention"), *line) for y, line in enumerate(message)
        )
    return [*lines, styled(cut(f"  {operation}", width), "faint")] if selected else lines


def _judged(verdict: str, share: float | None) -> str:
    if not verdict:
        return "not read"
    words = VERDICT_TEXT[verdict] or "no limit"
    return f"{words}, margin {share:.0%}".replace("%", " %") if share is not None and share >= 0 else words


def _columns(name: str, figures: Sequence[str], selected: bool, width: int) -> list[Line]:
    """Draw a name and its figures in one line. A long name has its own line above the figures."""
    cell = 14 if width < 100 else 20
    available = width - cell * len(figures)
    role: Role = "strong" if selected else "text"
    cells = "".join(cut(text or "-", cell - 1).rjust(cell) for text in figures)
    if len(name) < available:
        return [((name.ljust(available), role), (cells, role))]
    return [styled(cut(name, width), role), ((" " * available, role), (cells, role))]


def _both(warnings: Sequence[str]) -> list[str]:
    """Return the warnings. A warning about both builds is listed once."""
    left = [each.removeprefix("left: ") for each in warnings if each.startswith("left: ")]
    right = [each.removeprefix("right: ") for each in warnings if each.startswith("right: ")]
    shared = [f"Both builds: {each}" for each in left if each in right]
    return [*shared, *(each for each in warnings if each.partition(": ")[2] not in set(left) & set(right))]
