"""A typed quantity: what it comes to, what is wrong with it, and its text with a unit."""

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.quantity import Quantity, QuantityError, dimension_of, parse_limit, parse_quantity, show_converted
from benchflow.quantity.shown import with_unit
from benchflow.session.view.bench_view import GaugePositions
from benchflow.session.view.operation_inputs import gauge_positions
from benchflow.tui.model.bench_inputs import BenchInput, FieldSpec, field_spec


class TypedText(Struct, frozen=True):
    """The text in a field and what it means.

    ``converted`` is the value in the field's unit, if another unit was typed. ``error`` says what is wrong, ``at`` is
    the index of the wrong character. ``gauge`` shows the value within its limit.
    """

    text: str = ""
    converted: str = ""
    error: str = ""
    at: int | None = None
    gauge: GaugePositions | None = None


def typed_text(item: BenchInput | None, text: str) -> TypedText:
    """Interpret the text of a field while it is typed. A text that is only unfinished is not an error yet."""
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
    """The text with its error, if it is not a valid quantity; ``None`` if it can be sent."""
    field = field_spec(item)
    if field is None or field.is_text:
        return None
    try:
        _read(field, text)
    except QuantityError as error:
        return _wrong(text, error)
    return None


def _read(field: FieldSpec, text: str) -> Quantity:
    if field.unit is None:
        return parse_quantity(text)
    return parse_quantity(text, unit=field.unit, dimension=dimension_of(field.unit))


def _wrong(text: str, error: QuantityError) -> TypedText:
    return TypedText(text, error=f"{error.why}; {error.hint}" if error.hint else error.why, at=error.at)


def _gauge_for(field: FieldSpec, text: str) -> GaugePositions | None:
    """The gauge with the typed reading. The guard band is that of the last reading."""
    if not field.limit:
        return None
    try:
        limit = parse_limit(field.limit.partition(" (")[0], unit=field.unit)
        drawn = gauge_positions(limit, _read(field, text), "simple", None)
    except BenchflowError:
        return None  # the limit is not a plain range: the controller judges it, and nothing is drawn before
    guard = field.gauge or drawn
    return GaugePositions(drawn.low, drawn.high, guard.guard_low, guard.guard_high, drawn.value)


def with_own_unit(text: str, unit: str | None) -> str:
    """The text with the field's unit added if none was typed: an intent always has a unit."""
    if not unit:
        return text
    try:
        parse_quantity(text, dimension=dimension_of(unit))
    except QuantityError:
        try:
            parse_quantity(text, unit=unit)
        except QuantityError:
            return text  # the controller refuses it and says where it is wrong
        return with_unit(text.strip(), unit)
    return text
