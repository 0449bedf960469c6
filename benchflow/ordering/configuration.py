"""A configuration: the set of operations done, and a value for every state variable."""

from collections.abc import Mapping

from msgspec import Struct

from benchflow.procedure.model import Values

Valuation = dict[str, str | None]
"""A value for each variable; ``None`` means not known."""


class Configuration(Struct, frozen=True):
    """The steps done, by their ids in the plan, and the value of each variable."""

    done: frozenset[str]
    valuation: Valuation


def after_setting(valuation: Valuation, settings: Mapping[str, str | None]) -> Valuation:
    """The valuation with ``settings`` written over it."""
    return {**valuation, **settings} if settings else valuation


def unmet(valuation: Valuation, needs: Values) -> dict[str, tuple[str, ...]]:
    """The entries of ``needs`` that the valuation does not satisfy. An unknown value satisfies none of them."""
    return {name: wanted for name, wanted in needs.items() if valuation.get(name) not in wanted}


def matches(valuation: Valuation, never: Values) -> bool:
    """True if the rule ``never`` matches the valuation. An unknown value may be any value, so it matches."""
    for name, values in never.items():  # a plain loop for speed: the bench evaluates every rule for every operation
        value = valuation.get(name)
        if value is not None and value not in values:
            return False
    return True
