"""Who can waive what by a deviation, and who is the second person for a hold."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchflow.base.plaintext import folded
from benchflow.procedure.evidence import ANYONE, NEVER, waive_in_force
from benchflow.procedure.identity import StepId
from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.context import quoted_title, refuse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.deviation_subjects import TIME, subject_text, window_subject
from benchflow.session.rules.running_clocks import counted_from, wait_from
from benchflow.session.rules.value_results import named_value
from benchflow.session.state.state import HOLD, Deviation, State, check_key

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


def waive_rules(state: State, step: Step, about: str) -> tuple[str, ...]:
    """Who can sign a deviation about ``about``: ``anyone``, ``never`` or roles. The signer must satisfy all of them.

    The nearest `waive` counts: that of the value, the hold or the window, else of the operation, else of the procedure.
    A hold also needs the role that signs it.
    """
    procedure, operation = state.plan.procedure, step.operation
    of_operation = waive_in_force(procedure, operation, "")
    hold = step.operation.hold
    if about == HOLD and hold is not None:
        return tuple(dict.fromkeys((hold.by, hold.waive or of_operation)))
    for number, point in enumerate(operation.check, 1):
        if about == check_key(number):
            return (point.waive or of_operation,)
    windows = [window for window in step.time if about in window_subjects(window)]
    named = named_value(state, step, about)
    name = about if named is None else named[0]
    own = tuple(window.waive for window in windows) or tuple(
        value.waive for value in (step.record(name), step.work_out(name)) if value is not None
    )
    return tuple(dict.fromkeys(rule or of_operation for rule in own)) or (of_operation,)


def window_subjects(window: TimeWindow) -> tuple[str, str, str]:
    """The subjects of deviations that waive a time window."""
    return TIME, window_subject(window.operation), window_subject(StepId.parse(window.operation).operation)


def window_deviations(state: State, step: Step, window: TimeWindow) -> Iterator[Deviation]:
    """The deviations that are signed about a time window, whatever it counted from then."""
    signed = state.work(step.id).deviations
    return (signed[subject] for subject in window_subjects(window) if subject in signed)


def window_is_waived(state: State, step: Step, window: TimeWindow) -> bool:
    """True if a deviation waives the window as it counts now: not if what it counts from was done again since."""
    counted = {time.seq for time in (counted_from(state, window), wait_from(state, window)) if time is not None}
    return any(
        not deviation.clocks or (bool(counted) and counted <= set(deviation.clocks))
        for deviation in window_deviations(state, step, window)
    )


def clocks_waived(state: State, step: Step, about: str) -> tuple[int, ...]:
    """The ``seq`` of each event that the windows about ``about`` count from now; empty if none of them runs."""
    windows = [window for window in step.time if about in window_subjects(window)]
    found = (time for window in windows for time in (counted_from(state, window), wait_from(state, window)))
    return tuple(sorted({since.seq for since in found if since is not None}))


def about_a_window(about: str) -> bool:
    """True if the subject of a deviation is a time window, or all of them."""
    return about == TIME or about.startswith(window_subject(""))


def not_waivable(state: State, step: Step, about: str) -> Refusal | None:
    """A refusal if nobody can waive ``about``; otherwise ``None``."""
    if NEVER not in waive_rules(state, step, about):
        return None
    what = subject_text(about, lambda name: quoted_title(state, name).strip("“”"))
    message = f"{what[:1].upper()}{what[1:]} of {quoted_title(state, step.id)} cannot be waived (`waive: never`)"
    return refuse("not-allowed", f"{message}. {_instead(about)}", operation=step.id, name=about)


def _instead(about: str) -> str:
    """What to do instead of waiving ``about``."""
    if about == HOLD:
        return "Have the hold signed"
    if about.startswith(check_key(0).rstrip("0")):
        return "Put it right and answer yes"
    if about_a_window(about):
        return "Keep the time: wait, or redo the operation that it counts from"
    return "Bring it within its limit: use its remedy, or rework the operation"


def roles_to_waive(state: State, step: Step, about: str) -> tuple[str, ...]:
    """The roles that the signer of a deviation about ``about`` must have."""
    return tuple(rule for rule in waive_rules(state, step, about) if rule not in (ANYONE, NEVER))


def deviation_advice(state: State, step: Step, about: str) -> str:
    """How a deviation about ``about`` is possible, as the end of a sentence; empty if nobody can sign it."""
    if NEVER in waive_rules(state, step, about):
        return ""
    roles = roles_to_waive(state, step, about)
    return f"have a deviation signed (role: {' and '.join(roles)})" if roles else "sign a deviation"


def worked_on(state: State, step: Step, signer: str, shop: "Shop | None") -> bool:
    """True if ``signer`` started the operation or entered something in it."""
    people = state.work(step.id).people or {state.by}
    return any(same_person(shop, signer, one) for one in people)


def same_person(shop: "Shop | None", one: str, other: str) -> bool:
    """True if two names are of one person. Capitals and spacing do not count."""
    if folded(one) == folded(other):
        return True
    if shop is None:
        return False
    from benchflow.session.shop.register import find_person

    found = find_person(shop, one)
    return found is not None and found == find_person(shop, other)


def second_person_refusal(state: State, step: Step, signer: str, shop: "Shop | None") -> Refusal | None:
    """A refusal if the hold needs a second person and ``signer`` entered something; otherwise ``None``.

    Where nothing was entered, it must be somebody who did not start the operation.
    """
    hold, work = step.operation.hold, state.work(step.id)
    people = work.enterers or work.people or {state.by}
    if hold is None or not hold.second_person or not any(same_person(shop, signer, one) for one in people):
        return None
    title = quoted_title(state, step.id)
    message = (
        f"{signer} worked on {title}. Its hold needs a second person: somebody who entered nothing in it must sign"
    )
    return refuse("not-allowed", message, operation=step.id)
