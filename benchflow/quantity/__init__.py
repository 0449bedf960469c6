"""Trade notation to exact numbers, and back.

Numbers are decimal from the first digit to the last; conversion goes through exact fractions (the table in
:mod:`benchflow.quantity.units`). pint is never handed what a person typed, because its parser evaluates
expressions. It does the dimensions of formulas (:mod:`benchflow.procedure.formula`), and the tests hold every
row of the table against it. Nothing here imports it, so that the bench paints at once.

==================  ===========================================================================
``types``           Quantity, Limit, QuantityError
``units``           the closed table of units and their spellings
``numerals``        numbers as people write them
``notation``        one quantity: ``85 ft-lb``, ``1 1/64 in``, ``29.5 ft-lb (40 N·m)``
``limits``          ``0.10 .. 0.28 mm``, ``at most 0.05 mm``, ``0.15 ± 0.02 mm``
``arithmetic``      base values, conversion, where a value lies in a limit
``shown``           back into the trade's notation
==================  ===========================================================================
"""

from benchflow.quantity.arithmetic import base, convert, difference_factor, dimension_of, position, seconds
from benchflow.quantity.limits import parse_limit
from benchflow.quantity.notation import parse_quantity, unit_symbol
from benchflow.quantity.shown import show, show_converted, show_limit, show_short
from benchflow.quantity.types import Limit, Quantity, QuantityError

__all__ = [
    "Limit", "Quantity", "QuantityError", "base", "convert", "difference_factor", "dimension_of", "parse_limit",
    "parse_quantity", "position", "seconds", "show", "show_converted", "show_limit", "show_short", "unit_symbol",
]  # fmt: skip
