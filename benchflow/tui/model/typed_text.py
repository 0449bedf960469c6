"""The text in a field: its value in the unit of the field, its error, and its text with a unit."""

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.quantity import (
    Limit,
    Quantity,
    QuantityError,
    base,
    dimension_of,
    interval,
    parse_limit,
    parse_quantity,
    show_converted,
)
from benchflow.quantity.shown import with_unit
from benchflow.session.view.bench_view import GaugePositions
from benchflow.session.view.gauge_positions import gauge_positions
from benchflow.trade.implausible_readings import is_far_off, other_unit_of
from benchflow.tui.model.bench_inputs import BenchInput, FieldSpec, SlotInput, field_spec


class TypedText(Struct, frozen=True):
    """The text in a field and its meaning.

    ``converted`` is the value in the unit of the field, if another unit was typed. ``error`` is the error message, and
    ``at`` the index of the wrong character. ``gauge`` shows the value and its limit.
    """

    text: str = ""
    converted: str = ""
    error: str = ""
    at: int | None = None
    gauge: GaugePositions | None = None


def typed_text(item: BenchInput | None, text: str) -> TypedText:
    """Interpret the text of a field while it is typed. An unfinished text is not an error yet."""
    field = field_spec(item)
    if not text.strip() or field is None or field.is_text:
        return TypedText(text)
    try:
        quantity = _read(field, text)
    except QuantityError as error:
        unfinished = error.at >= len(text.rstrip()) - 1
        return TypedText(text) if unfinished else _wrong(text, error)
    same = field.unit is None or quantity.unit == field.unit
    converted = "" if same else show_converted(quantity, field.unit or "")
    return TypedText(text, converted, gauge=_gauge_for(field, text))


def error_in(item: BenchInput | None, text: str) -> TypedText | None:
    """Return the text with its error, or ``None`` if it can be sent."""
    field = field_spec(item)
    if field is None or field.is_text:
        return None
    try:
        _read(field, text)
    except QuantityError as error:
        return _wrong(text, error)
    return None


def far_text(item: BenchInput | None, text: str) -> str:
    """Return the question before a reading far from its limit is recorded; empty if it is not far, or has no limit."""
    field = field_spec(item)
    about_difference = isinstance(item, SlotInput) and item.input.of_difference
    return "" if field is None or about_difference else far_question(field, text)


def far_question(field: FieldSpec, text: str) -> str:
    """Return the question about a reading in this field; empty if it is not far from the limit of the field."""
    if field.is_text or not field.limit:
        return ""
    try:
        reading, expected = _read(field, text), interval(_limit_in_numbers(field.limit, field.unit))
    except BenchflowError:
        return ""
    other, far = other_unit_of(reading, expected), is_far_off(reading, expected)
    if not other and not far:
        return ""
    shown = with_own_unit(text.strip(), field.unit)
    question = (
        f"{shown} is far from the limit {field.limit}." if far else f"{shown} is outside the limit {field.limit}."
    )
    if other:
        question += f" {reading.value} {other} would be inside it."
    return f"{question} Correct it, or press Enter to record it as it is."


def _read(field: FieldSpec, text: str) -> Quantity:
    if field.unit is None:
        return parse_quantity(text)
    return parse_quantity(text, unit=field.unit, dimension=dimension_of(field.unit))


def _wrong(text: str, error: QuantityError) -> TypedText:
    return TypedText(text, error=_sentences(error.why, error.hint), at=error.at)


def _sentences(*parts: str) -> str:
    """Join the error and its hint as sentences. Add no full stop: it could be read as part of a number."""
    return ". ".join(part[0].upper() + part[1:] for part in parts if part)


def _gauge_for(field: FieldSpec, text: str) -> GaugePositions | None:
    """Return the gauge with the typed reading. The guard band is the one of the last recorded reading."""
    if not field.limit:
        return None
    try:
        limit = _limit_in_numbers(field.limit, field.unit)
        read = _read(field, text)
        drawn = gauge_positions(interval(limit), None if read is None else base(read), None)
    except BenchflowError:
        return None  # the limit is not a plain range, so only the controller can judge the reading
    guard = field.gauge or drawn
    return GaugePositions(drawn.low, drawn.high, guard.guard_low, guard.guard_high, drawn.value)


def _limit_in_numbers(text: str, unit: str | None) -> Limit:
    """Parse the limit of a field. ``0.40 .. 0.50 mm (above start by 0.1 .. 0.2 mm)`` has its source in brackets."""
    try:
        return parse_limit(text, unit=unit)
    except QuantityError:
        return parse_limit(text.partition(" (")[0], unit=unit)


def with_own_unit(text: str, unit: str | None) -> str:
    """Return the text, with the unit of the field added if none was typed. A quantity in an intent needs a unit."""
    if not unit:
        return text
    try:
        parse_quantity(text, dimension=dimension_of(unit))
    except QuantityError:
        try:
            parse_quantity(text, unit=unit)
        except QuantityError:
            return text  # the controller refuses it and shows the error
        return with_unit(text.strip(), unit)
    return text
