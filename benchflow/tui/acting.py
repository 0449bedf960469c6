"""From what is typed to what is sent: a reading before the eyes as one types, and the intent that Enter makes."""

from benchflow.errors import BenchflowError
from benchflow.quantity import QuantityError, dimension_of, parse_limit, parse_quantity, show_converted
from benchflow.quantity.shown import with_unit
from benchflow.session.look_inputs import gauge
from benchflow.session.view import Gauge, ReadingInput, TightenInput
from benchflow.tui.draw_wants import Typed
from benchflow.tui.wants import Want, WantReading


def typed_so_far(want: Want | None, text: str) -> Typed:
    """What stands in the field comes to this. What may still become right is not called wrong yet."""
    if not text.strip() or not isinstance(want, WantReading):
        return Typed(text)
    unit = want.of.unit
    try:
        quantity = parse_quantity(text, unit=unit, dimension=dimension_of(unit))
    except QuantityError as error:
        unfinished = error.at >= len(text.rstrip()) - 1
        return Typed(text) if unfinished else _wrong(text, error)
    converted = "" if quantity.unit == unit else show_converted(quantity, unit)
    return Typed(text, converted, gauge=_would_lie(want.of, text))


def wrong_with(want: Want | None, text: str) -> Typed | None:
    """What is wrong with a quantity that is to be entered, ``None`` when it can be sent."""
    if not isinstance(want, WantReading):
        return None
    try:
        parse_quantity(text, unit=want.of.unit, dimension=dimension_of(want.of.unit))
    except QuantityError as error:
        return _wrong(text, error)
    return None


def _wrong(text: str, error: QuantityError) -> Typed:
    return Typed(text, error=f"{error.why}; {error.hint}" if error.hint else error.why, at=error.at)


def _would_lie(given: ReadingInput, text: str) -> Gauge | None:
    """The gauge with the typed reading on it; the guard band is where the last one had it."""
    if given.gauge is None:
        return None
    try:
        limit = parse_limit(given.limit.partition(" (")[0], unit=given.unit or None)
        drawn = gauge(limit, parse_quantity(text, unit=given.unit), "simple", None)
    except BenchflowError:
        return None  # a limit in words of its own: the desk judges it, and the screen does not draw it ahead
    return Gauge(drawn.low, drawn.high, given.gauge.guard_low, given.gauge.guard_high, drawn.value)


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


def tick_fields(joint: TightenInput, text: str) -> dict[str, object]:
    """The fields of a ``tick`` intent; ``value`` only where the stage wants one."""
    fields: dict[str, object] = {"joint": joint.joint, "fastener": joint.next, "stage": joint.stage}
    if joint.wants_value:
        fields["value"] = text
    return fields
