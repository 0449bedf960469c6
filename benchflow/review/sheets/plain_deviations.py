"""Deviations, repairs and what was not done, in plain words for the customer."""

from collections.abc import Collection, Iterator
from functools import partial

from benchflow.ordering.wording import step_title
from benchflow.procedure.model import Joint, RecordedValue, values_of
from benchflow.procedure.plan import Step
from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.deviation_figures import ComparedFigures, deviation_figures
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.state.state import check_key

MOST_NAMED = 60
"""At most this many operations are named one by one. Of more, each section has a line with their number."""


_DRY = "dry"
"""The entry for threads without a lubricant."""

_Figures = dict[str, list[str]]
"""Figures of a deviation as text, by their limit."""


def plain_deviations(log: LoadedLog) -> Iterator[str]:
    """Each signed deviation, with its figures, limit and reason; another lubricant; and each operation taken over.

    Deviations of one operation with the same reason are one line.
    """
    together: dict[tuple[str, str, str], dict[str, _Figures]] = {}  # by subject
    for fact in log.facts.deviations:
        if fact.in_force:
            step = log.plan.steps.get(fact.operation)
            subject, place = _subject(log, step, fact.about)
            subjects = together.setdefault((fact.operation, fact.by, fact.reason), {})
            figures = subjects.setdefault(subject, {})
            found = () if step is None else deviation_figures(log, step, fact.about)
            for each in found or (ComparedFigures(place, ""),):
                figures.setdefault(each.limit, []).append(each.figures)
    for (operation, by, reason), subjects in together.items():
        about = ", ".join(
            f"{subject} ({_figures_text(figures)})".removesuffix(" ()") for subject, figures in subjects.items()
        )
        yield f"{step_title(log.plan, operation)}: deviation from {about}. {by} signed it. Reason: {sentence(reason)}"
    for used in log.state.lubricants.values():
        joint: Joint = log.procedure.joints_by_id[used.joint]
        if not joint.lubricant or used.lubricant.casefold() == joint.lubricant.casefold():
            continue
        stated = f"; the torque is stated for {joint.lubricant}"
        dry = used.lubricant.casefold() == _DRY
        words = "the threads were dry" if dry else f"{used.lubricant} was used on the threads"
        yield f"{joint.title or joint.id}: {words}{stated}."
    for step in log.plan.steps.values():
        takeover = log.state.work(step.id).takeover
        if takeover is not None:
            yield f"{step.title}: taken over from an earlier record, signed by {takeover.by}."


def _figures_text(by_limit: _Figures) -> str:
    """``1: 0.3 mm, 2: 0.4 mm; limit at most 0.20 mm``."""
    texts = (
        ", ".join(filter(None, figures)) + (f"; limit {limit}" if limit else "") for limit, figures in by_limit.items()
    )
    return "; ".join(texts)


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


def steps_left(log: LoadedLog) -> tuple[Step, ...]:
    """The steps that were not done. None for a damaged log: nobody knows."""
    if log.damage is not None:
        return ()
    return tuple(step for step in log.plan.steps.values() if step.id not in log.finished and not step.awaits)


def unfinished_words(log: LoadedLog) -> tuple[str, ...]:
    """Sentences for the top of the copy of a job with steps left, or of a job that is open. None for other jobs."""
    session, left = log.facts.session, steps_left(log)
    if log.damage is not None or not (left or session.closed_at is None):
        return ()
    total = len(left) + len(log.finished)
    if not left:
        state = f"All {count(total, 'operation')} are done, but the job is not closed. The record can still change."
        return ("THIS JOB IS NOT CLOSED.", state)
    done = f"{count(len(log.finished), 'operation')} of {total} {'is' if len(log.finished) == 1 else 'are'} done."
    not_done = f"{len(left)} {'is' if len(left) == 1 else 'are'} not done, see below."
    if session.closed_at is None:
        ended = "The work goes on."
    else:
        why = f" Reason: {sentence(session.why_open)}" if session.why_open else ""
        ended = f"The job was ended {local_time_with_zone(session.closed_at)}.{why}"
    return (
        "THIS WORK IS NOT FINISHED.", f"{done} {not_done}", ended,
        "Do not run it, load it or put it into service before the rest is done.",
    )  # fmt: skip


def sentence(text: str) -> str:
    """``text`` with a full stop, unless it ends as a sentence does."""
    return text if text.endswith((".", "!", "?")) else f"{text}."


def operation_titles(log: LoadedLog, steps: Collection[Step]) -> Iterator[str]:
    """The titles of ``steps``; if there are too many for a page, each section with the number of them."""
    if len(steps) <= MOST_NAMED:
        yield from (step.title for step in steps)
        return
    for section in log.procedure.sections:
        number = sum(step.operation.section == section.id for step in steps)
        if number:
            yield f"{section.title}: {count(number, 'operation')}"
