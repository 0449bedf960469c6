"""Sentences on a job that continues another log: what it took over, and where the engine contradicts the old log."""

from collections.abc import Iterator

from msgspec import Struct

from benchflow.ordering.wording import in_a_sentence, state_text
from benchflow.review.formatting import count, local_time
from benchflow.session.history.event_text import continued_text, takeover_basis
from benchflow.session.state.state import State


class ContradictedState(Struct, frozen=True):
    """A state variable that an operation taken over set, but that was found otherwise when it was asked again."""

    step: str
    variable: str
    value: str | None  # as the operation set it


def continuation_remarks(state: State) -> Iterator[str]:
    """What a job took over from the log that it continues, and which other logs of the unit it names."""
    opened = state.opened
    if opened.continues is not None:
        bases = [work.takeover.event.basis for work in state.works.values() if work.takeover is not None]
        doubtful = sum(basis != "trusted" for basis in bases)
        text = continued_text(opened.continues).removeprefix("CONTINUES ")
        taken = f"{count(len(bases), 'operation')} taken over from it"
        doubt = f", {doubtful} of them without trusted evidence" if doubtful else ""
        yield f"The job continues the log {text}. {taken}{doubt}."
    for found in contradicted_states(state):
        title = state.plan.steps[found.step].title
        procedure = state.plan.procedure
        set_, asked = (
            in_a_sentence(state_text(procedure, found.variable, value))
            for value in (found.value, opened.start.get(found.variable))
        )
        yield f"By “{title}”, which was taken over, {set_}; when the state was asked again, {asked}. The latter counts."
    if opened.earlier:
        names = ", ".join(f"{each.file} ({each.done} of {each.of or '?'} done)" for each in opened.earlier)
        yield f"{count(len(opened.earlier), 'earlier log')} of this unit on the bench at the start of the job: {names}."


def contradicted_states(state: State) -> Iterator[ContradictedState]:
    """The variables whose last value taken over differs from the state that was asked again."""
    for name, writes in state.writes.items():
        taken = [write for write in writes if write.taken_over]
        asked = state.opened.start.get(name)
        if taken and asked is not None and taken[-1].value != asked:
            yield ContradictedState(taken[-1].step, name, taken[-1].value)


def takeover_text(state: State, step: str) -> str:
    """``taken over from a.jsonl by Ines (inspector, with PIN), 2026-03-01 19:00, from the earlier log (event 3)``.

    Empty for an operation that was done in this job.
    """
    takeover, continues = state.work(step).takeover, state.opened.continues
    if takeover is None or continues is None:
        return ""
    event = takeover.event
    roles = ", ".join(part for part in (event.role, "with PIN" if event.proven == "pin" else "") if part)
    who = f"{takeover.by} ({roles})" if roles else takeover.by
    reason = f": {event.reason}" if event.reason else ""
    return f"taken over from {continues.file} by {who}, {local_time(takeover.at)}, {takeover_basis(event)}{reason}"
