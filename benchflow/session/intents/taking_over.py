"""Handler of the intent `take-over`, and the `opened` event of a job that continues another log."""

from collections.abc import Iterator
from decimal import Decimal

from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.procedure.figures_to_fill import figures_of_operation
from benchflow.procedure.model import Mark, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import (
    Context,
    Decision,
    Entry,
    finish_first,
    quoted_title,
    refusal_or_none,
    refuse,
    unknown_operation,
)
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.entries import recorded_event
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.blocking import step_interlock_reasons
from benchflow.session.rules.calculated_values import calculated_entries
from benchflow.session.rules.measurements import reading_measurement
from benchflow.session.rules.missing_figures import figures_applying, limit_missing
from benchflow.session.rules.signatures import may_not_sign, signature_proof
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.waivers import second_person_refusal
from benchflow.session.state import events as ev
from benchflow.session.state.continued_job import (
    Basis,
    ContinuedLog,
    EarlierEntry,
    EarlierOperation,
    OperationTakenOver,
)
from benchflow.session.state.state import State, lot_item, lot_subject
from benchflow.session.state.state_changes import with_work


def take_over(state: State, intent: intents.TakeOver, context: Context, by: str) -> Decision:
    """Say that an operation was done under the log that the job continues, and take over its readings.

    The readings are judged again. Values that are calculated from them are calculated again.
    """
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown_operation(state, intent.operation)
    continues, title = state.opened.continues, quoted_title(state, step.id)
    if continues is None:
        message = "This job does not continue another log, so there is nothing to take over. Do the operation"
        return refuse("not-allowed", message, operation=step.id)
    earlier = continues.operation(step.id)
    refusal = refusal_or_none(_reasons(state, step, continues, earlier))
    if refusal is not None:
        return refusal
    basis: Basis = "none" if earlier is None else "trusted" if earlier.trusted else "untrusted"
    reason = clean(intent.reason).strip()
    if basis != "trusted" and not reason:
        return refuse("value-missing", _reason_wanted(continues, title, basis), operation=step.id, name="reason")
    signer = clean(by).strip()
    if intent.by is None or not signer:
        return refuse("value-missing", "Enter who takes it over (by)", operation=step.id, name="by")
    hold = step.operation.hold
    role = None if hold is None else hold.by
    refusal = may_not_sign(state, context, signer, role, intent.pin, ask_pin=True)
    if refusal is None and earlier is not None:
        work = replace(state.work(step.id), people=frozenset(earlier.people), enterers=frozenset(earlier.enterers))
        refusal = second_person_refusal(with_work(state, step.id, work), step, signer, context.shop)
    if refusal is not None:
        return refusal
    taken: list[Entry] = []
    if earlier is not None and earlier.trusted:
        taken = [Entry(signer, event) for event in _figures_again(state, step, continues)]
        filled = state_after(state, taken, context)
        own = filled.plan.steps[step.id]
        for entry in continues.entries_of(step.id):
            record = own.record(entry.name) if entry.kind == "reading" else None
            missing = None if record is None else _figure_missing(filled, own, record.at(entry.reading), entry)
            if missing is not None:
                return missing
            event = _event_again(filled, own, entry)
            taken += [] if event is None else [Entry(signer, event)]
    entries = (*taken, *calculated_entries(state, step, tuple(taken), context, signer))
    done = OperationTakenOver(
        operation=step.id,
        basis=basis,
        reason=reason,
        evidence=() if earlier is None else earlier.evidence,
        unknown=() if earlier is None else earlier.unknown,
        role=role or "",
        proven=signature_proof(context, signer, intent.pin),
        findings=earlier.findings if earlier is not None and earlier.trusted else {},
    )
    return (*entries, Entry(signer, done))


def _reasons(state: State, step: Step, continues: ContinuedLog, earlier: EarlierOperation | None) -> Iterator[Reason]:
    """Every reason why ``step`` cannot be taken over now."""
    title = quoted_title(state, step.id)
    if step.id in state.done:
        yield Reason("already-done", f"{title} is already done", operation=step.id)
        return
    if state.in_progress is not None:
        message = f"{finish_first(state)}, then take over {title}"
        yield Reason("operation-in-progress", message, operation=state.in_progress)
    if state.rework is not None:
        current = quoted_title(state, state.rework.operation)
        yield Reason("not-allowed", f"Finish the rework of {current} first", operation=state.rework.operation)
    work = state.work(step.id)
    if work.touched or work.redone:
        message = f"{title} was already begun in this job, so it cannot be taken over any more. Do it here"
        yield Reason("not-allowed", message, operation=step.id)
    if earlier is None and not continues.damage:
        message = f"The earlier log ({continues.file}) does not have {title} as done. Do it now"
        yield Reason("not-allowed", message, operation=step.id)
    yield from (reason for reason in step_interlock_reasons(state, step.id) if reason.code == "after-missing")


def _reason_wanted(continues: ContinuedLog, title: str, basis: Basis) -> str:
    if basis == "untrusted":
        return (
            f"Only lines after the damage of the earlier log ({continues.file}) say that {title} was done, and they "
            "are not trusted. Look at the engine, and give the reason to take it over: what shows that it was done?"
        )
    return (
        f"Nothing in the earlier log ({continues.file}) says that {title} was done. Do it now, or look at the engine "
        "and give the reason to take it over: what shows that it was done?"
    )


def _figures_again(state: State, step: Step, continues: ContinuedLog) -> Iterator[ev.FigureGiven]:
    """The figures that an operation asks for, as they were given in the earlier log."""
    waiting = {one.mark for one in figures_of_operation(state.plan.procedure, step.operation)}
    for given in continues.figures:
        if given.stage and given.operation == step.id:
            yield ev.FigureGiven(step.id, given.joint, given.stage, given.quantity, given.figure, given.source,
                                 earlier=given.seq)  # fmt: skip
        elif given.asked_at is not None and Mark(*given.asked_at) in waiting:
            yield ev.FigureGiven(step.id, figure=given.figure, source=given.source, what=given.what, name=given.name,
                                 asked_at=given.asked_at, earlier=given.seq)  # fmt: skip


def _figure_missing(state: State, step: Step, record: RecordedValue, entry: EarlierEntry) -> Refusal | None:
    """A refusal of a reading that could not be judged, because the earlier log has no figure for its limit."""
    asked = figures_applying(record, used=entry.used)
    return Refusal((limit_missing(step, record, asked[0]),)) if asked else None


def _event_again(state: State, step: Step, entry: EarlierEntry) -> ev.Event | None:
    """The event of an entry of the earlier log in this job; ``None`` if the procedure does not have it."""
    match entry.kind:
        case "lot":
            subject = lot_subject(entry.name)
            return ev.LotEntered(step.id, lot_item(entry.name), entry.entered, subject, earlier=entry.seq)
        case "part":
            return ev.PartChosen(step.id, entry.name, entry.entered, "", entry.seq)
        case "reading":
            record = step.record(entry.name)
            if record is None:
                return None
            record = record.at(entry.reading)
            quantity = Quantity(Decimal(entry.value), entry.unit, entry.entered)
            u = None
            if entry.uncertainty:
                u = Quantity(Decimal(entry.uncertainty), entry.unit, entry.uncertainty_entered)
            measured = reading_measurement(record, quantity, u, entry.serial or entry.instrument, shares=entry.tools)
            event = recorded_event(state, step, record, entry.reading, measured, u, entry.used)
            used = {"instrument": entry.instrument or None, "serial": entry.serial or None, "tools": entry.tools}
            return replace(event, **used, earlier=entry.seq)


def blank_for_continued(blank: ev.JobOpened, intent: intents.OpenJob) -> ev.JobOpened | Refusal:
    """``blank`` with the reason of ``intent``, and with unit and options of the earlier log.

    A refusal if the earlier log could be continued itself and no reason is given, or if the intent names another unit
    or other options.
    """
    continues = blank.continues
    if continues is None:
        if not intent.reason:
            return blank
        message = "The field reason is only for a job that continues another log. Leave it out"
        return refuse("not-allowed", message, name="reason")
    reason, unit = clean(intent.reason).strip(), clean(intent.unit).strip()
    reasons: list[Reason] = []
    if not continues.damage and not reason:
        message = (
            f"The earlier log ({continues.file}) is whole and open. Continue it itself: benchflow run "
            f"{continues.file}. Otherwise give the reason why a new log begins"
        )
        reasons.append(Reason("value-missing", message, name="reason"))
    if continues.unit and unit and unit != continues.unit:
        message = f"The earlier log is about the unit {continues.unit}. Leave the unit out"
        reasons.append(Reason("not-allowed", message, name="unit"))
    for name, choice in intent.options.items():
        if name in continues.options and choice != continues.options[name]:
            message = f"In the earlier log {name} is {continues.options[name]}. Leave the option out"
            reasons.append(Reason("not-allowed", message, name=name))
    return refusal_or_none(reasons) or replace(
        blank,
        continues=replace(continues, reason=reason),
        unit=unit or continues.unit,
        options={**continues.options, **intent.options},
    )
