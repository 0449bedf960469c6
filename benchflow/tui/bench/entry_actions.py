"""From what is typed to what is sent: a reading before the eyes as one types, and the intent that Enter makes."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from benchflow.base.errors import BenchflowError
from benchflow.quantity import Quantity, QuantityError, dimension_of, parse_limit, parse_quantity, show_converted
from benchflow.quantity.shown import with_unit
from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import Gauge
from benchflow.session.view.operation_inputs import gauge
from benchflow.tui.app.session_client import Seat
from benchflow.tui.bench.fields import FieldOf, Want, WantReading, WantTick, field_of
from benchflow.tui.draw.field_rows import Typed

if TYPE_CHECKING:
    from benchflow.session.rules.instrument_choice import ToolList


def typed_so_far(want: Want | None, text: str) -> Typed:
    """What stands in the field comes to this. What may still become right is not called wrong yet."""
    field = field_of(want)
    if not text.strip() or field is None or field.words:
        return Typed(text)
    try:
        quantity = _read(field, text)
    except QuantityError as error:
        unfinished = error.at >= len(text.rstrip()) - 1
        return Typed(text) if unfinished else _wrong(text, error)
    same = field.unit is None or quantity.unit == field.unit
    converted = "" if same else show_converted(quantity, field.unit or "")
    return Typed(text, converted, gauge=_would_lie(field, text))


def wrong_with(want: Want | None, text: str) -> Typed | None:
    """What is wrong with a quantity that is to be entered, ``None`` when it can be sent."""
    field = field_of(want)
    if field is None or field.words:
        return None
    try:
        _read(field, text)
    except QuantityError as error:
        return _wrong(text, error)
    return None


def _read(field: FieldOf, text: str) -> Quantity:
    if field.unit is None:
        return parse_quantity(text)
    return parse_quantity(text, unit=field.unit, dimension=dimension_of(field.unit))


def _wrong(text: str, error: QuantityError) -> Typed:
    return Typed(text, error=f"{error.why}; {error.hint}" if error.hint else error.why, at=error.at)


def _would_lie(field: FieldOf, text: str) -> Gauge | None:
    """The gauge with the typed reading on it; the guard band is where the last one had it."""
    if not field.limit:
        return None
    try:
        limit = parse_limit(field.limit.partition(" (")[0], unit=field.unit)
        drawn = gauge(limit, _read(field, text), "simple", None)
    except BenchflowError:
        return None  # a limit in words of its own: the desk judges it, and the screen does not draw it ahead
    guard = field.gauge or drawn
    return Gauge(drawn.low, drawn.high, guard.guard_low, guard.guard_high, drawn.value)


def with_own_unit(text: str, unit: str | None) -> str:
    """The text with the field's unit where none was typed: an intent always says its unit."""
    if not unit:
        return text
    try:
        parse_quantity(text, dimension=dimension_of(unit))
    except QuantityError:
        try:
            parse_quantity(text, unit=unit)
        except QuantityError:
            return text  # refused as it stands, with the place that is wrong
        return with_unit(text.strip(), unit)
    return text


def reading_fields(want: WantReading, text: str) -> dict[str, str]:
    """The fields of a ``record`` intent."""
    return {
        "name": want.of.name,
        "value": with_own_unit(text, want.of.unit),
        "reading": want.slot.slot,
    }


def asks_instrument(refusal: Refusal) -> bool:
    """Whether all that stands in the way is which instrument it is."""
    codes = {(reason.code, reason.name) for reason in refusal.refused}
    return codes == {("value-missing", "instrument")} or {code for code, _ in codes} == {"instrument-unfit"}


def instruments_for(seat: Seat, want: Want | None, fields: Mapping[str, object]) -> "tuple[ToolList, ...]":
    """What the shop has for the line in hand, by the instruments that it asks for; ``fields`` are those of the
    intent. Empty without a register, or where its file cannot be read: the desk says that in so many words."""
    from benchflow.session.rules.instrument_choice import (  # late: the bench opens without it
        tools_for_joint,
        tools_for_reading,
    )

    typed = {name: str(fields[name]) for name in ("value", "stretch") if fields.get(name)}
    try:
        around = seat.around()
    except BenchflowError:
        return ()
    match want:
        case WantReading():
            return tools_for_reading(seat.state, around, want.of.name, typed.get("value", ""))
        case WantTick():
            return tools_for_joint(seat.state, around, want.stage, typed)
        case _:
            return ()


def instruments_said(seat: Seat, want: Want | None, fields: Mapping[str, object]) -> dict[str, str]:
    """The fields of the intent that say which instruments were chosen for it and are not in the log yet."""
    if not seat.tools:
        return {}
    return {
        tools.field: seat.tools[tools.need] for tools in instruments_for(seat, want, fields) if tools.need in seat.tools
    }


def tick_fields(want: WantTick, texts: Mapping[str, str]) -> dict[str, object]:
    """The fields of a ``tick`` intent; ``texts`` are the readings that it takes, by the intent's own names."""
    fields: dict[str, object] = {"joint": want.of.joint, "fastener": want.fastener, "stage": want.stage}
    units = {value.field: value.unit for value in want.of.wanted}
    for name, text in texts.items():
        fields[name] = with_own_unit(text, units.get(name))  # type: ignore[call-overload]  # the names are the fields' own
    return fields
