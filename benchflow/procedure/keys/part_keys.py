"""The keys `choose` (a part from a table) and `match` (measured parts to places)."""

from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import ChoiceRow, PartChoice, PartMatching, StockSizes
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, LINE, ListShape, MapShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import LimitShape, RawTextShape, read_quantity, read_quantity_or_count
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

_TITLE = Key("title", FILLED_LINE, "The title.")

# --- choose -----------------------------------------------------------------------------------------

_ROW_ABOVE = Key(
    "above",
    RawTextShape("a quantity"),
    "The lower edge; it must be the upper edge of the row before.",
    examples=("0.10 mm",),
)
_ROW_UP_TO = Key(
    "up to",
    RawTextShape("a quantity"),
    "The upper edge; it belongs to this row.",
    required=True,
    examples=("0.20 mm",),
)
_ROW_TAKE = Key("take", LINE, "The part to take.", required=True)


class _TableRow:
    """A row of the table, with the marks of its edges."""

    def __init__(self, fields: Fields) -> None:
        context = fields.context
        above, up_to = fields.get(_ROW_ABOVE), fields.get(_ROW_UP_TO)
        self.above = None if above is None else read_quantity_or_count(above, context)
        self.up_to = None if up_to is None else read_quantity_or_count(up_to, context)
        self.take = fields.get_or(_ROW_TAKE, "")
        self.above_mark, self.mark = fields.at(_ROW_ABOVE), fields.at(_ROW_UP_TO)


_BY = Key("by", ReferenceShape("value", "a value's name"), "The value that decides.", required=True)
_FROM = Key(
    "from",
    ListShape(
        KeyedShape("choose-row", "a row of the table", (_ROW_ABOVE, _ROW_UP_TO, _ROW_TAKE), _TableRow), at_least=1
    ),
    "The table: for each range of values the part to take. The rows are in rising order, without gaps.",
    required=True,
)


def _build_choice(fields: Fields) -> PartChoice:
    by = fields.get(_BY)
    rows = fields.get_or(_FROM, ())
    _check_table(rows, fields.context)
    bands = tuple(ChoiceRow(row.up_to, row.take) for row in rows if row.up_to is not None)
    return PartChoice(
        fields.name.name,
        by.name if by else "",
        bands,
        rows[0].above if rows else None,
        fields.get_or(_TITLE, ""),
        fields.mark,
    )


def _check_table(rows: tuple[_TableRow, ...], context: ReadContext) -> None:
    """Report rows that leave a gap or overlap."""
    before: Quantity | None = None
    for row in rows:
        edges = [edge for edge in (before, row.above, row.up_to) if edge is not None]
        if len({dimension_of(edge.unit) for edge in edges}) > 1:
            context.problem("wrong-dimension", row.mark, "The edges of this table have different dimensions")
            return
        low = row.above if row.above is not None else before
        if row.above is not None and before is not None:
            if base(row.above) > base(before):
                context.problem(
                    "gap-in-table",
                    row.above_mark,
                    f"No row covers {before.entered} to {row.above.entered}",
                    f"Write `above: {before.entered}`",
                )
            elif base(row.above) < base(before):
                context.problem(
                    "overlap-in-table",
                    row.above_mark,
                    f"Two rows cover {row.above.entered} to {before.entered}",
                    f"Write `above: {before.entered}`",
                )
        if row.up_to is not None and low is not None and base(row.up_to) <= base(low):
            context.problem(
                "overlap-in-table",
                row.mark,
                f"This row ends at {row.up_to.entered}, but the row before it already ends at {low.entered}"
                if row.above is None
                else f"This row begins at {low.entered}, which is not below its end, {row.up_to.entered}",
                "Write the rows in rising order",
            )
        before = row.up_to if row.up_to is not None else before


CHOOSE = MapShape(
    KeyedShape("choose", "a choice of a part", (_BY, _FROM, _TITLE), _build_choice), "choices of a part, by name"
)

# --- match ------------------------------------------------------------------------------------------

_MEASURED = Key(
    "measured",
    ReferenceShape("parts", "a part's or a value's name"),
    "The measured parts on hand: a part of the kit, or a recorded value.",
    required=True,
)
_TO = Key(
    "to",
    ReferenceShape("places", "a set of places"),
    "The places for the parts: a name under `places`.",
    required=True,
)
_SO_THAT = Key(
    "so that",
    ReferenceShape("value", "a value's name"),
    "The calculated value that has to be within the limit at every place.",
    required=True,
)
_LIMIT = Key(
    "limit",
    LimitShape(None, "0.20 .. 0.30 mm", nominal=True),
    "The limit for that value.",
    required=True,
    examples=("0.20 .. 0.30 mm", "0.25 mm"),
)
_AIM = Key(
    "aim",
    RawTextShape("a quantity"),
    "The best value: the result should be as close to it as possible.",
    examples=("0.25 mm",),
)


_SIZES = Key(
    "sizes",
    RawTextShape("the sizes that can be bought"),
    "The sizes that can be bought. If the parts on hand do not fit, the program says which size to buy.",
    examples=("2.00 .. 2.98 mm step 0.02 mm",),
)


def _sizes(written: YamlScalar, context: ReadContext) -> StockSizes | None:
    """Parse ``2.00 .. 2.98 mm step 0.02 mm``; ``None`` with a problem if that fails."""
    span, separator, step_text = written.text.partition(" step ")
    try:
        within = parse_limit(span.strip(), nominal=False)
        if not separator or within.low is None or within.high is None:
            raise QuantityError("bad-quantity", written.text, len(written.text), "The step is missing")
        step = parse_quantity(step_text.strip(), dimension=dimension_of(within.low.unit))
        if step.value <= 0:
            raise QuantityError("bad-quantity", written.text, len(span) + 6, "The step must be above zero")
    except QuantityError as error:
        hint = "Write the sizes as in `2.00 .. 2.98 mm step 0.02 mm`"
        context.problem(error.code, written.mark, error.why, hint)
        return None
    return StockSizes(within.low, within.high, step, written.text)


def _match(fields: Fields) -> PartMatching:
    context = fields.context
    measured, to, so_that = fields.get(_MEASURED), fields.get(_TO), fields.get(_SO_THAT)
    within, aimed, made = fields.get(_LIMIT), fields.get(_AIM), fields.get(_SIZES)
    aim = None
    if aimed is not None:
        aim = read_quantity(aimed, context, limit_dimension(within) if within is not None else None)
    context.nodes["limit", fields.mark] = fields.nodes.get("limit", fields.node)
    return PartMatching(
        fields.name.name,
        measured.name if measured else "",
        to.name if to else "",
        so_that.name if so_that else "",
        within or Limit(None, None, ""),
        aim,
        fields.get_or(_TITLE, ""),
        None if made is None else _sizes(made, context),
        fields.mark,
    )


MATCH = MapShape(
    KeyedShape("match", "a matching", (_MEASURED, _TO, _SO_THAT, _LIMIT, _AIM, _SIZES, _TITLE), _match),
    "matchings by name",
)
