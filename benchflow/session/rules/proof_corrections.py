"""Corrections of entries that prove a state variable: what is known afterwards."""

from benchflow.session.context import Context, Entry
from benchflow.session.rules.proofs import proved_by, unproven_variables
from benchflow.session.rules.state_after import state_after
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def evidence_entries(state: State, entries: tuple[Entry, ...], context: Context, by: str) -> tuple[Entry, ...]:
    """An entry for each finished operation whose proof of a state variable changes with ``entries``."""
    proving = [step for step in state.plan.steps.values() if step.id in state.done and proved_by(step)]
    if not proving:
        return ()
    after = state_after(state, entries, context)
    found = []
    for step in proving:
        unknown = unproven_variables(after, step)
        if unknown != unproven_variables(state, step):
            found.append(Entry(by, ev.EvidenceChanged(step.id, unknown)))
    return tuple(found)
