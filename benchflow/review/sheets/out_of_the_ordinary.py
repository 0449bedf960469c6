"""What was out of the ordinary in a build, one line each: for the build sheet and the end of a job at the bench.

By the same rule as the review: every weak point from the grade :data:`SUSPECT` on is a line. So is every deviation,
remedy, repair, rework, correction and note, and every operation that was not done.
"""

from collections.abc import Collection, Iterable, Iterator
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from benchflow.ordering.wording import state_text
from benchflow.review.evidence.job_points import job_points
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.evidence.weights import SUSPECT
from benchflow.review.formatting import local_time
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.sheet_content import BuildSheetOperation
from benchflow.session.history.history import correction_text, known_event
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.state.events import EntryCorrected
from benchflow.trade.verdict import NOT_ACCEPTED

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class UnusualLine(Struct, frozen=True):
    """One line without the operation. ``says`` are the kinds of weak points that it states, which get no other line.

    ``about`` limits them to weak points about that value.
    """

    text: str
    says: frozenset[str] = frozenset()
    about: str = ""

    def states(self, point: WeakPoint) -> bool:
        """True if the line states the weak point."""
        return point.kind in self.says and self.about in ("", point.about)


_NOT_DONE: Final = frozenset({"never-done", "not-known"})
_TAKEN_OVER: Final = frozenset({"taken-over", "taken-on-trust"})
_NOT_ACCEPTED: Final = frozenset({"out-of-limit", "not-proven"})
_DEVIATION: Final = frozenset({"deviation"})
_SELF_SIGNED: Final = frozenset({"self-signed"})
_FAILED: Final = frozenset({"fastener-failed"})
_REDONE: Final = frozenset({"redone"})
_NOTE: Final = frozenset({"odd-note"})
_RETAKEN: Final = "retaken"
_DAMAGED: Final = "log-damaged"  # a warning of the log says that


def out_of_the_ordinary(
    log: LoadedLog, operations: Collection[BuildSheetOperation], shop: "Shop | None" = None
) -> tuple[tuple[str, ...], bool]:
    """The lines by operation, in the author's order, and whether the review suspects any step or the whole job.

    The lines on the whole job come last.

    ``operations`` are those of the build sheet. ``shop`` is the shop's register, as in a review.
    """
    titles = LogTitles(log.plan, None)
    lines: list[str] = []
    suspected: list[WeakPoint] = []
    suspects = False
    for operation in operations:
        head = f"{operation.number}  {operation.title}"
        step = log.plan.steps[operation.operation]
        recorded = tuple(_recorded_lines(operation, known=log.damage is None))
        lines += (f"{head}: {line.text}" for line in recorded)
        points = tuple(weak_points_of(log, step, shop))
        suspects = suspects or any(point.grade >= SUSPECT for point in points)
        added = tuple(_added_points(points, recorded))
        suspected += added
        lines += (f"{head}: {_point_text(point)}" for point in added)
        shown = {point.seq for point in added}
        lines += (f"{head}: {text}" for text in _corrections(log, operation, titles, shown))
        lines += (f"{head}: note, {note}" for note in operation.notes)
    lines += _states_by_hand(log, {point.seq for point in suspected})
    of_job = [point for point in job_points(log, shop) if point.grade >= SUSPECT]
    lines += (f"The whole job: {_point_text(point)}" for point in of_job if point.kind != _DAMAGED)
    return tuple(lines), suspects or bool(of_job)


def _point_text(point: WeakPoint) -> str:
    # The usual title of this kind is a judgement. The sheet states only the fact: more than one attempt.
    title = "measured again" if point.kind == _RETAKEN else point.title
    return f"{title}, {point.words}"


def _recorded_lines(operation: BuildSheetOperation, *, known: bool) -> Iterator[UnusualLine]:
    """What the log says itself. ``known`` is false if the log is damaged."""
    if not operation.done:
        yield UnusualLine("not done" if known else "not known", _NOT_DONE)
    if operation.taken_over:
        yield UnusualLine(operation.taken_over, _TAKEN_OVER)
    for value in operation.values:
        if value.verdict in NOT_ACCEPTED:
            yield UnusualLine(value.words, _NOT_ACCEPTED, value.name)
        elif value.used:
            yield UnusualLine(f"used part: {value.words}")
    for deviation in operation.deviations:
        yield UnusualLine(f"deviation {deviation}", _DEVIATION)
    if operation.self_signed:
        signed = f"the builder signed the hold point for their own work, {operation.signed}"
        yield UnusualLine(signed, _SELF_SIGNED)
    for remedy in operation.remedies:
        yield UnusualLine(f"remedy, {remedy}")
    for failed in operation.failed_fasteners:
        yield UnusualLine(f"fastener failed, {failed}", _FAILED)
    for redone in operation.redone:
        yield UnusualLine(f"reworked, {redone}", _REDONE)


def _added_points(points: Iterable[WeakPoint], recorded: Iterable[UnusualLine]) -> Iterator[WeakPoint]:
    """The weak points that the review suspects, and repeated readings, unless a recorded line states them."""
    said = tuple(recorded)
    for point in points:
        if point.kind == _RETAKEN:
            yield point  # recorded, so a line whatever its grade
            continue
        if point.grade < SUSPECT or point.kind in _NOTE or any(line.states(point) for line in said):
            continue  # every note is a line
        yield point


def _states_by_hand(log: LoadedLog, shown: Collection[int | None]) -> Iterator[str]:
    """The states that were entered as found, without those at the events ``shown``."""
    for line, event in log.states_by_hand:
        if event.value is not None and line.seq not in shown:
            text = state_text(log.procedure, event.variable, event.value)
            reason = f": {event.reason}" if event.reason else ""
            yield f"State found, {local_time(line.at)}, {line.by}: {text}{reason}"


def _corrections(
    log: LoadedLog, operation: BuildSheetOperation, titles: LogTitles, shown: Collection[int | None]
) -> Iterator[str]:
    """The corrections of an operation, without those at the events ``shown``."""
    for line in log.lines:
        event = known_event(line) if line.kind == "corrected" and line.seq not in shown else None
        if isinstance(event, EntryCorrected) and event.operation == operation.operation:
            yield correction_text(event, log.lines, titles)
