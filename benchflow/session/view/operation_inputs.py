"""The inputs of an operation for the bench view, in the order of entry."""

from benchflow.procedure.figure_sources import own_source, source_of
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue, CheckPoint, EqualWithin, RecordedValue, bounds_of, written_limit
from benchflow.procedure.plan import Step
from benchflow.procedure.procedure_figures import source_of_value
from benchflow.quantity import show_short
from benchflow.session.context import Context
from benchflow.session.rules.calculated_values import calculate, judged_results, unmatched_calculations
from benchflow.session.rules.check_remedies import answer_is_waived, remedy_of_check
from benchflow.session.rules.choice_tables import choice_reasons, table_proposal
from benchflow.session.rules.evaluated_values import lacks_round_before
from benchflow.session.rules.measurements import from_stored, last_attempts, next_open_slot
from benchflow.session.rules.open_items import lot_title, required_lots
from benchflow.session.rules.remedy_progress import remedy_progress
from benchflow.session.rules.value_results import WHOLE, calculated_results, record_subject, recorded_results
from benchflow.session.rules.verdicts import (
    bound_in_force,
    judge_value,
    limit_in_force,
    limit_text,
    limits_by_reading,
    part_is_used,
)
from benchflow.session.state.state import HOLD, State
from benchflow.session.view import bench_view as vw
from benchflow.session.view.asked_figures import asked_of_calculation, asked_of_reading, asked_of_uses
from benchflow.session.view.further_limits import further_limit_rows
from benchflow.session.view.gauge_positions import (
    calculation_gauge,
    reading_comparisons,
    reading_gauge,
    reading_gauges,
)
from benchflow.session.view.joint_inputs import tighten_input, titles_to_redo
from benchflow.session.view.limit_distance import combined_summary, reading_distance
from benchflow.session.view.match_inputs import match_inputs
from benchflow.session.view.reading_text import reading_text


def operation_inputs(state: State, step: Step, context: Context) -> tuple[vw.Input, ...]:
    """The inputs of ``step``: lots, readings, calculated values, choices, the joint, checks, the hold."""
    operation = step.operation
    inputs: list[vw.Input] = [_lot_input(state, step, name) for name in required_lots(state, step)]
    inputs += [_reading_input(state, step, record) for record in operation.record]
    inputs += [_calculated_input(state, step, work) for work in unmatched_calculations(step)]
    inputs += [_choice_input(state, step, index) for index in range(len(operation.choose))]
    inputs += match_inputs(state, step)
    joint = tighten_input(state, step, context)
    if joint is not None:
        inputs.append(joint)
    inputs += [_check_input(state, step, n, point) for n, point in enumerate(operation.check, 1)]
    if operation.hold is not None:
        inputs.append(_hold_input(state, step))
    return tuple(inputs)


def _lot_input(state: State, step: Step, name: str) -> vw.LotInput:
    lot = state.work(step.id).lots.get(name, "")
    return vw.LotInput(name, lot_title(state, name), lot, bool(lot))


def _reading_input(state: State, step: Step, record: RecordedValue) -> vw.ReadingInput:
    work = state.work(step.id)
    attempts = last_attempts(state, step.id, record.name)
    verdict = judge_value(state, step.id, record)
    bound = limit_in_force(state, step.id, record)
    results = recorded_results(state, step, record)
    waived = {result.slot for result in results if result.waived is not None and not result.limit}
    in_turn = remedy_progress(state, step, record.name)
    remedies = {progress.result.slot: progress for progress in reversed(in_turn)}  # the first limit comes first
    compared, gauges = reading_comparisons(state, step, record), reading_gauges(state, step, record)
    rows = []
    for slot in record.slots:
        attempt, subject = attempts.get(slot), record_subject(record, slot)
        in_force = limit_in_force(state, step.id, record, slot)
        own = limit_text(state, in_force, record.unit) if record.by_reading else ""
        if attempt is None:
            asked, other = asked_of_reading(state, step, record, slot), _other_part(state, step, record, slot)
            rows.append(
                vw.Reading(
                    slot, "", "", subject=subject, limit=own, gauge=gauges.get(slot), asked=asked, other_part=other
                )
            )
        else:
            count = sum(each.claims is None for each in work.readings[record.name][slot])
            held, found = remedies.get(slot) or remedies.get(WHOLE), compared.get(slot)
            quantity = from_stored(attempt.quantity)
            rows.append(
                vw.Reading(
                    slot,
                    reading_text(quantity),
                    attempt.verdict,
                    count,
                    not waived.isdisjoint((slot, WHOLE)),
                    subject,
                    "" if held is None else held.instruction,
                    held is not None and held.final,
                    () if held is None else titles_to_redo(state, step, held),
                    own,
                    0 if held is None else held.result.limit,
                    "" if found is None else reading_distance(found, record.unit, quantity, attempt.verdict, in_force),
                    gauges.get(slot),
                    other_part=_other_part(state, step, record, slot),
                )
            )
    complete = not verdict.missing and not any(result.open for result in results)
    instrument = _instrument_text(state, record.at(next_open_slot(state, step, record)))
    summary, summary_verdict = combined_summary(state, step, record)
    limit = limits_by_reading(state, step.id, record) or verdict.limit or ("" if bound is None else bound.text)
    return vw.ReadingInput(
        name=record.name,
        ask=record.ask or record.name,
        unit=record.unit,
        limit=limit,
        decision=record.decision,
        readings=tuple(rows),
        instrument=instrument,
        complete=complete,
        gauge=reading_gauge(state, step, record),
        summary=summary,
        summary_verdict=summary_verdict,
        acceptance=verdict.acceptance,
        further=further_limit_rows(state, step, record, results, in_turn),
        of_difference=record.judge == "spread" or isinstance(bound, EqualWithin),
        source=_source_of_value(state, record),
    )


def _other_part(state: State, step: Step, record: RecordedValue, slot: str) -> vw.OtherPart | None:
    """What applies to a reading if its part is used, or new, other than stated; ``None`` if there is no choice."""
    own = record.at(slot)
    if own.bound is None or own.used is None or own.used_by_option is not None:
        return None
    used = not part_is_used(state, step.id, record, slot)
    limit = limit_text(state, bound_in_force(own, used), record.unit)
    return vw.OtherPart(used, limit, asked_of_reading(state, step, record, slot, used=used))


def _source_of_value(state: State, value: RecordedValue | CalculatedValue) -> str:
    """Where the limits of a value come from; "" if the source is that of the whole procedure."""
    return own_source(source_of_value(state.plan.procedure, value)) if bounds_of(value) or value.source else ""


def _instrument_text(state: State, record: RecordedValue) -> str:
    """The instruments of a value, with their serial numbers if they are in use; "" if it has none."""
    texts = []
    for name in record.instruments:
        need = state.plan.procedure.instruments_by_id.get(name)
        serial = f", serial {state.tools[name].serial}" if name in state.tools else ""
        texts += [] if need is None else [f"{need.title or need.id}{serial}"]
    return " and ".join(texts)


def _calculated_input(state: State, step: Step, work: CalculatedValue) -> vw.CalculatedInput:
    worked = calculate(state, step, work)
    waived = any(result.waived is not None for result in calculated_results(state, step, work))
    limit = written_limit(work)
    title = work.title or work.name
    if worked is None:
        first = lacks_round_before(state, ValueRef.parse(work.name))
        shown = "first round: nothing to compare with" if first else ""
        return vw.CalculatedInput(
            work.name, title, work.formula, "", shown, limit, "", complete=first, asked=asked_of_calculation(work)
        )
    verdict, found = worked.verdict, remedy_progress(state, step, work.name)
    return vw.CalculatedInput(
        name=work.name,
        title=title,
        formula=work.formula,
        filled=worked.filled,
        shown="" if verdict.value is None else show_short(verdict.value),
        limit=limit if work.by_reading else verdict.limit,
        verdict=verdict.verdict,
        complete=waived or (verdict.verdict in ("ok", "none") and asked_of_calculation(work) is None),
        asked=asked_of_calculation(work),
        gauge=calculation_gauge(state, step, work),
        waived=waived,
        remedy=found[0].instruction if found else "",
        must_stop=any(progress.final for progress in found),
        redo=titles_to_redo(state, step, found[0]) if found else (),
        source=_source_of_value(state, work),
        results=_results_by_reading(state, step, work),
    )


def _results_by_reading(
    state: State, step: Step, work: CalculatedValue
) -> tuple[tuple[str, str, vw.ShownVerdict], ...]:
    """The results of a value that is calculated reading by reading; empty if it has one result."""
    results = judged_results(state, step, work).results
    if len(results) < 2:
        return ()
    shown = ((slot, one.verdict) for slot, one in results.items())
    return tuple((slot, "" if one.value is None else show_short(one.value), one.verdict) for slot, one in shown)


def _choice_input(state: State, step: Step, index: int) -> vw.ChoiceInput:
    table = step.operation.choose[index]
    proposed = table_proposal(state, step, table)
    chosen = state.work(step.id).chosen.get(table.name, "")
    complete = not any(reason.name == table.name for reason in choice_reasons(state, step))
    title = table.title or table.name.replace("-", " ").capitalize()
    source = own_source(source_of(state.plan.procedure, table.source))
    return vw.ChoiceInput(
        table.name, title, proposed.takes, table.takes, chosen, complete, proposed.note, source=source
    )


def _check_input(state: State, step: Step, number: int, point: CheckPoint) -> vw.CheckInput:
    """A check to tick. One that was answered no is complete only if a deviation covers the answer."""
    work = state.work(step.id)
    complete = number in work.checks or answer_is_waived(state, step, number)
    held = None if step.id in state.done else remedy_of_check(state, step, number)
    return vw.CheckInput(
        number,
        point.text,
        complete,
        number in work.failed,
        "" if held is None else held.instruction,
        held is not None and held.final,
        () if held is None else titles_to_redo(state, step, held),
        None if complete or held is not None else asked_of_uses(state, step),
    )


def _hold_input(state: State, step: Step) -> vw.HoldInput:
    hold = step.operation.hold
    assert hold is not None
    work = state.work(step.id)
    signed = "" if work.signed is None else work.signed.by
    if HOLD in work.deviations:
        signed = f"waived by {work.deviations[HOLD].by}"
    own = work.signed is not None and work.signed.self_signed
    return vw.HoldInput(hold.by, hold.for_, signed, bool(signed), own)
