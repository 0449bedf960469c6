"""Giving measured parts to places at the bench: proposed by the solver, taken by the builder, judged here.

A match's ``so-that`` names a value of the same operation whose formula names the match's own name: the
size of the part given (``gap + old-shim - shims``). It is worked out for every place in turn. Being linear in
that size, with slope one up or down, it turns the limit into the sizes that will do at each place.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue, PartMatching
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, QuantityError, convert, dimension_of, parse_quantity, show
from benchflow.session.refusal import Reason
from benchflow.session.rules.calculated_values import calculate
from benchflow.session.rules.verdicts import from_stored, last_attempts
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import judge

if TYPE_CHECKING:
    from benchflow.procedure.formula import Formula


class RequiredSize(Struct, frozen=True):
    """What one place asks for: sizes from ``low`` to ``high``, best ``aim``."""

    place: str
    low: Quantity | None
    high: Quantity | None
    aim: Quantity | None


def match_place(state: State, step: Step, name: str) -> tuple[PartMatching, str] | None:
    """The match and the place that ``shims[3]`` names."""
    ref = ValueRef.parse(name)
    match = step.match(ref.name)
    if match is None or ref.place is None or ref.place not in state.plan.procedure.places.get(match.to, ()):
        return None
    return match, ref.place


def measured_parts(state: State, match: PartMatching) -> dict[str, Quantity] | None:
    """Part to measured size; ``None`` until every one of them is measured. A part is named by its reading."""
    parts: dict[str, Quantity] = {}
    for step, record in state.plan.records(match.measured):
        attempts = last_attempts(state, step.id, record.name)
        if any(slot not in attempts for slot in record.slots):
            return None
        many = len(record.slots) > 1 or record.by_place
        for slot in record.slots:
            key = slot if many else record.name
            parts[key] = from_stored(attempts[slot].quantity)
    return parts or None


def calculation_at_place(work: CalculatedValue, formula: "Formula", place: str, names: set[str]) -> CalculatedValue:
    """The formula of ``so-that`` for one place: names that have a value there get it put behind them."""
    from msgspec.structs import replace

    from benchflow.procedure.formula import at_place as moved
    from benchflow.procedure.formula import render

    return replace(work, formula=render(moved(formula, names, place)))


def resulting_value(state: State, step: Step, match: PartMatching, place: str, size: Quantity) -> Quantity | None:
    """The value that comes of a part of ``size`` in ``place``; ``None`` while a reading is missing."""
    work = step.work_out(match.so_that)
    if work is None:
        return None
    formula = state.plan.formula(work)
    there = {
        name
        for name in _names(formula)
        if state.plan.record(str(ValueRef(name, place))) is not None or _slot_there(state, name, place)
    }
    worked = calculate(state, step, calculation_at_place(work, formula, place, there), {match.name: size})
    return None if worked is None else worked.verdict.value


def _names(formula: "Formula") -> list[str]:
    from benchflow.procedure.formula import names

    return [ref.name for ref in names(formula) if ref.place is None]


def _slot_there(state: State, name: str, place: str) -> bool:
    found = state.plan.record(name)
    return found is not None and place in found.record.slots and found.record.by_place


def required_sizes(state: State, step: Step, match: PartMatching, unit: str) -> tuple[RequiredSize, ...] | None:
    """What each place asks for, from two trial sizes; ``None`` while readings are missing."""
    found = []
    for place in state.plan.procedure.places.get(match.to, ()):
        at_zero = resulting_value(state, step, match, place, Quantity(Decimal(0), unit, f"0 {unit}"))
        one = resulting_value(state, step, match, place, Quantity(Decimal(1), unit, f"1 {unit}"))
        if at_zero is None or one is None:
            return None
        slope = one.value - at_zero.value
        if not slope:
            return None

        def size(at: Quantity | None, start: Quantity = at_zero, per: Decimal = slope) -> Quantity | None:
            if at is None:
                return None
            value = (convert(at, start.unit).value - start.value) / per
            return Quantity(value, unit, f"{value} {unit}")

        ends = (size(match.limit.low), size(match.limit.high))
        low, high = ends if slope > 0 else (ends[1], ends[0])
        found.append(RequiredSize(place, low, high, size(match.aim)))
    return tuple(found)


def proposed_parts(state: State, step: Step, match: PartMatching) -> tuple[Mapping[str, str], str]:
    """Place to part, the best way there is, and what to say about it (ties, what to buy)."""
    from benchflow.trade.matching import Matched, PartPlace, PurchasableSizes, StockPart
    from benchflow.trade.matching import match as solve

    parts = measured_parts(state, match)
    if parts is None:
        return {}, f"{match.measured} is not all measured yet"
    unit = next(iter(parts.values())).unit
    asked = required_sizes(state, step, match, unit)
    if asked is None:
        return {}, f"{match.so_that} cannot be calculated yet. A reading is missing"
    places = [
        PartPlace(one.place, one.low, one.high, one.aim, current=one.place if one.place in parts else None)
        for one in asked
    ]
    made = match.sizes
    grid = None if made is None else PurchasableSizes(made.first, made.last, made.step)
    found = solve([StockPart(name, size) for name, size in parts.items()], places, grid)
    given = {one.place: one.part for one in found.given}
    if not isinstance(found, Matched):
        given |= {one.place: show(one.sizes[0]) for one in found.buy if one.sizes and len(one.sizes) == 1}
    if isinstance(found, Matched):
        tie = found.ties[0].instead if found.ties else ()
        other = ", ".join(f"{part} in {place}" for place, part in tie)
        return given, f"just as good: {other}" if other else ""
    buy = "; ".join(one.words for one in found.buy)
    return given, f"{'. '.join(found.why)}. To buy: {buy}" if buy else ". ".join(found.why)


def unit_of_parts(parts: Mapping[str, Quantity]) -> str:
    return next(iter(parts.values())).unit


def size_of(parts: Mapping[str, Quantity], part: str) -> Quantity | None:
    """The size of what was given to a place: a part on hand by its name, a new one by its size."""
    if part in parts:
        return parts[part]
    try:
        return convert(parse_quantity(part, dimension=dimension_of(unit_of_parts(parts))), unit_of_parts(parts))
    except (QuantityError, StopIteration):
        return None


def match_reasons(state: State, step: Step) -> Iterator[Reason]:
    """What is missing or wrong about the parts given to places."""
    work = state.work(step.id)
    for match in step.operation.match:
        parts = measured_parts(state, match) or {}
        for place in state.plan.procedure.places.get(match.to, ()):
            name = str(ValueRef(match.name, place))
            part = work.chosen.get(name)
            size = None if part is None else size_of(parts, part)
            if part is None or size is None:
                message = f"no part is given to {place} yet ({match.title or match.name})"
                yield Reason("value-missing", message, operation=step.id, name=name)
                continue
            value = resulting_value(state, step, match, place, size)
            if value is None or match.name in work.deviations:
                continue
            if judge(value, match.limit, "simple").verdict != "ok":
                message = (
                    f"{part} in {place} gives {result_title(step, match)}: {show(value)}, limit {match.limit.text}"
                )
                yield Reason("out-of-limit", message, operation=step.id, name=name)


def result_title(step: Step, match: PartMatching) -> str:
    """What the match is made for, by its title: ``Lash with the shim that is given``."""
    work = step.work_out(match.so_that)
    return work.title or match.so_that if work is not None else match.so_that
