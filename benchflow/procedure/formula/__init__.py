"""Formulas of calculated values (``work-out: is:``): parsing, units, evaluation, uncertainty.

``bore[2] - journal[2]``, ``mean(bore[*]) - journal``, ``max(bore[*] - journal[*])``, ``(32.00 mm - heel) / 2``.

Names begin with a letter and can contain dashes (``end-play``), so a minus between names needs spaces.
``name[2]`` is one place or one reading, ``name[2, left]`` a reading at a place. ``name[*]`` is all of them, only inside
``mean max min spread sum count``. :mod:`benchflow.procedure.value_indexes` says which index means what. There are
``+ - * /``, ``^`` with a fixed whole or half exponent, brackets, numbers with or without a unit, ``pi``, ``abs``,
``sqrt``, ``sin cos tan asin acos atan``, ``if(a > b, x, y)`` and ``round up down`` to a step. ``before(name)`` is the
value of the round before.

Temperatures: °C and °F are points on a scale. They can be subtracted and averaged, but not added or multiplied. The
result of a subtraction is a difference, without the offset between the scales. ``K`` is always a difference.

``expression``  the formula as a tree, and as text
``formula_parser``  parsing. A name is ``NameNode(name, place, reading)``
``unit_check``  checks that the units and dimensions fit
``formula_evaluator``  the tree in exact fractions of base units, and first-order slopes
``sloped_number``  a float with its slopes for the values it depends on
``exact_functions``, ``rounding_errors``  irrational functions to 80 digits, and how far they are exact
``evaluation``  the result with its calculation as text, and how it depends on its values
``value_ranges``  interval arithmetic: the range that a result cannot leave
"""

from benchflow.procedure.formula.evaluation import EvaluatedFormula, Sensitivity, evaluate, sensitivity, slopes
from benchflow.procedure.formula.expression import Formula, FormulaError, NameRef, names, present_names, render
from benchflow.procedure.formula.formula_evaluator import Operand
from benchflow.procedure.formula.formula_parser import at_place, parse_formula
from benchflow.procedure.formula.unit_check import check_units, is_difference

__all__ = [
    "EvaluatedFormula",
    "Formula",
    "FormulaError",
    "NameRef",
    "Operand",
    "Sensitivity",
    "at_place",
    "check_units",
    "evaluate",
    "is_difference",
    "names",
    "parse_formula",
    "present_names",
    "render",
    "sensitivity",
    "slopes",
]  # fmt: skip
