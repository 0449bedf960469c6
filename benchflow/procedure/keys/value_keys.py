"""The keys `record` (measured values) and `work-out` (calculated values)."""

from typing import NamedTuple, cast

from benchflow.procedure.keys.evidence_keys import PROVES, WAIVE
from benchflow.procedure.keys.further_limit_keys import LimitKeys, further_limits
from benchflow.procedure.keys.remedy_keys import REMEDIES, check_stops
from benchflow.procedure.keys.setup_keys import title_from_name
from benchflow.procedure.keys.source_keys import OPERATION_SOURCE
from benchflow.procedure.keys.varying_values import VaryingRecord, VaryingWorkOut
from benchflow.procedure.model import (
    AskedLimit,
    Bound,
    CalculatedValue,
    DecisionRule,
    EqualWithin,
    Fixed,
    FurtherLimit,
    Judge,
    RecordedValue,
    Ref,
    Values,
)
from benchflow.procedure.shapes.basic_shapes import (
    FILLED_LINE,
    LABEL,
    LINE,
    VALUE_NAMED,
    BooleanShape,
    EitherShape,
    IntegerShape,
    ListShape,
    MapShape,
    TransformedShape,
    WordShape,
    integer,
)
from benchflow.procedure.shapes.by_shapes import ByShape, first_branch
from benchflow.procedure.shapes.examples_from_text import count_written, recorded_value_hint
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import (
    RawTextShape,
    UnitShape,
    read_bound,
    read_bound_or_count,
)
from benchflow.procedure.shapes.reference_shapes import WHEN, ReferenceShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar, short
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, YamlScalar
from benchflow.quantity import dimension_of

MOST_READINGS = 99

_BELOW = Key("below", REMEDIES, "Remedies for a value that is too low, in this order.")
_ABOVE = Key("above", REMEDIES, "Remedies for a value that is too high, in this order.")
_DECISION_DESCRIPTION = (
    "The decision rule near a limit: `simple`, or `guarded` (ISO 14253-1, guard band 1.65 u: a value in the guard band "
    "is not proven)."
)
DECISION = Key("decision", WordShape("simple", "guarded"), _DECISION_DESCRIPTION)

_INDEPENDENT = Key(
    "independent",
    BooleanShape(),
    "true if the errors of the readings by one instrument are independent of each other, so that a mean is more "
    "certain than one reading. By default one instrument has the same error in all its readings.",
)
_COMPARISON = Key(
    "comparison",
    BooleanShape(),
    "true if readings by one instrument are compared under the same conditions, so that its error cancels in a "
    "difference. By default it is not taken to cancel.",
)

_HANDOVER = Key(
    "handover",
    LINE,
    "For a key reading: its name on the customer's copy of the build sheet, in words for the customer. If no value of "
    "the procedure has this key, that copy has every value with a limit.",
    examples=("Flatness of the block face",),
)

# --- record -----------------------------------------------------------------------------------------


class _Slots(Shape[tuple[str, ...]]):
    """The key `readings`: a number, or the name of a set of places."""

    noun = "a number of readings, or a list of places"
    _count = IntegerShape(1, MOST_READINGS)

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> tuple[str, ...] | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        if integer(found.text) is not None:
            count = self._count.read(node, context)
            return None if count is None else tuple(str(number) for number in range(1, count + 1))
        places = context.place_sets.get(found.text)
        written = count_written(found.text) if places is None else None
        if written is not None:
            message = f"`{short(found.text)}` is not a number in digits, and no set of places has that name"
            context.problem("bad-number", found.mark, message, f"Write {written}")
        elif places is None:
            context.mention("places", found.text, found.mark)
        return places

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"anyOf": [self._count.schema(definitions), {"type": ["string", "boolean"], "pattern": r"\S"}]}


_SLOTS: Shape[tuple[str, ...]] = EitherShape(
    _Slots.noun, text=_Slots(), items=ListShape(LABEL, at_least=1, distinct=True)
)

_ASK = Key("ask", FILLED_LINE, "The instruction to the builder for measuring, on one line.")
_UNIT = Key(
    "unit",
    UnitShape(),
    "The unit of the value; an entry in another unit is converted. `count` for a number without a unit.",
    examples=("mm",),
)
_LIMIT_DESCRIPTION = (
    "The limit: `0.10 .. 0.28 mm`, `at most 0.05 mm`, `at least 0.5 mm`, `0.15 ± 0.02 mm`, "
    "`0.15 +0.03 -0.01 mm`, `above start-torque by 0.35 .. 0.45 N·m`, `equal within 0.010 in`. Without the end: "
    "`below 40 °C`, `above 0.5 mm`. One quantity, `0.15 mm`, means equal within half its last digit. Printed in two "
    "units: `0.13 .. 0.20 mm (0.005 .. 0.008 in)`. `ask` if it is still to be filled in: the bench then asks for it, "
    "with its source, before the value can be entered."
)
_LIMIT_TEXT = RawTextShape("a limit such as 0.10 .. 0.28 mm")
_WRITTEN_LIMIT = ByShape("limit", _LIMIT_TEXT, readings=True)
_LIMIT = Key(
    "limit",
    _WRITTEN_LIMIT,
    _LIMIT_DESCRIPTION,
    examples=(
        "0.10 .. 0.28 mm",
        "below 40 °C",
        "0.006 in (0.15 mm)",
        "ask",
        {"by": "side", "intake": "0.20 mm", "exhaust": "0.30 mm"},
    ),
)


class _UsedLimit(NamedTuple):
    """The limit for used parts as written, and the options that say whether the part is used."""

    limit: YamlScalar
    when: Values


_USED_LIMIT = Key("limit", _WRITTEN_LIMIT, "The limit for used parts.", required=True, examples=("at most 0.40 mm",))
_USED_WHEN = Key(
    "when", WHEN, "The choices of the options for which the part is used. With other choices it has no second limit."
)
_USED = Key(
    "used",
    ByShape(
        "used",
        EitherShape(
            "a limit, or a mapping with `limit` and `when`",
            text=TransformedShape(_LIMIT_TEXT, lambda limit, node, name, context: _UsedLimit(limit, {})),
            entries=KeyedShape(
                "used",
                "a limit for used parts",
                (_USED_LIMIT, _USED_WHEN),
                lambda fields: (
                    None
                    if (limit := fields.get(_USED_LIMIT)) is None
                    else _UsedLimit(limit, fields.get_or(_USED_WHEN, {}))
                ),
            ),
        ),
        readings=True,
    ),
    "A second limit, for used parts. With `when`, an option says whether the part is used; otherwise the builder says "
    "it with the reading.",
    examples=("at most 0.40 mm", {"limit": "at most 0.40 mm", "when": {"rods": "old"}}),
)
_WITH = Key(
    "with",
    ByShape(
        "instrument",
        ListShape(ReferenceShape("instrument", "an instrument's name"), single=True, at_least=1),
        readings=True,
    ),
    "The instrument to measure it with, or a list of instruments that one reading needs together.",
    examples=("feeler-gauge", ["straightedge", "feeler-gauge"]),
)
_READINGS = Key("readings", _SLOTS, "The number of readings, or their places: a list, or the name of a set of places.")
_JUDGE = Key(
    "judge",
    WordShape("all", "mean", "largest", "smallest", "spread"),
    "The figure that is compared with the limit if there are several readings. By default all readings are compared.",
)


def _bound(
    fields: Fields, written: YamlScalar | None, dimension: str | None, *, difference: bool | None
) -> Bound | None:
    return None if written is None else read_bound(written, fields.context, dimension, difference=difference)


def _bound_unit(found: Bound | None) -> str | None:
    """The unit that a limit is written in; ``None`` if there is no limit."""
    if isinstance(found, EqualWithin):
        return found.spread.unit
    if isinstance(found, AskedLimit):
        return None
    written = found.limit if isinstance(found, Fixed) else found.by if found is not None else None
    end = (written.low or written.high) if written is not None else None
    return end.unit if end is not None else None


def _unit_and_bounds(fields: Fields) -> tuple[str, Bound | None, Bound | None]:
    """The unit and both limits. Without the key `unit`, the unit is that of the limit."""
    unit, used_limit, difference = fields.get(_UNIT), fields.get(_USED), fields.get(_JUDGE) == "spread"
    used = None if used_limit is None else used_limit.limit
    if unit is None and fields.wrote(_UNIT):
        return "", None, None  # already reported; without a unit the limits cannot be read
    if unit is None:
        further = fields.get_or(_ALSO, ())
        written = _limit_that_gives_unit(fields) or used or (further[0].limit if further else None)
        if further and written is further[0].limit:
            difference = further[0].judge == "spread"
        if written is not None:
            found = read_bound_or_count(written, fields.context, difference=difference)
            if isinstance(found, AskedLimit):
                message = f"`{fields.name.name}` has no unit, and its limit is still to be filled in"
                hint = "Write the unit of the value, such as `unit: mm`. For a number without one, write `unit: count`"
                fields.context.problem("missing-unit", fields.mark, message, hint)
            if found is None or isinstance(found, AskedLimit):
                return "", None, None
            unit = _bound_unit(found) or ""
        elif not fields.wrote(_LIMIT):
            fields.context.problem(
                "missing-unit",
                fields.mark,
                f"`{fields.name.name}` has no unit",
                "Write a unit such as `unit: mm`. For a number without a unit, write `unit: count`",
                severity="warning",
            )
    if unit is None:
        return "", None, None
    dimension = dimension_of(unit)
    difference = fields.get(_JUDGE) == "spread"
    limit = _bound(fields, fields.get(_LIMIT), dimension, difference=difference)
    return unit, limit, _bound(fields, used, dimension, difference=difference)


def _limit_that_gives_unit(fields: Fields) -> YamlScalar | None:
    """The limit, or its first branch if it is written with `by`, so that all variants have the same unit."""
    limit = fields.get(_LIMIT)
    node = next((first_branch(node) for key, node in fields.node.pairs if key.text == _LIMIT.name), None)
    return node if limit is not None and isinstance(node, YamlScalar) else limit


def _record(fields: Fields) -> RecordedValue:
    unit, limit, used = _unit_and_bounds(fields)
    dimension = dimension_of(unit)
    slots = fields.get_or(_READINGS, ("1",))
    by_place = fields.wrote(_READINGS) and not _is_count(fields.nodes["readings"])
    named = fields.nodes["readings"] if by_place else None
    instruments, used_limit = fields.get_or(_WITH, ()), fields.get(_USED)
    record = RecordedValue(
        fields.name.name,
        fields.get_or(_ASK, title_from_name(fields.name.name)),
        unit,
        dimension,
        limit,
        used,
        instruments[0].name if instruments else None,
        slots,
        by_place,
        named.text if isinstance(named, YamlScalar) else None,
        {} if used_limit is None else used_limit.when,
        None,
        cast(Judge, fields.get_or(_JUDGE, "all")),
        cast(DecisionRule, fields.get_or(DECISION, "")),
        fields.get_or(_BELOW, ()),
        fields.get_or(_ABOVE, ()),
        fields.mark,
        fields.get_or(WAIVE, ""),
        fields.get_or(PROVES, ()),
        fields.get_or(_INDEPENDENT, False),
        fields.get_or(_COMPARISON, False),
        also=_further(fields, unit, dimension),
        with_more=tuple(each.name for each in instruments[1:]),
        handover=fields.get_or(_HANDOVER, ""),
        source=fields.get_or(OPERATION_SOURCE, ""),
        handover_mark=fields.at(_HANDOVER),
    )
    _check_record(record, fields)
    return record


def _further(fields: Fields, unit: str, dimension: str) -> tuple[FurtherLimit, ...]:
    """The further limits. They can be read only if the unit is known."""
    found = []
    for written in fields.get_or(_ALSO, ()) if unit or fields.wrote(_UNIT) else ():
        bound = _bound(fields, written.limit, dimension, difference=written.judge == "spread")
        if bound is not None:
            found.append(written.with_bound(bound))
    return tuple(found)


def _is_count(node: YamlNode) -> bool:
    return isinstance(node, YamlScalar) and integer(node.text) is not None


def _check_record(record: RecordedValue, fields: Fields) -> None:
    named = fields.get(_WITH) or ()
    for number, each in enumerate(named):
        if each.name in record.instruments[:number]:
            hint = "Delete one of them"
            fields.context.problem("duplicate-item", each.mark, f"`{each.name}` is in the list twice", hint)
    readings_known = not fields.wrote(_READINGS) or fields.get(_READINGS) is not None
    spreads = [fields.at(_JUDGE)] if record.judge == "spread" else []
    spreads += [written.mark for written in fields.get_or(_ALSO, ()) if written.judge == "spread"]
    for mark in spreads if readings_known and len(record.slots) < 2 else ():
        hint = "Write `readings: 3` or a list of places"
        fields.context.problem("too-few", mark, "A spread needs at least two readings", hint)
    _check_remedies(fields)


def _check_remedies(fields: Fields) -> None:
    """Warn of remedies for a side on which the value has no limit, and of remedies that are never carried out."""
    check_stops(fields, _BELOW, _ABOVE)
    used = fields.get(_USED)
    limits = (fields.get(_LIMIT), None if used is None else used.limit)
    texts = [written.text.strip() for written in limits if written is not None]
    for key, closed, end in ((_BELOW, "at most", "lower"), (_ABOVE, "at least", "upper")):
        if not fields.wrote(key) or not all(text.startswith(closed) for text in texts):  # one that is asked is open
            continue
        reason = f"`{closed}` has no {end} end" if texts else "the value has no limit"
        fields.context.problem(
            "remedy-without-limit",
            fields.at(key),
            f"`{key.name}` has a remedy, but {reason}",
            "Write that limit, or delete the remedy",
            severity="warning",
        )


_ALSO = further_limits(LimitKeys(_LIMIT, _JUDGE, _BELOW, _ABOVE), _check_remedies)
_RECORD = (
    _ASK, _UNIT, _LIMIT, _USED, _WITH, _READINGS, _JUDGE, DECISION, _BELOW, _ABOVE, _ALSO, WAIVE, PROVES, _INDEPENDENT,
    _COMPARISON, _HANDOVER, OPERATION_SOURCE,
)  # fmt: skip
RECORD = MapShape(
    VaryingRecord(KeyedShape("record", "a recorded value", _RECORD, _record)),
    "recorded values by name",
    key=VALUE_NAMED,
    text_hint=recorded_value_hint,
)

# --- work-out ---------------------------------------------------------------------------------------

_IS = Key(
    "is",
    ByShape("formula", RawTextShape("a formula such as bore - journal")),
    "The formula: names of values, numbers with their unit (`25 mm`, `0.000012 1/K`), + - * /, brackets, `^` with a "
    "whole or half exponent, `pi`, mean, max, min, spread, sum, abs, count, sqrt. sin, cos and tan take an angle or a "
    "number of radians; asin, acos and atan give an angle. `if(a > b, x, y)` is x if a is above b, otherwise y (also "
    "`<`, `<=`, `>=`, `=`). `round(x, 0.05 mm)` is the nearest multiple of the step (halves away from zero), `up` the "
    "next above and `down` the next below; a multiple stays as it is. `before(name)` is the value of the round before: "
    "the last one before the operation or the reading was last reopened by a remedy or a rework. In the first round "
    "there is none, and the result is not judged and not missing. "
    "`name[2]` is the value at one place or one of its readings, `name[2, left]` one reading at one place, `name[*]` "
    "all of them. Values with the same readings are calculated reading by reading.",
    required=True,
    examples=(
        "bore - journal",
        "mean(bore[*]) - journal[2]",
        "max(crown[*, left])",
        "pi * bore^2 / 4 * stroke",
        "up(gap - 0.10 mm, 0.05 mm)",
        "if(lift > 8 mm, gap - 0.02 mm, gap)",
        "gap - before(gap)",
    ),
)
_TITLE = Key("title", FILLED_LINE, "The title.")
_RESULT_UNIT = Key(
    "unit", UnitShape(), "The unit of the result; `count` for a number without a unit.", examples=("mm",), required=True
)


def _work_out(fields: Fields) -> CalculatedValue:
    unit = fields.get(_RESULT_UNIT)
    formula = fields.get(_IS)
    if formula is not None:
        fields.context.nodes["is", fields.mark] = formula
    limit = fields.get(_LIMIT)
    if limit is not None:
        fields.context.nodes["work-out-limit", fields.mark] = limit
    _check_remedies(fields)
    return CalculatedValue(
        fields.name.name,
        formula.text.strip() if formula else "",
        unit or "",
        dimension_of(unit or ""),
        # the check of the formula says whether it is a difference of temperatures
        _bound(fields, limit, dimension_of(unit), difference=None) if unit is not None else None,
        cast(DecisionRule, fields.get_or(DECISION, "")),
        fields.get_or(_BELOW, ()),
        fields.get_or(_ABOVE, ()),
        fields.get_or(_TITLE, ""),
        fields.mark,
        fields.get_or(WAIVE, ""),
        fields.get_or(PROVES, ()),
        fields.get_or(_INDEPENDENT, False),
        fields.get_or(_COMPARISON, False),
        handover=fields.get_or(_HANDOVER, ""),
        source=fields.get_or(OPERATION_SOURCE, ""),
        handover_mark=fields.at(_HANDOVER),
    )


_WORKED_OUT = (
    _IS, _RESULT_UNIT, _LIMIT, DECISION, _BELOW, _ABOVE, _TITLE, WAIVE, PROVES, _INDEPENDENT, _COMPARISON, _HANDOVER,
    OPERATION_SOURCE,
)  # fmt: skip
WORK_OUT = MapShape(
    VaryingWorkOut(
        KeyedShape(
            "work-out",
            "a calculated value",
            _WORKED_OUT,
            _work_out,
        )
    ),
    "calculated values by name",
    key=VALUE_NAMED,
)
