"""What is read, worked out, chosen and matched: the keys `record`, `work-out`, `choose` and `match`."""

from typing import Any, cast

from benchflow.procedure.keys import Fields, Key, Keys
from benchflow.procedure.measures import UnitName, Written, bound, limit, quantity
from benchflow.procedure.model import (
    Band,
    Bound,
    Choose,
    Decision,
    EqualWithin,
    Fixed,
    Judge,
    Match,
    Record,
    Ref,
    Remedy,
    WorkOut,
)
from benchflow.procedure.nodes import Node, Scalar
from benchflow.procedure.referring import Reference
from benchflow.procedure.setup_keys import limit_dimension, spoken
from benchflow.procedure.shapes import (
    FILLED_LINE,
    LABEL,
    LINE,
    NOWHERE,
    Definitions,
    Either,
    JsonSchema,
    ListOf,
    MapOf,
    Notes,
    OneOf,
    Shape,
    Whole,
    YesNo,
    scalar,
    whole,
)
from benchflow.quantity import Limit, dimension_of

MOST_READINGS = 99

# --- remedies ---------------------------------------------------------------------------------------

_REMEDY_DO = Key("do", FILLED_LINE, "What to do about it.", required=True)
_REDO = Key(
    "redo",
    ListOf(Reference("operation", "an operation's id"), single=True),
    "The operations to be done again afterwards: ids.",
)
_TRIES = Key(
    "tries", Whole(1, MOST_READINGS), "How often to try this before the next remedy; once, where it is not said."
)
_STOP = Key("stop", YesNo(), "true where the work stops here: nothing further is tried.")


def _remedy(fields: Fields) -> Remedy:
    return Remedy(
        fields.has(_REMEDY_DO, ""),
        fields.has(_REDO, ()),
        fields.has(_TRIES, 1),
        fields.has(_STOP, False),
        fields.mark,
    )


_REMEDIES = ListOf(Keys("remedy", "a remedy", (_REMEDY_DO, _REDO, _TRIES, _STOP), _remedy), at_least=1)

_BELOW = Key("below", _REMEDIES, "What to do when it comes out too low: remedies, tried in this order.")
_ABOVE = Key("above", _REMEDIES, "What to do when it comes out too high: remedies, tried in this order.")
_DECISION_SAYS = (
    "How a value near its limit is judged, stated beforehand: `simple`, or `guarded` (ISO 14253-1, guard band 1.65 u: "
    "a value in the band is not proven)."
)
DECISION = Key("decision", OneOf("simple", "guarded"), _DECISION_SAYS)

# --- record -----------------------------------------------------------------------------------------


class _Slots(Shape[tuple[str, ...]]):
    """``readings``: how many, or where: a list of places or the name of a set of places."""

    noun = "a number of readings, or a list of places"
    _count = Whole(1, MOST_READINGS)

    def read(self, node: Node, notes: Notes, name: Ref = NOWHERE) -> tuple[str, ...] | None:
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        if whole(found.text) is not None:
            count = self._count.read(node, notes)
            return None if count is None else tuple(str(number) for number in range(1, count + 1))
        places = notes.place_sets.get(found.text)
        if places is None:
            notes.mention("places", found.text, found.mark)
        return places

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"anyOf": [self._count.schema(definitions), {"type": "string", "pattern": r"\S"}]}


_SLOTS: Shape[tuple[str, ...]] = Either(_Slots.noun, text=_Slots(), items=ListOf(LABEL, at_least=1, distinct=True))

_ASK = Key("ask", FILLED_LINE, "How it is measured, in a line.")
_UNIT = Key(
    "unit",
    UnitName(),
    "The unit of the field; another may be entered and is converted. `count` for a bare number.",
    examples=("mm",),
)
_LIMIT_SAYS = (
    "What it has to come within: `0.10 .. 0.28 mm`, `at most 0.05 mm`, `at least 0.5 mm`, `0.15 ± 0.02 mm`, "
    "`0.15 +0.03 -0.01 mm`, `above start-torque by 0.35 .. 0.45 N·m`, `equal within 0.010 in`."
)
_WRITTEN_LIMIT = Written("a limit such as 0.10 .. 0.28 mm")
_LIMIT = Key("limit", _WRITTEN_LIMIT, _LIMIT_SAYS, examples=("0.10 .. 0.28 mm",))
_USED = Key("used", _WRITTEN_LIMIT, "A second limit, for parts that are used again.", examples=("at most 0.40 mm",))
_WITH = Key("with", Reference("instrument", "an instrument's name"), "The instrument it is measured with.")
_READINGS = Key(
    "readings", _SLOTS, "How many readings, or where they are taken: a list of places, or the name of a set of places."
)
_JUDGE = Key(
    "judge",
    OneOf("all", "mean", "largest", "smallest", "spread"),
    "What is held against the limit where there are several readings: all of them (as a rule), or one figure.",
)
_RECORD = (_ASK, _UNIT, _LIMIT, _USED, _WITH, _READINGS, _JUDGE, DECISION, _BELOW, _ABOVE)


def _bound(fields: Fields, key: Key[Scalar], dimension: str | None) -> Bound | None:
    written = fields.get(key)
    return None if written is None else bound(written, fields.notes, dimension)


def _bound_unit(found: Bound | None) -> str | None:
    """The unit that a limit is written in; ``None`` where it has no unit of its own."""
    if isinstance(found, EqualWithin):
        return found.spread.unit
    written = found.limit if isinstance(found, Fixed) else found.by if found is not None else None
    end = (written.low or written.high) if written is not None else None
    return end.unit if end is not None else None


def _unit_and_bound(fields: Fields) -> tuple[str, Bound | None]:
    """The field's unit, and the limit read in it. A unit that is not written is the limit's own."""
    unit = fields.get(_UNIT)
    if unit is None and fields.wrote(_UNIT):
        return "", None  # reported; the limit cannot be judged without it
    if unit is not None:
        return unit, _bound(fields, _LIMIT, dimension_of(unit))
    if not fields.wrote(_LIMIT):
        fields.notes.problem(
            "missing-unit",
            fields.mark,
            f"`{fields.name.name}` has no unit, and is read as a bare number",
            "write `unit: mm` or the like; `unit: count` where a bare number is meant",
            severity="warning",
        )
        return "", None
    written = fields.get(_LIMIT)
    found = None if written is None else _limit_with_or_without_unit(written, fields.notes)
    return _bound_unit(found) or "", found


def _limit_with_or_without_unit(written: Scalar, notes: Notes) -> Bound | None:
    from benchflow.quantity import QuantityError, parse_limit

    try:
        return Fixed(parse_limit(written.text, dimension=""))
    except QuantityError:
        return bound(written, notes, None)


def _record(fields: Fields) -> Record:
    unit, limits = _unit_and_bound(fields)
    dimension = dimension_of(unit)
    slots = fields.has(_READINGS, ("1",))
    by_place = fields.wrote(_READINGS) and not _is_count(fields.nodes["readings"])
    instrument = fields.get(_WITH)
    record = Record(
        fields.name.name,
        fields.has(_ASK, spoken(fields.name.name)),
        unit,
        dimension,
        limits,
        _bound(fields, _USED, dimension),
        instrument.name if instrument else None,
        slots,
        by_place,
        cast(Judge, fields.has(_JUDGE, "all")),
        cast(Decision, fields.has(DECISION, "")),
        fields.has(_BELOW, ()),
        fields.has(_ABOVE, ()),
        fields.mark,
    )
    _check_record(record, fields)
    return record


def _is_count(node: Node) -> bool:
    return isinstance(node, Scalar) and whole(node.text) is not None


def _check_record(record: Record, fields: Fields) -> None:
    several = len(record.slots) > 1 or not fields.wrote(_READINGS)
    if record.judge == "spread" and not (several and fields.wrote(_READINGS)):
        fields.problem(
            "too-few", _JUDGE, "a spread needs at least two readings", "write `readings: 3` or a list of places"
        )
    _check_remedies(fields)


def _check_remedies(fields: Fields) -> None:
    """A remedy for a value that cannot come out on that side is a mistake: the limit, or the key, is the wrong one."""
    written = [key for key in (_BELOW, _ABOVE) if fields.wrote(key)]
    for key in written:
        if not fields.wrote(_LIMIT):
            fields.problem(
                "remedy-without-limit", key, f"`{key.name}` says what to do, but there is no limit", "write `limit`"
            )
    limits = fields.get(_LIMIT)
    if limits is None:
        return
    text = limits.text.strip()
    if _BELOW in written and text.startswith("at most"):
        fields.problem("remedy-without-limit", _BELOW, "`at most` has no lower end to be below of")
    if _ABOVE in written and text.startswith("at least"):
        fields.problem("remedy-without-limit", _ABOVE, "`at least` has no upper end to be above of")


RECORD = MapOf(Keys("record", "a value to record", _RECORD, _record), "values to record, by name")

# --- work-out ---------------------------------------------------------------------------------------

_IS = Key(
    "is",
    Written("a formula such as bore - journal"),
    "The formula: names of values, + - * /, brackets, mean, max, min, spread, sum, abs, count, sqrt; "
    "`name[2]` is one place, `name[*]` all of them.",
    required=True,
    examples=("bore - journal", "mean(bore[*]) - journal[2]"),
)
_TITLE = Key("title", FILLED_LINE, "What it is, in words.")
_RESULT_UNIT = Key(
    "unit", UnitName(), "The unit of the result; `count` for a bare number.", examples=("mm",), required=True
)


def _work_out(fields: Fields) -> WorkOut:
    unit = fields.get(_RESULT_UNIT)
    formula = fields.get(_IS)
    if formula is not None:
        fields.notes.nodes["is", fields.mark] = formula
    _check_remedies(fields)
    return WorkOut(
        fields.name.name,
        formula.text.strip() if formula else "",
        unit or "",
        dimension_of(unit or ""),
        _bound(fields, _LIMIT, dimension_of(unit)) if unit is not None else None,
        cast(Decision, fields.has(DECISION, "")),
        fields.has(_BELOW, ()),
        fields.has(_ABOVE, ()),
        fields.has(_TITLE, ""),
        fields.mark,
    )


WORK_OUT = MapOf(
    Keys("work-out", "a value to work out", (_IS, _RESULT_UNIT, _LIMIT, DECISION, _BELOW, _ABOVE, _TITLE), _work_out),
    "values to work out, by name",
)

# --- choose -----------------------------------------------------------------------------------------

_ROW_ABOVE = Key(
    "above",
    Written("a quantity"),
    "The lower edge, where it is written: it must be the upper edge of the row before.",
    examples=("0.10 mm",),
)
_ROW_UP_TO = Key(
    "up to",
    Written("a quantity"),
    "The upper edge, which still belongs to this row.",
    required=True,
    examples=("0.20 mm",),
)
_ROW_TAKE = Key("take", LINE, "The part to take.", required=True)


class _Row:
    """A row as written, with the places of its edges."""

    def __init__(self, fields: Fields) -> None:
        notes = fields.notes
        above, up_to = fields.get(_ROW_ABOVE), fields.get(_ROW_UP_TO)
        self.above = None if above is None else quantity(above, notes, None)
        self.up_to = None if up_to is None else quantity(up_to, notes, None)
        self.take = fields.has(_ROW_TAKE, "")
        self.above_mark, self.mark = fields.at(_ROW_ABOVE), fields.at(_ROW_UP_TO)


_BY = Key("by", Reference("value", "a value's name"), "The value that decides.", required=True)
_FROM = Key(
    "from",
    ListOf(Keys("choose-row", "a row of the table", (_ROW_ABOVE, _ROW_UP_TO, _ROW_TAKE), _Row), at_least=1),
    "The table, smallest first and without gaps: what to take up to which value.",
    required=True,
)


def _choose(fields: Fields) -> Choose:
    by = fields.get(_BY)
    rows = fields.has(_FROM, ())
    _check_table(rows, fields.notes)
    bands = tuple(Band(row.up_to, row.take) for row in rows if row.up_to is not None)
    fields.notes.nodes["from", fields.mark] = fields.nodes.get("from", fields.node)
    return Choose(
        fields.name.name,
        by.name if by else "",
        bands,
        rows[0].above if rows else None,
        fields.has(_TITLE, ""),
        fields.mark,
    )


def _check_table(rows: tuple[Any, ...], notes: Notes) -> None:
    """Each row begins where the one before ends."""
    from benchflow.quantity import base

    before: Any = None
    for row in rows:
        edges = [edge for edge in (before, row.above, row.up_to) if edge is not None]
        if len({dimension_of(edge.unit) for edge in edges}) > 1:
            notes.problem("wrong-dimension", row.mark, "the edges of this table are not all of one kind")
            return
        low = row.above if row.above is not None else before
        if row.above is not None and before is not None:
            if base(row.above) > base(before):
                notes.problem(
                    "gap-in-table",
                    row.above_mark,
                    f"nothing is to be taken from {before.entered} to {row.above.entered}",
                    f"begin this row above {before.entered}",
                )
            elif base(row.above) < base(before):
                notes.problem(
                    "overlap-in-table",
                    row.above_mark,
                    f"two parts are to be taken from {row.above.entered} to {before.entered}",
                    f"begin this row above {before.entered}",
                )
        if row.up_to is not None and low is not None and base(row.up_to) <= base(low):
            notes.problem(
                "overlap-in-table",
                row.mark,
                f"this row goes up to {row.up_to.entered}, and the one before to {low.entered} already"
                if row.above is None
                else f"this row ends at {row.up_to.entered}, which is not above {low.entered}, where it begins",
                "write the rows with the smallest first",
            )
        before = row.up_to if row.up_to is not None else before


CHOOSE = MapOf(Keys("choose", "a choice of a part", (_BY, _FROM, _TITLE), _choose), "choices of a part, by name")

# --- match ------------------------------------------------------------------------------------------

_MEASURED = Key(
    "measured",
    Reference("parts", "a part's or a value's name"),
    "The parts on hand, measured: a part of the kit, or a value.",
    required=True,
)
_TO = Key(
    "to", Reference("places", "a set of places"), "The places that they are for: a name under `places`.", required=True
)
_SO_THAT = Key(
    "so that",
    Reference("value", "a value's name"),
    "The value that has to come within the limit at every place.",
    required=True,
)
_MATCH_LIMIT = Key("limit", _WRITTEN_LIMIT, "What it has to come within.", required=True, examples=("0.20 .. 0.30 mm",))
_AIM = Key("aim", Written("a quantity"), "What it should be as near to as can be.", examples=("0.25 mm",))


def _match(fields: Fields) -> Match:
    notes = fields.notes
    measured, to, so_that = fields.get(_MEASURED), fields.get(_TO), fields.get(_SO_THAT)
    written, aimed = fields.get(_MATCH_LIMIT), fields.get(_AIM)
    within = limit(written, notes, None) if written is not None else None
    aim = None
    if aimed is not None:
        aim = quantity(aimed, notes, limit_dimension(within) if within is not None else None)
    notes.nodes["limit", fields.mark] = fields.nodes.get("limit", fields.node)
    return Match(
        fields.name.name,
        measured.name if measured else "",
        to.name if to else "",
        so_that.name if so_that else "",
        within or Limit(None, None, ""),
        aim,
        fields.has(_TITLE, ""),
        fields.mark,
    )


MATCH = MapOf(
    Keys("match", "a matching", (_MEASURED, _TO, _SO_THAT, _MATCH_LIMIT, _AIM, _TITLE), _match), "matchings by name"
)
