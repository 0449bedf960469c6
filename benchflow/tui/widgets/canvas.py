"""The canvas: a widget that shows styled lines and repaints only changed rows."""

from collections.abc import Sequence

from rich.segment import Segment
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from benchflow.base.plaintext import clean
from benchflow.tui.draw.styled_lines import Line, fit
from benchflow.tui.draw.themes import BenchTheme


class Canvas(Widget):
    """Paints the lines given to :meth:`show`. It removes any control characters that are still in them."""

    DEFAULT_CSS = """
    Canvas { width: 100%; height: 100%; position: absolute; }
    """

    def __init__(self, bench_theme: BenchTheme) -> None:
        super().__init__()
        self._bench_theme = bench_theme
        self._lines: tuple[Line, ...] = ()

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines shown now."""
        return self._lines

    def show(self, lines: Sequence[Line]) -> None:
        """Show these lines. Unchanged rows are not painted again."""
        before, self._lines = self._lines, tuple(lines)
        rows = range(max(len(before), len(self._lines)))
        changed = [y for y in rows if before[y : y + 1] != self._lines[y : y + 1]]
        if changed:
            self.refresh(*(Region(0, y, self.size.width, 1) for y in changed))

    def apply_theme(self, bench_theme: BenchTheme) -> None:
        """Use this theme from now on."""
        self._bench_theme = bench_theme
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """Return row ``y`` as Textual paints it."""
        width = self.size.width
        line = self._lines[y] if y < len(self._lines) else ()
        cleaned = tuple((clean(text).replace("\n", " "), role) for text, role in line)
        styles = self._bench_theme.styles
        return Strip([Segment(text, styles[role]) for text, role in fit(cleaned, width)], width)
