"""Who may act, sign for a role, or sign a deviation."""

from typing import TYPE_CHECKING

from benchflow.procedure.identity import StepId, ValueRef
from benchflow.procedure.plan import Step
from benchflow.session.context import refuse, unknown_name
from benchflow.session.refusal import Refusal
from benchflow.session.rules.joint_progress import joint_progress
from benchflow.session.rules.open_items import HOLD, TIME, limit_reasons, window_subject
from benchflow.session.state.state import State

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


INTERLOCK = ("interference", "interlock", "rule", "never", "after-missing", "state-not-met", "after", "needs", "during")


WINDOWS = (TIME, "too-late", "too-early", "window", "time-window", "time window")


LIMITS = ("limit", "out-of-limit", "not-proven")


NEVER = (
    "check", "check-open", "value-missing", "fastener-order", "stage-not-finished", "instrument-unfit",
    "temporary", "temporary-left", "operation-in-progress", "not-started", "already-done",
)  # fmt: skip
"""Refusals that are no limit, hold or window: what they ask for has to be done."""


def signature_refusal(
    shop: "Shop | None", name: str, role: str | None, pin: str | None, *, ask_pin: bool | None = None
) -> Refusal | None:
    """A refusal when the shop's register does not let ``name`` sign (for ``role``). Without a register of people
    anybody may."""
    if shop is None or not shop.people:
        return None
    from benchflow.session.shop.register import person_may

    why = person_may(shop, name, role, pin, ask_pin=ask_pin)
    return None if why is None else refuse("not-allowed", why, name=name)


def deviation_subject(state: State, step: Step, about: str) -> str | Refusal:
    """The subject of a deviation, by its one name; a refusal when that cannot be waived."""
    names = names_with_limit(state, step)
    for candidate in (about, str(ValueRef(about, step.place))):
        if candidate in names:
            return candidate
    if about in (HOLD, "hold-unsigned"):
        if step.operation.hold is None:
            return refuse("unknown-name", f"{step.title} has no hold", operation=step.id)
        return HOLD
    windows = {window.operation for window in step.time}
    if about in WINDOWS and not windows:
        return refuse("unknown-name", f"{step.title} has no time window", operation=step.id)
    if about in WINDOWS:
        return TIME
    since = about.removeprefix(f"{TIME} ")
    if since in windows or since in {StepId.parse(window).operation for window in windows}:
        return window_subject(since)
    if about in LIMITS:
        return _limit_meant(state, step, names)
    if about in INTERLOCK or about in {variable.name for variable in state.plan.procedure.state}:
        message = "the order and the interference rules cannot be waived: a valve does not care who signed"
        return refuse("not-allowed", message, operation=step.id)
    if about in NEVER or about in step.operation.check:
        message = f"only a limit, a hold or a time window can be waived, not {about}"
        return refuse("not-allowed", message, operation=step.id)
    return unknown_name(f"limit, hold or time window of {step.title}", about, [*names, HOLD, TIME])


def _limit_meant(state: State, step: Step, names: list[str]) -> str | Refusal:
    """The value whose limit is meant by "the limit": the only one there is, or the only one that is not met."""
    open_ones = [reason.name for reason in limit_reasons(state, step) if reason.name is not None]
    meant = list(dict.fromkeys(open_ones)) or names
    if len(meant) == 1:
        return meant[0]
    if not meant:
        return refuse("unknown-name", f"{step.title} has no limit", operation=step.id)
    return refuse("value-missing", f"say which limit is waived: {', '.join(meant)}", operation=step.id, name="about")


def names_with_limit(state: State, step: Step) -> list[str]:
    """Everything in an operation that has a limit of its own."""
    operation = step.operation
    names = [one.name for one in operation.record] + [one.name for one in operation.work_out]
    names += [one.name for one in operation.choose] + [one.name for one in operation.match]
    count = joint_progress(state, step)
    return names if count is None else [*names, count.joint.id]
