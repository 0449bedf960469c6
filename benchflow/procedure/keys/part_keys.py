"""Choosing a part from a table, and giving a measured set of parts to a set of places: `choose` and `match`."""

from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import ChoiceRow, PartChoice, PartMatching, StockSizes
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, LINE, ListShape, MapShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import LimitShape, RawTextShape, quantity, quantity_or_count
from benchflow.procedure.shapes.reference_shapes import ReferenceShape
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlScalar
from benchflow.quantity import (
    Limit,
    Quantity,
    QuantityError,
    base,
    dimension_of,
    parse_limit,
    parse_quantity,
)

_TITLE = Key("title", FILLED_LINE, "What it is, in words.")

# --- choose -----------------------------------------------------------------------------------------

_ROW_ABOVE = Key(
    "above",
    RawTextShape("a quantity"),
    "The lower edge, where it is written: it must be the upper edge of the row before.",
    examples=("0.10 mm",),
)
_ROW_UP_TO = Key(
    "up to",
    RawTextShape("a quantity"),
    "The upper edge, which still belongs to this row.",
    required=True,
    examples=("0.20 mm",),
)
_ROW_TAKE = Key("take", LINE, "The part to take.", required=True)


class _TableRow:
    """A row as written, with the places of its edges."""

    def __init__(self, fields: Fields) -> None:
        notes = fields.notes
        above, up_to = fields.get(_ROW_ABOVE), fields.get(_ROW_UP_TO)
        self.above = None if above is None else quantity_or_count(above, notes)
        self.up_to = None if up_to is None else quantity_or_count(up_to, notes)
        self.take = fields.has(_ROW_TAKE, "")
        self.above_mark, self.mark = fields.at(_ROW_ABOVE), fields.at(_ROW_UP_TO)


_BY = Key("by", ReferenceShape("value", "a value's name"), "The value that decides.", required=True)
_FROM = Key(
    "from",
    ListShape(
        KeyedShape("choose-row", "a row of the table", (_ROW_ABOVE, _ROW_UP_TO, _ROW_TAKE), _TableRow), at_least=1
    ),
    "The table, smallest first and without gaps: what to take up to which value.",
    required=True,
)


def _choose(fields: Fields) -> PartChoice:
    by = fields.get(_BY)
    rows = fields.has(_FROM, ())
    _check_table(rows, fields.notes)
    bands = tuple(ChoiceRow(row.up_to, row.take) for row in rows if row.up_to is not None)
    return PartChoice(
        fields.name.name,
        by.name if by else "",
        bands,
        rows[0].above if rows else None,
        fields.has(_TITLE, ""),
        fields.mark,
    )


def _check_table(rows: tuple[_TableRow, ...], notes: ReadContext) -> None:
    """Each row begins where the one before ends."""
    before: Quantity | None = None
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


CHOOSE = MapShape(
    KeyedShape("choose", "a choice of a part", (_BY, _FROM, _TITLE), _choose), "choices of a part, by name"
)

# --- match ------------------------------------------------------------------------------------------

_MEASURED = Key(
    "measured",
    ReferenceShape("parts", "a part's or a value's name"),
    "The parts on hand, measured: a part of the kit, or a value.",
    required=True,
)
_TO = Key(
    "to",
    ReferenceShape("places", "a set of places"),
    "The places that they are for: a name under `places`.",
    required=True,
)
_SO_THAT = Key(
    "so that",
    ReferenceShape("value", "a value's name"),
    "The value that has to come within the limit at every place.",
    required=True,
)
_LIMIT = Key(
    "limit",
    LimitShape(None, "0.20 .. 0.30 mm"),
    "What it has to come within.",
    required=True,
    examples=("0.20 .. 0.30 mm",),
)
_AIM = Key("aim", RawTextShape("a quantity"), "What it should be as near to as can be.", examples=("0.25 mm",))


_SIZES = Key(
    "sizes",
    RawTextShape("the sizes that can be bought"),
    "The sizes that can be bought, so that it can be said what to buy when those on hand will not do.",
    examples=("2.00 .. 2.98 mm step 0.02 mm",),
)


def _sizes(written: YamlScalar, notes: ReadContext) -> StockSizes | None:
    """``2.00 .. 2.98 mm step 0.02 mm``."""
    span, step, every = written.text.partition(" step ")
    try:
        within = parse_limit(span.strip())
        if not step or within.low is None or within.high is None:
            raise QuantityError("bad-quantity", written.text, len(written.text), "the step is missing")
        each = parse_quantity(every.strip(), dimension=dimension_of(within.low.unit))
        if each.value <= 0:
            raise QuantityError("bad-quantity", written.text, len(span) + 6, "a step is more than nothing")
    except QuantityError as error:
        hint = "write it like 2.00 .. 2.98 mm step 0.02 mm"
        notes.problem(error.code, written.mark, f"`{written.text[:60]}`: {error.why}", hint)
        return None
    return StockSizes(within.low, within.high, each, written.text)


def _match(fields: Fields) -> PartMatching:
    notes = fields.notes
    measured, to, so_that = fields.get(_MEASURED), fields.get(_TO), fields.get(_SO_THAT)
    within, aimed, made = fields.get(_LIMIT), fields.get(_AIM), fields.get(_SIZES)
    aim = None
    if aimed is not None:
        aim = quantity(aimed, notes, limit_dimension(within) if within is not None else None)
    notes.nodes["limit", fields.mark] = fields.nodes.get("limit", fields.node)
    return PartMatching(
        fields.name.name,
        measured.name if measured else "",
        to.name if to else "",
        so_that.name if so_that else "",
        within or Limit(None, None, ""),
        aim,
        fields.has(_TITLE, ""),
        None if made is None else _sizes(made, notes),
        fields.mark,
    )


MATCH = MapShape(
    KeyedShape("match", "a matching", (_MEASURED, _TO, _SO_THAT, _LIMIT, _AIM, _SIZES, _TITLE), _match),
    "matchings by name",
)
