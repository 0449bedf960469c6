"""Every answer as lines of text for a terminal. A screen may show the same."""

from collections.abc import Iterator

from benchflow.base.durations import rounded_duration
from benchflow.review.archive.filing_report import Filed
from benchflow.review.evidence.assessment import Guard, Review
from benchflow.review.formatting import count, day
from benchflow.review.many.chart_picture import lines as plot
from benchflow.review.many.comparison import Comparison, Difference
from benchflow.review.many.shared_use import Trace
from benchflow.review.many.trends import Across, Times

_FEW = 12


def review(found: Review, *, every: bool = False) -> Iterator[str]:
    """The suspects with their reasons and what is known; the others in one line each, with ``every`` in full."""
    yield from (f"NOTE  {warning}" for warning in found.warnings)
    yield f"Complaint: {found.complaint}"
    if not found.guards:
        yield "Nothing in this build guards against it." if not found.not_here else ""
    suspects = found.suspects
    if found.guards:
        yield (
            f"{count(len(suspects), 'guard')} of {len(found.guards)} with something against "
            f"{'it' if len(suspects) == 1 else 'them'}, the weakest first:"
            if suspects
            else f"Nothing is held against any of {count(len(found.guards), 'guard')}."
        )
    for guard in found.guards:
        if guard.suspect or every:
            yield ""
            yield from _guard(guard)
    others = [guard for guard in found.guards if not guard.suspect]
    if others and not every:
        yield ""
        yield "With nothing held against them:"
        named = [guard for guard in others if guard.reasons or len(others) <= _FEW]
        for guard in named:
            told = guard.reasons[0].words if guard.reasons else "nothing weak"
            yield f"  {guard.number:>3}  {guard.title} ({told})"
        if len(named) < len(others):
            rest = len(others) - len(named)
            yield f"  {'and ' if named else ''}{rest} more with nothing weak about them (--all tells all)"
    if found.not_here:
        yield ""
        yield f"Not part of this build: {', '.join(found.not_here)}."


def _guard(guard: Guard) -> Iterator[str]:
    yield f"{guard.number:>3}  {guard.title}  [{guard.operation}]"
    for reason in guard.reasons:
        where = f"  (event {reason.seq})" if reason.seq is not None else ""
        yield f"     {reason.grade:>3}  {reason.title.upper()}: {reason.words}{where}"
    for known in guard.known:
        yield f"          {known.words}"


def trace(found: Trace) -> Iterator[str]:
    yield f"{found.asked}: {len(found.touched)} of {count(found.looked_at, 'session')}, the worst first"
    yield from (f"NOTE  {note}" for note in found.notes)
    for one in found.touched:
        where = f"{one.bench}: {one.path}" if one.bench else one.path
        yield ""
        state = "closed" if one.closed else "still open"
        yield f"{one.unit or one.session[:16]}  {day(one.opened_at)}, {one.by}, {state}"
        yield f"     {where}"
        for reason in one.reasons[:6]:
            seq = f"  (event {reason.seq})" if reason.seq is not None else ""
            yield f"     {reason.grade:>3}  {reason.title}: {reason.words}{seq}"
        if len(one.reasons) > 6:
            yield f"          and {len(one.reasons) - 6} more"
    yield from _left_out(found.left_out)


def _left_out(paths: tuple[str, ...]) -> Iterator[str]:
    if paths:
        yield ""
        yield f"{count(len(paths), 'file')} left out, which may hold what matters:"
        yield from (f"  {path}" for path in paths)


def across(found: Across) -> Iterator[str]:
    if not found.series:
        yield "No build has such a reading."
    for series in found.series:
        yield f"{series.name}, {count(len(series.points), 'build')}"
        yield from plot(series)
        yield from (f"  {words}" for words in series.telling)
        yield ""
    yield from (f"NOTE  {note}" for note in found.notes)


def times(found: Times) -> Iterator[str]:
    yield f"{'operation':<32}{'builds':>7}{'shortest':>12}{'middle':>12}{'longest':>12}"
    for one in found.operations:
        yield (
            f"{one.operation:<32}{one.builds:>7}{rounded_duration(one.shortest):>12}{rounded_duration(one.middle):>12}"
            f"{rounded_duration(one.longest):>12}  {one.longest_unit}"
        )
    yield from (f"NOTE  {note}" for note in found.notes)


def comparison(found: Comparison) -> Iterator[str]:
    for name, side in (("left", found.left), ("right", found.right)):
        yield f"{name:<6} {side.unit}: {side.procedure} revision {side.revision}, {side.by}, {day(side.opened_at)}"
    yield from (f"NOTE  {warning}" for warning in found.warnings)
    yield ""
    if found.first is None:
        yield "Nothing differs but figures."
    for place, difference in enumerate(found.differences):
        if place == 0:
            yield "Differs first:"
        elif place == 1:
            yield "And then:"
        yield from _difference(difference)
    yield ""
    yield f"{'reading':<34} {'left':>14} {'right':>14} {'by':>14}"
    for pair in found.readings:
        name = f"{pair.name} {pair.slot if pair.slot not in ('', '1') else ''}".strip()
        yield f"{name:<34} {pair.left or '-':>14} {pair.right or '-':>14} {pair.by or '':>14}".rstrip()
    yield ""
    yield f"{'time in hand':<44}{'left':>12}{'right':>12}"
    for time in found.times:
        left, right = ("-" if side is None else rounded_duration(side) for side in (time.left, time.right))
        yield f"{time.title[:42]:<44}{left:>12}{right:>12}"


def _difference(difference: Difference) -> Iterator[str]:
    where = f"{difference.title}: " if difference.title else ""
    what = what_differs(difference)
    yield f"  {where}{what}: {difference.left or 'none'} | {difference.right or 'none'}"


def what_differs(difference: Difference) -> str:
    """``lot of corner-sealant``, ``time in hand``: without the operation."""
    return _WHAT.get(difference.kind, "{}").format(difference.what)


_WHAT = {
    "deviation": "deviation about {}", "lot": "lot of {}", "signature": "signed as {}", "instrument": "{} used",
    "start": "{} at the start",
}  # fmt: skip


def filed(report: Filed) -> Iterator[str]:
    yield (
        f"{count(report.looked_at, 'log')} looked at: {report.new} new, {report.grown} grown, "
        f"{report.unchanged} unchanged, {count(report.copies, 'copy', 'copies')}; {count(report.events, 'event')} read."
    )
    yield from (f"left out: {left.path} {left.why}" for left in report.left_out)
    for path in report.newer:
        yield f"newer: {path} was written by a newer version; what this one does not know is left out"
    for path in report.gone:
        yield f"gone: {path} is no longer there; its session is kept. archive --rebuild forgets it"
