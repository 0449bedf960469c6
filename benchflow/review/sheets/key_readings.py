"""The key readings of a build, for the customer's copy of the build sheet: with limits in both unit systems."""

from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.durations import rounded_duration
from benchflow.procedure.model import CalculatedValue, EqualWithin, RecordedValue
from benchflow.procedure.model import values_of as values_of_operation
from benchflow.procedure.plan import Step
from benchflow.procedure.procedure_figures import source_of_value
from benchflow.review.evidence.speed_points import much_shorter_than_stated, short_duration
from benchflow.review.formatting import shown_reading
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.reading_values import Value, values_of
from benchflow.review.sheets.unit_systems import converted, other_unit
from benchflow.session.rules.planned_disassembly import trials
from benchflow.trade.verdict import NOT_ACCEPTED, OUT_OF_LIMIT, VERDICT_TEXT

MOST_FIGURES = 8
"""A row with more figures shows the smallest and the largest one."""
_OTHER_READING = " (above "
"""The limit has its figures before it; after it, the name in the file of the reading that it depends on."""


class KeyReading(Struct, frozen=True):
    """One row. ``figures`` are pairs of place and figure, in ``unit``.

    ``remark`` says why the reading is not proven although it is inside the limit, "" if it is proven.

    ``other`` is the range of the figures and ``other_limit`` the limit in the other unit system, "" if there is none.
    """

    name: str
    figures: tuple[tuple[str, str], ...]
    unit: str
    limit: str
    verdict: str
    other: str
    other_limit: str
    remark: str = ""


class _CollectedReading(Struct):
    """The readings of one name, collected over the places at which it was measured.

    ``judged_as`` says which figure of the readings the limit is for: "difference", "mean", or "" for each reading.
    """

    name: str
    unit: str
    readings: list[tuple[str, ReadingFact]] = []
    values: list[Value] = []
    places: list[str] = []  # of each of the values
    judged_as: str = ""
    remarks: list[str] = []
    own_choice: bool = False  # the limit is the author's own choice


def key_readings(log: LoadedLog) -> tuple[KeyReading, ...]:
    """The values that the procedure names for the customer; without such names every value with a limit.

    Only finished operations count. The same value at several places is one row. Rows of one name follow each other.
    """
    rows: dict[tuple[str, str, str], _CollectedReading] = {}
    named = any(_written(step, "") for step in log.plan.steps.values())
    apart = trials(log.state)
    for step in log.plan.steps.values():
        if step.id not in log.finished or step.id in apart:
            continue
        for value in values_of(log, step):
            name = _written(step, value.name) if named else _long_name(step, value)
            if not name or value.further or not (value.limit or named):
                continue
            row = rows.setdefault((name, value.unit, value.limit), _CollectedReading(name, value.unit))
            row.judged_as = _judged_as(step, value)
            row.own_choice = row.own_choice or _is_own_choice(log, step, value)
            row.values.append(value)
            row.places.append(step.place or "")
            row.readings += _labelled(log, step, value)
            row.remarks += _too_early(log, step)
    names = list(dict.fromkeys(row.name for row in rows.values()))
    ordered = sorted(rows.values(), key=lambda row: names.index(row.name))
    return tuple(_key_reading(row) for row in ordered if row.readings)


def _too_early(log: LoadedLog, step: Step) -> Iterator[str]:
    """The time that the step took, if it is a small part of the time that the procedure states."""
    fact = next((one for one in log.facts.operations if one.operation == step.id), None)
    taken_over = log.state.work(step.id).takeover is not None
    if fact is not None and fact.started is not None and not taken_over and much_shorter_than_stated(step, fact):
        place, stated = f"{step.place}: " if step.place else "", rounded_duration(step.takes)
        yield f"{place}taken after {short_duration(fact.in_progress)}; the procedure states {stated}"


def _written(step: Step, name: str) -> str:
    """The name for the customer of the value ``name`` of a step; of any of its values if ``name`` is ""."""
    values: tuple[RecordedValue | CalculatedValue, ...] = (*step.operation.record, *step.operation.work_out)
    return next((value.handover for value in values if value.handover and name in ("", value.name)), "")


def _long_name(step: Step, value: Value) -> str:
    return step.title if value.ask == step.title else f"{step.title}: {value.ask}"


def _judged_as(step: Step, value: Value) -> str:
    if value.calculated or value.each:
        return ""
    record = next(record for record in step.operation.record if record.name == value.name)
    if record.judge == "spread" or isinstance(record.bound, EqualWithin):
        return "difference"
    return "mean" if record.judge == "mean" else ""


def _is_own_choice(log: LoadedLog, step: Step, value: Value) -> bool:
    """True if the limit is the author's own choice, against a printed figure or without one."""
    found = next((one for one in values_of_operation(step.operation) if one.name == value.name), None)
    source = None if found is None else source_of_value(log.procedure, found)
    return source is not None and source.own_choice


def _labelled(log: LoadedLog, step: Step, value: Value) -> list[tuple[str, ReadingFact]]:
    """The readings in force with their place: ``1 front``."""
    if value.calculated:
        facts = [r for r in log.facts.readings if r.operation == step.id and r.name == value.name and r.in_force]
    else:
        facts = list(value.readings)
    place = step.place or ""
    many = len(facts) > 1
    return [(f"{place} {fact.slot if many else ''}".strip(), fact) for fact in facts]


def _key_reading(row: _CollectedReading) -> KeyReading:
    compared = _compared_with_limit(row)
    worst = next((value for value in row.values if value.verdict in NOT_ACCEPTED), row.values[0])
    to = other_unit(row.unit, max(abs(Decimal(fact.value)) for fact in compared))
    other, other_limit = converted(compared, worst.band, to) if to else ("", "")
    if to and f" {to}" in worst.limit:
        other_limit = ""  # printed in both units
    remark = ". ".join(dict.fromkeys(row.remarks))
    verdict = VERDICT_TEXT["not-proven" if remark and worst.verdict not in OUT_OF_LIMIT else worst.verdict]
    limit = worst.limit.partition(_OTHER_READING)[0]
    new = next((value.used for value in row.values if value.used), "")
    limit += f", used part (new: {new})" if new else ""
    limit += " (own choice)" if row.own_choice and limit else ""
    return KeyReading(row.name, _figures(row), row.unit, limit, verdict, other, other_limit, remark)


def _compared_with_limit(row: _CollectedReading) -> tuple[ReadingFact, ...]:
    """The figures that the limit is for: the readings, or their differences or means as readings."""
    if not row.judged_as:
        return tuple(fact for _, fact in row.readings)
    difference = row.judged_as == "difference"
    return tuple(
        replace(value.readings[0], value=f"{value.judged:f}", entered=value.judged_text, difference=difference)
        for value in row.values
        if value.judged is not None and value.readings
    ) or tuple(fact for _, fact in row.readings)


def _figures(row: _CollectedReading) -> tuple[tuple[str, str], ...]:
    judged = tuple(
        (f"{place if len(row.values) > 1 else ''} {row.judged_as}".strip(), _judged_figure(value))
        for place, value in zip(row.places, row.values, strict=True)
        if row.judged_as
    )
    texts = [(place, _without_unit(fact)) for place, fact in row.readings]
    if len(texts) <= MOST_FIGURES:
        return (*texts, *judged)
    ordered = sorted((fact for _, fact in row.readings), key=lambda fact: Decimal(fact.value))
    return ((f"{len(texts)} readings", f"{_without_unit(ordered[0])} .. {_without_unit(ordered[-1])}"), *judged)


def _judged_figure(value: Value) -> str:
    return value.judged_text.removesuffix(value.unit).rstrip()


def _without_unit(fact: ReadingFact) -> str:
    return shown_reading(fact).removesuffix(fact.unit).rstrip()
