"""The language of ``work-out: is:`` - sums over recorded values, with units checked before anything runs.

``bore[2] - journal[2]``, ``mean(bore[*]) - journal``, ``max(bore[*] - journal[*])``, ``(32.00 mm - heel) / 2``.

Names begin with a letter and may hold dashes (``end-play``), so a minus between names needs spaces.
``name[2]`` is one place, ``name[*]`` all of them, inside ``mean max min spread sum count``. There are
``+ - * /``, brackets, numbers with or without a unit, ``abs`` and ``sqrt``; no powers, no conditions, no
names that are not values.

Temperatures: °C and °F are readings, which may be subtracted and averaged but not added or multiplied; what
comes of a subtraction is a difference, without the offset between the scales. ``K`` is always a difference.

Dimensions are worked through by pint, on a small registry of our own (:mod:`.dimensions`); values are worked
out in exact fractions of base units (:mod:`.working`), first-order uncertainty by the uncertainties library.
"""

from benchflow.procedure.formula.evaluation import EvaluatedFormula, evaluate, propagate
from benchflow.procedure.formula.expression import (
    Formula,
    FormulaError,
    NameRef,
    at_place,
    names,
    parse_formula,
    render,
)
from benchflow.procedure.formula.unit_check import check_units, is_difference

__all__ = [
    "EvaluatedFormula",
    "Formula",
    "FormulaError",
    "NameRef",
    "at_place",
    "check_units",
    "evaluate",
    "is_difference",
    "names",
    "parse_formula",
    "propagate",
    "render",
]  # fmt: skip
