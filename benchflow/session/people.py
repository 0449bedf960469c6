"""Signing a hold, and signing a deviation: who may, and that it is written down who did."""

from typing import TYPE_CHECKING

from benchflow.plaintext import clean
from benchflow.procedure.plan import Step
from benchflow.session import events as ev
from benchflow.session import intents as it
from benchflow.session.deciding import Around, Decision, Entry, refuse, unknown
from benchflow.session.judging import judge_value
from benchflow.session.missing import HOLD, TIME, value_reasons
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.state import State
from benchflow.session.tally import tally
from benchflow.session.working import judge_worked, worked_by_itself

if TYPE_CHECKING:
    from benchflow.session.shop import Shop

INTERLOCK = ("interference", "interlock", "never", "after-missing", "state-not-met", "after", "needs")


def allowed(
    shop: "Shop | None", name: str, role: str | None, pin: str | None, *, ask_pin: bool | None = None
) -> Refusal | None:
    """A refusal when the shop's register does not let ``name`` sign (for ``role``). Without a register of people
    anybody may."""
    if shop is None or not shop.people:
        return None
    from benchflow.session.shop import person_may

    why = person_may(shop, name, role, pin, ask_pin=ask_pin)
    return None if why is None else refuse("not-allowed", why, name=name)


def sign(state: State, intent: it.Sign, around: Around, by: str) -> Decision:
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown("operation", intent.operation, state.plan.steps)
    if step.operation.hold is None:
        return refuse("not-allowed", f"{step.title} has no hold to sign", operation=step.id)
    if step.id in state.done:
        return refuse("already-done", f"{step.title} is done already", operation=step.id)
    work = state.work(step.id)
    if state.in_hand != step.id and not work.touched:
        return refuse("not-taken-up", f"{step.title} is not begun: there is nothing to sign for", operation=step.id)
    if intent.by is None or not clean(by).strip():
        return refuse("value-missing", "say who signs (by)", operation=step.id)
    signer = clean(by).strip()
    stopped = allowed(around.shop, signer, step.operation.hold.by, intent.pin)
    if stopped is not None:
        return stopped
    own = signer in work.people or (not work.people and signer == state.by)
    return (Entry(signer, ev.Signed(step.id, step.operation.hold.by, own)),)


def deviate(state: State, intent: it.Deviate, around: Around, by: str) -> Decision:
    """A deviation may waive a limit, a hold or a time window; never an interference rule."""
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown("operation", intent.operation, state.plan.steps)
    if not intent.reason.strip():
        return refuse("value-missing", "say why: a deviation has a reason and a name", operation=step.id)
    about = waivable(state, step, intent.about.strip())
    if isinstance(about, Refusal):
        return about
    if step.id in state.done and not _still_out(state, step, about):
        return refuse("already-done", f"{step.title} is done already", operation=step.id)
    signer = clean(by).strip()
    stopped = allowed(around.shop, signer, None, intent.pin, ask_pin=True)
    if stopped is not None:
        return stopped
    return (Entry(signer, ev.Deviated(step.id, about, clean(intent.reason).strip())),)


def waivable(state: State, step: Step, about: str) -> str | Refusal:
    """What a deviation speaks of, by its one name; a refusal when that cannot be waived."""
    if about in INTERLOCK:
        return refuse(
            "not-allowed",
            "the order and the interference rules cannot be waived: a valve does not care who signed",
            operation=step.id,
        )
    if about in (HOLD, "hold-unsigned"):
        if step.operation.hold is None:
            return refuse("unknown-name", f"{step.title} has no hold", operation=step.id)
        return HOLD
    windows = {window.operation for window in step.time}
    if about in (TIME, "too-late", "too-early") or about in windows:
        if not windows:
            return refuse("unknown-name", f"{step.title} has no time window", operation=step.id)
        return TIME
    names = names_of(state, step)
    for candidate in (about, f"{about}[{step.place}]"):
        if candidate in names:
            return candidate
    if about in ("limit", "out-of-limit", "not-proven") and len(names) == 1:
        return names[0]
    return unknown(f"limit, hold or time window of {step.title}", about, [*names, HOLD, TIME])


def names_of(state: State, step: Step) -> list[str]:
    """Everything in an operation that has a limit of its own."""
    operation = step.operation
    names = [one.name for one in operation.record] + [one.name for one in operation.work_out]
    names += [one.name for one in operation.choose] + [one.name for one in operation.match]
    count = tally(state, step)
    return names if count is None else [*names, count.joint.id]


def _still_out(state: State, step: Step, about: str) -> bool:
    return any(reason.name == about for reason in values_out(state, step))


def values_out(state: State, step: Step) -> tuple[Reason, ...]:
    """Values of a done operation that a correction has put out of their limit, not waived."""
    reasons: list[Reason] = []
    for record in step.operation.record:
        reasons += value_reasons(state, step, record.name, record.slots, judge_value(state, step.id, record))
    for work in worked_by_itself(step):
        worked = judge_worked(state, step, work)
        if worked is not None:
            reasons += value_reasons(state, step, work.name, ("1",), worked.verdict)
    return tuple(reason for reason in reasons if reason.code in ("out-of-limit", "not-proven"))
