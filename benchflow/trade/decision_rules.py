"""Decision rules: the verdict on a reading is in, out or not proven.

*Simple acceptance*: the reading itself decides; both ends of the limit are in. *Guarded acceptance*: a reading is in
or out only where it is so by more than a guard band of 1.65 standard uncertainties (ISO 14253-1:2017, 95 %
probability of conformity); within the guard band it is not proven.

Comparisons are exact (fractions in the base unit): the unit of a reading cannot change its verdict. Probabilities
are floats for display and do not decide anything.
"""

from fractions import Fraction
from math import erfc, sqrt

from msgspec import Struct

from benchflow.procedure.model import DecisionRule
from benchflow.quantity import Limit, Quantity, base
from benchflow.trade.rounding import width
from benchflow.trade.verdict import Verdict

GUARD_FACTOR = Fraction(165, 100)
"""Guard band in standard uncertainties: ISO 14253-1:2017, 0.825 U for k = 2.

The editions of 1998 and 2013 are commonly read as the full U, so the name of the rule states the edition.
"""

RULES: dict[DecisionRule, str] = {
    "simple": "simple acceptance: the reading itself decides",
    "guarded": "guarded acceptance, ISO 14253-1:2017, guard band 1.65 u",
}
"""The decision rules as text for the log, the bench and the sheet."""


class Judgement(Struct, frozen=True):
    """The verdict on one reading.

    ``side`` is the end of the limit that the reading violates or is too near to, ``None`` where it is in.
    ``conformity`` is the probability, 0 to 1, that the true value is within the limit; ``None`` where the uncertainty
    is not known. Readings from ``accept_low`` to ``accept_high`` are in, those below ``reject_low`` or above
    ``reject_high`` are out; both in the base unit.
    """

    verdict: Verdict
    conformity: float | None
    because: str
    accept_low: Fraction | None = None
    accept_high: Fraction | None = None
    reject_low: Fraction | None = None
    reject_high: Fraction | None = None


def judge(reading: Quantity, limit: Limit, decision: DecisionRule, u: Quantity | None = None) -> Judgement:
    """The verdict on ``reading`` by the rule ``decision``. ``u`` is its standard uncertainty.

    By guarded acceptance, a reading without a known uncertainty is always ``not-proven``.
    """
    value = base(reading)
    low = None if limit.low is None else base(limit.low)
    high = None if limit.high is None else base(limit.high)
    spread = None if u is None else width(u)
    chance = None if spread is None else conformity(value, low, high, spread)
    if decision == "simple":
        return _simple(value, low, high, chance)
    if spread is None:
        return Judgement(
            "not-proven",
            None,
            "the uncertainty of this reading is not known, and the rule is guarded acceptance",
        )
    return _guarded(value, low, high, GUARD_FACTOR * spread, chance)


def _simple(value: Fraction, low: Fraction | None, high: Fraction | None, chance: float | None) -> Judgement:
    zone = {"accept_low": low, "accept_high": high, "reject_low": low, "reject_high": high}
    if low is not None and value < low:
        return Judgement("low", chance, "below the limit", **zone)
    if high is not None and value > high:
        return Judgement("high", chance, "above the limit", **zone)
    return Judgement("ok", chance, "within the limit", **zone)


def _guarded(
    value: Fraction, low: Fraction | None, high: Fraction | None, guard: Fraction, chance: float | None
) -> Judgement:
    zone = {
        "accept_low": None if low is None else low + guard,
        "accept_high": None if high is None else high - guard,
        "reject_low": None if low is None else low - guard,
        "reject_high": None if high is None else high + guard,
    }
    if low is not None and value < low - guard:
        return Judgement("low", chance, "below the limit by more than the guard band", **zone)
    if high is not None and value > high + guard:
        return Judgement("high", chance, "above the limit by more than the guard band", **zone)
    near_low = low is not None and value < low + guard
    near_high = high is not None and value > high - guard
    if near_low and near_high:
        because = "the limit is narrower than two guard bands: no reading of this instrument can be ok"
        return Judgement("not-proven", chance, because, **zone)
    if near_low or near_high:
        return Judgement("not-proven", chance, "within the guard band of the limit", **zone)
    return Judgement("ok", chance, "within the limit by more than the guard band", **zone)


def conformity(value: Fraction, low: Fraction | None, high: Fraction | None, u: Fraction) -> float:
    """Probability that the true value is within the limit, all arguments in one unit.

    For a normal distribution about the reading and no prior knowledge of the part (JCGM 106:2012, 7.4).
    """
    if u == 0:
        return float((low is None or value >= low) and (high is None or value <= high))
    below = 0.0 if low is None else _phi(float((low - value) / u))
    above = 0.0 if high is None else _phi(float((value - high) / u))
    return max(0.0, 1.0 - below - above)


def _phi(z: float) -> float:
    """The standard normal distribution function. (The import of ``statistics`` takes 10 ms.)"""
    return erfc(-z / sqrt(2)) / 2


def conformity_words(chance: float) -> str:
    """A probability as text, such as ``91.9 %``; never rounded to 0 or 100 %."""
    percent = 100 * chance
    if percent > 99.95:
        return "more than 99.9 %"
    if percent < 0.05:
        return "less than 0.1 %"
    return f"{percent:.1f} %"
