"""The content of the build sheet: the record that is handed over with the unit, as text ready to print.

``build_sheet_html`` and ``build_sheet_markdown`` write it.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Plan
from benchflow.quantity import seconds
from benchflow.review.formatting import local_time, local_time_with_zone
from benchflow.review.hours.hours_text import hours_remarks, hours_rows
from benchflow.review.hours.worked_time import job_hours, worked_and_paused
from benchflow.review.log.clock_remarks import worked_across_restart
from benchflow.review.log.facts import InstrumentFact
from benchflow.review.log.loaded_log import FirstLineDamaged, LoadedLog
from benchflow.review.sheets.fitted_parts import part_rows, removed_part_rows
from benchflow.review.sheets.operation_on_sheet import operation_on_sheet
from benchflow.review.sheets.out_of_the_ordinary import out_of_the_ordinary
from benchflow.review.sheets.pictures_on_sheet import pictures_on_sheet
from benchflow.review.sheets.sheet_content import NOT_THE_MANUAL, BuildSheet, SheetFollowUp, SheetSection
from benchflow.review.sheets.sources_on_sheet import source_facts
from benchflow.session.history.event_text import continued_text
from benchflow.session.history.history import changed_entry, known_event, untrusted_entry
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.log.line_format import ZEROS, UntrustedLine
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.shop.register import PATH_ID
from benchflow.session.state.clock import BY_WALL_CLOCK
from benchflow.session.state.events import JobOpened
from benchflow.trade.decision_rules import RULES

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop

FORMAT_WITH_REGISTER = 3
"""The first format of a log that names the register of the shop."""


def build_sheet(log: LoadedLog, shop: "Shop | None" = None) -> BuildSheet:
    """The shop's copy of the build sheet, up to the first damaged line of its log. ``shop`` is the shop's register."""
    procedure, facts = log.procedure, log.facts
    across = worked_across_restart(log.lines)
    hours = job_hours(log)
    times = worked_and_paused(log)
    operations = {
        step.id: operation_on_sheet(log, step, times.get(step.id, (0.0, 0.0)), step.id in across)
        for step in log.plan.steps.values()
    }
    unusual, suspects = out_of_the_ordinary(log, operations.values(), shop)
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
        facts=tuple(_sheet_facts(log, hours.worked)),
        warnings=log.warnings,
        sound=log.damage is None,
        events=facts.session.events,
        head=facts.session.head,
        untrusted=untrusted_lines(log.untrusted, log.plan),
        exceptions=unusual,
        sections=tuple(section for section in sections if section.operations),
        parts=tuple(part_rows(log)),
        instruments=tuple(_instrument_rows(log)),
        follow_up=follow_up(log),
        notes=tuple(
            f"{local_time(note.at)}  {note.by}{log.mark_text(note.seq)}: {note.text}"
            for note in facts.notes
            if not note.operation
        ),
        disclaimer=NOT_THE_MANUAL,
        suspects=suspects,
        removed_parts=tuple(removed_part_rows(log)),
        hours=tuple(hours_rows(hours)),
        hours_remarks=tuple(hours_remarks(hours)),
        handover=tuple(procedure.handover.items()),
        elsewhere=tuple(work_elsewhere(log)),
        pictures=pictures_on_sheet(log),
    )


def work_elsewhere(log: LoadedLog) -> Iterator[str]:
    """Each finished operation that was done outside the shop, and by whom."""
    for step in log.plan.steps.values():
        if step.operation.elsewhere and step.id in log.finished:
            yield f"{step.title}: by {step.operation.elsewhere}"


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


def _sheet_facts(log: LoadedLog, worked: float) -> Iterator[tuple[str, str]]:
    procedure, session = log.procedure, log.facts.session
    yield "Procedure", f"{procedure.id}, revision {procedure.revision}"
    yield "Procedure text", f"SHA-256 {session.procedure[:16]}… ({session.file})"
    yield from source_facts(procedure, "Numbers from")
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
    partly = f" (partly by the {BY_WALL_CLOCK})" if worked_across_restart(log.lines) else ""
    yield "Working time", f"{rounded_duration(worked)}{partly}"
    done = len(log.finished)
    progress = f"{done} of {len(log.plan.steps)} done"
    yield "Operations", progress if log.damage is None else f"at least {progress}, the rest is not known"
    yield "Decision rule", RULES[procedure.decision]


def _people_of_log(log: LoadedLog) -> set[str]:
    facts = log.facts
    people = {name for operation in facts.operations for name in operation.people}
    people |= {signature.by for signature in facts.signatures}
    return people | {deviation.by for deviation in facts.deviations}


# --- lists of the whole sheet ---------------------------------------------------------------------------------------


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
