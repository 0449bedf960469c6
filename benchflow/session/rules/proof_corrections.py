"""The effect on the known states when an entry that proves a state changes after its operation was finished."""

from benchflow.session.context import Context, Entry
from benchflow.session.rules.proofs import proved_by, unproven_variables
from benchflow.session.rules.state_after import state_after
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def with_evidence_changed(state: State, entries: tuple[Entry, ...], context: Context) -> tuple[Entry, ...]:
    """``entries``, and one more for each finished operation whose proof of a state variable they change.

    Only a correction, or an entry in an operation that was started again, changes such a proof.
    """
    corrects = any(isinstance(entry.event, ev.EntryCorrected) for entry in entries)
    started_again = state.in_progress is not None and state.work(state.in_progress).finished
    if not entries or not (corrects or started_again):
        return entries
    proving = [step for step in state.plan.steps.values() if state.work(step.id).finished and proved_by(step)]
    if not proving:
        return entries
    after, by = state_after(state, entries, context), entries[-1].by
    found = []
    for step in proving:
        unknown = unproven_variables(after, after.plan.steps.get(step.id, step))
        if after.work(step.id).finished and unknown != unproven_variables(state, step):
            found.append(Entry(by, ev.EvidenceChanged(step.id, unknown)))
    return (*entries, *found)
