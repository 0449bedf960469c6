"""Handlers of the intent `attach`, and of `withdraw` for a picture. Both are accepted after the end of the job."""

import re
from collections.abc import Iterator

from benchflow.base.plaintext import clean
from benchflow.procedure.model import values_of
from benchflow.procedure.plan import Step
from benchflow.quantity.types import printable
from benchflow.session.context import Context, Decision, Entry, refusal_or_none, refuse, unknown_name, unknown_operation
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.reading_names import named_reading
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.pictures.picture_kinds import KINDS
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.joint_progress import joint_of
from benchflow.session.rules.value_results import named_value
from benchflow.session.state.picture_events import PictureAttached, PictureTarget, PictureWithdrawn
from benchflow.session.state.state import State

_SHA256 = re.compile(r"[0-9a-f]{64}", re.ASCII)


Subject = tuple[str | None, PictureTarget]
"""The step of a picture, ``None`` for the whole job, and what it shows of it."""


def attach_picture(state: State, intent: intents.AttachPicture, context: Context, by: str) -> Decision:
    """Attach the picture whose facts are in ``context``. It is not stored yet."""
    subject, facts = _subject(state, intent), context.picture
    if facts is None:
        facts = refuse("value-missing", "Name the file of the picture", name="file")
    if isinstance(subject, Refusal) or isinstance(facts, Refusal):
        return Refusal(tuple(each for one in (subject, facts) if isinstance(one, Refusal) for each in one.refused))
    refusal = refusal_or_none(_reasons(state, subject, facts))
    if refusal is not None:
        return refusal
    event = PictureAttached(
        name=facts.name,
        sha256=facts.sha256,
        size=facts.size,
        type=facts.type,
        width=facts.width,
        height=facts.height,
        operation=subject[0],
        target=subject[1],
        text=clean(intent.text).strip(),
    )
    return (Entry(by, event),)


def _reasons(state: State, subject: Subject, facts: PictureFacts) -> Iterator[Reason]:
    if facts.type not in KINDS or not _SHA256.fullmatch(facts.sha256) or facts.size <= 0:
        yield Reason(
            "not-allowed", f"The facts of {facts.name} are not those of a picture. Attach the file again", name="file"
        )
    for seq, picture in state.pictures.items():
        if picture.sha256 == facts.sha256 and (picture.operation, picture.target) == subject:
            yield Reason("already-done", f"{facts.name} is already attached there (log line {seq})", name="file")


# --- what it is a picture of ----------------------------------------------------------------------


def _subject(state: State, intent: intents.AttachPicture) -> Subject | Refusal:
    """What the intent names: an event, a value or a joint of an operation, an operation, or the whole job."""
    named = [name for name in ("name", "joint", "event") if getattr(intent, name) is not None]
    if len(named) > 1:
        text = f"A picture is attached to one thing. Give either {' or '.join(named)}"
        return refuse("bad-intent", text, name=named[1])
    for name, needed in (("reading", "name"), ("place", "name"), ("fastener", "joint")):
        if getattr(intent, name) is not None and getattr(intent, needed) is None:
            return refuse("value-missing", f"The field {name} needs the field {needed} beside it", name=needed)
    if intent.operation and intent.operation not in state.plan.steps:
        return unknown_operation(state, intent.operation)
    if intent.event is not None:
        return _event_subject(state, intent)
    if intent.name is not None:
        return _value_subject(state, intent, intent.name)
    if intent.joint is not None:
        return _joint_subject(state, intent, intent.joint)
    operation = state.in_progress if intent.operation is None else intent.operation
    return operation or None, PictureTarget()


def _event_subject(state: State, intent: intents.AttachPicture) -> Subject | Refusal:
    """The event, with the operation that it is about."""
    assert intent.event is not None
    if intent.event not in state.remarks:
        known = ", ".join(map(str, list(state.remarks)[-8:]))
        hint = f"Possible are the log lines {known}" if known else "This log has none"
        text = "is not a note, deviation, correction, failed fastener, complaint or finding"
        return refuse("unknown-name", f"Log line {intent.event} {text}. {hint}", name="event")
    operation = state.remarks[intent.event] or ""
    if intent.operation and intent.operation != operation:
        text = f"Log line {intent.event} is about {operation or 'no operation'}, not about {intent.operation}"
        return refuse("bad-intent", f"{text}. Leave out the field operation", name="operation")
    return operation or None, PictureTarget(event=intent.event)


def _value_subject(state: State, intent: intents.AttachPicture, name: str) -> Subject | Refusal:
    """The value, or one reading of it: of the operation named, else of that in progress, else of the only one."""
    steps = _possible_steps(state, intent)
    having = [step for step in steps if named_value(state, step, name) is not None]
    if not having:
        one = steps[0] if len(steps) == 1 else None
        known = [value.name for each in steps for value in values_of(each.operation)]
        return unknown_name("value" if one is None else f"value of “{one.title}”", name, known)
    step = _only_step(state, having, name)
    if isinstance(step, Refusal):
        return step
    found = named_reading(state, step, name, intent.reading, intent.place)
    if isinstance(found, Refusal):
        return found
    value, slot = found
    return step.id, PictureTarget(value=value, reading=slot or "")


def _joint_subject(state: State, intent: intents.AttachPicture, name: str) -> Subject | Refusal:
    """The joint, or one fastener of it."""
    if name not in state.plan.procedure.joints_by_id:
        return unknown_name("joint", name, state.plan.procedure.joints_by_id)
    steps = _possible_steps(state, intent)
    having = [step for step in steps if step.operation.tighten is not None and step.operation.tighten.joint == name]
    if not having:
        where = f"“{steps[0].title}”" if len(steps) == 1 else "No operation of this build"
        return refuse("unknown-name", f"{where} does not tighten {name}. Name the operation that does", name=name)
    step = _only_step(state, having, name)
    if isinstance(step, Refusal):
        return step
    if intent.fastener is None:
        return step.id, PictureTarget(joint=name)
    count, number = joint_of(state, name).count, str(intent.fastener)
    if not (number.isascii() and number.isdecimal() and 1 <= int(number[:9]) <= count):
        text = f"{name} has no fastener “{printable(number)[:40]}”. Give a number from 1 to {count}"
        return refuse("unknown-name", text, name=name)
    return step.id, PictureTarget(joint=name, fastener=int(number))


def _possible_steps(state: State, intent: intents.AttachPicture) -> list[Step]:
    if intent.operation:
        return [state.plan.steps[intent.operation]]
    return list(state.plan.steps.values())


def _only_step(state: State, having: list[Step], name: str) -> Step | Refusal:
    """The one in progress, or the only one."""
    for step in having:
        if step.id == state.in_progress:
            return step
    if len(having) == 1:
        return having[0]
    steps = ", ".join(step.id for step in having[:8])
    text = f"{name} belongs to {len(having)} operations: {steps}. Name one of them in the field operation"
    return refuse("value-missing", text, name="operation")


# --- withdrawing ----------------------------------------------------------------------------------


def withdraw_picture(state: State, intent: intents.WithdrawFinding, by: str) -> Decision:
    """Withdraw a wrong picture. Its file and its event are kept."""
    reason = clean(intent.reason).strip()
    if not reason:
        return refuse("value-missing", "Enter the reason why the picture is withdrawn", name="reason")
    return (Entry(by, PictureWithdrawn(intent.event, reason, state.pictures[intent.event].operation)),)
