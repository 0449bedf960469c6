"""Matching of measured parts to places: the solver proposes a part for each place, the builder chooses.

The key `so that` of a matching names a calculated value of the same operation. In its formula
(``gap + old-shim - shims``), the name of the matching (``shims``) is the size of the part. The value is calculated for
each place. It is linear in the size, so two trial sizes are enough to calculate the required sizes from the limit.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue, PartMatching
from benchflow.procedure.plan import Step
from benchflow.quantity import (
    Quantity,
    QuantityError,
    base,
    convert,
    dimension_of,
    interval,
    parse_quantity,
    show,
    show_short,
)
from benchflow.quantity.arithmetic import decimal
from benchflow.quantity.shown import decimals_shown, round_half_up, with_unit
from benchflow.session.refusal import Code, Reason
from benchflow.session.rules.choice_waivers import match_waiver
from benchflow.session.rules.evaluated_values import evaluate_value
from benchflow.session.rules.measurements import Measurement, exact_measurement, recorded_measurements
from benchflow.session.rules.put_right_advice import limit_advice, rework_asked
from benchflow.session.rules.verdicts import judge_measurement, limit_text
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import judge_exact
from benchflow.trade.verdict import Verdict

if TYPE_CHECKING:
    from benchflow.procedure.formula import Formula


class RequiredSize(Struct, frozen=True):
    """The sizes that fit one place, from ``low`` to ``high``; ``aim`` is the best."""

    place: str
    low: Quantity | None
    high: Quantity | None
    aim: Quantity | None


def match_place(state: State, step: Step, name: str) -> tuple[PartMatching, str] | None:
    """The matching and the place with the name ``shims[3]``; ``None`` if there is no such place."""
    ref = ValueRef.parse(name)
    match = step.match(ref.name)
    if match is None or ref.place is None or ref.place not in state.plan.procedure.places.get(match.to, ()):
        return None
    return match, ref.place


def measured_parts(state: State, match: PartMatching) -> dict[str, Quantity] | None:
    """The size of each part on hand, by the name of its reading; ``None`` until all are measured."""
    parts = part_measurements(state, match)
    return None if parts is None else {part: measured.shown for part, measured in parts.items()}


def part_measurements(state: State, match: PartMatching) -> dict[str, Measurement] | None:
    """The measurement of each part on hand, by the name of its reading; ``None`` until all are measured."""
    parts: dict[str, Measurement] = {}
    for step, record in state.plan.records(match.measured):
        measured = recorded_measurements(state, step, record)
        if len(measured) < len(record.slots):
            return None
        many = len(record.slots) > 1 or record.by_place
        parts |= {slot if many else record.name: one for slot, one in measured.items()}
    return parts or None


def calculation_at_place(work: CalculatedValue, formula: "Formula", place: str, names: set[str]) -> CalculatedValue:
    """``work`` for one place: ``place`` is added to each of ``names`` in its formula."""
    from msgspec.structs import replace

    from benchflow.procedure.formula import at_place, render

    return replace(work, formula=render(at_place(formula, names, place)))


class FittedPart(Struct, frozen=True):
    """The calculated value with one part in one place, and the verdict on it by the decision rule of the value."""

    value: Quantity
    verdict: Verdict
    exact: Fraction
    limit: str


def fitted_part(state: State, step: Step, match: PartMatching, place: str, size: Measurement) -> FittedPart | None:
    """The calculated value with a part of ``size`` in ``place``; ``None`` while a reading is missing."""
    work = step.work_out(match.so_that)
    if work is None:
        return None
    formula = state.plan.formula(work)
    at_place = {
        name
        for name in _names_without_place(formula)
        if state.plan.record(str(ValueRef(name, place))) is not None or _has_reading_at(state, name, place)
    }
    at_this_place = calculation_at_place(work, formula, place, at_place)
    results = evaluate_value(state, step, at_this_place, {match.name: size}).results
    if not results:
        return None
    found = next(iter(results.values())).measurement
    bounds = interval(match.limit, difference=found.difference, at=found.exact)
    judged = judge_exact(found.exact, bounds, work.decision, found.uncertainty(work))
    own = judge_measurement(state, work, work.bound, found)  # the value can have a limit of its own, too
    if own is not None and judged.verdict == "ok" and own.verdict != "ok":
        return FittedPart(found.shown, own.verdict, found.exact, limit_text(state, work.bound, work.unit))
    return FittedPart(found.shown, judged.verdict, found.exact, match.limit.text)


def _names_without_place(formula: "Formula") -> list[str]:
    from benchflow.procedure.formula import names

    return [ref.name for ref in names(formula) if ref.place is None]


def _has_reading_at(state: State, name: str, place: str) -> bool:
    found = state.plan.record(name)
    return found is not None and place in found.record.slots and found.record.by_place


def required_sizes(
    state: State, step: Step, match: PartMatching, parts: Mapping[str, Quantity]
) -> tuple[RequiredSize, ...] | None:
    """The required sizes at each place, in the unit of ``parts``; ``None`` while a reading is missing.

    They follow from the calculated values for the sizes 0 and 1, because the formula is linear. They are shown with one
    decimal more than the sizes of the parts.
    """
    unit, within = unit_of_parts(parts), interval(match.limit)
    places = 1 + max(decimals_shown(size) for size in parts.values())
    found = []
    for place in state.plan.procedure.places.get(match.to, ()):
        at_zero, at_one = (
            fitted_part(state, step, match, place, exact_measurement(Quantity(Decimal(size), unit, f"{size} {unit}")))
            for size in (0, 1)
        )
        if at_zero is None or at_one is None:
            return None
        start, slope = at_zero.exact, at_one.exact - at_zero.exact
        if not slope:
            return None

        def size(result: Fraction | None, start: Fraction = start, slope: Fraction = slope) -> Quantity | None:
            return None if result is None else _required_size((result - start) / slope, unit, places)

        ends = (size(within.low), size(within.high))
        low, high = ends if slope > 0 else (ends[1], ends[0])
        found.append(RequiredSize(place, low, high, size(None if match.aim is None else base(match.aim))))
    return tuple(found)


def _required_size(exact: Fraction, unit: str, places: int) -> Quantity:
    """A required size, shown with at most ``places`` decimals."""
    number = decimal(exact)
    shown = round_half_up(exact, places)
    return Quantity(number, unit, with_unit(f"{number if Fraction(shown) == exact else shown:f}", unit))


def proposed_parts(state: State, step: Step, match: PartMatching) -> tuple[Mapping[str, str], str]:
    """The proposed part for each place, and a note: equally good alternatives, or the parts to buy."""
    from benchflow.trade.matching import Matched, PartPlace, PurchasableSizes, StockPart
    from benchflow.trade.matching import match as solve

    parts = measured_parts(state, match)
    if parts is None:
        return {}, f"{match.measured} is not measured for every part yet"
    required = required_sizes(state, step, match, parts)
    if required is None:
        return {}, f"{match.so_that} cannot be calculated yet. A reading is missing"
    places = [
        PartPlace(size.place, size.low, size.high, size.aim, current=size.place if size.place in parts else None)
        for size in required
    ]
    sizes = match.sizes
    to_buy = None if sizes is None else PurchasableSizes(sizes.first, sizes.last, sizes.step)
    found = solve([StockPart(name, size) for name, size in parts.items()], places, to_buy)
    parts_by_place = {chosen.place: chosen.part for chosen in found.given}
    if not isinstance(found, Matched):
        parts_by_place |= {part.place: show(part.sizes[0]) for part in found.buy if part.sizes and len(part.sizes) == 1}
    if isinstance(found, Matched):
        tie = found.ties[0].changes if found.ties else ()
        other = ", ".join(f"{part} in {place}" for place, part in tie)
        return parts_by_place, f"Equally good: {other}" if other else ""
    buy = "; ".join(part.text for part in found.buy)
    return parts_by_place, f"{'. '.join(found.why)}. To buy: {buy}" if buy else ". ".join(found.why)


def unit_of_parts(parts: Mapping[str, Quantity]) -> str:
    """The unit of the sizes in ``parts``, which is the same for all."""
    return next(iter(parts.values())).unit


def size_measurement(parts: Mapping[str, Measurement], part: str) -> Measurement | None:
    """The size of a part. ``part`` is the name of a part on hand, or the size of a new one.

    ``None`` if it is neither, or if no part is measured yet.
    """
    if part in parts:
        return parts[part]
    if not parts:
        return None
    unit = unit_of_parts({name: measured.shown for name, measured in parts.items()})
    try:
        return exact_measurement(convert(parse_quantity(part, dimension=dimension_of(unit)), unit))
    except QuantityError:
        return None


def match_reasons(state: State, step: Step) -> Iterator[Reason]:
    """A reason for each place without a part, or with a part that does not fit."""
    work = state.work(step.id)
    for match in step.operation.match:
        parts = part_measurements(state, match) or {}
        for place in state.plan.procedure.places.get(match.to, ()):
            name = str(ValueRef(match.name, place))
            part = work.chosen.get(name)
            size = None if part is None else size_measurement(parts, part)
            if part is None or size is None:
                message = f"{match.title or match.name}: no part is chosen for {place} yet"
                yield Reason("value-missing", message, operation=step.id, name=name)
                continue
            fitted = fitted_part(state, step, match, place, size)
            if fitted is None:
                message = f"{result_title(step, match)} cannot be calculated for {place} yet. A reading is missing"
                yield Reason("value-missing", message, operation=step.id, name=name)
            elif fitted.verdict != "ok" and match_waiver(state, step, match, place) is None:
                doubt = " is not proven to be within" if fitted.verdict == "not-proven" else ", limit"
                result = f"{result_title(step, match)} {show_short(fitted.value)}{doubt} {fitted.limit}"
                message = f"{part} in {place}: {result}. {limit_advice(state, step, name, 'Choose another part')}"
                code: Code = "not-proven" if fitted.verdict == "not-proven" else "out-of-limit"
                yield Reason(code, message, operation=step.id, name=name, rework=rework_asked(state, step))


def result_title(step: Step, match: PartMatching) -> str:
    """The title of the calculated value that the matching is for: ``Lash with the chosen shim``."""
    work = step.work_out(match.so_that)
    return work.title or match.so_that if work is not None else match.so_that
