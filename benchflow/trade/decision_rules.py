"""Decision rules: they judge a reading by its limit and its uncertainty. The guard band is defined here.

*Simple acceptance* compares the reading itself with the limit. A reading equal to an end is ``ok``.

*Guarded acceptance* keeps a guard band of 1.65 standard uncertainties on both sides of each end (ISO 14253-1:2017,
95 % probability of conformity). The band is wider if the limit is narrow. A reading inside a guard band is
``not-proven``.

Comparisons are exact (fractions in the base unit), so the unit of a reading cannot change its verdict. Probabilities
are floats. They are only displayed.
"""

from decimal import Decimal
from fractions import Fraction
from math import erfc, sqrt

from msgspec import Struct

from benchflow.procedure.model import DecisionRule
from benchflow.quantity import Interval, Limit, Quantity, base, base_of_difference, interval
from benchflow.quantity.arithmetic import check_convertible, difference_factor, from_base
from benchflow.quantity.shown import magnitude
from benchflow.trade.rounding import round_inwards
from benchflow.trade.verdict import Verdict

GUARD_FACTOR = Fraction(165, 100)
"""Guard band in standard uncertainties: 1.65 u, which is 0.825 U for k = 2 (ISO 14253-1:2017).

The editions of 1998 and 2013 are usually understood as the full U. Therefore the name of the rule states the edition.
"""

CONFORMITY_LEVEL = 0.95
"""The least probability of conformity of a value that is ok by guarded acceptance (ISO 14253-1:2017)."""

_BISECTIONS = 40
"""Halvings of half a limit: the acceptance limits are exact to one part in 10¹²."""

RULES: dict[DecisionRule, str] = {
    "simple": "simple acceptance: the reading itself decides",
    "guarded": "guarded acceptance, ISO 14253-1:2017, guard band 1.65 u",
}
"""Each decision rule as text for the log, the bench screen and the build sheet."""


class Judgement(Struct, frozen=True):
    """The verdict on one value, with its reason.

    ``conformity`` is the probability, 0 to 1, that the true value is within the limit. It is ``None`` if the
    uncertainty is not known. Values from ``accept_low`` to ``accept_high`` are ``ok``. Values below ``reject_low``
    are ``low``, values above ``reject_high`` are ``high``. These four are in the base unit, and ``None`` for an open
    end of the limit. If no value can be ok, ``accept_low`` is above ``accept_high``.
    """

    verdict: Verdict
    conformity: float | None
    reason: str
    accept_low: Fraction | None = None
    accept_high: Fraction | None = None
    reject_low: Fraction | None = None
    reject_high: Fraction | None = None


def judge(
    reading: Quantity, limit: Limit, decision: DecisionRule, u: Quantity | None = None, *, difference: bool = False
) -> Judgement:
    """Judge ``reading`` by the rule ``decision``. ``u`` is its standard uncertainty.

    ``reading``, ``limit`` and ``u`` may have different units of one dimension. If ``u`` is a temperature, it is a
    difference. ``difference`` means that the reading and the limit are differences, too. By guarded acceptance, a
    reading without a known uncertainty is always ``not-proven``.

    Raises:
        QuantityError: the dimensions differ (``wrong-dimension``).
    """
    for end in (limit.low, limit.high):
        if end is not None:
            check_convertible(reading, end.unit)
    value = base_of_difference(reading) if difference else base(reading)
    bounds = interval(limit, difference=difference, at=value)
    return judge_exact(value, bounds, decision, None if u is None else base_of_difference(u))


def judge_exact(value: Fraction, bounds: Interval, decision: DecisionRule, u: Fraction | None = None) -> Judgement:
    """Judge an exact value in the base unit. ``u`` is its standard uncertainty in the base unit.

    By guarded acceptance, a value is ``ok`` only if it keeps the guard band from both ends, and if its probability of
    conformity is at least 95 %. The second condition decides if the limit is so narrow that the true value can be
    beyond either end. A value is out only if it is beyond one end by more than the guard band.

    Source: ISO 14253-1:2017 for the guard band, as quoted in a calibration script; JCGM 106:2012, 8.3.2, for the
    two-sided probability (from memory).
    """
    probability = None if u is None else conformity(value, bounds, u)
    if decision == "simple":
        return _judge_without_guard_band(value, bounds, probability)
    if u is None or probability is None:
        reason = "the uncertainty of this reading is not known, and the rule is guarded acceptance"
        return Judgement("not-proven", None, reason)
    return _judge_with_guard_band(value, bounds, u, probability)


def _judge_without_guard_band(value: Fraction, bounds: Interval, probability: float | None) -> Judgement:
    low, high = bounds.low, bounds.high
    zone = {"accept_low": low, "accept_high": high, "reject_low": low, "reject_high": high}
    match bounds.position(value):
        case "low":
            return Judgement("low", probability, "below the limit", **zone)
        case "high":
            return Judgement("high", probability, "above the limit", **zone)
        case "within":
            return Judgement("ok", probability, "within the limit", **zone)


def _judge_with_guard_band(value: Fraction, bounds: Interval, u: Fraction, probability: float) -> Judgement:
    low, high, guard = bounds.low, bounds.high, GUARD_FACTOR * u
    accept_low, accept_high = acceptance_limits(bounds, u)
    zone = {
        "accept_low": accept_low,
        "accept_high": accept_high,
        "reject_low": None if low is None else low - guard,
        "reject_high": None if high is None else high + guard,
    }
    beyond = Interval(zone["reject_low"], zone["reject_high"], bounds.low_open and not u, bounds.high_open and not u)
    match beyond.position(value):
        case "low":
            return Judgement("low", probability, "below the limit by more than the guard band", **zone)
        case "high":
            return Judgement("high", probability, "above the limit by more than the guard band", **zone)
    if accept_low is not None and accept_high is not None and accept_low > accept_high:
        reason = "the limit is too narrow for this instrument: no reading can be ok"
        return Judgement("not-proven", probability, reason, **zone)
    if Interval(accept_low, accept_high).position(value) != "within" or probability < CONFORMITY_LEVEL:
        return Judgement("not-proven", probability, "within the guard band of the limit", **zone)
    return Judgement("ok", probability, "within the limit by more than the guard band", **zone)


def acceptance_limits(bounds: Interval, u: Fraction) -> tuple[Fraction | None, Fraction | None]:
    """Return the ends of the values that are ok by guarded acceptance, in the base unit; ``None`` for an open end.

    The guard band is 1.65 u, or more if the limit is so narrow that the probability of conformity would be less than
    95 %. If no value can be ok, the first end is above the second.
    """
    low, high, guard = bounds.low, bounds.high, GUARD_FACTOR * u
    accept_low = None if low is None else low + guard
    accept_high = None if high is None else high - guard
    if low is None or high is None or not u or accept_low is None or accept_high is None:
        return accept_low, accept_high
    middle = (low + high) / 2
    if accept_low > middle or conformity(middle, bounds, u) < CONFORMITY_LEVEL:
        return high, low
    if conformity(accept_low, bounds, u) >= CONFORMITY_LEVEL:
        return accept_low, accept_high
    outside, inside = accept_low, middle  # the probability grows towards the middle
    for _ in range(_BISECTIONS):
        between = (outside + inside) / 2
        if conformity(between, bounds, u) >= CONFORMITY_LEVEL:
            inside = between
        else:
            outside = between
    return inside, low + high - inside


def rounded_acceptance(
    judged: Judgement, unit: str, *, difference: bool = False
) -> tuple[Decimal | None, Decimal | None]:
    """Return the acceptance limits in ``unit``, rounded inwards to two significant digits of the guard band.

    Every value between the rounded ends is ok. An open end is ``None``. ``difference`` is true for a difference of
    temperatures.
    """
    low, high = judged.accept_low, judged.accept_high
    bands = [
        abs(accept - reject)
        for accept, reject in ((low, judged.reject_low), (high, judged.reject_high))
        if accept is not None and reject is not None
    ]
    band = max(bands, default=Fraction(0)) / 2 / difference_factor(unit)
    places = max(0, 1 - magnitude(band)) if band else 6

    def end(exact: Fraction | None, up: bool) -> Decimal | None:
        return None if exact is None else round_inwards(from_base(exact, unit, difference=difference), places, up=up)

    return end(low, True), end(high, False)


def conformity(value: Fraction, bounds: Interval, u: Fraction) -> float:
    """Return the probability, 0 to 1, that the true value is within the limit.

    All arguments are in one unit; ``u`` is the standard uncertainty of ``value``. The true value is taken as normally
    distributed about the reading, without prior knowledge of the part (JCGM 106:2012, 7.4; from memory).
    """
    if u == 0:
        return float(bounds.position(value) == "within")
    below = 0.0 if bounds.low is None else _phi(float((bounds.low - value) / u))
    above = 0.0 if bounds.high is None else _phi(float((value - bounds.high) / u))
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


def acceptance_words(acceptance: str) -> str:
    """The acceptance limits in words: ``ok: 0.1165 .. 0.1835 mm``."""
    return "no reading can be ok" if acceptance == "none" else f"ok: {acceptance}"
