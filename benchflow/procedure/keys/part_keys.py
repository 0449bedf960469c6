"""The keys `choose` (a part from a table) and `match` (measured parts to places)."""

from itertools import pairwise
from typing import cast

from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.keys.source_keys import OPERATION_SOURCE
from benchflow.procedure.model import ChoiceRow, PartChoice, PartMatching, Preference, StockSizes
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, LINE, ListShape, MapShape, WordShape
from benchflow.procedure.shapes.by_shapes import ByShape
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

_EDGE = RawTextShape("a quantity")
_ROW_ABOVE = Key(
    "above", _EDGE, "The lower end; it does not belong to this row. By default the end of the row before.",
    examples=("0.10 mm",),
)  # fmt: skip
_ROW_AT_LEAST = Key("at least", _EDGE, "The lower end; it belongs to this row.", examples=("0.00 mm",))
_ROW_UP_TO = Key("up to", _EDGE, "The upper end; it belongs to this row.", examples=("0.20 mm",))
_ROW_BELOW = Key("below", _EDGE, "The upper end; it does not belong to this row.", examples=("0.016 in",))
_ROW_TAKE = Key("take", LINE, "The part to take.")
_ROW_STOP = Key("stop", LINE, "Instead of a part: the work stops and asks. The text says why, and what to do.")


class _TableRow:
    """A row of the table, with the marks of its ends. An end that could not be read is ``unreadable``.

    ``lows`` and ``highs`` have an end in each column in which it is printed.
    """

    def __init__(self, fields: Fields) -> None:
        self.lows, self.low_key = _end(fields, _ROW_AT_LEAST, _ROW_ABOVE)
        self.highs, self.high_key = _end(fields, _ROW_UP_TO, _ROW_BELOW)
        self.unreadable = (self.low is None and self.low_key is not None) or (
            self.high is None and self.high_key is not None
        )
        self.take, self.stop = fields.get_or(_ROW_TAKE, ""), fields.get_or(_ROW_STOP, "")
        self.mark = fields.node.mark
        self.low_mark = fields.mark if self.low_key is None else fields.at(self.low_key)
        self.high_mark = fields.node.mark if self.high_key is None else fields.at(self.high_key)
        self.low_open, self.high_open = self.low_key is _ROW_ABOVE, self.high_key is _ROW_BELOW

    @property
    def low(self) -> Quantity | None:
        """The lower end in the first column."""
        return self.lows[0] if self.lows else None

    @property
    def high(self) -> Quantity | None:
        """The upper end in the first column."""
        return self.highs[0] if self.highs else None

    @property
    def text(self) -> str:
        """The range: ``above 0.10 mm, up to 0.20 mm``. A lower end is named if it is written or the only one."""
        high = f"{self.high_key.name} {self.high.entered}" if self.high_key and self.high else ""
        low = ""
        if self.low is not None and (self.low_key or not high):
            low = f"{'above' if self.low_open else 'at least'} {self.low.entered}"
        return ", ".join(part for part in (low, high) if part) or "any value"

    def begins_after(self, before: "_TableRow") -> None:
        """Take over the end of the row before as the lower end, if none is written."""
        if self.low_key is None:
            self.lows, self.low_open = before.highs, not before.high_open

    def row(self) -> ChoiceRow:
        """The row for the model."""
        second: Limit | None = None
        for column in range(1, max(len(self.lows), len(self.highs))):
            low, high = (ends[min(column, len(ends) - 1)] if ends else None for ends in (self.lows, self.highs))
            second = Limit(low, high, "", self.low_open, self.high_open, second)
        return ChoiceRow(self.text, self.take, self.low, self.high, self.low_open, self.high_open, self.stop, second)


def _columns(written: YamlScalar, context: ReadContext) -> tuple[Quantity, ...]:
    """An end in each column in which it is printed: ``0.10 mm (0.004 in)``. Empty if it cannot be read."""
    first = read_quantity_or_count(written, context)
    if first is None or "(" not in first.entered:
        return () if first is None else (first,)
    found, column = [first], parse_limit(f"at most {written.text}", dimension=dimension_of(first.unit)).other
    while column is not None:
        found += [] if column.high is None else [column.high]
        column = column.other
    return tuple(found)


def _end(
    fields: Fields, closed: Key[YamlScalar], open_: Key[YamlScalar]
) -> tuple[tuple[Quantity, ...], Key[YamlScalar] | None]:
    """One end of a row in each column, and the key that it is written with; ((), ``None``) if it is not written."""
    written = [key for key in (closed, open_) if fields.wrote(key)]
    if not written:
        return (), None
    if len(written) == 2:
        fields.problem(
            "one-too-many",
            open_,
            f"A row can have only one of `{closed.name}` and `{open_.name}`",
            "Delete one of them",
        )
    text = fields.get(written[0])
    return (() if text is None else _columns(text, fields.context)), written[0]


_BY = Key("by", ReferenceShape("value", "a value's name"), "The value that decides.", required=True)
_FROM = Key(
    "from",
    ByShape(
        "table",
        ListShape(
            KeyedShape(
                "choose-row",
                "a row of the table",
                (_ROW_AT_LEAST, _ROW_ABOVE, _ROW_UP_TO, _ROW_BELOW, _ROW_TAKE, _ROW_STOP),
                _TableRow,
                one_of=(_ROW_TAKE, _ROW_STOP),
            ),
            at_least=1,
        ),
    ),
    "The table: for each range of values the part to take. The rows are in rising order, without gaps. The last row "
    "can have no upper end. A first row without a lower end also applies to all lower values, but not below zero if "
    "the value cannot be negative (such as a length).",
    required=True,
)
_GAPS = Key(
    "gaps",
    WordShape("stop"),
    "`stop` accepts gaps between the rows, as in a printed table. The work stops at a value in a gap.",
)


def _build_choice(fields: Fields) -> PartChoice:
    by = fields.get(_BY)
    rows = fields.get_or(_FROM, ())
    _check_table(rows, fields.wrote(_GAPS), fields.context)
    return PartChoice(
        fields.name.name,
        by.name if by else "",
        tuple(row.row() for row in rows),
        fields.get_or(_TITLE, ""),
        fields.mark,
        fields.get_or(OPERATION_SOURCE, ""),
    )


def _check_table(rows: tuple[_TableRow, ...], gaps: bool, context: ReadContext) -> None:
    """Complete the lower ends of the rows. Report rows that leave a gap or overlap."""
    ends = [end for row in rows for end in (row.low, row.high) if end is not None]
    if len({dimension_of(end.unit) for end in ends}) > 1:
        wrong = next(row for row in rows for end in (row.low, row.high) if end and end.unit != ends[0].unit)
        context.problem("wrong-dimension", wrong.high_mark, "The ends of this table have different dimensions")
        return
    for number, row in enumerate(rows):
        if row.high_key is None and number + 1 < len(rows):
            context.problem(
                "missing-key", row.mark, "Only the last row can have no upper end", "Write `up to` or `below`"
            )
            return
    if any(row.unreadable for row in rows):
        return
    for before, row in pairwise(rows):
        _check_next_row(before, row, gaps, context)
        row.begins_after(before)
    for row in rows:
        if row.low is not None and row.high is not None and _is_empty(row):
            context.problem(
                "overlap-in-table",
                row.high_mark,
                f"This row begins at {row.low.entered}, which is not below its end, {row.high.entered}"
                if row.low_key is not None
                else f"This row ends at {row.high.entered}, but the row before it already ends at {row.low.entered}",
                "Write the rows in rising order",
            )


def _is_empty(row: _TableRow) -> bool:
    """True if no value is in the row. ``low`` and ``high`` are given."""
    assert row.low is not None
    assert row.high is not None
    low, high = base(row.low), base(row.high)
    return low > high or (low == high and (row.low_open or row.high_open))


def _check_next_row(before: _TableRow, row: _TableRow, gaps: bool, context: ReadContext) -> None:
    """Report a gap or an overlap between the written end of a row and the written beginning of the next one."""
    if row.low is None or row.low_key is None or before.high is None:
        return
    end, begin = base(before.high), base(row.low)
    same = f"`{'at least' if before.high_open else 'above'}: {before.high.entered}`"
    both = end == begin and not before.high_open and not row.low_open
    neither = end == begin and before.high_open and row.low_open
    if begin < end or both:
        context.problem(
            "overlap-in-table",
            row.low_mark,
            f"Two rows cover {row.low.entered}{'' if both else f' to {before.high.entered}'}",
            f"Write {same}",
        )
    elif (begin > end or neither) and not gaps:
        context.problem(
            "gap-in-table",
            row.low_mark,
            f"No row covers {before.high.entered}{'' if neither else f' to {row.low.entered}'}",
            f"Write {same}, or `gaps: stop` beside `from` if the table is printed so",
        )


CHOOSE = MapShape(
    KeyedShape("choose", "a choice of a part", (_BY, _FROM, _GAPS, _TITLE, OPERATION_SOURCE), _build_choice),
    "choices of a part, by name",
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
    ByShape("match-limit", LimitShape(None, "0.20 .. 0.30 mm", nominal=True)),
    "The limit for that value.",
    required=True,
    examples=("0.20 .. 0.30 mm", "0.25 mm"),
)
_AIM = Key(
    "aim",
    ByShape("aim", RawTextShape("a quantity")),
    "The best value: the result should be as close to it as possible.",
    examples=("0.25 mm",),
)


_SIZES = Key(
    "sizes",
    RawTextShape("the sizes that can be bought"),
    "The sizes that can be bought. If the parts on hand do not fit, the program says which size to buy.",
    examples=("2.00 .. 2.98 mm step 0.02 mm",),
)


_PREFER = Key(
    "prefer",
    WordShape("thickest", "thinnest", "nearest"),
    "Which of the parts and sizes within the limit is to be chosen: the thickest, the thinnest, or the one nearest to "
    "the aim (without `aim`, to the middle of the limit). To choose another one, the builder gives a reason.",
    examples=("thickest",),
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
        _preference(fields, within, aim),
        fields.get_or(OPERATION_SOURCE, ""),
    )


def _preference(fields: Fields, within: Limit | None, aim: Quantity | None) -> Preference | None:
    prefer = fields.get(_PREFER)
    if prefer == "nearest" and aim is None and within is not None and (within.low is None or within.high is None):
        message = "`prefer: nearest` needs an aim, because the limit has only one end"
        fields.problem("missing-key", _PREFER, message, "Write `aim`, or prefer the thickest or the thinnest")
        return None
    return cast(Preference | None, prefer)


MATCH = MapShape(
    KeyedShape(
        "match",
        "a matching",
        (_MEASURED, _TO, _SO_THAT, _LIMIT, _AIM, _PREFER, _SIZES, _TITLE, OPERATION_SOURCE),
        _match,
    ),
    "matchings by name",
)
