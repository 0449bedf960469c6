"""Every reason against the values of an operation: missing readings, values out of their limits or not proven."""

from collections.abc import Iterator, Sequence

from benchflow.procedure.model import AboveReading, CalculatedValue, EqualWithin, RecordedValue, bounds_of
from benchflow.procedure.plan import Step
from benchflow.quantity import show_short
from benchflow.session.refusal import Reason
from benchflow.session.rules.calculated_values import judged_results, unmatched_calculations
from benchflow.session.rules.evaluated_values import lacks_round_before, single_measurement
from benchflow.session.rules.findings import verdict_decides
from benchflow.session.rules.missing_figures import value_figure_reasons
from benchflow.session.rules.put_right_advice import limit_advice, rework_asked
from benchflow.session.rules.remedy_progress import RemedyProgress, remedy_progress, served_together
from benchflow.session.rules.rework_plans import undo_is_written
from benchflow.session.rules.stop_advice import stop_text
from benchflow.session.rules.value_results import ValueResult, calculated_results, recorded_results
from benchflow.session.rules.verdicts import judged_singly, limit_in_force
from benchflow.session.rules.waivers import deviation_advice
from benchflow.session.state.state import State
from benchflow.trade.verdict import VERDICT_TEXT


def open_value_reasons(state: State, step: Step) -> Iterator[Reason]:
    """Every reason against the values of ``step``, in the order of the procedure."""
    for record in step.operation.record:
        entered = state.work(step.id).readings.get(record.name, {})
        missing = [slot for slot in record.slots if not entered.get(slot)]
        if missing:
            which = "" if len(record.slots) == 1 else f" (reading {', '.join(missing)} of {len(record.slots)})"
            message = f"{value_title(step, record.name)} is not entered yet{which}"
            yield Reason("value-missing", message, operation=step.id, name=record.name)
        yield from value_figure_reasons(state, step, record)
        results = recorded_results(state, step, record)
        for number, one in enumerate(record.by_limit):
            yield from _missing_base(state, step, one)
            yield from _limit_reasons(state, step, record.name, [each for each in results if each.limit == number])
    for work in unmatched_calculations(step):
        gap = judged_results(state, step, work).missing
        if gap is not None:
            message = f"{work.title or work.name} cannot be calculated yet. {gap.reason}"
            yield Reason("value-missing", message, operation=step.id, name=work.name)
        yield from value_figure_reasons(state, step, work)
        yield from _missing_base(state, step, work)
        yield from _limit_reasons(state, step, work.name, calculated_results(state, step, work))


def _missing_base(state: State, step: Step, value: RecordedValue | CalculatedValue) -> Iterator[Reason]:
    """The reason that the limit of a value depends on another value, which is not there."""
    if isinstance(value, RecordedValue):
        bounds = dict.fromkeys(limit_in_force(state, step.id, value, slot) for slot in value.slots)
    else:
        bounds = dict.fromkeys(bounds_of(value))
    for bound in bounds:
        if not isinstance(bound, AboveReading) or single_measurement(state, bound.name) is not None:
            continue
        if not lacks_round_before(state, state.plan.ref(bound.name)):
            message = f"The limit of {value_title(step, value.name)} depends on {bound.name}, which is not entered yet"
            yield Reason("value-missing", message, operation=step.id, name=bound.name)


def limit_base_missing(state: State, step: Step, name: str) -> Reason | None:
    """The reason that the limit of the value ``name`` is not known, because a value that it depends on is open."""
    value = step.record(name) or step.work_out(name)
    return None if value is None else next(_missing_base(state, step, value), None)


def _limit_reasons(state: State, step: Step, name: str, results: Sequence[ValueResult]) -> Iterator[Reason]:
    """One reason if results of a value are out of the limit, and one if results are not proven to be within it."""
    if not results:
        return
    title, label, limit = result_title(step, results[0]), figure_label(state, step, results[0]), results[0].limit
    held = tuple(each for each in remedy_progress(state, step, name) if each.result.limit == limit)
    tried = [progress.result for progress in held if progress.remedy is not None]
    decided = [
        result for result in results
        if not limit and result not in tried and _is_decided(state, step, name, result)
    ]  # fmt: skip
    out = [result for result in results if result.out and result not in decided]
    held = () if step.id in state.done else tuple(each for each in held if each.result not in decided)
    if out:
        message = f"{title}: {label}{_out_text(out)}{_advice(state, step, out, held)}"
        rework = None if held else _rework_asked(state, step, out)
        yield Reason("out-of-limit", message, operation=step.id, name=name, rework=rework)
        yield from _remedy_first_reasons(state, step, title, held)
    doubtful = [result for result in results if result.open and not result.out]
    if doubtful:
        shown, verdict = label + ", ".join(map(result_text, doubtful)), doubtful[0].verdict
        accepted = f" ({verdict.acceptance} would be ok)" if verdict.acceptance not in ("", "none") else ""
        message = f"{title}: {shown}, not proven to be within {verdict.limit}{accepted}: {verdict.reason}"
        message += _advice(state, step, doubtful)
        rework = _rework_asked(state, step, doubtful)
        yield Reason("not-proven", message, operation=step.id, name=name, rework=rework)


def _is_decided(state: State, step: Step, name: str, result: ValueResult) -> bool:
    """True if some `when` says what is done after the verdict on a result, or on its reading."""
    verdict = result.verdict.verdict
    return any(verdict_decides(state, step, key, verdict) for key in (name, result.subject))


def _out_text(out: Sequence[ValueResult]) -> str:
    """The results that are out of their limits, with the limit. It is named once if all have the same."""
    limits = {result.verdict.limit for result in out}
    shown = [f"{result_text(result)} {VERDICT_TEXT[result.verdict.verdict]}" for result in out]
    if len(limits) == 1:
        return f"{', '.join(shown)}, limit {out[0].verdict.limit}"
    return ", ".join(f"{text} (limit {result.verdict.limit})" for text, result in zip(shown, out, strict=True))


def _advice(state: State, step: Step, results: Sequence[ValueResult], held: Sequence[RemedyProgress] = ()) -> str:
    subjects = (results[0].name, *(result.subject for result in results))
    lapsed = next(filter(None, (lapsed_deviation_text(state, step, subject) for subject in subjects)), "")
    final = next((progress for progress in held if progress.final), None)
    if final is not None:
        return f"{lapsed}. {stop_text(state, step, final, final.result.subject)}"
    advice, about = "Carry out the remedy" if held else "Measure again", results[0].name
    source = None if held else _measured_in(state, step, results)
    if source is None:
        return f"{lapsed}. {limit_advice(state, step, about, advice)}"
    sign = deviation_advice(state, step, about)
    advice = (
        f"Rework step {state.plan.number(source.id)}"
        if undo_is_written(state, source.id)
        else "If a reading was misread, correct it"
    )
    return f"{lapsed}. {advice}{f', or {sign}' if sign else ''}"


def _measured_in(state: State, step: Step, results: Sequence[ValueResult]) -> Step | None:
    """The other operation that the readings of ``results`` are of; ``None`` if one of them is of ``step`` itself."""
    readings = [reading for result in results for reading in result.readings]
    elsewhere = readings and all(reading.step != step.id for reading in readings)
    return state.plan.steps.get(readings[0].step) if elsewhere else None


def _rework_asked(state: State, step: Step, results: Sequence[ValueResult]) -> str | None:
    """The operation that :func:`_advice` says to rework; ``None`` if it says something else."""
    source = _measured_in(state, step, results)
    if source is None:
        return rework_asked(state, step)
    return source.id if undo_is_written(state, source.id) else None


def _remedy_first_reasons(state: State, step: Step, title: str, held: Sequence[RemedyProgress]) -> Iterator[Reason]:
    """A reason for each remedy that has to be carried out: with ``redo`` one for all readings that it serves."""
    named: list[RemedyProgress] = []
    for progress in held:
        if progress.final or progress in named:
            continue
        served = served_together(progress, tuple(held))
        named += served
        yield remedy_first(step, title, served)


def remedy_first(step: Step, title: str, served: Sequence[RemedyProgress]) -> Reason:
    """The reason that a remedy has to be carried out before a reading counts again."""
    result = served[0].result
    slots = "" if result.subject == result.name else f", reading {', '.join(p.result.slot for p in served)}"
    message = f"{title}{slots}: carry out the remedy first. {served[0].instruction}"
    return Reason("remedy-first", message, operation=step.id, name=result.name)


def figure_label(state: State, step: Step, result: ValueResult) -> str:
    """The statistic that is judged for a recorded value: ``mean ``; "" if each reading is judged."""
    record = step.record(result.name)
    if record is None or len(record.slots) == 1:
        return ""
    record = record.by_limit[result.limit]
    bound = limit_in_force(state, step.id, record)
    if judged_singly(record, bound):
        return ""
    return "spread " if isinstance(bound, EqualWithin) else f"{record.judge} "


def result_text(result: ValueResult) -> str:
    """The value of a result, after its reading if there are several: ``0.21 mm``, ``reading 2 0.21 mm``."""
    shown = "" if result.verdict.value is None else show_short(result.verdict.value)
    return shown if result.subject == result.name else f"reading {result.slot} {shown}"


def value_title(step: Step, name: str) -> str:
    """The question for a recorded value, or the title of a calculated one; the name if it has neither."""
    record, work = step.record(name), step.work_out(name)
    return (record.ask if record else "") or (work.title if work else "") or name


def result_title(step: Step, result: ValueResult) -> str:
    """The title of the value of a result, with that of the further limit that it was compared with."""
    record = step.record(result.name)
    further = "" if record is None or not result.limit else record.also[result.limit - 1].label
    return f"{value_title(step, result.name)}, {further}" if further else value_title(step, result.name)


def lapsed_deviation_text(state: State, step: Step, subject: str) -> str:
    """A sentence on a deviation that no longer counts, because its entry was replaced; empty if there is none."""
    lapsed = state.work(step.id).lapsed.get(subject)
    return "" if lapsed is None else f". The deviation signed by {lapsed.by} was for an earlier entry"
