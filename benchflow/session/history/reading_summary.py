"""Adds the mean or spread of several readings to the text of the last one."""

import msgspec

from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Plan
from benchflow.session.history.log_titles import verdict_and_limit
from benchflow.session.log.line_format import Line
from benchflow.session.rules.verdicts import combined_text, judge_value
from benchflow.session.state import events as ev
from benchflow.session.state.fold import begin, fold
from benchflow.session.state.state import State


class ReadingSummary:
    """The text on the mean or spread of readings, from a log that is folded line by line.

    After a line that this version cannot read, every text is "".
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._state: State | None = None
        self._unreadable = not plan.steps

    def add(self, line: Line) -> None:
        """Fold the next line of the log."""
        if self._unreadable:
            return
        try:
            self._state = begin(line, self._plan.procedure) if self._state is None else fold(self._state, line)
        except (msgspec.ValidationError, KeyError, ValueError):
            self._state, self._unreadable = None, True

    def text(self, event: ev.Event | None) -> str:
        """``; mean 24.71 mm`` with verdict and limit, if ``event`` completes or changes the value; otherwise ""."""
        state = self._state
        if state is None or not isinstance(event, ev.ReadingRecorded | ev.EntryCorrected):
            return ""
        record = self._record(state, event)
        if record is None:
            return ""
        figures = (_figure_text(state, event.operation, one) for one in record.by_limit)
        titled = zip(("", *(limit.title for limit in record.also)), figures, strict=True)
        return "".join(f"; {title}{' ' if title else ''}{figure}" for title, figure in titled if figure)

    def _record(self, state: State, event: ev.ReadingRecorded | ev.EntryCorrected) -> RecordedValue | None:
        step = state.plan.steps.get(event.operation)
        if isinstance(event, ev.EntryCorrected):
            entry = state.correctable.get(event.event)
            name = "" if entry is None else entry.name
        else:
            name = event.name
        return step.record(name) if step else None


def _figure_text(state: State, operation: str, record: RecordedValue) -> str:
    """``mean 24.71 mm`` with verdict and limit; "" while a reading is missing, and if each reading is judged."""
    figure = combined_text(state, operation, record)
    if not figure:
        return ""
    verdict = judge_value(state, operation, record)
    rule = ", guarded" if record.decision == "guarded" and verdict.verdict != "none" else ""
    return f"{figure}{verdict_and_limit(verdict.verdict, verdict.limit)}{rule}"
