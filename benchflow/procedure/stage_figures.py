"""The figure of a tightening stage as text: one quantity, or a limit with its nominal value."""

import re

from msgspec import Struct

from benchflow.quantity import Limit, Quantity, QuantityError, base, convert, parse_limit, parse_quantity, show

_LIMIT_MARKS = re.compile(
    r"\.\.|±|\+/?-|[0-9][^()]*[-–—−~…][^()]*[0-9]|\b(?:at|above|below|between|from|max|min|to|up|over|under|less|more)\b|[<>≤≥]",
    re.IGNORECASE,
)
_TURN_WITHOUT_UNIT = re.compile(r"\s*\+\s*([0-9]+)\s*")
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
            raise (other if _LIMIT_MARKS.search(text) else _without_degree_sign(error, text)) from None
    return StageFigure(nominal_of(limit), text.strip(), limit)


def figure_shown(figure: Quantity) -> str:
    """The figure of a stage, or a reading, for people: a limit as it was given, a quantity with its unit."""
    return figure.entered.strip() if is_limit(figure.entered) else show(figure)


def is_limit(text: str) -> bool:
    """True if the text of a figure is a limit, such as ``20 .. 30 N·m``, and not one quantity."""
    try:
        return parse_figure(text, None).limit is not None
    except QuantityError:
        return False


def _without_degree_sign(error: QuantityError, text: str) -> QuantityError:
    """The error with a hint for a turn whose degree sign is missing, or was misread as a zero: ``+90``, ``+900``."""
    turn = _TURN_WITHOUT_UNIT.fullmatch(text)
    if turn is None or error.at < len(text.rstrip()):
        return error
    written = text.strip()
    hint = f"write {written}° for an angle"
    if turn[1].endswith("0") and int(turn[1]) > 360:
        hint = f"write {written[:-1]}° if the last 0 was a degree sign, {written}° otherwise"
    return QuantityError("bad-quantity", error.text, error.at, "the unit is missing", hint)


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
