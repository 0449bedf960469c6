"""The series of a trend: one reading over the builds of one revision of a procedure."""

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct

from benchflow.quantity.shown import round_half_up
from benchflow.review.formatting import count
from benchflow.review.many.control_chart import Chart
from benchflow.review.many.procedure_revisions import ProcedureKey


class Point(Struct, frozen=True):
    """The value of one build: its reading, or the mean of several. ``limit`` is the limit of that build.

    ``shown``, ``low_shown`` and ``high_shown`` are the value and the ends of the limit rounded for display, without a
    unit.
    """

    session: str
    unit: str  # the unit under build
    at: str
    value: float
    low: float | None
    high: float | None
    limit: str
    verdict: str
    seq: int
    path: str
    simulated: bool
    shown: str
    low_shown: str
    high_shown: str


def rounded_to(value: float, points: Sequence[Point]) -> str:
    """A figure with one decimal more than the points have."""
    places = max((decimals_of(point.shown) for point in points), default=0)
    return f"{round_half_up(Fraction(value), places + 1):f}"


class Series(Struct, frozen=True):
    """One value over the builds of one revision of a procedure, in the order of measuring and in one unit.

    ``chart`` is ``None`` for fewer than two points. ``telling`` are sentences about the chart, the worst first.
    ``limit`` is the limit if builds with another one are in another series, otherwise "".
    """

    name: str
    measured_in: str
    points: tuple[Point, ...]
    chart: Chart | None
    telling: tuple[str, ...]
    procedure: str = ""
    procedure_title: str = ""
    revision: str = ""
    limit: str = ""

    @property
    def title(self) -> str:
        """``end-float, 30 builds, head-install revision C``."""
        limit = f", limit {self.limit}" if self.limit else ""
        builds = count(len(self.points), "build")
        return f"{self.name}, {builds}, {ProcedureKey(self.procedure, self.revision).words}{limit}"

    def rounded(self, value: float) -> str:
        """A figure that is calculated from the points, such as their mean, with one decimal more than they have."""
        return rounded_to(value, self.points)


def decimals_of(shown: str) -> int:
    """The number of decimals of a figure."""
    return len(shown.partition(".")[2])
