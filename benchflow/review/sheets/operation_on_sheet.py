"""One operation on the build sheet: its values, joint, checks, parts, signature, deviations and rework."""

from decimal import Decimal
from fractions import Fraction
from functools import partial

from benchflow.base.durations import rounded_duration
from benchflow.ordering.wording import step_title
from benchflow.procedure.figure_sources import own_source, source_of
from benchflow.procedure.figures_to_fill import given_source
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import RecordedValue, parts_of
from benchflow.procedure.model import values_of as values_of_operation
from benchflow.procedure.plan import Step
from benchflow.procedure.procedure_figures import source_of_value
from benchflow.quantity import Interval, Quantity, difference_factor, show_with_typed
from benchflow.review.evidence.recorded_evidence import value_text
from benchflow.review.formatting import local_time
from benchflow.review.log.continuation_remarks import takeover_text
from benchflow.review.log.facts import DeviationFact, OperationFact, ReadingFact, SignatureFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.reading_values import Value, values_of
from benchflow.review.log.register_remarks import signature_proof_text
from benchflow.review.sheets.joint_on_sheet import joint_of, tool_of
from benchflow.review.sheets.sheet_content import BuildSheetOperation, SheetValue
from benchflow.review.sheets.sources_on_sheet import words_of_source
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.rules.planned_disassembly import trials
from benchflow.session.state.clock import BY_WALL_CLOCK
from benchflow.session.view.bench_view import GaugePositions
from benchflow.session.view.gauge_positions import gauge_positions
from benchflow.trade.verdict import VERDICT_TEXT


def _took(times: tuple[float, float], across_restart: bool) -> str:
    worked, paused = times
    pause = f", pauses {rounded_duration(paused)}" if paused else ""
    return rounded_duration(worked) + pause + (f" ({BY_WALL_CLOCK})" if across_restart else "")


def operation_on_sheet(
    log: LoadedLog, step: Step, times: tuple[float, float], across_restart: bool
) -> BuildSheetOperation:
    """The operation of a step. ``times`` are its worked time and its pauses, in seconds."""
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
        took=_took(times, across_restart) if fact is not None and done is not None else "",
        taken_over=takeover_text(log.state, step.id),
        values=tuple(
            _sheet_value(log, step, value)
            for value in values_of(log, step)
            if value.readings or value.calculated or value.further
        ),
        joint=joint_of(log, step) if here else None,
        checks=tuple((point.text, number in work.checks) for number, point in enumerate(checks, 1)),
        parts=tuple(f"{name}: {take}{_source_of_choice(log, step, name)}" for name, take in work.chosen.items()),
        signed=_signed(log, signature) if signature is not None else "",
        self_signed=signature is not None and signature.self_signed,
        hold=hold.for_ if hold is not None else "",
        deviations=tuple(
            f"from {subject_text(d.about, partial(step_title, log.plan))}, signed by {_signer(log, d)}"
            f"{log.mark_text(d.seq)}: {d.reason}"
            for d in facts.deviations
            if d.operation == step.id and d.in_force
        ),
        redone=tuple(f"{local_time(t.at)}, {t.by}: {t.reason}" for t in facts.undone_steps if t.operation == step.id),
        remedies=tuple(f"{local_time(r.at)}, {r.by}: {r.words}" for r in facts.remedies if r.operation == step.id),
        failed_fasteners=tuple(
            f"{local_time(f.at)}, {f.by}: {f.words}" for f in facts.failed_fasteners if f.operation == step.id
        ),
        notes=tuple(
            f"{note.by}{log.mark_text(note.seq)}: {note.text}" for note in facts.notes if note.operation == step.id
        ),
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


def _sheet_value(log: LoadedLog, step: Step, value: Value) -> SheetValue:
    many = len(value.readings) > 1
    return SheetValue(
        name=value.name,
        ask=value.ask,
        figures=tuple((r.slot if many else "", _reading_text(r)) for r in value.readings),
        judged=value.judged_text,
        limit=f"{value.limit}, used part (new: {value.used})" if value.used else value.limit,
        used=bool(value.used),
        low=value.band.low_text,
        high=value.band.high_text,
        verdict=value.verdict,
        words=value_text(value),
        gauge=_gauge_of_value(value),
        filled=value.filled,
        waived=value.waived,
        source=_source_of_value(log, step, value),
        tools=tuple(dict.fromkeys(tool_of(log, serial, name) for r in value.readings for serial, name in r.tools)),
        earlier=tuple(
            f"{_reading_text(r)} ({VERDICT_TEXT[r.verdict] or 'no limit'}), {local_time(r.at)}"
            for r in value.earlier
            if r.verdict != "none" or r.corrected
        ),
    )


def _source_of_value(log: LoadedLog, step: Step, value: Value) -> str:
    """Where the limit of a value comes from; "" if the source is that of the whole procedure."""
    of_value = [one for one in values_of_operation(step.operation) if one.name == value.name]
    if not of_value or not value.limit:
        return ""
    also = of_value[0].also if isinstance(of_value[0], RecordedValue) else ()
    further = next((limit for limit in also if value.further and limit.label == value.further), None)
    if further is None:
        return own_source(source_of_value(log.procedure, of_value[0]))
    return own_source(source_of(log.procedure, given_source(further.bound), further.source, of_value[0].source))


def _source_of_choice(log: LoadedLog, step: Step, name: str) -> str:
    plain = ValueRef.parse(name).name
    written = next((one.source for one in parts_of(step.operation) if one.name in (name, plain)), None)
    return "" if written is None else words_of_source(source_of(log.procedure, written))


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
