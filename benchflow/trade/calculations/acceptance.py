"""The calculation ``judge``: the verdict on a reading by a decision rule."""

from fractions import Fraction

from benchflow.procedure.model import DecisionRule
from benchflow.quantity import Limit, Quantity, base_of_difference, dimension_of, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade import decision_rules
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    LimitInput,
    QuantityInput,
    WordInput,
    number_field,
)
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, line
from benchflow.trade.rounding import in_unit
from benchflow.trade.verdict import VERDICT_TEXT

_SOURCE = "ISO 14253-1:2017, as quoted in a calibration script; JCGM 106:2012 (from memory)"


def _judge(inputs: Inputs) -> CalculationResult:
    reading, limit = inputs.quantity("reading"), inputs.limit("limit")
    rule: DecisionRule = "simple" if inputs.text("decision") == "simple" else "guarded"
    expanded, factor = inputs.optional_quantity("uncertainty"), inputs.optional_quantity("coverage-factor")
    k = Fraction(2) if factor is None else Fraction(factor.value)
    if expanded is not None and expanded.value < 0:
        raise CalculationError("uncertainty", "An uncertainty cannot be below zero")
    if factor is not None:
        require_within(
            "coverage-factor", factor, "A coverage factor", "1", "5", "2 is usual. The certificate names it."
        )
    _check_dimension(reading, limit)
    u = None if expanded is None else _standard(reading, expanded, k)
    found = decision_rules.judge(reading, limit, rule, u)
    lines: list[ResultLine] = []
    if u is not None and expanded is not None:
        filled = f"{show(expanded)} / {float(k):g}"
        lines.append(line("u", "Standard uncertainty", u.value, u.unit, "u = U / k", filled, digits=2))
        if rule == "guarded":
            guard = Fraction(u.value) * decision_rules.GUARD_FACTOR
            lines.append(line("guard", "Guard band", guard, u.unit, "1.65 × u", f"1.65 × {lines[0].shown}", digits=2))
            lines += _acceptance_lines(found, reading.unit, limit)
    if found.conformity is not None:
        text = decision_rules.conformity_text(found.conformity)
        rounded = line("conformity", "Probability of conformity", 100 * found.conformity, "%",
                       "normal distribution about the reading", "", decimals=1)  # fmt: skip
        lines.append(ResultLine(rounded.name, rounded.title, rounded.value, rounded.formula,
                                f"≈ {text}" if text[:1].isdigit() else text))  # fmt: skip
    if expanded is None and rule == "guarded":
        assumed = "Assumed: guarded acceptance. Enter the uncertainty, or choose simple acceptance: decision=simple."
    elif expanded is None:
        assumed = "Assumed: the reading has no uncertainty. With one, a reading near the limit may not be proven."
    else:
        assumed = f"Assumed: errors with a normal distribution, and U with a coverage factor of {float(k):g}."
    notes = (f"{VERDICT_TEXT[found.verdict]}: {found.reason}.", f"Rule: {decision_rules.RULES[rule]}.", assumed)
    return CalculationResult("A reading and its limit", tuple(lines), _SOURCE, notes)


def _acceptance_lines(found: decision_rules.Judgement, unit: str, limit: Limit) -> list[ResultLine]:
    """Return the acceptance limits in ``unit``, rounded inwards; none if no reading can be ok."""
    if found.accept_low is not None and found.accept_high is not None and found.accept_low > found.accept_high:
        return []
    low, high = decision_rules.rounded_acceptance(found, unit)
    return [
        ResultLine(name, title, Quantity(end, unit, show(Quantity(end, unit, ""))), formula,
                   f"{limit.text}, rounded inwards: {show(Quantity(end, unit, ''))}")
        for name, title, formula, end in (
            ("accept-low", "Readings are ok from", "low limit + guard band", low),
            ("accept-high", "Readings are ok to", "high limit − guard band", high),
        )
        if end is not None
    ]  # fmt: skip


def _check_dimension(reading: Quantity, limit: Limit) -> None:
    for end in (limit.low, limit.high):
        if end is not None and dimension_of(end.unit) != dimension_of(reading.unit):
            raise CalculationError("limit", f"{show(end)} cannot be a limit for a reading of {show(reading)}")


def _standard(reading: Quantity, expanded: Quantity, k: Fraction) -> Quantity:
    """Return the standard uncertainty U / k in the unit of the reading. U can be a share of it, such as 4 %."""
    dimension = dimension_of(expanded.unit)
    if dimension == dimension_of(reading.unit):
        return in_unit(base_of_difference(expanded) / k, reading.unit, difference=True)
    if dimension != "fraction":
        raise CalculationError(
            "uncertainty", f"{show(expanded)} cannot be the uncertainty of a reading of {show(reading)}"
        )
    return Quantity(decimal(abs(Fraction(reading.value)) * base_of_difference(expanded) / k), reading.unit, "")


ACCEPTANCE_CALCULATIONS = (
    Calculation(
        "judge", "A reading and its limit",
        (
            InputField("reading", "Reading", QuantityInput(None), "0.0027 mm"),
            InputField("limit", "Limit", LimitInput(nominal=True), "-0.003 .. 0.003 mm"),
            InputField("uncertainty", "Expanded uncertainty U", QuantityInput(None), "0.001 mm", optional=True),
            number_field("coverage-factor", "Coverage factor k of U (default: 2)", "2", optional=True),
            InputField("decision", "Rule (default: guarded)", WordInput(("guarded", "simple")), "guarded",
                       optional=True),
        ),
        _judge, _SOURCE,
    ),
)  # fmt: skip
