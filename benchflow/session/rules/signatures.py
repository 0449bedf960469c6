"""Signatures: the people who may sign, and the subjects that a deviation can waive."""

from datetime import date

from benchflow.procedure.identity import StepId, ValueRef
from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.context import Context, quoted_title, refuse, unknown_name
from benchflow.session.refusal import Reason, Refusal, WrongPin
from benchflow.session.rules.deviation_subjects import TIME, window_subject
from benchflow.session.rules.joint_progress import fasteners_named, joint_progress
from benchflow.session.rules.open_items import limit_reasons
from benchflow.session.rules.part_matching import match_place
from benchflow.session.rules.value_results import named_value
from benchflow.session.state.events import SignatureProof
from benchflow.session.state.state import HOLD, State, check_key

# Words for the subject of a deviation that are not names in the procedure:

INTERLOCK = ("interference", "interlock", "rule", "never", "after-missing", "state-not-met", "after", "needs", "during")
"""The order and the interference rules, which cannot be waived."""

WINDOWS = (TIME, "too-late", "too-early", "window", "time-window", "time window")
"""All time windows of the operation."""

LIMITS = ("limit", "out-of-limit", "not-proven")
"""The only limit of the operation, or the only one that is not met."""

NEVER = (
    "check", "check-open", "value-missing", "fastener-order", "stage-not-finished", "instrument-unfit",
    "temporary", "temporary-left", "operation-in-progress", "not-started", "already-done",
)  # fmt: skip
"""Requirements other than limits, holds and time windows, which cannot be waived."""


def may_not_sign(
    state: State | None,
    context: Context,
    name: str,
    role: str | None,
    pin: str | None,
    *,
    ask_pin: bool | None = None,
) -> Refusal | None:
    """A refusal if ``name`` is not allowed to sign (as ``role``, if given); otherwise ``None``.

    If the register has no people, and had none in this job, any name may sign. ``state`` is ``None`` before the job is
    open. ``ask_pin`` is as in ``signature_refusal`` of the register.
    """
    shop = context.shop
    if shop is not None and not shop.people and state is not None and state.had_people:
        message = "The register of this job has no people any more, so nobody can sign. Put them back"
        return refuse("not-allowed", message, name=name)
    if shop is None or not shop.people:
        return None
    from benchflow.session.shop.register import find_person, signature_refusal

    # The day in UTC, so that a later audit elsewhere judges by the same day.
    day = date.fromisoformat(context.now.at[:10]) if context.now.at else None
    found = signature_refusal(shop, name, role, pin, ask_pin=ask_pin, on=day, pin_fits=context.pin_fits)
    if found is None:
        return None
    person = find_person(shop, name)
    wrong = WrongPin(person.name, role or "") if found.code == "pin-wrong" and person is not None else None
    return Refusal((Reason("not-allowed", found.message, name=name),), wrong)


def signature_proof(context: Context, name: str, pin: str | None) -> SignatureProof:
    """How an allowed signature of ``name`` is proven. A PIN that was entered has been checked by then."""
    if context.shop is None or not pin:
        return "name"
    from benchflow.session.shop.register import find_person

    person = find_person(context.shop, name)
    return "pin" if person is not None and person.pin else "name"


def deviation_subject(state: State, step: Step, about: str) -> str | Refusal:
    """The standard name for the subject ``about`` of a deviation; a refusal if it cannot be waived."""
    names, title = names_with_limit(state, step), quoted_title(state, step.id)
    for candidate in (about, str(ValueRef(about, step.place))):
        if candidate in names or fasteners_named(state, step, candidate):
            return candidate
    if named_value(state, step, about) is not None or match_place(state, step, about) is not None:
        return about
    if about in (HOLD, "hold-unsigned"):
        if step.operation.hold is None:
            return refuse("unknown-name", f"{title} has no hold. There is nothing to waive", operation=step.id)
        return HOLD
    windows = dict.fromkeys(name for window in step.time for name in _names_of_window(window))
    if about in WINDOWS and not windows:
        return refuse("unknown-name", f"{title} has no time window. There is nothing to waive", operation=step.id)
    if about in WINDOWS:
        return TIME
    for name in windows:
        if about.removesuffix("[*]") in (name, window_subject(name)):
            return window_subject(name)
    if about in LIMITS:
        return _only_limit(state, step, names)
    if about in INTERLOCK or about in state.plan.procedure.variables_by_name:
        message = "The order, the states and the interference rules cannot be waived. Do the operations in a safe order"
        return refuse("not-allowed", message, operation=step.id)
    number = _check_named(state, step, about)
    if number is not None:
        return check_key(number)
    if about in NEVER:
        message = f"{about} cannot be waived. Only a limit, a check answered no, a hold or a time window can"
        return refuse("not-allowed", message, operation=step.id)
    return unknown_name(f"limit, hold or time window of {title}", about, [*names, HOLD, TIME])


def _check_named(state: State, step: Step, about: str) -> int | None:
    """The number of the check that ``about`` names by its id, text or number, or as the only one answered no."""
    failed = state.work(step.id).failed
    if about == "check-failed" and len(failed) == 1:
        return next(iter(failed))
    for number, point in enumerate(step.operation.check, 1):
        if about in (check_key(number), str(number), point.text) or (point.id and about == point.id):
            return number
    return None


def _names_of_window(window: TimeWindow) -> tuple[str, str]:
    """The step that a time window counts from, and its operation without the place."""
    return window.operation, StepId.parse(window.operation).operation


def _only_limit(state: State, step: Step, names: list[str]) -> str | Refusal:
    """The name of the only limit that is not met, or else of the only limit; a refusal if there are several or none."""
    not_met = dict.fromkeys(reason.name for reason in limit_reasons(state, step) if reason.name is not None)
    possible = list(not_met) or names
    if len(possible) == 1:
        return possible[0]
    title = quoted_title(state, step.id)
    if not possible:
        return refuse("unknown-name", f"{title} has no limit. There is nothing to waive", operation=step.id)
    message = f"{title} has several limits. Name the one to waive: {', '.join(possible)}"
    return refuse("value-missing", message, operation=step.id, name="about")


def names_with_limit(state: State, step: Step) -> list[str]:
    """The names in an operation that can have a limit: its values, choices and matchings, and its joint."""
    operation = step.operation
    names = [record.name for record in operation.record] + [work.name for work in operation.work_out]
    names += [choose.name for choose in operation.choose] + [match.name for match in operation.match]
    progress = joint_progress(state, step)
    return names if progress is None else [*names, progress.joint.id]
