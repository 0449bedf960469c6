"""The figure of a tightening stage as text: one quantity, or a limit with its nominal value."""

import re

from msgspec import Struct

from benchflow.quantity import Limit, Quantity, QuantityError, base, convert, parse_limit, parse_quantity

_LIMIT_MARKS = re.compile(r"\.\.|±|\+/?-|\b(?:at|above|below)\b")
_NOMINAL = re.compile(r"\s*(\+?[^-+±]*[^-+±\s])\s*(?:±|\+/?-|[-+]\s?[0-9.])")


class StageFigure(Struct, frozen=True):
    """The figure of a stage: one quantity, or a ``limit`` with its nominal value or middle as ``quantity``."""

    quantity: Quantity
    text: str
    limit: Limit | None = None

    @property
    def above_zero(self) -> bool:
        """True if the quantity, or the lower end of the limit, is above zero."""
        lowest = self.quantity if self.limit is None or self.limit.low is None else self.limit.low
        return base(lowest) > 0


def parse_figure(text: str, dimension: str | None) -> StageFigure:
    """Read a quantity, or else a limit. ``dimension`` is what it has to be; ``None`` for any.

    Raises:
        QuantityError: the text is neither.
    """
    try:
        return StageFigure(parse_quantity(text, dimension=dimension), text.strip())
    except QuantityError as error:
        try:
            limit = parse_limit(text, dimension=dimension)
        except QuantityError as other:
            raise (other if _LIMIT_MARKS.search(text) else error) from None
    return StageFigure(nominal_of(limit), text.strip(), limit)


def nominal_of(limit: Limit) -> Quantity:
    """The nominal value of ``40 ± 4 N·m`` or ``40 +4 -2 N·m``; the middle of a range; the end of a limit with one."""
    end = limit.low or limit.high
    assert end is not None  # a limit has at least one end
    if limit.low is None or limit.high is None:
        return end
    toleranced = _NOMINAL.match(limit.text)
    if toleranced is not None:
        return parse_quantity(toleranced[1], unit=end.unit)
    low, high = convert(limit.low, end.unit).value, convert(limit.high, end.unit).value
    return Quantity((low + high) / 2, end.unit, limit.text)
