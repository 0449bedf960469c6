"""Quantities and limits: parses trade notation to exact numbers, and shows them again.

Numbers are decimal. Conversion uses exact fractions with the factors of :mod:`benchflow.quantity.units`. The tests
compare the table of units with pint. The program does not import pint: its parser evaluates expressions, so typed text
must not reach it, and its import takes longer than reading a procedure.

==============  =====================================================================
``types``       Quantity, Limit, QuantityError
``units``       the table of units, and the unit for a spelling
``numerals``    parses a number: ``1 1/64``, ``quarter``
``notation``    parses a quantity: ``85 ft-lb``, ``1 1/64 in``
``limits``      parses a limit: ``0.10 .. 0.28 mm``, ``at most 0.05 mm``
``two_units``   compares values in two units: ``29.5 ft-lb (40 N·m)``
``arithmetic``  base values, conversion, comparison with a limit
``shown``       quantities and limits as text
==============  =====================================================================
"""

from benchflow.quantity.arithmetic import (
    Interval,
    base,
    base_of_difference,
    convert,
    difference_factor,
    dimension_of,
    interval,
    position,
    seconds,
)
from benchflow.quantity.limits import parse_limit
from benchflow.quantity.notation import parse_quantity, unit_symbol
from benchflow.quantity.shown import show, show_converted, show_limit, show_short, show_with_typed
from benchflow.quantity.types import Limit, Quantity, QuantityError

__all__ = [
    "Interval", "Limit", "Quantity", "QuantityError", "base", "base_of_difference", "convert", "difference_factor",
    "dimension_of", "interval", "parse_limit", "parse_quantity", "position", "seconds", "show", "show_converted",
    "show_limit", "show_short", "show_with_typed", "unit_symbol",
]  # fmt: skip
