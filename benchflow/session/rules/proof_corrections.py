"""Corrections of entries that prove a state variable: what changes, and who can sign it."""

from benchflow.procedure.evidence import NEVER
from benchflow.session.context import Context, Entry, quoted_title, refuse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.proofs import failed_proofs, judged_missing, proved_by, unproven_variables
from benchflow.session.rules.signatures import may_not_sign
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.waivers import roles_to_waive, waive_rules
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


def correction_refusal(
    state: State, entries: tuple[Entry, ...], context: Context, by: str, pin: str | None
) -> Refusal | None:
    """A refusal if ``entries`` make a failed proof good, and ``by`` cannot sign a deviation about it."""
    proving = [step for step in state.plan.steps.values() if proved_by(step) and state.work(step.id).touched]
    if not proving:
        return None
    after = state_after(state, entries, context)
    for step in proving:
        still = {value.name for value in failed_proofs(after, step)}
        for value in failed_proofs(state, step):
            if value.name in still or judged_missing(state, step, value):
                continue
            if NEVER in waive_rules(state, step, value.name):
                message = (
                    f"{value.name} of {quoted_title(state, step.id)} proves a state and cannot be waived "
                    "(`waive: never`), so a correction cannot make it good. Measure again"
                )
                return refuse("not-allowed", message, operation=step.id, name=value.name)
            for role in roles_to_waive(state, step, value.name):
                refusal = may_not_sign(context, by, role, pin, ask_pin=True)
                if refusal is not None:
                    return refusal
    return None
