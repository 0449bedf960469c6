"""Combining uncertainties to first order, after JCGM 100:2008 (GUM), by the `uncertainties` library.

The library differentiates; what is added here are the shapes of distributions, the effective degrees of freedom
(Welch and Satterthwaite, GUM G.4) and the coverage factor that follows. Floats throughout: an uncertainty has two
significant digits.
"""

from collections.abc import Callable, Sequence
from math import floor, inf, sqrt
from typing import Any, Literal

from msgspec import Struct

Shape = Literal["normal", "uniform", "triangular", "arcsine"]

_DIVISORS: dict[Shape, float] = {"normal": 1.0, "uniform": sqrt(3), "triangular": sqrt(6), "arcsine": sqrt(2)}


def standard(half_width: float, shape: Shape) -> float:
    """Standard uncertainty of a value known to lie within ±``half_width`` (GUM 4.3.7, 4.3.9; arcsine from memory).
    For ``normal``, ``half_width`` is one standard deviation already."""
    return half_width / _DIVISORS[shape]


class Source(Struct, frozen=True):
    """One input: its estimate, standard uncertainty and degrees of freedom."""

    name: str
    value: float
    u: float
    freedom: float = inf


class Combined(Struct, frozen=True):
    """``u`` is the combined standard uncertainty, ``parts`` what each input contributes to it, ``freedom`` the
    effective degrees of freedom."""

    value: float
    u: float
    parts: dict[str, float]
    freedom: float


def combine(function: Callable[..., Any], sources: Sequence[Source]) -> Combined:
    """``function`` of the inputs, in their order, with its first-order uncertainty. Inputs are uncorrelated.

    ``function`` uses ordinary arithmetic (``uncertainties.umath`` for sines and roots).
    """
    from uncertainties import ufloat  # type: ignore[import-untyped]  # no types; late, the bench paints first

    variables = [ufloat(source.value, source.u) for source in sources]
    result = function(*variables)
    contributions = result.error_components()
    parts = {
        source.name: float(contributions.get(variable, 0.0))
        for source, variable in zip(sources, variables, strict=True)
    }
    u = float(result.std_dev)
    return Combined(float(result.nominal_value), u, parts, effective_freedom(u, sources, parts))


def effective_freedom(u: float, sources: Sequence[Source], parts: dict[str, float]) -> float:
    """ν = u⁴ / Σ uᵢ⁴ / νᵢ (Welch and Satterthwaite, GUM G.4.1)."""
    spent = sum(parts[source.name] ** 4 / source.freedom for source in sources if source.freedom != inf)
    return inf if spent == 0 else u**4 / spent


def coverage_factor(freedom: float, level: float = 0.95) -> float:
    """k for a two-sided coverage ``level``: Student's t for ``freedom`` cut to a whole number (GUM G.4.1)."""
    from scipy.stats import norm, t  # late: a second of import that only this needs

    tail = (1 + level) / 2
    return float(norm.ppf(tail)) if freedom == inf else float(t.ppf(tail, floor(freedom)))
