"""Judging a reading: in, out, or not proven, by a rule fixed before anyone measured.

Two rules. *Simple*: the reading itself decides, both ends included. *Guarded*: the uncertainty of the
measurement works against whoever has to prove something, by a guard band of 1.65 standard
uncertainties (ISO 14253-1:2017, a conformity probability of 95 %). Between the two, nothing is proven.

Comparisons are exact (fractions in the base unit), so a reading never changes its verdict by changing
its unit. Probabilities are floats and are for looking at, never for deciding.
"""

from fractions import Fraction
from math import erfc, sqrt
from typing import Literal

from msgspec import Struct

from benchflow.procedure.model import DecisionRule
from benchflow.quantity import Limit, Quantity, base
from benchflow.trade.rounding import width

Verdict = Literal["in", "out", "not-proven"]
Side = Literal["low", "high"]

GUARD_FACTOR = Fraction(165, 100)
"""Guard band in standard uncertainties, ISO 14253-1:2017 (0.825 U for k = 2). The 1998 and 2013
editions are commonly read as the full U; the edition is part of the rule's name here."""

RULES: dict[DecisionRule, str] = {
    "simple": "simple acceptance: the reading itself decides",
    "guarded": "guarded acceptance, ISO 14253-1:2017, guard band 1.65 u",
}
"""Each decision rule in words, for the log, the bench and the sheet."""


class Judgement(Struct, frozen=True):
    """The verdict on one reading.

    ``side`` is which limit stopped it (``None`` when it is in). ``conformity`` is the probability that
    the true value lies within the limit, 0 to 1, ``None`` where no uncertainty is known.
    ``accept_low`` and ``accept_high`` are the ends of what proves it in, in the unit's base;
    ``reject_low`` and ``reject_high`` those beyond which it is proven out.
    """

    verdict: Verdict
    side: Side | None
    conformity: float | None
    because: str
    accept_low: Fraction | None = None
    accept_high: Fraction | None = None
    reject_low: Fraction | None = None
    reject_high: Fraction | None = None


def judge(reading: Quantity, limit: Limit, decision: DecisionRule, u: Quantity | None = None) -> Judgement:
    """Judge ``reading`` against ``limit`` by ``decision``; ``u`` is its standard uncertainty.

    Under the guarded rule a reading whose uncertainty is not known proves nothing, whichever side of
    the limit it lies: it is ``not-proven``, and ``because`` says that the uncertainty is missing.
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
            _nearer(value, low, high),
            None,
            "the rule is guarded acceptance, and the uncertainty of this reading is not known",
        )
    return _guarded(value, low, high, GUARD_FACTOR * spread, chance)


def _simple(value: Fraction, low: Fraction | None, high: Fraction | None, chance: float | None) -> Judgement:
    zone = {"accept_low": low, "accept_high": high, "reject_low": low, "reject_high": high}
    if low is not None and value < low:
        return Judgement("out", "low", chance, "below the limit", **zone)
    if high is not None and value > high:
        return Judgement("out", "high", chance, "above the limit", **zone)
    return Judgement("in", None, chance, "within the limit", **zone)


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
        return Judgement("out", "low", chance, "below the limit by more than the guard band", **zone)
    if high is not None and value > high + guard:
        return Judgement("out", "high", chance, "above the limit by more than the guard band", **zone)
    near_low = low is not None and value < low + guard
    near_high = high is not None and value > high - guard
    if near_low and near_high:
        because = "the limit is narrower than two guard bands: this instrument can prove nothing in"
        return Judgement("not-proven", _nearer(value, low, high), chance, because, **zone)
    if near_low or near_high:
        side: Side = "low" if near_low else "high"
        return Judgement("not-proven", side, chance, "within the guard band: neither in nor out", **zone)
    return Judgement("in", None, chance, "within the limit by more than the guard band", **zone)


def _nearer(value: Fraction, low: Fraction | None, high: Fraction | None) -> Side | None:
    if low is None or high is None:
        return "high" if high is not None else "low" if low is not None else None
    return "low" if value - low < high - value else "high"


def conformity(value: Fraction, low: Fraction | None, high: Fraction | None, u: Fraction) -> float:
    """Probability that the true value lies within, for a normal distribution about the reading and no
    knowledge of the part beforehand (JCGM 106:2012, 7.4). All arguments in one unit."""
    if u == 0:
        return float((low is None or value >= low) and (high is None or value <= high))
    below = 0.0 if low is None else _phi(float((low - value) / u))
    above = 0.0 if high is None else _phi(float((value - high) / u))
    return max(0.0, 1.0 - below - above)


def _phi(z: float) -> float:
    """The standard normal distribution function. (``statistics`` has it, and takes 10 ms to import.)"""
    return erfc(-z / sqrt(2)) / 2


def conformity_words(chance: float) -> str:
    """``91.9 %``; never rounded up to certainty."""
    percent = 100 * chance
    if percent > 99.95:
        return "more than 99.9 %"
    if percent < 0.05:
        return "less than 0.1 %"
    return f"{percent:.1f} %"
