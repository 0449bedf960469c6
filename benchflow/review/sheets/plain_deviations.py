"""Deviations, repairs and what was not done, in plain words for the customer."""

from collections.abc import Iterator
from functools import partial

from benchflow.ordering.wording import step_title
from benchflow.procedure.model import Joint, RecordedValue, values_of
from benchflow.procedure.plan import Step
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.state.state import check_key

MOST_NOT_DONE = 12
"""At most this many operations that were not done are named one by one; then their number follows."""


def plain_deviations(log: LoadedLog) -> Iterator[str]:
    """Each signed deviation, with its reason; another lubricant; and each operation taken over from an earlier log.

    Deviations of one operation with the same reason are one line.
    """
    together: dict[tuple[str, str, str], dict[str, list[str]]] = {}  # subjects with their places
    for fact in log.facts.deviations:
        if fact.in_force:
            subjects = together.setdefault((fact.operation, fact.by, fact.reason), {})
            subject, place = _subject(log, log.plan.steps.get(fact.operation), fact.about)
            subjects.setdefault(subject, []).append(place)
    for (operation, by, reason), subjects in together.items():
        about = ", ".join(
            f"{subject} ({', '.join(filter(None, places))})".removesuffix(" ()") for subject, places in subjects.items()
        )
        end = "" if reason.endswith((".", "!", "?")) else "."
        yield f"{step_title(log.plan, operation)}: deviation from {about}. {by} signed it. Reason: {reason}{end}"
    for used in log.state.lubricants.values():
        joint: Joint = log.procedure.joints_by_id[used.joint]
        stated = f"; the torque is stated for {joint.lubricant}" if joint.lubricant else ""
        yield f"{joint.title or joint.id}: {used.lubricant} was used on the threads{stated}."
    for step in log.plan.steps.values():
        takeover = log.state.work(step.id).takeover
        if takeover is not None:
            yield f"{step.title}: taken over from an earlier record, signed by {takeover.by}."


def _subject(log: LoadedLog, step: Step | None, about: str) -> tuple[str, str]:
    """The subject of a deviation, and the reading or fastener, "" for all.

    A value, a joint or a check has its title in place of its name in the file.
    """
    name, _, place = about.partition("[")
    for value in () if step is None else values_of(step.operation):
        if about == value.name or about.startswith(f"{value.name}["):
            slot = about.removeprefix(value.name).strip("[]")
            title = _value_title(step, value.name)
            return f"the limit of “{title or value.name}”", slot
    joint = log.procedure.joints_by_id.get(name)
    if joint is not None:
        return f"the tightening of {joint.title or joint.id}", place.removesuffix("]")
    for number, point in enumerate(() if step is None else step.operation.check, 1):
        if about in (point.id, check_key(number)):
            return f"the check “{point.text}”", ""
    return subject_text(about, partial(step_title, log.plan)), ""


def plain_repairs(log: LoadedLog) -> Iterator[str]:
    """Each failed fastener with its repair, and each remedy that was carried out."""
    for failed in log.facts.failed_fasteners:
        joint = log.procedure.joints_by_id.get(failed.joint)
        title = failed.joint if joint is None else joint.title or joint.id
        yield title + failed.words.removeprefix(failed.joint)
    for remedy in log.facts.remedies:
        title = _value_title(log.plan.steps.get(remedy.operation), remedy.name)
        yield f"{step_title(log.plan, remedy.operation)}: {title + ': ' if title else ''}{remedy.do}"


def _value_title(step: Step | None, name: str) -> str:
    for value in () if step is None else values_of(step.operation):
        if value.name == name:
            return value.handover or (value.ask if isinstance(value, RecordedValue) else value.title)
    return ""


def plain_not_done(log: LoadedLog) -> Iterator[str]:
    """The operations that were not done, and the reason for ending the job early. Nothing for a damaged log."""
    if log.damage is not None:
        return  # nobody knows
    steps = log.plan.steps.values()
    left = [step.title for step in steps if step.id not in log.finished and not step.awaits]
    yield from left[:MOST_NOT_DONE]
    if len(left) > MOST_NOT_DONE:
        yield f"and {len(left) - MOST_NOT_DONE} more operations"
    if left and log.facts.session.why_open:
        yield f"Reason: {log.facts.session.why_open}"
