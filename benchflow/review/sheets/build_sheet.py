"""The content of the build sheet: the record that is handed over with the unit, as text ready to print.

``build_sheet_html`` and ``build_sheet_markdown`` write it.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from functools import partial

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.ordering.wording import step_title
from benchflow.procedure.model import Caution
from benchflow.procedure.plan import Plan, Step
from benchflow.quantity import Interval, Quantity, difference_factor, seconds, show_with_typed
from benchflow.review.evidence.recorded_evidence import value_text
from benchflow.review.formatting import local_time, local_time_with_zone
from benchflow.review.log.clock_remarks import worked_across_restart
from benchflow.review.log.continuation_remarks import takeover_text
from benchflow.review.log.facts import DeviationFact, InstrumentFact, OperationFact, ReadingFact, SignatureFact
from benchflow.review.log.loaded_log import FirstLineDamaged, LoadedLog
from benchflow.review.log.reading_values import Value, values_of
from benchflow.review.log.register_remarks import signature_proof_text
from benchflow.review.sheets.joint_on_sheet import SheetJoint, joint_of, tool_of
from benchflow.session.history.event_text import continued_text
from benchflow.session.history.history import changed_entry, known_event, untrusted_entry
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.log.line_format import ZEROS, UntrustedLine
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.rules.planned_disassembly import trials, used_once_items
from benchflow.session.shop.register import PATH_ID
from benchflow.session.state.clock import BY_WALL_CLOCK
from benchflow.session.state.events import JobOpened
from benchflow.session.view.bench_view import GaugePositions
from benchflow.session.view.gauge_positions import gauge_positions
from benchflow.trade.decision_rules import RULES
from benchflow.trade.verdict import NOT_ACCEPTED, VERDICT_TEXT, Verdict

FORMAT_WITH_REGISTER = 3
"""The first format of a log that names the register of the shop."""

NOT_THE_MANUAL = (
    "This sheet records what was done and measured. It does not replace the maker's manual, local codes or licensed "
    "practice. Where they require more, follow them."
)


class SheetValue(Struct, frozen=True):
    """One value. ``gauge`` is the position of the judged figure on its limit; ``None``: there is no limit to draw."""

    name: str
    ask: str
    figures: tuple[tuple[str, str], ...]  # of the readings in force: slot ("" for a single reading), figure
    judged: str
    limit: str
    low: str
    high: str
    verdict: Verdict
    words: str
    gauge: GaugePositions | None
    filled: str
    waived: str
    tools: tuple[str, ...]
    earlier: tuple[str, ...]  # replaced readings


class BuildSheetOperation(Struct, frozen=True):
    """One operation on the sheet, done or not. Empty texts are not printed."""

    operation: str
    number: int
    title: str
    done: bool
    by: str
    at: str
    took: str
    taken_over: str
    values: tuple[SheetValue, ...]
    joint: SheetJoint | None
    checks: tuple[tuple[str, bool], ...]
    parts: tuple[str, ...]
    signed: str
    self_signed: bool
    hold: str
    deviations: tuple[str, ...]
    redone: tuple[str, ...]
    remedies: tuple[str, ...]
    failed_fasteners: tuple[str, ...]
    notes: tuple[str, ...]
    trial: str = ""  # which operation took it apart again as planned


class SheetSection(Struct, frozen=True):
    """The operations of one section of the procedure."""

    title: str
    operations: tuple[BuildSheetOperation, ...]


class SheetFollowUp(Struct, frozen=True):
    """Work due after the build: on a day, or by another measure such as ``500 km``."""

    title: str
    due: str  # 2026-03-16, or ""
    or_: str


class BuildSheet(Struct, frozen=True):
    """The whole build sheet. ``facts`` are pairs of label and text; ``head`` is the fingerprint of the log."""

    title: str
    subject: str
    unit: str
    simulated: bool
    notice: str
    cautions: tuple[Caution, ...]
    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    sound: bool
    events: int
    head: str
    untrusted: tuple[str, ...]  # the readable lines from the damage on, as text
    exceptions: tuple[str, ...]  # deviations, rework and the like, one line each
    sections: tuple[SheetSection, ...]
    parts: tuple[tuple[str, ...], ...]  # item, lot or part, where used
    instruments: tuple[tuple[str, ...], ...]  # title, serial, calibrated, due, uncertainty, remarks
    follow_up: tuple[SheetFollowUp, ...]
    notes: tuple[str, ...]
    disclaimer: str


def build_sheet(log: LoadedLog) -> BuildSheet:
    """The build sheet of a session, up to the first damaged line of its log."""
    procedure, facts = log.procedure, log.facts
    across = worked_across_restart(log.lines)
    operations = {step.id: _sheet_operation(log, step, step.id in across) for step in log.plan.steps.values()}
    sections = tuple(
        SheetSection(
            section.title,
            tuple(operations[step.id] for step in log.plan.steps.values() if step.operation.section == section.id),
        )
        for section in procedure.sections
    )
    return BuildSheet(
        title=procedure.title,
        subject=procedure.subject,
        unit=facts.session.unit,
        simulated=facts.session.simulated,
        notice=procedure.notice,
        cautions=procedure.cautions,
        facts=tuple(_sheet_facts(log)),
        warnings=log.warnings,
        sound=log.damage is None,
        events=facts.session.events,
        head=facts.session.head,
        untrusted=untrusted_lines(log.untrusted, log.plan),
        exceptions=tuple(exception_lines(operations.values(), known=log.damage is None)),
        sections=tuple(section for section in sections if section.operations),
        parts=tuple(_part_rows(log)),
        instruments=tuple(_instrument_rows(log)),
        follow_up=follow_up(log),
        notes=tuple(f"{local_time(note.at)}  {note.by}: {note.text}" for note in facts.notes if not note.operation),
        disclaimer=NOT_THE_MANUAL,
    )


def sheet_without_start(damaged: FirstLineDamaged) -> BuildSheet:
    """The build sheet of a log whose first line is damaged: only the lines that can be read, not trusted."""
    opened = None if damaged.changed is None else known_event(damaged.changed)
    plan = damaged.plan
    first = () if damaged.changed is None else (changed_entry(damaged.damage, damaged.changed, LogTitles(plan, None)),)
    return BuildSheet(
        title="procedure not known" if plan is None else f"{plan.procedure.title} (not trusted)",
        subject="",
        unit=f"{opened.unit} (not trusted)" if isinstance(opened, JobOpened) else f"log {damaged.path.name}",
        simulated=False,
        notice="",
        cautions=(),
        facts=(("Log", str(damaged.path)), ("Operations", "not known")),
        warnings=(str(damaged),),
        sound=False,
        events=0,
        head=ZEROS,
        untrusted=(*first, *untrusted_lines(damaged.untrusted, plan)),
        exceptions=(),
        sections=(),
        parts=(),
        instruments=(),
        follow_up=(),
        notes=(),
        disclaimer=NOT_THE_MANUAL,
    )


def untrusted_lines(untrusted: Sequence[UntrustedLine], plan: Plan | None) -> tuple[str, ...]:
    """One text for each line from the damage on that can be read."""
    titles = LogTitles(plan, None)
    return tuple(untrusted_entry(each, titles) for each in untrusted)


def _sheet_facts(log: LoadedLog) -> Iterator[tuple[str, str]]:
    procedure, session = log.procedure, log.facts.session
    yield "Procedure", f"{procedure.id}, revision {procedure.revision}"
    yield "Procedure text", f"SHA-256 {session.procedure[:16]}… ({session.file})"
    if procedure.source:
        yield "Numbers from", procedure.source
    for option in procedure.options:
        if option.name in session.options:
            yield option.ask or option.name, session.options[option.name]
    for variable in procedure.state:
        if variable.start is None or log.state.opened.continues is not None:
            value = session.start.get(variable.name)
            yield (
                f"State at the start: {variable.title or variable.name}",
                ("not known" if value is None else variable.words.get(value, value)),
            )
    yield "Builder", session.by
    others = sorted(_people_of_log(log) - {session.by})
    if others:
        yield "Others", ", ".join(others)
    if log.format >= FORMAT_WITH_REGISTER:
        register = log.state.register
        if register is None:
            yield "Register", "none: any name could sign"
        elif not register.startswith(PATH_ID):  # an id made from a path says nothing to a reader
            yield "Register", register
    if log.state.opened.continues is not None:
        yield "Continues", continued_text(log.state.opened.continues).removeprefix("CONTINUES ")
    if log.state.opened.earlier:
        yield "Earlier logs of the unit", ", ".join(each.file for each in log.state.opened.earlier)
    yield "Started", local_time_with_zone(session.opened_at)
    not_closed = "not closed" if log.damage is None else "not known"
    yield "Closed", local_time_with_zone(session.closed_at) if session.closed_at else not_closed
    active = sum(fact.active for fact in log.facts.operations)
    partly = f" (partly by the {BY_WALL_CLOCK})" if worked_across_restart(log.lines) else ""
    yield "Working time", f"{rounded_duration(active)}{partly}"
    done = len(log.finished)
    progress = f"{done} of {len(log.plan.steps)} done"
    yield "Operations", progress if log.damage is None else f"at least {progress}, the rest is not known"
    yield "Decision rule", RULES[procedure.decision]


def _people_of_log(log: LoadedLog) -> set[str]:
    facts = log.facts
    people = {name for operation in facts.operations for name in operation.people}
    people |= {signature.by for signature in facts.signatures}
    return people | {deviation.by for deviation in facts.deviations}


# --- an operation -------------------------------------------------------------------------------------


def _took(fact: OperationFact, across_restart: bool) -> str:
    return rounded_duration(fact.active) + (f" ({BY_WALL_CLOCK})" if across_restart else "")


def _sheet_operation(log: LoadedLog, step: Step, across_restart: bool) -> BuildSheetOperation:
    facts = log.facts
    done = log.finished.get(step.id)
    fact = next((fact for fact in facts.operations if fact.operation == step.id), None)
    signature = next((s for s in facts.signatures if s.operation == step.id and s.in_force), None)
    work = log.state.work(step.id)
    here = work.takeover is None  # otherwise ticks and checks are in the log that the job continues
    checks = step.operation.check if here else ()
    hold = step.operation.hold if here or signature is not None else None
    return BuildSheetOperation(
        operation=step.id,
        number=log.plan.number(step.id),
        title=step.title,
        done=done is not None,
        by=_people_of_operation(fact),
        at=local_time(done.at) if done is not None else "",
        took=_took(fact, across_restart) if fact is not None and done is not None else "",
        taken_over=takeover_text(log.state, step.id),
        values=tuple(
            _sheet_value(log, value)
            for value in values_of(log, step)
            if value.readings or value.calculated or value.further
        ),
        joint=joint_of(log, step) if here else None,
        checks=tuple((point.text, number in work.checks) for number, point in enumerate(checks, 1)),
        parts=tuple(f"{name}: {take}" for name, take in work.chosen.items()),
        signed=_signed(log, signature) if signature is not None else "",
        self_signed=signature is not None and signature.self_signed,
        hold=hold.for_ if hold is not None else "",
        deviations=tuple(
            f"from {subject_text(d.about, partial(step_title, log.plan))}, signed by {_signer(log, d)}: {d.reason}"
            for d in facts.deviations
            if d.operation == step.id and d.in_force
        ),
        redone=tuple(f"{local_time(t.at)}, {t.by}: {t.reason}" for t in facts.undone_steps if t.operation == step.id),
        remedies=tuple(f"{local_time(r.at)}, {r.by}: {r.words}" for r in facts.remedies if r.operation == step.id),
        failed_fasteners=tuple(
            f"{local_time(f.at)}, {f.by}: {f.words}" for f in facts.failed_fasteners if f.operation == step.id
        ),
        notes=tuple(f"{note.by}: {note.text}" for note in facts.notes if note.operation == step.id),
        trial=_trial(log, step),
    )


def _trial(log: LoadedLog, step: Step) -> str:
    taken_apart = trials(log.state).get(step.id)
    return "" if taken_apart is None else f"trial, taken apart again by “{log.plan.steps[taken_apart].title}”"


def _signer(log: LoadedLog, deviation: DeviationFact) -> str:
    proof = signature_proof_text(log.lines, deviation.seq)
    return f"{deviation.by} ({proof})" if proof else deviation.by


def _signed(log: LoadedLog, signature: SignatureFact) -> str:
    """Who signed, for which role, how that was proven, and when."""
    proof = signature_proof_text(log.lines, signature.seq)
    return ", ".join(part for part in (f"{signature.by} ({signature.role})", proof, local_time(signature.at)) if part)


def _people_of_operation(fact: OperationFact | None) -> str:
    if fact is None:
        return ""
    others = [name for name in fact.people if name != fact.by]
    return ", ".join([fact.by, *others]) if fact.by else ", ".join(others)


def _sheet_value(log: LoadedLog, value: Value) -> SheetValue:
    many = len(value.readings) > 1
    return SheetValue(
        name=value.name,
        ask=value.ask,
        figures=tuple((r.slot if many else "", _reading_text(r)) for r in value.readings),
        judged=value.judged_text,
        limit=value.limit,
        low=value.band.low_text,
        high=value.band.high_text,
        verdict=value.verdict,
        words=value_text(value),
        gauge=_gauge_of_value(value),
        filled=value.filled,
        waived=value.waived,
        tools=tuple(dict.fromkeys(tool_of(log, serial, name) for r in value.readings for serial, name in r.tools)),
        earlier=tuple(
            f"{_reading_text(r)} ({VERDICT_TEXT[r.verdict] or 'no limit'}), {local_time(r.at)}"
            for r in value.earlier
            if r.verdict != "none" or r.corrected
        ),
    )


def _reading_text(reading: ReadingFact) -> str:
    """The reading in the procedure's unit; a text typed in another unit is added."""
    return show_with_typed(Quantity(Decimal(reading.value), reading.unit, reading.entered))


def _gauge_of_value(value: Value) -> GaugePositions | None:
    low, high = value.band.low, value.band.high
    if value.judged is None or (low is None and high is None):
        return None
    factor = difference_factor(value.unit)
    bounds = Interval(
        None if low is None else Fraction(low) * factor, None if high is None else Fraction(high) * factor
    )
    guarded = value.decision == "guarded" and value.uncertainty is not None
    u = Fraction(value.uncertainty or 0) * factor if guarded else None
    return gauge_positions(bounds, Fraction(value.judged) * factor, u)


# --- lists of the whole sheet ---------------------------------------------------------------------------------------


def exception_lines(operations: Iterable[BuildSheetOperation], *, known: bool) -> Iterator[str]:
    """What was out of the ordinary, one line each. ``known`` is false if the log is damaged."""
    for operation in operations:
        head = f"{operation.number}  {operation.title}"
        if not operation.done:
            yield f"{head}: {'not done' if known else 'not known'}"
        if operation.taken_over:
            yield f"{head}: {operation.taken_over}"
        for value in operation.values:
            if value.verdict in NOT_ACCEPTED:
                yield f"{head}: {value.words}"
        for deviation in operation.deviations:
            yield f"{head}: deviation {deviation}"
        if operation.self_signed:
            yield f"{head}: the builder signed the hold point for their own work, {operation.signed}"
        for remedy in operation.remedies:
            yield f"{head}: remedy, {remedy}"
        for failed in operation.failed_fasteners:
            yield f"{head}: fastener failed, {failed}"
        for redone in operation.redone:
            yield f"{head}: reworked, {redone}"


def _part_rows(log: LoadedLog) -> Iterator[tuple[str, ...]]:
    kit = log.procedure.kit_by_id
    titles = {step.id: step.title for step in log.plan.steps.values()}
    taken_apart = trials(log.state)
    for lot in log.facts.lots:
        if lot.in_force:
            title = kit[lot.consumable].title if lot.consumable in kit else lot.consumable
            where = titles.get(lot.operation, lot.operation)
            if lot.operation in taken_apart and lot.consumable in used_once_items(log.state, lot.operation):
                where += " (trial; thrown away)"
            yield title, f"lot {lot.lot}", where
    for choice in log.facts.choices:
        if choice.in_force:
            yield choice.name, choice.take, titles.get(choice.operation, choice.operation)


def _instrument_rows(log: LoadedLog) -> Iterator[tuple[str, ...]]:
    """Each instrument as the register described it when it was used. Instruments without a serial are "not named"."""
    facts = log.facts
    needs = {need.id: need.title or need.id for need in log.procedure.instruments}
    described: dict[str, InstrumentFact] = {fact.serial: fact for fact in facts.instruments}
    used: dict[tuple[str, str], None] = {}
    for reading in facts.readings:
        used |= dict.fromkeys(reading.tools if reading.in_force else ())
    for stage in facts.stages:
        if stage.in_force and (stage.serial or stage.instrument):
            used[stage.serial, stage.instrument] = None
    for serial, need in used:
        fact = described.get(serial)
        title = fact.title if fact is not None and fact.title else needs.get(need, need)
        if fact is None:
            yield title, serial or "not named", "", "", "", "not in the register on that day" if serial else ""
        else:
            u = f"{fact.uncertainty} (k = {fact.k})" if fact.uncertainty else ""
            yield title, serial, fact.calibrated, fact.due, u, "; ".join(fact.warnings)


def follow_up(log: LoadedLog) -> tuple[SheetFollowUp, ...]:
    """The work due after the build, counted from its close, or from the last event of an open job. Days are local."""
    session = log.facts.session
    start = local_time_of(session.closed_at or session.last_at)
    return tuple(
        SheetFollowUp(
            item.title,
            (start + timedelta(seconds=seconds(item.due))).date().isoformat() if item.due is not None else "",
            item.or_,
        )
        for item in log.procedure.follow_up
    )
