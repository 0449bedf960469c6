"""The subjects of a deviation, the text for any subject, and the entries that a deviation covers."""

from collections.abc import Callable, Iterable

from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Plan
from benchflow.session.state.state import HOLD, Deviation, Work

TIME = "time"
"""The subject of a deviation that waives all time windows of an operation."""


def window_subject(operation: str) -> str:
    """The subject of a deviation that waives only the time window counted from ``operation``: ``time <operation>``.

    The word ``time`` keeps it apart from a value with the name of the operation.
    """
    return f"{TIME} {operation}"


def fastener_subject(joint: str, fastener: int) -> str:
    """The subject of a deviation that waives the ticks of one fastener: ``studs[3]``."""
    return f"{joint}[{fastener}]"


def subject_text(subject: str, title: Callable[[str], str] = str) -> str:
    """The subject of a deviation inside a sentence: ``the time window``, ``the hold point``, or the name of a value.

    ``title`` returns the title of an operation. Without it, the text has the id of the operation.
    """
    if subject == TIME:
        return "the time window"
    if subject == HOLD:
        return "the hold point"
    if subject.startswith(window_subject("")):
        return f"the time window after “{title(subject.removeprefix(window_subject('')))}”"
    return subject


def titled_value(plan: Plan, subject: str) -> str:
    """A value with its reading, by its title: ``Width of the gears, driven`` for ``width[driven]``.

    Any other subject stays as it is.
    """
    name, _, reading = subject.partition("[")
    for value in (*plan.values(subject), *plan.values(name)):
        title = (value.ask if isinstance(value, RecordedValue) else value.title) or value.name
        slot = "" if value.name == subject else reading.removesuffix("]")
        return f"{title}, {slot}" if slot else title
    joint = plan.procedure.joints_by_id.get(name)
    return (
        f"{joint.title}, no. {reading.removesuffix(']')}" if joint is not None and joint.title and reading else subject
    )


def covering_deviation(work: Work, subjects: Iterable[str], entries: frozenset[int]) -> Deviation | None:
    """The deviation about one of ``subjects`` that covers all ``entries`` (their ``seq``); ``None`` if none does."""
    found = (work.deviations[subject] for subject in subjects if subject in work.deviations)
    return next((deviation for deviation in found if entries <= deviation.entries), None)
