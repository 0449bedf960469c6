"""Decision rules: they judge a reading by its limit and its uncertainty. The guard band is defined here.

*Simple acceptance* compares the reading itself with the limit. A reading equal to an end is ``ok``.

*Guarded acceptance* keeps a guard band of 1.65 standard uncertainties on both sides of each end (ISO 14253-1:2017,
95 % probability of conformity). A reading inside a guard band is ``not-proven``.

Comparisons are exact (fractions in the base unit), so the unit of a reading cannot change its verdict. Probabilities
are floats. They are only displayed.
"""

from fractions import Fraction
from math import erfc, sqrt

from msgspec import Struct

from benchflow.procedure.model import DecisionRule
from benchflow.quantity import Limit, Quantity, base, base_of_difference
from benchflow.trade.verdict import Verdict

GUARD_FACTOR = Fraction(165, 100)
"""Guard band in standard uncertainties: 1.65 u, which is 0.825 U for k = 2 (ISO 14253-1:2017).

The editions of 1998 and 2013 are usually understood as the full U. Therefore the name of the rule states the edition.
"""

RULES: dict[DecisionRule, str] = {
    "simple": "simple acceptance: the reading itself decides",
    "guarded": "guarded acceptance, ISO 14253-1:2017, guard band 1.65 u",
}
"""Each decision rule as text for the log, the bench screen and the build sheet."""


class Judgement(Struct, frozen=True):
    """The verdict on one reading, with its reason.

    ``conformity`` is the probability, 0 to 1, that the true value is within the limit. It is ``None`` if the
    uncertainty is not known. Readings from ``accept_low`` to ``accept_high`` are ``ok``. Readings below ``reject_low``
    are ``low``, readings above ``reject_high`` are ``high``. These four are in the base unit, and ``None`` for an open
    end of the limit.
    """

    verdict: Verdict
    conformity: float | None
    reason: str
    accept_low: Fraction | None = None
    accept_high: Fraction | None = None
    reject_low: Fraction | None = None
    reject_high: Fraction | None = None


def judge(reading: Quantity, limit: Limit, decision: DecisionRule, u: Quantity | None = None) -> Judgement:
    """Judge ``reading`` by the rule ``decision``. ``u`` is its standard uncertainty.

    ``reading``, ``limit`` and ``u`` may have different units of one dimension. If ``u`` is a temperature, it is a
    difference. By guarded acceptance, a reading without a known uncertainty is always ``not-proven``.

    Source: ISO 14253-1:2017 for the guard band, as quoted in a calibration script.
    """
    value = base(reading)
    low = None if limit.low is None else base(limit.low)
    high = None if limit.high is None else base(limit.high)
    spread = None if u is None else base_of_difference(u)
    probability = None if spread is None else conformity(value, low, high, spread)
    if decision == "simple":
        return _judge_without_guard_band(value, low, high, probability)
    if spread is None:
        reason = "the uncertainty of this reading is not known, and the rule is guarded acceptance"
        return Judgement("not-proven", None, reason)
    return _judge_with_guard_band(value, low, high, GUARD_FACTOR * spread, probability)


def _judge_without_guard_band(
    value: Fraction, low: Fraction | None, high: Fraction | None, probability: float | None
) -> Judgement:
    zone = {"accept_low": low, "accept_high": high, "reject_low": low, "reject_high": high}
    if low is not None and value < low:
        return Judgement("low", probability, "below the limit", **zone)
    if high is not None and value > high:
        return Judgement("high", probability, "above the limit", **zone)
    return Judgement("ok", probability, "within the limit", **zone)


def _judge_with_guard_band(
    value: Fraction, low: Fraction | None, high: Fraction | None, guard: Fraction, probability: float | None
) -> Judgement:
    zone = {
        "accept_low": None if low is None else low + guard,
        "accept_high": None if high is None else high - guard,
        "reject_low": None if low is None else low - guard,
        "reject_high": None if high is None else high + guard,
    }
    if low is not None and value < low - guard:
        return Judgement("low", probability, "below the limit by more than the guard band", **zone)
    if high is not None and value > high + guard:
        return Judgement("high", probability, "above the limit by more than the guard band", **zone)
    near_low = low is not None and value < low + guard
    near_high = high is not None and value > high - guard
    if near_low and near_high:
        reason = "the limit is narrower than two guard bands: no reading of this instrument can be ok"
        return Judgement("not-proven", probability, reason, **zone)
    if near_low or near_high:
        return Judgement("not-proven", probability, "within the guard band of the limit", **zone)
    return Judgement("ok", probability, "within the limit by more than the guard band", **zone)


def conformity(value: Fraction, low: Fraction | None, high: Fraction | None, u: Fraction) -> float:
    """Return the probability, 0 to 1, that the true value is within the limit.

    All arguments are in one unit; ``u`` is the standard uncertainty of ``value``. The true value is taken as normally
    distributed about the reading, without prior knowledge of the part (JCGM 106:2012, 7.4; from memory).
    """
    if u == 0:
        return float((low is None or value >= low) and (high is None or value <= high))
    below = 0.0 if low is None else _phi(float((low - value) / u))
    above = 0.0 if high is None else _phi(float((value - high) / u))
    return max(0.0, 1.0 - below - above)


def _phi(z: float) -> float:
    """The standard normal distribution function. ``statistics`` has it too, but takes 10 ms to import."""
    return erfc(-z / sqrt(2)) / 2


def conformity_text(probability: float) -> str:
    """Return a probability as text, such as ``91.9 %``. It is never rounded to 0 % or 100 %."""
    percent = 100 * probability
    if percent >= 99.95:
        return "more than 99.9 %"
    if percent < 0.05:
        return "less than 0.1 %"
    return f"{percent:.1f} %"
