"""Growth with temperature, by a coefficient that the user gives: no material is assumed."""

from fractions import Fraction

from benchflow.quantity import Quantity, base, show
from benchflow.trade.rounding import width
from benchflow.trade.worked import SumError, Worked, line, positive


def growth(length: Quantity, coefficient: Quantity, cold: Quantity, hot: Quantity) -> Worked:
    """ΔL = α L (t2 − t1), in the length's unit; ``coefficient`` in ppm/K (µm per metre and kelvin)."""
    positive("length", length, "The length")
    alpha = _checked("coefficient", coefficient)
    grown = Fraction(length.value) * alpha * (base(hot) - base(cold))
    filled = f"{show(coefficient)} × {show(length)} × ({show(hot)} − {show(cold)})"
    lines = (
        line("growth", "It grows by", grown, length.unit, "ΔL = α × L × (t2 − t1)", filled),
        line("length", "to", Fraction(length.value) + grown, length.unit, "L + ΔL", f"{show(length)} + growth",
             digits=6),
    )  # fmt: skip
    return Worked("Thermal growth", lines, "linear expansion; the coefficient is yours", _NOTES)


def clearance_change(
    bore: Quantity,
    shaft: Quantity,
    bore_coefficient: Quantity,
    shaft_coefficient: Quantity,
    cold: Quantity,
    hot: Quantity,
) -> Worked:
    """The clearance of a shaft in a bore of another material, cold and hot, both at one temperature."""
    warming = base(hot) - base(cold)
    before = base(bore) - base(shaft)
    opened = base(bore) * _checked("bore-coefficient", bore_coefficient) * warming
    grown = base(shaft) * _checked("shaft-coefficient", shaft_coefficient) * warming
    one = width(Quantity(bore.value * 0 + 1, bore.unit, ""))
    lines = (
        line("cold", f"Clearance at {show(cold)}", before / one, bore.unit, "bore − shaft",
             f"{show(bore)} − {show(shaft)}"),
        line("hot", f"Clearance at {show(hot)}", (before + opened - grown) / one, bore.unit,
             "bore − shaft + (αb × bore − αs × shaft) × (t2 − t1)",
             f"the same + ({show(bore_coefficient)} × bore − {show(shaft_coefficient)} × shaft) × "
             f"({show(hot)} − {show(cold)})"),
    )  # fmt: skip
    return Worked("Clearance cold and hot", lines, "linear expansion; the coefficients are yours", _NOTES)


_NOTES = ("Evenly warm and free to grow. Coefficients change with temperature and alloy: take the maker's.",)


def _checked(field: str, coefficient: Quantity) -> Fraction:
    alpha = width(coefficient)
    if not 0 <= alpha <= Fraction(200, 10**6):
        raise SumError(field, f"A coefficient of {show(coefficient)} is not one", "Metals lie between 1 and 30 ppm/K.")
    return alpha
