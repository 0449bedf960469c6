"""Formulas of calculated values (``work-out: is:``): parsing, units, evaluation, uncertainty.

``bore[2] - journal[2]``, ``mean(bore[*]) - journal``, ``max(bore[*] - journal[*])``, ``(32.00 mm - heel) / 2``.

Names begin with a letter and can contain dashes (``end-play``), so a minus between names needs spaces.
``name[2]`` is one place or one reading, ``name[2, left]`` a reading at a place. ``name[*]`` is all of them, only inside
``mean max min spread sum count``. :mod:`benchflow.procedure.value_indexes` says which index means what. There are
``+ - * /``, brackets, numbers with or without a unit, ``abs`` and ``sqrt``, but no powers and no conditions.

Temperatures: °C and °F are points on a scale. They can be subtracted and averaged, but not added or multiplied. The
result of a subtraction is a difference, without the offset between the scales. ``K`` is always a difference.

``expression``  the formula as a tree, and as text
``formula_parser``  parsing. A name is ``NameNode(name, place, reading)``
``unit_check``  units and dimensions, checked with pint and a small registry
``evaluation``  values in exact fractions of base units, and first-order slopes by the uncertainties library
``value_ranges``  interval arithmetic: the range that a result cannot leave
"""

from benchflow.procedure.formula.evaluation import EvaluatedFormula, Operand, evaluate, slopes
from benchflow.procedure.formula.expression import Formula, FormulaError, NameRef, names, render
from benchflow.procedure.formula.formula_parser import at_place, parse_formula
from benchflow.procedure.formula.unit_check import check_units, is_difference

__all__ = [
    "EvaluatedFormula",
    "Formula",
    "FormulaError",
    "NameRef",
    "Operand",
    "at_place",
    "check_units",
    "evaluate",
    "is_difference",
    "names",
    "parse_formula",
    "render",
    "slopes",
]  # fmt: skip
