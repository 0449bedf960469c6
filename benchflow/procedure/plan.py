"""One build's procedure: options answered, `each` repeated, names resolved. What everything after works on.

``Plan`` is made by :func:`benchflow.procedure.expand.expand`.
"""

from msgspec import Struct

from benchflow.procedure.model import Mark, Operation, Procedure, Settings, Values


class TimeWindow(Struct, frozen=True):
    """Seconds since ``operation`` (an id in the plan) was last finished."""

    operation: str
    low: float | None
    high: float | None
    text: str
    mark: Mark = Mark()


class Step(Struct, frozen=True):
    """An operation of this build.

    ``id`` is ``seat[1]`` where the author's ``each`` repeats it. ``after`` holds ids in this plan only:
    what is not part of the build is dropped, which is what treating it as done means. It includes the
    operations that a time window counts from. ``operation`` is the author's operation with
    ``{place}`` already filled into its texts and, under ``each``, its record, work-out, choose and
    match names already followed by their place (``journal[2]``).
    """

    id: str
    operation: Operation
    place: str | None
    after: tuple[str, ...]
    needs: Values
    during: Settings
    sets: Settings
    time: tuple[TimeWindow, ...]
    takes: float  # seconds, 0 where not given
    undo_needs: Values = {}
    undo_sets: Settings = {}

    @property
    def title(self) -> str:
        return self.operation.title


class Plan(Struct, frozen=True):
    """``steps`` in the author's order; dicts keep that order."""

    procedure: Procedure
    options: dict[str, str]
    steps: dict[str, Step]

    def number(self, step_id: str) -> int:
        """The number shown at the bench, from 1."""
        return list(self.steps).index(step_id) + 1
