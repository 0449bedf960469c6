"""Signatures for corrections that make good what only a deviation could pass. They need the signature of a deviation.

This is a value or a fastener that waits for its remedy or has come to its stop, a table without a part for a value,
and a value that disproves a state variable.
"""

from collections.abc import Iterator

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.evidence import NEVER
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Entry, quoted_title, refuse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_remedies import check_remedies
from benchflow.session.rules.choice_tables import outside_reason
from benchflow.session.rules.deviation_subjects import fastener_subject
from benchflow.session.rules.open_values import value_title
from benchflow.session.rules.proofs import failed_proofs, judged_missing, proved_by
from benchflow.session.rules.readings_judged_again import with_readings_judged_again
from benchflow.session.rules.remedy_progress import remedy_progress
from benchflow.session.rules.signatures import may_not_sign, signature_proof
from benchflow.session.rules.stage_remedies import fastener_remedies
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.ticks_judged_again import with_ticks_judged_again
from benchflow.session.rules.waivers import roles_to_waive, waive_rules
from benchflow.session.state.events import EntryCorrected
from benchflow.session.state.state import State, check_key


class MadeGood(Struct, frozen=True):
    """Something that a correction makes good: the subject that a deviation would have, and the name of its value."""

    step: Step
    subject: str
    name: str
    proof: bool = False  # true if it proves a state variable


def sign_correction(
    state: State, correction: Entry, context: Context, by: str, pin: str | None
) -> tuple[Entry, ...] | Refusal:
    """The correction with its signature, if it needs one; a refusal if ``by`` cannot sign it."""
    event = correction.event
    assert isinstance(event, EntryCorrected)
    made_good = tuple(_made_good(state, correction, context))
    if not made_good:
        return (correction,)
    roles: dict[str, None] = {}
    for each in made_good:
        if NEVER in waive_rules(state, each.step, each.subject):
            return _never(state, each)
        roles.update(dict.fromkeys(roles_to_waive(state, each.step, each.subject)))
    for role in roles or (None,):
        refusal = may_not_sign(state, context, by, role, pin, ask_pin=True)
        if refusal is not None:
            return refusal
    signed = replace(event, role=", ".join(roles), proven=signature_proof(context, by, pin))
    return (replace(correction, event=signed),)


def roles_for_corrections(state: State) -> tuple[str, ...] | None:
    """The roles that the signature of a correction may need now; ``None`` if no correction needs a signature."""
    found: dict[str, None] = {}
    any_not_good = False
    for step in (state.plan.steps[name] for name in state.works if name in state.plan.steps):
        for _, each in _not_good(state, step):
            any_not_good = True
            found.update(dict.fromkeys(roles_to_waive(state, step, each.subject)))
    return tuple(found) if any_not_good else None


def _made_good(state: State, correction: Entry, context: Context) -> Iterator[MadeGood]:
    """What is not good before the correction and good after it. It can be of other operations than the entry."""
    worked_on = [state.plan.steps[name] for name in state.works if name in state.plan.steps]
    before = {step.id: tuple(_not_good(state, step)) for step in worked_on}
    if not any(before.values()):
        return
    entries = with_readings_judged_again(state, with_ticks_judged_again(state, (correction,), context), context)
    after = state_after(state, entries, context)
    for step in worked_on:
        still = {key for key, _ in _not_good(after, after.plan.steps.get(step.id, step))}
        yield from (each for key, each in before[step.id] if key not in still)


def _not_good(state: State, step: Step) -> Iterator[tuple[tuple[str, str], MadeGood]]:
    """What is not good in a step. The key has the subject and the side or kind."""
    if step.id not in state.done:
        for progress in remedy_progress(state, step):
            subject = progress.result.subject
            yield (
                (subject, f"{progress.verdict} {progress.result.limit}"),
                MadeGood(step, subject, progress.result.name),
            )
        tighten = step.operation.tighten
        for fastener in () if tighten is None else fastener_remedies(state, step):
            assert tighten is not None  # the fastener is of its joint
            subject = fastener_subject(tighten.joint, fastener.tick.fastener)
            yield (subject, str(fastener.verdict)), MadeGood(step, subject, tighten.joint)
        for check in check_remedies(state, step):
            subject = check_key(check.number)
            yield (subject, str(check.verdict)), MadeGood(step, subject, subject)
        for choose in step.operation.choose:
            if outside_reason(state, step, choose) is not None:
                yield (choose.name, "outside"), MadeGood(step, choose.name, choose.name)
    for value in failed_proofs(state, step) if proved_by(step) else ():
        if not judged_missing(state, step, value):
            yield (value.name, "proof"), MadeGood(step, value.name, value.name, proof=True)


def _never(state: State, found: MadeGood) -> Refusal:
    """The refusal of a correction that would make good what nobody can waive."""
    what, instead = value_title(found.step, found.name), "Carry out the remedy, or rework the operation"
    if found.proof:
        what = f"{found.name} of {quoted_title(state, found.step.id)} proves a state and"
        instead = "Measure again"
    message = f"{what} cannot be waived (`waive: never`), so a correction cannot make it good. {instead}"
    return refuse("not-allowed", message, operation=found.step.id, name=found.name)
