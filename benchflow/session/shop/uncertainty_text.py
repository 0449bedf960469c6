"""Reads the uncertainty of an instrument as the shop file states it: ``4 %``, ``0.002 mm``, ``1 % of scale``."""

from decimal import Decimal

from msgspec import Struct

from benchflow.quantity import dimension_of, parse_quantity
from benchflow.trade.instruments import FixedUncertainty, PercentUncertainty, Uncertainty
from benchflow.trade.rounding import amount, without_trailing_zeros


class ShareOfScale(Struct, frozen=True):
    """An uncertainty as a share of the full scale, which is not known yet: ``1 % of scale``."""

    percent: Decimal
    text: str


_OF_SCALE = "of scale"


def parse_uncertainty(text: str) -> Uncertainty | ShareOfScale | None:
    """The expanded uncertainty in ``text``; ``None`` if it is negative, or a share of the scale without per cent.

    Raises:
        QuantityError: the number or its unit cannot be read.
    """
    text = text.rstrip()
    value = parse_quantity(text.lstrip(" ±").removesuffix(_OF_SCALE))
    share = dimension_of(value.unit) == "fraction"
    if value.value < 0 or (text.endswith(_OF_SCALE) and not share):
        return None
    if not share:
        return FixedUncertainty(value, text)
    percent = without_trailing_zeros(Decimal(amount(value, "%").numerator) / amount(value, "%").denominator)
    return ShareOfScale(percent, text) if text.endswith(_OF_SCALE) else PercentUncertainty(percent, text)
